"""The most valuable guillotine layout of a piece, parts taken as often as one likes: exact, by table.

The dynamic programme of Gilmore & Gomory (Operations Research 14, 1966) and Beasley (JORS 36, 1985)
over the places where cuts can lie (Herz 1972), carried out level by level: a table of k levels is made
from one of k - 1 levels cut the other way, a row of places at a time. One table values every size of
stock at once. Lengths are whole hundredths of a millimetre, values whole numbers.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from service.engine.layout.kinds import Variant
from service.engine.layout.places import some_places
from service.engine.layout.shapes import OTHER
from service.engine.plan import Axis
from service.engine.quantities import Length

Table: TypeAlias = NDArray[np.signedinteger[Any]]

_MOST_LEVELS: Final = 40
_LANES: Final = 400
_ASK_EVERY: Final = 20_000_000
"""Sums after which it is asked whether a table is to be left as it is: a tenth of a second at most."""


class _CutShortError(Exception):
    """A table is left as it is."""


@dataclass(frozen=True, slots=True)
class Cuts:
    """Shapes side by side along an axis; what is left beside and above them is waste."""

    axis: Axis
    children: tuple[Shape, ...]


Shape: TypeAlias = "Cuts | Variant"


def size_of(shape: Shape, axis: Axis) -> Length:
    """What a shape takes up along `axis`."""
    if isinstance(shape, Variant):
        return shape.along(axis)
    sizes = [size_of(child, axis) for child in shape.children]
    return sum(sizes) if shape.axis == axis else max(sizes)


def variants_in(shape: Shape) -> Iterable[Variant]:
    """The parts of a shape, in the order of cutting."""
    if isinstance(shape, Variant):
        yield shape
        return
    for child in shape.children:
        yield from variants_in(child)


class Grid:
    """The places of one set of parts on one set of stock, on which prices are tried again and again.

    Parameters
    ----------
    variants
        Every way each part may lie.
    counts
        Pieces wanted by kind: sums of sizes take a kind no oftener.
    rooms
        What each stock type has for parts, along x and along y.
    levels
        How many levels of cuts may lie inside one another.
    most
        Places looked at along each axis at most.
    stop
        Asked now and then within a table. Once it says so the table is left as it is: it then gives no
        layouts, and its tops are what the area allows, so that what they bound is bounded still.
    """

    def __init__(
        self,
        variants: Sequence[Variant],
        counts: Sequence[int],
        rooms: Sequence[tuple[Length, Length]],
        levels: int,
        most: int,
        stop: Callable[[], bool] | None = None,
    ) -> None:
        self.wide = max(r[0] for r in rooms)
        self.high = max(r[1] for r in rooms)
        self.variants = [
            v for v in variants if counts[v.kind] > 0 and any(v.dx <= w and v.dy <= h for w, h in rooms)
        ]
        self.levels = min(levels, _MOST_LEVELS)
        xs, all_x = some_places(
            _rows(((v.dx, v.kind) for v in self.variants), counts),
            sorted({r[0] for r in rooms}),
            most,
            thinned=self.unlimited,
        )
        ys, all_y = some_places(
            _rows(((v.dy, v.kind) for v in self.variants), counts),
            sorted({r[1] for r in rooms}),
            most,
            thinned=self.unlimited,
        )
        self.exact = all_x and all_y
        self.xs = np.array(xs, dtype=np.int64)
        self.ys = np.array(ys, dtype=np.int64)
        # Each size lies at the first place that gives it room.
        self.at_x = {v.dx: int(np.searchsorted(self.xs, v.dx)) for v in self.variants}
        self.at_y = {v.dy: int(np.searchsorted(self.ys, v.dy)) for v in self.variants}
        self.rooms = [(self._last(self.xs, w), self._last(self.ys, h)) for w, h in rooms]
        self.rest_x = _rests(self.xs)
        self.rest_y = _rests(self.ys)
        self.half_x = _halves(self.xs)
        self.half_y = _halves(self.ys)
        self.base: Table = np.zeros((len(xs), len(ys)), dtype=np.int64)
        self.chains: list[list[tuple[Axis, Table]]] = []
        self.work = 0
        self.cut_short = False
        self._stop = stop
        self.ask_at = _ASK_EVERY

    @property
    def unlimited(self) -> bool:
        """Whether the levels of cuts are as good as not limited."""
        return self.levels >= _MOST_LEVELS

    @staticmethod
    def _last(places: Table, limit: Length) -> int:
        return int(np.searchsorted(places, limit, side="right")) - 1

    def price(self, prices: Sequence[int]) -> list[int]:
        """The greatest worth of each room at these prices, one a kind."""
        base: Table = np.zeros((len(self.xs), len(self.ys)), dtype=self._numbers(prices))
        self.best: dict[tuple[int, int], Variant] = {}
        for v in self.variants:
            at = self.at_x[v.dx], self.at_y[v.dy]
            if prices[v.kind] > base[at]:
                base[at] = prices[v.kind]
                self.best[at] = v
        self.base = base
        self._traced: dict[tuple[Axis, int, int, int], Shape | None] = {}
        self.chains = []
        if self.cut_short:
            return self._given_up(prices)
        firsts: tuple[Axis, ...] = ("x", "y")
        tops = [0] * len(self.rooms)
        try:
            for first in firsts:
                chain = self._chain(base, first)
                self.chains.append(chain)
                for place, at in enumerate(self.rooms):
                    tops[place] = max(tops[place], int(chain[-1][1][at]))
                if len(chain) <= self.levels:
                    break  # It ended because nothing was gained any more: the other order ends there too.
        except _CutShortError:
            self.chains = []
            return self._given_up(prices)
        return tops

    def tops(self, prices: Sequence[int], coarse: Grid | None = None) -> list[int]:
        """As :meth:`price`, without what :meth:`shapes` needs: less room, and sooner done.

        `coarse`, priced alike at fewer places, is where it begins when the levels are not limited.
        """
        if not self.unlimited:
            return self.price(prices)
        if self.cut_short or (coarse is not None and coarse.cut_short):
            return self._given_up(prices)
        table: Table = np.zeros((len(self.xs), len(self.ys)), dtype=self._numbers(prices))
        if coarse is not None:
            rows = np.searchsorted(coarse.xs, self.xs, side="right") - 1
            columns = np.searchsorted(coarse.ys, self.ys, side="right") - 1
            table[:] = coarse.chains[0][-1][1][rows][:, columns]
        for v in self.variants:
            at = self.at_x[v.dx], self.at_y[v.dy]
            table[at] = max(int(table[at]), prices[v.kind])
        try:
            *_, (_, self.final) = self._closures(table, "x", _MOST_LEVELS)
        except _CutShortError:
            return self._given_up(prices)
        return [int(self.final[at]) for at in self.rooms]

    def _numbers(self, prices: Sequence[int]) -> type[np.signedinteger[Any]]:
        """Numbers that hold the worth of any layout at these prices: short ones are added up sooner."""
        most = self._by_area(prices)
        if most >= 2**61:
            raise OverflowError("the worth of a full piece is beyond the numbers of the table")
        return np.int32 if most < 2**30 else np.int64

    def _by_area(self, prices: Sequence[int]) -> int:
        """What a room as large as the largest, filled with what is worth most for its area, would hold."""
        return max(
            (prices[v.kind] * self.wide * self.high // (v.dx * v.dy) for v in self.variants), default=0
        )

    def _given_up(self, prices: Sequence[int]) -> list[int]:
        """The tops of a table that was left as it was."""
        self.cut_short = True
        return [self._by_area(prices)] * len(self.rooms)

    def ask(self) -> None:
        """Leave the table where the caller says stop."""
        self.ask_at = self.work + _ASK_EVERY
        if self._stop is not None and self._stop():
            raise _CutShortError

    def layout(self, prices: Sequence[int], room: int) -> Shape | None:
        """A most valuable layout of a room after :meth:`tops` at these prices, levels not limited."""
        return next(iter(self.layouts(prices, room, 1, 0)), None)

    def layouts(self, prices: Sequence[int], room: int, most: int, least: int) -> list[Shape]:
        """Up to so many layouts worth more than `least` after :meth:`tops` at these prices.

        They differ in their first cut, the most valuable come first; levels are not limited.
        """
        if self.cut_short:
            return []
        i, j = self.rooms[room]
        single: dict[tuple[int, int], Variant] = {}
        for v in self.variants:
            at = self.at_x[v.dx], self.at_y[v.dy]
            if at not in single or prices[v.kind] > prices[single[at].kind]:
                single[at] = v
        trace = _Trace(self, prices, single)
        i, j = trace.tight(i, j)
        ranked: list[tuple[int, int, int]] = []
        for number, gains in enumerate((trace.cuts_x(i, j), trace.cuts_y(i, j))):
            picks = 1 + np.flatnonzero(gains > least)
            ranked.extend((-int(gains[k - 1]), number, int(k)) for k in picks)
        found: list[Shape | None] = []
        if int(self.final[i, j]) > least and (not ranked or -min(ranked)[0] < self.final[i, j]):
            found.append(single[i, j])
        for _, number, k in sorted(ranked)[: most - len(found)]:
            if number == 0:
                found.append(_beside("x", [trace.shape(k, j), trace.shape(int(self.rest_x[i][k]), j)]))
            else:
                found.append(_beside("y", [trace.shape(i, k), trace.shape(i, int(self.rest_y[j][k]))]))
        return [shape for shape in found if shape is not None]

    def _chain(self, base: Table, axis: Axis) -> list[tuple[Axis, Table]]:
        """Tables of 0, 1, 2 … levels, the directions taking turns; `axis` is cut innermost."""
        return [(axis, base), *self._closures(base, axis, self.levels)]

    def _closures(self, table: Table, axis: Axis, levels: int) -> Iterator[tuple[Axis, Table]]:
        """Tables of one level more each, until the levels are used up or nothing is gained any more.

        What was closed along an axis and has not changed since stays as it is when closed again.
        """
        done: dict[Axis, Table] = {}
        idle = 0
        for _ in range(levels):
            after = self._closed_along(axis, table, done.get(axis))
            done[axis] = after
            yield axis, after
            idle = 0 if len(done) < 2 or (after != table).any() else idle + 1
            if idle == 2:
                return
            table, axis = after, OTHER[axis]

    def _closed_along(self, axis: Axis, table: Table, before: Table | None) -> Table:
        lines = table if axis == "x" else table.T
        lanes = np.arange(lines.shape[1])
        if before is not None:
            lanes = np.flatnonzero((lines != (before if axis == "x" else before.T)).any(axis=0))
        out = lines.copy()
        if len(lanes):
            rests, halves = (self.rest_x, self.half_x) if axis == "x" else (self.rest_y, self.half_y)
            # In batches that stay in the processor's cache.
            for batch in np.array_split(lanes, -(-len(lanes) // _LANES)):
                out[:, batch] = _closed(np.ascontiguousarray(lines[:, batch]), rests, halves, self)
        return out if axis == "x" else out.T

    def shapes(self, room: int, most: int, least: int) -> list[Shape]:
        """Up to so many layouts of that room worth more than `least`, the most valuable first.

        They differ in the item that is cut off first, so that one table gives patterns of many kinds.
        """
        i, j = self.rooms[room]
        ranked: list[tuple[int, int, int, int]] = []
        for number, chain in enumerate(self.chains):
            level = len(chain) - 1
            while level > 0 and chain[level - 1][1][i, j] == chain[level][1][i, j]:
                level -= 1
            if level == 0:
                ranked.append((-int(chain[0][1][i, j]), number, 0, 0))
                continue
            axis, table = chain[level]
            inner = chain[level - 1][1]
            line, below, rests, places, at = (
                (table[:, j], inner[:, j], self.rest_x, self.xs, i)
                if axis == "x"
                else (table[i, :], inner[i, :], self.rest_y, self.ys, j)
            )
            while line[at - 1] == line[at]:
                at -= 1  # What lies beyond is waste.
            ranked.append((-int(below[at]), number, level, -at))
            half = int(np.searchsorted(places, places[at] // 2, side="right"))
            gains = line[1:half] + line[rests[at][1:half]]
            fresh = line[1:half] > line[: half - 1]
            picks = 1 + np.flatnonzero(fresh & (gains > least))
            ranked.extend((-int(gains[k - 1]), number, level, int(k)) for k in picks)
        # Below zero: an item alone; above: the place of the first cut.
        found: list[Shape] = []
        for worth, number, level, k in sorted(ranked)[:most]:
            if -worth <= least:
                break
            chain = self.chains[number]
            axis = chain[level][0]
            along = axis == "x"
            if level == 0:
                found.append(self.best[i, j])
                continue
            if k < 0:
                shape = self._trace(chain, level - 1, *((-k, j) if along else (i, -k)))
            else:
                rest = self._beyond(chain[level], i, j, k)
                ends = ((k, j), (rest, j)) if along else ((i, k), (i, rest))
                shape = _beside(axis, [self._trace(chain, level, *end) for end in ends])
            if shape is not None:
                found.append(shape)
        return found

    def _beyond(self, entry: tuple[Axis, Table], i: int, j: int, k: int) -> int:
        """The place of what is left beyond a cut at k, waste at the end not counted."""
        axis, table = entry
        line, at = (table[:, j], i) if axis == "x" else (table[i, :], j)
        while line[at - 1] == line[at]:
            at -= 1
        return int((self.rest_x if axis == "x" else self.rest_y)[at][k])

    def _trace(self, chain: list[tuple[Axis, Table]], level: int, i: int, j: int) -> Shape | None:
        """The layout behind one entry; those of one table have much in common."""
        key = chain[0][0], level, i, j
        if key not in self._traced:
            self._traced[key] = self._found(chain, level, i, j)
        return self._traced[key]

    def _found(self, chain: list[tuple[Axis, Table]], level: int, i: int, j: int) -> Shape | None:
        worth = int(chain[level][1][i, j])
        if worth == 0:
            return None
        while level > 0 and int(chain[level - 1][1][i, j]) == worth:
            level -= 1
        if level == 0:
            return self.best[i, j]
        axis, table = chain[level]
        inner = chain[level - 1][1]
        line, below, rests, places = (
            (table[:, j], inner[:, j], self.rest_x, self.xs)
            if axis == "x"
            else (table[i, :], inner[i, :], self.rest_y, self.ys)
        )
        children: list[Shape | None] = []
        open_ends = [i if axis == "x" else j]
        while open_ends:
            at = open_ends.pop()
            while at > 0 and line[at - 1] == line[at]:
                at -= 1
            if at == 0:
                continue
            if below[at] == line[at]:
                children.append(self._trace(chain, level - 1, *((at, j) if axis == "x" else (i, at))))
                continue
            half = int(np.searchsorted(places, places[at] // 2, side="right"))
            k = 1 + int(np.argmax(line[1:half] + line[rests[at][1:half]] == line[at]))
            open_ends += [int(rests[at][k]), k]
        return _beside(axis, children)


class _Trace:
    """Layouts found again in a table of which nothing more can be gained."""

    def __init__(self, grid: Grid, prices: Sequence[int], single: dict[tuple[int, int], Variant]) -> None:
        self.grid = grid
        self.table = grid.final
        self.prices = prices
        self.single = single

    def tight(self, i: int, j: int) -> tuple[int, int]:
        """The smallest room worth as much."""
        worth = self.table[i, j]
        while i > 0 and self.table[i - 1, j] == worth:
            i -= 1
        while j > 0 and self.table[i, j - 1] == worth:
            j -= 1
        return i, j

    def cuts_x(self, i: int, j: int) -> Table:
        """What each cut across x up to the middle gives, the cut at the first place first."""
        grid = self.grid
        half = int(np.searchsorted(grid.xs, grid.xs[i] // 2, side="right"))
        gains: Table = self.table[1:half, j] + self.table[grid.rest_x[i][1:half], j]
        return gains

    def cuts_y(self, i: int, j: int) -> Table:
        """What each cut across y up to the middle gives, the cut at the first place first."""
        grid = self.grid
        half = int(np.searchsorted(grid.ys, grid.ys[j] // 2, side="right"))
        gains: Table = self.table[i, 1:half] + self.table[i, grid.rest_y[j][1:half]]
        return gains

    def shape(self, i: int, j: int) -> Shape | None:
        """The layout behind one entry."""
        worth = self.table[i, j]
        if worth == 0:
            return None
        i, j = self.tight(i, j)
        alone = self.single.get((i, j))
        if alone is not None and self.prices[alone.kind] == worth:
            return alone
        good = np.flatnonzero(self.cuts_x(i, j) == worth)
        if len(good):
            k = 1 + int(good[0])
            return _beside("x", [self.shape(k, j), self.shape(int(self.grid.rest_x[i][k]), j)])
        k = 1 + int(np.flatnonzero(self.cuts_y(i, j) == worth)[0])
        return _beside("y", [self.shape(i, k), self.shape(i, int(self.grid.rest_y[j][k]))])


def _beside(axis: Axis, shapes: Sequence[Shape | None]) -> Shape | None:
    """Shapes side by side; those cut along the same axis give their own children."""
    children: list[Shape] = []
    for shape in shapes:
        if isinstance(shape, Cuts) and shape.axis == axis:
            children.extend(shape.children)
        elif shape is not None:
            children.append(shape)
    if len(children) > 1:
        return Cuts(axis, tuple(children))
    return children[0] if children else None


def _rows(sizes: Iterable[tuple[Length, int]], counts: Sequence[int]) -> list[tuple[Length, int]]:
    """Each size with how often it may be taken: the pieces wanted of all kinds that have it."""
    found: dict[Length, dict[int, int]] = {}
    for size, kind in sizes:
        found.setdefault(size, {})[kind] = counts[kind]
    return [(size, sum(found[size].values())) for size in sorted(found, reverse=True)]


def _rests(places: Table) -> list[NDArray[np.intp]]:
    """For each place and each cut before it: the largest place within what is left."""
    return [
        np.searchsorted(places, places[at] - places[: at + 1], side="right") - 1 for at in range(len(places))
    ]


def _halves(places: Table) -> list[int]:
    """For each place: the first place beyond its middle."""
    return [int(k) for k in np.searchsorted(places, places // 2, side="right")]


def _closed(inner: Table, rests: Sequence[NDArray[np.intp]], halves: Sequence[int], grid: Grid) -> Table:
    """One more level along the first index: any items of `inner` side by side, the rest waste.

    Of two or more items the narrowest takes up half of the room at most, so cuts up to the middle do.
    """
    out = np.zeros_like(inner)
    picks: list[int] = []
    useful = np.zeros(len(out), dtype=np.intp)
    for at in range(1, len(out)):
        row, item, narrower = out[at], inner[at], out[at - 1]
        np.maximum(narrower, item, out=row)
        upto = bisect_left(picks, halves[at])
        if upto:
            near = useful[:upto]
            gains = out.take(near, axis=0)
            gains += out.take(rests[at].take(near), axis=0)
            grid.work += gains.size
            if grid.work >= grid.ask_at:
                grid.ask()
            np.maximum(row, np.maximum.reduce(gains, axis=0), out=row)
        if (item > narrower).any():
            # Only an item that is worth more than what narrower ones make can be of use.
            useful[len(picks)] = at
            picks.append(at)
    return out
