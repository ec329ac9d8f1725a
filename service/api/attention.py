"""What a person must look at: events that were not applied, stock and steps that do not add up."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from marshmallow import Schema

from schemas.answers import PageQuerySchema, page_of
from schemas.events import PushResultSchema
from schemas.held import (
    CorrectEventSchema,
    DiscrepancyQuerySchema,
    DiscrepancySchema,
    HeatEventSchema,
    HeatOffcutSchema,
    HeatPartSchema,
    HeatQuerySchema,
    HeatSchema,
    HeldEventSchema,
    HeldQuerySchema,
    SettleSchema,
    VersionSchema,
    WordsSchema,
)
from schemas.problems import WITHDRAWN
from service.api.operations import Answer, Given, Operations
from service.api.paging import begins_after, following, page
from service.api.problems import ProblemError, field_problem, not_found, not_valid
from service.store import again, heats, held, records
from service.store.again import CorrectionRefused
from service.store.events import Result
from service.store.standing import payload_of

attention = Operations("attention")


@attention(
    "GET",
    "/sync/quarantine",
    scopes=("report",),
    summary="Events that were not applied, and why; and those that a person dismissed or corrected",
    query=HeldQuerySchema,
    answers={200: page_of(HeldEventSchema)},
)
def list_quarantine(given: Given) -> Answer:
    """List what was not applied."""
    return _page(given, _shown(given, held.not_applied), HeldEventSchema())


@attention(
    "POST",
    "/sync/quarantine/<key>/retry",
    scopes=("admin",),
    summary="Try again to apply an event, once what it lacked is there",
    answers={200: PushResultSchema},
)
def retry_event(given: Given, key: str) -> Answer:
    """Try again to apply an event."""
    with _not_withdrawn():
        return _result(again.retry(_number(key), given.now), key)


@attention(
    "POST",
    "/sync/quarantine/<key>/correct",
    scopes=("admin",),
    summary="Apply an event as it should have been; the original stays beside it, with who, when and why",
    body=CorrectEventSchema,
    answers={200: PushResultSchema},
)
def correct_event(given: Given, key: str) -> Answer:
    """Apply an event as a person put it right."""
    body = given.body
    try:
        with _not_withdrawn():
            result = again.correct(
                _number(key),
                payload=body["payload"],
                happened_at=body["happened_at"],
                words=body["words"],
                by=given.caller.name,
                now=given.now,
                as_new=body["as_new"],
            )
    except CorrectionRefused as refused:
        raise not_valid(list(refused.errors)) from None
    return _result(result, key)


@attention(
    "POST",
    "/sync/quarantine/<key>/dismiss",
    scopes=("admin",),
    summary="Say that an event is not to be applied; it is kept all the same",
    body=WordsSchema,
    answers={204: None},
)
def dismiss_event(given: Given, key: str) -> Answer:
    """Dismiss an event."""
    with _not_withdrawn():
        done = again.dismiss(_number(key), words=given.body["words"], by=given.caller.name, now=given.now)
    if not done:
        raise _none_waits(key)
    return Answer(status=204)


@attention(
    "GET",
    "/sync/discrepancies",
    scopes=("report", "plan"),
    summary="What does not add up: stock that was taken although the books had less, or that is not as "
    "its record has it; steps of which more was cut than the plan has",
    query=DiscrepancyQuerySchema,
    answers={200: page_of(DiscrepancySchema)},
)
def list_discrepancies(given: Given) -> Answer:
    """List discrepancies."""
    return _page(given, _shown(given, _discrepancies), DiscrepancySchema())


def _discrepancies(after: int, limit: int, show: str) -> list[Any]:
    rows = held.discrepancies(after, limit, show)
    events = held.events_of_steps(rows)
    for row in rows:
        row.events = events.get(row.id, [])
    return rows


@attention(
    "POST",
    "/sync/discrepancies/<key>/settle",
    scopes=("plan",),
    summary="Settle a discrepancy in words, and with what was counted on the rack",
    body=SettleSchema,
    answers={200: DiscrepancySchema},
)
def settle_discrepancy(given: Given, key: str) -> Answer:
    """Settle a discrepancy."""
    body = given.body
    try:
        row = held.settle(
            _number(key),
            words=body["words"],
            counted=body["counted"],
            by=given.caller.name,
            now=given.now,
        )
    except held.NoSuchStock as none:
        raise field_problem(
            "/counted", f"no stock item is named {str(none)!r}: enter it first, or leave the count out"
        ) from None
    except held.NothingToCount:
        raise field_problem(
            "/counted", "it is about pieces of a step and not about the rack: leave the count out"
        ) from None
    if row is None:
        raise not_found(f"no discrepancy of that number is open: {key!r}")
    row.events = held.events_of_steps([row]).get(row.id, [])
    document: dict[str, Any] = DiscrepancySchema().dump(row)
    return Answer(document)


@attention(
    "GET",
    "/heats/<path:key>",
    scopes=("report", "plan"),
    summary="Where a heat went: parts, offcuts, stock that is there, and the events that say so",
    query=HeatQuerySchema,
    answers={200: HeatSchema},
)
def read_heat(given: Given, key: str) -> Answer:
    """Follow a heat."""
    limit, after = given.query["limit"], begins_after(given.query, int)
    found = heats.trail(key)
    rows = heats.events_of(key, after, limit + 1)
    if not rows and not found.stock and not after:
        raise not_found(f"no entry and no stock is known of the heat {key!r}")
    document: dict[str, Any] = {
        "heat": key,
        "parts": HeatPartSchema(many=True).dump(found.parts),
        "offcuts": HeatOffcutSchema(many=True).dump(found.offcuts),
        "stock": list(found.stock),
        "scrap_kg": found.scrap_kg,
        "events": [
            HeatEventSchema().dump(
                {
                    "event_id": row.event_id,
                    "station": row.station,
                    "site": row.site,
                    "type": row.type,
                    "at": row.corrected_at,
                    "payload": payload_of(row),
                }
            )
            for row in rows[:limit]
        ],
        **following(rows, limit, lambda row: row.id),
    }
    return Answer(document)


@attention(
    "GET",
    "/versions/<kind>/<path:key>",
    scopes=("report", "plan"),
    summary="Revisions of a machine or program that stood, and writes that came too late",
    query=PageQuerySchema,
    answers={200: page_of(VersionSchema)},
)
def list_versions(given: Given, kind: str, key: str) -> Answer:
    """List the revisions of a record."""

    def found_by(after: int, limit: int) -> list[Any]:
        if kind not in records.VERSIONED:
            kinds = " and ".join(sorted(records.VERSIONED))
            raise not_found(f"revisions are kept of {kinds}, not of {kind!r}")
        return records.versions(kind, key, after, limit)

    return _page(given, found_by, VersionSchema())


@contextmanager
def _not_withdrawn() -> Iterator[None]:
    """An event that its station took back is left alone, and the answer says so."""
    try:
        yield
    except again.WasWithdrawn as told:
        raise ProblemError(409, "Withdrawn by its station", str(told), kind=WITHDRAWN) from None


def _number(key: str) -> int:
    return int(key) if key.isascii() and key.isdigit() and len(key) < 18 else 0


def _result(result: Result | None, key: str) -> Answer:
    if result is None:
        raise _none_waits(key)
    document: dict[str, Any] = PushResultSchema().dump(
        {
            "epoch": result.epoch,
            "seq": result.seq,
            "state": result.state,
            "errors": [{"pointer": error.pointer, "message": error.message} for error in result.errors],
            "notes": list(result.notes),
        }
    )
    return Answer(document)


def _none_waits(key: str) -> ProblemError:
    return not_found(f"no entry of that number waits to be applied: {key!r}")


def _shown(given: Given, found_by: Callable[[int, int, str], list[Any]]) -> Callable[[int, int], list[Any]]:
    return lambda after, limit: found_by(after, limit, given.query["show"])


def _page(given: Given, found_by: Callable[[int, int], list[Any]], schema: Schema) -> Answer:
    limit = given.query["limit"]
    rows = found_by(begins_after(given.query, int), limit + 1)
    return Answer(page(rows, limit, schema.dump, lambda row: row.id))
