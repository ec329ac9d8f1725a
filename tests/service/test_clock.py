"""Days by the clock on the wall of a site, whatever the zone does and whatever the station's clock says.

When clocks change is checked against the law, not against our own code: in the United Kingdom summer
time begins on the last Sunday of March and ends on the last Sunday of October, each at 01:00 UTC
(Summer Time Act 1972 as amended by the Summer Time Order 2002). India is at UTC+05:30 all year
(Indian Standard Time); Lord Howe Island moves by half an hour, from UTC+10:30 to UTC+11:00, on the
first Sunday of October at 02:00 standard time (Standard Time Act 1987 (NSW), section 3; date from
memory of the section, offsets as in the IANA tz database).
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from service.store import audits
from service.store.database import connected
from service.store.models import Event
from tests.service.shop import NOW, Service, Station, machine


def days(service: Service, name: str) -> list[tuple[str, int]]:
    query = {"by": "day", "machine": name}
    rows = service.get("/reports/throughput", query_string=query).json["rows"]
    return [(row["day"], row["parts"]) for row in rows]


@pytest.mark.parametrize(
    ("happened_at", "day"),
    [
        # Winter: the day of London is the day of UTC.
        ("2026-03-28T23:59:59Z", "2026-03-28"),
        ("2026-03-29T00:00:00Z", "2026-03-29"),
        # Sunday 2026-03-29, 01:00 UTC: the clocks go to 02:00. That day has 23 hours.
        ("2026-03-29T00:59:59Z", "2026-03-29"),
        ("2026-03-29T01:00:00Z", "2026-03-29"),
        ("2026-03-29T22:59:59Z", "2026-03-29"),
        ("2026-03-29T23:00:00Z", "2026-03-30"),
        # Sunday 2026-10-25, 01:00 UTC: 02:00 becomes 01:00 again. That day has 25 hours.
        ("2026-10-24T22:59:59Z", "2026-10-24"),
        ("2026-10-24T23:00:00Z", "2026-10-25"),
        ("2026-10-25T00:30:00Z", "2026-10-25"),
        ("2026-10-25T01:30:00Z", "2026-10-25"),
        ("2026-10-25T23:59:59Z", "2026-10-25"),
        ("2026-10-26T00:00:00Z", "2026-10-26"),
        # The same moment, as a station writes it with the offset of its wall.
        ("2026-03-30T00:00:00+01:00", "2026-03-30"),
        ("2026-10-25T01:30:00+01:00", "2026-10-25"),
    ],
)
def test_a_day_in_london(small: Service, station: Station, happened_at: str, day: str) -> None:
    small.clock.now = NOW + timedelta(days=300)
    small.push([station.cut(happened_at=happened_at)])
    assert days(small, "bench-3m") == [(day, 4)]


@pytest.mark.parametrize(
    ("zone", "happened_at", "day"),
    [
        ("Asia/Kolkata", "2026-06-01T18:29:59Z", "2026-06-01"),
        ("Asia/Kolkata", "2026-06-01T18:30:00Z", "2026-06-02"),
        ("Australia/Lord_Howe", "2026-10-03T13:29:59Z", "2026-10-03"),
        ("Australia/Lord_Howe", "2026-10-03T13:30:00Z", "2026-10-04"),
        ("Australia/Lord_Howe", "2026-10-04T12:59:59Z", "2026-10-04"),
        ("Australia/Lord_Howe", "2026-10-04T13:00:00Z", "2026-10-05"),
        # IANA tz database, northamerica: rule Cuba, second Sunday of March 0:00 to 1:00, that day has no
        # midnight; first Sunday of November 0:00 standard time, its first hour comes twice.
        ("America/Havana", "2026-03-08T04:59:59Z", "2026-03-07"),
        ("America/Havana", "2026-03-08T05:00:00Z", "2026-03-08"),
        ("America/Havana", "2026-03-09T03:59:59Z", "2026-03-08"),
        ("America/Havana", "2026-03-09T04:00:00Z", "2026-03-09"),
        ("America/Havana", "2026-11-01T03:59:59Z", "2026-10-31"),
        ("America/Havana", "2026-11-01T04:00:00Z", "2026-11-01"),
        ("America/Havana", "2026-11-01T05:00:00Z", "2026-11-01"),
        ("America/Havana", "2026-11-02T04:59:59Z", "2026-11-01"),
        ("America/Havana", "2026-11-02T05:00:00Z", "2026-11-02"),
        # The same, africa: rule Egypt, last Friday of April 0:00 to 1:00; last Thursday of October 24:00 to
        # 23:00, so the last hour of that day comes twice.
        ("Africa/Cairo", "2026-04-23T21:59:59Z", "2026-04-23"),
        ("Africa/Cairo", "2026-04-23T22:00:00Z", "2026-04-24"),
        ("Africa/Cairo", "2026-10-29T21:00:00Z", "2026-10-29"),
        ("Africa/Cairo", "2026-10-29T21:59:59Z", "2026-10-29"),
        ("Africa/Cairo", "2026-10-29T22:00:00Z", "2026-10-30"),
    ],
)
def test_a_day_where_clocks_change_by_half_an_hour_or_at_midnight(
    small: Service, zone: str, happened_at: str, day: str
) -> None:
    small.post("/sites", {"id": "half", "name": "Half", "time_zone": zone})
    small.post("/machines", machine("half-3m", "half"))
    small.secrets["half"] = small.token("station", site="half", station="h-1")
    small.clock.now = NOW + timedelta(days=300)
    cut = Station("h-1").cut(machine="half-3m", happened_at=happened_at)
    assert small.push([cut], "half").status_code == 200
    assert days(small, "half-3m") == [(day, 4)]


def test_the_23_and_the_25_hours_of_a_change_are_each_one_day(service: Service, station: Station) -> None:
    """An event every half hour through both weekends: each day has the events of its own hours."""
    service.clock.now = NOW + timedelta(days=300)
    events = []
    for first in ("2026-03-28", "2026-10-24"):
        start = NOW.fromisoformat(f"{first}T00:00:00+00:00")
        moments = [start + timedelta(minutes=30 * step) for step in range(3 * 48)]
        events += [station.cut(happened_at=moment.isoformat()) for moment in moments]
    assert service.push(events).status_code == 200
    # London, to the half hour: the first and the last of these days are cut by the ends of the run.
    assert [(day, parts // 4 / 2) for day, parts in days(service, "bench-3m")] == [
        ("2026-03-28", 24),
        ("2026-03-29", 23),
        ("2026-03-30", 24),
        ("2026-03-31", 1),
        ("2026-10-24", 23),
        ("2026-10-25", 25),
        ("2026-10-26", 24),
    ]
    with connected():
        assert audits.audit() == []


@pytest.mark.parametrize(
    ("ahead", "day"),
    [
        (timedelta(0), "2026-03-02"),
        (timedelta(seconds=2), "2026-03-02"),
        (timedelta(hours=13), "2026-03-01"),
        (timedelta(hours=-13), "2026-03-02"),
        (timedelta(days=-400), "2027-04-06"),
    ],
)
def test_a_clock_that_is_off_is_measured_and_reports_use_the_corrected_time(
    service: Service, station: Station, ahead: timedelta, day: str
) -> None:
    event = station.cut(happened_at="2026-03-02T10:00:00Z")
    sent_at = (service.clock.now + ahead).isoformat()
    service.push([event], sent_at=sent_at)
    assert days(service, "bench-3m") == [(day, 4)]
    with connected():
        row: Any = Event.get()
        assert row.document == event
        off = ahead if abs(ahead) > timedelta(seconds=2) else timedelta(0)
        assert row.corrected_at == NOW.fromisoformat("2026-03-02T10:00:00+00:00") - off
        assert row.clock_ahead_ms == ahead / timedelta(milliseconds=1)


def test_each_exchange_measures_anew(service: Service, station: Station) -> None:
    """A clock that was put right between two pushes: what came before stays as it was reckoned."""
    service.push([station.cut(happened_at="2026-03-03T10:00:00Z")], sent_at="2026-03-03T12:00:00Z")
    service.push([station.cut(happened_at="2026-03-02T11:00:00Z")], sent_at="2026-03-02T12:00:00Z")
    assert days(service, "bench-3m") == [("2026-03-02", 8)]
    told = service.get("/sync/stations/ng-1", "station").json["epochs"][0]
    assert told["clock_ahead_ms"] == 0
