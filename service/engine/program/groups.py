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

from service.engine.layout.rules import Cut, Extent, Piece, Separation
from service.engine.layout.walk import Walked
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


def links_of(
    tree: Node, piece: Piece, walked: Walked, batch: int, *, apart: bool = False
) -> tuple[Link, ...]:
    """All the work on `batch` equal pieces divided by `tree`, group by group.

    Parameters
    ----------
    tree
        Layout tree.
    piece
        What the stock piece is before the first cut.
    walked
        The separations of every split, from :func:`~service.engine.layout.walk.walk`.
    batch
        Equal stock pieces that go through together.
    apart
        Whether only pieces that come off one after another from the same piece form a group: more
        settings of the gauge, but no group waits for its like from elsewhere.

    Returns
    -------
    Links in the order of the tree; the first is the first cut of the sheet. Empty when nothing is cut.
    """
    groups = _Groups(walked, apart)
    groups.collect(_only(tree), piece, 0, groups.first_key(tree, piece))
    numbers = {key: number for number, key in enumerate(groups.members)}
    links: list[Link] = []
    for key, member in groups.members.items():
        links.extend(_chain(key, member, groups, batch, numbers))
    return tuple(links)


class _Groups:
    """The groups of a layout as they are found, by what tells them from each other."""

    def __init__(self, walked: Walked, apart: bool) -> None:
        self.walked = walked
        self.apart = apart
        self.members: dict[Signature, _Member] = {}
        self.known: dict[tuple[int, Piece], Signature] = {}

    def first_key(self, node: Node, piece: Piece) -> Signature:
        return () if self.apart else self.signature(node, piece)

    def keys(self, key: Signature, split: Split, piece: Piece) -> tuple[Signature, ...]:
        """For each separation of a split in the group `key`, the group that its piece belongs to."""
        made = self.walked[id(split)]
        found = [
            self.signature(_only(split.children[one.index]), _sub(piece, split.axis, one.made))
            for one in made
        ]
        if not self.apart:
            return tuple(found)
        first = 0
        keys: list[Signature] = []
        for place, one in enumerate(made):
            if found[place] != found[first] or _cut_key(one) != _cut_key(made[first]):
                first = place
            keys.append((*key, first))
        return tuple(keys)

    def signature(self, node: Node, piece: Piece) -> Signature:
        """What tells the node on that piece from others that are not cut with it."""
        node = _only(node)
        if isinstance(node, Leaf):
            return (node.kind, node.ref, node.dx, node.dy, node.rotated)
        key = id(node), piece
        found = self.known.get(key)
        if found is None:
            x, y = piece.x, piece.y
            edges = (x.near_mill, x.far_mill, y.near_mill, y.far_mill)
            children = tuple(
                [
                    (
                        _cut_key(made),
                        self.signature(node.children[made.index], _sub(piece, node.axis, made.made)),
                    )
                    for made in self.walked[id(node)]
                ]
            )
            found = self.known[key] = (node.axis, node.dx, node.dy, edges, children)
        return found

    def collect(self, node: Node, piece: Piece, level: int, key: Signature) -> None:
        if isinstance(node, Leaf):
            return
        member = self.members.get(key)
        if member is None:
            self.members[key] = _Member(node, piece, level, 1)
        else:
            member.count += 1
            member.level = max(member.level, level)
        for separation, inner in zip(self.walked[id(node)], self.keys(key, node, piece), strict=True):
            child = _only(node.children[separation.index])
            self.collect(child, _sub(piece, node.axis, separation.made), level + 1, inner)


def _only(node: Node) -> Node:
    """The node itself, or what it consists of when it is a split with one child."""
    while isinstance(node, Split) and len(node.children) == 1:
        node = node.children[0]
    return node


def _sub(piece: Piece, axis: Axis, made: Extent) -> Piece:
    return Piece(made, piece.y) if axis == "x" else Piece(piece.x, made)


def _cut_key(separation: Separation) -> Signature:
    cut = separation.cut
    return () if cut is None else (cut.gauging, cut.gauge, cut.item_falls, cut.from_far)


def _chain(
    key: Signature, member: _Member, groups: _Groups, batch: int, numbers: dict[Signature, int]
) -> Iterable[Link]:
    split, axis, number = member.split, member.split.axis, numbers[key]
    pieces = member.count * batch
    made = groups.walked[id(split)]
    keys = groups.keys(key, split, member.piece)

    def leads(place: int) -> Goes:
        child = _only(split.children[made[place].index])
        if isinstance(child, Leaf):
            return Goes(child.kind, child.ref, None, child.dx, child.dy, pieces)
        return Goes("piece", None, (numbers[keys[place]], 0), child.dx, child.dy, pieces)

    rest = member.piece.along(axis)
    across = member.piece.across(axis)
    start = place = 0
    while (cut := made[start].cut) is not None:
        end = _run_end(made, start, rest)
        if groups.apart:
            end = next((one for one in range(start + 1, end) if keys[one] != keys[start]), end)
        taken = sum(made[index].made.size for index in range(start, end))
        left = rest._replace(size=rest.size - taken, near_mill=False)
        if made[end].cut is None:
            on = leads(end)
        else:
            dx, dy = (left.size, across.size) if axis == "x" else (across.size, left.size)
            on = Goes("piece", None, (number, place + 1), dx, dy, pieces)
        items = _merged(leads(index) for index in range(start, end))
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
