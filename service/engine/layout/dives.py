"""Dives that hold what is free below the cost aimed at, and turn back where it is lost.

In a dive uses of patterns are fixed one after another. Each costs a little of what the linear programme
leaves free below the cost aimed at: of several uses that may be fixed next, the one is taken after which
most is free, and new patterns are sought where that is too little. When nothing is free any more, the
dive is taken up again where another use might have been fixed: of all those passed over, the one that
leaves most free for each piece of stock still to be cut (limited discrepancy search: W. D. Harvey and
M. L. Ginsberg, IJCAI 1995; in dives with columns: R. Sadykov, F. Vanderbeck, A. Pessoa, I. Tahiri and
E. Uchoa, INFORMS Journal on Computing 31, 2019). What was tried there before stays barred, so that the
same uses are not fixed again in another order.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

from service.engine.layout.columns import FINE_BITS, Columns, Held
from service.engine.layout.context import AXES, Context, Pattern, Solution
from service.engine.layout.fixed import Fixed, area_of
from service.engine.layout.passes import Passes
from service.engine.layout.ruin import Ruin
from service.engine.layout.sketch import Sketch, carved
from service.engine.layout.task import Task
from service.engine.order import Effort

_DIVES: Final[dict[Effort, int]] = {"quick": 1, "standard": 60, "thorough": 300}
_HELD: Final = 92
"""So many hundredths of what is free are left after a use is fixed, or others and new patterns sought."""
_HOLDS: Final = 2
"""Sheets left for whose layouts all the effort that is left may be spent."""
_WIDTH: Final = 5
"""Uses looked at for one step."""
_UNSEEN: Final = 2
"""Further uses that are kept for later."""
_LAST: Final = 4
"""Sheets left up to which a dive that has missed its aim is ended by passes."""
_TAKEN_UP: Final = 6
"""Sheets at the end of a dive of which one is given up."""
_MOVES: Final[dict[Effort, int]] = {"quick": 200, "standard": 6_000, "thorough": 40_000}
"""Moves for that in all dives."""
_MOVES_A_DIVE: Final = 2_000
_EPSILON: Final = 1e-6

Made: TypeAlias = Pattern | Sketch
Key: TypeAlias = tuple[int, tuple[tuple[int, int], ...]]


@dataclass(frozen=True, slots=True)
class _Branch:
    """A use that may be fixed next: what stands before it, and what is barred from then on."""

    fixed: Fixed
    made: Made
    barred: frozenset[Key]
    least: float
    """What the plan costs at least then, by the linear programme."""


class Dives:
    """Dives of one context from the layouts of `task`, of which `root` are the weights.

    Costs are multiples of `unit`; by all layouts there are it costs `lowest` in fractions.
    """

    def __init__(
        self,
        context: Context,
        passes: Passes,
        columns: Columns,
        task: Task[Made],
        root: Held,
        unit: int,
        lowest: float,
    ) -> None:
        self.context = context
        self.task = task
        self.passes = passes
        self.columns = columns
        self.root = root
        self.unit = unit
        self.lowest = lowest
        self.types = context.types
        self.dearest = columns.dearest
        self.effort: Effort = context.job.options.effort
        self.open: list[_Branch] = []
        self.moves = _MOVES[self.effort]

    def best(self, best: Solution, target: int) -> Solution:
        """The best plan met; `target` is a cost that ends it."""
        self.target = target
        start = Fixed.nothing(self.context)
        goal = self._goal(best)
        if self._lack(goal, self.root.least) is None and not self._improves(goal + self.unit, best):
            return best
        best = self._dive(start, frozenset(), self.root, best, goal)
        for _ in range(1, _DIVES[self.effort]):
            goal = self._goal(best)
            if self._done(best) or self.columns.spent:
                break
            branch = self._next(goal)
            if branch is None:
                break
            fixed = branch.fixed.copy()
            if self._fixes(fixed, branch.made, 1):
                priced = self._priced(fixed, goal, self._lack(goal, branch.least) or 0.0)
                best = self._dive(fixed, branch.barred, priced, best, goal)
        return best if self._done(best) else self._whole(best)

    def _whole(self, best: Solution) -> Solution:
        """The best choice in whole numbers among the layouts where they are few."""
        context, master = self.context, self.task.master
        fixed = Fixed.nothing(context)
        least = self.columns.least(self.task, fixed.demand, fixed.stock)
        limit = best.rank[1] - self.unit
        if best.rank[0] or context.stopped or least > limit + _EPSILON * self.dearest:
            return best
        used = [j for j in master.within(limit / self.dearest) if j not in self.task.dropped]
        uses = self.columns.chosen(master, used)
        if uses is None:
            return best
        chosen = [(made, n) for made, n in zip(self.task.patterns, uses, strict=True) if n]
        for made, n in sorted(chosen, key=lambda one: -one[0].parts_area):
            repeat = min(n, fixed.room_for(made))
            if repeat and not self._fixes(fixed, made, repeat):
                return best
            for _ in range(n - repeat):
                if fixed.wanted_of(made):
                    self._fixes(fixed, made, 1)
        # A layout could not be cut without the parts that are too many.
        rows, left = self.passes.one_pass(list(context.areas), fixed.demand, list(fixed.stock), AXES)
        return min(best, context.solution([*fixed.rows, *rows], left), key=lambda one: one.rank)

    def _goal(self, best: Solution) -> int:
        """The cost aimed at: less than the best, where it is in pieces at once the least there can be."""
        goal = sum(self.context.demand) * self.dearest if best.rank[0] else best.rank[1] - self.unit
        if self.unit == self.dearest:
            # A dive that misses it may find a better plan too.
            goal = min(goal, whole_pieces(self.lowest, self.unit))
        return goal

    def _done(self, best: Solution) -> bool:
        return best.rank[:2] <= (0, self.target)

    def _lack(self, goal: int, least: float) -> float | None:
        """What is free below the goal; None when it cannot be met."""
        lack = goal - least
        return None if lack < -_EPSILON * self.dearest else max(lack, 0.0)

    def _next(self, goal: int) -> _Branch | None:
        """The branch taken up next, and no longer open."""
        ranked: list[tuple[float, int]] = []
        for number, branch in enumerate(self.open):
            lack = self._lack(goal, branch.least)
            if lack is not None:
                # Rounded, so that what lies beyond does not decide.
                ranked.append((-round(lack / max(goal - branch.fixed.cost, 1), 6), -number))
        return self.open.pop(-min(ranked)[1]) if ranked else None

    def _dive(
        self, fixed: Fixed, barred: frozenset[Key], priced: Held, best: Solution, goal: int
    ) -> Solution:
        """One dive to its end; when it misses its aim, it goes on for what is still better than the best.

        When the effort is spent, it ends with the layouts there are.
        """
        aim = goal
        while any(fixed.demand) and any(fixed.stock) and not self.context.stopped:
            least = fixed.cost + priced.least
            if self._lack(aim, least) is None:
                dearer = aim + whole_pieces(least - aim, self.unit)
                aim = dearer if self._improves(dearer, best) else aim
            lack = self._lack(aim, least)
            if lack is None or (aim > goal and priced.least <= _LAST * self.dearest):
                break
            if not self._fixed_whole(fixed, priced, barred):
                chosen = self._chosen(fixed, priced, barred, aim, lack)
                if chosen is None:
                    break
                self._fixes(fixed, chosen, 1)
            priced = self._priced(fixed, aim, lack)
        if self._done(best):
            return best
        return self._ended(fixed, priced.values, best, goal)

    def _improves(self, cost: int, best: Solution) -> bool:
        return best.rank[0] > 0 or cost < best.rank[1]

    def _priced(self, fixed: Fixed, goal: int, lack: float) -> Held:
        """Weights for what is left, with new patterns where too little is free any more."""
        most = goal - fixed.cost
        enough = most - self._kept(fixed, goal, lack)
        share = max(most / self.dearest / _HOLDS, _HOLDS)
        return self.columns.held(self.task, fixed.demand, fixed.stock, enough, most, round(share))

    def _kept(self, fixed: Fixed, goal: int, lack: float) -> float:
        """What is to be free after the next use: little less than now, or enough for what is left."""
        share = max(goal - fixed.cost, 0) / max(goal, 1)
        return min(lack * _HELD / 100, (goal - self.root.least) * math.sqrt(share))

    def _fixed_whole(self, fixed: Fixed, priced: Held, barred: frozenset[Key]) -> bool:
        """Fix the whole part of every weight: the cost in fractions stays as it is."""
        taken = False
        for made, weight in priced.weights:
            repeat = min(int(weight + _EPSILON), fixed.room_for(made))
            if repeat > 0 and _key(made) not in barred:
                taken |= self._fixes(fixed, made, repeat)
        return taken

    def _chosen(
        self, fixed: Fixed, priced: Held, barred: frozenset[Key], goal: int, lack: float
    ) -> Made | None:
        """The use that is fixed next: the first that costs hardly anything, else the one that costs least."""
        options = self._options(fixed, priced, barred)
        if self.columns.spent:
            return options[0] if options else None
        looked: list[tuple[float, int]] = []
        for number, pattern in enumerate(options):
            cost = self.types[pattern.stock].cost
            stock = [n - (index == pattern.stock) for index, n in enumerate(fixed.stock)]
            left = self.columns.least(self.task, fixed.without(fixed.wanted_of(pattern)), stock)
            least = fixed.cost + cost + left
            looked.append((round(least / self.dearest, 6), number))
            if least <= goal - self._kept(fixed, goal, lack):
                break
        if not looked:
            return None
        # Those not looked at are taken to cost nothing: they are looked at when they are taken up.
        least = round((fixed.cost + priced.least) / self.dearest, 6)
        order = sorted(looked)
        order += [(least, number) for number in range(len(looked), min(len(looked) + _UNSEEN, len(options)))]
        tried = barred
        for least, number in order:
            if number != order[0][1]:
                tried |= {_key(options[order[0][1]])}
                branch = _Branch(fixed.copy(), options[number], tried, least * self.dearest)
                if self._lack(goal, branch.least) is not None:
                    self.open.append(branch)
                tried |= {_key(options[number])}
        return options[order[0][1]]

    def _options(self, fixed: Fixed, priced: Held, barred: frozenset[Key]) -> list[Made]:
        """Patterns of which one use may be fixed, the largest fraction of what is still wanted first."""
        areas = self.context.areas
        ranked: list[tuple[float, int, int]] = []
        for number, (pattern, weight) in enumerate(priced.weights):
            uses = fixed.wanted_of(pattern)
            if fixed.stock[pattern.stock] <= 0 or not uses or _key(pattern) in barred:
                continue
            kept = area_of(uses, areas)
            ranked.append((-round(weight * kept / pattern.parts_area, 6), -kept, number))
        return [priced.weights[number][0] for _, _, number in sorted(ranked)[:_WIDTH]]

    def _fixes(self, fixed: Fixed, made: Made, repeat: int) -> bool:
        """Let a layout stand so often, without the parts of which it has too many.

        One that cannot be cut as it is falls out of use, and what can be cut of it takes its place.
        """
        wanted = fixed.wanted_of(made)
        if isinstance(made, Sketch):
            pattern = carved(self.context, self.types[made.stock], made.shape, wanted, fixed.demand)
        elif fixed.room_for(made) > 0:
            pattern = made
        else:
            pattern = self.context.without(made, wanted)
        if pattern is None or dict(pattern.use) != wanted:
            self.task.drop(made)
            if pattern is not None:
                self.task.offer(pattern)
            return False
        fixed.take(pattern, repeat, self.types[pattern.stock].cost)
        return True

    def _ended(self, fixed: Fixed, values: Sequence[int], best: Solution, goal: int) -> Solution:
        """What a dive left, completed by passes; then a sheet of those fixed last is given up, if it goes."""
        context = self.context
        worths = [v << FINE_BITS if v else max(a >> 8, 1) for v, a in zip(values, context.areas, strict=True)]
        rows, left = self.passes.one_pass(worths, fixed.demand, list(fixed.stock), AXES)
        found = context.solution([*fixed.rows, *rows], left)
        best = min(best, found, key=lambda one: one.rank)
        pieces = sum(context.demand)
        if any(left) or self._done(best) or any(t.quantity < pieces for t in self.types):
            return best
        if self.moves <= 0 or sum(n for _, n in rows) > _TAKEN_UP:
            return best
        if found.rank[1] - goal > self.dearest:
            return best
        # Those with most waste beside what the passes made: a piece of stock may be free in them together.
        kept = sorted(fixed.rows, key=lambda row: row[0].parts_area * 1000 // self.types[row[0].stock].area)
        last = list(rows)
        while kept and sum(n for _, n in last) < _TAKEN_UP:
            last.append(kept.pop(0))
        stands = sum(self.types[p.stock].cost * n for p, n in kept)
        with self.columns.uncounted():
            moves = min(_MOVES_A_DIVE, self.moves)
            less = Ruin(context).fewer(context.solution(last, left), moves, goal - stands, choose=False)
        self.moves -= moves
        return min(best, context.solution([*kept, *less.rows], left), key=lambda one: one.rank)


def _key(pattern: Made) -> Key:
    return pattern.stock, pattern.use


def whole_pieces(cost: float, unit: int) -> int:
    """The least multiple of `unit` that is no less than a cost, but for what the solver may be off by.

    >>> whole_pieces(2000.0001, 1000), whole_pieces(2001.0, 1000)
    (2000, 3000)
    """
    return -(-round(cost - _EPSILON * unit) // unit) * unit
