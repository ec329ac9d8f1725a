"""Roll-ups: what each event adds to the sums of its day, and a recount from the raw events.

Sums are kept in whole small units (mg, mm, ms, hundredths of a millimetre), so that the order in
which events come in makes no difference and a recount is equal to the last digit.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Final

from schemas.edge_log import hundredths
from service.store import coarse
from service.store.database import database, is_postgresql
from service.store.models import Tally
from service.store.standing import Standing, standing
from service.store.sums import MEASURES, Counted, Key, add_to, kept_in


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
    if event_type not in _MEASURED:
        return None
    key = Key(
        site,
        payload["machine"],
        payload["material"],
        hundredths(payload["thickness_mm"]),
        payload.get("reason") or "",
        day,
    )
    return key, {"events": 1, **_MEASURED[event_type](payload)}


def _cuts(payload: Mapping[str, Any]) -> dict[str, int]:
    strokes = int(payload["strokes"])
    parts, parts_mg = _parts(payload)
    minutes = payload.get("minutes") or 0
    return {
        "parts": parts,
        "parts_mg": parts_mg,
        "parts_timed": parts if minutes else 0,
        "strokes": strokes,
        "cut_hundredths": strokes * hundredths(payload["cut_length_mm"]),
        "equivalent_mm": round(payload["equivalent_m"] * 1000),
        "milliseconds": round(minutes * 60_000),
    }


def _taken_whole(payload: Mapping[str, Any]) -> dict[str, int]:
    parts, parts_mg = _parts(payload)
    return {"parts": parts, "parts_mg": parts_mg}


def _parts(payload: Mapping[str, Any]) -> tuple[int, int]:
    """Pieces, and their mass [mg]."""
    pieces = mg = 0
    for part in payload["parts"]:
        pieces += int(part["quantity"])
        mg += _mg(part["mass_kg"])
    return pieces, mg


def _pieces(name: str) -> Any:
    def measured(payload: Mapping[str, Any]) -> dict[str, int]:
        return {f"{name}_pieces": int(payload["quantity"]), f"{name}_mg": _mg(payload["mass_kg"])}

    return measured


def _scrap(payload: Mapping[str, Any]) -> dict[str, int]:
    pieces, mg = int(payload["quantity"]), _mg(payload["mass_kg"])
    measures = {"scrap_pieces": pieces, "scrap_mg": mg}
    if payload.get("was_made"):
        # It was counted as a part when it came off; its mass must not stand twice.
        measures |= {"parts": -pieces, "parts_mg": -mg}
    return measures


_MEASURED: Final = {
    "cuts.made": _cuts,
    "parts.taken": _taken_whole,
    "stock.taken": _pieces("taken"),
    "scrap.made": _scrap,
    "offcut.stored": _pieces("offcut"),
}


def _mg(mass_kg: float) -> int:
    return round(mass_kg * 1_000_000)


def added_up(events: Iterable[Counted]) -> dict[Key, dict[str, int]]:
    """What events add to the sums of their keys; a measure that none of them adds to is left out."""
    sums: dict[Key, dict[str, int]] = {}
    for event in events:
        added = added_by(event.type, event.payload, event.site, event.day)
        if added is None:
            continue
        key, measures = added
        into = sums.setdefault(key, {})
        for name, value in measures.items():
            into[name] = into.get(name, 0) + event.times * value
    return sums


def add_all(sums: Mapping[Key, Mapping[str, int]]) -> None:
    """Add to the sums of many keys, and to the coarser ones, within the caller's transaction."""
    add_to(Tally, sums)
    coarse.add_all(sums)


class Recount:
    """The sums of days, counted anew; where a person corrected an event, by that."""

    def __init__(self) -> None:
        self.sums: dict[Key, dict[str, int]] = {}

    def add(self, event: Standing) -> None:
        """Count an event."""
        added = added_by(event.type, event.payload, event.site, event.day)
        if added is None:
            return
        key, measures = added
        into = self.sums.get(key)
        if into is None:
            into = self.sums[key] = dict.fromkeys(MEASURES, 0)
        for name, value in measures.items():
            into[name] += value


def recount() -> dict[Key, dict[str, int]]:
    """The sums, counted anew from the events that were applied."""
    counted = Recount()
    for event in standing():
        counted.add(event)
    return counted.sums


def rebuild(counted: Mapping[Key, Mapping[str, int]]) -> None:
    """Put a recount in the place of the kept sums, within the caller's transaction."""
    Tally.delete().execute()
    add_to(Tally, counted)
    coarse.rebuild()


@contextmanager
def one_state() -> Iterator[None]:
    """Within this block the store is read as it stood at its beginning, whoever writes meanwhile."""
    if database.in_transaction():
        yield
    elif is_postgresql():
        with database.atomic():
            database.execute_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield
    else:
        # Deferred: it never waits for a writer, and lets nobody wait.
        with database.transaction("DEFERRED"):
            yield


def differences(recounted: Mapping[Key, Mapping[str, int]]) -> list[Difference]:
    """Where the kept sums differ from a recount, within the caller's state of the store."""
    counted = {key: tuple(sums.values()) for key, sums in recounted.items()}
    pairs = [(kept_in(Tally), counted), *coarse.kept_and_counted(counted)]
    nothing = (0,) * len(MEASURES)
    return [
        Difference(key, name, *figures)
        for kept, counted in pairs
        for key in sorted({*counted, *kept})
        for name, *figures in zip(MEASURES, kept.get(key, nothing), counted.get(key, nothing), strict=True)
        if figures[0] != figures[1]
    ]
