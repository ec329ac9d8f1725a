"""Valuable guillotine layouts with no part oftener than it is wanted: a table with one layout a place.

The table of :mod:`.grid` takes parts as often as it likes. Here each entry is a layout of its own and
what it uses, and two are joined only where they use no more together than is wanted. The one kept for a
place may use what a better layout further on needs: the layouts are good, often the best, and prove
nothing. (Tables that know what was used: N. Christofides and C. Whitlock, Operations Research 25, 1977,
from memory; to keep one entry of them is our own way.) Levels of cuts are not limited. Lengths are whole
hundredths of a millimetre, values whole numbers.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from service.engine.layout.counts import Counts
from service.engine.layout.grid import Cuts, Grid, Shape
from service.engine.plan import Axis

Ints: TypeAlias = NDArray[np.int64]
Places: TypeAlias = NDArray[np.intp]

_SWEEPS: Final = 40
_BLOCK: Final = 1 << 18
"""Joins looked at together: bounds the memory, and stays in the processor's cache."""


class _Pairs:
    """All cuts along one axis up to the middle of each place: the place, the cut, and what is beyond it."""

    def __init__(self, rests: Sequence[Places], halves: Sequence[int]) -> None:
        at: list[Places] = []
        cut: list[Places] = []
        rest: list[Places] = []
        for place, half in enumerate(halves):
            if place:
                upto = np.arange(1, half)
                at.append(np.full(len(upto), place))
                cut.append(upto)
                rest.append(rests[place][1:half])
        self.at = np.concatenate(at) if at else np.zeros(0, np.intp)
        self.cut = np.concatenate(cut) if cut else np.zeros(0, np.intp)
        self.rest = np.concatenate(rest) if rest else np.zeros(0, np.intp)


class Rationed:
    """The table of the places of a grid, no kind used oftener than `counts` says.

    `work` counts the joins looked at. `stop` is asked now and then within a table.
    """

    def __init__(self, grid: Grid, counts: Sequence[int], stop: Callable[[], bool] | None = None) -> None:
        self.grid = grid
        self._stop = stop
        self.shape = len(grid.xs), len(grid.ys)
        self.variants = grid.variants
        self.counts = Counts({kind: counts[kind] for kind in sorted({v.kind for v in self.variants})})
        self.ones = [self.counts.one(v.kind) for v in self.variants]
        self.pairs = _Pairs(grid.rest_x, grid.half_x), _Pairs(grid.rest_y, grid.half_y)
        self.work = 0

    def price(self, prices: Sequence[int]) -> None:
        """Fill the table at these prices, one a kind.

        When `stop` says so the table is left as it is: what it holds by then are layouts too.
        """
        self.value = np.zeros(self.shape, np.int64)
        self.use = np.zeros((self.counts.words, *self.shape), np.int64)
        self.node = np.full(self.shape, -1, np.int64)
        self._starts: list[int] = []
        self._batches: list[tuple[Axis, Ints, Ints]] = []
        self._made = len(self.variants)
        for number, (v, one) in enumerate(zip(self.variants, self.ones, strict=True)):
            at = self.grid.at_x[v.dx], self.grid.at_y[v.dy]
            if prices[v.kind] > self.value[at]:
                self.value[at] = prices[v.kind]
                self.use[:, at[0], at[1]] = one
                self.node[at] = number
        self._spread()
        fresh = [self.value > 0, self.value > 0]
        for sweep in range(_SWEEPS):
            if self._stop is not None and self._stop():
                break
            number = sweep % 2
            changed = self._swept("y" if number else "x", fresh[number])
            fresh[number] = changed
            fresh[1 - number] = fresh[1 - number] | changed
            if not fresh[0].any() and not fresh[1].any():
                break

    def _spread(self) -> NDArray[np.bool_]:
        """What a smaller room holds is there in a larger one too; which entries have changed."""
        before = self.node
        for axis in (0, 1):
            count = self.shape[axis]
            places = np.arange(count).reshape((-1, 1) if axis == 0 else (1, -1))
            best = np.maximum.accumulate(self.value * count + places, axis=axis)
            source = best % count
            self.value = best // count
            self.node = np.take_along_axis(self.node, source, axis)
            for word in range(len(self.use)):
                self.use[word] = np.take_along_axis(self.use[word], source, axis)
        changed: NDArray[np.bool_] = self.node != before
        return changed

    def _swept(self, axis: Axis, fresh: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Join what lies side by side along an axis where one of the two is `fresh`; the entries changed."""
        before = self.node
        turned = axis == "y"
        value, node, use, new = self.value, before.copy(), self.use, fresh
        if turned:
            value, node, use, new = value.T, node.T, use.transpose(0, 2, 1), new.T
        width = max(_BLOCK // max(len(self.pairs[turned].at), 1), 1)
        for start in range(0, value.shape[1], width):
            lanes = slice(start, start + width)
            self._joined(axis, value[:, lanes], node[:, lanes], use[:, :, lanes], new[:, lanes])
        self.node = node.T if turned else node
        self._spread()
        changed: NDArray[np.bool_] = self.node != before
        return changed

    def _joined(self, axis: Axis, value: Ints, node: Ints, use: Ints, new: NDArray[np.bool_]) -> None:
        """The same for some lanes, in place; the places lie first, or in `use` after the words."""
        pairs = self.pairs[axis == "y"]
        wider = np.zeros(value.shape, np.bool_)
        wider[1:] = value[1:] > value[:-1]
        tried = wider[pairs.cut] & (new[pairs.cut] | new[pairs.rest])
        pair, lane = np.nonzero(tried)
        count = value.shape[1]
        one, two, cell = (each[pair] * count + lane for each in (pairs.cut, pairs.rest, pairs.at))
        flat = value.ravel()
        gain = flat[one] + flat[two]
        self.work += len(gain)
        better = np.flatnonzero(gain > flat[cell])
        one, two, cell, gain = one[better], two[better], cell[better], gain[better]
        uses = [word.ravel() for word in use]
        over = np.zeros(len(one), np.bool_)
        for number, word in enumerate(uses):
            over |= self.counts.over_in(number, word[one] + word[two])
        within = np.flatnonzero(~over)
        if len(within) == 0:
            return
        one, two, cell, gain = one[within], two[within], cell[within], gain[within]
        # Of joins worth the same the first one.
        rank = np.arange(len(within) - 1, -1, -1)
        best = np.full(flat.shape, -1, np.int64)
        np.maximum.at(best, cell, gain * len(within) + rank)
        cells = np.flatnonzero(best >= 0)
        pick = len(within) - 1 - best[cells] % len(within)
        one, two, gain = one[pick], two[pick], gain[pick]
        at = np.unravel_index(cells, value.shape)
        nodes = node.ravel()
        self._starts.append(self._made)
        self._batches.append((axis, nodes[one], nodes[two]))
        for number, word in enumerate(uses):
            use[number][at] = word[one] + word[two]
        value[at] = gain
        node[at] = np.arange(self._made, self._made + len(cells))
        self._made += len(cells)

    def shapes(self, room: int, most: int, least: int) -> list[Shape]:
        """Up to so many layouts of that room worth more than `least`, the most valuable first.

        They differ in the cut that parts them first.
        """
        i, j = self.grid.rooms[room]
        ranked: list[tuple[int, int, int, int]] = []
        if self.value[i, j] > least:
            ranked.append((-int(self.value[i, j]), -1, int(self.node[i, j]), -1))
        for number, pairs in enumerate(self.pairs):
            line = (i, slice(None)) if number else (slice(None), j)
            value, node, use = self.value[line], self.node[line], self.use[(slice(None), *line)]
            here = pairs.at == (j if number else i)
            one, two = pairs.cut[here], pairs.rest[here]
            both = (value[one] > 0) & (value[two] > 0)
            one, two = one[both], two[both]
            gain = value[one] + value[two]
            over = self.counts.over((use[:, one] + use[:, two]).T)
            ranked.extend(
                (-int(gain[k]), number, int(node[one[k]]), int(node[two[k]]))
                for k in np.flatnonzero(~over & (gain > least))
            )
        found: dict[Shape, None] = {}
        for _, number, one_node, two_node in sorted(ranked):
            if len(found) == most:
                break
            shape = self._shape(one_node)
            if two_node >= 0:
                shape = _beside("y" if number else "x", shape, self._shape(two_node))
            found[shape] = None
        return list(found)

    def _shape(self, node: int) -> Shape:
        if node < len(self.variants):
            return self.variants[node]
        batch = bisect_right(self._starts, node) - 1
        axis, one, two = self._batches[batch]
        at = node - self._starts[batch]
        return _beside(axis, self._shape(int(one[at])), self._shape(int(two[at])))


def _beside(axis: Axis, one: Shape, two: Shape) -> Shape:
    children: list[Shape] = []
    for shape in (one, two):
        children.extend(shape.children if isinstance(shape, Cuts) and shape.axis == axis else (shape,))
    return Cuts(axis, tuple(children))
