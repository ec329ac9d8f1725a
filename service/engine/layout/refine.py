"""Refining by linear programming: exact weights for all patterns known, new patterns by their prices.

Column generation (Gilmore & Gomory 1961, 1965) with the pattern filling as the pricing heuristic,
then a dive: whole uses are fixed, the rest of the demand is priced anew.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

from service.engine.layout.bound import least_of
from service.engine.layout.context import AXES, Context, Pattern, Solution
from service.engine.layout.master import Column, Master
from service.engine.layout.passes import Passes

_SCALE = 1 << 30


class Refiner:
    """Refines the plans of one context."""

    def __init__(self, context: Context, passes: Passes, ceiling: int) -> None:
        self.context = context
        self.passes = passes
        self.ceiling = ceiling
        self.types = context.types
        self.target = 0
        self.unit = math.gcd(*(t.cost for t in self.types)) or 1

    def dive(self, best: Solution, rounds: int, target: int) -> Solution:
        """Fix whole uses of patterns step by step; returns the best plan met on the way.

        `target` is a cost that no plan can go below: reaching it ends the dive. The prices of the
        first round raise :attr:`target` where they can.
        """
        context = self.context
        self.target = target
        demand = list(context.demand)
        stock = [t.quantity for t in self.types]
        fixed: list[tuple[Pattern, int]] = []
        first = True
        while any(demand) and context.steps < self.ceiling:
            weights, values = self._priced(demand, stock, rounds if first else max(rounds // 4, 2))
            if first:
                first = False
                context.prices = values
                least = least_of(context.all_kinds, context.demand, self.types, context.trim, values)
                context.least = least
                self.target = target = max(target, least.cost)
            if not weights:
                break
            taken = False
            for pattern, weight in weights:
                repeat = min(
                    [int(weight), stock[pattern.stock], *(demand[kind] // n for kind, n in pattern.use)]
                )
                if repeat > 0:
                    self._fix(pattern, repeat, fixed, demand, stock)
                    taken = True
            if not taken:
                fits = [
                    (weight, pattern.parts_area, -i)
                    for i, (pattern, weight) in enumerate(weights)
                    if stock[pattern.stock] > 0 and all(demand[kind] >= n for kind, n in pattern.use)
                ]
                if not fits:
                    break
                self._fix(weights[-max(fits)[2]][0], 1, fixed, demand, stock)
            best = self._completed(fixed, demand, stock, values, best)
            if best.rank[:2] <= (0, target):
                break
        return best

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

    def _priced(
        self, demand: Sequence[int], stock: Sequence[int], rounds: int
    ) -> tuple[list[tuple[Pattern, Fraction]], list[int]]:
        """Exact weights for what is still wanted, and what each kind is worth, scaled to areas."""
        context = self.context
        kinds = [kind for kind, n in enumerate(demand) if n > 0]
        row_of = {kind: row for row, kind in enumerate(kinds)}
        pieces = sum(demand)
        scarce = [t.index for t in self.types if 0 < stock[t.index] < pieces]
        stock_row = {index: len(kinds) + i for i, index in enumerate(scarce)}
        dearest = max(t.cost for t in self.types) // self.unit
        master = Master([demand[k] for k in kinds], [stock[i] for i in scarce], [2 * dearest] * len(kinds))
        patterns: list[Pattern] = []

        def offer(pattern: Pattern, only_if_gain: bool) -> bool:
            if stock[pattern.stock] <= 0 or any(demand[kind] < n for kind, n in pattern.use):
                return False
            column: Column = tuple((row_of[kind], n) for kind, n in pattern.use)
            if pattern.stock in stock_row:
                column = (*column, (stock_row[pattern.stock], 1))
            cost = self.types[pattern.stock].cost // self.unit
            if only_if_gain and master.gain(column, cost) <= 0:
                return False
            master.add(column, cost)
            patterns.append(pattern)
            return True

        for pattern in list(context.pool.values()):
            offer(pattern, False)
        live = [t for t in self.types if stock[t.index] > 0]
        sheets = [t for t in live if not t.offcut]
        offcuts = [t for t in live if t.offcut]
        deep = 0
        for turn in range(rounds):
            self._solve(master)
            if 3 * context.steps >= 2 * self.ceiling:
                break
            values = self._values(kinds, master)
            added = False
            few = offcuts[turn * 4 % max(len(offcuts), 1) :][:4]
            for stock_type in (*sheets, *few):
                for axis in AXES:
                    made = context.build(stock_type, axis, values, demand)
                    added |= made is not None and offer(made, True)
            if added or turn * 4 < len(offcuts):
                continue
            # Nothing gains at a quick look: look deeper, at one type and one first cut after another.
            for look in range(2 * len(sheets)):
                stock_type = sheets[(deep + look) // 2 % len(sheets)]
                made = context.best_led(stock_type, AXES[(deep + look) % 2], values, demand)
                if made is not None and offer(made, True):
                    added = True
                    deep += look
                    break
            if not added:
                break
        self._solve(master)
        weights = [(patterns[j], weight) for j, weight in master.weights()]
        return weights, self._values(kinds, master)

    def _solve(self, master: Master) -> None:
        before = master.work
        left = max(self.ceiling - self.context.steps, 0) // (2 * master.size**2 + 1)
        master.solve(min(40 * master.size, left + 1))
        self.context.other_steps += master.work - before

    def _values(self, kinds: Sequence[int], master: Master) -> list[int]:
        values = [0] * len(self.context.demand)
        scale = self.unit * _SCALE
        for kind, dual in zip(kinds, master.duals(scale), strict=True):
            values[kind] = dual
        return values
