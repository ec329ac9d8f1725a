"""Roll-ups: what each event adds to the sums of its day, and a recount from the raw events.

Sums are kept in whole small units (mg, mm, ms, hundredths of a millimetre), so that the order in
which events come in makes no difference and a recount is equal to the last digit.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from peewee import EXCLUDED

from service.engine.quantities import mm
from service.store.models import Event, Tally

MEASURES: Final = (
    "events",
    "parts",
    "parts_mg",
    "parts_timed",
    "scrap_pieces",
    "scrap_mg",
    "taken_pieces",
    "taken_mg",
    "offcut_pieces",
    "offcut_mg",
    "strokes",
    "cut_hundredths",
    "equivalent_mm",
    "milliseconds",
)


class Key(NamedTuple):
    """What a sum is for. `reason` is empty but for scrap; `thickness` is in hundredths of a millimetre."""

    site: str
    machine: str
    material: str
    thickness: int
    reason: str
    day: str


@dataclass(frozen=True, slots=True)
class Difference:
    """A sum that is not what a recount gives."""

    key: Key
    measure: str
    kept: int
    counted: int


def added_by(
    event_type: str, payload: Mapping[str, Any], site: str, day: str
) -> tuple[Key, dict[str, int]] | None:
    """What an event adds, as measures of one key; None when its type adds nothing."""
    if event_type not in {"cuts.made", "stock.taken", "scrap.made", "offcut.stored"}:
        return None
    key = Key(
        site=site,
        machine=payload["machine"],
        material=payload["material"],
        thickness=mm(payload["thickness_mm"]),
        reason=payload.get("reason") or "",
        day=day,
    )
    return key, {"events": 1, **_MEASURED[event_type](payload)}


def _cuts(payload: Mapping[str, Any]) -> dict[str, int]:
    strokes = int(payload["strokes"])
    parts = sum(int(part["quantity"]) for part in payload["parts"])
    minutes = payload.get("minutes") or 0
    return {
        "parts": parts,
        "parts_mg": sum(_mg(part["mass_kg"]) for part in payload["parts"]),
        "parts_timed": parts if minutes else 0,
        "strokes": strokes,
        "cut_hundredths": strokes * mm(payload["cut_length_mm"]),
        "equivalent_mm": round(payload["equivalent_m"] * 1000),
        "milliseconds": round(minutes * 60_000),
    }


def _pieces(name: str) -> Any:
    def measured(payload: Mapping[str, Any]) -> dict[str, int]:
        return {f"{name}_pieces": int(payload["quantity"]), f"{name}_mg": _mg(payload["mass_kg"])}

    return measured


_MEASURED: Final = {
    "cuts.made": _cuts,
    "stock.taken": _pieces("taken"),
    "scrap.made": _pieces("scrap"),
    "offcut.stored": _pieces("offcut"),
}


def _mg(mass_kg: float) -> int:
    return round(mass_kg * 1_000_000)


def add(key: Key, measures: Mapping[str, int]) -> None:
    """Add to the sums of a key, within the caller's transaction."""
    values = {name: measures.get(name, 0) for name in MEASURES}
    columns = {name: getattr(Tally, name) for name in MEASURES}
    Tally.insert(**key._asdict(), **values).on_conflict(
        conflict_target=[getattr(Tally, name) for name in Key._fields],
        update={column: column + getattr(EXCLUDED, name) for name, column in columns.items()},
    ).execute()


def recount() -> dict[Key, dict[str, int]]:
    """The sums, counted anew from the events that were applied."""
    sums: dict[Key, dict[str, int]] = {}
    applied = Event.select().where(Event.state == "applied").order_by(Event.id)
    for event in applied.iterator():
        added = added_by(event.type, event.document["payload"], event.site, event.day)
        if added is None:
            continue
        key, measures = added
        into = sums.setdefault(key, dict.fromkeys(MEASURES, 0))
        for name, value in measures.items():
            into[name] += value
    return sums


def rebuild() -> None:
    """Put a recount in the place of the kept sums, within the caller's transaction."""
    Tally.delete().execute()
    for key, measures in recount().items():
        add(key, measures)


def audit() -> Iterator[Difference]:
    """Where the kept sums differ from a recount."""
    counted = recount()
    kept = {
        Key(*(getattr(row, name) for name in Key._fields)): {name: getattr(row, name) for name in MEASURES}
        for row in Tally.select()
    }
    nothing = dict.fromkeys(MEASURES, 0)
    for key in sorted({*counted, *kept}):
        for name in MEASURES:
            have, want = kept.get(key, nothing)[name], counted.get(key, nothing)[name]
            if have != want:
                yield Difference(key, name, have, want)
