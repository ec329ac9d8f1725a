"""Taking back a taking or a storing: what it did to the record of a stock item is done the other way.

Where the record was counted since, or is by now that of another size under the same name, its quantity is
left as it is: what the withdrawal says of it can no longer be right. Nothing of that is passed over.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final

from service.store import effects
from service.store.books import Books
from service.store.models import Discrepancy
from service.store.records import Kept

NO_RECORD: Final = "no record"
"""The kind of discrepancy: pieces lie on the rack again, and no record has their name."""


def put_back(event: effects.Happening, row: Any, payload: Mapping[str, Any], books: Books) -> tuple[str, ...]:
    """Put back what a taking took off the books; what the station should know besides."""
    noted = list(Discrepancy.select().where(Discrepancy.event_id == row.event_id))
    # Beyond the books nothing was taken off them.
    back = min([payload["quantity"], *(one.on_the_books for one in noted if one.kind == "stock short")])
    if not back:
        return ()
    kept = _kept(row, payload, books)
    if kept is None:
        _note(event, row, payload, NO_RECORD, books, taken=back)
        return (f"no record has the name {payload['ref']!r} any more; nobody counts the {back} put back",)
    if _counted_since(row, payload, kept, noted):
        return (_counted(payload),)
    # Where it was seen at once that the record says otherwise, that is not news.
    known = {name: both["record"] for one in noted for name, both in (one.differs or {}).items()}
    if not _same_piece(event, row, payload, known, kept, books):
        return (_another(payload),)
    _write(event, kept, min(effects.MOST_PIECES, kept.document["quantity"] + back), books)
    return ()


def take_off(event: effects.Happening, row: Any, payload: Mapping[str, Any], books: Books) -> tuple[str, ...]:
    """Take off what a storing put on the books; what the station should know besides."""
    kept = _kept(row, payload, books)
    if kept is not None:
        if _counted_since(row, payload, kept, ()):
            return (_counted(payload),)
        if not _same_piece(event, row, payload, {}, kept, books):
            return (_another(payload),)
    quantity, there = payload["quantity"], kept.document["quantity"] if kept else 0
    if kept is not None:
        _write(event, kept, max(0, there - quantity), books)
    if quantity > there:
        _note(event, row, payload, "stock short", books, taken=quantity, on_the_books=there)
    return ()


def _kept(row: Any, payload: Mapping[str, Any], books: Books) -> Kept | None:
    return books.find("stock", effects.stock_key(row.site, payload["ref"]))


def _counted_since(row: Any, payload: Mapping[str, Any], kept: Kept, noted: Any) -> bool:
    """Whether the pieces of a record were counted, or set by hand, after an event was applied."""
    if row.record_revision is not None:
        return kept.by_hand is not None and kept.by_hand > row.record_revision
    # An event of an earlier version, which kept no revisions, and no more of a count than its time.
    if kept.by_hand is not None or any(one.counted is not None for one in noted):
        return True
    received: datetime = row.received_at
    return bool(
        Discrepancy.select()
        .where(
            Discrepancy.site == row.site,
            Discrepancy.ref == payload["ref"],
            Discrepancy.counted.is_null(False),
            Discrepancy.settled_at > received,
        )
        .exists()
    )


def _counted(payload: Mapping[str, Any]) -> str:
    return f"{payload['ref']!r} was counted or set by hand since; its quantity is left as it is"


def _same_piece(
    event: effects.Happening,
    row: Any,
    payload: Mapping[str, Any],
    known: Mapping[str, Any],
    kept: Kept,
    books: Books,
) -> bool:
    """Whether a record is still that of the piece; where it is not, that is noted."""
    differs = effects.differs(payload, kept.document)
    news = {name: both for name, both in differs.items() if known.get(name) != both["record"]}
    if not news:
        return True
    _note(event, row, payload, "size differs", books, differs=differs)
    return False


def _another(payload: Mapping[str, Any]) -> str:
    return f"the record {payload['ref']!r} is by now that of another piece; its quantity is left as it is"


def _write(event: effects.Happening, kept: Kept, quantity: int, books: Books) -> None:
    document = {**kept.document, "quantity": quantity}
    books.write("stock", kept.key, document, site=kept.site, by=f"station {event.station}", now=event.now)


def _note(
    event: effects.Happening, row: Any, payload: Mapping[str, Any], kind: str, books: Books, **noted: Any
) -> None:
    books.note_discrepancy(
        event_id=event.event_id,
        kind=kind,
        site=row.site,
        ref=payload["ref"],
        material=payload["material"],
        noted_at=event.now,
        **noted,
    )
