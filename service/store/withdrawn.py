"""Taking back an event that its own station withdraws: what it did to the books is done the other way.

The event itself stays for ever, dismissed with who, when and why; sums, stories and heats leave it out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from schemas.events import payload_errors
from schemas.problems import FieldError
from service.store import blades, effects, rack, steps
from service.store.books import Books
from service.store.chains import sent_as
from service.store.effects import Applied, EffectRefused, Happening
from service.store.models import Correction, Discrepancy, Event
from service.store.standing import payload_of
from service.store.sums import Counted

TYPE: Final = "log.withdrawn"


def apply(event: Happening, books: Books) -> Applied:
    """Apply an event of any type to the books.

    Raises
    ------
    EffectRefused
        When it cannot be applied; the caller undoes what was begun.
    """
    return _withdraw(event, books) if event.type == TYPE else effects.apply(event, books)


def _withdraw(event: Happening, books: Books) -> Applied:
    row = _named(event)
    counted = cut = None
    notes: tuple[str, ...] = ()
    if row.state == "applied":
        payload = payload_of(row)
        notes = _TURNED_ROUND.get(row.type, _nothing)(event, row, payload, books)
        counted = Counted(row.type, payload, row.site, row.day, row.corrected_at, times=-1)
        if row.plan_id is not None:
            cut = steps.taken_back(
                row, books.pieces_cut(steps.Cut(row.plan_id, row.step, None, None)), books.plan
            )
            notes += _remaining(row, cut, books)
    # Nothing is refused from here on: these are written at once, within the caller's transaction.
    by = f"station {event.station}"
    Event.update(
        state="quarantined",
        dismissed_at=event.now,
        withdrawn_by=event.event_id,
        errors=[{"pointer": "", "message": f"withdrawn by its station: {event.payload['reason']}"}],
    ).where(Event.id == row.id).execute()
    Correction.insert(
        event=row.id,
        payload=None,
        happened_at=None,
        words=event.payload["reason"],
        made_by=by,
        made_at=event.now,
        outcome="dismissed",
    ).execute()
    settled = Discrepancy.event_id == row.event_id
    if cut is not None:
        gone = [steps.OVER] if _fits(cut, books) else []
        gone += [steps.PLAN_DIFFERS] if steps.agreed(row, cut.planned) else []
        settled |= (
            (Discrepancy.plan_id == cut.plan_id) & (Discrepancy.step == cut.step) & Discrepancy.kind.in_(gone)
        )
    words = f"the entry was withdrawn: {event.payload['reason']}"
    Discrepancy.update(settled_at=event.now, settled_by=by, settled_how="station", words=words).where(
        settled, Discrepancy.settled_at.is_null()
    ).execute()
    return Applied(None, counted, row.machine, cut, takes_back=True, notes=notes)


def notes_again(event: Mapping[str, Any], books: Books) -> tuple[str, ...]:
    """What still counts of a step, for a station whose withdrawal comes again: the answer may be lost."""
    if event["type"] != TYPE or payload_errors(TYPE, event["payload"]):
        return ()
    wanted = event["payload"]["event_id"]
    row = Event.get_or_none(
        ((Event.event_id == wanted) | (Event.came_as == wanted)) & (Event.withdrawn_by == event["event_id"])
    )
    if row is None or row.plan_id is None or row.step is None:
        return ()
    cut = steps.Cut(row.plan_id, row.step, 0, None)
    return _remaining(row, replace(cut, planned=books.pieces_cut(cut).planned), books)


def _fits(cut: steps.Cut, books: Books) -> bool:
    """Whether no more of a step was cut, once the pieces of `cut` are counted too, than the plan has."""
    return cut.planned is not None and books.pieces_cut(cut).pieces + (cut.pieces or 0) <= cut.planned


_NAMED: Final = 10
"""Events that are named one by one."""


def _remaining(row: Any, cut: steps.Cut, books: Books) -> tuple[str, ...]:
    """What still counts of the step of an event that is withdrawn, in words for its station."""
    others = steps.others_of(row.plan_id, row.step, row.id)
    if not others:
        return ()
    before = books.pieces_cut(cut)
    of = "" if cut.planned is None else f" of {cut.planned}"
    named = "; ".join(
        f"{sent_as(one.epoch, one.seq)} of {one.station} ({_pieces(one.pieces)})" for one in others[:_NAMED]
    )
    more = f"; and {len(others) - _NAMED} more" if len(others) > _NAMED else ""
    return (
        f"{steps.in_words(row.step)} of plan {row.plan_id} still counts {before.pieces + (cut.pieces or 0)}"
        f"{of} pieces, by other entries: {named}{more}",
    )


def _pieces(count: int | None) -> str:
    """A count of pieces in words.

    >>> _pieces(1), _pieces(4), _pieces(None)
    ('1 piece', '4 pieces', 'pieces not known')
    """
    if count is None:
        return "pieces not known"
    return f"{count} {'piece' if count == 1 else 'pieces'}"


def _named(event: Happening) -> Any:
    """The event that is withdrawn."""
    wanted = event.payload["event_id"]
    rows = list(
        Event.select()
        .where(
            (Event.event_id == wanted) | (Event.came_as == wanted),
            Event.state != "again",
        )
        .order_by(Event.id)
    )
    if not rows:
        raise _refused("no entry of that event_id is kept here")
    own = [row for row in rows if row.station == event.station]
    if not own:
        raise _refused(f"the entry was written down at {rows[0].station}; only that station may withdraw it")
    if (meant := event.payload.get("hash")) is not None:
        own = [row for row in own if row.hash == meant]
        if not own:
            raise _refused("no entry of that event_id has that hash")
    standing = [row for row in own if row.dismissed_at is None]
    if len(standing) > 1:
        raise _refused(
            "several entries came under this event_id; a person at the centre adds the hash of the one "
            "that is meant to the payload"
        )
    if not standing:
        raise _refused("the entry was withdrawn or dismissed before")
    row = standing[0]
    if row.type == TYPE:
        raise _refused("a withdrawal is not withdrawn; write down anew what was done")
    if row.type == "program.saved":
        raise _refused("a program is not withdrawn; save it again as it should be")
    return row


def _refused(words: str) -> EffectRefused:
    return EffectRefused(FieldError("/payload/event_id", words))


def _blade_without(event: Happening, row: Any, payload: Any, books: Books) -> tuple[str, ...]:
    return blades.take_back(row, payload, books, by=f"station {event.station}", now=event.now)


def _nothing(event: Happening, row: Any, payload: Any, books: Books) -> tuple[str, ...]:
    """The event itself was all there was of it."""
    return ()


_TURNED_ROUND: Final = {
    "stock.taken": rack.put_back,
    "offcut.stored": rack.take_off,
    "cuts.made": _blade_without,
    "blade.turned": _blade_without,
}
