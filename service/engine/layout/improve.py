"""Improving a plan: take a few sheets apart and divide them anew; then tidy up what is left.

The choice of sheets follows a fixed sequence of numbers, so that equal input gives equal plans.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from service.engine.layout.context import AXES, Context, Pattern, Solution
from service.engine.layout.passes import Passes, Sequence32
from service.engine.plan import Axis

_WORTH_A_TURN: Final = 40
"""That part of the square of the sheet's area must be gained, in squares of offcuts, to cut it otherwise:
shop default, as handling may rise."""
_HALVINGS: Final = 8
"""Rooms tried for the parts of the emptiest sheet, each way."""


class Improver:
    """Improves plans of one context."""

    def __init__(self, context: Context, passes: Passes, ceiling: int) -> None:
        self.context = context
        self.passes = passes
        self.ceiling = ceiling
        self.types = context.types

    def _measure(self, rows: Sequence[tuple[Pattern, int]], left: Sequence[int]) -> tuple[int, ...]:
        """Lower is better: what is left out, cost, pieces; then full sheets beside empty ones."""
        unplaced = sum(n * a for n, a in zip(left, self.context.areas, strict=True))
        cost = sum(self.types[p.stock].cost * n for p, n in rows)
        fresh = sum(n for p, n in rows if not self.types[p.stock].offcut)
        pieces = sum(n for _, n in rows)
        full = sum((p.parts_area * p.parts_area * n) // self.types[p.stock].area for p, n in rows)
        return unplaced, cost, fresh, pieces, -full

    def rebuild(self, solution: Solution, trials: int, target: int) -> Solution:
        """Take a few sheets apart, the emptiest more often, and keep what is no worse."""
        rows = list(solution.rows)
        left = list(solution.left)
        numbers = Sequence32(len(rows) + 1)
        best = solution
        for trial in range(trials):
            if best.rank[:2] <= (0, target) or self.context.reached(self.ceiling) or len(rows) == 0:
                break
            removed = self._choose(rows, numbers, 2 + trial % 6)
            kept, demand, stock = self._without(rows, left, removed)
            # Now and then one kind may count several times as much as another.
            wide = 768 if trial % 2 else 64
            values = [area * (256 + numbers.below(wide)) for area in self.context.areas]
            axes: tuple[Axis, ...] = (AXES, AXES[:1], AXES[1:])[numbers.below(3)]
            self.passes.numbers = numbers if trial % 2 else None
            found, rest = self.passes.one_pass(values, demand, stock, axes)
            old = self._measure([(p, n) for p, n, _ in removed], left)
            new = self._measure(found, rest)
            if new <= old:
                rows = _gathered([*kept, *found])
                left = rest
                candidate = self.context.solution(rows, left)
                if candidate.rank < best.rank:
                    best = candidate
        self.passes.numbers = None
        return best

    def _choose(
        self, rows: Sequence[tuple[Pattern, int]], numbers: Sequence32, count: int
    ) -> list[tuple[Pattern, int, int]]:
        """Some sheets: (pattern, how many of it, its row)."""
        order = sorted(
            range(len(rows)),
            key=lambda i: (rows[i][0].parts_area * 1_000_000 // self.types[rows[i][0].stock].area, i),
        )
        chosen: dict[int, int] = {}
        for turn in range(count):
            # The minimum of two numbers leans towards the emptier sheets.
            at = (
                min(numbers.below(len(order)), numbers.below(len(order)))
                if turn
                else numbers.below(min(len(order), 3))
            )
            row = order[at]
            if chosen.get(row, 0) < rows[row][1]:
                chosen[row] = chosen.get(row, 0) + 1
        return [(rows[row][0], n, row) for row, n in sorted(chosen.items())]

    def _without(
        self,
        rows: Sequence[tuple[Pattern, int]],
        left: Sequence[int],
        removed: Sequence[tuple[Pattern, int, int]],
    ) -> tuple[list[tuple[Pattern, int]], list[int], list[int]]:
        gone = {row: n for _, n, row in removed}
        kept = [(p, n - gone.get(i, 0)) for i, (p, n) in enumerate(rows) if n > gone.get(i, 0)]
        demand = list(left)
        for pattern, n, _ in removed:
            for kind, count in pattern.use:
                demand[kind] += count * n
        stock = [t.quantity for t in self.types]
        for pattern, n in kept:
            stock[pattern.stock] -= n
        return kept, demand, stock

    def tidy(self, solution: Solution) -> Solution:
        """Each layout anew for the same parts: on cheaper stock, with a larger offcut, or simpler to cut."""
        rows = list(solution.rows)
        order = sorted(
            range(len(rows)),
            key=lambda i: (rows[i][0].parts_area * 1_000_000 // self.types[rows[i][0].stock].area, i),
        )
        for turn, i in enumerate(order):
            pattern, repeat = rows[i]
            stock = [t.quantity for t in self.types]
            for other, n in rows:
                stock[other.stock] -= n
            if turn >= 12 or self.context.ended():
                break
            best = pattern
            for stock_type in self.types:
                cost = self.types[best.stock].cost
                if stock_type.index != pattern.stock and (
                    stock[stock_type.index] < repeat
                    or stock_type.cost > cost
                    or stock_type.area < pattern.parts_area
                ):
                    continue
                for candidate in self._same_parts(pattern, stock_type.index):
                    if self._tidier(candidate, best):
                        best = candidate
            if turn == 0 and repeat == 1 and self.context.stages > 1:
                least = best.offcut_worth + self.types[best.stock].area ** 2 // _WORTH_A_TURN
                for candidate in self._narrower(best):
                    if candidate.offcut_worth >= least and self._tidier(candidate, best):
                        best = candidate
            rows[i] = (best, repeat)
        found = self.context.solution(_gathered(rows), solution.left)
        return found if found.rank < solution.rank else solution

    def _same_parts(self, pattern: Pattern, stock: int) -> list[Pattern]:
        found: list[Pattern] = []
        caps = [0] * len(self.context.demand)
        for kind, n in pattern.use:
            caps[kind] = n
        for axis in AXES:
            candidate = self.context.build(self.types[stock], axis, self.context.areas, caps)
            if candidate is not None and candidate.use == pattern.use:
                found.append(candidate)
        return found

    def _narrower(self, pattern: Pattern) -> list[Pattern]:
        """The same parts on as little of the piece as they are found a place on, cut either way first.

        What is left beyond them is in one piece then. By halving: where they fit, less is tried.
        """
        context, stock = self.context, self.types[pattern.stock]
        found: list[Pattern] = []
        for axis in AXES:
            room = stock.piece.along(axis).size
            low, high = sum(n * context.areas[kind] for kind, n in pattern.use) * room // stock.area, room
            for _ in range(_HALVINGS):
                middle = (low + high) // 2
                caps = [0] * len(context.demand)
                for kind, n in pattern.use:
                    caps[kind] = n
                candidate = context.within(stock, axis, middle, caps)
                if candidate is not None and candidate.use == pattern.use:
                    found.append(candidate)
                    high = middle
                else:
                    low = middle
        return found

    def _tidier(self, a: Pattern, b: Pattern) -> bool:
        def rank(p: Pattern) -> tuple[int, int, int, int]:
            stock = self.types[p.stock]
            return stock.cost, int(not stock.offcut), -p.offcut_worth, p.handling

        return rank(a) < rank(b)


def _gathered(rows: Sequence[tuple[Pattern, int]]) -> list[tuple[Pattern, int]]:
    """Equal patterns as one row, in the order of their first appearance."""
    places: dict[tuple[int, tuple[tuple[int, int], ...]], int] = {}
    found: list[tuple[Pattern, int]] = []
    for pattern, n in rows:
        key = (pattern.stock, pattern.use)
        if key in places:
            found[places[key]] = (found[places[key]][0], found[places[key]][1] + n)
        else:
            places[key] = len(found)
            found.append((pattern, n))
    return found
