"""Refining by linear programming: weights for all patterns known, new patterns by their prices.

Column generation (Gilmore & Gomory 1961, 1965) with an exact table as the pricing and pattern filling
beside it, then whole numbers: a choice among all patterns known, and a dive in which whole uses are
fixed and the rest of the demand is priced anew.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from service.engine.layout.bound import least_of, usable, with_prices
from service.engine.layout.context import AXES, Context, Pattern, Solution
from service.engine.layout.grid import Grid, variants_in
from service.engine.layout.linear import PRICE_BITS, Column, Master
from service.engine.layout.passes import Passes
from service.engine.layout.prices import ANY_LEVELS
from service.engine.layout.stock import StockType
from service.engine.order import Effort

_PLACES: Final[dict[Effort, int]] = {"quick": 120, "standard": 240, "thorough": 400}
"""Places along each axis looked at for new patterns."""
_NODES: Final[dict[Effort, int]] = {"quick": 10, "standard": 60, "thorough": 1000}
"""Nodes of the choice in whole numbers."""
_WORK: Final[dict[Effort, int]] = {"quick": 0, "standard": 4_000_000_000, "thorough": 16_000_000_000}
"""Sums in a table of all places, for the bound, at most."""
_SHAPES: Final = 8
"""Patterns taken from one table for one stock type."""
_TABLE_STEPS: Final = 100
"""Sums in the tables that take as long as one step."""


@dataclass(frozen=True, slots=True)
class _Priced:
    """What the linear programme says: patterns with their weights, worths, and all that was offered."""

    weights: list[tuple[Pattern, float]]
    values: list[int]
    master: Master
    patterns: list[Pattern]


class _Steady:
    """Prices held between those of the moment and the best so far, so that they swing less.

    Smoothing after Wentges (International Transactions in Operational Research 4, 1997): the best are
    those that prove the most, by what they give all parts together for the worth of one piece of stock.
    """

    def __init__(self, kinds: int) -> None:
        self.best: list[int] | None = None
        self.proved = Fraction(0)
        self.kinds = kinds

    def tries(self, values: list[int]) -> Iterator[list[int]]:
        """Prices to try in turn: held back first, then those of the moment."""
        if self.best is not None:
            yield [(3 * a + 2 * b) // 5 for a, b in zip(self.best, values, strict=True)]
        yield values

    def learn(self, prices: list[int], demand: Sequence[int], tops: Sequence[int]) -> None:
        """Keep prices that prove more than those kept so far."""
        top = max(tops)
        if top > 0:
            proved = Fraction(sum(n * p for n, p in zip(demand, prices, strict=True)), top)
            if proved > self.proved:
                self.best, self.proved = prices, proved


class Refiner:
    """Refines the plans of one context."""

    def __init__(self, context: Context, passes: Passes, ceiling: int) -> None:
        self.context = context
        self.passes = passes
        self.ceiling = ceiling
        self.types = context.types
        self.target = 0
        self.hopeless = False
        self.dearest = max(t.cost for t in self.types)
        self.unit = math.gcd(*(t.cost for t in self.types)) or 1
        self.rooms = [usable(t, context.trim) for t in self.types]

    def dive(self, best: Solution, rounds: int, target: int) -> Solution:
        """Fix whole uses of patterns step by step; returns the best plan met on the way.

        `target` is a cost that no plan can go below: reaching it ends the dive. The prices of the
        first round raise :attr:`target` where they can.
        """
        context = self.context
        effort = context.job.options.effort
        self.target = target
        demand = list(context.demand)
        stock = [t.quantity for t in self.types]
        fixed: list[tuple[Pattern, int]] = []
        first = True
        while any(demand) and any(stock) and context.steps < self.ceiling:
            priced = self._priced(demand, stock, rounds if first else max(rounds // 4, 2))
            if first:
                self._prove(priced.values, 0)
            spent = sum(self.types[p.stock].cost * n for p, n in fixed)
            least = spent + round(priced.master.objective * self.dearest)
            # Even in fractions these patterns may cost more than a better plan is allowed to.
            hopeful = best.rank[0] > 0 or least <= best.rank[1] - self.unit
            if first and context.most is not None and least > context.most:
                self.hopeless = True
                return best
            if hopeful:
                best = self._chosen(priced, fixed, demand, stock, best)
            if first and best.rank[:2] > (0, self.target):
                # Worth the look only where a plan within the bound is not found yet.
                self._prove(priced.values, _WORK[effort])
            first = False
            if not hopeful or not priced.weights or best.rank[:2] <= (0, self.target):
                break
            if not self._fix_some(priced.weights, fixed, demand, stock):
                break
            best = self._completed(fixed, demand, stock, priced.values, best)
            if best.rank[:2] <= (0, self.target):
                break
        return best

    def _prove(self, prices: list[int], work: int) -> None:
        """Raise the target by the bound of these prices, with tables of so many sums at most."""
        context = self.context
        known = context.least or least_of(context.all_kinds, context.demand, self.types, context.trim)
        if context.stages < ANY_LEVELS:
            work //= 8  # Tables for few levels cannot begin from a smaller one.
        least = with_prices(
            known, context.all_kinds, context.demand, self.types, context.trim, prices, context.stages, work
        )
        if context.least is None or least.cost >= context.least.cost:
            context.prices = prices
            context.least = least
        self.target = max(self.target, least.cost)

    def _fix_some(
        self,
        weights: Sequence[tuple[Pattern, float]],
        fixed: list[tuple[Pattern, int]],
        demand: list[int],
        stock: list[int],
    ) -> bool:
        taken = False
        for pattern, weight in weights:
            repeat = min(
                [int(weight + 1e-6), stock[pattern.stock], *(demand[kind] // n for kind, n in pattern.use)]
            )
            if repeat > 0:
                self._fix(pattern, repeat, fixed, demand, stock)
                taken = True
        if taken:
            return True
        fits = [
            (round(weight, 6), pattern.parts_area, -i)
            for i, (pattern, weight) in enumerate(weights)
            if stock[pattern.stock] > 0 and all(demand[kind] >= n for kind, n in pattern.use)
        ]
        if not fits:
            return False
        self._fix(weights[-max(fits)[2]][0], 1, fixed, demand, stock)
        return True

    def _fix(
        self,
        pattern: Pattern,
        repeat: int,
        fixed: list[tuple[Pattern, int]],
        demand: list[int],
        stock: list[int],
    ) -> None:
        fixed.append((pattern, repeat))
        stock[pattern.stock] -= repeat
        for kind, n in pattern.use:
            demand[kind] -= n * repeat

    def _completed(
        self,
        fixed: Sequence[tuple[Pattern, int]],
        demand: Sequence[int],
        stock: Sequence[int],
        values: Sequence[int],
        best: Solution,
    ) -> Solution:
        """The fixed patterns, and the rest by passes with the prices and with the areas."""
        for start in (values, self.context.areas):
            worths = [v if v > 0 else max(a >> 8, 1) for v, a in zip(start, self.context.areas, strict=True)]
            rows, left = self.passes.one_pass(worths, demand, list(stock), 850, AXES)
            found = self.context.solution([*fixed, *rows], left)
            if found.rank < best.rank:
                best = found
        return best

    def _chosen(
        self,
        priced: _Priced,
        fixed: Sequence[tuple[Pattern, int]],
        demand: Sequence[int],
        stock: Sequence[int],
        best: Solution,
    ) -> Solution:
        """The best choice in whole numbers among the patterns, what they give too many left out."""
        nodes = _NODES[self.context.job.options.effort]
        self.context.other_steps += 40 * len(priced.patterns) + 20 * nodes * priced.master.parts
        spent = sum(self.types[p.stock].cost * n for p, n in fixed)
        limit = (best.rank[1] - spent) / self.dearest if best.rank[0] == 0 else None
        uses = priced.master.whole(nodes, limit)
        if uses is None:
            return best
        rows = [(pattern, n) for pattern, n in zip(priced.patterns, uses, strict=True) if n]
        cost = sum(self.types[p.stock].cost * n for p, n in (*fixed, *rows))
        if (0, cost) > best.rank[:2]:
            return best
        left = list(demand)
        exact: list[tuple[Pattern, int]] = []
        for pattern, n in sorted(rows, key=lambda r: -r[0].parts_area):
            repeat = min([n, *(left[kind] // count for kind, count in pattern.use)])
            spare = n - repeat
            if repeat:
                exact.append((pattern, repeat))
                for kind, count in pattern.use:
                    left[kind] -= count * repeat
            for _ in range(spare):
                wanted = {kind: min(count, left[kind]) for kind, count in pattern.use}
                less = self.context.without(pattern, wanted)
                if less is not None:
                    exact.append((less, 1))
                    for kind, count in less.use:
                        left[kind] -= count
        if any(left):
            # A pattern could not be cut without the parts that are too many.
            gone = list(stock)
            for pattern, n in exact:
                gone[pattern.stock] -= n
            more, left = self.passes.one_pass(list(self.context.areas), left, gone, 850, AXES)
            exact.extend(more)
        found = self.context.solution([*fixed, *exact], left)
        return found if found.rank < best.rank else best

    def _priced(self, demand: Sequence[int], stock: Sequence[int], rounds: int) -> _Priced:
        """Weights for what is still wanted, and what each kind is worth."""
        context = self.context
        effort = context.job.options.effort
        kinds = [kind for kind, n in enumerate(demand) if n > 0]
        row_of = {kind: row for row, kind in enumerate(kinds)}
        pieces = sum(demand)
        scarce = [t.index for t in self.types if 0 < stock[t.index] < pieces]
        stock_row = {index: len(kinds) + i for i, index in enumerate(scarce)}
        master = Master([demand[k] for k in kinds], [stock[i] for i in scarce], 2.0)
        patterns: list[Pattern] = []
        known: set[tuple[int, tuple[tuple[int, int], ...]]] = set()

        def offer(pattern: Pattern) -> bool:
            key = (pattern.stock, pattern.use)
            if stock[pattern.stock] <= 0 or key in known:
                return False
            known.add(key)
            column: Column = tuple((row_of[kind], n) for kind, n in pattern.use if kind in row_of)
            if not column:
                return False
            if pattern.stock in stock_row:
                column = (*column, (stock_row[pattern.stock], 1))
            master.add(column, self.types[pattern.stock].cost / self.dearest)
            patterns.append(pattern)
            return True

        for pattern in list(context.pool.values()):
            offer(pattern)
        live = [t for t in self.types if stock[t.index] > 0]
        sheets = [t for t in live if not t.offcut] or live
        rooms = [self.rooms[t.index] for t in live]
        most = _PLACES[effort]
        grids = [
            Grid(context.filler.variants, demand, rooms, context.stages, places)
            for places in (most // 2, most)
        ]
        if grids[0].exact:
            grids.pop()
        steady = _Steady(len(context.demand))
        for turn in range(rounds * len(grids)):
            self._solve(master)
            if 3 * context.steps >= 2 * self.ceiling:
                break
            values = self._values(kinds, master)
            added = False
            for prices in steady.tries(values):
                tops, added = self._by_table(grids[0], live, prices, values, demand, offer)
                steady.learn(prices, demand, tops)
                if added:
                    break
            if not added or turn % 4 == 0:
                for stock_type in sheets:
                    for axis in AXES:
                        made = context.build(stock_type, axis, values, demand)
                        added |= made is not None and self._gains(made, values) and offer(made)
            if not added and len(grids) > 1:
                grids.pop(0)
                steady = _Steady(len(context.demand))
            elif not added:
                break
        self._solve(master)
        weights = [(patterns[j], weight) for j, weight in master.weights()]
        return _Priced(weights, self._values(kinds, master), master, patterns)

    def _by_table(
        self,
        grid: Grid,
        live: Sequence[StockType],
        prices: Sequence[int],
        values: Sequence[int],
        demand: Sequence[int],
        offer: Callable[[Pattern], bool],
    ) -> tuple[list[int], bool]:
        """The most valuable patterns of the table for each stock type, those that gain at `values`.

        Returns the worth of each stock type at `prices`, and whether a pattern was added.
        """
        before = grid.work
        tops = grid.price(prices)
        self.context.other_steps += (grid.work - before) // _TABLE_STEPS + 20 * len(grid.xs)
        added = False
        for place, stock_type in enumerate(live):
            least = (stock_type.cost << PRICE_BITS) // self.dearest
            if prices is not values:
                least -= least >> 4
            if tops[place] <= least:
                continue
            for shape in grid.shapes(place, _SHAPES if len(live) < 4 else 2, least):
                if sum(values[v.kind] for v in variants_in(shape)) << 1 <= least:
                    continue
                made = self.context.carve(stock_type, shape, values, demand)
                added |= made is not None and self._gains(made, values) and offer(made)
        return tops, added

    def _gains(self, pattern: Pattern, values: Sequence[int]) -> bool:
        worth = sum(values[kind] * n for kind, n in pattern.use)
        return worth * self.dearest > self.types[pattern.stock].cost << PRICE_BITS

    def _solve(self, master: Master) -> None:
        master.solve()
        self.context.other_steps += 100 * master.parts + 4 * len(master.columns)

    def _values(self, kinds: Sequence[int], master: Master) -> list[int]:
        values = [0] * len(self.context.demand)
        for kind, price in zip(kinds, master.prices(), strict=True):
            values[kind] = price
        return values
