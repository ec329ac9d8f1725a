"""Two events under one event_id: a person looks at the second, and it may come in under its own."""

from __future__ import annotations

import uuid
from typing import Any

import pytest

from service.store import audits, withdrawn
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


def anew(event: dict[str, Any], **changes: Any) -> dict[str, Any]:
    """The same entry, as a new epoch of its station begins with it; or with other words."""
    told = {**event["payload"], **changes}
    return Station().write(event["type"], told, event_id=event["event_id"], happened_at=event["happened_at"])


def settle(service: Service, number: int, done: str) -> None:
    """What a person may do about an entry that waits."""
    path = f"/sync/quarantine/{number}"
    if done == "dismiss":
        assert service.post(f"{path}/dismiss", {"words": "made up"}).status_code == 204
    if done == "correct":
        right = {"payload": cuts_made(), "happened_at": "2026-03-02T10:00:00Z", "words": "typed wrong"}
        assert service.post(f"{path}/correct", right).json["state"] == "applied"


WRONG = {
    "payload": lambda station: station.cut(strokes=0),
    "time": lambda station: station.cut(happened_at="0001-01-01T00:00:00+14:00"),
    "machine": lambda station: station.cut(machine="bench-9m"),
}
"""What cannot be applied as it is: by itself, by its time, and by what the centre knows."""


@pytest.mark.parametrize("done", ["wait", "dismiss", "correct"])
@pytest.mark.parametrize("wrong", sorted(WRONG))
def test_what_could_not_be_applied_is_not_listed_again_when_a_new_epoch_brings_it(
    service: Service, station: Station, wrong: str, done: str
) -> None:
    bad = WRONG[wrong](station)
    assert states(service.push([bad])) == ["quarantined"]
    (held,) = service.get("/sync/quarantine").json["items"]
    settle(service, held["id"], done)
    again = anew(bad)
    answer = service.push([again])
    assert states(answer) == ["repeat"]
    assert (answer.json["has_to_seq"], answer.json["last_hash"]) == (1, again["hash"])
    told = service.get("/sync/stations/ng-1", "station").json
    reached = {one["epoch"]: one["has_to_seq"] for one in told["epochs"]}
    assert reached == {bad["epoch"]: 1, again["epoch"]: 1}
    # A person has it before him once at most, under the number by which it came first.
    waiting = service.get("/sync/quarantine").json["items"]
    assert [one["event"] for one in waiting] == ([bad] if done == "wait" else [])
    assert [(one["epoch"], one["seq"]) for one in told["waiting"]] == (
        [(bad["epoch"], 1)] if done == "wait" else []
    )
    counted = service.get("/reports/throughput", query_string={"by": "site"}).json["rows"]
    assert [row["strokes"] for row in counted] == ([4] if done == "correct" else [])
    with connected():
        assert audits.audit() == []


def test_what_could_not_be_applied_comes_twice_in_one_push_and_is_listed_once(
    service: Service, station: Station
) -> None:
    bad = station.cut(strokes=0)
    same = station.cut(strokes=0, event_id=bad["event_id"])
    after = station.cut()
    assert states(service.push([bad, same, after])) == ["quarantined", "repeat", "applied"]
    (held,) = service.get("/sync/quarantine").json["items"]
    settle(service, held["id"], "correct")
    assert states(service.push([bad, same, after])) == ["repeat"] * 3
    (row,) = service.get("/reports/throughput", query_string={"by": "site"}).json["rows"]
    assert row["strokes"] == 8


@pytest.mark.parametrize("done", ["wait", "dismiss", "correct"])
@pytest.mark.parametrize("strokes", [-1, 7, True])
def test_other_words_under_the_id_of_what_could_not_be_applied_stay_before_a_person(
    service: Service, station: Station, strokes: int, done: str
) -> None:
    bad = station.cut(strokes=0)
    service.push([bad])
    (held,) = service.get("/sync/quarantine").json["items"]
    settle(service, held["id"], done)
    other = anew(bad, strokes=strokes)
    assert states(service.push([other])) == ["quarantined"]
    # The other words again are a repeat of themselves.
    assert states(service.push([anew(other)])) == ["repeat"]
    waiting = service.get("/sync/quarantine").json["items"]
    assert [one["event"] for one in waiting] == ([bad, other] if done == "wait" else [other])


@pytest.mark.parametrize(("first", "second"), [(1, True), (True, 1)])
def test_true_is_not_taken_for_one(service: Service, station: Station, first: int, second: int) -> None:
    # Python holds them for equal; one of them is a number of strokes and the other is not.
    one = station.cut(strokes=first)
    service.push([one])
    other = anew(one, strokes=second)
    assert states(service.push([other])) == ["quarantined"]
    waiting = service.get("/sync/quarantine").json["items"]
    assert other in [item["event"] for item in waiting]


def test_what_was_damaged_on_the_way_is_listed_though_it_reads_like_one_that_came(
    service: Service, station: Station
) -> None:
    bad = station.cut(strokes=0)
    service.push([bad])
    right = anew(bad, strokes=4)
    damaged = {**right, "payload": bad["payload"]}
    assert states(service.push([damaged])) == ["quarantined"]
    assert len(service.get("/sync/quarantine").json["items"]) == 2
    # What it truly says comes under its hash, and is something else than what waits.
    assert states(service.push([right])) == ["quarantined"]
    waiting = service.get("/sync/quarantine").json["items"]
    assert [one["event"] for one in waiting] == [bad, right]


def test_an_entry_that_counts_is_not_listed_where_the_clock_of_a_later_sending_is_absurd(
    service: Service, station: Station
) -> None:
    good = station.cut()
    assert states(service.push([good])) == ["applied"]
    assert states(service.push([anew(good)], sent_at="9999-12-31T23:59:59Z")) == ["repeat"]
    assert service.get("/sync/quarantine").json["items"] == []


def test_a_fault_with_what_comes_again_does_not_keep_its_station_back(
    service: Service, station: Station, monkeypatch: pytest.MonkeyPatch
) -> None:
    good = station.cut()
    service.push([good])

    def broken(*_: Any) -> tuple[str, ...]:
        raise ZeroDivisionError

    fresh = Station()
    again = fresh.write("cuts.made", good["payload"], event_id=good["event_id"])
    with monkeypatch.context() as patched:
        patched.setattr(withdrawn, "notes_again", broken)
        assert states(service.push([again, fresh.cut()])) == ["quarantined", "applied"]
    (held,) = service.get("/sync/quarantine").json["items"]
    assert service.post(f"/sync/quarantine/{held['id']}/retry", {}).json["state"] == "quarantined"
    (row,) = service.get("/reports/throughput", query_string={"by": "site"}).json["rows"]
    assert row["strokes"] == 8
