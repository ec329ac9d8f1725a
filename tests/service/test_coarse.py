"""Reports from coarser sums say to the last figure what the sums of days say."""

from __future__ import annotations

import random
import threading
from datetime import date, timedelta
from itertools import combinations
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.store import audits, reports
from service.store.coarse import GRAINS
from service.store.database import connected
from service.store.models import MachineTally, MonthTally, Tally
from service.store.spans import Span, spans
from tests.service.shop import Service, Station, cuts_made, piece

DAYS = st.dates(date(2023, 11, 1), date(2025, 3, 1))
ASKED = st.sets(
    st.sampled_from(["site", "machine", "material", "thickness_band", "reason", "day", "week", "month"])
)


def held(span: Span, day: date) -> bool:
    text = f"{day:%Y-%m}" if span.table is MonthTally else day.isoformat()
    return (span.first is None or span.first <= text) and (span.last is None or text <= span.last)


@given(asked=ASKED, bounds=st.tuples(st.none() | DAYS, st.none() | DAYS))
def test_every_day_is_held_by_one_span_and_no_other_day_is(
    asked: set[str], bounds: tuple[date | None, date | None]
) -> None:
    first, last = bounds
    if first is not None and last is not None and first > last:
        first, last = last, first
    found = spans(asked, first, last)
    day = date(2023, 9, 1)
    while day < date(2025, 6, 1):
        wanted = (first is None or first <= day) and (last is None or day <= last)
        assert [held(span, day) for span in found].count(True) == wanted
        day += timedelta(days=1)
    if asked & {"material", "thickness_band", "reason"}:
        assert not any(span.table is MachineTally for span in found)
    if asked & {"day", "week"}:
        assert not any(span.table is MonthTally for span in found)


@pytest.mark.parametrize("day", [date.min, date.max, date(9999, 12, 1), date(1, 1, 2)])
def test_the_ends_of_the_calendar_are_days_like_others(day: date) -> None:
    assert spans({"material"}, day, day)
    assert spans({"material"}, day, None)
    assert spans({"material"}, None, day)


@pytest.fixture
def busy(service: Service) -> Service:
    """Half a year of two machines, written down in no order of days."""
    chance, station = random.Random(7), Station()
    events = []
    for _ in range(400):
        day = date(2025, 10, 1) + timedelta(days=chance.randrange(150))
        at = {"happened_at": f"{day.isoformat()}T{chance.randrange(24):02}:30:00Z"}
        common = {
            "machine": "bench-3m",
            "material": chance.choice(["S235JR", "DC01"]),
            "thickness_mm": chance.choice([1, 3, 6]),
        }
        kind = chance.random()
        if kind < 0.5:
            made = cuts_made(**common, strokes=chance.randint(1, 9), equivalent_m=chance.random())
            events.append(station.write("cuts.made", made, **at))
        elif kind < 0.8:
            scrap = {**piece(**common, mass_kg=chance.random()), "reason": chance.choice(["trim", "burr"])}
            events.append(station.write("scrap.made", {**scrap, "was_made": chance.random() < 0.3}, **at))
        else:
            events.append(station.write("stock.taken", {**piece(**common), "ref": "SH-A"}, **at))
    for event in events[:20]:
        station_events = station.write(
            "log.withdrawn",
            {"event_id": event["event_id"], "reason": "twice"},
            happened_at="2026-03-01T09:00:00Z",
        )
        events.append(station_events)
    answer = service.push(events)
    assert answer.status_code == 200
    assert {one["state"] for one in answer.json["results"]} == {"applied"}
    return service


def test_coarse_and_fine_reports_agree(busy: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    bounds = [
        (None, None),
        (date(2025, 11, 1), date(2026, 1, 31)),
        (date(2025, 10, 17), date(2026, 1, 9)),
        (date(2025, 12, 3), date(2025, 12, 20)),
        (None, date(2025, 11, 30)),
        (date(2025, 11, 2), None),
    ]
    names = ("site", "machine", "material", "thickness_band", "day", "week", "month")
    asked: list[tuple[str, ...]] = [(), *((name,) for name in names), *combinations(names, 2), names[:4]]

    def told() -> list[Any]:
        return [
            reports.report(name, [*by, *also], from_day=first, to_day=last, only=only)
            for name in reports.REPORTS
            for by in asked
            for also in ([], ["reason"] if name == "scrap" else [])
            for first, last in bounds
            for only in ({}, {"site": "northgate", "material": "DC01"})
        ]

    with connected():
        coarse = told()
        monkeypatch.setattr(reports, "spans", lambda asked, first, last: [_by_days(first, last)])
        assert told() == coarse
    assert sum(map(bool, coarse)) > 500


def test_a_report_tells_one_state_although_others_write_between_its_spans(
    busy: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    station = Station("ng-1")
    january, february = "2026-01-15T10:00:00Z", "2026-02-15T10:00:00Z"
    old = station.cut(happened_at=january, strokes=5)
    busy.push([old])
    moved = [
        station.write("log.withdrawn", {"event_id": old["event_id"], "reason": "of another day"}),
        station.cut(happened_at=february, strokes=5),
    ]
    query, asked = reports._query, list[str]()

    def interrupted(*given: Any) -> Any:
        asked.append("a span")
        if len(asked) == 2:
            # In a thread, as a request that is answered by another connection.
            other = threading.Thread(target=busy.push, args=[moved])
            other.start()
            other.join()
        return query(*given)

    def strokes() -> list[int]:
        rows = reports.report("wear", ["site"], from_day=date(2026, 1, 10), to_day=date(2026, 2, 28))
        return [row["strokes"] for row in rows]

    with connected():
        before = strokes()
        monkeypatch.setattr(reports, "_query", interrupted)
        assert strokes() == before
        assert len(asked) > 1
        # Both were written, and came to the same in the end.
        assert strokes() == before
        assert audits.audit() == []


def _by_days(first: date | None, last: date | None) -> Span:
    return Span(Tally, first and first.isoformat(), last and last.isoformat())


@pytest.mark.parametrize("grain", GRAINS, ids=lambda grain: grain.name)
def test_the_audit_finds_a_coarse_sum_that_is_wrong_and_one_that_is_too_many(
    busy: Service, grain: Any
) -> None:
    with connected():
        assert audits.audit() == []
        row = grain.table.select().order_by(grain.table.id).get()
        grain.table.update(strokes=grain.table.strokes + 1).where(grain.table.id == row.id).execute()
        [found] = audits.audit()
        assert (found.measure, found.kept - found.counted, found.key.day) == ("strokes", 1, row.day)
        grain.table.update(day="2031-01", strokes=row.strokes).where(grain.table.id == row.id).execute()
        assert {one.key.day for one in audits.audit()} == {row.day, "2031-01"}


def test_a_rebuild_puts_them_right(busy: Service) -> None:
    with connected():
        MonthTally.delete().execute()
        MachineTally.update(parts=0).execute()
        assert audits.audit() != []
        assert audits.mend() != []
        assert audits.audit() == []
