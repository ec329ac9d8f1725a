"""Which single limit makes a plan take more stock, as far as a plan without it was found.

The bound leaves out what the machine cannot do, so a plan far above it may be as good as the machine
allows. Here the same parts are laid out once more for each limit with that limit lifted: where fewer
sheets, or cheaper ones, do then, the limit is named. Nothing is said of a limit where no better plan was
found without it, which proves nothing. A plan found so that keeps to the limit all the same is no example
of what the limit costs: it is the better plan.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from service.engine.candidates import Candidate, against, material_of, without
from service.engine.findings import Finding
from service.engine.layout import rules
from service.engine.layout.job import Division, Job
from service.engine.layout.search import find_layouts
from service.engine.layout.stock import in_money
from service.engine.layout.tree import stages_of
from service.engine.layout.walk import walk
from service.engine.order import ANY_STAGES
from service.engine.quantities import show_mm

_HOW = "by a search without one of the limits, to all of which it keeps"
_BASIS = "the same parts laid out again without this limit; the plan itself keeps to it"


def costly_limits(
    job: Job, found: Candidate, stop: Callable[[], bool] | None = None
) -> tuple[Candidate, tuple[Finding, ...]]:
    """A note for each limit without which the parts of a plan were placed in less stock.

    The plan comes with them: another one where such a plan turns out to keep to all limits.

    Parameters
    ----------
    job
        What was asked for.
    found
        The plan that was chosen for it.
    stop
        Asked between steps; after it says stop nothing more is looked for.
    """
    if found.bound.gap_share <= 0:
        return found, ()
    placed = without(job, found.unplaced)
    paid = in_money(job.stock)
    used = material_of(found.divisions, job.stock, paid)
    examples: list[tuple[str, tuple[Division, ...]]] = []
    for words, freed in _freed(placed):
        if found.bound.gap_share <= 0 or (stop is not None and stop()):
            break
        options = replace(freed.options, effort="quick")
        other = find_layouts(replace(freed, options=options), stop)
        if other.unplaced:
            continue
        less = material_of(other.divisions, job.stock, paid)
        if less >= used:
            continue
        if can_be_cut(job, other.divisions):
            bound = against(found.bound, other.divisions, job.stock)
            found = replace(found, how=_HOW, divisions=other.divisions, bound=bound, few_stacks=False)
            used = less
        else:
            examples.append((words, other.divisions))
    return found, tuple(
        Finding(
            "note",
            "limit-costs",
            f"{words}, these parts were placed in {_stock(job, divisions)} instead of "
            f"{_stock(job, found.divisions)}: so much was found to be saved without that limit",
            _BASIS,
        )
        for words, divisions in examples
        if material_of(divisions, job.stock, paid) < used
    )


def can_be_cut(job: Job, divisions: Sequence[Division]) -> bool:
    """Whether the layouts keep to every limit of the machine and of the order."""
    by_ref = {item.ref: item for item in job.stock}
    parts = {part.ref: part for part in job.parts}
    trim = job.options.trim
    for one in divisions:
        piece = rules.stock_piece(by_ref[one.stock_ref], trim)
        if stages_of(one.tree) > job.options.max_stages:
            return False
        if isinstance(walk(job.machine, one.tree, piece, parts, trim, job.longest), str):
            return False
    return True


def _freed(job: Job) -> Iterator[tuple[str, Job]]:
    """The job with each of its limits lifted by itself, and how that is told."""
    machine, gauge = job.machine, job.machine.back_gauge
    longest = max(max(item.length, item.width) + item.oversize for item in job.stock)
    if gauge.deepest < longest:
        far = replace(gauge, high=max(gauge.high, longest), meets=None)
        yield (
            f"With drops of any depth at the back gauge, and not only up to {show_mm(gauge.deepest)} mm",
            replace(job, machine=replace(machine, back_gauge=far)),
        )
    smallest = max(machine.smallest_drop, gauge.low)
    if smallest > 1:
        yield (
            f"With drops narrower than {show_mm(smallest)} mm",
            replace(job, machine=replace(machine, smallest_drop=0, back_gauge=replace(gauge, low=1))),
        )
    if machine.hold_down.depth > 0:
        held = replace(machine.hold_down, depth=0)
        yield (
            f"With remainders of less than {show_mm(machine.hold_down.depth)} mm under the hold-downs",
            replace(job, machine=replace(machine, hold_down=held)),
        )
    stages = job.options.max_stages
    if stages < ANY_STAGES:
        yield (
            f"With more than {stages} {'direction' if stages == 1 else 'directions'} of cutting",
            replace(job, options=replace(job.options, max_stages=ANY_STAGES)),
        )


def _stock(job: Job, divisions: tuple[Division, ...]) -> str:
    """How much of the stock is taken: pieces, and what they cost or measure."""
    pieces = sum(one.repeat for one in divisions)
    paid = in_money(job.stock)
    amount = material_of(divisions, job.stock, paid)
    told = f"{float(amount):.2f}" if paid else f"{float(amount / 10**6):.2f} m²"
    return f"{pieces} {'piece' if pieces == 1 else 'pieces'} of stock ({told})"
