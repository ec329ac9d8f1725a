"""Steps that were logged although a step that makes their pieces was not: an entry is wrong, or missing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from client.cache.plans import pieces_done, plans_in_hand
from client.errors import InputWrong, StoreFailed
from client.log.step import makers_not_logged
from client.opened import opened_plan
from client.workstation import Workstation

_PLANS: Final = 20
"""Plans looked at, those logged of last: of older ones nobody remembers what was done."""


def awaited(station: Workstation) -> Iterator[str]:
    """A line for each step logged here before one that makes its pieces, in the plans in hand."""
    for plan_id in plans_in_hand(station.outbox.sql, _PLANS):
        try:
            yield from _of_plan(station, plan_id, pieces_done(station.outbox.sql, plan_id))
        except InputWrong:
            continue  # a plan that is gone, or not understood, tells nothing
        except StoreFailed as error:
            yield str(error)


def _of_plan(station: Workstation, plan_id: str, done: Mapping[int, int]) -> Iterator[str]:
    plan, _ = opened_plan(station, plan_id)
    for step in plan.program:
        if step.number in done:
            for maker in makers_not_logged(plan, step, done):
                yield (
                    f"step {step.number} of plan {plan_id} is logged, and step {maker}, which makes its "
                    "pieces, is not logged here"
                )
