"""Column generation: weights for the patterns known, new patterns by what the weights make parts worth.

Gilmore & Gomory 1961, 1965, with the table of :mod:`.grid` as the pricing and pattern filling beside
it. The table takes parts as often as it likes; where it takes more than are wanted, the prices of
those parts are lowered and the table is asked again.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from service.engine.layout.context import AXES, Context, Pattern
from service.engine.layout.grid import Grid, Shape
from service.engine.layout.linear import PRICE_BITS, Master
from service.engine.layout.mend import Mender, worth_of
from service.engine.layout.prices import least_cost, whole_least
from service.engine.layout.rationed import Rationed
from service.engine.layout.sketch import Sketch, carved, sketch, uses_of
from service.engine.layout.stock import StockType
from service.engine.layout.task import Task
from service.engine.order import Effort
from service.engine.quantities import Length

_PLACES: Final[dict[Effort, int]] = {"quick": 120, "standard": 240, "thorough": 400}
"""Places along each axis looked at for new patterns."""
FINE_BITS: Final = 18
"""Bits by which prices are lengthened where patterns are filled: there they are weighed against trifles."""
_SHAPES: Final = 8
"""Patterns taken from one table for one stock type."""
_SKETCHES: Final = 40
"""The same where layouts are not carried out at once."""
_SOME: Final = 5
_GAIN: Final = 0.1
_LITTLE: Final = 0.08
"""So many rounds must lower the cost by such shares of what is above that wanted and of what is free."""
_SPARING: Final[dict[Effort, int]] = {"quick": 1, "standard": 4, "thorough": 8}
"""Tables for the same prices, with parts spared that were taken too often."""
_NODES: Final[dict[Effort, int]] = {"quick": 10, "standard": 60, "thorough": 1000}
"""Nodes of a choice in whole numbers."""
_CHOICE: Final[dict[Effort, int]] = {"quick": 2_000, "standard": 6_000, "thorough": 40_000}
"""Rows times patterns up to which one is made."""
_TAIL: Final = 10
_TAILS: Final = (0.998, 0.9998)
"""So many rounds must lower the cost in fractions to this share of it, or no more are made.

The second where a little less would spare a piece of stock.
"""
_FEW_OF_EACH: Final = 3
"""Pieces of a kind, on average, up to which a table that knows nothing of counts is not asked."""
_MENDING: Final = 400
"""Steps that it takes to mend a layout, about."""
_RATIONED_STEPS: Final = 14
"""Joins in tables of what is wanted that take as long as one step."""
_STEPS_A_PLACE: Final = 5
_STEPS_A_RATION: Final = 4_000
"""Steps that such a table takes for its places, and beside its joins."""
_TABLE_STEPS: Final = 800
"""Sums in the tables that take as long as one step."""


@dataclass(frozen=True, slots=True)
class Priced:
    """What the linear programme says: patterns with their weights, worths, and all that was offered.

    `least` is what the pieces cost by the linear programme, in fractions of pieces.
    """

    weights: list[tuple[Pattern, float]]
    values: list[int]
    master: Master
    patterns: list[Pattern]
    least: float


@dataclass(frozen=True, slots=True)
class Held:
    """What the linear programme of a dive says: layouts with their weights, worths, and the least cost."""

    weights: list[tuple[Pattern | Sketch, float]]
    values: list[int]
    least: float


class Steady:
    """Prices held between those of the moment and the best so far, so that they swing less.

    Smoothing after Wentges (International Transactions in Operational Research 4, 1997): the best are
    those that prove the most.
    """

    def __init__(
        self, demand: Sequence[int], live: Sequence[StockType], best: list[int] | None = None
    ) -> None:
        self.demand = demand
        self.live = live
        self.best = best
        self.proved = Fraction(0)
        self._tops: tuple[int, Sequence[int]] | None = None
        self._whole = 0

    def tries(self, values: list[int]) -> Iterator[list[int]]:
        """Prices to try in turn: held back first, then those of the moment."""
        if self.best is not None:
            pairs = zip(self.best, values, strict=True)
            yield [(3 * a + 2 * b) // 5 for a, b in pairs]
        yield values

    def learn(self, prices: list[int], tops: Sequence[int]) -> None:
        """Keep prices that prove more than those kept so far."""
        worth = sum(n * p for n, p in zip(self.demand, prices, strict=True))
        proved = least_cost(worth, tops, self.live)
        if proved > self.proved:
            self.best, self.proved = prices, proved
            self._tops = worth, tops

    def whole(self) -> int:
        """What is proved of whole pieces of stock."""
        if self._tops is not None:
            self._whole = max(self._whole, whole_least(*self._tops, self.live))
            self._tops = None
        return self._whole


class Columns:
    """Generates patterns for one context."""

    def __init__(self, context: Context, rooms: Sequence[tuple[Length, Length]], ceiling: int) -> None:
        self.context = context
        self.types = context.types
        self.rooms = rooms
        self.ceiling = ceiling
        self.dearest = max(t.cost for t in self.types)
        self.mender = Mender(context.filler.variants, context.stages)

    @property
    def spent(self) -> bool:
        """Whether the effort is used up."""
        return self.context.reached(self.ceiling)

    @contextmanager
    def uncounted(self) -> Iterator[None]:
        """The steps taken meanwhile have a limit of their own and are not counted against the effort."""
        before = self.context.steps
        yield
        if not self.context.stopped:
            spent = self.context.steps - before
            self.context.budget += spent
            self.ceiling += spent

    def least(self, task: Task[Pattern | Sketch], demand: Sequence[int], stock: Sequence[int]) -> float:
        """What so much costs in fractions from the patterns of `task`."""
        task.renew(demand, stock)
        self._solve_again(task.master)
        return task.master.objective * self.dearest

    def chosen(self, master: Master, used: Sequence[int], *, root: bool = True) -> list[int] | None:
        """The best choice in whole numbers of these patterns; None when none is found, or they are too many.

        Of what a dive leaves there is one after each use: those, not at the `root`, have less effort.
        """
        effort = self.context.job.options.effort
        nodes = _NODES[effort] if root else max(_NODES[effort] // 3, 1)
        if len(used) * master.parts > _CHOICE[effort]:
            return None
        self.context.other_steps += 40 * len(used) + 20 * nodes * master.parts
        return master.whole(nodes, used, helped=root)

    def priced(self, demand: Sequence[int], stock: Sequence[int], rounds: int, unit: int) -> Priced:
        """Weights for what is still wanted, and what each kind is worth.

        Ends where whole multiples of `unit` cannot tell the cost in fractions from what is proved, and at
        two thirds of the ceiling.
        """
        context = self.context
        last = 2 * self.ceiling // 3
        kinds = [kind for kind, n in enumerate(demand) if n > 0]
        task: Task[Pattern] = Task(self.types, kinds, demand, stock)
        for pattern in list(context.pool.values()):
            task.offer(pattern)
        live = [t for t in self.types if stock[t.index] > 0]
        most = _PLACES[context.job.options.effort]
        grids = [
            Grid(context.filler.variants, demand, [self.rooms[t.index] for t in live], context.stages, places)
            for places in (most // 2, most)
        ]
        if grids[0].exact:
            grids.pop()
        steady = Steady(demand, live)
        before = math.inf
        for turn in range(rounds * len(grids)):
            self._solve(task.master)
            if context.reached(last):
                break
            if turn % _TAIL == 0:
                if task.master.objective > self._tail(task.master.objective, unit) * before:
                    break
                before = task.master.objective
            least = Fraction((task.master.objective - 1e-6) * self.dearest)
            if len(grids) == 1 and -(-steady.proved // unit) * unit >= least:
                break
            values = task.values()
            added = False
            for prices in steady.tries(values):
                tops, added = self._by_table(grids[0], live, prices, values, task)
                steady.learn(prices, tops)
                if added:
                    break
            if not added:
                fine = [v << FINE_BITS for v in values]
                for stock_type in [t for t in live if not t.offcut] or live:
                    for axis in AXES:
                        added |= task.gains(context.build(stock_type, axis, fine, demand), values)
            if not added and len(grids) > 1:
                grids.pop(0)
                steady = Steady(demand, live)
            elif not added:
                break
        self._solve(task.master)
        weights = [(task.patterns[j], weight) for j, weight in task.master.weights()]
        return Priced(
            weights, task.values(), task.master, task.patterns, task.master.objective * self.dearest
        )

    def held(
        self,
        task: Task[Pattern | Sketch],
        demand: Sequence[int],
        stock: Sequence[int],
        enough: float,
        most: float,
        share: int,
    ) -> Held:
        """Weights from the layouts of `task` for what is still wanted, new ones until it costs `enough`.

        `most` is what it may cost; what is free below it tells what is little. The new ones come from tables
        that know what is wanted (:mod:`.rationed`), rough ones first, and are not carried out yet: for dives,
        in which what is left changes little from one time to the next. Ends early where little is gained,
        after one in `share` of the effort that is left, and at once where no stock is left.
        """
        context = self.context
        task.renew(demand, stock)
        live = [t for t in self.types if stock[t.index] > 0]
        end = context.steps + max(self.ceiling - context.steps, 0) // share
        finest = _PLACES[context.job.options.effort]
        for places in (finest // 3, 2 * finest // 3, finest):
            if self._brought_down(task, live, places, enough, most, end):
                break
        weights = [(task.patterns[j], weight) for j, weight in task.master.weights()]
        return Held(weights, task.values(), task.master.objective * self.dearest)

    def _brought_down(
        self,
        task: Task[Pattern | Sketch],
        live: Sequence[StockType],
        places: int,
        enough: float,
        most: float,
        end: int,
    ) -> bool:
        """New layouts by tables of so many places; whether no finer ones are wanted."""
        context = self.context
        table: Rationed | None = None
        turn, before = 0, math.inf
        while True:
            self._solve_again(task.master)
            least = task.master.objective * self.dearest
            if least <= enough or context.reached(end) or not live:
                return True
            if turn % _SOME == 0:
                if before - least < max(_GAIN * (least - enough), _LITTLE * (most - least)):
                    return False
                before = least
            turn += 1
            if table is None:
                rooms = [self.rooms[t.index] for t in live]
                grid = Grid(context.filler.variants, task.demand, rooms, context.stages, places, context.ask)
                table = Rationed(grid, task.demand, context.ask)
                context.other_steps += _STEPS_A_PLACE * (len(grid.xs) + len(grid.ys))
            if not self._sketched(table, live, task):
                return False

    def _sketched(self, table: Rationed, live: Sequence[StockType], task: Task[Pattern | Sketch]) -> bool:
        """Layouts of the table that are worth more than they cost; whether there is one.

        Where it has none, those of the table that knows nothing of counts are mended.
        """
        values = task.values()
        most = _SKETCHES if len(live) < 4 else _SHAPES
        before = table.work
        table.price(values)
        added = False
        for place, stock_type in enumerate(live):
            least = (stock_type.cost << PRICE_BITS) // self.dearest
            for shape in table.shapes(place, most, least):
                added |= task.offer(sketch(stock_type, shape, self.context.areas))
        self.context.other_steps += (table.work - before) // _RATIONED_STEPS + _STEPS_A_RATION
        demand = task.demand
        if added or sum(demand) <= _FEW_OF_EACH * sum(1 for n in demand if n):
            return added
        seen: set[tuple[int, frozenset[tuple[int, int]]]] = set()

        def take(stock_type: StockType, shape: Shape, uses: Counter[int], least: int) -> bool:
            key = (stock_type.index, frozenset(uses.items()))
            if key in seen:
                return False
            seen.add(key)
            fits = all(n <= demand[kind] for kind, n in uses.items())
            whole = shape if fits else self._mended(stock_type, shape, values, demand)
            if whole is None or worth_of(whole, values) <= least:
                return False
            return task.offer(sketch(stock_type, whole, self.context.areas))

        times = _SPARING[self.context.job.options.effort]
        return self._asked(table.grid, live, values, demand, times, most, take)[1]

    def _mended(
        self, stock: StockType, shape: Shape, values: Sequence[int], demand: Sequence[int]
    ) -> Shape | None:
        self.context.other_steps += _MENDING
        return self.mender.mended(shape, self.rooms[stock.index], values, demand)

    def _tail(self, objective: float, unit: int) -> float:
        over = objective * self.dearest / unit % 1
        return _TAILS[4 * unit >= self.dearest and over < 0.3]

    def _by_table(
        self,
        grid: Grid,
        live: Sequence[StockType],
        prices: list[int],
        values: Sequence[int],
        task: Task[Pattern],
    ) -> tuple[list[int], bool]:
        """The most valuable patterns of the table for each stock type, those that gain at `values`.

        Returns the worth of each stock type at `prices`, and whether a pattern was added.
        """
        context, demand = self.context, task.demand

        def take(stock_type: StockType, shape: Shape, uses: Counter[int], least: int) -> bool:
            if sum(min(n, demand[kind]) * values[kind] for kind, n in uses.items()) <= least:
                return False
            return task.gains(carved(context, stock_type, shape, uses, demand), values)

        # Held back prices are asked again with those of the moment anyway.
        times = _SPARING[context.job.options.effort] if prices is values else 1
        most = _SHAPES if len(live) < 4 else 2
        return self._asked(grid, live, prices, demand, times, most, take)

    def _asked(
        self,
        grid: Grid,
        live: Sequence[StockType],
        prices: list[int],
        demand: Sequence[int],
        times: int,
        most: int,
        take: Callable[[StockType, Shape, Counter[int], int], bool],
    ) -> tuple[list[int], bool]:
        """Gives `take` up to `most` layouts of the table for each stock type, until it has use for one.

        Where they hold more of a kind than is wanted its price is lowered and the table is asked again,
        `times` in all. `take` is told what a layout must be worth, too. Returns the worth of each stock type
        at `prices`, and whether a layout was taken.
        """
        before = grid.work
        tops = grid.price(prices)
        asked = prices
        added = False
        for turn in range(times):
            if turn:
                grid.price(asked)
            over: dict[int, int] = {}
            for place, stock_type in enumerate(live):
                least = (stock_type.cost << PRICE_BITS) // self.dearest
                if tops[place] <= least - (least >> 4):
                    continue
                for shape in grid.shapes(place, most, least >> 1):
                    uses = uses_of(shape)
                    for kind, n in uses.items():
                        if n > demand[kind]:
                            over[kind] = max(over.get(kind, 0), n)
                    added |= take(stock_type, shape, uses, least)
            if added or not over:
                break
            asked = list(asked)
            for kind, n in over.items():
                asked[kind] = asked[kind] * (demand[kind] + n) // (2 * n)
        self.context.other_steps += (grid.work - before) // _TABLE_STEPS + 2 * len(grid.xs)
        return tops, added

    def _solve_again(self, master: Master) -> None:
        master.solve()
        self.context.other_steps += 40 * master.parts + 4 * len(master.columns)

    def _solve(self, master: Master) -> None:
        master.solve()
        self.context.other_steps += 100 * master.parts + 4 * len(master.columns)
