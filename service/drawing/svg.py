"""A layout as a picture: the sheet to scale, what comes out of it, and where each step cuts.

The sheet lies as the shop's drawings have it: its length from left to right, its datum corner below
on the left. Kinds of rectangles differ by hatching as well as by colour, so that a black and white
print says the same; the tints can be told apart by people who do not see red or green. Text is set
so that it stays in its rectangle: full, shorter, as a letter that the table explains, or not at all.
Many equal parts side by side that are too small for their names are drawn as one field.

Lengths of the plan are whole hundredths of a millimetre; drawing units are 1/96 inch.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final
from xml.etree import ElementTree as ET

from service.drawing.cuts import DrawingError, cut_lines, steps_of
from service.drawing.lettering import Box, clean, fit, text_width, wrap
from service.drawing.pen import INK, PALE, add, number, quarter_disc
from service.drawing.sheet import LEFT, MARKS, SheetPicture, size_of
from service.engine.fingerprint import id_of
from service.engine.order import Order, Part, StockItem
from service.engine.plan import CutPlan, Layout, Step, leaves
from service.engine.quantities import show_mm
from service.engine.settings import gauge_setting
from service.engine.tolerance import aimed_size

_EDGE: Final = 24.0
_PANEL_WIDE: Final = 364.0
_PANEL_LEAST: Final = 430.0
_ROW: Final = 16.0
_TEXT: Final = 11.5
_MOST_STEPS: Final = 60


def layout_svg(plan: CutPlan, order: Order, layout_number: int, *, named: str | None = None) -> str:
    """Draw one layout of a plan.

    Parameters
    ----------
    plan, order
        A plan, and the order that it answers.
    layout_number
        As the plan counts them, from 1.
    named
        The id under which the plan is kept, where it is kept already.

    Returns
    -------
    An SVG document; the same for the same plan everywhere.

    Raises
    ------
    KeyError
        When the plan has no layout of that number.
    DrawingError
        When layout, program and order do not belong together.
    """
    layout = next((one for one in plan.layouts if one.number == layout_number), None)
    if layout is None:
        raise KeyError(f"the plan has no layout {layout_number}; it has {len(plan.layouts)} of them")
    stock = next((one for one in order.stock if one.ref == layout.stock_ref), None)
    if stock is None:
        raise DrawingError(
            f"layout {layout.number} is cut from {layout.stock_ref!r}, not in the order's stock"
        )
    parts = {part.ref: part for part in order.parts}
    for leaf in leaves(layout.tree):
        if leaf.kind == "part" and leaf.ref not in parts:
            raise DrawingError(f"layout {layout.number} holds part {leaf.ref!r}, which the order has not")
    return _Picture(plan, order, layout, stock, parts, named or id_of(plan)).document()


class _Picture(SheetPicture):
    """One picture while it is drawn: the sheet, and a panel beside it."""

    def __init__(
        self,
        plan: CutPlan,
        order: Order,
        layout: Layout,
        stock: StockItem,
        parts: dict[str, Part],
        named: str,
    ) -> None:
        super().__init__(plan, order, layout, stock, parts)
        self.named = named
        self.panel = max(_PANEL_LEAST, LEFT + layout.tree.dx * self.scale + MARKS + 16)
        self.page = self.panel + _PANEL_WIDE + _EDGE

    def document(self) -> str:
        root = self.root
        root.set("aria-labelledby", f"{self.prefix}title {self.prefix}desc")
        add(root, "title", {"id": f"{self.prefix}title"}, self._title())
        add(root, "desc", {"id": f"{self.prefix}desc"}, self._description())
        self.patterns()
        background = add(root, "rect", {"x": "0", "y": "0", "fill": "#ffffff"})
        top = self._header()
        lines = cut_lines(self.layout, self.plan.program)
        tree = self.layout.tree
        marks_above = any(line.axis == "x" and line.end - line.start == tree.dy for line in lines)
        self.top = top + (MARKS + 8 if marks_above else 26)
        bottom = max(self.drawing(lines), self._panel(top + 10))
        height = bottom + _EDGE
        background.set("width", number(self.page))
        background.set("height", number(height))
        root.set("viewBox", f"0 0 {number(self.page)} {number(height)}")
        root.set("width", number(self.page))
        root.set("height", number(height))
        ET.indent(root, " ")
        return ET.tostring(root, encoding="unicode", xml_declaration=False) + "\n"

    # --- words -------------------------------------------------------------------------------------

    def _title(self) -> str:
        return f"Layout {self.layout.number} of {len(self.plan.layouts)}, order {self.plan.order_ref}"

    def _stock_line(self) -> str:
        stock = self.stock
        size = f"{show_mm(stock.length)} × {show_mm(stock.width)} × {show_mm(self.layout.thickness)} mm"
        heat = f"heat {stock.heat}" if stock.heat else "no heat number"
        return f"{stock.kind} {stock.ref}  ·  {size}  ·  {self.layout.material}  ·  {heat}"

    def _repeat_line(self) -> str:
        kind = "sheet" if self.stock.kind == "sheet" else "offcut"
        if self.layout.repeat == 1:
            return f"cut 1 {kind} like this"
        return f"cut {self.layout.repeat} {kind}s like this"

    def _description(self) -> str:
        counts: dict[str, int] = {}
        for leaf in self.leaves:
            name = f"part {leaf.ref}" if leaf.kind == "part" else leaf.kind
            counts[name] = counts.get(name, 0) + 1
        held = ", ".join(f"{count} of {name}" for name, count in counts.items())
        return f"{self._stock_line()}; {self._repeat_line()}. Each gives {held}."

    def _header(self) -> float:
        y = _EDGE + 20
        self.text(_EDGE, y, self._title(), 20, weight="bold")
        y += 8
        for line in wrap(clean(self._stock_line()), 13, self.page - 2 * _EDGE):
            y += 18
            self.text(_EDGE, y, line, 13)
        y += 20
        self.text(_EDGE, y, self._repeat_line(), 14, weight="bold")
        machine = f"for {self.order.machine.name}  ·  plan {self.named}"
        x = _EDGE + text_width(self._repeat_line(), 14) + 24
        self.text(x, y, machine, 12, fill=PALE)
        y += 12
        add(
            self.root,
            "path",
            {"d": f"M{number(_EDGE)} {number(y)}H{number(self.page - _EDGE)}", "stroke": INK},
        )
        return y

    # --- the panel beside it -----------------------------------------------------------------------

    def _panel(self, top: float) -> float:
        y = self._parts_table(top)
        y = self._legend(y + 10)
        return self._steps_table(y + 10)

    def _heading(self, y: float, text: str) -> float:
        y += 18
        self.text(self.panel, y, text, 13, weight="bold")
        return y + 4

    def _row(self, y: float, cells: Sequence[tuple[float, str]], fill: str = INK) -> float:
        """A row of cells at their distances from the panel's left; long text takes more lines."""
        ends = [*(start for start, _ in cells[1:]), _PANEL_WIDE]
        broken = [
            wrap(clean(text), _TEXT, end - start - 4) for (start, text), end in zip(cells, ends, strict=True)
        ]
        for (start, _), lines in zip(cells, broken, strict=True):
            for count, line in enumerate(lines, start=1):
                self.text(self.panel + start, y + count * _ROW - 3, line, _TEXT, fill=fill)
        return y + _ROW * max(1, *(len(lines) for lines in broken))

    def _parts_table(self, y: float) -> float:
        y = self._heading(y, "One of them gives")
        y = self._row(y, ((26, "each"), (64, "part"), (180, "length × width")), PALE)
        counts: dict[str, int] = {}
        for leaf in self.leaves:
            if leaf.kind == "part" and leaf.ref is not None:
                counts[leaf.ref] = counts.get(leaf.ref, 0) + 1
        for ref, letter in self.letter.items():
            part = self.parts[ref]
            swatch = Box(self.panel, y + 2, 20, 12)
            self.rect(
                self.root,
                swatch,
                {"fill": self.tint[ref], "stroke": INK, "stroke-width": "0.6"},
            )
            found = fit(([letter],), swatch, (), 9, 4, bold=True)
            if found is not None:
                self.set_in(self.root, found)
            grain = "" if part.grain == "any" else f", {part.grain} the grain"
            length, width = aimed_size(part)
            size = f"{show_mm(length)} × {show_mm(width)}{grain}"
            y = self._row(y, ((26, str(counts[ref])), (64, ref), (180, size)))
        offcuts: dict[str, int] = {}
        for leaf in self.leaves:
            if leaf.kind == "offcut":
                offcuts[size_of(leaf)] = offcuts.get(size_of(leaf), 0) + 1
        for size, count in offcuts.items():
            self._swatch(y, "offcut")
            y = self._row(y, ((26, str(count)), (64, "offcut"), (180, size)))
        if self.unnamed:
            names = ", ".join(f"{self.letter[ref]} ({count})" for ref, count in self.unnamed.items())
            y = self._row(y, ((0, f"Too small to bear their letter in the picture: {names}."),))
        return y

    def _swatch(self, y: float, kind: str) -> None:
        fill = f"url(#{self.prefix}{kind})"
        box = Box(self.panel, y + 2, 20, 12)
        self.rect(self.root, box, {"fill": fill, "stroke": INK, "stroke-width": "0.6"})

    def _legend(self, y: float) -> float:
        y = self._heading(y, "How to read it")
        for kind, words in (
            ("offcut", "offcut: to the rack, marked with its heat number"),
            ("scrap", "leftover: to the scrap"),
            ("trim", "trim: to the scrap"),
        ):
            self._swatch(y, kind)
            y = self._row(y, ((26, words),))
        add(
            self.root,
            "path",
            {"d": f"M{number(self.panel)} {number(y + 8)}h20", "stroke": INK, "stroke-width": "1.7"},
        )
        self.mark(self.root, 3, (self.panel + 10, y + 8), 6)
        y = self._row(y, ((26, "cut, with the number of its step in the program"),))
        add(self.root, "path", {"d": quarter_disc(self.panel + 7, y + 9, 6), "fill": INK})
        add(
            self.root,
            "circle",
            {"cx": number(self.panel + 7), "cy": number(y + 9), "r": "6", "fill": "none", "stroke": INK},
        )
        return self._row(y, ((26, "datum corner: trimming begins here"),))

    def _steps_table(self, y: float) -> float:
        steps, together = steps_of(self.layout, self.plan.program)
        if not steps:
            return self._row(y, ((0, "Nothing is cut: the piece is used as it is."),))
        y = self._heading(y, "Steps that cut it")
        y = self._row(y, ((0, "step"), (36, "piece"), (78, "gauging"), (226, "gives")), PALE)
        for step in steps[:_MOST_STEPS]:
            cells = ((0, str(step.number)), (36, step.piece), (78, self._gauged(step)), (226, _becomes(step)))
            y = self._row(y, cells)
        if len(steps) > _MOST_STEPS:
            rest = len(steps) - _MOST_STEPS
            y = self._row(y, ((0, f"and {rest} more: see the program"),))
        if not together and self.layout.repeat > 1:
            y = self._row(y, ((0, "Steps of the first of them; the others follow in the program."),))
        if self.inside:
            numbers = ", ".join(map(str, sorted(self.inside)))
            words = f"Cuts inside the fields of equal pieces are not drawn: step {numbers}."
            y = self._row(y, ((0, words),))
        if self.unnumbered:
            numbers = ", ".join(map(str, sorted(self.unnumbered)))
            y = self._row(y, ((0, f"No room in the picture for the number of step {numbers}."),))
        return y

    def _gauged(self, step: Step) -> str:
        times = f" ×{step.repeat}" if step.repeat > 1 else ""
        value = step.gauge
        if step.gauging == "back gauge":
            value = gauge_setting(self.order.machine, step.gauge)[0]
        return f"{step.gauging} {show_mm(value)}{times}"


def _becomes(step: Step) -> str:
    """What the measured side of the cut becomes, in a word or two."""
    outcomes = step.drops if step.measured == "drop" else step.remainders
    names = dict.fromkeys(
        one.ref if one.kind in {"part", "piece"} and one.ref else one.kind for one in outcomes
    )
    return ", ".join(names)
