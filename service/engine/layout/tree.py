"""Carrying strips out as a guillotine tree that the machine can cut, and filling what is left.

A tree is built from the outside in, each level arranged by :mod:`service.engine.layout.rules` with
the true state of the piece at that moment (mill edges, spread). What a level cannot separate is
left out, so that a tree is cuttable by construction; it is walked once more before it is accepted.
Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from service.engine.layout import rules
from service.engine.layout.kinds import Kind, Variant
from service.engine.layout.levels import Arranged, Entry, arrange
from service.engine.layout.patterns import OTHER, Filler, Grain, Slot, Strip
from service.engine.layout.rules import NO_LIMIT, Extent, Piece
from service.engine.order import Part
from service.engine.plan import Axis, Leaf, LeafKind, Node, Split
from service.engine.quantities import Length


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
        self.offcut_min = (max(offcut_min), min(offcut_min))

    def fill(
        self,
        piece: Piece,
        corner: tuple[Length, Length],
        axis: Axis,
        stages: int,
        values: Sequence[int],
        caps: list[int],
        grain: Grain,
    ) -> Node | None:
        """Parts for a piece, cut along `axis` first; None when none can be placed."""
        strips = self.filler.strips(piece, axis, stages, values, caps, grain)
        if not strips:
            return None
        return self._level(piece, corner, axis, stages, strips, values, caps, grain)

    def carry_out(
        self, piece: Piece, axis: Axis, stages: int, strips: list[Strip], caps: list[int]
    ) -> Node | None:
        """Given strips as a tree, nothing else filled in."""
        nothing = [0] * len(self.kinds)
        return self._level(piece, (0, 0), axis, stages, strips, nothing, caps, Grain())

    def waste(self, kind: LeafKind, corner: tuple[Length, Length], dx: Length, dy: Length) -> Leaf:
        """A leaf that holds no part; scrap large enough for the rack is an offcut."""
        if kind == "scrap" and max(dx, dy) >= self.offcut_min[0] and min(dx, dy) >= self.offcut_min[1]:
            kind = "offcut"
        return Leaf(kind, corner[0], corner[1], dx, dy)

    def _level(
        self,
        piece: Piece,
        corner: tuple[Length, Length],
        axis: Axis,
        stages: int,
        strips: list[Strip],
        values: Sequence[int],
        caps: list[int],
        grain: Grain,
    ) -> Node | None:
        """The first level: strips one after another along `axis`."""
        extent = piece.along(axis)
        while strips:
            entries = [_strip_entry(strip, axis) for strip in strips]
            arranged = arrange(self.machine, extent, entries, self.trim)
            if not isinstance(arranged, str):
                break
            worst = min(range(len(strips)), key=lambda i: (strips[i].value // strips[i].depth, -i))
            strips = [strip for i, strip in enumerate(strips) if i != worst]
        else:
            return None
        for strip in strips:
            for kind, count in strip.use:
                caps[kind] -= count
        children: list[Node] = []
        places = self._places(arranged, extent, corner, axis)
        for (place, at), index in zip(places, arranged.order, strict=True):
            made = arranged.extent_of(place)
            sub = _piece(axis, made, piece.across(axis))
            strip = strips[index]
            node = self._strip(sub, at, axis, stages - 1, strip, values, caps, grain)
            children.append(node)
        return self._close(piece, corner, axis, stages, entries, arranged, children, values, caps, grain)

    def _strip(
        self,
        piece: Piece,
        corner: tuple[Length, Length],
        axis: Axis,
        stages: int,
        strip: Strip,
        values: Sequence[int],
        caps: list[int],
        grain: Grain,
    ) -> Node:
        """A strip cut into slots across `axis`; slots that cannot be separated are given back."""
        across = OTHER[axis]
        extent = piece.along(across)
        slots = [slot for slot, count in strip.slots for _ in range(count)]
        while slots:
            entries = [_slot_entry(slot, across, axis, strip.depth) for slot in slots]
            arranged = arrange(self.machine, extent, entries, self.trim)
            if not isinstance(arranged, str):
                break
            worst = min(range(len(slots)), key=lambda i: (slots[i].value // slots[i].breadth, -i))
            for v in slots[worst].stack:
                caps[v.kind] += 1
            slots = [slot for i, slot in enumerate(slots) if i != worst]
        else:
            return self._rest(piece, corner, across, stages, values, caps, grain)
        children: list[Node] = []
        for (place, at), index in zip(
            self._places(arranged, extent, corner, across), arranged.order, strict=True
        ):
            made = arranged.extent_of(place)
            sub = _piece(across, made, piece.along(axis))
            whole = len(slots) == 1 and made.size == extent.size
            children.append(
                self._slot(sub, at, axis, stages if whole else stages - 1, slots[index], values, caps, grain)
            )
        return self._close(piece, corner, across, stages, entries, arranged, children, values, caps, grain)

    def _slot(
        self,
        piece: Piece,
        corner: tuple[Length, Length],
        axis: Axis,
        stages: int,
        slot: Slot,
        values: Sequence[int],
        caps: list[int],
        grain: Grain,
    ) -> Node:
        extent = piece.along(axis)
        if len(slot.stack) == 1 and slot.stack[0].along(axis) == extent.size:
            return self._part(piece, corner, slot.stack[0], caps)
        stack = list(slot.stack)
        while stack:
            entries = [Entry(v.along(axis), v.tolerance(axis), True, (v.kind, int(v.rotated))) for v in stack]
            arranged = arrange(self.machine, extent, entries, self.trim)
            if not isinstance(arranged, str):
                break
            caps[stack.pop().kind] += 1
        else:
            return self._rest(piece, corner, axis, stages, values, caps, grain)
        children: list[Node] = []
        for (place, at), index in zip(
            self._places(arranged, extent, corner, axis), arranged.order, strict=True
        ):
            sub = _piece(axis, arranged.extent_of(place), piece.across(axis))
            children.append(self._part(sub, at, stack[index], caps))
        return self._close(piece, corner, axis, stages, entries, arranged, children, values, caps, grain)

    def _part(self, piece: Piece, corner: tuple[Length, Length], v: Variant, caps: list[int]) -> Leaf:
        """A part where its edges and its tolerance allow it; scrap otherwise, and the part given back."""
        kind = self.kinds[v.kind]
        leaf = Leaf(
            "part",
            corner[0],
            corner[1],
            piece.x.size,
            piece.y.size,
            kind.ref,
            v.rotated != kind.swapped,
        )
        if isinstance(rules.walk(self.machine, leaf, piece, self.parts, self.trim), str):
            caps[v.kind] += 1
            return self.waste("scrap", corner, piece.x.size, piece.y.size)
        return leaf

    def _places(
        self, arranged: Arranged, extent: Extent, corner: tuple[Length, Length], axis: Axis
    ) -> Iterator[tuple[int, tuple[Length, Length]]]:
        """Place in the order, and corner, of each entry."""
        at = (corner[0] if axis == "x" else corner[1]) + arranged.trim
        for place in range(len(arranged.order)):
            yield place, ((at, corner[1]) if axis == "x" else (corner[0], at))
            at += arranged.extent_of(place).size

    def _close(
        self,
        piece: Piece,
        corner: tuple[Length, Length],
        axis: Axis,
        stages: int,
        entries: list[Entry],
        arranged: Arranged,
        children: list[Node],
        values: Sequence[int],
        caps: list[int],
        grain: Grain,
    ) -> Node:
        """A split from its parts: the trim first, the children, and the rest, filled if it can be."""
        extent, across = piece.along(axis), piece.across(axis)
        start = corner[0] if axis == "x" else corner[1]
        nodes: list[Node] = []
        if arranged.trim:
            nodes.append(
                Leaf("trim", *corner, arranged.trim, across.size)
                if axis == "x"
                else Leaf("trim", *corner, across.size, arranged.trim)
            )
        nodes.extend(children)
        if arranged.rest:
            at = start + extent.size - arranged.rest
            place = len(arranged.order)
            rest_at = (at, corner[1]) if axis == "x" else (corner[0], at)
            rest_piece = _piece(axis, arranged.extent_of(place), across)
            before = list(caps)
            rest = self._rest(rest_piece, rest_at, axis, stages - 1, values, caps, grain)
            if isinstance(rest, Split):
                entry = Entry(
                    arranged.rest,
                    rules.tolerance_along(rest, axis, self.parts),
                    rules.needs_good_edges(rest, axis),
                    (),
                )
                ordered = [entries[i] for i in arranged.order]
                again = arrange(self.machine, extent, ordered, self.trim, entry)
                if isinstance(again, str) or again.order != tuple(range(len(ordered))):
                    caps[:] = before
                    rest = self.waste("scrap", rest_at, rest_piece.x.size, rest_piece.y.size)
            nodes.append(rest)
        if len(nodes) == 1:
            return nodes[0]
        return Split(axis, corner[0], corner[1], piece.x.size, piece.y.size, tuple(nodes))

    def _rest(
        self,
        piece: Piece,
        corner: tuple[Length, Length],
        axis: Axis,
        stages: int,
        values: Sequence[int],
        caps: list[int],
        grain: Grain,
    ) -> Node:
        """What is left beside the items of a level along `axis`: cut the other way, or waste."""
        dx, dy = piece.x.size, piece.y.size
        if stages >= 1 and any(caps[v.kind] > 0 and v.dx <= dx and v.dy <= dy for v in self.filler.variants):
            node = self.fill(piece, corner, OTHER[axis], stages, values, caps, grain)
            if node is not None:
                return node
        return self.waste("scrap", corner, dx, dy)


def _piece(axis: Axis, along: Extent, across: Extent) -> Piece:
    return Piece(along, across) if axis == "x" else Piece(across, along)


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


def leaves(node: Node) -> Iterator[Leaf]:
    """All leaves, in the order of cutting."""
    if isinstance(node, Leaf):
        yield node
        return
    for child in node.children:
        yield from leaves(child)


def stages_of(node: Node) -> int:
    """How many levels of cuts lie inside one another."""
    if isinstance(node, Leaf):
        return 0
    return 1 + max(stages_of(child) for child in node.children)
