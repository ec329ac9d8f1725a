"""Filling stock with what is worth most: parts carry a value, their quantity is the most that is wanted.

For one piece of stock the exact table (:mod:`.grid`) tells the most that it can hold when copies are
not limited; prices for pieces beyond the limit (Lagrange multipliers, found by the subgradient method)
lower that to a bound for limited copies. Layouts come from the table itself when it asks for no more
than is wanted, else from the search that keeps to the limits (:mod:`.joins`, :mod:`.hunt`), helped by
tables of a few layouts a size (:mod:`.limited`) where that does not prove the best. Several pieces are
filled one after another.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from typing import Final

from service.engine.layout.bound import usable
from service.engine.layout.context import AXES, Context, Pattern, Solution
from service.engine.layout.grid import Grid, Shape, variants_in
from service.engine.layout.hunt import Hunt
from service.engine.layout.joins import Joins
from service.engine.layout.limited import Limited
from service.engine.layout.stock import StockType
from service.engine.order import Effort
from service.engine.quantities import Length

_PLACES: Final[dict[Effort, int]] = {"quick": 150, "standard": 300, "thorough": 600}
"""Places along each axis where the limits count."""
_ALL_PLACES: Final[dict[Effort, int]] = {"quick": 400, "standard": 3000, "thorough": 4000}
"""Places along each axis of the table without limits."""
_ROUNDS: Final[dict[Effort, int]] = {"quick": 20, "standard": 60, "thorough": 200}
_JOINS: Final[dict[Effort, int]] = {"quick": 20_000_000, "standard": 200_000_000, "thorough": 1_000_000_000}
"""Joins of two layouts that are looked at: for each piece half of what the pieces before it left."""
_KEEPS: Final = (1, 2, 4, 8, 16, 32, 64)
_TABLES: Final[dict[Effort, int]] = {"quick": 5_000_000, "standard": 12_000_000, "thorough": 120_000_000}
"""Joins in tables that keep to the counts: no further table is begun beyond."""
_JOINS_A_STEP: Final = 20


def values_of(context: Context) -> tuple[list[int], int]:
    """The value of a piece of each kind as whole numbers, and what they were multiplied by."""
    exact = [Fraction(str(kind.value or 0)) for kind in context.all_kinds]
    scale = math.lcm(*(value.denominator for value in exact))
    return [int(value * scale) for value in exact], scale


class Worth:
    """Fills the stock of one context with the greatest worth it finds."""

    def __init__(self, context: Context) -> None:
        self.context = context
        self.effort = context.job.options.effort
        self.values, self.scale = values_of(context)
        self.bound = 0
        self.joins = _JOINS[self.effort]
        self._spare = 0

    def fill(self) -> Solution:
        """The plan; :attr:`bound` then is a worth that no plan from this stock exceeds."""
        context = self.context
        left = list(context.demand)
        rows: list[tuple[Pattern, int]] = []
        everything = sum(n * v for n, v in zip(left, self.values, strict=True))
        bound = 0
        for stock in context.types:
            first = True
            pieces = stock.quantity
            while pieces > 0 and any(n and v for n, v in zip(left, self.values, strict=True)):
                pattern, most = self._best(stock, left)
                if first:
                    # The first piece could choose among all parts: its bound holds for every piece.
                    most = most if left == context.demand else self._unlimited(stock, context.demand)
                    bound += min(most * stock.quantity, everything)
                    first = False
                if pattern is None:
                    break
                repeat = min([pieces, *(left[kind] // n for kind, n in pattern.use)])
                rows.append((pattern, repeat))
                pieces -= repeat
                for kind, n in pattern.use:
                    left[kind] -= n * repeat
        self.bound = min(bound, everything)
        return context.solution(rows, left)

    def _worth(self, pattern: Pattern) -> int:
        return sum(self.values[kind] * n for kind, n in pattern.use)

    def _unlimited(self, stock: StockType, demand: Sequence[int]) -> int:
        grid = self._grid([usable(stock, self.context.trim)], demand, _ALL_PLACES[self.effort])
        return (
            grid.price(self.values)[0]
            if grid.exact
            else sum(n * v for n, v in zip(demand, self.values, strict=True))
        )

    def _grid(self, rooms: Sequence[tuple[Length, Length]], demand: Sequence[int], most: int) -> Grid:
        wanted = [n if v else 0 for n, v in zip(demand, self.values, strict=True)]
        return Grid(self.context.filler.variants, wanted, rooms, self.context.stages, most)

    def _best(self, stock: StockType, left: Sequence[int]) -> tuple[Pattern | None, int]:
        """The most valuable pattern found for one piece, and a bound on any."""
        context = self.context
        best: Pattern | None = None

        def offer(pattern: Pattern | None) -> None:
            nonlocal best
            if pattern is not None and (best is None or self._worth(pattern) > self._worth(best)):
                best = pattern

        for axis in AXES:
            offer(context.build(stock, axis, self.values, left))
        offer(context.fallback(stock, [n if v else 0 for n, v in zip(left, self.values, strict=True)]))
        room = usable(stock, context.trim)
        every = self._grid([room], left, _ALL_PLACES[self.effort])
        most = sum(n * v for n, v in zip(left, self.values, strict=True))
        shape: Shape | None = None
        if max(len(every.xs), len(every.ys)) > _PLACES[self.effort] and every.unlimited:
            coarse = self._grid([room], left, _PLACES[self.effort] // 2)
            coarse.price(self.values)
            top = every.tops(self.values, coarse)[0]
            shape = every.layout(self.values, 0)
        else:
            top = every.price(self.values)[0]
            shape = next(iter(every.shapes(0, 1, 0)), None)
        context.other_steps += every.work // 100
        if every.exact:
            most = min(most, top)
        if shape is not None:
            offer(context.carve(stock, shape, self.values, left))
        if best is not None and self._worth(best) >= most:
            return best, most
        few = self._grid([room], left, _PLACES[self.effort])
        lowest, multipliers = self._limits(few, left)
        joins = Joins(few, left, self.values, multipliers, self._spend)
        context.other_steps += len(few.xs) * len(few.ys) // 10
        if few.exact:
            most = min(most, lowest, joins.most)

        def accept(found: Shape) -> int:
            pattern = context.carve(stock, found, self.values, left)
            offer(pattern)
            return 0 if pattern is None else self._worth(pattern)

        reached = 0 if best is None else self._worth(best)
        hunt = Hunt(joins, accept, self.joins // 2, reached, most, few.exact)
        hunt.begin()
        if not hunt.over:
            for found in self._scarce(few, left, multipliers, lambda: hunt.over):
                hunt.accept(found)
            hunt.finish()
        self.joins -= joins.work
        return best, hunt.most

    def _scarce(
        self, grid: Grid, left: Sequence[int], multipliers: Sequence[int], done: Callable[[], bool]
    ) -> Iterator[Shape]:
        """Layouts of the tables that keep to the counts, with prices on the counts taken off or not."""
        work = 0
        for keep in _KEEPS:
            for share in (0, 1, 2) if any(multipliers) else (0,):
                if done() or work > _TABLES[self.effort]:
                    return
                tables = Limited(grid, left, keep)
                ranked = [max(v - m * share // 2, 0) for v, m in zip(self.values, multipliers, strict=True)]
                yield from tables.layouts(ranked, self.values)
                work += tables.work
                self._spend(tables.work)

    def _spend(self, joins: int) -> bool:
        """Count the joins as effort; whether the caller lets the search go on."""
        self._spare += joins
        self.context.other_steps += self._spare // _JOINS_A_STEP
        self._spare %= _JOINS_A_STEP
        _ = self.context.steps  # Asks the caller when it is time to.
        return not self.context.stopped

    def _limits(self, grid: Grid, left: Sequence[int]) -> tuple[int, list[int]]:
        """The least bound found by prices on the limits, and those prices.

        For any m ≥ 0 a layout with no more than `left` copies is worth at most its worth at v - m plus
        Σ m · left, so that the most of the former plus the latter bounds it.
        """
        kinds = len(left)
        multipliers = [0.0] * kinds
        best: int | None = None
        at_best = [0] * kinds
        for turn in range(_ROUNDS[self.effort]):
            whole = [int(m) for m in multipliers]
            before = grid.work
            top = grid.price([max(v - m, 0) for v, m in zip(self.values, whole, strict=True)])[0]
            self.context.other_steps += (grid.work - before) // 100 + 20 * len(grid.xs)
            bound = top + sum(m * n for m, n in zip(whole, left, strict=True))
            if best is None or bound < best:
                best, at_best = bound, whole
            shape = next(iter(grid.shapes(0, 1, 0)), None)
            used = [0] * kinds
            for v in variants_in(shape) if shape is not None else ():
                used[v.kind] += 1
            over = [u - n if n else 0 for u, n in zip(used, left, strict=True)]
            step = [o if o > 0 or m > 0 else 0 for o, m in zip(over, multipliers, strict=True)]
            size = sum(o * o for o in step)
            if size == 0:
                break
            length = max(top, 1) * 0.1 / (1 + turn / 4) / size
            multipliers = [
                min(max(m + length * o, 0.0), float(v))
                for m, o, v in zip(multipliers, step, self.values, strict=True)
            ]
        return best or 0, at_best
