"""One sheet as a tree of parts with sizes from the inside out, and the rooms that are left in it.

A level of cuts is as long as its children together and as broad as the broadest of them, so that no
cut has its place before it must: what one part leaves is open to all that lie beside it. Which rules
the machine has is not known here. Trees are tuples that are never changed, so that undoing costs
nothing. Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from typing import Any, Final, TypeAlias

from service.engine.layout.grid import Cuts, Shape
from service.engine.layout.kinds import Variant
from service.engine.plan import Axis
from service.engine.quantities import Length

Tree: TypeAlias = tuple[Length, Length, int, Any]
"""(size along x, size along y, axis, content): axis 0 and 1 are a level along x and y with its children,
:data:`PART` is a part with the number of its variant."""

PART: Final = -1
_PAIRED: Final = 8
"""Children of a level up to which two of them are laid together: of many, each is small."""
_AXES: Final[tuple[Axis, Axis]] = ("x", "y")

Path: TypeAlias = tuple[int, ...]
"""Places of children from the root on."""

Room: TypeAlias = tuple[Length, Length, Path, int, int]
"""(along x, along y, the node a part may be put beside, along which axis, second child or -1): with a
second child, the part goes beside that child and the one that the path ends with, laid together."""


def level(axis: int, children: Sequence[Tree]) -> Tree:
    """Trees one after another along an axis; levels along the same axis are taken up.

    >>> level(0, [(3, 5, -1, 0), (2, 7, -1, 1)])[:3]
    (5, 7, 0)
    """
    flat: list[Tree] = []
    for child in children:
        if child[2] == axis:
            flat.extend(child[3])
        else:
            flat.append(child)
    if len(flat) == 1:
        return flat[0]
    if axis:
        return max([c[0] for c in flat]), sum([c[1] for c in flat]), 1, tuple(flat)
    return sum([c[0] for c in flat]), max([c[1] for c in flat]), 0, tuple(flat)


def variants_of(tree: Tree) -> Iterator[int]:
    """The variants of the parts in a tree, by their numbers."""
    if tree[2] == PART:
        yield tree[3]
        return
    for child in tree[3]:
        yield from variants_of(child)


def paths_of(tree: Tree) -> list[Path]:
    """The paths of all nodes below the root."""
    paths: list[Path] = []
    todo: list[tuple[Tree, Path]] = [(tree, ())] if tree[2] != PART else []
    while todo:
        node, path = todo.pop()
        for place, child in enumerate(node[3]):
            here = (*path, place)
            paths.append(here)
            if child[2] != PART:
                todo.append((child, here))
    return paths


def rooms_of(
    tree: Tree, width: Length, height: Length, least: tuple[Length, Length], levels: int
) -> list[Room]:
    """The rooms of a tree in a sheet of that usable size.

    A room is the largest rectangle that may be put at a place with the whole still within the sheet;
    those smaller than `least`, and those inside so many levels of cuts, are left out.
    """
    low_x, low_y = least
    rooms: list[Room] = []
    dx, dy, axis, _ = tree
    if width - dx >= low_x:
        rooms.append((width - dx, height, (), 0, -1))
    if height - dy >= low_y:
        rooms.append((width, height - dy, (), 1, -1))
    if axis == PART:
        return rooms
    todo: list[tuple[Tree, Length, Length, Path]] = [(tree, width, height, ())]
    while todo:
        (dx, dy, axis, children), most_x, most_y, path = todo.pop()
        if len(path) + 1 >= levels:
            continue
        paired = 2 < len(children) <= _PAIRED
        if axis:
            spare = most_y - dy
            for place, child in enumerate(children):
                own, room_x = spare + child[1], most_x - child[0]
                if room_x >= low_x:
                    if own >= low_y:
                        rooms.append((room_x, own, (*path, place), 0, -1))
                    if paired:
                        # Beside two children laid together: room for a part that is longer than either.
                        for other in range(place + 1, len(children)):
                            second = children[other]
                            across, length = min(room_x, most_x - second[0]), own + second[1]
                            if across >= low_x and length >= low_y:
                                rooms.append((across, length, (*path, place), 0, other))
                if child[2] != PART:
                    todo.append((child, most_x, own, (*path, place)))
        else:
            spare = most_x - dx
            for place, child in enumerate(children):
                own, room_y = spare + child[0], most_y - child[1]
                if room_y >= low_y:
                    if own >= low_x:
                        rooms.append((own, room_y, (*path, place), 1, -1))
                    if paired:
                        for other in range(place + 1, len(children)):
                            second = children[other]
                            across, length = min(room_y, most_y - second[1]), own + second[0]
                            if across >= low_y and length >= low_x:
                                rooms.append((length, across, (*path, place), 1, other))
                if child[2] != PART:
                    todo.append((child, own, most_y, (*path, place)))
    return rooms


def put(tree: Tree, room: Room, part: Tree) -> Tree:
    """The tree with a part put into one of its rooms."""
    return _put(tree, room[2], room[3], room[4], part)


def _put(tree: Tree, path: Path, axis: int, second: int, part: Tree) -> Tree:
    if not path:
        return level(axis, (tree, part))
    place = path[0]
    children = tree[3]
    if second >= 0 and len(path) == 1:
        pair = level(axis, (level(tree[2], (children[place], children[second])), part))
        rest = [child for at, child in enumerate(children) if at not in (place, second)]
        return level(tree[2], (*rest, pair))
    changed = _put(children[place], path[1:], axis, second, part)
    return level(tree[2], (*children[:place], changed, *children[place + 1 :]))


def take(tree: Tree, path: Path) -> tuple[Tree, Tree]:
    """The tree without the node at that path (not the root), and that node."""
    place = path[0]
    children = tree[3]
    if len(path) == 1:
        return level(tree[2], children[:place] + children[place + 1 :]), children[place]
    changed, taken = take(children[place], path[1:])
    return level(tree[2], (*children[:place], changed, *children[place + 1 :])), taken


def without(tree: Tree, variants: Collection[int]) -> Tree | None:
    """The tree without one part that is of one of those variants; None when nothing else is in it."""
    if tree[2] == PART:
        return None
    for path in paths_of(tree):
        rest, taken = take(tree, path)
        if taken[2] == PART and taken[3] in variants:
            return rest
    return tree


def shape_of(tree: Tree, variants: Sequence[Variant]) -> Shape:
    """The tree as a shape that :func:`.carve.carve` can carry out."""
    if tree[2] == PART:
        return variants[tree[3]]
    return Cuts(_AXES[tree[2]], tuple(shape_of(child, variants) for child in tree[3]))
