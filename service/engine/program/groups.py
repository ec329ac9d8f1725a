"""From a layout tree to work: which pieces are alike, and the chain of cuts each of them goes through.

Pieces of one layout with equal sizes, equal edges and equal contents that are cut in the same way form
a :class:`Group`: they share a name and go through the same steps together. A group has a chain of
:class:`Link`, one for each setting of the gauge; what a link leaves in one piece the next link takes up.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any, Literal, TypeAlias

from service.engine.layout.rules import Cut, Extent, Piece, Separation, Walked
from service.engine.plan import Axis, Leaf, Node, Split
from service.engine.quantities import Length

Signature: TypeAlias = tuple[Any, ...]
"""Equal for pieces that may be cut together."""

Work: TypeAlias = tuple[int, int]
"""The link that takes a piece up: number of its group, place in the chain."""

End: TypeAlias = Literal["near", "far"]


@dataclass(frozen=True, slots=True)
class Goes:
    """Where pieces go after a cut: to a leaf of the tree, or on to the link `work`."""

    kind: Literal["part", "piece", "offcut", "scrap", "trim"]
    ref: str | None
    work: Work | None
    dx: Length
    dy: Length
    count: int


@dataclass(frozen=True, slots=True)
class Link:
    """One setting of the gauge for all the pieces of a group.

    `extent` is the piece in the direction of depth before the first cut, `across` along the blade.
    `level` counts the changes from one split to the next since the sheet.
    """

    group: int
    place: int
    level: int
    pieces: int
    axis: Axis
    extent: Extent
    across: Extent
    cut: Cut
    repeat: int
    drops: tuple[Goes, ...]
    remainders: tuple[Goes, ...]

    @property
    def measured_end(self) -> End:
        """The end of the axis from which the gauge measures."""
        return "far" if self.cut.from_far else "near"

    @property
    def end_at_back(self) -> End:
        """The end that lies behind the blade: the one that falls."""
        return "near" if self.cut.item_falls else "far"

    @property
    def edge_state(self) -> Literal["mill", "cut"]:
        """State of the edge from which the gauge measures."""
        mill = self.extent.far_mill if self.cut.from_far else self.extent.near_mill
        return "mill" if mill else "cut"

    @property
    def fall_depth(self) -> Length:
        """Depth of what falls behind the blade at each cut."""
        cut = self.cut
        return cut.gauge if cut.item_falls or cut.from_far else self.extent.size - cut.gauge

    @property
    def is_trim(self) -> bool:
        """Whether nothing but trim falls."""
        return all(drop.kind == "trim" for drop in self.drops)


@dataclass(slots=True)
class _Member:
    split: Split
    piece: Piece
    level: int
    count: int


def links_of(tree: Node, piece: Piece, walked: Walked, batch: int) -> tuple[Link, ...]:
    """All the work on `batch` equal pieces divided by `tree`, group by group.

    Parameters
    ----------
    tree
        Layout tree.
    piece
        What the stock piece is before the first cut.
    walked
        The separations of every split, from :func:`~service.engine.layout.rules.walk`.
    batch
        Equal stock pieces that go through together.

    Returns
    -------
    Links in the order of the tree; the first is the first cut of the sheet. Empty when nothing is cut.
    """
    members: dict[Signature, _Member] = {}
    _collect(_only(tree), piece, walked, 0, members)
    numbers = {signature: number for number, signature in enumerate(members)}
    links: list[Link] = []
    for number, member in enumerate(members.values()):
        links.extend(_chain(number, member, walked, batch, numbers))
    return tuple(links)


def _only(node: Node) -> Node:
    """The node itself, or what it consists of when it is a split with one child."""
    while isinstance(node, Split) and len(node.children) == 1:
        node = node.children[0]
    return node


def _sub(piece: Piece, axis: Axis, made: Extent) -> Piece:
    return replace(piece, x=made) if axis == "x" else replace(piece, y=made)


def _collect(node: Node, piece: Piece, walked: Walked, level: int, members: dict[Signature, _Member]) -> None:
    if isinstance(node, Leaf):
        return
    signature = _signature(node, piece, walked)
    member = members.get(signature)
    if member is None:
        members[signature] = _Member(node, piece, level, 1)
    else:
        member.count += 1
        member.level = max(member.level, level)
    for separation in walked[id(node)]:
        child = _only(node.children[separation.index])
        _collect(child, _sub(piece, node.axis, separation.made), walked, level + 1, members)


def _signature(node: Node, piece: Piece, walked: Walked) -> Signature:
    node = _only(node)
    if isinstance(node, Leaf):
        return (node.kind, node.ref, node.dx, node.dy, node.rotated)
    x, y = piece.x, piece.y
    edges = (x.near_mill, x.far_mill, y.near_mill, y.far_mill)
    children = tuple(
        (_cut_key(made), _signature(node.children[made.index], _sub(piece, node.axis, made.made), walked))
        for made in walked[id(node)]
    )
    return (node.axis, node.dx, node.dy, edges, children)


def _cut_key(separation: Separation) -> Signature:
    cut = separation.cut
    return () if cut is None else (cut.gauging, cut.gauge, cut.item_falls, cut.from_far)


def _chain(
    number: int, member: _Member, walked: Walked, batch: int, numbers: dict[Signature, int]
) -> Iterable[Link]:
    split, axis = member.split, member.split.axis
    pieces = member.count * batch
    made = walked[id(split)]

    def leads(separation: Separation) -> Goes:
        child = _only(split.children[separation.index])
        if isinstance(child, Leaf):
            return Goes(child.kind, child.ref, None, child.dx, child.dy, pieces)
        inside = _sub(member.piece, axis, separation.made)
        work = (numbers[_signature(child, inside, walked)], 0)
        return Goes("piece", None, work, child.dx, child.dy, pieces)

    rest = member.piece.along(axis)
    across = member.piece.across(axis)
    start = place = 0
    while (cut := made[start].cut) is not None:
        end = _run_end(made, start, rest)
        taken = sum(made[index].made.size for index in range(start, end))
        left = replace(rest, size=rest.size - taken, near_mill=False)
        if made[end].cut is None:
            on = leads(made[end])
        else:
            dx, dy = (left.size, across.size) if axis == "x" else (across.size, left.size)
            on = Goes("piece", None, (number, place + 1), dx, dy, pieces)
        items = _merged(leads(made[index]) for index in range(start, end))
        yield Link(
            group=number,
            place=place,
            level=member.level,
            pieces=pieces,
            axis=axis,
            extent=rest,
            across=across,
            cut=cut,
            repeat=end - start,
            drops=items if cut.item_falls else (on,),
            remainders=(on,) if cut.item_falls else items,
        )
        rest, start, place = left, end, place + 1


def _run_end(made: tuple[Separation, ...], start: int, rest: Extent) -> int:
    """Where the run of equal cuts that begins at `start` ends. A cut on a mill edge stands alone."""
    first = made[start].cut
    end = start + 1
    if first is None or first.gauging != "back gauge" or first.from_far or rest.near_mill:
        return end
    while (cut := made[end].cut) is not None and _cut_key(made[end]) == _cut_key(made[start]):
        assert cut.item_falls
        end += 1
    return end


def _merged(goes: Iterable[Goes]) -> tuple[Goes, ...]:
    counts: dict[Goes, int] = {}
    for one in goes:
        bare = replace(one, count=0)
        counts[bare] = counts.get(bare, 0) + one.count
    return tuple(replace(bare, count=count) for bare, count in counts.items())
