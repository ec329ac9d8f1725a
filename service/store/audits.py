"""Whether what is kept in sums is what the events say: the roll-ups, and the pieces cut by plan and step."""

from __future__ import annotations

from typing import TypeAlias

from service.store import steps, tally
from service.store.steps import StepDifference
from service.store.tally import Difference

AnyDifference: TypeAlias = Difference | StepDifference


def audit() -> list[AnyDifference]:
    """Where kept sums differ from a recount of the raw events, all of one state of the store."""
    with tally.one_state():
        return [*tally.audit(), *steps.differences()]


def told(one: AnyDifference) -> str:
    """A difference in words.

    >>> told(StepDifference("55f0c1d2a3b4e5f6", 3, 8, 4))
    'plan 55f0c1d2a3b4e5f6 step 3 pieces: kept 8, counted 4'
    """
    if isinstance(one, StepDifference):
        name = f"plan {one.plan_id} {steps.in_words(one.step)} pieces"
    else:
        name = f"{'/'.join(map(str, one.key))} {one.measure}"
    return f"{name}: kept {one.kept}, counted {one.counted}"
