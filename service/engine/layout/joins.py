"""The most valuable layout within the counts: layouts joined from the parts up, until none is left to try.

Two layouts side by side make a larger one (Wang, Operations Research 31, 1983). Of those only such are
kept as may still become worth what is asked for: what they are worth and the most that the rest of the
piece may add (:mod:`.beyond`), with prices on the counts taken off what parts are worth, and given back
for all that are wanted. Of layouts that use the same parts only the smaller matters. When nothing is left
to join, no layout is worth more: with what is asked for lowered step by step (Cung, Hifi & Le Cun,
International Transactions in Operational Research 7, 2000, take the most promising first instead) the
search proves the best, and small pieces or few parts need little.

When there are too many, a few may be kept for each size, the most valuable first: then it is a heuristic.
Effort is counted in joins. Lengths are places of a :class:`~service.engine.layout.grid.Grid`.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from service.engine.layout.beyond import Ints, beyond, sums_of
from service.engine.layout.counts import Counts
from service.engine.layout.grid import Cuts, Grid, Shape
from service.engine.layout.kinds import Variant
from service.engine.plan import Axis

Short: TypeAlias = NDArray[np.int32]
"""Places and numbers of layouts: half as long as what is worth or used, as there are many."""

_BLOCK: Final = 1 << 18
"""Joins looked at together: bounds the memory."""
_MOST_ROWS: Final = 300_000
_MOST_NUMBERED: Final = 4_000_000
"""Layouts remembered in one search with what they were joined from: bounds the memory too."""
_TRIED: Final = 4
"""Layouts offered a generation: more would only matter where the machine cannot cut what is valuable."""
_ALONE: Final = (1, 2, 1, 2)
_NOT_COUNTED: Final = (0, 0, 0, 0)
_NEIGHBOURS: Final = (1, 2, 3, 5, 8)


@dataclass(frozen=True, slots=True)
class _Rows:
    """Layouts, one a row: the places they reach, worth, worth at the prices, and use.

    `levels` tells how many levels of cuts a strip has with the layout as an item: a strip along x as high
    as the layout, one that is higher, a strip along y as wide as the layout, and one that is wider. `one`
    and `two` are the numbers of those that it was joined from along x or, with `upward`, y; a part alone
    has -1 as `two` and its place among the parts as `one`.
    """

    i: Short
    j: Short
    worth: Ints
    priced: Ints
    use: Ints
    levels: Short
    one: Short
    two: Short
    upward: Short
    number: Short

    def take(self, which: NDArray[np.intp] | NDArray[np.bool_] | slice) -> _Rows:
        """Some of the rows."""
        return _Rows(*(getattr(self, field.name)[which] for field in fields(self)))

    @staticmethod
    def together(rows: Sequence[_Rows]) -> _Rows:
        """All of these, one after another."""
        return _Rows(*(np.concatenate([getattr(r, f.name) for r in rows]) for f in fields(_Rows)))

    def __len__(self) -> int:
        return len(self.i)


@dataclass(frozen=True, slots=True)
class _Cells:
    """Rows gathered by the places they reach: `order[start : start + size]` are those of a cell."""

    i: Short
    j: Short
    most: Ints
    order: NDArray[np.intp]
    start: NDArray[np.intp]
    size: NDArray[np.intp]

    @staticmethod
    def of(rows: _Rows, which: NDArray[np.intp], breadth: int) -> _Cells:
        """The cells of the rows `which`; `breadth` is the number of places along y."""
        cell = (rows.i * breadth + rows.j)[which]
        by_cell = np.argsort(cell, kind="stable")
        order = which[by_cell]
        found, start, size = np.unique(cell[by_cell], return_index=True, return_counts=True)
        most = np.maximum.reduceat(rows.priced[order], start)
        return _Cells(found // breadth, found % breadth, most, order, start, size)


class _Origins:
    """What numbered layouts were joined from: of each the two, and whether along y."""

    def __init__(self) -> None:
        self.count = 0
        self._starts: list[int] = []
        self._batches: list[tuple[Short, Short, NDArray[np.bool_]]] = []

    def add(self, rows: _Rows) -> _Rows:
        """The rows with the next numbers."""
        first = self.count
        if len(rows):
            self._starts.append(first)
            self._batches.append((rows.one, rows.two, rows.upward != 0))
            self.count += len(rows)
        return replace(rows, number=np.arange(first, self.count, dtype=np.int32))

    def of(self, number: int) -> tuple[int, int, bool]:
        """The numbers of the two that a layout was joined from, and whether along y."""
        batch = bisect_right(self._starts, number) - 1
        one, two, upward = self._batches[batch]
        at = number - self._starts[batch]
        return int(one[at]), int(two[at]), bool(upward[at])


class Joins:
    """Joins the parts of a grid with one room, priced by :meth:`Grid.price` at `values` less `prices`.

    `counts` are the pieces that may be used of each kind and `values` what each is worth, by its index.
    `spend` is told how many joins were looked at and answers whether to go on. `cap`, where there are no
    prices on the counts, is known to bound what may be added to a layout that reaches to a place; with
    more than `most_rows` layouts that may become worth enough a search is given up.
    """

    def __init__(
        self,
        grid: Grid,
        counts: Sequence[int],
        values: Sequence[int],
        prices: Sequence[int],
        spend: Callable[[int], bool],
        *,
        cap: Ints | None = None,
        most_rows: int = _MOST_ROWS,
    ) -> None:
        self.grid = grid
        self.values = values
        fit = {
            kind: max(self._fit(v) for v in grid.variants if v.kind == kind)
            for kind in sorted({v.kind for v in grid.variants})
        }
        few = {kind: counts[kind] for kind, n in fit.items() if counts[kind] < n}
        self.counts = Counts(few)
        off = [p if kind in few else 0 for kind, p in enumerate(prices)]
        self.reduced = [v - p for v, p in zip(values, off, strict=True)]
        self.given_back = sum(p * n for p, n in zip(off, counts, strict=True))
        top = grid.price(self.reduced)[0]
        wide, high = grid.rooms[0]
        tables = [chain[-1][1] for chain in grid.chains] or [grid.base]
        table = np.maximum.reduce(tables)[: wide + 1, : high + 1]
        self.sum_x = sums_of(grid.xs[: wide + 1], int(grid.xs[wide])).astype(np.int32)
        self.sum_y = sums_of(grid.ys[: high + 1], int(grid.ys[high])).astype(np.int32)
        self.gain = beyond(table, self.sum_x, self.sum_y)
        if cap is not None:
            inside = self.gain[: wide + 1, : high + 1]
            np.minimum(inside, cap, out=inside)
        self.most_rows = most_rows
        self.most = (top if grid.cut_short else int(self.gain[0, 0])) + self.given_back
        """A bound on any layout."""
        self.work = 0
        # Of a table that was left as it is nothing but its top holds.
        self.stopped = grid.cut_short
        self._spend = spend

    def _fit(self, v: Variant) -> int:
        """How many may at most lie in the room, turned or not."""
        wide, high = self.grid.wide, self.grid.high
        if sum(1 for other in self.grid.variants if other.kind == v.kind) == 1:
            return (wide // v.dx) * (high // v.dy)
        return wide * high // (v.dx * v.dy)

    def search(
        self, least: int, budget: int, accept: Callable[[Shape], int], keep: int | None = None
    ) -> int | None:
        """A bound on what any layout is worth, from a search for those worth `least` or more.

        `accept` takes a layout and answers what it is worth when carried out; from then on only more is
        looked for. None when more than `budget` joins would be needed, or when some were left out because
        only the best `keep` of each size are kept: what was accepted then is all there is.
        """
        if self.stopped:
            return None
        self._origins = _Origins()
        end = self.work + budget
        whole = True
        rows = self._parts(least)
        fresh = np.ones(len(rows), dtype=np.bool_)
        while fresh.any():
            target = self._offered(rows.take(fresh), least, accept)
            if target > least:
                least = target
                live = self._promise(rows) >= least
                rows, fresh = rows.take(live), fresh[live]
                if not fresh.any():
                    break
            made: list[_Rows] = []
            for batch in self._generation(rows, np.flatnonzero(fresh), least):
                made.append(batch)
                if sum(map(len, made)) > 2 * self.most_rows:
                    made = [self._undominated(_Rows.together(made))]
                if len(made[0]) > self.most_rows * 2 // 3 or self.work > end or self.stopped:
                    self._offered(self._origins.add(_Rows.together(made)), least, accept)
                    return None
            rows, fresh, all_kept = self._merged(rows, made, keep)
            whole = whole and all_kept
            if len(rows) > self.most_rows or self._origins.count > _MOST_NUMBERED:
                return None
        return max(least - 1, int(rows.worth[self._fits(rows)].max(initial=0))) if whole else None

    def _looked_at(self, joins: int) -> None:
        self.work += joins
        self.stopped = not self._spend(joins) or self.stopped

    def _promise(self, rows: _Rows) -> Ints:
        """The most that layouts may become worth."""
        promise: Ints = rows.priced + self.gain[rows.i, rows.j] + self.given_back
        return promise

    def _parts(self, least: int) -> _Rows:
        """The parts alone, each way they may lie."""
        wide, high = self.grid.rooms[0]
        self.single = [
            v for v in self.grid.variants if self.grid.at_x[v.dx] <= wide and self.grid.at_y[v.dy] <= high
        ]

        def column(numbers: Sequence[int]) -> Ints:
            return np.array(numbers, dtype=np.int64)

        def short(numbers: Sequence[int]) -> Short:
            return np.array(numbers, dtype=np.int32)

        count = len(self.single)
        use = np.array([self.counts.one(v.kind) for v in self.single], dtype=np.int64)
        rows = _Rows(
            short([self.grid.at_x[v.dx] for v in self.single]),
            short([self.grid.at_y[v.dy] for v in self.single]),
            column([self.values[v.kind] for v in self.single]),
            column([self.reduced[v.kind] for v in self.single]),
            use.reshape(count, self.counts.words),
            np.array([_NOT_COUNTED if self.grid.unlimited else _ALONE] * count, dtype=np.int32).reshape(
                count, 4
            ),
            short(range(count)),
            short([-1] * count),
            short([0] * count),
            short([-1] * count),
        )
        return self._origins.add(rows.take(self._promise(rows) >= least))

    def _offered(self, rows: _Rows, least: int, accept: Callable[[Shape], int]) -> int:
        """Try the most valuable of the rows; what is to be looked for then."""
        good = rows.take((rows.worth >= least) & self._fits(rows))
        for at in np.argsort(-good.worth, kind="stable")[:_TRIED]:
            if good.worth[at] >= least:
                least = max(least, accept(self._shape(int(good.number[at]))) + 1)
        return least

    def _shape(self, number: int) -> Shape:
        one, two, upward = self._origins.of(number)
        if two < 0:
            return self.single[one]
        axis: Axis = "y" if upward else "x"
        children: list[Shape] = []
        for shape in (self._shape(one), self._shape(two)):
            children.extend(shape.children if isinstance(shape, Cuts) and shape.axis == axis else (shape,))
        return Cuts(axis, tuple(children))

    def _generation(self, rows: _Rows, fresh: NDArray[np.intp], least: int) -> Iterator[_Rows]:
        """All joins of a fresh layout with any that may become worth `least`."""
        breadth = self.gain.shape[1]
        news, every = _Cells.of(rows, fresh, breadth), _Cells.of(rows, np.arange(len(rows)), breadth)
        height = max(_BLOCK // len(every.i), 1)
        target = least - self.given_back
        for start in range(0, len(news.i), height):
            some = slice(start, start + height)
            for upward in (False, True):
                if upward:
                    x = np.maximum(news.i[some, None], every.i[None, :])
                    y = self.sum_y[news.j[some, None], every.j[None, :]]
                else:
                    x = self.sum_x[news.i[some, None], every.i[None, :]]
                    y = np.maximum(news.j[some, None], every.j[None, :])
                gain = self.gain[x, y]
                self._looked_at(gain.size)
                here, there = np.nonzero(news.most[some, None] + every.most[None, :] + gain >= target)
                if len(here) == 0:
                    continue
                reach = x[here, there], y[here, there], gain[here, there]
                pairs = news.size[here + start] * every.size[there]
                ends = np.cumsum(pairs)
                at = 0
                while at < len(pairs):
                    before = int(ends[at - 1]) if at else 0
                    to = max(int(np.searchsorted(ends, before + _BLOCK, side="right")), at + 1)
                    cell = np.repeat(np.arange(at, to), pairs[at:to])
                    self._looked_at(len(cell))
                    lane = np.arange(len(cell)) - (ends[cell] - pairs[cell] - before)
                    across = every.size[there[cell]]
                    a = news.order[news.start[here[cell] + start] + lane // across]
                    b = every.order[every.start[there[cell]] + lane % across]
                    good = rows.priced[a] + rows.priced[b] + reach[2][cell] >= target
                    a, b, cell = a[good], b[good], cell[good]
                    yield self._joined(rows, a, b, reach[0][cell], reach[1][cell], upward)
                    at = to

    def _joined(
        self, rows: _Rows, a: NDArray[np.intp], b: NDArray[np.intp], x: Short, y: Short, upward: bool
    ) -> _Rows:
        """Rows a and b side by side, where the counts and the levels of cuts allow it."""
        use = rows.use[a] + rows.use[b]
        one, two = rows.levels[a], rows.levels[b]
        lower_a, lower_b = (rows.i[a] < x, rows.i[b] < x) if upward else (rows.j[a] < y, rows.j[b] < y)
        whole, lower = (2, 3) if upward else (0, 1)
        level = np.maximum(
            np.where(lower_a, one[:, lower], one[:, whole]), np.where(lower_b, two[:, lower], two[:, whole])
        )
        good = ~self.counts.over(use) & (level <= self.grid.levels)
        # Within a strip that is higher still every item is cut to its size by itself.
        inside = np.maximum(one[:, lower], two[:, lower])
        around = level + 1
        levels = np.stack(
            (around, around, level, inside) if upward else (level, inside, around, around), axis=1
        )
        if self.grid.unlimited:
            levels = np.zeros_like(levels)
        a, b, use, levels = a[good], b[good], use[good], levels[good]
        return _Rows(
            x[good],
            y[good],
            rows.worth[a] + rows.worth[b],
            rows.priced[a] + rows.priced[b],
            use,
            levels,
            rows.number[a],
            rows.number[b],
            np.full(len(a), int(upward), dtype=np.int32),
            np.full(len(a), -1, dtype=np.int32),
        )

    def _fits(self, rows: _Rows) -> NDArray[np.bool_]:
        """Which rows the whole piece can hold within the levels of cuts."""
        wide, high = self.grid.rooms[0]
        along_x = np.where(rows.j < high, rows.levels[:, 1], rows.levels[:, 0])
        along_y = np.where(rows.i < wide, rows.levels[:, 3], rows.levels[:, 2])
        fits: NDArray[np.bool_] = np.minimum(along_x, along_y) <= self.grid.levels
        return fits

    def _merged(
        self, rows: _Rows, made: Sequence[_Rows], keep: int | None
    ) -> tuple[_Rows, NDArray[np.bool_], bool]:
        """All rows without those that are no better than another; which are fresh; whether none was cut."""
        both = self._undominated(_Rows.together([rows, *made]))
        all_kept = True
        if keep is not None:
            cell = both.i * self.gain.shape[1] + both.j
            order = np.lexsort((-both.priced, cell))
            cell = cell[order]
            first_of = np.concatenate([[True], cell[1:] != cell[:-1]])
            rank = np.arange(len(cell)) - np.maximum.accumulate(np.where(first_of, np.arange(len(cell)), 0))
            all_kept = bool((rank < keep).all())
            both = both.take(order[rank < keep])
        fresh = both.number < 0
        old, new = both.take(~fresh), self._origins.add(both.take(fresh))
        return _Rows.together([old, new]), np.arange(len(both)) >= len(old), all_kept

    def _undominated(self, rows: _Rows) -> _Rows:
        """The rows without those that use the same as another of no more size and levels and no less worth.

        Only neighbours in size are compared: what is missed costs time, no more.
        """
        known = (rows.number >= 0).astype(np.int64)
        keys: list[NDArray[np.signedinteger[Any]]] = [-known, *rows.levels.T, -rows.priced, rows.j, rows.i]
        order = np.lexsort((*keys, *rows.use.T))
        rows = rows.take(order)
        for step in _NEIGHBOURS:
            if len(rows) <= step:
                break
            first, second = rows.take(slice(None, -step)), rows.take(slice(step, None))
            idle = (
                (first.use == second.use).all(axis=-1)
                & (first.i <= second.i)
                & (first.j <= second.j)
                & (first.priced >= second.priced)
            )
            if not self.grid.unlimited:
                # A smaller layout may need more levels, and what lies beside it too.
                idle &= (first.i == second.i) & (first.j == second.j)
                idle &= (first.levels <= second.levels).all(axis=-1)
            rows = rows.take(np.concatenate([np.ones(step, dtype=np.bool_), ~idle]))
        return rows
