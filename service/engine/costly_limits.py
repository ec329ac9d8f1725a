"""Which single limit makes a plan take more stock, as far as a plan without it was found.

The bound leaves out what the machine cannot do, so a plan far above it may be as good as the machine
allows. Here the same parts are laid out once more for each limit with that limit lifted: where fewer
sheets, or cheaper ones, do then, the limit is named. Nothing is said of a limit where no better plan was
found without it, which proves nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from service.engine.candidates import Candidate, material_of, without
from service.engine.findings import Finding
from service.engine.layout.job import Division, Job
from service.engine.layout.search import find_layouts
from service.engine.layout.stock import in_money
from service.engine.order import ANY_STAGES
from service.engine.quantities import show_mm

_BASIS = "the same parts laid out again without this limit; the plan itself keeps to it"


def costly_limits(job: Job, found: Candidate, stop: Callable[[], bool] | None = None) -> Iterator[Finding]:
    """A note for each limit without which the parts of a plan were placed in less stock.

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
        return
    placed = without(job, found.unplaced)
    paid = in_money(job.stock)
    used = material_of(found.divisions, job.stock, paid)
    for words, freed in _freed(placed):
        if stop is not None and stop():
            return
        options = replace(freed.options, effort="quick")
        other = find_layouts(replace(freed, options=options), stop)
        if other.unplaced:
            continue
        less = material_of(other.divisions, job.stock, paid)
        if less < used:
            yield Finding(
                "note",
                "limit-costs",
                f"{words}, these parts were placed in {_stock(job, other.divisions)} instead of "
                f"{_stock(job, found.divisions)}: that limit costs so much at least",
                _BASIS,
            )


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
