"""The bound of a plan brought up to the linear programme over all layouts that there are.

Prices that come from a search over some places and real patterns do not prove all that can be proved.
Here the table of all places adds what it finds to the linear programme as a column, cut or not, and
with more of a part than is wanted if it likes, until the next whole piece of stock is proved or the
prices cannot prove more. What holds for any number of levels of cuts holds where they are few: there the
table only proves, as most of its layouts turn the direction of cutting too often.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from service.engine.layout.columns import Steady
from service.engine.layout.context import Context, Pattern
from service.engine.layout.grid import Grid, Shape
from service.engine.layout.linear import PRICE_BITS
from service.engine.layout.prices import ANY_LEVELS
from service.engine.layout.sketch import Sketch, carved, sketch, uses_of
from service.engine.layout.task import Task
from service.engine.quantities import Length

_MOST_PLACES: Final = 3000
_SOME_PLACES: Final = 500
_FEW_PLACES: Final = (80, 200)
_SHAPES: Final = 20
_FEW_SHAPES: Final = 5
"""Layouts taken from one table for each sort of stock, and for each of many sorts."""
_MANY_SORTS: Final = 6
_TAIL: Final = 8
_FALL: Final = 0.998
"""So many rounds with the fewest places lower the cost to this share of it, or more places are looked at."""
_CLOSE: Final = 1 / 2000
_NEAR: Final = 1 / 2000
"""What prices may leave unproved of the linear programme where no whole piece of stock hangs on it."""
_ROUGHLY: Final = 1 / 400
"""The same with the fewest places."""
_ROUNDS: Final = 400
_TABLE_STEPS: Final = 400
"""Sums in the tables that take as long as one step."""
_SHAPE_STEPS: Final = 200
"""Steps that it takes to find a layout again in its table, about."""


@dataclass(frozen=True, slots=True)
class Proved:
    """A cost that no plan goes below, nought where no table was complete, and prices to prove more with."""

    cost: int
    prices: list[int]


def proved(
    context: Context,
    task: Task[Pattern],
    rooms: Sequence[tuple[Length, Length]],
    unit: int,
    enough: int,
    work: int,
    sketches: list[Sketch] | None = None,
) -> Proved:
    """The most that prices prove with tables of so many sums, levels of cuts not limited.

    Whole multiples of `unit` count; at a cost of `enough` nothing more is wanted. Layouts of the tables
    with no more of a part than is wanted are added to `sketches`; without, they are carried out, and join
    the pool of the context, unless levels of cuts are limited: then nothing is done where all places take
    more than `work`.
    """

    def grid_of(most: int) -> Grid:
        return Grid(context.filler.variants, context.demand, rooms, ANY_LEVELS, most, context.ask)

    grid = grid_of(_MOST_PLACES)
    sums = len(grid.xs) * len(grid.ys) * (len(grid.xs) + len(grid.ys)) // 4
    limited = context.stages < ANY_LEVELS
    if limited and (not grid.exact or sums > work):
        return Proved(0, [])
    for pattern in list(context.pool.values()):
        task.offer(pattern)
    offers = _Offers(context, task, sketches)
    steady = Steady(context.demand, context.types)
    known = context.least.cost if context.least else 0

    def near(share: float) -> bool:
        """Whether prices prove nearly all that they can, where a little more makes no difference."""
        least = task.master.objective * task.dearest
        return unit < min(task.dearest, share * least) and steady.proved > (1 - share) * least

    def open_still() -> bool:
        """Whether prices may prove more than is known, and more is wanted."""
        told = max(-(-steady.whole() // unit) * unit, known)
        most = min(enough, (task.master.objective - 1e-6) * task.dearest)
        return not context.ended() and told < most and not near(_NEAR)

    for most in _FEW_PLACES:
        coarse = grid_of(most)
        before = math.inf
        share = _NEAR if coarse.exact else _ROUGHLY
        # These tables are cheap, and what they find is of use to a plan too.
        for turn in range(1, _ROUNDS + 1):
            if context.ended() or near(share) or not offers.taken(coarse, None, steady):
                break
            if turn % _TAIL == 0:
                if most < _FEW_PLACES[-1] and task.master.objective > _FALL * before:
                    break
                before = task.master.objective
        if not coarse.exact:
            # With places missing nothing is proved, but the prices are a good beginning.
            steady = Steady(context.demand, context.types, steady.best)
    # What lies so near to what is known takes many tables to prove, or cannot be.
    close = (1 - _CLOSE) * task.master.objective * task.dearest < known
    many = sums > work if limited else 3 * sums > 2 * work
    if not grid.exact or many or (close and 4 * sums > work):
        if limited:
            return Proved(0, [])
        # The patterns of a finer table are of use all the same.
        fine = grid_of(_SOME_PLACES)
        while 16 * fine.work < work and not context.ended() and offers.taken(fine, None, steady):
            pass
        return Proved(0, task.values())
    turn = 0
    while grid.work + sums <= work and open_still() and offers.taken(grid, coarse, steady):
        turn += 1
        gap = task.master.objective * task.dearest - steady.proved
        over = task.master.objective * task.dearest - known
        left = max(work - grid.work, 0) // max(grid.work // turn, 1)
        # Thousands of rounds may be left: two to the power of them is beyond what a float holds.
        if turn > 1 and over < math.ldexp(gap, -left):
            break
    return Proved(steady.whole(), steady.best or task.values())


class _Offers:
    """Shapes of the tables on their way into the linear programme, each once."""

    def __init__(self, context: Context, task: Task[Pattern], sketches: list[Sketch] | None) -> None:
        self.context = context
        self.sketches = sketches
        self.task = task
        self.known: set[tuple[int, tuple[tuple[int, int], ...]]] = set()
        self.rounds = 0
        self.carved = context.stages >= ANY_LEVELS
        # A little below what it costs: prices that are held back say less than those of the moment.
        self.most = _SHAPES if len(context.types) < _MANY_SORTS else _FEW_SHAPES
        self.floors = [(t.cost << PRICE_BITS) // task.dearest * 15 // 16 for t in context.types]
        task.master.solve()

    def taken(self, grid: Grid, coarse: Grid | None, steady: Steady) -> bool:
        """One round of pricing; whether something was found that is worth more than its stock costs.

        With a `coarse` grid the other one is priced from there.
        """
        values = self.task.values()
        for prices in steady.tries(values):
            self.rounds += 1
            before = grid.work
            if coarse is None:
                tops = grid.price(prices)
                shapes = [grid.shapes(place, self.most, floor) for place, floor in enumerate(self.floors)]
            else:
                coarse.price(prices)
                tops = grid.tops(prices, coarse)
                shapes = [
                    grid.layouts(prices, place, self.most, floor) for place, floor in enumerate(self.floors)
                ]
            steady.learn(prices, tops)
            found = sum(len(some) for some in shapes)
            self.context.other_steps += (grid.work - before) // _TABLE_STEPS + 5 * len(grid.xs)
            self.context.other_steps += _SHAPE_STEPS * found
            if self._take(shapes, values):
                master = self.task.master
                master.solve()
                self.context.other_steps += 40 * master.parts + 4 * len(master.columns)
                return True
        return False

    def _take(self, shapes: Sequence[Sequence[Shape]], values: Sequence[int]) -> bool:
        task, taken = self.task, False
        for stock, found in zip(self.context.types, shapes, strict=True):
            for shape in found:
                uses = uses_of(shape)
                key = (stock.index, tuple(sorted(uses.items())))
                worth = sum(values[kind] * n for kind, n in uses.items())
                if key in self.known or worth * task.dearest <= stock.cost << PRICE_BITS:
                    continue
                self.known.add(key)
                task.master.add(task.column(*key), stock.cost / task.dearest)
                if all(n <= self.context.demand[kind] for kind, n in uses.items()):
                    if self.sketches is not None:
                        self.sketches.append(sketch(stock, shape, self.context.areas))
                    elif self.carved:
                        carved(self.context, stock, shape, uses, self.context.demand)
                taken = True
        return taken
