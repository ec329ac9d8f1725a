"""Carrying strips out as a guillotine tree that the machine can cut, and filling what is left.

A tree is built from the outside in, each level arranged by :mod:`service.engine.layout.rules` with
the true state of the piece at that moment (mill edges, spread). What a level cannot separate is
left out, so that a tree is cuttable by construction; it is walked once more before it is accepted.
Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from service.engine.layout import rules
from service.engine.layout.kinds import Kind, Variant
from service.engine.layout.levels import Arranged, Entry, arrange
from service.engine.layout.patterns import Filler
from service.engine.layout.rules import NO_LIMIT, Extent, Piece
from service.engine.layout.shapes import OTHER, Grain, Slot, Strip, Wish
from service.engine.layout.walk import needs_good_edges, tolerance_along
from service.engine.order import Part
from service.engine.plan import Axis, Leaf, LeafKind, Node, Split
from service.engine.quantities import Length

_MOST_KEPT: Final = 10_000
"""Levels kept that were arranged already."""


class Region(NamedTuple):
    """A piece and the place of its near corner in the sheet."""

    piece: Piece
    x: Length = 0
    y: Length = 0

    def part(self, axis: Axis, offset: Length, made: Extent) -> Region:
        """What a cut makes of it: from `offset` along `axis`, with the extent `made`."""
        if axis == "x":
            return Region(Piece(made, self.piece.y), self.x + offset, self.y)
        return Region(Piece(self.piece.x, made), self.x, self.y + offset)


class Builder:
    """Builds trees for one search.

    `caps` in its methods is the list of pieces still wanted of each kind; it is lowered by what a
    tree holds.
    """

    def __init__(
        self,
        filler: Filler,
        kinds: Sequence[Kind],
        parts: dict[str, Part],
        offcut_min: tuple[Length, Length],
    ) -> None:
        self.filler = filler
        self.machine = filler.machine
        self.trim = filler.trim
        self.kinds = kinds
        self.parts = parts
        self.known: rules.Known = {}
        self._arranged: dict[tuple[object, ...], Arranged | str] = {}
        self.offcut_min = (max(offcut_min), min(offcut_min))

    def fill(self, region: Region, axis: Axis, stages: int, wish: Wish) -> Node | None:
        """Parts for a region, cut along `axis` first; None when none can be placed."""
        strips = self.filler.strips(region.piece, axis, stages, wish)
        wish.lead, wish.sheets = None, False
        if not strips:
            return None
        return self._level(region, axis, stages, strips, wish)

    def carry_out(
        self,
        piece: Piece,
        axis: Axis,
        stages: int,
        strips: list[Strip],
        caps: list[int],
        region: Region | None = None,
    ) -> Node | None:
        """Given strips as a tree, nothing else filled in; `region` is where the piece lies, if not at 0."""
        wish = Wish([0] * len(self.kinds), caps, Grain())
        return self._level(region or Region(piece), axis, stages, strips, wish)

    def waste(self, kind: LeafKind, region: Region) -> Leaf:
        """A leaf that holds no part; scrap large enough for the rack is an offcut."""
        dx, dy = region.piece.x.size, region.piece.y.size
        if kind == "scrap":
            return self.scrap(region.x, region.y, dx, dy)
        return Leaf(kind, region.x, region.y, dx, dy)

    def scrap(self, x: Length, y: Length, dx: Length, dy: Length) -> Leaf:
        """A rectangle that holds no part: an offcut when it is large enough for the rack."""
        large = max(dx, dy) >= self.offcut_min[0] and min(dx, dy) >= self.offcut_min[1]
        return Leaf("offcut" if large else "scrap", x, y, dx, dy)

    def _level(self, region: Region, axis: Axis, stages: int, strips: list[Strip], wish: Wish) -> Node | None:
        """The first level: strips one after another along `axis`."""
        extent = region.piece.along(axis)
        while strips:
            entries = [_strip_entry(strip, axis) for strip in strips]
            arranged = self.arranged(extent, entries)
            if arranged is not None:
                break
            worst = min(range(len(strips)), key=lambda i: (strips[i].value // strips[i].depth, -i))
            strips = [strip for i, strip in enumerate(strips) if i != worst]
        else:
            return None
        for strip in strips:
            for kind, count in strip.use:
                wish.caps[kind] -= count
        children = [
            self._strip(region.part(axis, at, made), axis, stages - 1, strips[index], wish)
            for index, at, made in places(arranged)
        ]
        return self.close(region, axis, stages, Made(entries, arranged, children), wish)

    def _strip(self, region: Region, axis: Axis, stages: int, strip: Strip, wish: Wish) -> Node:
        """A strip cut into slots across `axis`; slots that cannot be separated are given back."""
        across = OTHER[axis]
        extent = region.piece.along(across)
        slots = [slot for slot, count in strip.slots for _ in range(count)]
        while slots:
            entries = [_slot_entry(slot, across, axis, strip.depth) for slot in slots]
            arranged = self.arranged(extent, entries)
            if arranged is not None:
                break
            worst = min(range(len(slots)), key=lambda i: (slots[i].value // slots[i].breadth, -i))
            for v in slots[worst].stack:
                wish.caps[v.kind] += 1
            slots = [slot for i, slot in enumerate(slots) if i != worst]
        else:
            return self.rest(region, across, stages, wish)
        # A single slot as long as the strip needs no cut, and so no stage.
        inner = stages if slots[0].breadth == extent.size else stages - 1
        children = [
            self._slot(region.part(across, at, made), axis, inner, slots[index], wish)
            for index, at, made in places(arranged)
        ]
        return self.close(region, across, stages, Made(entries, arranged, children), wish)

    def _slot(self, region: Region, axis: Axis, stages: int, slot: Slot, wish: Wish) -> Node:
        extent = region.piece.along(axis)
        if len(slot.stack) == 1 and slot.stack[0].along(axis) == extent.size:
            return self.part(region, slot.stack[0], wish)
        stack = list(slot.stack)
        while stack:
            entries = [Entry(v.along(axis), v.tolerance(axis), True, (v.kind, int(v.rotated))) for v in stack]
            arranged = self.arranged(extent, entries)
            if arranged is not None:
                break
            wish.caps[stack.pop().kind] += 1
        else:
            return self.rest(region, axis, stages, wish)
        children: list[Node] = [
            self.part(region.part(axis, at, made), stack[index], wish) for index, at, made in places(arranged)
        ]
        return self.close(region, axis, stages, Made(entries, arranged, children), wish)

    def part(self, region: Region, v: Variant, wish: Wish) -> Leaf:
        """A part where its edges and its tolerance allow it; scrap otherwise, and the part given back."""
        kind = self.kinds[v.kind]
        (x, y), at_x, at_y = region
        leaf = Leaf("part", at_x, at_y, x.size, y.size, kind.ref, v.rotated != kind.swapped)
        # As :func:`.walk.leaf_refused`, with deviations that are known.
        if (
            (x.size, y.size) != (v.dx, v.dy)
            or x.near_mill
            or x.far_mill
            or y.near_mill
            or y.far_mill
            or x.spread > v.tol_x
            or y.spread > v.tol_y
        ):
            wish.caps[v.kind] += 1
            return self.waste("scrap", region)
        return leaf

    def arranged(self, extent: Extent, entries: list[Entry], rest: Entry | None = None) -> Arranged | None:
        """The entries in an order that can be cut, None when none of those tried can."""
        self.filler.steps += 50 + 10 * len(entries)
        key = (extent, rest, *entries)
        arranged = self._arranged.get(key)
        if arranged is None:
            if len(self._arranged) >= _MOST_KEPT:
                self._arranged.clear()
            arranged = arrange(self.machine, extent, entries, self.trim, rest, self.known)
            self._arranged[key] = arranged
        return None if isinstance(arranged, str) else arranged

    def close(self, region: Region, axis: Axis, stages: int, level: Made, wish: Wish) -> Node:
        """A split from its parts: the trim first, the children, and the rest, filled if it can be."""
        arranged = level.arranged
        extent = region.piece.along(axis)
        nodes: list[Node] = []
        at = 0
        for place, depth in enumerate(arranged.before):
            kind: LeafKind = "trim" if arranged.trimmed and place == 0 else "scrap"
            nodes.append(self.waste(kind, region.part(axis, at, arranged.made[place].made)))
            at += depth
        nodes.extend(level.children)
        if arranged.rest:
            made = arranged.extent_of(len(arranged.order))
            beyond = region.part(axis, extent.size - arranged.rest, made)
            before = list(wish.caps)
            parted = len(arranged.before) > arranged.trimmed
            rest = self.waste("scrap", beyond) if parted else self.rest(beyond, axis, stages - 1, wish)
            if isinstance(rest, Split):
                entry = Entry(
                    arranged.rest,
                    tolerance_along(rest, axis, self.parts),
                    needs_good_edges(rest, axis),
                    (),
                )
                ordered = [level.entries[i] for i in arranged.order]
                again = self.arranged(extent, ordered, entry)
                if again is None or again.order != tuple(range(len(ordered))):
                    wish.caps[:] = before
                    rest = self.waste("scrap", beyond)
            nodes.append(rest)
        if len(nodes) == 1:
            return nodes[0]
        piece = region.piece
        return Split(axis, region.x, region.y, piece.x.size, piece.y.size, tuple(nodes))

    def rest(self, region: Region, axis: Axis, stages: int, wish: Wish) -> Node:
        """What is left beside the items of a level along `axis`: cut the other way, or waste."""
        dx, dy = region.piece.x.size, region.piece.y.size
        if stages >= 1:
            caps, values = wish.caps, wish.values
            for v in self.filler.variants:
                if v.dx <= dx and v.dy <= dy and caps[v.kind] > 0 and values[v.kind] > 0:
                    node = self.fill(region, OTHER[axis], stages, wish)
                    if node is not None:
                        return node
                    break
        return self.waste("scrap", region)


@dataclass(frozen=True, slots=True)
class Made:
    """A level as far as it is built: its entries, how they are arranged, and their nodes in that order."""

    entries: list[Entry]
    arranged: Arranged
    children: list[Node]


def places(arranged: Arranged) -> Iterator[tuple[int, Length, Extent]]:
    """Entry, offset from the near end, and what becomes of it, in the order of cutting."""
    at = sum(arranged.before)
    for place, index in enumerate(arranged.order):
        made = arranged.extent_of(place)
        yield index, at, made
        at += made.size


def _strip_entry(strip: Strip, axis: Axis) -> Entry:
    finest, wanted = NO_LIMIT, False
    for slot, _ in strip.slots:
        v = slot.stack[0]
        if len(slot.stack) == 1 and v.along(axis) == strip.depth:
            finest = min(finest, v.tolerance(axis))
            wanted = True
    content = tuple(
        number
        for slot, count in strip.slots
        for v in slot.stack
        for number in (v.kind, int(v.rotated), count)
    )
    return Entry(strip.depth, finest, wanted, content)


def _slot_entry(slot: Slot, across: Axis, axis: Axis, depth: Length) -> Entry:
    tolerance = min(v.tolerance(across) for v in slot.stack)
    content = tuple(number for v in slot.stack for number in (v.kind, int(v.rotated)))
    alone = int(len(slot.stack) == 1 and slot.stack[0].along(axis) == depth)
    return Entry(slot.breadth, tolerance, True, (1 - alone, *content))


def stages_of(node: Node, *, sheet: bool = True) -> int:
    """How many levels of cuts lie inside one another; cuts that only take ends off are none of them.

    `sheet` says whether the node is a whole piece of stock, of which what is left over at the far end may
    come off as the trim does.
    """
    if isinstance(node, Leaf):
        return 0
    inside = max(stages_of(child, sheet=False) for child in node.children)
    return inside + (not _only_ends(node, sheet))


def _only_ends(node: Split, sheet: bool) -> bool:
    """Whether a mill edge comes off, or one at both ends, and the rest is cut the other way."""
    kinds = [one.kind if isinstance(one, Leaf) else "cut" for one in node.children]
    if sheet and kinds == ["trim", "cut", "scrap"]:
        return True
    return "trim" in kinds and [kind for kind in kinds if kind != "trim"] == ["cut"]
