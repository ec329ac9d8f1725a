"""What persons decided about the events of a station, as the station is told of it."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from schemas.payloads import PAYLOADS_VERSION
from tests.service.shop import NOW, Service, Station, cuts_made, piece, sheet
from tests.service.test_attention import correct, held
from tests.service.test_steps import step_cut


@pytest.fixture
def other(service: Service) -> Station:
    """Another station of the same site."""
    service.secrets["ng-2"] = service.token("station", site="northgate", station="ng-2")
    return Station("ng-2")


def decided(service: Service, station: str = "ng-1", scope: str = "station") -> list[dict[str, Any]]:
    answer = service.get(f"/sync/stations/{station}", scope)
    assert answer.status_code == 200, answer.text
    found: list[dict[str, Any]] = answer.json["decided"]
    return found


def test_a_correction_and_a_dismissal_are_told_with_who_when_and_why(
    service: Service, station: Station, other: Station
) -> None:
    service.push([station.write("cuts.made", cuts_made(strokes=-1)) for _ in range(2)])
    assert decided(service) == []
    first, second = held(service)
    service.clock.now += timedelta(hours=1)
    correct(service, first["id"], payload=cuts_made(strokes=5))
    service.clock.now += timedelta(hours=1)
    service.post(f"/sync/quarantine/{second['id']}/dismiss", {"words": "logged twice"})
    newest, older = decided(service)
    assert (newest["kind"], newest["outcome"], newest["seq"]) == ("dismissed", "dismissed", 2)
    assert (newest["by"], newest["words"]) == ("admin", "logged twice")
    assert (older["kind"], older["outcome"], older["seq"]) == ("corrected", "applied", 1)
    assert older["at"] == (NOW + timedelta(hours=1)).isoformat()
    assert older["epoch"] == station.epoch
    assert (older["about"], older["counted"]) == (None, None)
    assert decided(service, "ng-2", "ng-2") == []
    service.clock.now += timedelta(days=91)
    assert decided(service) == [], "the station has dropped the entries by then"


def test_a_settled_discrepancy_is_told_to_the_station_that_noted_it(
    service: Service, station: Station, other: Station
) -> None:
    service.post("/stock", sheet("LAST", quantity=1))
    service.push([station.write("stock.taken", {**piece(), "ref": "LAST"})])
    service.push([other.write("stock.taken", {**piece(), "ref": "LAST"})], "ng-2")
    (open_one,) = service.get("/sync/discrepancies", "plan").json["items"]
    assert decided(service, "ng-2", "ng-2") == []
    body = {"words": "one lay on an unmarked pile", "counted": 3}
    service.post(f"/sync/discrepancies/{open_one['id']}/settle", body, "plan")
    (told,) = decided(service, "ng-2", "ng-2")
    assert (told["kind"], told["seq"], told["counted"]) == ("settled", 1, 3)
    assert told["about"] == "stock short: northgate/LAST: taken 1, on the books 0"
    assert (told["by"], told["words"]) == ("plan", body["words"])
    assert decided(service) == []


def test_a_step_cut_too_often_is_told_to_every_station_that_cut_it(
    service: Service, station: Station, other: Station
) -> None:
    service.push([step_cut(station)])
    service.push([step_cut(other)], "ng-2")
    (open_one,) = service.get("/sync/discrepancies", "plan").json["items"]
    service.post(f"/sync/discrepancies/{open_one['id']}/settle", {"words": "four were spoiled"}, "plan")
    for name, scope in (("ng-1", "station"), ("ng-2", "ng-2")):
        (told,) = decided(service, name, scope)
        assert told["about"].startswith("step over: northgate/plan ")
        assert told["seq"] == 1


def test_what_a_station_withdrew_itself_is_no_decision_of_the_centre(
    service: Service, station: Station
) -> None:
    cut = station.cut()
    service.push([cut])
    gone = station.write("log.withdrawn", {"event_id": cut["event_id"], "reason": "wrong plan"})
    assert service.push([gone]).json["results"][0]["state"] == "applied"
    assert decided(service) == []


def test_the_newest_are_told_where_there_are_many(
    service: Service, station: Station, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("service.api.sync.MOST_DECIDED", 2)
    service.push([station.write("cuts.made", cuts_made(strokes=-1)) for _ in range(3)])
    for one in held(service):
        service.clock.now += timedelta(minutes=1)
        service.post(f"/sync/quarantine/{one['id']}/dismiss", {"words": "no"})
    assert [one["seq"] for one in decided(service)] == [3, 2]


def test_the_centre_tells_which_events_it_knows(service: Service) -> None:
    assert service.get("/sync/stations/ng-1", "station").json["payloads_version"] == PAYLOADS_VERSION
