"""The sheet of a layout to scale: what comes out of it, and where each step cuts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final
from xml.etree import ElementTree as ET

from service.drawing.cuts import CutLine, only
from service.drawing.fields import Field, fields_of, outside
from service.drawing.lettering import Box, clean, fit, text_width
from service.drawing.pen import INK, PALE, Pen, add, double_arrow, number, quarter_disc
from service.engine.order import Order, Part, StockItem
from service.engine.plan import CutPlan, Layout, Leaf, Split, leaves
from service.engine.quantities import show_mm

_TINTS: Final = ("#d6e8f7", "#fbe9c0", "#d3efe3", "#ecdcee", "#f3f0e6")
LEFT: Final = 112.0
_WIDEST: Final = 650.0
_TALLEST: Final = 560.0
MARKS: Final = 76.0
_LARGEST_MARK: Final = 8.5
_LEAST_MARK: Final = 3.0
_LEAST_FIELD: Final = 12
"""Equal parts from which on those too small for their names are drawn as one field."""
_LARGE_FIELD: Final = 100
"""Equal parts from which on those too small for name and size are."""


class SheetPicture(Pen):
    """The sheet while it is drawn; `top` is where it begins."""

    def __init__(
        self, plan: CutPlan, order: Order, layout: Layout, stock: StockItem, parts: dict[str, Part]
    ) -> None:
        super().__init__(f"layout{layout.number}-")
        self.plan, self.order, self.layout, self.stock, self.parts = plan, order, layout, stock, parts
        tree = layout.tree
        self.scale = min(_WIDEST / tree.dx, _TALLEST / tree.dy)
        self.leaves = tuple(leaves(tree))
        refs = dict.fromkeys(leaf.ref for leaf in self.leaves if leaf.kind == "part" and leaf.ref)
        self.letter = {ref: _letters(place) for place, ref in enumerate(refs)}
        self.tint = {ref: _TINTS[place % len(_TINTS)] for place, ref in enumerate(refs)}
        sides = [min(leaf.dx, leaf.dy) * self.scale for leaf in self.leaves if leaf.kind == "part"]
        self.stroke = min(1.7, max(0.5, 0.06 * min(sides, default=_WIDEST)))
        self.fields = tuple(one for one in fields_of(tree) if self._too_small(one))
        self.covered = {place for field in self.fields for place in field.origins()}
        self.inside: set[int] = set()
        self.unnumbered: set[int] = set()
        self.unnamed: dict[str, int] = {}
        self.top = 0.0

    def _box(self, leaf: Leaf | Split) -> Box:
        tree = self.layout.tree
        return Box(
            LEFT + (leaf.x - tree.x) * self.scale,
            self.top + (tree.y + tree.dy - leaf.y - leaf.dy) * self.scale,
            leaf.dx * self.scale,
            leaf.dy * self.scale,
        )

    def drawing(self, lines: Sequence[CutLine]) -> float:
        """Draw the sheet, its cuts, names and sizes; where it ends below."""
        sheet = self._box(self.layout.tree)
        group = add(self.root, "g", {"class": "sheet", "stroke": INK, "stroke-width": "0.6"})
        for leaf in self.leaves:
            if (leaf.x, leaf.y) not in self.covered:
                self._leaf(group, leaf)
        for field in self.fields:
            self._field(group, field)
        self.rect(group, sheet, {"fill": "none", "stroke-width": "2", "class": "outline"})
        self._cuts(lines, sheet)
        names = add(self.root, "g", {"class": "names"})
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
        rect = self.rect(group, self._box(leaf), attributes)
        add(rect, "title", {}, f"{leaf.ref or leaf.kind}: {size_of(leaf)} mm")

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
        rect = self.rect(group, self._field_box(field), {**attributes, "stroke-width": "1.2"})
        add(rect, "title", {}, f"{name}: {_pieces(field)} mm")

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
                self.rect(group, found.box, {"fill": "#ffffff"})
                self.set_in(group, found)

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
            self.set_in(group, found)

    def _cuts(self, lines: Sequence[CutLine], sheet: Box) -> None:
        tree = self.layout.tree
        group = add(self.root, "g", {"class": "cuts", "stroke": INK, "stroke-width": number(self.stroke)})
        marks = add(self.root, "g", {"class": "steps"})
        numbered: set[int] = set()
        inner: list[tuple[CutLine, Box]] = []
        for line in lines:
            box = self._line_box(line)
            shown = outside(line, self.fields)
            for piece in shown:
                place = self._line_box(piece)
                ends = (place.x, place.y, place.x + place.dx, place.y + place.dy)
                add(group, "line", dict(zip(("x1", "y1", "x2", "y2"), map(number, ends), strict=True)))
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
                leader = f"M{number(sheet.x + sheet.dx)} {number(box.y)}H{number(middle[0] - radius)}"
            else:
                middle = (box.x, sheet.y - away)
                leader = f"M{number(box.x)} {number(sheet.y)}V{number(middle[1] + radius)}"
            place = Box(middle[0] - radius, middle[1] - radius, 2 * radius, 2 * radius)
            if not self.taken.near(place) or away + 3 * radius + 2 > MARKS:
                break
            away += 2 * radius + 2
        add(group, "path", {"d": leader, "stroke": PALE, "stroke-width": "0.8", "fill": "none"})
        self.mark(group, line.step, middle, radius)

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
                    self.mark(group, line.step, middle, radius)
                    return True
        return False

    def mark(self, group: ET.Element, step: int, middle: tuple[float, float], radius: float) -> None:
        """Draw the number of a step in a circle."""
        x, y = middle
        place = {"cx": number(x), "cy": number(y), "r": number(radius)}
        stroke = number(max(0.5, radius / 7))
        add(group, "circle", {**place, "fill": "#ffffff", "stroke": INK, "stroke-width": stroke})
        text = str(step)
        size = min(1.25 * radius, 1.8 * radius / text_width(text, 1, bold=True))
        self.text(x, y + 0.36 * size, text, size, anchor="middle", weight="bold", group=group)
        self.taken.add(Box(x - radius, y - radius, 2 * radius, 2 * radius))

    def _datum(self, sheet: Box) -> None:
        """The mark stands outside the corner, so that it hides no trim cut."""
        x, y = sheet.x - 8, sheet.y + sheet.dy + 8
        group = add(self.root, "g", {"class": "datum"})
        add(group, "path", {"d": quarter_disc(x, y, 6), "fill": INK})
        add(group, "circle", {"cx": number(x), "cy": number(y), "r": "6", "fill": "none", "stroke": INK})

    def _dimensions(self, sheet: Box) -> float:
        """Overall sizes below and on the left, and between them and the sheet the first division."""
        group = add(self.root, "g", {"class": "dimensions", "stroke": INK, "stroke-width": "0.7"})
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
        gap = f"H{number(middle - width / 2)}M{number(middle + width / 2)} {number(y)}" if fits else ""
        ticks = f"M{number(x1)} {number(y - 5)}V{number(y + 5)}M{number(x2)} {number(y - 5)}V{number(y + 5)}"
        add(group, "path", {"d": f"M{number(x1)} {number(y)}{gap}H{number(x2)}{ticks}", "fill": "none"})
        if fits:
            self.text(middle, y + 0.36 * size, text, size, anchor="middle", group=group)
        elif size > 10:
            self.text(x2 + 8, y + 0.36 * size, text, size, group=group)

    def _upright(self, group: ET.Element, y1: float, y2: float, x: float, text: str, size: float) -> None:
        width = text_width(text, size) + 6
        fits = width <= y2 - y1
        middle = (y1 + y2) / 2
        gap = f"V{number(middle - width / 2)}M{number(x)} {number(middle + width / 2)}" if fits else ""
        ticks = f"M{number(x - 5)} {number(y1)}H{number(x + 5)}M{number(x - 5)} {number(y2)}H{number(x + 5)}"
        add(group, "path", {"d": f"M{number(x)} {number(y1)}{gap}V{number(y2)}{ticks}", "fill": "none"})
        if fits:
            base = (x + 0.36 * size, middle)
            turned = f"rotate(-90 {number(base[0])} {number(base[1])})"
            self.text(*base, text, size, anchor="middle", group=group, transform=turned)
        elif size > 10:
            self.text(x - 8, middle + 0.36 * size, text, size, anchor="end", group=group)

    def _grain(self, sheet: Box, above: float) -> float:
        y = above + 30
        width = 96.0
        group = add(self.root, "g", {"class": "grain", "stroke": INK, "stroke-width": "1.4", "fill": "none"})
        add(group, "path", {"d": double_arrow(sheet.x, y, width)})
        self.text(sheet.x + width + 10, y + 4, "grain (rolling direction); sizes in mm", 12)
        return y + 8


def _name_room(box: Box) -> Box:
    return box.inset(min(3.0, 0.06 * min(box.dx, box.dy)))


def _pieces(field: Field) -> str:
    size = f"{show_mm(field.piece_dx)} × {show_mm(field.piece_dy)}"
    sides = [str(side) for side in (field.columns, field.rows) if side > 1]
    return f"{' × '.join(sides)} pieces {size}"


def size_of(leaf: Leaf) -> str:
    """The size of a rectangle, in words."""
    return f"{show_mm(leaf.dx)} × {show_mm(leaf.dy)}"


def _letters(place: int) -> str:
    text = ""
    place += 1
    while place:
        place, letter = divmod(place - 1, 26)
        text = chr(ord("A") + letter) + text
    return text
