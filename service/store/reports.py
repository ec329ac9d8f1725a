"""Reports from the roll-ups: scrap, yield, wear, throughput, by what is asked for."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from functools import lru_cache, reduce
from operator import add, or_
from typing import Any, Final

from peewee import SQL, fn

from service.store import records, tally
from service.store.database import database
from service.store.models import Tally
from service.store.spans import Span, spans

BANDS: Final = (100, 300, 600, 1000, 1600, 2500)
"""Upper ends of the thickness bands, in hundredths of a millimetre."""

_Sums = Mapping[str, int]


def _kg(mg: int) -> float:
    return mg / 1_000_000


def _share(part: float, whole: float) -> float | None:
    return part / whole if whole else None


def _scrap(sums: _Sums) -> dict[str, Any]:
    return {
        "scrap_pieces": sums["scrap_pieces"],
        "scrap_kg": _kg(sums["scrap_mg"]),
    }


MORE_THAN_TAKEN: Final = (
    "more came out than was taken: it was taken in another row, or the log is wrong; "
    "look at the discrepancies and for steps logged twice"
)

SPOILED_WITHOUT: Final = (
    "more parts were spoiled than made: they were made in another row, or their step was withdrawn and "
    "the entries of spoiled parts still count; look at the entries of the step"
)

_ROUNDING_MG: Final = 100_000
"""What rounded masses may come to in a row, besides a thousandth of what was taken."""


def _yield(sums: _Sums) -> dict[str, Any]:
    used = sums["taken_mg"] - sums["offcut_mg"]
    beyond = sums["parts_mg"] + sums["scrap_mg"] - used
    spoiled_without = sums["parts"] < 0
    return {
        "taken_kg": _kg(sums["taken_mg"]),
        "offcuts_kept_kg": _kg(sums["offcut_mg"]),
        "parts": sums["parts"],
        "parts_kg": _kg(sums["parts_mg"]),
        "scrap_kg": _kg(sums["scrap_mg"]),
        "yield": _share(sums["parts_mg"], used) if used > 0 and not spoiled_without else None,
        "unaccounted_kg": _kg(-beyond),
        "remark": SPOILED_WITHOUT if spoiled_without else _more_than_taken(beyond, sums["taken_mg"]),
    }


def _more_than_taken(beyond: int, taken: int) -> str | None:
    return MORE_THAN_TAKEN if beyond > _ROUNDING_MG + taken // 1000 else None


def _wear(sums: _Sums) -> dict[str, Any]:
    return {
        "strokes": sums["strokes"],
        "cut_m": sums["cut_hundredths"] / 100_000,
        "equivalent_m": sums["equivalent_mm"] / 1000,
    }


def _throughput(sums: _Sums) -> dict[str, Any]:
    hours = sums["milliseconds"] / 3_600_000
    return {
        "parts": sums["parts"],
        "parts_kg": _kg(sums["parts_mg"]),
        "strokes": sums["strokes"],
        "hours": hours,
        # Of parts and hours alike only what was written down with a time. Parts that were spoiled
        # later took their time too, so the rate has them; without a part that was timed there is none.
        "parts_timed": sums["parts_timed"],
        "parts_per_hour": _share(sums["parts_timed"], hours) if sums["parts_timed"] else None,
        "remark": SPOILED_WITHOUT if sums["parts"] < 0 else None,
    }


REPORTS: Final[dict[str, Callable[[_Sums], dict[str, Any]]]] = {
    "scrap": _scrap,
    "yield": _yield,
    "wear": _wear,
    "throughput": _throughput,
}

_RELEVANT: Final = {
    "scrap": ("scrap_pieces",),
    "yield": ("taken_mg", "offcut_mg", "parts_mg", "scrap_mg"),
    "wear": ("strokes",),
    "throughput": ("strokes", "parts"),
}
"""A row without any of these has nothing to say and is left out."""


_MEASURES: Final = {
    "scrap": ("scrap_pieces", "scrap_mg"),
    "yield": ("taken_mg", "offcut_mg", "parts", "parts_mg", "scrap_mg"),
    "wear": ("strokes", "cut_hundredths", "equivalent_mm"),
    "throughput": ("parts", "parts_mg", "parts_timed", "strokes", "milliseconds"),
}
"""What each report is made of."""


def report(
    name: str,
    by: Sequence[str],
    *,
    from_day: date | None = None,
    to_day: date | None = None,
    only: Mapping[str, str] | None = None,
) -> list[dict[str, Any]]:
    """The rows of a report, in the order of what it is sorted by.

    Parameters
    ----------
    by
        Of ``site, machine, material, thickness_band, reason, day, week, month``.
    from_day, to_day
        Days by the clock of each site, both included.
    only
        Column to value.
    """
    only = only or {}
    labels = list(dict.fromkeys(_COLUMNS[dimension][0] for dimension in by))
    measures = _MEASURES[name]
    places = [(labels.index(_COLUMNS[dimension][0]), _SORTED_AS.get(dimension)) for dimension in by]
    groups: dict[tuple[Any, ...], Sequence[int]] = {}
    # All spans of one state: what is moved from a day of one to a day of another counts once.
    with tally.one_state():
        found = [
            row
            for span in spans({*by, *only}, from_day, to_day)
            for row in database.execute(_query(span, by, only, measures)).fetchall()
        ]
    for row in found:
        key = tuple([row[place] if read is None else read(row[place]) for place, read in places])
        values = list(map(int, row[len(labels) :]))
        so_far = groups.get(key)
        groups[key] = values if so_far is None else list(map(add, so_far, values))
    figures = REPORTS[name]
    shown: list[Callable[[Any], Any]] = [_SHOWN_AS.get(dimension, _as_it_is) for dimension in by]
    rows = []
    for key in sorted(groups):
        sums = dict(zip(measures, groups[key], strict=True))
        if any(sums[measure] for measure in _RELEVANT[name]):
            said = {dimension: show(value) for dimension, show, value in zip(by, shown, key, strict=True)}
            rows.append(said | figures(sums))
    return rows


def _query(span: Span, by: Sequence[str], only: Mapping[str, str], measures: Sequence[str]) -> Any:
    """Sums of a table by no more than was asked for, so that few rows come here."""
    table = span.table
    columns = {_COLUMNS[dimension][0]: _COLUMNS[dimension][1](table) for dimension in by}
    sums = [fn.SUM(getattr(table, measure)) for measure in measures]
    query: Any = table.select(*(column.alias(label) for label, column in columns.items()), *sums)
    query = query.group_by(*(SQL(label) for label in columns))
    if span.first is not None:
        query = query.where(table.day >= span.first)
    if span.last is not None:
        query = query.where(table.day <= span.last)
    for column, value in only.items():
        query = query.where(getattr(table, column) == value)
    # A row that has nothing of this report need not be added up.
    return query.where(reduce(or_, (getattr(table, measure) != 0 for measure in measures)))


def _as_it_is(value: Any) -> Any:
    return value


def band(thickness: int) -> int:
    """The band of a thickness, as its place among them.

    >>> [band_name(band(thickness)) for thickness in (100, 600, 601, 2501)]
    ['up to 1 mm', 'over 3 to 6 mm', 'over 6 to 10 mm', 'over 25 mm']
    """
    return bisect_left(BANDS, thickness)


def band_name(place: int) -> str:
    """The name of the band at a place."""
    ends = [end // 100 for end in BANDS]
    if place == len(ends):
        return f"over {ends[-1]} mm"
    return f"over {ends[place - 1]} to {ends[place]} mm" if place else f"up to {ends[0]} mm"


@lru_cache(10_000)
def _week(day: str) -> str:
    year, week, _ = date.fromisoformat(day).isocalendar()
    return f"{year}-W{week:02d}"


_SORTED_AS: Final[dict[str, Callable[[Any], Any]]] = {"thickness_band": band, "week": _week}
"""What rows are told apart and sorted by, where it is not what the column says."""

_SHOWN_AS: Final[dict[str, Callable[[Any], str]]] = {"thickness_band": band_name}
"""How that is shown, where it is not shown as it is."""

_COLUMNS: Final[dict[str, tuple[str, Callable[[type[Tally]], Any]]]] = {
    "site": ("site", lambda table: table.site),
    "machine": ("machine", lambda table: table.machine),
    "material": ("material", lambda table: table.material),
    "reason": ("reason", lambda table: table.reason),
    "thickness_band": ("thickness", lambda table: table.thickness),
    "day": ("day", lambda table: table.day),
    "week": ("day", lambda table: table.day),
    "month": ("month", lambda table: fn.SUBSTR(table.day, 1, 7)),
}
"""By what the database adds up for each dimension: a label, and the column."""


def known_place(column: str, name: str) -> bool:
    """Whether a site or machine has a record, or had one, or is named in the sums."""
    if records.find(column, name, deleted_too=True) is not None:
        return True
    return bool(Tally.select().where(getattr(Tally, column) == name).exists())
