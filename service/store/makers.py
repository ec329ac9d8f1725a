"""Steps that were cut although nobody logged the step that makes their pieces: an entry is missing, or wrong.

At the bench it is a note, as the other step may be logged later or elsewhere. What is still missing a
day later is noted here, for a person to look into; and settled again once it has come.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from service.store import records
from service.store.models import Discrepancy, Event, StepCut
from service.store.standing import payload_of

MISSING: Final = "maker missing"
"""The kind of discrepancy."""

PATIENCE: Final = timedelta(days=1)
"""How long after a step was taken in its maker may come without a word."""


@dataclass(frozen=True, slots=True)
class Looked:
    """How many steps were noted, and how many were settled because their makers came."""

    noted: int
    settled: int


def look(now: datetime) -> Looked:
    """Note the steps whose makers are missing, and settle those whose makers came."""
    with records.writing():
        missing = {(row.plan_id, row.step): makers for row, makers in _without_makers()}
        settled = 0
        known = set()
        for one in Discrepancy.select().where(Discrepancy.kind == MISSING):
            place = one.plan_id, one.step
            if one.settled_at is None and place not in missing:
                settled += 1
                Discrepancy.update(
                    settled_at=now,
                    settled_by="the service",
                    settled_how="service",
                    words="the step that makes its pieces came",
                ).where(Discrepancy.id == one.id).execute()
            elif one.settled_at is None or one.settled_how == "person":
                # What a person settled is not asked again; what settled itself may be missing anew.
                known.add(place)
        noted = sum(_noted(place, makers, now) for place, makers in missing.items() if place not in known)
    return Looked(noted, settled)


def _without_makers() -> Iterator[tuple[Any, list[int]]]:
    """Steps that were cut, with those of their makers of which nothing was."""
    cut = StepCut.select().where(StepCut.pieces > 0)
    done = {(row.plan_id, row.step) for row in cut.where(StepCut.step > 0)}
    for row in cut.where(StepCut.made_by.is_null(False)).order_by(StepCut.plan_id, StepCut.step):
        makers = [
            number
            for number in row.made_by
            if (row.plan_id, number) not in done and not _logged(row.plan_id, number)
        ]
        if makers:
            yield row, makers


def _logged(plan_id: str, step: int) -> bool:
    """Whether anything was logged of a step, be it that nobody knows how many pieces."""
    return bool(
        Event.select().where(Event.plan_id == plan_id, Event.step == step, Event.state == "applied").exists()
    )


def _noted(place: tuple[str, int], makers: list[int], now: datetime) -> bool:
    rows = Event.select().where(Event.plan_id == place[0], Event.step == place[1], Event.state == "applied")
    events = list(rows.order_by(Event.id))
    if not events or events[-1].received_at > now - PATIENCE:
        return False
    first = events[0]
    Discrepancy.insert(
        event_id=first.event_id,
        kind=MISSING,
        site=first.site,
        material=payload_of(first)["material"],
        plan_id=place[0],
        step=place[1],
        pieces_cut=sum(one.pieces or 0 for one in events),
        makers=makers,
        noted_at=now,
    ).execute()
    return True
