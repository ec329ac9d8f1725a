"""Programs saved at a station: the newest stands, a stale one becomes a visible copy."""

from __future__ import annotations

from typing import Any

import pytest

from service.store import tokens
from service.store.database import connected
from tests.service.shop import NOW, Service, Station, states


def program(revision: int, gauge: float = 300, **changes: Any) -> dict[str, Any]:
    return {
        "program_id": "flange-a",
        "name": "Flange A",
        "machine": "bench-3m",
        "material": "S235JR",
        "thickness_mm": 3,
        "cut_length_mm": 2500,
        "steps": [{"gauge_mm": gauge}],
        "based_on_revision": revision,
        **changes,
    }


def test_a_program_based_on_an_old_revision_becomes_a_visible_copy(
    service: Service, station: Station
) -> None:
    service.push([station.write("program.saved", program(0))])
    kept = service.get("/programs/flange-a")
    assert kept.headers["ETag"] == '"1"'
    changed = {**kept.json, "steps": [{"gauge_mm": 310}]}
    assert service.put("/programs/flange-a", changed, headers={"If-Match": '"1"'}).status_code == 200
    stale = station.write("program.saved", program(1, 305))
    assert states(service.push([stale])) == ["applied"]
    listed = service.get("/programs").json["items"]
    assert [one["steps"][0]["gauge_mm"] for one in listed] == [310, 305]
    assert listed[1]["copy_of"] == "flange-a"
    assert "copy from ng-1" in listed[1]["name"]


def test_a_copy_of_a_program_with_the_longest_names_keeps_the_contract(
    service: Service, station: Station
) -> None:
    longest = {"program_id": "p" * 100, "name": "n" * 200}
    service.push([station.write("program.saved", program(0, **longest))])
    kept = service.get(f"/programs/{'p' * 100}")
    changed = {**kept.json, "steps": [{"gauge_mm": 310}]}
    assert service.put(f"/programs/{'p' * 100}", changed, headers={"If-Match": '"1"'}).status_code == 200
    service.push([station.write("program.saved", program(1, 305, **longest))])
    copy = next(one for one in service.get("/programs").json["items"] if one["copy_of"] is not None)
    assert len(copy["id"]) <= 100
    assert len(copy["name"]) <= 200
    assert copy["name"].endswith("(copy from ng-1, revision 1)")
    # So it can be taken up at a bench and in the office like any other.
    again = station.write("program.saved", program(1, 306, program_id=copy["id"], name=copy["name"]))
    assert states(service.push([again])) == ["applied"]
    found = service.get(f"/programs/{copy['id']}")
    answer = service.put(f"/programs/{copy['id']}", found.json, headers={"If-Match": found.headers["ETag"]})
    assert answer.status_code == 200


@pytest.mark.parametrize("name", [".", ".."])
def test_a_program_under_a_name_that_is_no_address_is_refused(
    service: Service, station: Station, name: str
) -> None:
    assert states(service.push([station.write("program.saved", program(0, program_id=name))])) == [
        "quarantined"
    ]
    document = {
        key: value for key, value in program(0).items() if key not in {"program_id", "based_on_revision"}
    }
    answer = service.post("/programs", {**document, "id": name})
    assert answer.status_code == 422
    assert answer.json["errors"][0]["pointer"] == "/id"


def test_a_stations_own_changes_in_a_row_are_no_conflict(service: Service, station: Station) -> None:
    saved = [station.write("program.saved", program(0, gauge)) for gauge in (300, 301, 302)]
    service.push(saved)
    (one,) = service.get("/programs").json["items"]
    assert one["steps"][0]["gauge_mm"] == 302


@pytest.mark.parametrize("name", ["planner", "station ng-1"])
def test_what_a_person_of_any_name_saved_is_not_taken_for_the_station_s_own(
    service: Service, station: Station, name: str
) -> None:
    with connected():
        secret = tokens.make(name, ["plan"], now=NOW)[1]
    service.push([station.write("program.saved", program(0))])
    kept = service.get("/programs/flange-a")
    changed = {**kept.json, "steps": [{"gauge_mm": 222}]}
    etag = kept.headers["ETag"]
    assert service.put("/programs/flange-a", changed, secret, headers={"If-Match": etag}).status_code == 200
    # The station has not seen that yet: both stay, side by side.
    service.push([station.write("program.saved", program(1, 305))])
    assert service.get("/programs/flange-a").json["steps"][0]["gauge_mm"] == 222
    assert len(service.get("/programs").json["items"]) == 2
