"""The bound from prices where each part is wanted a few times: no sheet holds one more often.

For prices p ≥ 0 let V be the most that a sheet can hold, each part at most as often as it is wanted. A
plan of n sheets places all that is wanted, so ``Σ counts · p ≤ n · V``. The prices are those of the pool
of sheets met (:mod:`.pool`), and V comes from the search that joins layouts (:mod:`.joins`), kept short
by what may lie beside them (:mod:`.spare`). A layout found to be worth more than its share joins the
pool, which gives other prices. Cuts may be inside one another as deep as they like, so that the bound
holds for every machine.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from service.engine.layout.bound import raised, usable
from service.engine.layout.context import Context
from service.engine.layout.grid import Grid, Shape, variants_in
from service.engine.layout.joins import Joins
from service.engine.layout.pool import Pool
from service.engine.layout.prices import ANY_LEVELS
from service.engine.layout.slack import Tree
from service.engine.layout.spare import Spare
from service.engine.order import Effort

_JOINS: Final[dict[Effort, int]] = {"quick": 0, "standard": 6_000_000, "thorough": 200_000_000}
"""Joins looked at for all proofs of one order."""
_ROUNDS: Final = 8
_ROWS: Final[dict[Effort, int]] = {"quick": 0, "standard": 60_000, "thorough": 300_000}
"""Layouts that may become worth enough, up to which a search goes on."""
_MOST_PLACES: Final = 400
_JOINS_A_STEP: Final = 6
_STEPS_A_TABLE: Final = 60_000


class Scarce:
    """Tries to prove that a plan needs as many sheets as it has, all of one size."""

    def __init__(self, context: Context, tree_of: Callable[[Shape], Tree]) -> None:
        self.context = context
        self.tree_of = tree_of
        self.effort: Effort = context.job.options.effort
        self.joins = _JOINS[self.effort] if len(context.types) == 1 else 0
        self.grid: Grid | None = None

    def prove(self, pool: Pool, pieces: int) -> bool:
        """Whether no plan has less than so many pieces; then the bound of the context tells so."""
        context, stock = self.context, self.context.types[0]
        if self.joins <= 0:
            return False
        if self.grid is None:
            room = usable(stock, context.trim)
            self.grid = Grid(
                context.filler.variants, context.demand, [room], ANY_LEVELS, _MOST_PLACES, context.ask
            )
            self.spare = Spare(context.all_kinds, context.demand, room)
        if not self.grid.exact:
            self.joins = 0
            return False
        for _ in range(_ROUNDS):
            prices = pool.prices()
            worth = sum(n * p for n, p in zip(context.demand, prices, strict=True))
            # Where nothing is worth more than this, so many pieces are needed.
            enough = (worth - 1) // (pieces - 1) if pieces > 1 else worth
            most, fresh = self._most(pool, prices, enough + 1)
            if most is not None and 0 < most <= enough and context.least is not None:
                context.least = raised(context.least, -(-worth // most) * stock.cost, context.types)
                return True
            if not fresh or self.joins <= 0 or context.reached(context.budget):
                return False
            if not pool.too_few(pieces * stock.cost):
                return False
        return False

    def _most(self, pool: Pool, prices: list[int], least: int) -> tuple[int | None, bool]:
        """A bound on what one sheet may be worth from a search for `least`; whether the pool has grown."""
        context, grid = self.context, self.grid
        assert grid is not None
        wide, high = grid.rooms[0]
        worths = [p for p, n in zip(prices, context.demand, strict=True) if n]
        cap = self.spare.table(worths, grid.xs[: wide + 1], grid.ys[: high + 1])
        context.other_steps += _STEPS_A_TABLE
        joins = Joins(
            grid,
            context.demand,
            prices,
            [0] * len(prices),
            self._spend,
            cap=cap,
            most_rows=_ROWS[self.effort],
        )
        before = len(pool.trees)

        def accept(shape: Shape) -> int:
            pool.add((0, tuple(sorted(v.kind for v in variants_in(shape)))), self.tree_of(shape))
            # As if it were worth too little: others that are worth enough are of use as well.
            return least - 1

        most = joins.search(least, self.joins, accept)
        self.joins -= joins.work
        fresh = len(pool.trees) > before
        if most is None:
            # What took too long once will do so again, but for other prices.
            self.joins = self.joins // 2 if fresh else 0
        return most, fresh

    def _spend(self, joins: int) -> bool:
        self.context.other_steps += joins // _JOINS_A_STEP
        return not self.context.ended()
