"""Refining by linear programming: weights for all patterns, then whole numbers.

New patterns come from :mod:`.columns`, the bound from :mod:`.proof`. Whole numbers come from a choice
among the patterns where they are few, and from dives, in which uses of patterns are fixed one after
another and what is left is priced anew. A dive that cannot lead to a better plan any more ends; the
next one begins with another pattern.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import nullcontext
from fractions import Fraction
from typing import Final

from service.engine.layout.bound import Least, least_of, raised, usable, with_prices
from service.engine.layout.columns import FINE_BITS, Columns, Priced
from service.engine.layout.context import AXES, Context, Pattern, Solution
from service.engine.layout.dives import Dives, whole_pieces
from service.engine.layout.fixed import Fixed
from service.engine.layout.passes import Passes
from service.engine.layout.prices import ANY_LEVELS
from service.engine.layout.proof import proved
from service.engine.layout.sketch import Sketch
from service.engine.layout.task import Task
from service.engine.order import Effort

_WORK: Final[dict[Effort, int]] = {"quick": 0, "standard": 4_000_000_000, "thorough": 30_000_000_000}
"""Sums in tables of all places, for the bound, at most."""
_LIMITED: Final[dict[Effort, int]] = {"quick": 0, "standard": 100_000_000, "thorough": 8_000_000_000}
"""The same where levels of cuts are limited, and the tables do nothing but prove."""
_ONE_SIZE: Final = 20
"""So many times as many there, where all stock is alike and a whole piece of it may be proved."""
_DIVES: Final[dict[Effort, int]] = {"quick": 1, "standard": 6, "thorough": 40}
_ROOT: Final = 2
"""One in so many parts of the effort of dives may go into what they begin with."""
_LAST: Final = 12
"""Sheets left from which on a dive tries to complete the plan by passes."""
_CHOSEN: Final[dict[Effort, int]] = {"quick": 0, "standard": 2, "thorough": _LAST}
"""Sheets left in fractions up to which a dive chooses in whole numbers: of more the solver takes a third of a
second each time, and hardly ever ends nearer to the fractions than the dive does."""
_ENOUGH: Final = 0.3
"""Where dives begin above the least cost by all tables, as a share of what is free below whole pieces."""


class Refiner:
    """Refines the plans of one context.

    `held`: by dives that hold what is lacking to a better plan, else by plain ones.
    """

    def __init__(self, context: Context, passes: Passes, ceiling: int, *, held: bool = False) -> None:
        self.context = context
        self.passes = passes
        self.held = held
        self.allowed = context.budget * 4 // 5
        self.types = context.types
        self.effort: Effort = context.job.options.effort
        self.target = 0
        self.hopeless = False
        self.sketches: list[Sketch] = []
        self.lowest = 0.0
        self.dearest = max(t.cost for t in self.types)
        self.unit = math.gcd(*(t.cost for t in self.types)) or 1
        self.rooms = [usable(t, context.trim) for t in self.types]
        self.columns = Columns(context, self.rooms, ceiling)

    def dive(self, best: Solution, rounds: int, target: int) -> Solution:
        """The best plan met in several dives; `target` is a cost that no plan can go below.

        The prices of the first round raise :attr:`target` where they can.
        """
        self.target = target
        start = Fixed.nothing(self.context)
        self._prove_more(best)
        if self._done(best) or self.columns.spent:
            return best
        if self.held:
            return self._held_dives(best)
        root = self.columns.priced(start.demand, start.stock, rounds, self.unit)
        if self.context.most is not None and round(root.least) > self.context.most:
            self.hopeless = True
            return best
        self._prove(root.values)
        best = self._chosen(root, start, best)
        for turn in range(_DIVES[self.effort]):
            if self._done(best) or self.columns.spent:
                break
            best = self._one_dive(root, best, max(rounds // 4, 2), turn)
        return best

    def prove(self, best: Solution, target: int) -> None:
        """Raise :attr:`target` by tables of all places where the best plan may be better than it, no more."""
        self.target = target
        if not self._done(best):
            self._prove_more(best)

    def _held_dives(self, best: Solution) -> Solution:
        """Dives that hold what is free, from layouts that are carried out when they are fixed."""
        context = self.context
        self._extended()
        kinds = [kind for kind, n in enumerate(context.demand) if n > 0]
        stock = [t.quantity for t in self.types]
        task: Task[Pattern | Sketch] = Task(self.types, kinds, context.demand, stock, capped=True)
        known: list[Pattern | Sketch] = [*context.pool.values(), *self.sketches]
        for made in known:
            task.offer(made)
        enough = most = self.lowest
        if self.unit == self.dearest:
            most = whole_pieces(self.lowest, self.unit)
            enough += _ENOUGH * (most - self.lowest)
        root = self.columns.held(task, context.demand, stock, enough, most, _ROOT)
        if self.lowest == 0:
            self._prove(root.values)
        if context.most is not None and round(root.least) > context.most:
            self.hopeless = True
            return best
        dives = Dives(context, self.passes, self.columns, task, root, self.unit, self.lowest or root.least)
        return dives.best(best, self.target)

    def _extended(self) -> None:
        """Leave dives so much effort as the passes before them may have had."""
        more = self.context.steps + self.allowed - self.columns.ceiling
        if more > 0 and not self.context.stopped:
            self.context.budget += more
            self.columns.ceiling += more

    def _done(self, best: Solution) -> bool:
        return best.rank[:2] <= (0, self.target)

    def _one_dive(self, priced: Priced, best: Solution, rounds: int, turn: int) -> Solution:
        """Fix uses until nothing is left, or no better plan can come of it.

        The pattern that `turn` counts down to is the first one fixed.
        """
        fixed = Fixed.nothing(self.context)
        skip = turn
        while any(fixed.demand) and any(fixed.stock) and not self.columns.spent:
            if fixed.rows:
                priced = self.columns.priced(fixed.demand, fixed.stock, rounds, self.unit)
            # Even in fractions what is left may cost more than a better plan is allowed to.
            least = fixed.cost + -(-Fraction(priced.least - 1e-6 * self.dearest) // self.unit) * self.unit
            if best.rank[0] == 0 and least >= best.rank[1]:
                break
            if fixed.rows and priced.least < _CHOSEN[self.effort] * self.dearest:
                best = self._chosen(priced, fixed, best)
            if self._done(best) or not self._fix_some(priced.weights, fixed, skip):
                break
            skip = 0
            if priced.least <= _LAST * self.dearest:
                best = self._completed(fixed, priced.values, best)
                if self._done(best):
                    break
        return best

    def _fix_some(self, weights: Sequence[tuple[Pattern, float]], fixed: Fixed, skip: int) -> bool:
        """Fix the whole part of every weight; where there is none, one use of the largest fraction."""
        taken = False
        for pattern, weight in weights if skip == 0 else ():
            repeat = min(int(weight + 1e-6), fixed.room_for(pattern))
            if repeat > 0:
                fixed.take(pattern, repeat, self.types[pattern.stock].cost)
                taken = True
        if taken:
            return True
        fits = sorted(
            (-round(weight % 1 if skip else weight, 6), -pattern.parts_area, i)
            for i, (pattern, weight) in enumerate(weights)
            if fixed.room_for(pattern) > 0
        )
        if not fits:
            return False
        pattern = weights[fits[min(skip, len(fits) - 1)][2]][0]
        fixed.take(pattern, 1, self.types[pattern.stock].cost)
        return True

    def _completed(self, fixed: Fixed, values: Sequence[int], best: Solution) -> Solution:
        """The fixed patterns, and the rest by passes with the prices and with the areas."""
        for start in ([v << FINE_BITS for v in values], self.context.areas):
            worths = [v if v > 0 else max(a >> 8, 1) for v, a in zip(start, self.context.areas, strict=True)]
            rows, left = self.passes.one_pass(worths, fixed.demand, list(fixed.stock), AXES)
            found = self.context.solution([*fixed.rows, *rows], left)
            if found.rank < best.rank:
                best = found
        return best

    def _chosen(self, priced: Priced, fixed: Fixed, best: Solution) -> Solution:
        """The best choice in whole numbers among the patterns, what they give too many left out."""
        # What costs less than the best, by a piece or the least difference there can be.
        limit = (best.rank[1] - self.unit - fixed.cost) / self.dearest if best.rank[0] == 0 else None
        if limit is not None and priced.least > limit * self.dearest + 1e-6:
            return best
        used = priced.master.within(limit)
        uses = self.columns.chosen(priced.master, used, root=not fixed.rows)
        if uses is None:
            return best
        rows = [(pattern, n) for pattern, n in zip(priced.patterns, uses, strict=True) if n]
        cost = sum(self.types[p.stock].cost * n for p, n in rows) + fixed.cost
        if (0, cost) > best.rank[:2]:
            return best
        exact = Fixed(list(fixed.rows), list(fixed.demand), list(fixed.stock), fixed.cost)
        for pattern, n in sorted(rows, key=lambda r: -r[0].parts_area):
            repeat = min(n, exact.room_for(pattern))
            if repeat:
                exact.take(pattern, repeat, 0)
            for _ in range(n - repeat):
                wanted = {kind: min(count, exact.demand[kind]) for kind, count in pattern.use}
                less = self.context.without(pattern, wanted)
                if less is not None:
                    exact.take(less, 1, 0)
        left = exact.demand
        if any(left):
            # A pattern could not be cut without the parts that are too many.
            more, left = self.passes.one_pass(list(self.context.areas), left, exact.stock, AXES)
            exact.rows.extend(more)
        found = self.context.solution(exact.rows, left)
        return found if found.rank < best.rank else best

    def _prove(self, prices: list[int]) -> None:
        """Raise the target by the bound of these prices, with tables of few places."""
        context = self.context
        known = context.least or least_of(context.all_kinds, context.demand, self.types, context.trim)
        self._keep(
            with_prices(
                known,
                context.all_kinds,
                context.demand,
                self.types,
                context.trim,
                prices,
                context.bound_levels,
            ),
            prices,
        )

    def _keep(self, least: Least, prices: list[int]) -> None:
        if self.context.least is None or least.cost >= self.context.least.cost:
            self.context.prices = prices
            self.context.least = least
        self.target = max(self.target, least.cost)

    def _prove_more(self, best: Solution) -> None:
        """Raise the target by tables of all places, which bring new patterns too.

        Where they bring none, as levels are limited, they are counted against the effort; else they have a
        limit of their own. A search that only seeks plans beside another one needs no proof of such levels.
        """
        context = self.context
        work = _WORK[self.effort]
        limited = context.stages < ANY_LEVELS
        if limited:
            work = _LIMITED[self.effort] * (_ONE_SIZE if len(self.types) == 1 else 1)
            work = work if context.job.most is None else 0
        if work == 0 or best.rank[0] > 0 or context.least is None:
            return
        kinds = [kind for kind, n in enumerate(context.demand) if n > 0]
        task: Task[Pattern] = Task(self.types, kinds, context.demand, [t.quantity for t in self.types])
        sketches = self.sketches if self.held else None
        with nullcontext() if limited else self.columns.uncounted():
            found = proved(context, task, self.rooms, self.unit, best.rank[1], work, sketches)
        self.lowest = task.master.objective * self.dearest
        if found.cost > 0:
            self._keep(raised(context.least, found.cost, self.types), found.prices)
        elif found.prices:
            self._prove(found.prices)
