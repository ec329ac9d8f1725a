"""Two events under one event_id: a person looks at the second, and it may come in under its own."""

from __future__ import annotations

import uuid
from typing import Any

from service.store import audits
from service.store.database import connected
from service.store.models import Event
from tests.service.shop import Service, Station, cuts_made, discrepancies, piece, states


def clash(service: Service, station: Station) -> tuple[dict[str, Any], dict[str, Any], int]:
    name = str(uuid.uuid4())
    first, other = station.cut(event_id=name), station.cut(event_id=name, strokes=7, minutes=9)
    assert states(service.push([first, other])) == ["applied", "quarantined"]
    (held,) = service.get("/sync/quarantine").json["items"]
    assert held["event_id"] == name
    return first, other, held["id"]


def test_what_came_under_the_id_of_another_is_taken_in_under_its_own(
    service: Service, station: Station
) -> None:
    first, other, number = clash(service, station)
    assert service.post(f"/sync/quarantine/{number}/retry", {}).json["state"] == "quarantined"
    answer = service.post(f"/sync/quarantine/{number}/correct", {"as_new": True, "words": "both were cut"})
    assert answer.json["state"] == "applied", answer.text
    (shown,) = service.get("/sync/quarantine", query_string={"show": "corrected"}).json["items"]
    assert shown["event"] == other
    assert shown["event_id"] != other["event_id"]
    (row,) = service.get("/reports/throughput", query_string={"by": "site"}).json["rows"]
    assert row["strokes"] == 11
    with connected():
        assert audits.audit() == []
        assert Event.select().where(Event.event_id == first["event_id"]).count() == 1
    # Sent again, by the same number or under a new epoch after the store was put back: a repeat.
    assert states(service.push([first, other])) == ["repeat", "repeat"]
    anew = Station("ng-1")
    fresh = [
        anew.cut(event_id=one["event_id"], **{k: one["payload"][k] for k in ("strokes", "minutes")})
        for one in (other, first)
    ]
    assert states(service.push(fresh)) == ["repeat", "repeat"]
    (row,) = service.get("/reports/throughput", query_string={"by": "site"}).json["rows"]
    assert row["strokes"] == 11


def test_what_came_under_the_id_of_another_can_be_corrected_and_tried_again(
    service: Service, station: Station
) -> None:
    name = str(uuid.uuid4())
    service.push([station.cut(event_id=name), station.cut(event_id=name, machine="bench-9m")])
    (held,) = service.get("/sync/quarantine").json["items"]
    path = f"/sync/quarantine/{held['id']}"
    answer = service.post(f"{path}/correct", {"as_new": True, "words": "both were cut"})
    assert answer.json["state"] == "quarantined"
    assert answer.json["errors"][0]["pointer"] == "/payload/machine"
    # Its id is its own by now, so that nothing but the machine is in the way.
    right = cuts_made(strokes=7)
    answer = service.post(f"{path}/correct", {"payload": right, "words": "it was bench-3m"})
    assert answer.json["state"] == "applied"


def test_an_id_of_its_own_is_given_only_where_another_has_it(service: Service, station: Station) -> None:
    service.push([station.cut(machine="bench-9m")])
    (held,) = service.get("/sync/quarantine").json["items"]
    answer = service.post(f"/sync/quarantine/{held['id']}/correct", {"as_new": True, "words": "why not"})
    assert answer.status_code == 422
    assert answer.json["errors"][0]["pointer"] == "/as_new"


def test_a_withdrawal_of_an_id_that_two_events_have_asks_which_is_meant(
    service: Service, station: Station
) -> None:
    first, other, number = clash(service, station)
    service.post(f"/sync/quarantine/{number}/correct", {"as_new": True, "words": "both were cut"})
    gone = station.write("log.withdrawn", {"event_id": first["event_id"], "reason": "logged twice"})
    assert states(service.push([gone])) == ["quarantined"]
    (held,) = service.get("/sync/quarantine").json["items"]
    assert "hash" in held["errors"][0]["message"]
    meant = {**gone["payload"], "hash": other["hash"]}
    answer = service.post(
        f"/sync/quarantine/{held['id']}/correct", {"payload": meant, "words": "the second is meant"}
    )
    assert answer.json["state"] == "applied", answer.text
    (row,) = service.get("/reports/throughput", query_string={"by": "site"}).json["rows"]
    assert row["strokes"] == 4
    with connected():
        assert audits.audit() == []


def test_what_came_under_the_id_of_one_that_was_taken_back_is_noted_apart_from_it(
    service: Service, station: Station, second: Station
) -> None:
    first = station.write("stock.taken", {**piece(quantity=9), "ref": "SH-A"})
    gone = station.write("log.withdrawn", {"event_id": first["event_id"], "reason": "of another rack"})
    assert states(service.push([first, gone])) == ["applied", "applied"]
    other = second.write("stock.taken", {**piece(quantity=10), "ref": "SH-A"}, event_id=first["event_id"])
    assert states(service.push([other], "ng-2")) == ["quarantined"]
    (held,) = service.get("/sync/quarantine").json["items"]
    answer = service.post(f"/sync/quarantine/{held['id']}/retry", {})
    assert answer.json["state"] == "applied", answer.text
    (short,) = discrepancies(service)
    (settled,) = discrepancies(service, "settled")
    assert (short["taken"], settled["taken"]) == (10, 9)
    assert short["event_id"] != settled["event_id"] == first["event_id"]
    assert service.get("/stock/northgate/SH-A").json["quantity"] == 0
    # Each is put back by what was noted of itself: eight were on the books.
    back = second.write("log.withdrawn", {"event_id": first["event_id"], "reason": "it lies there"})
    assert states(service.push([back, other], "ng-2")) == ["applied", "repeat"]
    assert service.get("/stock/northgate/SH-A").json["quantity"] == 8
    assert discrepancies(service) == []
