"""Equal parts that lie side by side in rows and columns, seen as one field.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from service.drawing.cuts import CutLine
from service.engine.plan import Axis, Leaf, Node
from service.engine.quantities import Length


@dataclass(frozen=True, slots=True)
class Field:
    """`columns` × `rows` of a part; each piece of it measures `piece_dx` × `piece_dy` as it lies."""

    ref: str
    rotated: bool
    x: Length
    y: Length
    piece_dx: Length
    piece_dy: Length
    columns: int
    rows: int

    @property
    def dx(self) -> Length:
        """Size from left to right."""
        return self.columns * self.piece_dx

    @property
    def dy(self) -> Length:
        """Size from below to above."""
        return self.rows * self.piece_dy

    @property
    def count(self) -> int:
        """Pieces in it."""
        return self.columns * self.rows

    def origins(self) -> Iterator[tuple[Length, Length]]:
        """Where each of its pieces lies."""
        for column in range(self.columns):
            for row in range(self.rows):
                yield self.x + column * self.piece_dx, self.y + row * self.piece_dy

    def along(self, axis: Axis) -> tuple[Length, Length]:
        """Where it begins and ends in that direction."""
        return (self.x, self.x + self.dx) if axis == "x" else (self.y, self.y + self.dy)


def fields_of(node: Node) -> tuple[Field, ...]:
    """The parts under a node as fields, as large as they come; a part that stands alone is one by itself."""
    if isinstance(node, Leaf):
        if node.kind != "part" or node.ref is None:
            return ()
        return (Field(node.ref, node.rotated, node.x, node.y, node.dx, node.dy, 1, 1),)
    found: list[Field] = []
    # Where a field ends, and what another must be like to go on with it there.
    open_ends: dict[Any, int] = {}
    for child in node.children:
        for field in fields_of(child):
            start, _ = field.along(node.axis)
            place = open_ends.pop((start, *_like(field, node.axis)), None)
            if place is None:
                place = len(found)
                found.append(field)
            elif node.axis == "x":
                found[place] = replace(found[place], columns=found[place].columns + field.columns)
            else:
                found[place] = replace(found[place], rows=found[place].rows + field.rows)
            _, end = found[place].along(node.axis)
            open_ends[end, *_like(field, node.axis)] = place
    return tuple(found)


def _like(field: Field, axis: Axis) -> tuple[Any, ...]:
    across = field.along("y" if axis == "x" else "x")
    return (*across, field.ref, field.rotated, field.piece_dx, field.piece_dy)


def outside(line: CutLine, fields: tuple[Field, ...]) -> tuple[CutLine, ...]:
    """What of a cut lies outside the fields; a cut along the edge of a field does."""
    across: Axis = "y" if line.axis == "x" else "x"
    shown = [(line.start, line.end)]
    for field in fields:
        low, high = field.along(line.axis)
        if not low < line.at < high:
            continue
        begin, end = field.along(across)
        shown = [
            piece
            for start, stop in shown
            for piece in ((start, min(stop, begin)), (max(start, end), stop))
            if piece[0] < piece[1]
        ]
    return tuple(replace(line, start=start, end=stop) for start, stop in shown)
