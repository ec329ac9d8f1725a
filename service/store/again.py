"""Trying again what was not applied: as it is, as a person put it right, or after an upgrade.

The event itself is never changed: a corrected payload stands beside it, with who, when and why.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final
from uuid import UUID, uuid5

from peewee import OperationalError

from schemas.events import event_hash, payload_errors
from schemas.payloads import PAYLOADS
from schemas.problems import FieldError
from service.store import effects, judging, records, withdrawn
from service.store.books import Books
from service.store.database import database, is_damaged
from service.store.effects import Applied
from service.store.events import Result
from service.store.models import WAITS, Correction, Event

log = logging.getLogger("shearwright.events")

_WAITING: Final = ("kept", "quarantined")


class CorrectionRefused(Exception):  # noqa: N818 - reads as what it says
    """A correction that is itself not valid; nothing of it was kept."""

    def __init__(self, errors: tuple[FieldError, ...]) -> None:
        super().__init__("the correction is not valid")
        self.errors = errors


class WasWithdrawn(Exception):  # noqa: N818 - reads as what it says
    """The station took the event back: it is not applied after all. The message says why it was."""


@dataclass(frozen=True, slots=True)
class Reapplied:
    """What came of trying all again."""

    applied: int
    still_kept: int
    quarantined: int


def retry(event_row: int, now: datetime) -> Result | None:
    """Try again to apply an event that was quarantined or kept; None when there is none of that number.

    Raises
    ------
    WasWithdrawn
        When its station took it back.
    """
    with records.writing():
        row = _waiting(event_row)
        if row is None:
            return None
        return _try(row, row.corrected_payload, None, now)


def correct(
    event_row: int,
    *,
    payload: Mapping[str, Any] | None,
    happened_at: str | None,
    words: str,
    by: str,
    now: datetime,
    as_new: bool = False,
) -> Result | None:
    """Apply an event as a person put it right; None when none of that number waits.

    Parameters
    ----------
    payload, happened_at
        What counts in the place of what the event says; None: as it says.
    as_new
        Gives it an event_id of its own: what came before under its event_id is something else, and
        both happened. The id follows from the event, so that the same one is given wherever it is.

    Raises
    ------
    CorrectionRefused
        When the payload does not keep the contract, or the time is absurd, or no other event has its
        event_id.
    WasWithdrawn
        When its station took it back.
    """
    with records.writing():
        row = _waiting(event_row)
        if row is None:
            return None
        errors = payload_errors(row.type, payload) if payload is not None else []
        if errors is None:
            errors = [
                FieldError("/payload", f"the type {row.type!r} is not known here; it waits until it is")
            ]
        ahead = timedelta(milliseconds=row.clock_ahead_ms)
        if happened_at is not None and judging.corrected_time(happened_at, ahead) is None:
            errors = [*errors, judging.ABSURD_TIME]
        if as_new and row.came_as is None and not _others(row):
            errors = [*errors, FieldError("/as_new", "no other entry came under this event_id")]
        if errors:
            raise CorrectionRefused(tuple(errors))
        if as_new and row.came_as is None:
            _name_anew(row)
        result = _try(row, payload or row.corrected_payload, happened_at, now)
        _note(row, payload, happened_at, words, by, now, result.state)
    return result


def dismiss(event_row: int, *, words: str, by: str, now: datetime) -> bool:
    """Say that an event is not to be applied; it stays as it is, for ever. False when none waits.

    Raises
    ------
    WasWithdrawn
        When its station took it back, and said why.
    """
    with records.writing():
        row = _waiting(event_row)
        if row is None:
            return False
        Event.update(dismissed_at=now).where(Event.id == row.id).execute()
        _note(row, None, None, words, by, now, "dismissed")
    return True


def reapply(now: datetime, *, quarantined: bool = False) -> Reapplied:
    """Apply what was kept because its type was not known, where this version knows it.

    Parameters
    ----------
    quarantined
        Whether to try the quarantined events too, which may lack nothing any more.
    """
    states = _WAITING if quarantined else ("kept",)
    # What is withdrawn is dismissed too.
    waits = WAITS & Event.state.in_(states)
    query = Event.select(Event.id).where(waits)
    if not quarantined:
        query = query.where(Event.type.in_(sorted(PAYLOADS)))
    outcomes = dict.fromkeys(("applied", *_WAITING), 0)
    # In the order they came in; each by itself, so that others may write in between.
    for row in list(query.order_by(Event.id)):
        with records.writing():
            # A person may have dismissed it meanwhile, or its station taken it back.
            still = Event.get_or_none((Event.id == row.id) & waits)
            if still is not None:
                outcomes[_try(still, still.corrected_payload, None, now).state] += 1
    return Reapplied(outcomes["applied"], outcomes["kept"], outcomes["quarantined"])


_OWN_IDS: Final = UUID("2f9c1c1e-7d0b-4c55-9a43-6f0f6f1f7d21")
"""Where ids are drawn from for events that came under the id of another."""


def _others(row: Any, *, taken_back: bool = False) -> bool:
    others = Event.select().where(Event.event_id == row.event_id, Event.id != row.id, Event.state != "again")
    if taken_back:
        others = others.where(Event.withdrawn_by.is_null(False))
    return bool(others.exists())


def _name_anew(row: Any) -> None:
    row.came_as, row.event_id = row.event_id, str(uuid5(_OWN_IDS, row.hash))
    Event.update(event_id=row.event_id, came_as=row.came_as).where(Event.id == row.id).execute()


def _waiting(event_row: int) -> Any:
    row = Event.get_or_none((Event.id == event_row) & Event.state.in_(_WAITING))
    if row is not None and row.withdrawn_by is not None:
        raise WasWithdrawn(
            f"{row.errors[0]['message']}; it is not applied after all: what was done is written down anew"
        )
    return row


def _try(row: Any, corrected: Mapping[str, Any] | None, happened_at: str | None, now: datetime) -> Result:
    payload = row.document["payload"] if corrected is None else corrected
    if row.came_as is None and _others(row, taken_back=True):
        # What was noted under the id of one that counted once and was taken back stays apart from this.
        _name_anew(row)
    ahead = timedelta(milliseconds=row.clock_ahead_ms)
    at, day = row.corrected_at, row.day
    if at is None or happened_at is not None:
        at = judging.corrected_time(happened_at or row.document["happened_at"], ahead)
        day = at and at.astimezone(judging.zone_of(row.site)).date().isoformat()
    state, errors, applied = _outcome(row, payload, corrected is not None, at, day, now)
    place = effects.NO_PLACE if applied is None else applied.place
    Event.update(
        state=state,
        errors=judging.kept_errors(errors),
        corrected_payload=corrected,
        corrected_at=at,
        day=day,
        machine=None if applied is None else applied.machine,
        heat=None if applied is None else applied.heat,
        dismissed_at=None if state == "applied" else row.dismissed_at,
        **place,
    ).where(Event.id == row.id).execute()
    notes = () if applied is None else applied.notes
    return Result(row.epoch, row.seq, state, errors, notes)


def _outcome(
    row: Any, payload: Mapping[str, Any], by_hand: bool, at: datetime | None, day: str | None, now: datetime
) -> tuple[Any, tuple[FieldError, ...], Applied | None]:
    # A damaged event is not applied as it is; a person may say what it should have been.
    if not by_hand and event_hash(row.document) != row.hash:
        return "quarantined", (judging.GARBLED,), None
    errors = payload_errors(row.type, payload)
    if errors is None:
        return "kept", (), None
    if errors:
        return "quarantined", tuple(errors), None
    if at is None or day is None:
        return "quarantined", (judging.ABSURD_TIME,), None
    if (
        Event.select()
        .where(Event.event_id == row.event_id, Event.id != row.id, Event.state == "applied")
        .exists()
    ):
        return "quarantined", (judging.TAKEN_ID,), None
    happening = effects.Happening(
        event_id=row.event_id,
        station=row.station,
        site=row.site,
        type=row.type,
        payload=payload,
        day=day,
        at=at,
        now=now,
    )
    try:
        with database.atomic():
            books = Books()
            applied = withdrawn.apply(happening, books)
            books.accept(applied.counted, applied.cut)
            books.close()
    except effects.EffectRefused as refused:
        return "quarantined", (refused.error,), None
    except OperationalError:
        raise
    except Exception as error:
        if is_damaged(error):
            raise
        log.exception("event %s of %s could not be applied", row.event_id, row.station)
        return "quarantined", (judging.FAULT,), None
    return "applied", (), applied


def _note(
    row: Any,
    payload: Mapping[str, Any] | None,
    happened_at: str | None,
    words: str,
    by: str,
    now: datetime,
    outcome: str,
) -> None:
    Correction.insert(
        event=row.id,
        payload=payload,
        happened_at=happened_at,
        words=words,
        made_by=by,
        made_at=now,
        outcome=outcome,
    ).execute()
