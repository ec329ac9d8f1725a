"""Fetching records: the centre's change feed, page by page, each page together with its cursor."""

from __future__ import annotations

from typing import Any, Final

from marshmallow import EXCLUDE, ValidationError

from client.cache.outbox import Outbox
from client.cache.records import Change, Records
from client.cache.stock import settle_changes
from client.errors import CentreAway, CentreRefuses
from client.push import Pushed, note_clock, noted_centre
from client.wire import Patience, Wire, retrying
from schemas.events import ChangesSchema

_PATH: Final = "/v1/sync/changes"
_MOST_RESTARTS: Final = 2


def refuse_other_token(outbox: Outbox, wire: Wire, patience: Patience, site: str) -> None:
    """Find out that the token is of another station, site or scope before anything is built on it.

    Raises
    ------
    CentreRefuses
        When it is; with it nothing that is written down here would be taken in as it should.
    CentreAway
        When there is no answer.
    """
    told = retrying(lambda: wire.get(f"/v1/sync/stations/{outbox.station}"), patience).document
    of_token = told.get("site", site)  # a centre of an earlier version does not tell
    if of_token == site:
        return
    why = (
        "the scope station is wanted"
        if of_token is None
        else f"it is of the site {of_token!r}, and this workstation is set up for {site!r}"
    )
    raise CentreRefuses(
        f"{wire.server} does not allow this with this token: {why}; run shearwright init again", 403
    )


def pull_records(
    records: Records, outbox: Outbox, wire: Wire, patience: Patience, pushed: Pushed
) -> list[Change]:
    """Bring the cache up to date.

    Returns
    -------
    What changed, in the order the centre told it.

    Raises
    ------
    CentreAway, CentreRefuses
        When the feed does not come to its end. What came in is kept, and read on from there.
    """
    settled_to = outbox.acknowledged_to()
    done: list[Change] = []
    restarts = 0
    while True:
        position = records.position
        params = {} if position.cursor is None else {"cursor": position.cursor}
        try:
            answer = retrying(lambda params=params: wire.get(_PATH, params), patience)  # type: ignore[misc]
        except CentreRefuses as refusal:
            if refusal.status != 410 or restarts == _MOST_RESTARTS:
                raise
            restarts += 1
            records.begin_resync()
            continue
        try:
            page: dict[str, Any] = ChangesSchema(unknown=EXCLUDE).load(answer.document)
        except ValidationError as error:
            raise CentreAway(f"a page of records is not understood: {error}") from error
        note_clock(outbox, answer, page["server_time"])
        if noted_centre(outbox, wire, patience, page["centre_epoch"], pushed):
            settled_to = outbox.acknowledged_to()  # what is offered again is not in these records
        if position.centre_epoch not in {None, page["centre_epoch"]}:
            if restarts == _MOST_RESTARTS:
                raise CentreAway("the centre does not settle on one state; the records come next time")
            restarts += 1
            records.begin_resync()
            continue
        if page["more"] and page["cursor"] == position.cursor:
            raise CentreAway("the centre sends the same page of records again and again")
        done += records.take_page(
            page["changes"],
            cursor=page["cursor"],
            centre_epoch=page["centre_epoch"],
            last=not page["more"],
            server_time=page["server_time"],
            settled_to=settled_to,
        )
        if not page["more"]:
            with outbox.home.writing():
                settle_changes(outbox.sql, settled_to)
            return done
