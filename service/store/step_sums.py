"""The sums of steps, counted anew from the events: to audit them, to put them right, after a migration."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from functools import lru_cache
from typing import Any, Final

from service.store import records
from service.store.models import Discrepancy, Event, StepCut
from service.store.standing import Standing, payload_of, standing
from service.store.steps import (
    NOTHING,
    OVER,
    Place,
    StepDifference,
    Sum,
    add_all,
    cut_of,
    kept_sum,
    not_known,
    of_plan,
)

_PLANS_AT_HAND: Final = 32
_MEASURES: Final = ("pieces", "planned", "made_by")


class Recount:
    """Sums by plan and step, by what the applied events say; pieces else as they were settled."""

    def __init__(self) -> None:
        self.sums: dict[Place, Sum] = {}

    def add(self, event: Standing) -> None:
        """Count an event."""
        if event.plan_id is None or event.step is None:
            return
        cut = cut_of(event.type, event.payload, not_known)
        if cut is None:
            return
        place = event.plan_id, event.step
        so_far = self.sums.get(place, NOTHING)
        found = so_far.with_word(cut)
        pieces = event.pieces or 0 if cut.pieces is None else cut.pieces
        self.sums[place] = Sum(so_far.pieces + pieces, found.planned, found.made_by)


def differences(counted: Mapping[Place, Sum]) -> list[StepDifference]:
    """Where the kept sums differ from a recount, within the caller's state of the store."""
    kept = _kept()
    right = _right(counted, kept)
    return [
        StepDifference(*place, getattr(is_so, measure), getattr(should, measure), measure)
        for place, should in sorted(right.items())
        for is_so in [kept.get(place, NOTHING)]
        for measure in _MEASURES
        if getattr(is_so, measure) != getattr(should, measure)
    ]


def rebuild(counted: Mapping[Place, Sum]) -> None:
    """Put a recount in the place of the kept sums, within the caller's transaction."""
    right = _right(counted, _kept())
    StepCut.delete().execute()
    add_all(right)


def fill(now: datetime) -> None:
    """Settle what the events of an earlier version tell of steps, and note what is over.

    As far as they say: their strokes come to pieces only where the plan is known here.
    """
    settle_unsettled()
    counted = Recount()
    for event in standing("plan_id IS NOT NULL"):
        counted.add(event)
    rebuild(counted.sums)
    over = StepCut.select().where(StepCut.pieces > StepCut.planned)
    for found in over.order_by(StepCut.plan_id, StepCut.step):
        of_step = Event.select().where(
            Event.plan_id == found.plan_id, Event.step == found.step, Event.state == "applied"
        )
        last = of_step.where(Event.pieces > 0).order_by(Event.id.desc()).get()
        Discrepancy.insert(
            event_id=last.event_id,
            kind=OVER,
            site=last.site,
            material=payload_of(last)["material"],
            plan_id=found.plan_id,
            step=found.step,
            pieces_cut=found.pieces,
            pieces_planned=found.planned,
            noted_at=now,
        ).execute()


def _kept() -> dict[Place, Sum]:
    return {(row.plan_id, row.step): kept_sum(row) for row in StepCut.select()}


def _right(counted: Mapping[Place, Sum], kept: Mapping[Place, Sum]) -> dict[Place, Sum]:
    """What the sums should be: by their plans where these were asked, as long as they are known."""
    right = {}
    plan_by_id = _plans()
    # In the order of plans, so that each is read once.
    for place in sorted({*counted, *kept}):
        count, before = counted.get(place, NOTHING), kept.get(place)
        right[place] = count
        if before is None or before.by_plan:
            found = of_plan(plan_by_id(place[0]), place[1])
            if found is not None:
                right[place] = Sum(count.pieces, *found, by_plan=True)
            elif before is not None:
                right[place] = Sum(count.pieces, before.planned, before.made_by, by_plan=True)
    return right


def _plans() -> Any:
    """Finds plans; a few at a time stay at hand."""

    @lru_cache(_PLANS_AT_HAND)
    def plan_by_id(plan_id: str) -> Mapping[str, Any] | None:
        kept = records.find("plan", plan_id, deleted_too=True)
        return None if kept is None else kept.document

    return plan_by_id


def settle_unsettled() -> None:
    """Settle which step an event is about, where the version that applied it did not."""
    plan_by_id = _plans()
    for event in standing("plan_id IS NULL AND type IN ('cuts.made', 'parts.taken')"):
        cut = cut_of(event.type, event.payload, plan_by_id)
        if cut is not None:
            Event.update(plan_id=cut.plan_id, step=cut.step, pieces=cut.pieces).where(
                Event.id == event.id
            ).execute()
