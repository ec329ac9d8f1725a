"""A layout as a picture: the sheet to scale, what comes out of it, and where each step cuts.

The sheet lies as the shop's drawings have it: its length from left to right, its datum corner below
on the left. Kinds of rectangles differ by hatching as well as by colour, so that a black and white
print says the same; the tints can be told apart by people who do not see red or green. Text is set
so that it stays in its rectangle: full, shorter, as a letter that the table explains, or not at all.
Many equal parts side by side that are too small for their names are drawn as one field.

Lengths of the plan are whole hundredths of a millimetre; drawing units are 1/96 inch.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final
from xml.etree import ElementTree as ET

from service.drawing.cuts import CutLine, DrawingError, cut_lines, leaves_of, only, steps_of
from service.drawing.fields import Field, fields_of, outside
from service.drawing.lettering import FONT, LINE, Box, Fitted, clean, fit, text_width, wrap
from service.engine.order import Order, Part, StockItem
from service.engine.plan import CutPlan, Layout, Leaf, Split, Step
from service.engine.quantities import show_mm
from service.engine.settings import gauge_setting
from service.engine.tolerance import aimed_size

_INK: Final = "#16202b"
_PALE: Final = "#5a6672"
_TINTS: Final = ("#d6e8f7", "#fbe9c0", "#d3efe3", "#ecdcee", "#f3f0e6")
_HATCH: Final = {"offcut": "#0b62a4", "scrap": "#b8480b", "trim": "#3f4750"}

_EDGE: Final = 24.0
_LEFT: Final = 112.0
_WIDEST: Final = 650.0
_TALLEST: Final = 560.0
_MARKS: Final = 76.0
_PANEL_WIDE: Final = 364.0
_PANEL_LEAST: Final = 430.0
_ROW: Final = 16.0
_TEXT: Final = 11.5
_MOST_STEPS: Final = 60
_LARGEST_MARK: Final = 8.5
_LEAST_MARK: Final = 3.0
_LEAST_FIELD: Final = 12
"""Equal parts from which on those too small for their names are drawn as one field."""
_LARGE_FIELD: Final = 100
"""Equal parts from which on those too small for name and size are."""


def layout_svg(plan: CutPlan, order: Order, layout_number: int) -> str:
    """Draw one layout of a plan.

    Parameters
    ----------
    plan, order
        A plan, and the order that it answers.
    layout_number
        As the plan counts them, from 1.

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
    for leaf in leaves_of(layout.tree):
        if leaf.kind == "part" and leaf.ref not in parts:
            raise DrawingError(f"layout {layout.number} holds part {leaf.ref!r}, which the order has not")
    return _Sheet(plan, order, layout, stock, parts).document()


def plan_svgs(plan: CutPlan, order: Order) -> dict[str, str]:
    """Draw all layouts of a plan, by the names of the files they are kept in.

    Raises
    ------
    DrawingError
        When plan and order do not belong together.
    """
    digits = max(2, len(str(len(plan.layouts))))
    return {
        f"layout-{layout.number:0{digits}d}.svg": layout_svg(plan, order, layout.number)
        for layout in plan.layouts
    }


class _Taken:
    """Where text and marks stand already, looked up by the neighbourhood."""

    _CELL: Final = 48.0

    def __init__(self) -> None:
        self._cells: dict[tuple[int, int], list[Box]] = {}

    def _keys(self, box: Box) -> Iterable[tuple[int, int]]:
        cell = self._CELL
        for column in range(int(box.x // cell), int((box.x + box.dx) // cell) + 1):
            for row in range(int(box.y // cell), int((box.y + box.dy) // cell) + 1):
                yield column, row

    def add(self, box: Box) -> None:
        for key in self._keys(box):
            self._cells.setdefault(key, []).append(box)

    def near(self, box: Box) -> list[Box]:
        return [other for key in self._keys(box) for other in self._cells.get(key, ()) if other.meets(box)]


class _Sheet:
    """One picture while it is drawn."""

    def __init__(
        self, plan: CutPlan, order: Order, layout: Layout, stock: StockItem, parts: dict[str, Part]
    ) -> None:
        self.plan, self.order, self.layout, self.stock, self.parts = plan, order, layout, stock, parts
        tree = layout.tree
        self.scale = min(_WIDEST / tree.dx, _TALLEST / tree.dy)
        self.leaves = leaves_of(tree)
        refs = dict.fromkeys(leaf.ref for leaf in self.leaves if leaf.kind == "part" and leaf.ref)
        self.letter = {ref: _letters(place) for place, ref in enumerate(refs)}
        self.tint = {ref: _TINTS[place % len(_TINTS)] for place, ref in enumerate(refs)}
        self.panel = max(_PANEL_LEAST, _LEFT + tree.dx * self.scale + _MARKS + 16)
        self.page = self.panel + _PANEL_WIDE + _EDGE
        sides = [min(leaf.dx, leaf.dy) * self.scale for leaf in self.leaves if leaf.kind == "part"]
        self.stroke = min(1.7, max(0.5, 0.06 * min(sides, default=_WIDEST)))
        self.taken = _Taken()
        self.fields = tuple(one for one in fields_of(tree) if self._too_small(one))
        self.covered = {place for field in self.fields for place in field.origins()}
        self.inside: set[int] = set()
        self.unnumbered: set[int] = set()
        self.unnamed: dict[str, int] = {}
        self.prefix = f"layout{layout.number}-"
        self.root = ET.Element("svg", {"xmlns": "http://www.w3.org/2000/svg", "role": "img"})

    def document(self) -> str:
        root = self.root
        root.set("aria-labelledby", f"{self.prefix}title {self.prefix}desc")
        _add(root, "title", {"id": f"{self.prefix}title"}, self._title())
        _add(root, "desc", {"id": f"{self.prefix}desc"}, self._description())
        self._patterns()
        background = _add(root, "rect", {"x": "0", "y": "0", "fill": "#ffffff"})
        top = self._header()
        lines = cut_lines(self.layout, self.plan.program)
        tree = self.layout.tree
        marks_above = any(line.axis == "x" and line.end - line.start == tree.dy for line in lines)
        self.top = top + (_MARKS + 8 if marks_above else 26)
        bottom = max(self._drawing(lines), self._panel(top + 10))
        height = bottom + _EDGE
        background.set("width", _n(self.page))
        background.set("height", _n(height))
        root.set("viewBox", f"0 0 {_n(self.page)} {_n(height)}")
        root.set("width", _n(self.page))
        root.set("height", _n(height))
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
        self._text(_EDGE, y, self._title(), 20, weight="bold")
        y += 8
        for line in wrap(clean(self._stock_line()), 13, self.page - 2 * _EDGE):
            y += 18
            self._text(_EDGE, y, line, 13)
        y += 20
        self._text(_EDGE, y, self._repeat_line(), 14, weight="bold")
        machine = f"for {self.order.machine.name}  ·  plan {self.plan.fingerprint[:16]}"
        x = _EDGE + text_width(self._repeat_line(), 14) + 24
        self._text(x, y, machine, 12, fill=_PALE)
        y += 12
        _add(self.root, "path", {"d": f"M{_n(_EDGE)} {_n(y)}H{_n(self.page - _EDGE)}", "stroke": _INK})
        return y

    # --- the sheet ---------------------------------------------------------------------------------

    def _box(self, leaf: Leaf | Split) -> Box:
        tree = self.layout.tree
        return Box(
            _LEFT + (leaf.x - tree.x) * self.scale,
            self.top + (tree.y + tree.dy - leaf.y - leaf.dy) * self.scale,
            leaf.dx * self.scale,
            leaf.dy * self.scale,
        )

    def _drawing(self, lines: Sequence[CutLine]) -> float:
        sheet = self._box(self.layout.tree)
        group = _add(self.root, "g", {"class": "sheet", "stroke": _INK, "stroke-width": "0.6"})
        for leaf in self.leaves:
            if (leaf.x, leaf.y) not in self.covered:
                self._leaf(group, leaf)
        for field in self.fields:
            self._field(group, field)
        self._rect(group, sheet, {"fill": "none", "stroke-width": "2", "class": "outline"})
        self._cuts(lines, sheet)
        names = _add(self.root, "g", {"class": "names"})
        for leaf in self.leaves:
            if (leaf.x, leaf.y) not in self.covered:
                self._name(names, leaf)
        for field in self.fields:
            self._part_name(names, field.ref, _pieces(field), self._field_box(field), field.count)
        self._datum(sheet)
        bottom = self._dimensions(sheet)
        return self._grain(sheet, bottom)

    def _leaf(self, group: ET.Element, leaf: Leaf) -> None:
        attributes: dict[str, str] = {"class": leaf.kind}
        if leaf.kind == "part":
            assert leaf.ref is not None
            attributes["data-ref"] = clean(leaf.ref)
            attributes["fill"] = self.tint[leaf.ref]
        else:
            attributes["fill"] = f"url(#{self.prefix}{leaf.kind})"
        rect = self._rect(group, self._box(leaf), attributes)
        _add(rect, "title", {}, f"{leaf.ref or leaf.kind}: {_size(leaf)} mm")

    def _field_box(self, field: Field) -> Box:
        return self._box(Split("x", field.x, field.y, field.dx, field.dy, ()))

    def _too_small(self, field: Field) -> bool:
        if field.count < _LEAST_FIELD:
            return False
        box = Box(0, 0, field.piece_dx * self.scale, field.piece_dy * self.scale)
        name, size = clean(field.ref), f"{show_mm(field.piece_dx)} × {show_mm(field.piece_dy)}"
        wanted = ([name, size], [f"{name}  {size}"]) if field.count >= _LARGE_FIELD else ([name],)
        return fit(wanted, _name_room(box), (), 14, 8) is None

    def _field(self, group: ET.Element, field: Field) -> None:
        name = clean(field.ref)
        attributes = {"class": "field", "data-ref": name, "fill": self.tint[field.ref]}
        rect = self._rect(group, self._field_box(field), {**attributes, "stroke-width": "1.2"})
        _add(rect, "title", {}, f"{name}: {_pieces(field)} mm")

    def _name(self, group: ET.Element, leaf: Leaf) -> None:
        box = self._box(leaf)
        size = f"{show_mm(leaf.dx)} × {show_mm(leaf.dy)}"
        if leaf.kind == "part":
            assert leaf.ref is not None
            self._part_name(group, leaf.ref, size, box)
        elif leaf.kind != "trim":
            inside = box.inset(min(3.0, 0.06 * min(box.dx, box.dy)))
            found = fit(
                ([leaf.kind, size], [f"{leaf.kind} {size}"], [size]), inside, self.taken.near(box), 12, 8
            )
            if found is not None:
                self._rect(group, found.box, {"fill": "#ffffff"})
                self._set(group, found)

    def _part_name(self, group: ET.Element, ref: str, size: str, box: Box, count: int = 1) -> None:
        name = clean(ref)
        inside = _name_room(box)
        taken = self.taken.near(box)
        choices = ([name, size], [f"{name}  {size}"], [name])
        found = fit(choices, inside, taken, 14, 8)
        letter = self.letter[ref]
        if found is None:
            found = fit(([letter],), inside, taken, 12, 3.5, bold=True)
        if found is None:
            self.unnamed[ref] = self.unnamed.get(ref, 0) + count
        else:
            self._set(group, found)

    def _cuts(self, lines: Sequence[CutLine], sheet: Box) -> None:
        tree = self.layout.tree
        group = _add(self.root, "g", {"class": "cuts", "stroke": _INK, "stroke-width": _n(self.stroke)})
        marks = _add(self.root, "g", {"class": "steps"})
        numbered: set[int] = set()
        inner: list[tuple[CutLine, Box]] = []
        for line in lines:
            box = self._line_box(line)
            shown = outside(line, self.fields)
            for piece in shown:
                place = self._line_box(piece)
                ends = (place.x, place.y, place.x + place.dx, place.y + place.dy)
                _add(group, "line", dict(zip(("x1", "y1", "x2", "y2"), map(_n, ends), strict=True)))
            if not shown:
                self.inside.add(line.step)
                continue
            whole = line.end - line.start == (tree.dx if line.axis == "y" else tree.dy)
            if whole:
                if line.first or line.room * self.scale > 2 * _LARGEST_MARK:
                    self._outer_mark(marks, line, box, sheet)
                    numbered.add(line.step)
            else:
                inner.append((line, box))
        # The first cut of every run is numbered before the others take the room.
        for line, box in sorted(inner, key=lambda one: not one[0].first):
            if self._inner_mark(marks, line, box, numbered):
                numbered.add(line.step)
        self.inside -= numbered
        self.unnumbered = {line.step for line in lines} - numbered - self.inside

    def _line_box(self, line: CutLine) -> Box:
        at, start, end = line.at, line.start, line.end
        if line.axis == "x":
            return self._box(Split("x", at, start, 0, end - start, ()))
        return self._box(Split("y", start, at, end - start, 0, ()))

    def _outer_mark(self, group: ET.Element, line: CutLine, box: Box, sheet: Box) -> None:
        radius = _LARGEST_MARK
        away = 14.0
        while True:
            if line.axis == "y":
                middle = (sheet.x + sheet.dx + away, box.y)
                leader = f"M{_n(sheet.x + sheet.dx)} {_n(box.y)}H{_n(middle[0] - radius)}"
            else:
                middle = (box.x, sheet.y - away)
                leader = f"M{_n(box.x)} {_n(sheet.y)}V{_n(middle[1] + radius)}"
            place = Box(middle[0] - radius, middle[1] - radius, 2 * radius, 2 * radius)
            if not self.taken.near(place) or away + 3 * radius + 2 > _MARKS:
                break
            away += 2 * radius + 2
        _add(group, "path", {"d": leader, "stroke": _PALE, "stroke-width": "0.8", "fill": "none"})
        self._mark(group, line.step, middle, radius)

    def _inner_mark(self, group: ET.Element, line: CutLine, box: Box, numbered: set[int]) -> bool:
        length = max(box.dx, box.dy)
        wanted = min(_LARGEST_MARK, 0.3 * length)
        if not line.first:
            wanted = min(wanted, 0.3 * line.room * self.scale)
        if wanted < _LEAST_MARK and line.step in numbered:
            return False
        for radius in (max(share * wanted, _LEAST_MARK) for share in (1.0, 0.75, 0.5)):
            for share in (0.0, 1.0, 0.25, 0.75, 0.5):
                along = radius + 1.5 + share * max(0.0, length - 2 * radius - 3)
                middle = (box.x, box.y + box.dy - along) if line.axis == "x" else (box.x + along, box.y)
                place = Box(middle[0] - radius, middle[1] - radius, 2 * radius, 2 * radius)
                if not self.taken.near(place):
                    self._mark(group, line.step, middle, radius)
                    return True
        return False

    def _mark(self, group: ET.Element, step: int, middle: tuple[float, float], radius: float) -> None:
        x, y = middle
        place = {"cx": _n(x), "cy": _n(y), "r": _n(radius)}
        stroke = _n(max(0.5, radius / 7))
        _add(group, "circle", {**place, "fill": "#ffffff", "stroke": _INK, "stroke-width": stroke})
        text = str(step)
        size = min(1.25 * radius, 1.8 * radius / text_width(text, 1, bold=True))
        self._text(x, y + 0.36 * size, text, size, anchor="middle", weight="bold", group=group)
        self.taken.add(Box(x - radius, y - radius, 2 * radius, 2 * radius))

    def _datum(self, sheet: Box) -> None:
        """The mark stands outside the corner, so that it hides no trim cut."""
        x, y = sheet.x - 8, sheet.y + sheet.dy + 8
        group = _add(self.root, "g", {"class": "datum"})
        _add(group, "path", {"d": _quarter_disc(x, y, 6), "fill": _INK})
        _add(group, "circle", {"cx": _n(x), "cy": _n(y), "r": "6", "fill": "none", "stroke": _INK})

    def _dimensions(self, sheet: Box) -> float:
        """Overall sizes below and on the left, and between them and the sheet the first division."""
        group = _add(self.root, "g", {"class": "dimensions", "stroke": _INK, "stroke-width": "0.7"})
        root = only(self.layout.tree)
        below = sheet.y + sheet.dy
        chain_x = isinstance(root, Split) and root.axis == "x"
        chain_y = isinstance(root, Split) and root.axis == "y"
        if isinstance(root, Split):
            for child in root.children:
                box = self._box(child)
                if root.axis == "x":
                    self._across(group, box.x, box.x + box.dx, below + 22, show_mm(child.dx), 9.5)
                else:
                    self._upright(group, box.y, box.y + box.dy, sheet.x - 24, show_mm(child.dy), 9.5)
        tree = self.layout.tree
        y = below + (46 if chain_x else 24)
        self._across(group, sheet.x, sheet.x + sheet.dx, y, show_mm(tree.dx), 13)
        x = sheet.x - (50 if chain_y else 26)
        self._upright(group, sheet.y, below, x, show_mm(tree.dy), 13)
        return y

    def _across(self, group: ET.Element, x1: float, x2: float, y: float, text: str, size: float) -> None:
        width = text_width(text, size) + 6
        fits = width <= x2 - x1
        middle = (x1 + x2) / 2
        gap = f"H{_n(middle - width / 2)}M{_n(middle + width / 2)} {_n(y)}" if fits else ""
        ticks = f"M{_n(x1)} {_n(y - 5)}V{_n(y + 5)}M{_n(x2)} {_n(y - 5)}V{_n(y + 5)}"
        _add(group, "path", {"d": f"M{_n(x1)} {_n(y)}{gap}H{_n(x2)}{ticks}", "fill": "none"})
        if fits:
            self._text(middle, y + 0.36 * size, text, size, anchor="middle", group=group)
        elif size > 10:
            self._text(x2 + 8, y + 0.36 * size, text, size, group=group)

    def _upright(self, group: ET.Element, y1: float, y2: float, x: float, text: str, size: float) -> None:
        width = text_width(text, size) + 6
        fits = width <= y2 - y1
        middle = (y1 + y2) / 2
        gap = f"V{_n(middle - width / 2)}M{_n(x)} {_n(middle + width / 2)}" if fits else ""
        ticks = f"M{_n(x - 5)} {_n(y1)}H{_n(x + 5)}M{_n(x - 5)} {_n(y2)}H{_n(x + 5)}"
        _add(group, "path", {"d": f"M{_n(x)} {_n(y1)}{gap}V{_n(y2)}{ticks}", "fill": "none"})
        if fits:
            base = (x + 0.36 * size, middle)
            turned = f"rotate(-90 {_n(base[0])} {_n(base[1])})"
            self._text(*base, text, size, anchor="middle", group=group, transform=turned)
        elif size > 10:
            self._text(x - 8, middle + 0.36 * size, text, size, anchor="end", group=group)

    def _grain(self, sheet: Box, above: float) -> float:
        y = above + 30
        width = 96.0
        group = _add(
            self.root, "g", {"class": "grain", "stroke": _INK, "stroke-width": "1.4", "fill": "none"}
        )
        _add(group, "path", {"d": _double_arrow(sheet.x, y, width)})
        self._text(sheet.x + width + 10, y + 4, "grain (rolling direction); sizes in mm", 12)
        return y + 8

    # --- the panel beside it -----------------------------------------------------------------------

    def _panel(self, top: float) -> float:
        y = self._parts_table(top)
        y = self._legend(y + 10)
        return self._steps_table(y + 10)

    def _heading(self, y: float, text: str) -> float:
        y += 18
        self._text(self.panel, y, text, 13, weight="bold")
        return y + 4

    def _row(self, y: float, cells: Sequence[tuple[float, str]], fill: str = _INK) -> float:
        """A row of cells at their distances from the panel's left; long text takes more lines."""
        ends = [*(start for start, _ in cells[1:]), _PANEL_WIDE]
        broken = [
            wrap(clean(text), _TEXT, end - start - 4) for (start, text), end in zip(cells, ends, strict=True)
        ]
        for (start, _), lines in zip(cells, broken, strict=True):
            for count, line in enumerate(lines, start=1):
                self._text(self.panel + start, y + count * _ROW - 3, line, _TEXT, fill=fill)
        return y + _ROW * max(1, *(len(lines) for lines in broken))

    def _parts_table(self, y: float) -> float:
        y = self._heading(y, "One of them gives")
        y = self._row(y, ((26, "each"), (64, "part"), (180, "length × width")), _PALE)
        counts: dict[str, int] = {}
        for leaf in self.leaves:
            if leaf.kind == "part" and leaf.ref is not None:
                counts[leaf.ref] = counts.get(leaf.ref, 0) + 1
        for ref, letter in self.letter.items():
            part = self.parts[ref]
            swatch = Box(self.panel, y + 2, 20, 12)
            self._rect(
                self.root,
                swatch,
                {"fill": self.tint[ref], "stroke": _INK, "stroke-width": "0.6"},
            )
            found = fit(([letter],), swatch, (), 9, 4, bold=True)
            if found is not None:
                self._set(self.root, found)
            grain = "" if part.grain == "any" else f", {part.grain} the grain"
            length, width = aimed_size(part)
            size = f"{show_mm(length)} × {show_mm(width)}{grain}"
            y = self._row(y, ((26, str(counts[ref])), (64, ref), (180, size)))
        offcuts: dict[str, int] = {}
        for leaf in self.leaves:
            if leaf.kind == "offcut":
                offcuts[_size(leaf)] = offcuts.get(_size(leaf), 0) + 1
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
        self._rect(self.root, box, {"fill": fill, "stroke": _INK, "stroke-width": "0.6"})

    def _legend(self, y: float) -> float:
        y = self._heading(y, "How to read it")
        for kind, words in (
            ("offcut", "offcut: to the rack, marked with its heat number"),
            ("scrap", "scrap"),
            ("trim", "trim"),
        ):
            self._swatch(y, kind)
            y = self._row(y, ((26, words),))
        _add(
            self.root,
            "path",
            {"d": f"M{_n(self.panel)} {_n(y + 8)}h20", "stroke": _INK, "stroke-width": "1.7"},
        )
        self._mark(self.root, 3, (self.panel + 10, y + 8), 6)
        y = self._row(y, ((26, "cut, with the number of its step in the program"),))
        _add(self.root, "path", {"d": _quarter_disc(self.panel + 7, y + 9, 6), "fill": _INK})
        _add(
            self.root,
            "circle",
            {"cx": _n(self.panel + 7), "cy": _n(y + 9), "r": "6", "fill": "none", "stroke": _INK},
        )
        return self._row(y, ((26, "datum corner: trimming begins here"),))

    def _steps_table(self, y: float) -> float:
        steps, together = steps_of(self.layout, self.plan.program)
        if not steps:
            return self._row(y, ((0, "Nothing is cut: the piece is used as it is."),))
        y = self._heading(y, "Steps that cut it")
        y = self._row(y, ((0, "step"), (36, "piece"), (78, "gauging"), (226, "gives")), _PALE)
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

    # --- strokes -----------------------------------------------------------------------------------

    def _patterns(self) -> None:
        defs = _add(self.root, "defs")
        for kind, path, side, width in (
            ("offcut", "M0 12L12 0M-2 2L2 -2M10 14L14 10", 12, "0.9"),
            ("scrap", "M0 0L8 8M8 0L0 8", 8, "0.8"),
            ("trim", "M0 4L4 0M-1 1L1 -1M3 5L5 3", 4, "1.1"),
        ):
            pattern = _add(
                defs,
                "pattern",
                {
                    "id": f"{self.prefix}{kind}",
                    "width": str(side),
                    "height": str(side),
                    "patternUnits": "userSpaceOnUse",
                },
            )
            _add(pattern, "rect", {"width": str(side), "height": str(side), "fill": "#ffffff"})
            _add(pattern, "path", {"d": path, "stroke": _HATCH[kind], "stroke-width": width, "fill": "none"})

    def _rect(self, group: ET.Element, box: Box, attributes: dict[str, str]) -> ET.Element:
        place = {"x": _n(box.x), "y": _n(box.y), "width": _n(box.dx), "height": _n(box.dy)}
        return _add(group, "rect", {**place, **attributes})

    def _text(
        self,
        x: float,
        y: float,
        text: str,
        size: float,
        *,
        anchor: str | None = None,
        weight: str | None = None,
        fill: str = _INK,
        group: ET.Element | None = None,
        transform: str | None = None,
    ) -> None:
        attributes = {"x": _n(x), "y": _n(y), "font-size": _n(size), "font-family": FONT, "fill": fill}
        attributes["stroke"] = "none"
        extra = {"text-anchor": anchor, "font-weight": weight, "transform": transform}
        attributes.update({name: value for name, value in extra.items() if value is not None})
        _add(self.root if group is None else group, "text", attributes, text)

    def _set(self, group: ET.Element, fitted: Fitted) -> None:
        x, y = fitted.box.middle
        size = fitted.size
        turned = f"rotate(-90 {_n(x)} {_n(y)})" if fitted.upright else None
        first = y - size * LINE * (len(fitted.lines) - 1) / 2 + 0.36 * size
        for count, line in enumerate(fitted.lines):
            bold = "bold" if fitted.bold or (count == 0 and len(fitted.lines) > 1) else None
            at = first + count * size * LINE
            self._text(x, at, line, size, anchor="middle", weight=bold, group=group, transform=turned)


def _name_room(box: Box) -> Box:
    return box.inset(min(3.0, 0.06 * min(box.dx, box.dy)))


def _pieces(field: Field) -> str:
    size = f"{show_mm(field.piece_dx)} × {show_mm(field.piece_dy)}"
    sides = [str(side) for side in (field.columns, field.rows) if side > 1]
    return f"{' × '.join(sides)} pieces {size}"


def _size(leaf: Leaf) -> str:
    return f"{show_mm(leaf.dx)} × {show_mm(leaf.dy)}"


def _becomes(step: Step) -> str:
    """What the measured side of the cut becomes, in a word or two."""
    outcomes = step.drops if step.measured == "drop" else step.remainders
    names = dict.fromkeys(
        one.ref if one.kind in {"part", "piece"} and one.ref else one.kind for one in outcomes
    )
    return ", ".join(names)


def _letters(place: int) -> str:
    text = ""
    place += 1
    while place:
        place, letter = divmod(place - 1, 26)
        text = chr(ord("A") + letter) + text
    return text


def _quarter_disc(x: float, y: float, radius: float) -> str:
    """Two opposite quarters of a disc."""
    r = _n(radius)
    return (
        f"M{_n(x)} {_n(y)}V{_n(y - radius)}A{r} {r} 0 0 1 {_n(x + radius)} {_n(y)}Z"
        f"M{_n(x)} {_n(y)}V{_n(y + radius)}A{r} {r} 0 0 1 {_n(x - radius)} {_n(y)}Z"
    )


def _double_arrow(x: float, y: float, width: float) -> str:
    end = x + width
    return (
        f"M{_n(x)} {_n(y)}H{_n(end)}M{_n(x + 9)} {_n(y - 5)}L{_n(x)} {_n(y)}L{_n(x + 9)} {_n(y + 5)}"
        f"M{_n(end - 9)} {_n(y - 5)}L{_n(end)} {_n(y)}L{_n(end - 9)} {_n(y + 5)}"
    )


def _n(value: float) -> str:
    """A number of the picture: two decimals, no more, and never minus nought."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def _add(
    parent: ET.Element, tag: str, attributes: dict[str, str] | None = None, text: str = ""
) -> ET.Element:
    element = ET.SubElement(parent, tag, {name: clean(value) for name, value in (attributes or {}).items()})
    if text:
        element.text = clean(text)
    return element
