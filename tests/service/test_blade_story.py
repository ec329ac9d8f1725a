"""The wear of a blade from cuts that are added up by the hour is what the entries say one by one."""

from __future__ import annotations

import random
from datetime import timedelta
from typing import Any

import pytest

from service.store import audits, story
from service.store.cut_sums import hour_of
from service.store.database import connected, database
from service.store.models import CutSum, Event
from tests.service.shop import NOW, Service, Station, machine


def told(service: Service, days: int = 20, blade: str = "bench-3m") -> dict[str, Any]:
    answer = service.get(f"/wear/blades/{blade}", "report", query_string={"days": days})
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json
    return found


def one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let every hour be read as if something else had happened within it."""
    real = story.cuts_of

    def reading(of: str, exact: Any, since: int = 0) -> Any:
        hours = {
            hour_of(Event.corrected_at.python_value(at))
            for (at,) in database.execute_sql("SELECT corrected_at FROM event WHERE state = 'applied'")
        }
        CutSum.update(strokes=10**6).execute()
        return real(of, exact | hours, since)

    monkeypatch.setattr(story, "cuts_of", reading)


def close(one: Any, other: Any) -> None:
    """The same to the last digits, which follow from the order in which figures are added."""
    if isinstance(one, dict):
        assert one.keys() == other.keys()
        for name, value in one.items():
            close(value, other[name])
    elif isinstance(one, list):
        assert len(one) == len(other)
        for value, beside in zip(one, other, strict=True):
            close(value, beside)
    elif isinstance(one, float):
        assert one == pytest.approx(other, rel=1e-9)
    else:
        assert one == other


def month(chance: random.Random, station: Station) -> list[dict[str, Any]]:
    """A month at a machine, told of in no order: cuts, turns, measurements, and some of them withdrawn."""
    events = []
    for number in range(220):
        at = NOW - timedelta(minutes=chance.randrange(30 * 24 * 60))
        stamp = {"happened_at": at.isoformat()}
        kind = chance.random()
        if kind < 0.88:
            event = station.cut(
                **stamp,
                material=chance.choice(["S235JR", "DC01", "no such grade"]),
                thickness_mm=chance.choice([1, 3, 6]),
                cut_length_mm=chance.choice([300, 1200, 2950]),
                start_mm=chance.choice([None, 0, 100, 1500]),
                strokes=chance.randint(1, 9),
                equivalent_m=chance.randint(1, 4000) / 1000,
                **({"blade_edge": chance.randint(1, 4)} if chance.random() < 0.2 else {}),
            )
        elif kind < 0.94:
            work = chance.choice(["turned", "turned", "turned", "reground", "replaced"])
            turn = {"machine": "bench-3m", "edge": chance.randint(1, 4), "work": work}
            event = station.write("blade.turned", turn, **stamp)
        else:
            measured = {"machine": "bench-3m", "radius_um": float(chance.randint(10, 90))}
            event = station.write("edge.measured", measured, **stamp)
        events.append(event)
        if number % 12 == 11:
            gone = chance.choice([one for one in events if one["type"] != "log.withdrawn"])
            withdrawal = {"event_id": gone["event_id"], "reason": "wrong"}
            events.append(station.write("log.withdrawn", withdrawal, **stamp))
    return events


@pytest.mark.parametrize("seed", range(3))
def test_added_up_and_one_by_one_tell_the_same(
    service: Service, station: Station, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    chance = random.Random(seed)
    events = month(chance, station)
    begun = 0
    while begun < len(events):
        end = begun + chance.randint(1, 60)
        assert service.push(events[begun:end]).status_code == 200
        begun = end
    with connected():
        assert audits.audit() == []
    asked = (1, 5, 20, 400)
    sums = [told(service, days) for days in asked]
    with connected():
        one_by_one(monkeypatch)
    for added_up, days in zip(sums, asked, strict=True):
        close(added_up, told(service, days))


def test_cuts_of_quiet_hours_are_not_read_one_by_one(service: Service, station: Station) -> None:
    events = [station.cut(happened_at=f"2026-02-{day:02}T08:15:00Z", equivalent_m=1) for day in range(1, 20)]
    service.push(events)
    with connected():
        found = list(story.cuts_of("bench-3m", {hour_of(NOW)}))
        assert [(one.events, one.strokes, one.equivalent_m) for one in found] == [(19, 76, 19)]
    # What was read one by one would be found here.
    with connected():
        Event.update(document={"payload": {}}).where(Event.type == "cuts.made").execute()
    assert told(service, days=5)["use"]["metres"] == pytest.approx(19 * 4 * 0.3)


def test_a_turn_that_is_told_of_late_divides_the_cuts_of_its_hour(service: Service, station: Station) -> None:
    cuts = [
        station.cut(happened_at=f"2026-03-02T09:{minute:02}:00Z", strokes=minute) for minute in (10, 20, 40)
    ]
    service.push(cuts)
    assert told(service)["use"]["metres"] == pytest.approx(70 * 0.3)
    turn = {"machine": "bench-3m", "edge": 2, "work": "turned"}
    late = station.write("blade.turned", turn, happened_at="2026-03-02T09:30:00Z")
    service.push([late])
    assert told(service)["use"]["metres"] == pytest.approx(40 * 0.3)
    service.push([station.write("log.withdrawn", {"event_id": late["event_id"], "reason": "wrong day"})])
    assert told(service)["use"]["metres"] == pytest.approx(70 * 0.3)


def test_a_cut_that_a_person_put_right_counts_in_its_hour(service: Service, station: Station) -> None:
    wrong = station.cut(machine="nobody", happened_at="2026-03-01T08:15:00Z")
    service.push([wrong, station.cut()])
    (held,) = service.get("/sync/quarantine").json["items"]
    right = {**wrong["payload"], "machine": "bench-3m", "strokes": 7}
    service.post(f"/sync/quarantine/{held['id']}/correct", {"payload": right, "words": "bench-3m"})
    assert told(service)["use"]["metres"] == pytest.approx(11 * 0.3)
    with connected():
        assert audits.audit() == []


def test_the_story_of_one_machine_is_not_that_of_another(service: Service, station: Station) -> None:
    assert service.post("/machines", machine("bench-4m")).status_code == 201
    cuts = [
        station.cut(machine=name, strokes=strokes) for name, strokes in (("bench-3m", 1), ("bench-4m", 5))
    ]
    service.push(cuts)
    assert [told(service, blade=name)["use"]["metres"] for name in ("bench-3m", "bench-4m")] == [
        pytest.approx(0.3),
        pytest.approx(1.5),
    ]
