"""Whether what is kept in sums is what the events say: the roll-ups, and the pieces cut by plan and step."""

from __future__ import annotations

from typing import TypeAlias

from service.store import records, step_sums, steps, tally
from service.store.steps import StepDifference
from service.store.tally import Difference

AnyDifference: TypeAlias = Difference | StepDifference


def audit() -> list[AnyDifference]:
    """Where kept sums differ from a recount of the raw events, all of one state of the store."""
    with tally.one_state():
        return [*tally.audit(), *step_sums.differences()]


def mend() -> list[AnyDifference]:
    """Put a recount in the place of every kept sum, while nobody else writes; what differed before."""
    with records.writing():
        found = audit()
        tally.rebuild()
        step_sums.rebuild()
    return found


def told(one: AnyDifference) -> str:
    """A difference in words.

    >>> told(StepDifference("55f0c1d2a3b4e5f6", 3, 8, 4))
    'plan 55f0c1d2a3b4e5f6 step 3 pieces: kept 8, counted 4'
    >>> told(StepDifference("55f0c1d2a3b4e5f6", 3, (1, 2), None, "made_by"))
    'plan 55f0c1d2a3b4e5f6 step 3 made by: kept 1 and 2, counted none'
    """
    if isinstance(one, StepDifference):
        name = f"plan {one.plan_id} {steps.in_words(one.step)} {one.measure.replace('_', ' ')}"
    else:
        name = f"{'/'.join(map(str, one.key))} {one.measure}"
    return f"{name}: kept {_figure(one.kept)}, counted {_figure(one.counted)}"


def _figure(figure: steps.Figure) -> str:
    if isinstance(figure, tuple):
        return " and ".join(map(str, figure)) or "none"
    return "none" if figure is None else str(figure)
