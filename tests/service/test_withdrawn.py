"""An entry that its station withdraws no longer counts, and is not lost."""

from __future__ import annotations

import uuid
from typing import Any

import pytest

from service.store import audits
from service.store.database import connected
from service.store.models import Event
from tests.service.shop import Service, Station, cuts_made, machine, piece, states

TURNED = {"machine": "bench-3m", "edge": 2, "work": "turned"}


def withdraw(station: Station, event: dict[str, Any], reason: str = "logged twice") -> dict[str, Any]:
    return station.write("log.withdrawn", {"event_id": event["event_id"], "reason": reason})


def audit() -> list[Any]:
    with connected():
        return audits.audit()


def sums(service: Service) -> list[Any]:
    return [
        service.get(f"/reports/{name}", query_string={"by": "machine"}).json["rows"]
        for name in ("scrap", "yield", "wear", "throughput")
    ]


def written(station: Station) -> list[dict[str, Any]]:
    return [
        station.write("stock.taken", {**piece(quantity=3), "ref": "SH-A"}),
        station.cut(),
        station.write("scrap.made", {**piece(quantity=1), "reason": "trim"}),
        station.write("offcut.stored", {**piece(length_mm=900, width_mm=500), "ref": "OC-1"}),
        station.write("edge.measured", {"machine": "bench-3m", "radius_um": 40}),
    ]


@pytest.mark.parametrize("at_once", [True, False])
def test_what_is_withdrawn_leaves_stock_blade_and_sums_as_they_were(
    service: Service, station: Station, at_once: bool
) -> None:
    service.push([station.cut(equivalent_m=2)])
    before = sums(service), service.get("/blades/bench-3m").json["used_m"]
    events = written(station)
    gone = [withdraw(station, one) for one in events]
    if at_once:
        assert set(states(service.push([*events, *gone]))) == {"applied"}
    else:
        service.push(events)
        assert sums(service) != before[0]
        assert set(states(service.push(gone))) == {"applied"}
    assert (sums(service), service.get("/blades/bench-3m").json["used_m"]) == before
    assert service.get("/stock/northgate/SH-A").json["quantity"] == 8
    assert service.get("/stock/northgate/OC-1").json["quantity"] == 0
    assert audit() == []
    with connected():
        assert Event.select().count() == 11
    (shown, *_) = service.get("/sync/quarantine", query_string={"show": "dismissed"}).json["items"]
    assert shown["event"]["event_id"] == events[0]["event_id"]
    assert shown["corrections"][0]["words"] == "logged twice"
    assert service.get("/sync/quarantine").json["items"] == []
    # The same again changes nothing.
    assert set(states(service.push([*events, *gone]))) == {"repeat"}
    assert (sums(service), service.get("/blades/bench-3m").json["used_m"]) == before


def test_an_event_is_withdrawn_once(service: Service, station: Station) -> None:
    cut = station.cut()
    first = withdraw(station, cut)
    answer = service.push([cut, first, withdraw(station, cut), withdraw(station, first)])
    assert states(answer) == ["applied", "applied", "quarantined", "quarantined"]
    assert "before" in answer.json["results"][2]["errors"][0]["message"]
    assert "a withdrawal is not withdrawn" in answer.json["results"][3]["errors"][0]["message"]
    assert audit() == []


def test_a_hash_that_fits_no_event_takes_nothing_back(service: Service, station: Station) -> None:
    cut = station.cut()
    service.push([cut])
    named = {"event_id": cut["event_id"], "reason": "x"}
    answer = service.push([station.write("log.withdrawn", {**named, "hash": "f" * 64})])
    assert states(answer) == ["quarantined"]
    assert "has that hash" in answer.json["results"][0]["errors"][0]["message"]
    assert service.get("/reports/wear", query_string={"by": "machine"}).json["rows"][0]["strokes"] == 4
    assert states(service.push([station.write("log.withdrawn", {**named, "hash": cut["hash"]})])) == [
        "applied"
    ]
    (again,) = service.push([station.write("log.withdrawn", {**named, "hash": cut["hash"]})]).json["results"]
    assert "before" in again["errors"][0]["message"]


def test_a_station_withdraws_its_own_events_only(service: Service, station: Station) -> None:
    cut = station.cut()
    service.push([cut])
    other = Station("ng-2")
    secret = service.token("station", station="ng-2", site="northgate")
    answer = service.push([withdraw(other, cut)], secret)
    assert states(answer) == ["quarantined"]
    assert "only that station may withdraw it" in answer.json["results"][0]["errors"][0]["message"]
    unknown = station.write("log.withdrawn", {"event_id": str(uuid.uuid4()), "reason": "x"})
    assert states(service.push([unknown])) == ["quarantined"]
    assert service.get("/reports/wear", query_string={"by": "machine"}).json["rows"][0]["strokes"] == 4


def test_an_edge_put_to_work_by_mistake_gives_its_cuts_to_the_edge_before(
    service: Service, station: Station
) -> None:
    cut = station.cut(equivalent_m=1)
    turn = station.write("blade.turned", TURNED)
    service.push([cut, turn, station.cut(equivalent_m=5)])
    assert service.get("/blades/bench-3m").json["used_m"] == [1, 5, 0, 0]
    service.push([withdraw(station, turn)])
    blade = service.get("/blades/bench-3m").json
    assert (blade["edge"], blade["used_m"], blade["edge_since"]) == (1, [6, 0, 0, 0], None)
    service.push([withdraw(station, cut)])
    assert service.get("/blades/bench-3m").json["used_m"] == [5, 0, 0, 0]


def test_a_regrind_that_was_none_gives_the_wear_back(service: Service, station: Station) -> None:
    first = station.cut(equivalent_m=3)
    ground = station.write("blade.turned", {**TURNED, "edge": 1, "work": "reground"})
    service.push([first, ground, station.cut(equivalent_m=1), withdraw(station, ground)])
    blade = service.get("/blades/bench-3m").json
    assert (blade["used_m"], blade["regrinds"]) == ([4, 0, 0, 0], 0)


def test_what_was_taken_beyond_the_books_is_not_put_on_them(service: Service, station: Station) -> None:
    taken = station.write("stock.taken", {**piece(quantity=4000), "ref": "SH-A"})
    service.push([taken, withdraw(station, taken, "400 too many noughts")])
    assert service.get("/stock/northgate/SH-A").json["quantity"] == 8
    assert service.get("/sync/discrepancies").json["items"] == []
    (settled,) = service.get("/sync/discrepancies", query_string={"show": "settled"}).json["items"]
    assert "400 too many noughts" in settled["words"]


def test_an_event_in_quarantine_may_be_withdrawn_too(service: Service, station: Station) -> None:
    bad = station.write("cuts.made", cuts_made(machine="nobody"))
    assert states(service.push([bad, withdraw(station, bad)])) == ["quarantined", "applied"]
    assert service.get("/sync/quarantine").json["items"] == []
    service.post("/machines", machine("nobody"))
    assert audit() == []


def test_the_name_of_a_withdrawn_offcut_is_free_again(service: Service, station: Station) -> None:
    wrong = station.write("offcut.stored", {**piece(length_mm=900, width_mm=500), "ref": "OC-1"})
    gone = withdraw(station, wrong)
    right = station.write("offcut.stored", {**piece(length_mm=90, width_mm=500), "ref": "OC-1"})
    assert set(states(service.push([wrong, gone, right]))) == {"applied"}
    found = service.get("/stock/northgate/OC-1").json
    assert (found["length"], found["quantity"]) == (90, 1)


def test_a_program_is_saved_again_and_not_withdrawn(service: Service, station: Station) -> None:
    saved = station.write(
        "program.saved",
        {
            "program_id": "flange-a",
            "name": "Flange A",
            "machine": "bench-3m",
            "material": "S235JR",
            "thickness_mm": 3,
            "cut_length_mm": 2500,
            "steps": [{"gauge_mm": 300}],
            "based_on_revision": 0,
        },
    )
    answer = service.push([saved, withdraw(station, saved)])
    assert "save it again" in answer.json["results"][1]["errors"][0]["message"]


@pytest.mark.parametrize(
    ("action", "body"),
    [
        ("retry", {}),
        ("correct", {"payload": cuts_made(), "words": "it was right after all"}),
        ("dismiss", {"words": "once more"}),
    ],
)
def test_what_a_station_withdrew_is_not_applied_after_all(
    service: Service, station: Station, action: str, body: dict[str, Any]
) -> None:
    cut = station.cut()
    gone = station.write("log.withdrawn", {"event_id": cut["event_id"], "reason": "logged twice"})
    service.push([cut, gone])
    (held,) = service.get("/sync/quarantine", query_string={"show": "dismissed"}).json["items"]
    answer = service.post(f"/sync/quarantine/{held['id']}/{action}", body)
    assert answer.status_code == 409
    assert answer.json["type"] == "/problems/withdrawn"
    assert "logged twice" in answer.json["detail"]
    with connected():
        assert Event.get_by_id(held["id"]).state == "quarantined"
        assert audits.audit() == []


def test_what_came_damaged_and_was_withdrawn_is_not_applied_when_it_comes_whole(
    service: Service, station: Station
) -> None:
    cut = station.cut()
    damaged = {**cut, "payload": {**cut["payload"], "strokes": 5}}
    assert states(service.push([damaged])) == ["quarantined"]
    gone = station.write("log.withdrawn", {"event_id": cut["event_id"], "reason": "logged twice"})
    assert states(service.push([gone])) == ["applied"]
    assert states(service.push([cut])) == ["repeat"]
    assert service.get("/sync/quarantine").json["items"] == []
    with connected():
        assert audits.audit() == []
    assert service.get("/reports/throughput", query_string={"by": "site"}).json["rows"] == []
