"""Several ways to divide the same stock into the same parts, for an objective to choose from.

The first is the search as the order asks for it. The others trade material for simpler work: fewer
changes of direction, parts that share a side cut together, one line of the order after another, no
offcuts from the rack, sheets of one size, or the layouts that occur once divided anew and plainly.
Each of them places what the first one places, or is not offered.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

from service.engine.layout import rules
from service.engine.layout.assign import merged
from service.engine.layout.bound import lower_bound
from service.engine.layout.ends import strip_lengths
from service.engine.layout.job import Division, Found, Job, SoFar
from service.engine.layout.kinds import kinds_of
from service.engine.layout.search import find_layouts
from service.engine.layout.stock import in_money
from service.engine.objectives import worth_of
from service.engine.order import Effort, Objective, Part, StockItem
from service.engine.plan import Axis, Bound, Unplaced, leaves
from service.engine.tolerance import aimed_size

Stop = Callable[[], bool]

_BESIDE: Final[dict[Effort, Effort]] = {"quick": "quick", "standard": "quick", "thorough": "standard"}
"""Effort of the searches beside the first."""
_MOST_SIZES: Final = 3
"""Sizes of sheet tried by themselves."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """Layouts for one material and thickness.

    `how` says in words what was done to find them; it is empty for the search as asked. `few_stacks`
    tells that a program with as few open stacks as the order allows can always be written.
    """

    how: str
    divisions: tuple[Division, ...]
    unplaced: tuple[Unplaced, ...]
    bound: Bound
    stopped_early: bool
    few_stacks: bool = False


@dataclass(frozen=True, slots=True)
class _Recipe:
    how: str
    make: Callable[[Job, Candidate, Stop | None], tuple[Division, ...] | None]


def searches_for(job: Job, objective: Objective) -> int:
    """How many searches :func:`candidates` makes at most."""
    return 1 + _needs_few_stages(job) + len(_recipes(job, objective))


def candidates(
    job: Job,
    objective: Objective,
    stop: Stop | None = None,
    told: Callable[[SoFar], None] | None = None,
) -> Iterator[Candidate]:
    """Ways to divide the stock, one after another; the first is the search as asked.

    Parameters
    ----------
    job
        Parts and stock of one material and thickness.
    objective
        For least material only ways that may use as little are tried, and none with quick effort.
    stop
        Asked between steps; after it says stop, what is there is offered and no other way tried.
    told
        Gets what the search as asked has come to, whenever it found something better.
    """
    first = _candidate("", find_layouts(job, stop, told))
    if not _needs_few_stages(job):
        first = replace(first, few_stacks=True)
    yield first
    if _needs_few_stages(job):
        stages = (job.options.open_stacks or 0) + 1
        found = find_layouts(_with(job, stages), stop)
        how = f"in {_directions(stages)}, as few stacks may wait"
        # Its own bound holds for plans of so few directions only, and another may have more.
        if found.unplaced == first.unplaced:
            bound = against(first.bound, found.divisions, job.stock)
        else:
            made = {part.ref: part.quantity for part in without(job, found.unplaced).parts}
            bound = replace(lower_bound(job, made, found.divisions), value=first.bound.value)
        flat = replace(_candidate(how, found), few_stacks=True, bound=bound)
        if bound.value is not None:
            # It may be the best of so few directions, and still less than more of them might give.
            short = worth_of(found.divisions, job.parts) < Fraction(str(bound.value))
            flat = replace(flat, stopped_early=found.stopped_early or short)
        yield flat
    seen = {first.divisions}
    placed = without(job, first.unplaced)
    for recipe in _recipes(job, objective):
        if stop is not None and stop():
            return
        divisions = recipe.make(placed, first, stop)
        if divisions is None or divisions in seen:
            continue
        seen.add(divisions)
        bound = against(first.bound, divisions, job.stock)
        few = not _needs_few_stages(job)
        yield Candidate(recipe.how, divisions, first.unplaced, bound, first.stopped_early, few)


def _candidate(how: str, found: Found) -> Candidate:
    return Candidate(how, found.divisions, found.unplaced, found.bound, found.stopped_early)


def _needs_few_stages(job: Job) -> bool:
    """Whether the stages asked for may need more stacks than may wait: one for each level but the last."""
    limit = job.options.open_stacks
    return limit is not None and job.options.max_stages > limit + 1


def _recipes(job: Job, objective: Objective) -> tuple[_Recipe, ...]:
    options = job.options
    if objective == "value" or (objective == "material" and options.effort == "quick"):
        return ()
    stages = [count for count in (2, 1) if count < options.max_stages and (count > 1 or _strips_can_do(job))]
    found = [_Recipe(f"in {_directions(count)}", _by_stages(count)) for count in stages]
    found.append(_Recipe("with the layouts that occur once divided anew in two directions", _rare_anew))
    if objective == "material":
        chosen = [*found[: min(1, len(stages))], found[-1]]
        paid = [item for item in job.stock if item.price == 0]
        if paid and in_money(job.stock):
            bought = [item for item in job.stock if item.price != 0]
            chosen.append(_Recipe("without offcuts that are paid for", _bought(bought)))
        return tuple(chosen)
    if len(job.parts) > 1:
        found.append(_Recipe("with parts that share a side cut from the same sheets", _families))
        found.append(_Recipe("one line of the order after another", _by_line))
    sheets = [item for item in job.stock if item.kind == "sheet" and item.quantity > 0]
    if sheets and len(sheets) < len(job.stock):
        found.append(_Recipe("without offcuts from the rack", _only(sheets)))
    sizes = dict.fromkeys((item.length, item.width) for item in sheets)
    if len(sizes) > 1:
        largest = sorted(sizes, key=lambda size: (-size[0] * size[1], size))
        for size in largest[:_MOST_SIZES]:
            same = [item for item in sheets if (item.length, item.width) == size]
            found.append(_Recipe(f"from {same[0].ref} alone", _only(same)))
    return tuple(found)


def _strips_can_do(job: Job) -> bool:
    """Whether some stock can be cut up in one direction: between mill edges only parts as long as it."""
    pieces = [rules.stock_piece(item, job.options.trim) for item in job.stock if item.quantity > 0]
    variants = [v for kind in kinds_of(job.parts) for v in kind.variants]
    axes: tuple[Axis, ...] = ("x", "y")
    return any(
        not (piece.x.far_mill and piece.y.far_mill)
        or any(
            strip_lengths(job.machine, piece, axis, variants, job.options.trim, job.options.offcut_min)
            for axis in axes
        )
        for piece in pieces
    )


def _directions(stages: int) -> str:
    return "one direction of cutting" if stages == 1 else f"at most {stages} directions of cutting"


def _with(job: Job, stages: int, effort: Effort | None = None) -> Job:
    options = job.options
    stages = min(stages, options.max_stages)
    return replace(job, options=replace(options, max_stages=stages, effort=effort or options.effort))


def _beside(job: Job, stages: int | None = None) -> Job:
    return _with(job, stages or job.options.max_stages, _BESIDE[job.options.effort])


def _no_dearer(job: Job, first: Sequence[Division], kept: Sequence[Division] = ()) -> Job:
    """For least material: only layouts that cost no more than the first, less those that are kept."""
    if job.options.objective != "material":
        return job
    priced = in_money(job.stock)
    most = material_of(first, job.stock, priced) - material_of(kept, job.stock, priced)
    return replace(job, most=most)


def _whole(job: Job, stop: Stop | None) -> tuple[Division, ...] | None:
    """The layouts of a job when all of it finds a place."""
    if any(item.quantity > 0 for item in job.stock):
        found = find_layouts(job, stop)
        if not found.unplaced:
            return found.divisions
    return None


def _by_stages(stages: int) -> Callable[[Job, Candidate, Stop | None], tuple[Division, ...] | None]:
    return lambda job, first, stop: _whole(_no_dearer(_beside(job, stages), first.divisions), stop)


def _only(stock: Sequence[StockItem]) -> Callable[[Job, Candidate, Stop | None], tuple[Division, ...] | None]:
    refs = {item.ref for item in stock}

    def make(job: Job, first: Candidate, stop: Stop | None) -> tuple[Division, ...] | None:
        kept = tuple(item for item in job.stock if item.ref in refs)
        return _whole(_beside(replace(job, stock=kept)), stop)

    return make


def _bought(
    stock: Sequence[StockItem],
) -> Callable[[Job, Candidate, Stop | None], tuple[Division, ...] | None]:
    """Only where the first used others, and no dearer than that."""
    refs = {item.ref for item in stock}
    only = _only(stock)

    def make(job: Job, first: Candidate, stop: Stop | None) -> tuple[Division, ...] | None:
        if all(one.stock_ref in refs for one in first.divisions):
            return None
        return only(_no_dearer(job, first.divisions), first, stop)

    return make


def _rare_anew(job: Job, first: Candidate, stop: Stop | None) -> tuple[Division, ...] | None:
    kept = tuple(one for one in first.divisions if one.repeat > 1)
    wanted: Counter[str] = Counter()
    for one in first.divisions:
        if one.repeat == 1:
            wanted.update(leaf.ref for leaf in leaves(one.tree) if leaf.kind == "part" and leaf.ref)
    parts = tuple(replace(part, quantity=wanted[part.ref]) for part in job.parts if wanted[part.ref])
    if not parts:
        return None
    if job.options.objective == "material" and 2 * _pieces(parts) > _pieces(job.parts):
        return None  # Little is kept: the whole in two directions is as good.
    rest = replace(_no_dearer(job, first.divisions, kept), parts=parts, stock=_left(job.stock, kept))
    anew = _whole(_beside(rest, 2), stop)
    return None if anew is None else merged([*kept, *anew])


def _pieces(parts: Sequence[Part]) -> int:
    return sum(part.quantity for part in parts)


def _families(job: Job, first: Candidate, stop: Stop | None) -> tuple[Division, ...] | None:
    """Lines that share a side, the side of most pieces first; those without company together at last."""
    waiting = list(job.parts)
    lots: list[tuple[Part, ...]] = []
    while waiting:
        pieces: Counter[int] = Counter()
        lines: Counter[int] = Counter()
        for part in waiting:
            for side in set(aimed_size(part)):
                pieces[side] += part.quantity
                lines[side] += 1
        shared = [side for side in pieces if lines[side] > 1]
        if not shared:
            lots.append(tuple(waiting))
            break
        side = max(shared, key=lambda one: (pieces[one], one))
        lots.append(tuple(part for part in waiting if side in aimed_size(part)))
        waiting = [part for part in waiting if side not in aimed_size(part)]
    return _in_lots(job, lots, stop) if len(lots) > 1 else None


def _by_line(job: Job, first: Candidate, stop: Stop | None) -> tuple[Division, ...] | None:
    lines = sorted(job.parts, key=lambda part: (-part.length * part.width * part.quantity, part.ref))
    return _in_lots(job, [(part,) for part in lines], stop)


def _in_lots(job: Job, lots: Sequence[tuple[Part, ...]], stop: Stop | None) -> tuple[Division, ...] | None:
    made: list[Division] = []
    for parts in lots:
        if stop is not None and stop():
            return None
        lot = replace(job, parts=parts, stock=_left(job.stock, made))
        divisions = _whole(_beside(lot, 2), stop)
        if divisions is None:
            return None
        made.extend(divisions)
    return merged(made)


def without(job: Job, unplaced: Sequence[Unplaced]) -> Job:
    """The job less what found no place."""
    missing = Counter({one.ref: 0 for one in unplaced})
    for one in unplaced:
        missing[one.ref] += one.quantity
    parts = tuple(
        replace(part, quantity=part.quantity - missing[part.ref])
        for part in job.parts
        if part.quantity > missing[part.ref]
    )
    return replace(job, parts=parts)


def _left(stock: Sequence[StockItem], used: Sequence[Division]) -> tuple[StockItem, ...]:
    taken: Counter[str] = Counter()
    for one in used:
        taken[one.stock_ref] += one.repeat
    return tuple(replace(item, quantity=item.quantity - taken[item.ref]) for item in stock)


def all_priced(stock: Sequence[StockItem]) -> bool:
    """Whether each piece in stock has a price, so that material can be counted in money."""
    return all(item.price is not None for item in stock if item.quantity > 0)


def material_of(divisions: Sequence[Division], stock: Sequence[StockItem], priced: bool) -> Fraction:
    """What is used of the stock: its cost when `priced`, else its area [mm²]; exact."""
    by_ref = {item.ref: item for item in stock}
    used = Fraction(0)
    for one in divisions:
        item = by_ref[one.stock_ref]
        each = Fraction(str(item.price)) if priced else Fraction(item.length * item.width, 10_000)
        used += one.repeat * each
    return used


def against(bound: Bound, divisions: Sequence[Division], stock: Sequence[StockItem]) -> Bound:
    """The bound of the first candidate, with how far these divisions lie above it."""
    pieces = sum(one.repeat for one in divisions)
    least = bound.area_mm2 if bound.cost is None else bound.cost
    used = float(material_of(divisions, stock, bound.cost is not None))
    if bound.cost == 0 and used > 0:
        least, used = bound.area_mm2, float(material_of(divisions, stock, False))
    share = (used - least) / least if least > 0 else 0.0
    return replace(bound, gap_pieces=pieces - bound.pieces, gap_share=max(0.0, share))
