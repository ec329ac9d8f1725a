"""Whether what is kept in sums is what the events say.

The roll-ups, the pieces cut by plan and step, the cuts by the hour, and the use of every blade.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TypeAlias

from service.store import blade_uses, cut_sums, records, step_sums, steps, tally
from service.store.blade_uses import BladeDifference
from service.store.cut_sums import CutDifference
from service.store.standing import standing
from service.store.steps import StepDifference
from service.store.tally import Difference

AnyDifference: TypeAlias = Difference | StepDifference | CutDifference | BladeDifference


@dataclass(frozen=True, slots=True)
class _Counted:
    """Everything that is kept, counted anew in one reading of the events."""

    days: tally.Recount = field(default_factory=tally.Recount)
    steps: step_sums.Recount = field(default_factory=step_sums.Recount)
    cuts: cut_sums.Recount = field(default_factory=cut_sums.Recount)
    blades: blade_uses.Recount = field(default_factory=blade_uses.Recount)

    def differences(self) -> list[AnyDifference]:
        """Where what is kept differs."""
        return [
            *tally.differences(self.days.sums),
            *step_sums.differences(self.steps.sums),
            *self.cuts.differences(),
            *self.blades.differences(),
        ]


def _count() -> _Counted:
    counted = _Counted()
    each = counted.days, counted.steps, counted.cuts, counted.blades
    for event in standing():
        for one in each:
            one.add(event)
    return counted


def audit() -> list[AnyDifference]:
    """Where what is kept differs from a recount of the raw events, all of one state of the store."""
    with tally.one_state():
        return _count().differences()


def mend(now: datetime | None = None) -> list[AnyDifference]:
    """Put a recount in the place of all that is kept, while nobody else writes; what differed before."""
    with records.writing():
        found = _count().differences()
        step_sums.settle_unsettled()
        counted = _count()
        tally.rebuild(counted.days.sums)
        step_sums.rebuild(counted.steps.sums)
        cut_sums.rebuild()
        counted.blades.rebuild(now or datetime.now(UTC))
    return found


def told(one: AnyDifference) -> str:
    """A difference in words.

    >>> told(StepDifference("55f0c1d2a3b4e5f6", 3, 8, 4))
    'plan 55f0c1d2a3b4e5f6 step 3 pieces: kept 8, counted 4'
    >>> told(StepDifference("55f0c1d2a3b4e5f6", 3, (1, 2), None, "made_by"))
    'plan 55f0c1d2a3b4e5f6 step 3 made by: kept 1 and 2, counted none'
    """
    if isinstance(one, BladeDifference):
        return blade_uses.told(one)
    if isinstance(one, StepDifference):
        name = f"plan {one.plan_id} {steps.in_words(one.step)} {one.measure.replace('_', ' ')}"
    elif isinstance(one, CutDifference):
        begin = cut_sums.begin_of(one.key.hour).isoformat(timespec="minutes")
        alike = "/".join(map(str, (one.key.edge, *one.key[3:])))
        name = f"cuts of {one.key.machine} in the hour from {begin} {alike} {one.measure}"
    else:
        name = f"{'/'.join(map(str, one.key))} {one.measure}"
    return f"{name}: kept {_figure(one.kept)}, counted {_figure(one.counted)}"


def _figure(figure: steps.Figure) -> str:
    if isinstance(figure, tuple):
        return " and ".join(map(str, figure)) or "none"
    return "none" if figure is None else str(figure)
