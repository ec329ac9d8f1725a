"""How many pieces of each step of a plan were cut, at whichever station, beside how many the plan has.

A layout whose sheets are parts as they are has no step; what was taken of it is kept under minus its
number. What an event comes to is settled once, when it is applied, and kept beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final, TypeAlias

from service.engine.quantities import mm
from service.store import bulk
from service.store.models import Event, StepCut
from service.store.standing import payload_of

OVER: Final = "step over"
"""The kind of discrepancy: more pieces of a step were cut than the plan has."""

PLAN_DIFFERS: Final = "plan differs"
"""The kind of discrepancy: an entry has another number of pieces for a step than the plan, or than others."""

Place: TypeAlias = tuple[str, int]
Figure: TypeAlias = int | tuple[int, ...] | None
PlanById: TypeAlias = Callable[[str], Mapping[str, Any] | None]

_MOST: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class Cut:
    """What an event tells of a step: pieces that went through, and those that the plan has of it.

    `pieces` None: the event does not say, and its plan is not known here; `planned` likewise. `made_by`:
    the steps that make the pieces, where it says so. `by_plan`: both are from the plan itself.
    """

    plan_id: str
    step: int
    pieces: int | None
    planned: int | None
    made_by: tuple[int, ...] | None = None
    by_plan: bool = False

    @property
    def place(self) -> Place:
        """Plan and step."""
        return self.plan_id, self.step


@dataclass(frozen=True, slots=True)
class Sum:
    """Pieces of a step that were cut so far, those that the plan has, and the steps that make them.

    None where nobody said. `by_plan`: the plan itself says so, and nobody's word counts against it.
    """

    pieces: int
    planned: int | None
    made_by: tuple[int, ...] | None = None
    by_plan: bool = False

    def with_cut(self, cut: Cut) -> Sum:
        """The sum with a cut that was :func:`settled`: what it has of the plan holds from now on."""
        return Sum(self.pieces + (cut.pieces or 0), cut.planned, cut.made_by, cut.by_plan)

    def with_word(self, cut: Cut) -> Sum:
        """The sum with what an event tells of a plan that is not known: where events differ, the least."""
        said = [one for one in (self.planned, cut.planned) if one is not None]
        makers = [one for one in (self.made_by, cut.made_by) if one is not None]
        return Sum(self.pieces + (cut.pieces or 0), min(said, default=None), min(makers, default=None))


NOTHING: Final = Sum(0, None)


@dataclass(frozen=True, slots=True)
class StepDifference:
    """A sum that is not what a recount gives."""

    plan_id: str
    step: int
    kept: Figure
    counted: Figure
    measure: str = "pieces"


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
    plan = plan_by_id(plan_id)
    found = of_plan(plan, step)
    if plan is None or found is None:
        return Cut(plan_id, step, None, None)
    return Cut(plan_id, step, _by_strokes(_step_of(plan, step), payload), *found, by_plan=True)


def of_plan(plan: Mapping[str, Any] | None, number: int) -> tuple[int, tuple[int, ...] | None] | None:
    """Pieces that a step has by its plan, and the steps that make them; None when it has no such step."""
    if plan is None:
        return None
    if number < 0:
        sheets = (layout["repeat"] for layout in plan["layouts"] if layout["number"] == -number)
        return next(((count, None) for count in sheets), None)
    step = _step_of(plan, number)
    if step is None:
        return None
    made_by = tuple(
        one["step"]
        for one in plan["program"]
        if any(
            out["kind"] == "piece" and out["ref"] == step["piece"]
            for out in (*one["drop_to"], *one["remainder_to"])
        )
    )
    return step["pieces"], made_by or None


def _step_of(plan: Mapping[str, Any], number: int) -> Any:
    return next((one for one in plan["program"] if one["step"] == number), None)


def _by_strokes(step: Mapping[str, Any], payload: Mapping[str, Any]) -> int | None:
    """Pieces that the strokes of an event come to; None when they are no whole number of them."""
    along = mm(step["along_blade_mm"])
    side_by_side, rest = divmod(mm(payload["cut_length_mm"]), along)
    runs, uneven = divmod(payload["strokes"], step["repeat"])
    if rest or uneven or not 1 <= side_by_side <= step["gang"]:
        return None
    return int(runs * side_by_side)


def settled(before: Sum, cut: Cut, plan_by_id: PlanById) -> Cut:
    """A cut with what holds of its step from now on: by the plan where it is known, else the least said.

    Parameters
    ----------
    before
        The sum without the cut.
    plan_by_id
        Asked only where it may say something else than what holds already.
    """
    if before.by_plan:
        return replace(cut, planned=before.planned, made_by=before.made_by, by_plan=True)
    if cut.by_plan or (
        cut.planned is not None and (cut.planned, cut.made_by) == (before.planned, before.made_by)
    ):
        return cut
    if found := of_plan(plan_by_id(cut.plan_id), cut.step):
        return replace(cut, planned=found[0], made_by=found[1], by_plan=True)
    said = before.with_word(cut)
    return replace(cut, planned=said.planned, made_by=said.made_by)


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Pieces that a step has by an entry, and by the plan or the entries before it."""

    said: int
    others: int
    words: str


def contradicted(before: Sum, cut: Cut, holds: Cut) -> Contradiction | None:
    """Whether an event has another figure of a step than the plan, or an event before."""
    others = holds.planned if holds.by_plan else before.planned
    if cut.planned is None or others is None or cut.planned == others:
        return None
    source = "the plan has" if holds.by_plan else "other entries have"
    words = (
        f"by this entry {in_words(cut.step)} of plan {cut.plan_id} has {cut.planned} pieces, and {source} "
        f"{others}; {holds.planned} are held against what is cut"
    )
    return Contradiction(cut.planned, others, words)


def taken_back(row: Any, before: Sum, plan_by_id: PlanById) -> Cut:
    """What an applied event that is withdrawn takes off its step; what it said of the plan goes with it."""
    cut = Cut(row.plan_id, row.step, -(row.pieces or 0), None)
    if before.by_plan:
        return settled(before, cut, plan_by_id)
    said = NOTHING
    for word in _words_of_others(row):
        said = said.with_word(word)
    return settled(Sum(before.pieces, said.planned, said.made_by), cut, plan_by_id)


def agreed(row: Any, planned: int | None) -> bool:
    """Whether all that is said of the step of an event, but by itself, is that it has so many pieces."""
    return all(word.planned in {None, planned} for word in _words_of_others(row))


def _words_of_others(row: Any) -> Iterator[Cut]:
    """What the applied events of a step say of it, without one of them."""
    others = Event.select(Event.type, Event.document, Event.corrected_payload).where(
        Event.plan_id == row.plan_id, Event.step == row.step, Event.state == "applied", Event.id != row.id
    )
    for one in others:
        word = cut_of(one.type, payload_of(one), not_known)
        if word is not None:
            yield word


def not_known(plan_id: str) -> None:
    """No plan: what an event says itself is wanted."""


def sums_of(plan_id: str) -> dict[Place, Sum]:
    """The sums of all steps of a plan that anything was logged of."""
    return {
        (row.plan_id, row.step): kept_sum(row) for row in StepCut.select().where(StepCut.plan_id == plan_id)
    }


def kept_sum(row: Any) -> Sum:
    """The sum that a row keeps."""
    made_by = None if row.made_by is None else tuple(row.made_by)
    return Sum(row.pieces, row.planned, made_by, row.by_plan)


def add_all(sums: Mapping[Place, Sum]) -> None:
    """Add pieces to the sums of many steps, and put what holds of their plans in its place.

    Within the caller's transaction, which keeps other writers waiting since it read what held.
    """
    rows = [
        {
            "plan_id": place[0],
            "step": place[1],
            "pieces": added.pieces,
            "planned": added.planned,
            "made_by": added.made_by,
            "by_plan": added.by_plan,
        }
        for place, added in sorted(sums.items())
    ]
    bulk.insert(StepCut, rows, _ADDING)


_ADDING: Final = (
    "ON CONFLICT (plan_id, step) DO UPDATE SET pieces = step_cut.pieces + excluded.pieces,"
    " planned = excluded.planned, made_by = excluded.made_by, by_plan = excluded.by_plan"
)


def others_of(plan_id: str, step: int, but: int) -> list[Any]:
    """Applied events of a step other than one, in the order they came."""
    rows = Event.select(Event.station, Event.epoch, Event.seq, Event.pieces).where(
        Event.plan_id == plan_id, Event.step == step, Event.state == "applied", Event.id != but
    )
    return list(rows.order_by(Event.id))


def in_words(step: int) -> str:
    """A step, or a layout that has none.

    >>> in_words(3), in_words(-2)
    ('step 3', 'layout 2')
    """
    return f"step {step}" if step > 0 else f"layout {-step}"
