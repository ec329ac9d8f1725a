"""Where a heat went: from the sheet to parts and offcuts, by the events that name it.

An event is about a heat when it says so itself, or when it takes, or stores an offcut of, stock that
does; that was settled when it was applied.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from service.store import records
from service.store.models import Event
from service.store.standing import payload_of


@dataclass(frozen=True, slots=True)
class HeatTrail:
    """Sums over every event of a heat, and the stock of it that is there now."""

    parts: tuple[dict[str, Any], ...]
    offcuts: tuple[dict[str, Any], ...]
    stock: tuple[dict[str, Any], ...]
    scrap_kg: float


_PIECE = ("site", "material", "thickness_mm", "length_mm", "width_mm")


def trail(heat: str) -> HeatTrail:
    """Follow a heat through all its events."""
    parts: dict[tuple[Any, ...], dict[str, Any]] = {}
    offcuts: dict[tuple[Any, ...], dict[str, Any]] = {}
    spoiled: list[dict[str, Any]] = []
    scrap_mg = 0
    for row in Event.select().where(Event.heat == heat, Event.state == "applied").order_by(Event.id):
        payload = payload_of(row)
        if row.type in {"cuts.made", "parts.taken"}:
            for part in payload["parts"]:
                named = {"order_ref": part.get("order_ref"), "ref": part["ref"]}
                made = _added(parts, named, {**payload, **part, "site": row.site})
                made["first_at"] = min(made.get("first_at", row.corrected_at), row.corrected_at)
                made["last_at"] = max(made.get("last_at", row.corrected_at), row.corrected_at)
        elif row.type == "offcut.stored":
            named = {"ref": payload["ref"], "from_stock": payload.get("from_stock")}
            _added(offcuts, named, {**payload, "site": row.site})
        elif row.type == "scrap.made":
            scrap_mg += round(payload["mass_kg"] * 1_000_000)
            if payload.get("was_made"):
                spoiled.append({**payload, "site": row.site})
    # At the end, as the part that was spoiled may have been written down later, or elsewhere.
    for payload in spoiled:
        _leave(parts, payload)
    there = (kept.document for kept in records.listed("stock"))
    return HeatTrail(
        parts=tuple(part for part in parts.values() if part["quantity"]),
        offcuts=tuple(offcuts.values()),
        stock=tuple(document for document in there if document["heat"] == heat),
        scrap_kg=scrap_mg / 1_000_000,
    )


def _added(
    into: dict[tuple[Any, ...], dict[str, Any]], named: Mapping[str, Any], piece: Mapping[str, Any]
) -> dict[str, Any]:
    own = {**named, **{name: piece[name] for name in _PIECE}}
    found = into.setdefault(tuple(own.values()), {**own, "quantity": 0, "mass_kg": 0.0})
    found["quantity"] += int(piece["quantity"])
    # To the milligram, as the roll-ups count.
    found["mass_kg"] = round(found["mass_kg"] + piece["mass_kg"], 6)
    return found


def _leave(parts: dict[tuple[Any, ...], dict[str, Any]], spoiled: Mapping[str, Any]) -> None:
    """Take spoiled pieces off the parts of their name; where it is not said, off those of their size.

    No more than there are: a part that was not made of this heat is not in its trail.
    """
    ref = spoiled.get("part_ref")
    own = {name: spoiled[name] for name in _PIECE} if ref is None else {"ref": ref, "site": spoiled["site"]}
    left = int(spoiled["quantity"])
    for part in parts.values():
        if any(part[name] != value for name, value in own.items()):
            continue
        gone = min(left, part["quantity"])
        if gone:
            part["mass_kg"] = round(part["mass_kg"] * (part["quantity"] - gone) / part["quantity"], 6)
            part["quantity"] -= gone
            left -= gone


def events_of(heat: str, after: int, limit: int) -> list[Any]:
    """Events of a heat, in the order they came in."""
    rows = Event.select().where(Event.heat == heat, Event.state == "applied", Event.id > after)
    return list(rows.order_by(Event.id).limit(limit))
