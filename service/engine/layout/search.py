"""The search for layouts: passes of value correction, refining by prices, improvement, tidying up.

Effort is counted in steps of the pattern filling and never in seconds, all values are whole numbers,
and every tie is broken by rule, so that equal input gives equal layouts everywhere.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

from service.engine.layout.assign import merged
from service.engine.layout.bound import least_of, lower_bound
from service.engine.layout.context import AXES, Context, Solution
from service.engine.layout.improve import Improver
from service.engine.layout.job import Division, Found, Job, SoFar
from service.engine.layout.passes import Passes
from service.engine.layout.prices import ANY_LEVELS
from service.engine.layout.refine import Refiner
from service.engine.layout.ruin import Ruin
from service.engine.layout.trimming import trimmed_whole
from service.engine.layout.values import not_below
from service.engine.layout.worth import Worth
from service.engine.order import Effort
from service.engine.plan import Axis, Unplaced

_ROUNDS: Final[dict[Effort, int]] = {"quick": 4, "standard": 7, "thorough": 14}
_ROUNDS_BEFORE_MOVES: Final = 2
_PRICINGS: Final[dict[Effort, int]] = {"quick": 8, "standard": 30, "thorough": 120}
_TRIALS: Final[dict[Effort, int]] = {"quick": 60, "standard": 600, "thorough": 6000}
_MOVES: Final[dict[Effort, int]] = {"quick": 1000, "standard": 20_000, "thorough": 150_000}
_GOING_ON: Final = 50
"""Hundredths of the effort up to which passes follow where a search goes on from one of less effort: where
levels are limited dives alone come to less in the same time, as passes alone do."""
_BELOW: Final[dict[Effort, Effort]] = {"standard": "quick", "thorough": "standard"}
_FEW_OF_EACH: Final = 3
"""Pieces of a kind, on average, up to which sheets are given up one by one."""
_FEW_PIECES: Final = 100
"""Pieces up to which it is done with all moves, and plain dives follow it, where levels are not limited."""
_MOST_PIECES: Final = 400
"""Pieces up to which that is done: each move looks at all sheets."""
_FAR_OFF: Final = 12
"""A search beside another ends where its first passes come to so large a part more than is of use."""
_LEVELS: Final = 3
"""Levels of cuts below which it is not done: its trees are seldom that flat."""
_FINER: Final = 8
"""How many times the steps of a rough pass one with standard effort takes, about."""
_OPENINGS: Final[tuple[tuple[int, tuple[Axis, ...], int], ...]] = (
    (0, ("y", "x"), 850),
    (1, ("x", "y"), 700),
    (2, ("y", "x"), 930),
    (0, ("y",), 500),
    (0, ("x",), 2000),
    (1, ("y",), 900),
    (1, ("x",), 0),
)
"""Of the first passes: weight of large parts, first cuts tried, fill from which an offcut is used."""


def find_layouts(
    job: Job,
    stop: Callable[[], bool] | None = None,
    told: Callable[[SoFar], None] | None = None,
) -> Found:
    """Divide the stock of a job into its parts.

    Every tree returned can be cut by the job's machine: it passes :func:`.walk.walk`. The demand is
    met exactly, or what is missing is listed with the reason. `stop` is asked now and then, after a
    first pass at the earliest; when it says so, what is best so far is the answer. `told` gets what is
    best so far, whenever something better was found.
    """
    context = Context(job, stop, told)
    if job.options.objective == "value":
        return _worthiest(context)
    best: Solution | None = None
    if any(context.demand):
        begun = _begun(context, stop, told)
        best = _search(context, begun)
        less = None if begun is not None else _less_effort(context, best)
        if less is not None:
            # Another way through the layouts; a longer search is not to end with a worse plan than this.
            # What it meets on its way is not told: it begins anew, and mostly with something worse.
            plainer = Context(replace(job, options=replace(job.options, effort=less)), stop)
            best = min(best, _search(plainer), key=lambda one: one.rank)
            context.other_steps += plainer.steps
            context.budget += plainer.steps
    return _found(context, best)


def _begun(
    context: Context, stop: Callable[[], bool] | None, told: Callable[[SoFar], None] | None
) -> Solution | None:
    """What the effort below that of the order comes to, where a search goes on from there.

    Its steps count, and its layouts are known from then on: more effort never ends with a worse plan. Of
    few pieces, and where levels are not limited, a search makes a beginning of its own.
    """
    job = context.job
    less = _BELOW.get(job.options.effort)
    if less is None or context.stages >= ANY_LEVELS or sum(context.demand) <= _FEW_PIECES:
        return None
    first = Context(replace(job, options=replace(job.options, effort=less)), stop, told)
    best = _search(first, _begun(first, stop, told))
    context.go_on_from(first)
    return best


def _less_effort(context: Context, best: Solution) -> Effort | None:
    """The effort that is tried beside that of the order, where the best may still be bettered by it."""
    proved = context.least is not None and best.rank[:2] <= (0, context.least.cost)
    effort = context.job.options.effort
    if proved or context.stopped or context.job.most is not None or _by_moves(context):
        return None
    if effort == "thorough":
        return "standard"
    return "quick" if effort == "standard" and sum(context.demand) <= _FEW_PIECES else None


def _worthiest(context: Context) -> Found:
    """The stock filled with what is worth most; the bound tells what nothing from it can exceed."""
    worth = Worth(context)
    best = worth.fill()
    got = sum((n - m) * v for n, m, v in zip(context.demand, best.left, worth.values, strict=True))
    found = _found(context, best)
    bound = replace(found.bound, value=not_below(worth.bound / worth.scale))
    return replace(found, bound=bound, stopped_early=got < worth.bound)


def _search(context: Context, begun: Solution | None = None) -> Solution:
    """The best plan found, no worse than that with which it is `begun`."""
    effort = context.job.options.effort
    passes = Passes(context)
    target = _target(context)
    by_moves = _by_moves(context)
    if begun is not None:
        passes.once = True
        more = _passes(context, passes, range(_ROUNDS[effort]), target, context.budget * _GOING_ON // 100)
        best = min(begun, more, key=lambda one: one.rank)
    elif by_moves:
        # What follows hardly depends on where it begins, and begins there with any effort.
        best = _opening(context, passes, _ROUNDS_BEFORE_MOVES, target, rough=True)
    else:
        best = _opening(context, passes, _ROUNDS[effort], target, rough=effort == "quick")
    if context.most is not None and best.rank[1] > context.most + context.most // _FAR_OFF:
        return best
    few = _few_of_each(context)
    pieces = sum(context.demand)
    many = context.stages >= ANY_LEVELS and pieces > _FEW_PIECES
    # Prices tell little where there are far more kinds than sheets, and cost too much where there are
    # very many.
    rows, most_rows = _rows(context), 6 if many else 4
    priced = rows <= most_rows * sum(n for _, n in best.rows)
    if few and best.rank[:2] > (0, target) and not (many and priced):
        # Of many pieces each move takes longer and says less, and prices say more.
        moves = _MOVES[effort] * _FEW_PIECES**3 // pieces**3 if many else _MOVES[effort]
        best = Ruin(context).fewer(best, moves, target, choose=not many)
        target = max(target, context.least.cost if context.least is not None else 0)
        priced = rows <= most_rows * sum(n for _, n in best.rows)
    if by_moves:
        # More passes and dives hardly ever find what so many moves did not, but tables may prove it.
        if priced:
            Refiner(context, passes, context.budget).prove(best, target)
        return Improver(context, passes, context.budget).tidy(best)
    if best.rank[:2] > (0, target) and priced:
        refiner = Refiner(context, passes, context.budget * 4 // 5, held=many)
        best = refiner.dive(best, _PRICINGS[effort], target)
        target = refiner.target
        if refiner.hopeless:
            return best
    improver = Improver(context, passes, context.budget)
    best = improver.rebuild(
        best, _TRIALS[effort] // (30 if (few or many) and len(context.types) == 1 else 1), target
    )
    return improver.tidy(best)


def _few_of_each(context: Context) -> bool:
    pieces, kinds = sum(context.demand), sum(1 for n in context.demand if n)
    return pieces <= min(_FEW_OF_EACH * kinds, _MOST_PIECES) and context.stages >= _LEVELS


def _by_moves(context: Context) -> bool:
    """Whether it is the moves that give up sheets one by one that a plan comes from.

    A search of less effort then makes the first of the moves of one with more, and no others.
    """
    few = _few_of_each(context) and sum(context.demand) <= _FEW_PIECES
    return few and context.stages >= ANY_LEVELS and len(context.types) == 1


def _rows(context: Context) -> int:
    pieces = sum(context.demand)
    return sum(1 for n in context.demand if n) + sum(1 for t in context.types if t.quantity < pieces)


def _target(context: Context) -> int:
    """Cost below which nothing can be, when everything is placed."""
    if context.least is None:
        context.least = least_of(context.all_kinds, context.demand, context.types, context.trim)
    return context.least.cost


def _opening(context: Context, passes: Passes, rounds: int, target: int, *, rough: bool) -> Solution:
    """Passes from several starting values, each going on from the values the last one left.

    All of them are `rough` as well where the first one shows that finer ones would use the effort up.
    """
    last = -(-context.budget // 6)
    with context.rough() as spent:
        best = _passes(context, passes, range(1), target, last)
        rough |= _FINER * spent() > context.budget // 6
        if rough and not context.stopped and spent() <= context.budget // 6:
            best = min(
                best, _passes(context, passes, range(1, rounds), target, last), key=lambda one: one.rank
            )
    if rough or best.rank[:2] <= (0, target):
        return best
    return min(best, _passes(context, passes, range(rounds), target, last), key=lambda one: one.rank)


def _passes(context: Context, passes: Passes, turns: range, target: int, last: int) -> Solution:
    """The best of those passes; none is begun after so many steps as `last` tells."""
    best: Solution | None = None
    values: list[int] = []
    largest = max(context.areas)
    for turn in turns:
        weight, axes, threshold = _OPENINGS[turn % len(_OPENINGS)]
        if turn < 3:
            values = [a + a * weight * a // (4 * largest) for a in context.areas]
        elif turn >= len(_OPENINGS):
            axes = AXES
        rows, left = passes.one_pass(
            values, context.demand, [t.quantity for t in context.types], axes, threshold
        )
        found = context.solution(rows, left)
        if best is None or found.rank < best.rank:
            best = found
        if (best.rank[:2] <= (0, target) and turn >= 2) or context.reached(last):
            break
    if best is None:
        raise ValueError("at least one pass is wanted")
    return best


def _found(context: Context, best: Solution | None) -> Found:
    job = context.job
    divisions: list[Division] = []
    if best is not None:
        stock = [list(t.items) for t in context.types]
        for pattern, repeat in best.rows:
            left = repeat
            for place, (ref, quantity) in enumerate(stock[pattern.stock]):
                count = min(left, quantity)
                if count > 0:
                    stock[pattern.stock][place] = (ref, quantity - count)
                    left -= count
                    divisions.extend(
                        Division(ref, n, tree) for tree, n in context.lines.serve(pattern.tree, count)
                    )
    unplaced = _unplaced(context)
    missing = {u.ref: u.quantity for u in unplaced}
    placed = {part.ref: part.quantity - missing.get(part.ref, 0) for part in job.parts}
    whole = [replace(d, tree=trimmed_whole(job, d.stock_ref, d.tree)) for d in divisions]
    done = merged(whole)
    # What was proved for all that can be made holds as it is when all of it is placed.
    known = None if any(u.code in {"stock-exhausted", "left-out"} for u in unplaced) else context.least
    bound = lower_bound(job, placed, done, context.prices, known=known)
    return Found(done, unplaced, bound, context.steps, context.reached(context.budget))


def _unplaced(context: Context) -> tuple[Unplaced, ...]:
    found: list[Unplaced] = []
    for kind, code, reason in context.refused:
        found.extend(Unplaced(ref, n, code, reason) for ref, n, _ in kind.wanted)
    worth_nothing = {part.ref for part in context.job.parts if not part.value}

    def why(ref: str) -> tuple[str, str]:
        if context.job.options.objective != "value":
            return "stock-exhausted", "the stock that it fits on is used up"
        if ref in worth_nothing:
            return "left-out", "it is worth nothing"
        return "left-out", "the stock is filled with parts that are together worth more"

    for index, lines in enumerate(context.lines.left):
        if context.demand[index]:
            found.extend(Unplaced(line.ref, line.left, *why(line.ref)) for line in lines if line.left > 0)
    order: Sequence[str] = [part.ref for part in context.job.parts]
    place = {ref: i for i, ref in enumerate(order)}
    return tuple(sorted(found, key=lambda u: place[u.ref]))
