"""Loading a shop's data from one document: all of it or nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from schemas.problems import FieldError, WireError, pointer
from schemas.shop import ShopSchema
from service.api import reading
from service.api.problems import ProblemError
from service.api.shop import BLADES, MACHINES, MATERIALS, PROGRAMS, SITES, STOCK
from service.store import records

_IN_ORDER = (
    ("sites", SITES),
    ("materials", MATERIALS),
    ("machines", MACHINES),
    ("stock", STOCK),
    ("blades", BLADES),
    ("programs", PROGRAMS),
)
"""What is named by others comes first."""
_COUNTED = {"quantity": ":", "edge": ": edge at work", "used_m": ": metres cut by the edges"}
"""What of a record the entries of stations change, and how it is told."""


@dataclass(frozen=True, slots=True)
class Loaded:
    """What became of one list.

    Attributes
    ----------
    written, unchanged
        How many records were written, and how many stood so already.
    set_anew
        In words, what is counted from the entries of stations and now is as the document has it.
    """

    written: int
    unchanged: int
    set_anew: tuple[str, ...]


def load_shop(raw: bytes, *, by: str, now: datetime) -> dict[str, Loaded]:
    """Write every record of the JSON document that is new or differs from what stands.

    Returns
    -------
    dict
        For each list what became of it.

    Raises
    ------
    WireError
        Naming every field that is wrong; nothing was written.
    """
    try:
        document = reading.parse_json(raw)
    except ProblemError as problem:
        raise WireError([FieldError("", problem.detail)]) from None
    body = reading.loaded(ShopSchema, document)
    counts: dict[str, Loaded] = {}
    with records.writing():
        errors: list[FieldError] = []
        for name, shelf in _IN_ORDER:
            changed = same = 0
            seen: set[str] = set()
            set_anew: list[str] = []
            for index, entry in enumerate(body[name]):
                try:
                    wanted = shelf.normal(entry)
                except ProblemError as problem:
                    errors += [
                        FieldError(pointer(name, index) + error.pointer, error.message)
                        for error in problem.errors
                    ]
                    continue
                key = shelf.key_of(wanted)
                if key in seen:
                    errors.append(
                        FieldError(pointer(name, index, shelf.key_field), f"{key!r} is in the list twice")
                    )
                seen.add(key)
                kept = records.find(shelf.kind, key)
                if kept is not None and kept.document == wanted:
                    same += 1
                    continue
                if kept is not None:
                    set_anew += _set_anew(key, kept.document, wanted)
                shelf.keep(wanted, by=by, now=now)
                changed += 1
            counts[name] = Loaded(changed, same, tuple(set_anew))
        if errors:
            raise WireError(errors)
    return counts


def _set_anew(key: str, kept: Mapping[str, Any], wanted: Mapping[str, Any]) -> list[str]:
    """What a record says of pieces on the rack and of the use of edges, where the document says otherwise."""
    told = []
    for name, about in _COUNTED.items():
        before, after = kept.get(name), wanted.get(name)
        if name in wanted and before != after:
            told.append(f"{key}{about} {_shown(before)} → {_shown(after)}")
    return told


def _shown(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(_shown(one) for one in value)
    return f"{value:.1f}" if isinstance(value, float) else str(value)
