"""How many pieces of each step of a plan were cut, at whichever station, beside how many the plan has.

A layout whose sheets are parts as they are has no step; what was taken of it is kept under minus its
number. What an event comes to is settled once, when it is applied, and kept beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, TypeAlias

from service.engine.quantities import mm
from service.store import bulk, records
from service.store.models import Discrepancy, Event, StepCut

OVER: Final = "step over"
"""The kind of discrepancy: more pieces of a step were cut than the plan has."""

Place: TypeAlias = tuple[str, int]
PlanById: TypeAlias = Callable[[str], Mapping[str, Any] | None]

_MOST: Final = 1_000_000
_AT_A_TIME: Final = 2000


@dataclass(frozen=True, slots=True)
class Cut:
    """What an event tells of a step: pieces that went through, and those that the plan has of it.

    `pieces` None: the event does not say, and its plan is not known here; `planned` likewise. `made_by`:
    the steps that make the pieces, where it says so.
    """

    plan_id: str
    step: int
    pieces: int | None
    planned: int | None
    made_by: tuple[int, ...] | None = None

    @property
    def place(self) -> Place:
        """Plan and step."""
        return self.plan_id, self.step


@dataclass(frozen=True, slots=True)
class Sum:
    """Pieces of a step that were cut so far, those that the plan has, and the steps that make them.

    None where nobody said.
    """

    pieces: int
    planned: int | None
    made_by: tuple[int, ...] | None = None

    def with_cut(self, cut: Cut) -> Sum:
        """The sum with what an event tells added; of what is said of the plan the first holds."""
        return Sum(
            self.pieces + (cut.pieces or 0),
            cut.planned if self.planned is None else self.planned,
            cut.made_by if self.made_by is None else self.made_by,
        )


NOTHING: Final = Sum(0, None)


@dataclass(frozen=True, slots=True)
class StepDifference:
    """A sum that is not what a recount gives."""

    plan_id: str
    step: int
    kept: int
    counted: int


def cut_of(event_type: str, payload: Mapping[str, Any], plan_by_id: PlanById) -> Cut | None:
    """What an event tells of a step of a plan; None when it is about none.

    Parameters
    ----------
    plan_by_id
        Finds the document of a plan that is known here. It is asked only for events of stations that
        did not yet say how many pieces went through.
    """
    plan_id = payload.get("plan_id")
    if plan_id is None:
        return None
    if event_type == "parts.taken":
        return Cut(plan_id, -payload["layout"], payload["sheets"], payload.get("layout_sheets"))
    if event_type != "cuts.made" or payload.get("step") is None:
        return None
    step, pieces = payload["step"], payload.get("pieces")
    if not 1 <= step <= _MOST:
        return None
    if pieces is not None:
        made_by = payload.get("made_by")
        return Cut(
            plan_id, step, pieces, payload.get("step_pieces"), None if made_by is None else tuple(made_by)
        )
    return Cut(plan_id, step, *_by_plan(plan_by_id(plan_id), step, payload))


def _by_plan(
    plan: Mapping[str, Any] | None, number: int, payload: Mapping[str, Any]
) -> tuple[int | None, int | None, tuple[int, ...] | None]:
    """Pieces that the strokes of an event come to by its plan, those that the step has, and its makers."""
    program = () if plan is None else plan["program"]
    step = next((one for one in program if one["step"] == number), None)
    if step is None:
        return None, None, None
    made_by = tuple(
        one["step"]
        for one in program
        if any(
            out["kind"] == "piece" and out["ref"] == step["piece"]
            for out in (*one["drop_to"], *one["remainder_to"])
        )
    )
    along = mm(step["along_blade_mm"])
    side_by_side, rest = divmod(mm(payload["cut_length_mm"]), along)
    runs, uneven = divmod(payload["strokes"], step["repeat"])
    if rest or uneven or not 1 <= side_by_side <= step["gang"]:
        return None, step["pieces"], made_by
    return int(runs * side_by_side), step["pieces"], made_by


def sums_of(plan_id: str) -> dict[Place, Sum]:
    """The sums of all steps of a plan that anything was logged of."""
    rows = StepCut.select().where(StepCut.plan_id == plan_id)
    return {
        (row.plan_id, row.step): Sum(
            row.pieces, row.planned, None if row.made_by is None else tuple(row.made_by)
        )
        for row in rows
    }


def add_all(sums: Mapping[Place, Sum]) -> None:
    """Add to the sums of many steps, within the caller's transaction."""
    rows = [
        {
            "plan_id": place[0],
            "step": place[1],
            "pieces": added.pieces,
            "planned": added.planned,
            "made_by": added.made_by or None,
        }
        for place, added in sorted(sums.items())
    ]
    bulk.insert(StepCut, rows, _ADDING)


_ADDING: Final = (
    "ON CONFLICT (plan_id, step) DO UPDATE SET pieces = step_cut.pieces + excluded.pieces,"
    " planned = coalesce(step_cut.planned, excluded.planned),"
    " made_by = coalesce(step_cut.made_by, excluded.made_by)"
)


def others_of(plan_id: str, step: int, but: int) -> list[Any]:
    """Applied events of a step other than one, in the order they came."""
    rows = Event.select(Event.event_id, Event.station, Event.corrected_at, Event.pieces).where(
        Event.plan_id == plan_id, Event.step == step, Event.state == "applied", Event.id != but
    )
    return list(rows.order_by(Event.id))


def in_words(step: int) -> str:
    """A step, or a layout that has none.

    >>> in_words(3), in_words(-2)
    ('step 3', 'layout 2')
    """
    return f"step {step}" if step > 0 else f"layout {-step}"


def recount() -> dict[Place, int]:
    """Pieces by plan and step, counted anew from the applied events.

    Where an event says it itself, by that; else by what its plan told when it was applied.
    """
    sums: dict[Place, int] = {}
    for row in _of_steps():
        payload = row.corrected_payload or row.document["payload"]
        said = payload.get("sheets" if row.type == "parts.taken" else "pieces")
        place = row.plan_id, row.step
        sums[place] = sums.get(place, 0) + (row.pieces or 0 if said is None else said)
    return sums


def _of_steps() -> Iterator[Any]:
    """Applied events of steps, some at a time, as a store may hold more than memory."""
    wanted = Event.id, Event.type, Event.plan_id, Event.step, Event.pieces
    after = 0
    while True:
        rows = list(
            Event.select(*wanted, Event.document, Event.corrected_payload)
            .where(Event.state == "applied", Event.plan_id.is_null(False), Event.id > after)
            .order_by(Event.id)
            .limit(_AT_A_TIME)
            .namedtuples()
        )
        if not rows:
            return
        yield from rows
        after = rows[-1].id


def differences() -> list[StepDifference]:
    """Where the kept sums differ from a recount, within the caller's state of the store."""
    counted = recount()
    kept = {(row.plan_id, row.step): row.pieces for row in StepCut.select()}
    return [
        StepDifference(*place, kept.get(place, 0), counted.get(place, 0))
        for place in sorted({*counted, *kept})
        if kept.get(place, 0) != counted.get(place, 0)
    ]


def fill(now: datetime) -> None:
    """Settle what the events of an earlier version tell of steps, and note what is over.

    As far as they say: their strokes come to pieces only where the plan is known here.
    """
    plans: dict[str, Mapping[str, Any] | None] = {}

    def plan_by_id(plan_id: str) -> Mapping[str, Any] | None:
        if plan_id not in plans:
            kept = records.find("plan", plan_id, deleted_too=True)
            plans[plan_id] = None if kept is None else kept.document
        return plans[plan_id]

    sums: dict[Place, Sum] = {}
    last: dict[Place, Any] = {}
    for row in _cuts_of_old():
        cut = cut_of(row.type, row.corrected_payload or row.document["payload"], plan_by_id)
        if cut is None:
            continue
        Event.update(plan_id=cut.plan_id, step=cut.step, pieces=cut.pieces).where(
            Event.id == row.id
        ).execute()
        sums[cut.place] = sums.get(cut.place, NOTHING).with_cut(cut)
        if cut.pieces:
            last[cut.place] = row
    add_all(sums)
    for place, found in sums.items():
        if found.planned is not None and found.pieces > found.planned:
            row = last[place]
            payload = row.corrected_payload or row.document["payload"]
            Discrepancy.insert(
                event_id=row.event_id,
                kind=OVER,
                site=row.site,
                material=payload["material"],
                plan_id=place[0],
                step=place[1],
                pieces_cut=found.pieces,
                pieces_planned=found.planned,
                noted_at=now,
            ).execute()


def _cuts_of_old() -> Iterator[Any]:
    after = 0
    while True:
        rows = list(
            Event.select(
                Event.id, Event.event_id, Event.type, Event.site, Event.document, Event.corrected_payload
            )
            .where(Event.state == "applied", Event.type == "cuts.made", Event.id > after)
            .order_by(Event.id)
            .limit(_AT_A_TIME)
            .namedtuples()
        )
        yield from rows
        if not rows:
            return
        after = rows[-1].id
