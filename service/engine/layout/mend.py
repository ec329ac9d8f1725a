"""Layouts of a table made to hold no more of a part than is wanted, and what then fits beside it.

The table (:mod:`.grid`) knows neither how many of a part are wanted nor room between its places. Parts
that are too many are taken out, and those worth most are put into the rooms (:mod:`.slack`) that fit
best. Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Sequence

from service.engine.layout.grid import Shape, variants_in
from service.engine.layout.kinds import Variant
from service.engine.layout.slack import PART, Tree, level, put, rooms_of, shape_of
from service.engine.quantities import Length


class Mender:
    """Mends layouts for one set of variants.

    Parameters
    ----------
    variants
        Every way each part may lie.
    levels
        How many levels of cuts may lie inside one another.
    """

    def __init__(self, variants: Sequence[Variant], levels: int) -> None:
        self.variants = variants
        self.levels = levels
        self.leaves: dict[Variant, Tree] = {v: (v.dx, v.dy, PART, i) for i, v in enumerate(variants)}

    def mended(
        self, shape: Shape, room: tuple[Length, Length], values: Sequence[int], wanted: Sequence[int]
    ) -> Shape | None:
        """The layout with at most so many `wanted` of each kind, filled up; None when nothing is in it.

        `values` says by kind what a part is worth; those worth nothing are not added.
        """
        left = list(wanted)
        tree = self._thinned(shape, left)
        if tree is None:
            return None
        offered = [v for v in self.variants if left[v.kind] > 0 and values[v.kind] > 0]
        if offered:
            tree = self._filled(tree, room, offered, values, left)
        return shape_of(tree, self.variants)

    def _thinned(self, shape: Shape, left: list[int]) -> Tree | None:
        if isinstance(shape, Variant):
            if left[shape.kind] <= 0:
                return None
            left[shape.kind] -= 1
            return self.leaves[shape]
        children = [tree for child in shape.children if (tree := self._thinned(child, left)) is not None]
        return level(0 if shape.axis == "x" else 1, children) if children else None

    def _filled(
        self,
        tree: Tree,
        room: tuple[Length, Length],
        offered: Sequence[Variant],
        values: Sequence[int],
        left: list[int],
    ) -> Tree:
        least = min(v.dx for v in offered), min(v.dy for v in offered)
        rooms = rooms_of(tree, *room, least, self.levels)
        for v in sorted(offered, key=lambda v: (-values[v.kind], v.kind, v.dx)):
            while left[v.kind] > 0:
                fits = [
                    (min(r[0] - v.dx, r[1] - v.dy), max(r[0] - v.dx, r[1] - v.dy), at)
                    for at, r in enumerate(rooms)
                    if r[0] >= v.dx and r[1] >= v.dy
                ]
                if not fits:
                    break
                tree = put(tree, rooms[min(fits)[2]], self.leaves[v])
                left[v.kind] -= 1
                rooms = rooms_of(tree, *room, least, self.levels)
            if not rooms:
                break
        return tree


def worth_of(shape: Shape, values: Sequence[int]) -> int:
    """What the parts of a layout are worth together."""
    return sum(values[v.kind] for v in variants_in(shape))
