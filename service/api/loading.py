"""Loading a shop's data from one document: all of it or nothing."""

from __future__ import annotations

from datetime import datetime

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


def load_shop(raw: bytes, *, by: str, now: datetime) -> dict[str, tuple[int, int]]:
    """Write every record of the JSON document that is new or differs from what stands.

    Returns
    -------
    dict
        For each list: how many were written, and how many stood so already.

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
    counts: dict[str, tuple[int, int]] = {}
    with records.writing():
        errors: list[FieldError] = []
        for name, shelf in _IN_ORDER:
            changed = same = 0
            seen: set[str] = set()
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
                shelf.keep(wanted, by=by, now=now)
                changed += 1
            counts[name] = (changed, same)
        if errors:
            raise WireError(errors)
    return counts
