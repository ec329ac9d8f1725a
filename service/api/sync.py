"""The two halves of sync, and what a person must look at."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, Final

from flask import current_app

from schemas.answers import DiscrepancySchema, HeldEventSchema, PageQuerySchema, StationSchema, page_of
from schemas.events import ChangesSchema, Moment, PushAnswerSchema, PushResultSchema, PushSchema
from schemas.fields import Document, JsonInt, Text, between
from schemas.problems import FORK, GAP, FieldError, pointer
from service.api import reading
from service.api.operations import Answer, Given, Operations
from service.api.problems import ProblemError, forbidden, not_found, not_valid
from service.store import again, events, held, records
from service.store.events import BrokenChain, Fork, Reached

sync = Operations("sync")

MOST_WAITING: Final = 1000
"""Events not applied that a station is told of at once."""


class ChangesQuerySchema(Document):
    """From where in the feed."""

    cursor = Text(
        load_default=None,
        metadata={"description": "left out, or of another centre epoch: from the beginning"},
    )
    limit = JsonInt(load_default=200, validate=between(1, 1000))


class StationQuerySchema(Document):
    """Which epoch of the station."""

    epoch = Text(load_default=None)


def _stamp(now: datetime) -> dict[str, str]:
    return {
        "centre_epoch": records.centre_epoch(),
        "server_time": now.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z"),
    }


@sync(
    "POST",
    "/sync/events",
    scopes=("station",),
    summary="Push a run of events; the same again is acknowledged and not counted again",
    body=PushSchema,
    answers={200: PushAnswerSchema},
)
def push_events(given: Given) -> Answer:
    """Take in events."""
    station, site = given.caller.station, given.caller.site
    assert station is not None
    assert site is not None
    body, sent = given.body, given.document["events"]
    if body["station"] != station:
        raise forbidden(f"this token is that of station {station!r}, not of {body['station']!r}")
    sent_at = Moment().deserialize(body["sent_at"])
    strangers = [
        FieldError(pointer("events", index, "station"), f"must be {station!r}, as in the push")
        for index, event in enumerate(sent)
        if event["station"] != station
    ]
    if strangers:
        raise not_valid(strangers)
    try:
        results, reached = events.push(station, site, sent, sent_at=sent_at, now=given.now)
    except BrokenChain as broken:
        raise _broken(station, broken) from None
    return Answer(
        {
            **_stamp(given.now),
            "station": station,
            **_reached(reached),
            "results": [
                PushResultSchema().dump(
                    {
                        "epoch": result.epoch,
                        "seq": result.seq,
                        "state": result.state,
                        "errors": [
                            {"pointer": error.pointer, "message": error.message} for error in result.errors
                        ],
                    }
                )
                for result in results
            ],
        }
    )


def _reached(reached: Reached) -> dict[str, Any]:
    return {"epoch": reached.epoch, "has_to_seq": reached.has_to_seq, "last_hash": reached.last_hash}


def _broken(station: str, broken: BrokenChain) -> ProblemError:
    fork = isinstance(broken, Fork)
    return ProblemError(
        409,
        "The events fork" if fork else "Events are missing",
        str(broken),
        kind=FORK if fork else GAP,
        members={
            "station": station,
            **_reached(broken.reached),
            "centre_epoch": records.centre_epoch(),
        },
    )


@sync(
    "GET",
    "/sync/stations/<key>",
    scopes=("station", "report"),
    summary="How far the centre has a station's events",
    query=StationQuerySchema,
    answers={200: StationSchema},
)
def read_station(given: Given, key: str) -> Answer:
    """How far the centre has a station."""
    if "station" in given.caller.scopes and given.caller.station != key:
        raise forbidden(f"this token is that of station {given.caller.station!r}")
    known = events.all_reached(key)
    waiting = held.waiting_of(key, MOST_WAITING + 1)
    document: dict[str, Any] = StationSchema().dump(
        {
            **_stamp(given.now),
            "station": key,
            **_reached(events.reached(key, given.query["epoch"])),
            "epochs": known,
            "waiting": [
                {"epoch": row.epoch, "seq": row.seq, "state": row.state, "errors": row.errors or []}
                for row in waiting[:MOST_WAITING]
            ],
            "waiting_more": len(waiting) > MOST_WAITING,
        }
    )
    return Answer(document)


@sync(
    "GET",
    "/sync/changes",
    scopes=("station", "plan"),
    summary="What changed since a cursor: a station sees its own site, others see all",
    query=ChangesQuerySchema,
    answers={200: ChangesSchema},
)
def read_changes(given: Given) -> Answer:
    """A page of the feed."""
    epoch = records.centre_epoch()
    after = 0
    if given.query["cursor"]:
        of_epoch, position = reading.read_cursor(given.query["cursor"], str, int)
        after = position if of_epoch == epoch else 0
    page = records.changes(
        after,
        site=given.caller.site,
        everything="station" not in given.caller.scopes,
        limit=given.query["limit"],
    )
    document = {
        **_stamp(given.now),
        "cursor": reading.write_cursor(epoch, page.position),
        "more": page.more,
        "changes": [
            {
                "kind": change.kind,
                "id": change.key,
                "revision": change.revision,
                "deleted": change.document is None,
                "record": change.document,
            }
            for change in page.changes
        ],
    }
    return Answer(document)


@sync(
    "GET",
    "/sync/quarantine",
    scopes=("report",),
    summary="Events that were not applied, and why",
    query=PageQuerySchema,
    answers={200: page_of(HeldEventSchema)},
)
def list_quarantine(given: Given) -> Answer:
    """List what was not applied."""
    return _page(given, held.not_applied, HeldEventSchema())


@sync(
    "POST",
    "/sync/quarantine/<key>/retry",
    scopes=("admin",),
    summary="Try again to apply an event, once what it lacked is there",
    answers={200: PushResultSchema},
)
def retry_event(given: Given, key: str) -> Answer:
    """Try again to apply an event."""
    number = int(key) if key.isascii() and key.isdigit() and len(key) < 18 else 0
    result = again.retry(number, current_app.config["CLOCK"]())
    if result is None:
        raise not_found(f"no event of that number waits to be applied: {key!r}")
    document: dict[str, Any] = PushResultSchema().dump(
        {
            "epoch": result.epoch,
            "seq": result.seq,
            "state": result.state,
            "errors": [{"pointer": error.pointer, "message": error.message} for error in result.errors],
        }
    )
    return Answer(document)


@sync(
    "GET",
    "/sync/discrepancies",
    scopes=("report", "plan"),
    summary="Stock that was taken although the books had less",
    query=PageQuerySchema,
    answers={200: page_of(DiscrepancySchema)},
)
def list_discrepancies(given: Given) -> Answer:
    """List discrepancies of stock."""
    return _page(given, held.discrepancies, DiscrepancySchema())


def _page(given: Given, found_by: Any, schema: Any) -> Answer:
    limit, cursor = given.query["limit"], given.query["cursor"]
    after = reading.read_cursor(cursor, int)[0] if cursor else 0
    rows = found_by(after, limit + 1)
    document: dict[str, Any] = {"items": [schema.dump(row) for row in rows[:limit]]}
    if len(rows) > limit:
        document["next"] = reading.write_cursor(rows[limit - 1].id)
    return Answer(document)
