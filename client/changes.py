"""What changed in a record, in words that a person at the machine understands."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, Final

_UNITS: Final = {
    "_n_mm2": "N/mm²",
    "_mm": "mm",
    "_um": "µm",
    "_kg": "kg",
    "_kn": "kN",
    "_deg": "°",
    "_m": "m",
    "_s": "s",
    "_n": "N",
    "_share": "",
}
_PLACES: Final = {"used_m": ("use of edge", "m"), "steps": ("step", "")}
"""Lists whose places have a name of their own."""

_MOMENT: Final = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)?")
"""A time as records write it."""

_MOST_TOLD: Final = 4
"""Differences of one list that are told singly."""


def changed_fields(before: Any, after: Any) -> tuple[str, ...]:
    """What differs between two states of a record.

    >>> changed_fields({"back_gauge": {"high_mm": 1000}}, {"back_gauge": {"high_mm": 750}})
    ('back gauge high 1000 → 750 mm',)
    >>> changed_fields({"used_m": [60.1, 0, 0, 0]}, {"used_m": [63.4, 0, 0, 0]})
    ('use of edge 1: 60.1 → 63.4 m',)
    """
    return tuple(_differences(before, after, (), ""))


def _differences(before: Any, after: Any, path: tuple[str, ...], unit: str) -> Iterator[str]:
    if before == after:
        return
    if isinstance(before, Mapping) and isinstance(after, Mapping):
        for key in [*before, *(key for key in after if key not in before)]:
            if path or key != "revision":
                name, own_unit = _name(str(key))
                yield from _of_field(str(key), before.get(key), after.get(key), (*path, name), own_unit)
        return
    if _is_list(before) and _is_list(after):
        yield from _of_list(before, after, path, unit)
        return
    yield f"{' '.join(path)} {_pair(before, after, unit)}"


def _of_field(key: str, before: Any, after: Any, path: tuple[str, ...], unit: str) -> Iterator[str]:
    place = _PLACES.get(key)
    if place is None or not _is_list(before) or not _is_list(after):
        yield from _differences(before, after, path, unit)
        return
    yield from _of_list(before, after, (*path[:-1], place[0]), place[1], named=True)


def _of_list(
    before: Sequence[Any], after: Sequence[Any], path: tuple[str, ...], unit: str, *, named: bool = False
) -> Iterator[str]:
    name = " ".join(path)
    if all(isinstance(one, str) for one in (*before, *after)):
        gone = [one for one in before if one not in after]
        new = [one for one in after if one not in before]
        told = [f"without {', '.join(gone)}"] * bool(gone) + [f"with {', '.join(new)}"] * bool(new)
        yield f"{name}: now {' and '.join(told) or 'in another order'}"
        return
    differing = [place for place in range(min(len(before), len(after))) if before[place] != after[place]]
    if len(before) != len(after):
        yield f"{name}: {_count(len(before))} → {_count(len(after))}"
    if len(differing) > _MOST_TOLD:
        yield f"{name}: {len(differing)} of {len(after)} differ"
        return
    for place in differing:
        at = (*path[:-1], f"{path[-1]} {place + 1}:" if named else f"{path[-1]}, place {place + 1}:")
        yield from _differences(before[place], after[place], at, unit)


def _name(key: str) -> tuple[str, str]:
    for end, unit in _UNITS.items():
        if key.endswith(end) and len(key) > len(end):
            return key.removesuffix(end).replace("_", " "), unit
    return key.replace("_", " "), ""


def _pair(before: Any, after: Any, unit: str) -> str:
    """Two values with their unit, once where both are numbers."""
    one, other = _value(before), _value(after)
    gap = "" if unit == "°" else " "
    end = f"{gap}{unit}" if unit else ""
    if before is None:
        return f"none → {other}{end}"
    if after is None:
        return f"{one}{end} → none"
    return f"{one} → {other}{end}"


def _value(value: Any) -> str:
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return ", ".join(f"{_name(str(key))[0]} {_value(one)}" for key, one in value.items()) or "empty"
    if _is_list(value):
        return _count(len(value))
    if isinstance(value, float):
        return f"{value:.10g}"
    return _moment(value) if isinstance(value, str) and _MOMENT.fullmatch(value) else str(value)


def _moment(text: str) -> str:
    """A time as people read it; one without its distance from UTC is left as it is."""
    then = datetime.fromisoformat(text)
    return text if then.tzinfo is None else f"{then.astimezone(UTC):%Y-%m-%d %H:%M} UTC"


def _count(count: int) -> str:
    return "1 entry" if count == 1 else f"{count} entries"


def _is_list(value: Any) -> bool:
    return isinstance(value, Sequence) and not isinstance(value, str)
