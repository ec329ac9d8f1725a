"""The most that parts may add beside a layout, each no more often than it is wanted.

A layout that reaches to ``(x, y)`` takes at least ``f(x) · g(y)`` of the ``f(l) · g(w)`` that a sheet
holds, for superadditive f and g (:mod:`.dual`); what is cut from the rest takes no more than what is
left of it. So the rest is worth no more than the best that fits in so much, in fractions (Dantzig's
bound of the knapsack problem, Operations Research 5, 1957), whichever f and g are looked at.
Lengths are whole hundredths of a millimetre, all sums whole numbers.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from service.engine.layout.beyond import Ints
from service.engine.layout.dual import Measure, measures
from service.engine.layout.kinds import Kind
from service.engine.quantities import Length

_MEASURES: Final = 20
_PAIRS: Final = 40
"""Pairs of measures, those that say most for a whole sheet, that the rests are looked at with."""
_SHARE_BITS: Final = 38
_LARGEST: Final = 1 << 62


class Spare:
    """The measures of the parts of one sheet size; asked again for each worth of the parts."""

    def __init__(self, kinds: Sequence[Kind], counts: Sequence[int], room: tuple[Length, Length]) -> None:
        self.live = [kind for kind, n in zip(kinds, counts, strict=True) if n]
        self.counts = np.array([n for n in counts if n], np.int64)
        self.room = room
        sizes = [{v.dx for k in self.live for v in k.variants}, {v.dy for k in self.live for v in k.variants}]
        self.along = [measures(whole, each, _MEASURES) for whole, each in zip(room, sizes, strict=True)]
        ways = max(len(k.variants) for k in self.live)
        lying = [[k.variants[min(way, len(k.variants) - 1)] for k in self.live] for way in range(ways)]
        self.parts_x = [[_table(f, [v.dx for v in row]) for row in lying] for f in self.along[0]]
        self.parts_y = [[_table(g, [v.dy for v in row]) for row in lying] for g in self.along[1]]

    def table(self, worths: Sequence[int], xs: Ints, ys: Ints) -> Ints:
        """For each reach ``(xs[i], ys[j])`` of a layout, the most that parts beside it are worth.

        `worths` are those of the kinds that are wanted, in their order.
        """
        worth = np.array(worths, np.int64)
        ranked: list[tuple[int, int, int]] = []
        for i, f in enumerate(self.along[0]):
            for j, g in enumerate(self.along[1]):
                holds = f(self.room[0]) * g(self.room[1])
                if holds > 0 and holds * max(worths) < _LARGEST:
                    filled = _Filled(self._sizes(i, j), self.counts, worth, holds)
                    ranked.append((int(filled.most(np.array([holds]))[0]), i, j))
        table = np.full((len(xs), len(ys)), int(worth @ self.counts), np.int64)
        for _, i, j in sorted(ranked)[:_PAIRS]:
            f, g = self.along[0][i], self.along[1][j]
            holds = f(self.room[0]) * g(self.room[1])
            left = holds - np.outer(_table(f, xs.tolist()), _table(g, ys.tolist()))
            np.minimum(table, _Filled(self._sizes(i, j), self.counts, worth, holds).most(left), out=table)
        return table

    def _sizes(self, i: int, j: int) -> Ints:
        # A part may be turned as suits the layout: only the least that it takes is sure.
        both = [x * y for x, y in zip(self.parts_x[i], self.parts_y[j], strict=True)]
        sizes: Ints = np.minimum.reduce(both)
        return sizes


class _Filled:
    """Parts taken by falling worth for their size, in fractions at the last."""

    def __init__(self, sizes: Ints, counts: Ints, worth: Ints, holds: int) -> None:
        taking = (sizes > 0) & (worth > 0)
        self.free = int((worth * counts)[sizes <= 0].sum())
        sizes, worth, counts = sizes[taking], worth[taking], counts[taking]
        order = np.argsort(-((worth << _SHARE_BITS) // sizes), kind="stable")
        self.sizes, self.worth = sizes[order], worth[order]
        self.to = np.concatenate([[0], np.cumsum(self.sizes * counts[order])])
        self.sums = np.concatenate([[0], np.cumsum(self.worth * counts[order])])
        # Shares that differ by less than the bits kept may stand in the wrong order.
        self.slack = 1 + (holds >> _SHARE_BITS)

    def most(self, left: NDArray[Any]) -> Ints:
        """The most that fits into so much."""
        if len(self.sizes) == 0:
            return np.full(left.shape, self.free, np.int64)
        at = np.searchsorted(self.to, left, side="right") - 1
        last = np.minimum(at, len(self.sizes) - 1)
        part = -(-(left - self.to[at]) * self.worth[last] // self.sizes[last])
        most: Ints = self.sums[at] + np.where(at < len(self.sizes), part, 0) + self.free + self.slack
        return most


def _table(f: Measure, sizes: Iterable[Length]) -> Ints:
    return np.array([f(size) for size in sizes], np.int64)
