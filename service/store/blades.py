"""What cuts and turns did to a blade, kept beside each event, and how it is taken back on that very blade.

A cut keeps the blade and edge that it was counted on; a turn keeps what the blade was before it, and so does
a change by hand. All keep the revision that they gave the record of the blade, which is their order. So
nothing is replayed: a change of the past is carried from one of these steps to the next, until a regrind
wipes it off or it reaches the record.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from service.store.blade_states import State, carried
from service.store.books import Books
from service.store.models import BladeSet, Event
from service.store.records import Kept
from service.store.standing import payload_of

_AT_A_TIME: Final = 2000


@dataclass(frozen=True, slots=True)
class Step:
    """A turn of a blade, or a change by hand (`turn` None), after all that has a lower revision.

    `before` None: the blade was begun or entered anew. `after`: what a change by hand made of it.
    """

    row: int
    revision: int
    before: State | None
    turn: Turn | None = None
    after: State | None = None

    @property
    def place(self) -> tuple[int, int]:
        """Its place among the steps; what was set at a revision was set after all of it."""
        return self.revision, self.turn is None

    def made_of(self, state: State) -> State:
        """What the step makes of a state that was reckoned for before it."""
        if self.turn is not None:
            return state.turned(self.turn.edge, self.turn.work, self.turn.since)
        if self.after is None:
            raise ValueError("a step is a turn or a change by hand")
        return self.after if self.before is None else carried(self.before, state, self.after)


@dataclass(frozen=True, slots=True)
class Turn:
    """Another edge put to work, and when."""

    edge: int
    work: str
    since: str


def take_back(row: Any, payload: Mapping[str, Any], books: Books, **written: Any) -> tuple[str, ...]:
    """Let a blade be as it were without a cut or a turn.

    Parameters
    ----------
    row, payload
        The event that is withdrawn, and the payload that counts of it.
    written
        `by` and `now` of what is written.

    Returns
    -------
    tuple of str
        What the station should know besides.
    """
    kept = None if row.blade is None else books.find("blade", row.blade)
    if kept is None:
        named = "the blade that it was counted on" if row.blade is None else f"the blade {row.blade!r}"
        return (f"{named} has no record here; the use of no blade was changed",)
    if row.type == "cuts.made":
        new = State.fresh(max(row.blade_edge, kept.document["edges"]))
        old = new.with_use(row.blade_edge, payload["equivalent_m"])
    else:
        new = State.of(row.blade_before)
        old = _turn(row, payload).made_of(new)
    _carry(row, old, new, kept, books, written)
    return ()


def _carry(row: Any, old: State, new: State, kept: Kept, books: Books, written: Mapping[str, Any]) -> None:
    since = row.record_revision
    for step in _steps_after(row):
        new = _with_cuts(row.blade, since, step.revision, old, new)
        if step.before is None:
            return  # another blade that was given the name
        before = carried(old, new, step.before)
        old, new = step.made_of(step.before), step.made_of(before)
        if step.turn is not None:
            Event.update(blade_before=before.as_kept()).where(Event.id == step.row).execute()
        else:
            BladeSet.update(before=before.as_kept(), after=new.as_kept()).where(
                BladeSet.id == step.row
            ).execute()
        if old == new:
            return
        since = step.revision
    new = _with_cuts(row.blade, since, None, old, new)
    document = {**kept.document, **carried(old, new, State.of(kept.document)).as_kept()}
    if document != kept.document:
        books.write("blade", kept.key, document, site=kept.site, **written)


def _turn(row: Any, payload: Mapping[str, Any]) -> Step:
    turn = Turn(payload["edge"], payload["work"], row.corrected_at.isoformat())
    return Step(row.id, row.record_revision, State.of(row.blade_before), turn)


def _steps_after(row: Any) -> list[Step]:
    return steps_of(row.blade, row.record_revision)


def steps_of(blade: str, after: int = -(2**62)) -> list[Step]:
    """The turns of a blade after a revision, and what it was set to since, in their order."""
    wanted = (
        Event.id,
        Event.document,
        Event.corrected_payload,
        Event.corrected_at,
        Event.blade_before,
        Event.record_revision,
    )
    turns = Event.select(*wanted).where(
        Event.blade == blade,
        Event.record_revision > after,
        Event.type == "blade.turned",
        Event.state == "applied",
    )
    found = [_turn(row, payload_of(row)) for row in turns]
    for row in BladeSet.select().where(BladeSet.blade == blade, BladeSet.revision >= after):
        before = None if row.before is None else State.of(row.before)
        found.append(Step(row.id, row.revision, before, after=State.of(row.after)))
    return sorted(found, key=lambda step: (*step.place, step.row))


def _with_cuts(blade: str, since: int, to: int | None, old: State, new: State) -> State:
    """What is new with the cuts up to the next step, where another edge was at work than was thought."""
    if old.edge == new.edge:
        return new
    metres = _give_cuts(blade, since, to, old.edge, new.edge)
    return new.with_use(old.edge, -metres).with_use(new.edge, metres)


def _give_cuts(blade: str, since: int, to: int | None, edge: int, other: int) -> float:
    """Give the cuts of some revisions that did not say their edge to another one; their metres."""
    wanted = (
        (Event.blade == blade)
        & (Event.record_revision > since)
        & (Event.state == "applied")
        & (Event.type == "cuts.made")
        & (Event.blade_edge == edge)
    )
    if to is not None:
        wanted &= Event.record_revision <= to
    metres = 0.0
    for cut in _paged(wanted):
        payload = payload_of(cut)
        if not payload.get("blade_edge"):
            metres = round(metres + payload["equivalent_m"], 3)
            Event.update(blade_edge=other).where(Event.id == cut.id).execute()
    return metres


def _paged(wanted: Any) -> Iterator[Any]:
    """Events some at a time, as there may be more than memory holds."""
    after = 0
    while True:
        rows = list(
            Event.select(Event.id, Event.document, Event.corrected_payload)
            .where(wanted, Event.id > after)
            .order_by(Event.id)
            .limit(_AT_A_TIME)
            .namedtuples()
        )
        yield from rows
        if not rows:
            return
        after = rows[-1].id
