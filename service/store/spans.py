"""Which sums a report adds up: coarse ones as far as they tell enough, those of days for the rest."""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass
from datetime import date, timedelta

from service.store.models import MachineTally, MonthTally, Tally

_OF_MACHINE = frozenset({"site", "machine", "day", "week", "month"})
_WITHIN_MONTHS = frozenset({"day", "week"})


@dataclass(frozen=True, slots=True)
class Span:
    """Rows of a table whose `day` lies from `first` to `last`, both included; None: no bound."""

    table: type[Tally]
    first: str | None
    last: str | None


def spans(asked: Set[str], from_day: date | None, to_day: date | None) -> list[Span]:
    """Where the sums of a report come from; together they hold every day of it once.

    Parameters
    ----------
    asked
        All that the report is sorted by or kept to.

    >>> [(span.table.__name__, span.first, span.last)
    ...  for span in spans({"material"}, date(2025, 1, 15), date(2025, 12, 31))]
    [('Tally', '2025-01-15', '2025-01-31'), ('MonthTally', '2025-02', '2025-12')]
    """
    from_day, to_day = _within(from_day), _within(to_day)
    if asked & _WITHIN_MONTHS:
        return [_days(MachineTally if asked <= _OF_MACHINE else Tally, from_day, to_day)]
    # The whole months among them, and the days before and after these.
    first = None if from_day is None else _month_from(from_day)
    after = None if to_day is None else _month_of(to_day + timedelta(days=1))
    if first is not None and after is not None and first >= after:
        return [_days(Tally, from_day, to_day)]
    found = []
    if from_day is not None and first is not None and from_day < first:
        found.append(_days(Tally, from_day, first - timedelta(days=1)))
    last = None if after is None else after - timedelta(days=1)
    found.append(
        Span(
            MonthTally, None if first is None else f"{first:%Y-%m}", None if last is None else f"{last:%Y-%m}"
        )
    )
    if to_day is not None and after is not None and after <= to_day:
        found.append(_days(Tally, after, to_day))
    return found


def _days(table: type[Tally], first: date | None, last: date | None) -> Span:
    return Span(
        table, None if first is None else first.isoformat(), None if last is None else last.isoformat()
    )


def _within(day: date | None) -> date | None:
    """The day, or the nearest to it of a time that holds those of all events."""
    return None if day is None else min(max(day, date(1900, 1, 1)), date(2300, 12, 31))


def _month_of(day: date) -> date:
    return day.replace(day=1)


def _month_from(day: date) -> date:
    """The first day of the first month that begins on a day or after it."""
    return day if day.day == 1 else _month_of(day.replace(day=28) + timedelta(days=4))
