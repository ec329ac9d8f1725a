"""The rack as it is now: what the centre last sent, and what was done here since.

The centre's records are never changed here. Each event that takes or stores stock leaves a change
in the same transaction; a change counts until the records pulled from the centre include it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from client.cache.sqlite import Sqlite
from schemas.records import CUT_OVERSIZE, StockSchema
from service.engine.order import StockItem
from service.engine.quantities import mm

STOCK_TABLES: Final = (
    """CREATE TABLE stock_change (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        event INTEGER NOT NULL,
        ref TEXT NOT NULL,
        delta INTEGER NOT NULL,
        item TEXT,
        settled INTEGER NOT NULL DEFAULT 0
    ) STRICT""",
    "CREATE INDEX stock_change_open ON stock_change (settled, event)",
)


@dataclass(frozen=True, slots=True)
class StockChange:
    """What an event did to the rack; `item` describes a new offcut."""

    ref: str
    delta: int
    item: StockItem | None = None


def note_change(sql: Sqlite, event_row: int, change: StockChange) -> None:
    """Keep a change; inside the transaction that writes its event."""
    item = None if change.item is None else json.dumps(StockSchema().dump(change.item))
    sql.run(
        "INSERT INTO stock_change (event, ref, delta, item) VALUES (?, ?, ?, ?)",
        event_row,
        change.ref,
        change.delta,
        item,
    )


def change_of(event_type: str, payload: Mapping[str, Any]) -> StockChange | None:
    """What an event does to the rack, read from its payload; None: nothing."""
    if event_type == "stock.taken":
        return StockChange(payload["ref"], -int(payload["quantity"]))
    if event_type != "offcut.stored":
        return None
    sizes = {name: mm(payload[f"{name}_mm"]) for name in ("length", "width", "thickness")}
    item = StockItem(
        payload["ref"],
        sizes["length"],
        sizes["width"],
        int(payload["quantity"]),
        payload["material"],
        sizes["thickness"],
        kind="offcut",
        edges=payload.get("edges") or "cut",
        oversize=CUT_OVERSIZE if payload.get("oversize_mm") is None else mm(payload["oversize_mm"]),
        heat=payload.get("heat"),
    )
    return StockChange(item.ref, item.quantity, item)


def open_changes(sql: Sqlite, settled_to: int) -> list[StockChange]:
    """Changes that the centre's records do not include yet.

    Parameters
    ----------
    sql
        The store.
    settled_to
        Event row up to which the records pulled last include every event.
    """
    found = sql.rows(
        "SELECT ref, delta, item FROM stock_change WHERE settled = 0 AND event > ? ORDER BY id", settled_to
    )
    return [
        StockChange(ref, delta, None if item is None else StockSchema().load(json.loads(item)))
        for ref, delta, item in found
    ]


def settle_changes(sql: Sqlite, settled_to: int) -> None:
    """Mark what the records now include, so that it is not counted again when the cache is deleted."""
    sql.run("UPDATE stock_change SET settled = 1 WHERE settled = 0 AND event <= ?", settled_to)


def rack_now(records: Iterable[StockItem], changes: Iterable[StockChange]) -> list[StockItem]:
    """Records with the changes on top, by ref. Nothing goes below none."""
    rack = {item.ref: item for item in records}
    counts = {ref: item.quantity for ref, item in rack.items()}
    for change in changes:
        # Of an offcut of which none is left, or that was withdrawn, the name may stand for another one.
        free = change.ref not in rack or (
            rack[change.ref].kind == "offcut" and counts[change.ref] <= 0 < change.delta
        )
        if change.item is not None and free:
            rack[change.ref] = change.item
            counts[change.ref] = 0
        if change.ref in counts:
            counts[change.ref] += change.delta
    return [replace(rack[ref], quantity=max(0, counts[ref])) for ref in sorted(rack)]
