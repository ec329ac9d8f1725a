"""The most valuable guillotine layout of a piece, parts taken as often as one likes: exact, by table.

The dynamic programme of Gilmore & Gomory (Operations Research 14, 1966) and Beasley (JORS 36, 1985)
over the places where cuts can lie (Herz 1972), carried out level by level: a table of k levels is made
from one of k - 1 levels cut the other way, a row of places at a time. One table values every size of
stock at once. Lengths are whole hundredths of a millimetre, values whole numbers.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from service.engine.layout.kinds import Variant
from service.engine.layout.shapes import OTHER
from service.engine.plan import Axis
from service.engine.quantities import Length

Table: TypeAlias = NDArray[np.signedinteger[Any]]

_MOST_LEVELS: Final = 40


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


def all_places(rows: Sequence[tuple[Length, int]], whole: Length, most: int) -> list[Length] | None:
    """Every sum within `whole` of sizes, each taken at most so often; None when there are more than `most`.

    >>> all_places([(3, 2), (5, 1)], 12, 99)
    [0, 3, 5, 6, 8, 11]
    """
    found = {0}
    for size, copies in rows:
        fresh = found
        for _ in range(min(copies, whole // size if size else 0)):
            fresh = {at + size for at in fresh if at + size <= whole} - found
            if not fresh:
                break
            found |= fresh
            if len(found) > most:
                return None
    return sorted(found)


def some_places(
    rows: Sequence[tuple[Length, int]], wholes: Sequence[Length], most: int
) -> tuple[list[Length], bool]:
    """Places for cuts, and whether none is missing: when there are too many, those nearest to the ends.

    The ends of the stock are places too. First come the places that single parts, then pairs, then
    threes reach from the near end or leave at the far end; with a place missing a layout loses a
    little of the piece, never its right.
    """
    whole = max(wholes)
    every = all_places(rows, whole, 8 * most)
    if every is not None and len(every) <= most:
        return sorted({*every, *wholes}), True
    sizes = sorted({size for size, _ in rows if size <= whole})
    chosen = {0, *sizes, *wholes}
    layer = {0}
    for _ in range(6):
        layer = {at + size for at in layer for size in sizes if at + size <= whole}
        for at in sorted(layer, key=lambda p: (p * 2654435761 % 4294967291, p)):
            for place in (at, *(w - at for w in wholes if w - at > 0)):
                if len(chosen) < most:
                    chosen.add(place)
        if len(chosen) >= most or len(layer) > 8 * most:
            break
    return sorted(chosen), False


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
    """

    def __init__(
        self,
        variants: Sequence[Variant],
        counts: Sequence[int],
        rooms: Sequence[tuple[Length, Length]],
        levels: int,
        most: int,
    ) -> None:
        self.wide = max(r[0] for r in rooms)
        self.high = max(r[1] for r in rooms)
        self.variants = [
            v for v in variants if counts[v.kind] > 0 and any(v.dx <= w and v.dy <= h for w, h in rooms)
        ]
        self.levels = min(levels, _MOST_LEVELS)
        xs, all_x = some_places(
            _rows(((v.dx, v.kind) for v in self.variants), counts), sorted({r[0] for r in rooms}), most
        )
        ys, all_y = some_places(
            _rows(((v.dy, v.kind) for v in self.variants), counts), sorted({r[1] for r in rooms}), most
        )
        self.exact = all_x and all_y
        self.xs = np.array(xs, dtype=np.int64)
        self.ys = np.array(ys, dtype=np.int64)
        self.at_x = {x: i for i, x in enumerate(xs)}
        self.at_y = {y: j for j, y in enumerate(ys)}
        self.rooms = [(self._last(self.xs, w), self._last(self.ys, h)) for w, h in rooms]
        self.rest_x = _rests(self.xs)
        self.rest_y = _rests(self.ys)
        self.base: Table = np.zeros((len(xs), len(ys)), dtype=np.int64)
        # Table after each closure: (the axis cut last, worth).
        self.tables: list[tuple[Axis, Table]] = []
        self.work = 0

    @property
    def unlimited(self) -> bool:
        """Whether the levels of cuts are as good as not limited."""
        return self.levels >= _MOST_LEVELS

    @staticmethod
    def _last(places: Table, limit: Length) -> int:
        return int(np.searchsorted(places, limit, side="right")) - 1

    def price(self, prices: Sequence[int]) -> list[int]:
        """The greatest worth of each room at these prices, one a kind."""
        base: Table = np.zeros((len(self.xs), len(self.ys)), dtype=np.int64)
        self.best: dict[tuple[int, int], Variant] = {}
        for v in self.variants:
            at = self.at_x[v.dx], self.at_y[v.dy]
            if prices[v.kind] > base[at]:
                base[at] = prices[v.kind]
                self.best[at] = v
        self.base = base
        self.chains: list[list[tuple[Axis, Table]]] = []
        firsts: tuple[Axis, ...] = ("x", "y")
        tops = [0] * len(self.rooms)
        for first in firsts:
            chain = self._chain(base, first)
            self.chains.append(chain)
            for place, at in enumerate(self.rooms):
                tops[place] = max(tops[place], int(chain[-1][1][at]))
            if len(chain) <= self.levels:
                break  # It ended because nothing was gained any more: the other order ends there too.
        return tops

    def tops(self, prices: Sequence[int], coarse: Grid | None = None) -> list[int]:
        """As :meth:`price`, without what :meth:`shapes` needs: less room, and sooner done.

        `coarse`, priced alike at fewer places, is where it begins when the levels are not limited.
        """
        if not self.unlimited:
            return self.price(prices)
        dense = max((prices[v.kind] / (v.dx * v.dy) for v in self.variants), default=0.0)
        small = dense * self.wide * self.high < 2**30
        table: Table = np.zeros((len(self.xs), len(self.ys)), dtype=np.int32 if small else np.int64)
        if coarse is not None:
            rows = np.searchsorted(coarse.xs, self.xs, side="right") - 1
            columns = np.searchsorted(coarse.ys, self.ys, side="right") - 1
            table[:] = coarse.chains[0][-1][1][rows][:, columns]
        for v in self.variants:
            at = self.at_x[v.dx], self.at_y[v.dy]
            table[at] = max(int(table[at]), prices[v.kind])
        axis: Axis = "x"
        idle = 0
        while idle < 2:
            after = self._close_x(table) if axis == "x" else self._close_y(table)
            idle = idle + 1 if np.array_equal(after, table) else 0
            table, axis = after, OTHER[axis]
        self.final = table
        return [int(table[at]) for at in self.rooms]

    def layout(self, prices: Sequence[int], room: int) -> Shape | None:
        """A most valuable layout of a room after :meth:`tops` at these prices, levels not limited."""
        table = self.final
        single: dict[tuple[int, int], Variant] = {}
        for v in self.variants:
            at = self.at_x[v.dx], self.at_y[v.dy]
            if at not in single or prices[v.kind] > prices[single[at].kind]:
                single[at] = v

        def trace(i: int, j: int) -> Shape | None:
            worth = table[i, j]
            if worth == 0:
                return None
            while table[i - 1, j] == worth:
                i -= 1
            while table[i, j - 1] == worth:
                j -= 1
            alone = single.get((i, j))
            if alone is not None and prices[alone.kind] == worth:
                return alone
            half = int(np.searchsorted(self.xs, self.xs[i] // 2, side="right"))
            rests = self.rest_x[i][1:half]
            good = np.flatnonzero(table[1:half, j] + table[rests, j] == worth)
            if len(good):
                return _beside("x", [trace(1 + int(good[0]), j), trace(int(rests[good[0]]), j)])
            half = int(np.searchsorted(self.ys, self.ys[j] // 2, side="right"))
            rests = self.rest_y[j][1:half]
            good = np.flatnonzero(table[i, 1:half] + table[i, rests] == worth)
            return _beside("y", [trace(i, 1 + int(good[0])), trace(i, int(rests[good[0]]))])

        return trace(*self.rooms[room])

    def _chain(self, base: Table, axis: Axis) -> list[tuple[Axis, Table]]:
        """Tables of 0, 1, 2 … levels, the directions taking turns; `axis` is cut innermost."""
        chain: list[tuple[Axis, Table]] = [(axis, base)]
        idle = 0
        while len(chain) <= self.levels and idle < 2:
            before = chain[-1][1]
            after = self._close_x(before) if axis == "x" else self._close_y(before)
            chain.append((axis, after))
            if len(chain) > 2:
                idle = idle + 1 if np.array_equal(after, before) else 0
            axis = OTHER[axis]
        if idle < 2:
            return chain
        return chain[: self.levels + 1] if len(chain) <= self.levels else chain[:-1]

    def _close_x(self, table: Table) -> Table:
        return _closed(table, self.xs, self.rest_x, self)

    def _close_y(self, table: Table) -> Table:
        return np.ascontiguousarray(_closed(np.ascontiguousarray(table.T), self.ys, self.rest_y, self).T)

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


def _closed(inner: Table, places: Table, rests: Sequence[NDArray[np.intp]], grid: Grid) -> Table:
    """One more level along the first index: any items of `inner` side by side, the rest waste.

    Of two or more items the narrowest takes up half of the room at most, so cuts up to the middle do.
    """
    out = np.zeros_like(inner)
    useful: list[int] = []
    picks: NDArray[np.intp] = np.zeros(0, dtype=np.intp)
    for at in range(1, len(out)):
        row = np.maximum(out[at - 1], inner[at])
        upto = int(np.searchsorted(places[picks], places[at] // 2, side="right"))
        if upto:
            near = picks[:upto]
            gains = out[near] + out[rests[at][near]]
            grid.work += gains.size
            np.maximum(row, gains.max(axis=0), out=row)
        if (inner[at] > out[at - 1]).any():
            # Only an item that is worth more than what narrower ones make can be of use.
            useful.append(at)
            picks = np.array(useful, dtype=np.intp)
        out[at] = row
    return out
