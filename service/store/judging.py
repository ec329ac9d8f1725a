"""What one event is by itself: whole or damaged, known or not, at a time that can be; what becomes of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any, Final, Literal, TypeAlias
from zoneinfo import ZoneInfo

from schemas.events import payload_errors, written_and_hash
from schemas.problems import FieldError
from service.engine.fingerprint import canonical_text
from service.store import records
from service.store.models import Written
from service.store.records import Kept

Verdict: TypeAlias = Literal["applied", "again", "kept", "quarantined"]

CLOCK_SLACK: Final = timedelta(seconds=2)
"""A difference of clocks up to this is the way the message took, and is not corrected."""

_FIRST_YEAR, _LAST_YEAR = 2000, 2199

FAULT: Final = FieldError("", "a fault of the service kept it from being applied; its log says more")


class Checked:
    """An event, and what is wrong with it by itself, looked at once when it is first asked."""

    __slots__ = ("_errors", "_looked", "epoch", "event", "event_id", "seq", "text")

    def __init__(self, event: Mapping[str, Any], errors: tuple[FieldError, ...] | None = None) -> None:
        self.event = event
        self.event_id: str = event["event_id"]
        self.epoch: str = event["epoch"]
        self.seq = int(event["seq"])
        self.text: Written | None = None
        self._errors = errors
        self._looked = errors is not None

    def look(self) -> tuple[FieldError, ...] | None:
        """Every error, or none; None: its type is not known here."""
        if not self._looked:
            text, hashed = written_and_hash(self.event)
            self.text = Written(text)
            self._errors = _errors_of(self.event, hashed)
            self._looked = True
        return self._errors


GARBLED: Final = FieldError("/hash", "the hash is not that of the entry")


def _errors_of(event: Mapping[str, Any], hashed: str) -> tuple[FieldError, ...] | None:
    if hashed != event["hash"]:
        return (GARBLED,)
    errors = payload_errors(event["type"], event["payload"])
    return None if errors is None else tuple(errors)


def judge(
    earlier: Sequence[Mapping[str, Any]],
    event: Mapping[str, Any],
    errors: tuple[FieldError, ...] | None,
) -> tuple[Verdict, tuple[FieldError, ...]]:
    """What is to become of an event before its effect is tried.

    Whatever its payload lacks, the same again is a repeat: what came first counts, waits or was dismissed,
    and a person looks at it once.

    Parameters
    ----------
    earlier
        The events that came before under this event_id.
    errors
        What is wrong with it by itself; None: its type is not known.
    """
    # What a damaged one says cannot be compared; the right one may still come under its hash. And after a
    # fault nobody knows what of it was looked at.
    if errors is not None and errors in ((GARBLED,), (FAULT,)):
        return "quarantined", errors
    if any(_same(one, event) for one in earlier):
        return "again", ()
    if errors:
        return "quarantined", errors
    if earlier:
        return "quarantined", (TAKEN_ID,)
    return ("kept" if errors is None else "applied"), ()


def _same(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether two events say the same of the same moment, under whatever epoch and number.

    >>> said = {"station": "ng-1", "happened_at": "", "type": "", "payload": {"strokes": 1}}
    >>> _same(said, {**said, "seq": 7}), _same(said, {**said, "payload": {"strokes": True}})
    (True, False)
    """
    if any(one[name] != other[name] for name in ("station", "happened_at", "type", "payload")):
        return False
    # Python takes true for one, which a payload must not.
    return canonical_text(one["payload"]) == canonical_text(other["payload"])


TAKEN_ID: Final = FieldError(
    "/event_id",
    "another entry came under this event_id before; where both happened, "
    "a person takes this one in under an id of its own",
)
ABSURD_TIME: Final = FieldError("/happened_at", f"a time from {_FIRST_YEAR} to {_LAST_YEAR} is wanted")


def kept_errors(errors: Sequence[FieldError]) -> list[dict[str, str]] | None:
    """Errors as they are kept beside an event; None when there are none."""
    return [{"pointer": error.pointer, "message": error.message} for error in errors] or None


def corrected_time(happened_at: str, clock_ahead: timedelta) -> datetime | None:
    """A station's time, corrected by how far its clock was ahead when it sent; None when absurd."""
    try:
        moment = datetime.fromisoformat(happened_at).astimezone(UTC)
        if abs(clock_ahead) > CLOCK_SLACK:
            moment -= clock_ahead
    except (ValueError, OverflowError):
        return None
    return moment if _FIRST_YEAR <= moment.year <= _LAST_YEAR else None


def zone_of(site: str) -> ZoneInfo:
    """The time zone on the wall of a site."""
    return zone_in(records.find("site", site, deleted_too=True))


def zone_in(site: Kept | None) -> ZoneInfo:
    """The time zone on the wall of a site, whose record this is."""
    return ZoneInfo(site.document["time_zone"] if site else "UTC")
