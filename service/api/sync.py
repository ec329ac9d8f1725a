"""The two halves of sync, and what a person must look at."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any, Final

from flask import current_app, request

from schemas.answers import StationSchema
from schemas.events import ChangesSchema, Moment, PushAnswerSchema, PushSchema
from schemas.fields import Document, JsonInt, Text, between
from schemas.payloads import PAYLOADS_VERSION
from schemas.problems import CURSOR_GONE, FORK, GAP, FieldError, pointer
from schemas.sure import sure
from schemas.words import says
from service.api import reading
from service.api.operations import Answer, Given, Operations
from service.api.paging import read_cursor, write_cursor
from service.api.problems import ProblemError, forbidden, not_valid
from service.store import chains, decided, events, feed, held, records
from service.store.ages import Ages
from service.store.chains import BrokenChain, Fork, Reached

sync = Operations("sync")

MOST_WAITING: Final = 1000
"""Events not applied that a station is told of at once."""

MOST_DECIDED: Final = 200
DECIDED_SINCE: Final = timedelta(days=90)
"""As long as stations keep what they sent; of the schema's words too."""


@says()
class ChangesQuerySchema(Document):
    """From where in the feed."""

    cursor = Text(
        load_default=None,
        metadata={
            "description": "left out, or of another centre epoch: from the beginning, which tells "
            "what stands, without deletions and without plans of long ago"
        },
    )
    limit = JsonInt(load_default=200, validate=between(1, 1000))


@says(
    epoch="which epoch of the station; left out: the one begun last",
)
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
    read_body=False,
    answers={200: PushAnswerSchema},
)
def push_events(given: Given) -> Answer:
    """Take in events."""
    station, site = given.caller.station, given.caller.site
    assert station is not None
    assert site is not None
    # A run of events that surely keeps the contract needs no slower look.
    body = given.document if sure(PushSchema)(given.document) else reading.loaded(PushSchema, given.document)
    sent = given.document["events"]
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
                {
                    "epoch": result.epoch,
                    "seq": result.seq,
                    "state": result.state,
                    "errors": [
                        {"pointer": error.pointer, "message": error.message} for error in result.errors
                    ],
                }
                for result in results
            ],
            "notes": [note for result in results for note in result.notes],
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
    known = chains.all_reached(key)
    waiting = held.waiting_of(key, MOST_WAITING + 1)
    document: dict[str, Any] = StationSchema().dump(
        {
            **_stamp(given.now),
            "station": key,
            "site": given.caller.site,
            **_reached(chains.reached(key, given.query["epoch"])),
            "epochs": known,
            "pulled": feed.pulled(key),
            "waiting": [
                {"epoch": row.epoch, "seq": row.seq, "state": row.state, "errors": row.errors or []}
                for row in waiting[:MOST_WAITING]
            ],
            "waiting_more": len(waiting) > MOST_WAITING,
            "decided": decided.decisions_on(key, given.now - DECIDED_SINCE, MOST_DECIDED),
            "payloads_version": PAYLOADS_VERSION,
        }
    )
    return Answer(document)


@sync(
    "GET",
    "/sync/changes",
    scopes=("station", "plan"),
    summary="What changed since a cursor: a station sees its own site, others see all; "
    "without a cursor all that stands",
    query=ChangesQuerySchema,
    answers={200: ChangesSchema},
)
def read_changes(given: Given) -> Answer:
    """A page of the feed."""
    epoch = records.centre_epoch()
    of_station = "station" in given.caller.scopes
    ages: Ages = current_app.config["AGES"]
    try:
        page = feed.changes(
            _place(given.query["cursor"], epoch),
            site=given.caller.site,
            everything=not of_station,
            limit=given.query["limit"],
            plans_since=given.now - ages.days("first_pull_plans"),
        )
    except feed.PlaceGone as gone:
        raise _cursor_gone(gone, epoch, ages) from None
    if of_station and given.caller.station is not None and given.caller.site is not None:
        feed.note_pull(
            given.caller.station,
            given.caller.site,
            page.place,
            now=given.now,
            clock_ahead=_clock_ahead(given.now),
        )
    document = {
        **_stamp(given.now),
        "cursor": write_cursor(epoch, page.place.position, page.place.first_to),
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


def _cursor_gone(gone: feed.PlaceGone, epoch: str, ages: Ages) -> ProblemError:
    ahead = isinstance(gone, feed.PlaceAhead)
    why = (
        "the cursor lies beyond all that this service has, so its database is one of an earlier time"
        if ahead
        else f"deletions of more than {ages.deletions} days ago are forgotten"
    )
    return ProblemError(
        410,
        "The cursor is not of this database" if ahead else "The cursor is too old",
        f"{why}: leave the cursor out, and take what comes for all there is",
        kind=CURSOR_GONE,
        members={"centre_epoch": epoch},
    )


def _place(cursor: str | None, epoch: str) -> feed.Place:
    if cursor is None:
        return feed.begin()
    try:
        of_epoch, position, first_to = read_cursor(cursor, str, int, int)
    except ProblemError:
        # Stations still hold cursors as they were first given.
        of_epoch, position = read_cursor(cursor, str, int)
        first_to = 0
    return feed.Place(position, first_to) if of_epoch == epoch else feed.begin()


def _clock_ahead(now: datetime) -> timedelta | None:
    """How far the sender's clock is ahead, by the header Date; None when it does not say."""
    said = request.date
    return None if said is None else said - now
