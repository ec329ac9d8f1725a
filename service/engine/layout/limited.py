"""Valuable guillotine layouts of a piece with no more copies of a part than are wanted: by table.

As :mod:`.grid`, but each size keeps a few layouts with what they use, and two are joined only when
together they do not use too many. Keeping a few makes it a heuristic: what it gives can be cut and is
within the counts, and how far it is from the best is told by the table without counts.

What a layout uses is packed (:mod:`.counts`). Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from service.engine.layout.counts import Counts, Ints
from service.engine.layout.grid import Cuts, Grid, Shape
from service.engine.layout.kinds import Variant
from service.engine.layout.shapes import OTHER
from service.engine.plan import Axis


class Limited:
    """Tables over the places of a grid, `keep` layouts for each size.

    `counts` are the pieces that may be used of each kind, by its index.
    """

    def __init__(self, grid: Grid, counts: Sequence[int], keep: int) -> None:
        self.grid = grid
        self.kinds = sorted({v.kind for v in grid.variants})
        self.counts = Counts({kind: counts[kind] for kind in self.kinds})
        self.keep = keep
        self.work = 0

    def layouts(self, prices: Sequence[int], values: Sequence[int]) -> Iterator[Shape]:
        """Layouts found for the first room: chosen at these prices, the most valuable of each table.

        `values` are what the layouts are worth in the end; `prices` may differ to spare scarce parts.
        """
        grid = self.grid
        shape = len(grid.xs), len(grid.ys), self.keep
        worth: Ints = np.full(shape, -1, dtype=np.int64)
        use: Ints = np.zeros((*shape, self.counts.words), dtype=np.int64)
        self.single: dict[tuple[int, int], list[Variant]] = {}
        for v in grid.variants:
            if prices[v.kind] > 0:
                self.single.setdefault((grid.at_x[v.dx], grid.at_y[v.dy]), []).append(v)
        for at, variants in self.single.items():
            variants.sort(key=lambda v: (-prices[v.kind], v.kind))
            for k, v in enumerate(variants[: self.keep]):
                worth[at][k] = prices[v.kind]
                use[at][k] = self.counts.one(v.kind)
        self.prices = prices
        i, j = grid.rooms[0]
        firsts: tuple[Axis, ...] = ("x", "y")
        for first in firsts:
            chain = self._chain(worth, use, first)
            _, table, used = chain[-1]
            kept = [k for k in range(self.keep) if table[i, j, k] > 0]
            if kept:
                k = max(kept, key=lambda k: (self._value(used[i, j, k], values), -k))
                traced = self._trace(chain, len(chain) - 1, i, j, int(table[i, j, k]), used[i, j, k])
                if traced is not None:
                    yield traced

    def _value(self, use: Ints, values: Sequence[int]) -> int:
        return sum(values[kind] * self.counts.count(use, kind) for kind in self.kinds)

    def _chain(self, worth: Ints, use: Ints, axis: Axis) -> list[tuple[Axis, Ints, Ints]]:
        chain: list[tuple[Axis, Ints, Ints]] = [(axis, worth, use)]
        idle = 0
        while len(chain) <= self.grid.levels and idle < 2:
            before, with_use = chain[-1][1], chain[-1][2]
            if axis == "x":
                after, used = self._closed(before, with_use, self.grid.xs, self.grid.rest_x)
            else:
                after, used = self._closed(
                    before.swapaxes(0, 1), with_use.swapaxes(0, 1), self.grid.ys, self.grid.rest_y
                )
                after, used = after.swapaxes(0, 1), used.swapaxes(0, 1)
            if len(chain) > 1:
                idle = idle + 1 if np.array_equal(after[..., 0], before[..., 0]) else 0
            chain.append((axis, after, used))
            axis = OTHER[axis]
        return chain

    def _closed(
        self, inner: Ints, inner_use: Ints, places: Ints, rests: Sequence[NDArray[np.intp]]
    ) -> tuple[Ints, Ints]:
        """One more level along the first index."""
        out, used = np.full_like(inner, -1), np.zeros_like(inner_use)
        count, keep = self.counts, self.keep
        useful: list[int] = []
        lanes = inner.shape[1]
        for at in range(1, len(out)):
            gains = [out[at - 1].T, inner[at].T]
            uses = [used[at - 1].swapaxes(0, 1), inner_use[at].swapaxes(0, 1)]
            near = [k for k in useful if 2 * places[k] <= places[at]]
            if near:
                rest = rests[at][near]
                a, b = out[near], out[rest]
                total = a[:, :, :, None] + b[:, :, None, :]
                both = used[near][:, :, :, None] + used[rest][:, :, None, :]
                over = count.over(both)
                total[over | (a < 0)[:, :, :, None] | (b < 0)[:, :, None, :]] = -1
                self.work += total.size
                gains.append(total.transpose(0, 2, 3, 1).reshape(-1, lanes))
                uses.append(both.transpose(0, 2, 3, 1, 4).reshape(-1, lanes, count.words))
            out[at], used[at] = _kept(np.concatenate(gains), np.concatenate(uses), keep)
            if (inner[at, :, 0] > out[at - 1, :, 0]).any() or (
                (inner[at, :, 0] > 0) & (inner_use[at, :, 0, :] != used[at - 1, :, 0, :]).any(axis=-1)
            ).any():
                useful.append(at)
        return out, used

    def _trace(
        self, chain: list[tuple[Axis, Ints, Ints]], level: int, i: int, j: int, worth: int, use: Ints
    ) -> Shape | None:
        """The layout behind one entry, found again by its worth and its use."""
        while level > 0 and self._has(chain[level - 1], i, j, worth, use):
            level -= 1
        if level == 0:
            for v in self.single[i, j]:
                if self.prices[v.kind] == worth and (self.counts.one(v.kind) == use).all():
                    return v
            return None
        axis, table, used = chain[level]
        rests = self.grid.rest_x if axis == "x" else self.grid.rest_y
        at = i if axis == "x" else j
        while at > 0 and self._has(chain[level], *((at - 1, j) if axis == "x" else (i, at - 1)), worth, use):
            at -= 1
        here = (at, j) if axis == "x" else (i, at)
        if self._has(chain[level - 1], *here, worth, use):
            return self._trace(chain, level - 1, *here, worth, use)
        for k in range(1, at):
            r = int(rests[at][k])
            if r < 1:
                continue
            near = (k, j) if axis == "x" else (i, k)
            far = (r, j) if axis == "x" else (i, r)
            for s in range(self.keep):
                w, u = int(table[near][s]), used[near][s]
                if 0 < w < worth and self._has(chain[level], *far, worth - w, use - u):
                    one = self._trace(chain, level, *near, w, u)
                    two = self._trace(chain, level, *far, worth - w, use - u)
                    if one is not None and two is not None:
                        return _joined(axis, one, two)
        return None

    def _has(self, entry: tuple[Axis, Ints, Ints], i: int, j: int, worth: int, use: Ints) -> bool:
        same = entry[1][i, j] == worth
        return bool(same.any() and (entry[2][i, j][same] == use).all(axis=-1).any())


def _joined(axis: Axis, one: Shape, two: Shape) -> Shape:
    children: list[Shape] = []
    for shape in (one, two):
        children.extend(shape.children if isinstance(shape, Cuts) and shape.axis == axis else (shape,))
    return Cuts(axis, tuple(children))


def _kept(gains: Ints, uses: Ints, keep: int) -> tuple[Ints, Ints]:
    """The best few of each column, those of equal worth and use once only."""
    if keep == 1:
        top = gains.argmax(axis=0)
        columns = np.arange(gains.shape[1])
        return gains[top, columns][:, None], uses[top, columns][:, None]
    most = min(6 * keep, len(gains))
    if most < len(gains):
        # Which of equal ones a partition keeps depends on the processor; a stable sort keeps the first.
        part = np.argsort(-gains, axis=0, kind="stable")[:most]
        part.sort(axis=0)
        gains = np.take_along_axis(gains, part, axis=0)
        uses = np.take_along_axis(uses, part[..., None], axis=0)
    order = np.lexsort((*(uses[..., w] for w in range(uses.shape[-1])), -gains), axis=0)
    gains = np.take_along_axis(gains, order, axis=0)
    uses = np.take_along_axis(uses, order[..., None], axis=0)
    again = (gains[1:] == gains[:-1]) & (uses[1:] == uses[:-1]).all(axis=-1)
    gains[1:][again] = -1
    order = np.argsort(-gains, axis=0, kind="stable")[:keep]
    gains = np.take_along_axis(gains, order, axis=0)
    uses = np.take_along_axis(uses, order[..., None], axis=0)
    short = keep - len(gains)
    if short > 0:
        gains = np.concatenate([gains, np.full((short, gains.shape[1]), -1, dtype=np.int64)])
        uses = np.concatenate([uses, np.zeros((short, *uses.shape[1:]), dtype=np.int64)])
    return gains.T, uses.swapaxes(0, 1)
