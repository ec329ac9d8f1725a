"""Sync: nothing lost, nothing counted twice, nobody else's; on both databases."""

from __future__ import annotations

import threading
from typing import Any

import pytest

from schemas.events import FIRST_HASH, PushAnswerSchema, event_hash
from service.store import tally
from tests.service.shop import NOW, Service, Station, cuts_made, machine, rows, states


def test_a_push_says_how_far_the_centre_has_the_station(service: Service, station: Station) -> None:
    answer = service.push([station.cut(), station.cut()])
    assert states(answer) == ["applied", "applied"]
    assert (answer.json["epoch"], answer.json["has_to_seq"]) == (station.epoch, 2)
    assert answer.json["last_hash"] == station.last
    assert not PushAnswerSchema().validate(answer.json)
    asked = service.get("/sync/stations/ng-1", "station").json
    assert (asked["has_to_seq"], asked["last_hash"]) == (2, station.last)
    assert [epoch["epoch"] for epoch in asked["epochs"]] == [station.epoch]


def test_a_station_never_heard_of_begins_at_nothing(service: Service) -> None:
    asked = service.get("/sync/stations/ng-1", "station").json
    assert (asked["epoch"], asked["has_to_seq"], asked["last_hash"]) == (None, 0, FIRST_HASH)


def test_a_repeat_is_acknowledged_and_not_counted_again(service: Service, station: Station) -> None:
    events = [station.cut(), station.cut()]
    service.push(events)
    once = rows(service)
    assert states(service.push(events)) == ["repeat", "repeat"]
    assert states(service.push([*events, station.cut()])) == ["repeat", "repeat", "applied"]
    assert once[0]["parts"] == 8
    assert rows(service)[0]["parts"] == 12


def test_a_fork_is_refused_as_a_whole(service: Service, station: Station) -> None:
    service.push([station.cut()])
    twin = Station(epoch=station.epoch)
    answer = service.push([twin.cut(strokes=9), twin.cut()])
    assert answer.status_code == 409
    assert answer.content_type == "application/problem+json"
    assert answer.json["type"] == "/problems/fork"
    assert (answer.json["has_to_seq"], answer.json["last_hash"]) == (1, station.last)
    assert rows(service)[0]["strokes"] == 4
    # In a new epoch the same comes through.
    fresh = Station()
    assert states(service.push([fresh.cut(strokes=9), fresh.cut()])) == ["applied", "applied"]


def test_an_event_that_does_not_follow_the_last_is_a_fork_and_takes_the_good_ones_with_it(
    service: Service, station: Station
) -> None:
    good = station.cut()
    station.last = "f" * 64
    answer = service.push([good, station.cut()])
    assert answer.json["type"] == "/problems/fork"
    assert rows(service) == []
    assert service.get("/sync/stations/ng-1", "station").json["has_to_seq"] == 0


def test_a_gap_is_refused_and_says_from_where_to_send(service: Service, station: Station) -> None:
    first, second, third = station.cut(), station.cut(), station.cut()
    service.push([first])
    answer = service.push([third])
    assert answer.status_code == 409
    assert answer.json["type"] == "/problems/gap"
    assert answer.json["has_to_seq"] == 1
    assert "send from 2 on" in answer.json["detail"]
    assert states(service.push([second, third])) == ["applied", "applied"]


def test_a_bad_payload_is_kept_with_its_reason_and_stops_nothing(service: Service, station: Station) -> None:
    bad = station.write("cuts.made", cuts_made(strokes=-1))
    answer = service.push([bad, station.cut()])
    assert states(answer) == ["quarantined", "applied"]
    assert answer.json["results"][0]["errors"][0]["pointer"] == "/payload/strokes"
    held = service.get("/sync/quarantine").json["items"]
    assert [one["event"] for one in held] == [bad]
    assert held[0]["errors"][0]["message"] == "a number from 1 to 1000000 is wanted"
    assert states(service.push([bad])) == ["repeat"]


def test_an_unknown_type_is_kept_and_its_chain_goes_on(service: Service, station: Station) -> None:
    new = station.write("coolant.changed", {"litres": 4, "zero": "\0"})
    assert states(service.push([new, station.cut()])) == ["kept", "applied"]
    assert [one["event"] for one in service.get("/sync/quarantine").json["items"]] == [new]
    assert service.get("/reports/scrap").json["unapplied_events"] == 1


def test_an_event_of_an_unknown_machine_waits_until_the_machine_is_known(
    service: Service, station: Station
) -> None:
    answer = service.push([station.cut(machine="bench-4m")])
    assert states(answer) == ["quarantined"]
    assert "bench-4m" in answer.json["results"][0]["errors"][0]["message"]
    number = service.get("/sync/quarantine").json["items"][0]["id"]
    assert service.post(f"/sync/quarantine/{number}/retry", {}).json["state"] == "quarantined"
    service.post("/machines", machine("bench-4m"))
    assert service.post(f"/sync/quarantine/{number}/retry", {}).json["state"] == "applied"
    assert rows(service)[0]["parts"] == 4
    assert service.post(f"/sync/quarantine/{number}/retry", {}).status_code == 404
    assert service.get("/sync/quarantine").json["items"] == []


def test_a_machine_of_another_site_is_not_worked_by_this_station(service: Service, station: Station) -> None:
    answer = service.push([station.cut(machine="far-2m")])
    assert states(answer) == ["quarantined"]
    assert "stands at fell-road" in answer.json["results"][0]["errors"][0]["message"]


def test_an_event_sent_again_in_a_new_epoch_is_counted_once(service: Service, station: Station) -> None:
    event = station.cut()
    service.push([event])
    fresh = Station()
    again = fresh.write("cuts.made", event["payload"], event_id=event["event_id"])
    assert states(service.push([again, fresh.cut()])) == ["repeat", "applied"]
    assert rows(service)[0]["parts"] == 8


def test_one_event_id_with_two_contents_is_looked_at_by_a_person(service: Service, station: Station) -> None:
    event = station.cut()
    other = station.write("cuts.made", cuts_made(strokes=7), event_id=event["event_id"])
    assert states(service.push([event, other])) == ["applied", "quarantined"]


def test_a_damaged_event_is_replaced_by_the_right_one_of_the_same_hash(
    service: Service, station: Station
) -> None:
    right = station.cut()
    damaged = {**right, "payload": {**right["payload"], "strokes": 5}}
    assert states(service.push([damaged, station.cut()])) == ["quarantined", "applied"]
    assert states(service.push([right])) == ["applied"]
    assert rows(service)[0]["strokes"] == 8
    assert service.get("/sync/quarantine").json["items"] == []


def test_the_token_of_a_station_pushes_for_that_station_only(service: Service) -> None:
    answer = service.push([Station("ng-2").cut()])
    assert answer.status_code == 403
    stranger = Station().cut()
    stranger["station"] = "ng-2"
    document = {"station": "ng-1", "sent_at": NOW.isoformat(), "events": [stranger]}
    answer = service.post("/sync/events", document, "station")
    assert answer.status_code == 422
    assert answer.json["errors"][0]["pointer"] == "/events/0/station"
    assert service.get("/sync/stations/ng-2", "station").status_code == 403
    assert service.push([Station().cut()], "admin").status_code == 403


def test_identical_pushes_at_once_count_once(service: Service, station: Station) -> None:
    events = [station.cut() for _ in range(5)]
    answers: list[Any] = []

    def send() -> None:
        client = service.app.test_client()
        document = {"station": "ng-1", "sent_at": NOW.isoformat(), "events": events}
        headers = {"Authorization": f"Bearer {service.secrets['station']}"}
        answers.append(client.post("/v1/sync/events", json=document, headers=headers))

    threads = [threading.Thread(target=send) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [answer.status_code for answer in answers] == [200] * 8
    applied = [state for answer in answers for state in states(answer) if state == "applied"]
    assert len(applied) == 5
    assert rows(service)[0]["parts"] == 20


def test_a_fault_of_ours_keeps_back_one_event_and_not_the_station(
    service: Service, station: Station, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = tally.add_all

    def broken(sums: Any) -> None:
        real(sums)
        if any(measures.get("strokes", 0) >= 13 for measures in sums.values()):
            raise ZeroDivisionError("secret inside")

    monkeypatch.setattr(tally, "add_all", broken)
    answer = service.push([station.cut(strokes=13), station.cut()])
    assert states(answer) == ["quarantined", "applied"]
    assert "secret" not in answer.text
    assert rows(service)[0]["strokes"] == 4
    monkeypatch.undo()
    number = service.get("/sync/quarantine").json["items"][0]["id"]
    assert service.post(f"/sync/quarantine/{number}/retry", {}).json["state"] == "applied"
    assert rows(service)[0]["strokes"] == 17


def test_a_damaged_push_is_named_field_by_field(service: Service, station: Station) -> None:
    event = station.cut()
    del event["seq"]
    event["hash"] = event_hash({}).upper()
    answer = service.push([event])
    assert answer.status_code == 422
    told = {error["pointer"]: error["message"] for error in answer.json["errors"]}
    assert told["/events/0/seq"] == "is missing"
    assert told["/events/0/hash"] == "64 hexadecimal digits are wanted"
    answer = service.push([station.cut()], sent_at="yesterday")
    assert answer.json["errors"][0]["pointer"] == "/sent_at"


@pytest.mark.parametrize("moment", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00"])
def test_an_absurd_time_is_quarantined(service: Service, station: Station, moment: str) -> None:
    assert states(service.push([station.cut(happened_at=moment), station.cut()])) == [
        "quarantined",
        "applied",
    ]
