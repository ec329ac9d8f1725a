"""What a person does about events that were not applied, stock that does not add up, and heats."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from service.store import again, audits, heats, records, tally
from service.store.database import connected
from service.store.models import Event
from tests.service.shop import NOW, Service, Station, cuts_made, machine, piece, sheet, states
from tests.service.test_contract import told


def held(service: Service, show: str = "waiting") -> list[Any]:
    answer = service.get("/sync/quarantine", "report", query_string={"show": show})
    assert answer.status_code == 200, answer.text
    items: list[Any] = answer.json["items"]
    return items


def parts(service: Service) -> int:
    rows = service.get("/reports/throughput", "report").json["rows"]
    return sum(row["parts"] for row in rows)


def correct(service: Service, number: int, **body: Any) -> Any:
    return service.post(f"/sync/quarantine/{number}/correct", {"words": "typed wrong", **body})


def test_a_corrected_payload_counts_and_the_original_stays_beside_it(
    service: Service, station: Station
) -> None:
    wrong = station.write("cuts.made", cuts_made(strokes=-1))
    assert states(service.push([wrong, station.cut()])) == ["quarantined", "applied"]
    (one,) = held(service)
    assert (one["corrected_payload"], one["corrections"]) == (None, [])
    right = cuts_made(strokes=5)
    service.clock.now += timedelta(hours=1)
    assert correct(service, one["id"], payload=right).json["state"] == "applied"
    assert parts(service) == 8
    assert held(service) == []
    (one,) = held(service, "corrected")
    assert one["event"] == wrong
    assert one["corrected_payload"] == right
    (made,) = one["corrections"]
    assert (made["made_by"], made["words"], made["outcome"]) == ("admin", "typed wrong", "applied")
    assert made["made_at"] == (NOW + timedelta(hours=1)).isoformat()
    with connected():
        assert audits.audit() == []
        assert sum(sums["strokes"] for sums in tally.recount().values()) == 9
    # What the station has is still what the centre has.
    assert states(service.push([wrong])) == ["repeat"]
    assert correct(service, one["id"], payload=right).status_code == 404


def test_a_correction_that_is_itself_wrong_is_refused_and_nothing_of_it_kept(
    service: Service, station: Station
) -> None:
    service.push([station.write("cuts.made", cuts_made(strokes=-1))])
    (one,) = held(service)
    answer = correct(service, one["id"], payload=cuts_made(strokes=0))
    assert told(answer)["/payload/strokes"] == "a number from 1 to 1000000 is wanted"
    assert "/payload" in told(correct(service, one["id"]))
    assert "/words" in told(correct(service, one["id"], payload=cuts_made(), words=""))
    assert "/happened_at" in told(correct(service, one["id"], happened_at="9999-12-31T23:59:59-12:00"))
    (same,) = held(service)
    assert same == one


def test_a_correction_that_lacks_something_still_is_kept_and_counts_when_it_is_tried_again(
    service: Service, station: Station
) -> None:
    service.push([station.write("cuts.made", cuts_made(strokes=-1))])
    (one,) = held(service)
    right = cuts_made(machine="bench-9m")
    assert correct(service, one["id"], payload=right).json["state"] == "quarantined"
    (one,) = held(service)
    assert one["errors"][0]["pointer"] == "/payload/machine"
    machine = service.get("/machines/bench-3m").json
    service.post("/machines", {**machine, "id": "bench-9m"})
    assert service.post(f"/sync/quarantine/{one['id']}/retry", {}).json["state"] == "applied"
    assert parts(service) == 4


def test_an_absurd_time_is_put_right_and_the_event_counts_on_its_true_day(
    service: Service, station: Station
) -> None:
    service.push([station.cut(happened_at="0001-01-01T00:00:00+14:00")])
    (one,) = held(service)
    assert correct(service, one["id"], happened_at="2026-02-27T23:30:00Z").json["state"] == "applied"
    (row,) = service.get("/reports/throughput", query_string={"by": "day"}).json["rows"]
    assert (row["day"], row["parts"]) == ("2026-02-27", 4)
    with connected():
        assert Event.get().document["happened_at"] == "0001-01-01T00:00:00+14:00"
        assert audits.audit() == []


def test_a_damaged_event_that_a_person_put_right_is_not_applied_again_when_the_true_one_comes(
    service: Service, station: Station
) -> None:
    right = station.cut()
    damaged = {**right, "payload": {**right["payload"], "strokes": 5}}
    assert states(service.push([damaged])) == ["quarantined"]
    (one,) = held(service)
    assert service.post(f"/sync/quarantine/{one['id']}/retry", {}).json["state"] == "quarantined"
    assert correct(service, one["id"], payload=right["payload"]).json["state"] == "applied"
    assert states(service.push([right])) == ["repeat"]
    assert parts(service) == 4


def test_a_damaged_event_that_a_person_dismissed_is_not_applied_when_the_true_one_comes(
    service: Service, station: Station
) -> None:
    right = station.cut()
    assert states(service.push([{**right, "payload": {**right["payload"], "strokes": 5}}])) == ["quarantined"]
    (one,) = held(service)
    assert service.post(f"/sync/quarantine/{one['id']}/dismiss", {"words": "cut twice"}).status_code == 204
    assert states(service.push([right])) == ["repeat"]
    assert parts(service) == 0
    (told,) = service.get("/sync/stations/ng-1", "station").json["decided"]
    assert told["kind"] == "dismissed"


def test_a_damaged_event_and_its_twin_of_another_epoch_count_once(service: Service, station: Station) -> None:
    twin, fresh = station.cut(), Station()
    damaged = {**twin, "payload": {**twin["payload"], "strokes": 5}}
    assert states(service.push([damaged])) == ["quarantined"]
    true = fresh.write("cuts.made", twin["payload"], event_id=str(twin["event_id"]))
    assert states(service.push([true])) == ["quarantined"]
    # The one that came whole waits for a person already; this is the same again.
    assert states(service.push([twin])) == ["repeat"]
    assert parts(service) == 0
    (one,) = held(service)
    assert one["event"] == true
    assert service.post(f"/sync/quarantine/{one['id']}/retry", {}).json["state"] == "applied"
    assert states(service.push([damaged, twin])) == ["repeat", "repeat"]
    assert parts(service) == 4


def test_what_is_dismissed_or_withdrawn_while_all_is_tried_again_is_left_alone(
    service: Service, station: Station, monkeypatch: pytest.MonkeyPatch
) -> None:
    events = [station.cut(machine=name) for name in ("m1", "m2", "m3")]
    assert states(service.push(events)) == ["quarantined"] * 3
    for name in ("m1", "m2", "m3"):
        service.post("/machines", machine(name))
    numbers = {one["event"]["event_id"]: one["id"] for one in held(service)}
    gone = station.write("log.withdrawn", {"event_id": events[0]["event_id"], "reason": "logged twice"})
    meanwhile: list[Callable[[], Any]] = [
        lambda: service.post(
            f"/sync/quarantine/{numbers[events[2]['event_id']]}/dismiss", {"words": "made up"}
        ),
        lambda: service.push([gone]),
    ]
    writing = records.writing

    def late() -> Any:
        # Just before the lock is taken for the first event, others write.
        while meanwhile:
            other = threading.Thread(target=meanwhile.pop())
            other.start()
            other.join()
        return writing()

    with connected():
        monkeypatch.setattr(records, "writing", late)
        done = again.reapply(NOW, quarantined=True)
        assert (done.applied, done.quarantined, done.still_kept) == (1, 0, 0)
        applied = Event.select().where(Event.state == "applied", Event.type == "cuts.made")
        assert [row.event_id for row in applied] == [events[1]["event_id"]]
        assert audits.audit() == []


def test_an_event_that_is_dismissed_is_kept_and_counts_nowhere(service: Service, station: Station) -> None:
    wrong = station.write("cuts.made", cuts_made(strokes=-1))
    service.push([wrong])
    (one,) = held(service)
    assert service.post(f"/sync/quarantine/{one['id']}/dismiss", {}).status_code == 422
    done = service.post(f"/sync/quarantine/{one['id']}/dismiss", {"words": "a trial run"})
    assert done.status_code == 204
    assert held(service) == []
    assert service.get("/reports/scrap").json["unapplied_events"] == 0
    (one,) = held(service, "dismissed")
    assert (one["event"], one["corrections"][0]["words"]) == (wrong, "a trial run")
    # Whoever dismissed the wrong one can still put it right.
    assert correct(service, one["id"], payload=cuts_made()).json["state"] == "applied"
    assert held(service, "dismissed") == []


def test_only_an_administrator_corrects(service: Service, station: Station) -> None:
    service.push([station.write("cuts.made", cuts_made(strokes=-1))])
    for path in ("correct", "dismiss", "retry"):
        answer = service.post(f"/sync/quarantine/1/{path}", {"words": "x"}, "report")
        assert answer.status_code == 403


def test_two_stations_that_cut_the_same_sheet_are_shown_and_both_logs_stand(service: Service) -> None:
    service.post("/stock", sheet("LAST", quantity=1))
    service.secrets["two"] = service.token("station", site="northgate", station="ng-2")
    first, second = Station("ng-1"), Station("ng-2")
    taken = {**piece(), "ref": "LAST"}
    assert states(service.push([first.write("stock.taken", taken)])) == ["applied"]
    assert states(service.push([second.write("stock.taken", taken), second.cut()], "two")) == [
        "applied",
        "applied",
    ]
    (open_one,) = service.get("/sync/discrepancies", "plan").json["items"]
    assert (open_one["ref"], open_one["taken"], open_one["on_the_books"]) == ("LAST", 1, 0)
    assert service.get("/reports/yield").json["rows"][0]["taken_kg"] == pytest.approx(147.2)
    with connected():
        assert Event.select().where(Event.state == "applied").count() == 3

    settle = f"/sync/discrepancies/{open_one['id']}/settle"
    assert service.post(settle, {"counted": 3}, "plan").status_code == 422
    body = {"words": "ng-2 took one from an unmarked pile", "counted": 3}
    settled = service.post(settle, body, "plan").json
    assert (settled["settled_by"], settled["words"], settled["counted"]) == ("plan", body["words"], 3)
    assert service.get("/stock/northgate/LAST").json["quantity"] == 3
    assert service.get("/sync/discrepancies").json["items"] == []
    (shown,) = service.get("/sync/discrepancies", query_string={"show": "settled"}).json["items"]
    assert shown == settled
    assert service.post(settle, body, "plan").status_code == 404


def test_pieces_of_stock_that_has_no_record_cannot_be_counted_but_it_can_be_settled(
    service: Service, station: Station
) -> None:
    service.push([station.write("stock.taken", {**piece(), "ref": "SH-Z"})])
    (one,) = service.get("/sync/discrepancies").json["items"]
    settle = f"/sync/discrepancies/{one['id']}/settle"
    answer = service.post(settle, {"words": "never booked in", "counted": 2})
    assert "no stock item is named 'SH-Z'" in told(answer)["/counted"]
    assert service.post(settle, {"words": "never booked in"}).status_code == 200


def test_a_heat_is_followed_from_the_sheet_to_parts_offcuts_and_what_is_cut_from_those(
    service: Service, station: Station
) -> None:
    service.post("/stock", sheet("SH-H", heat="H123"))
    part = {"order_ref": "W-1", "ref": "P1", "length_mm": 600, "width_mm": 300, "quantity": 4, "mass_kg": 17}
    offcut = {**piece(length_mm=2500, width_mm=645, mass_kg=38), "ref": "OC-1", "from_stock": "SH-H"}
    service.push(
        [
            station.write("stock.taken", {**piece(), "ref": "SH-H"}),
            station.cut(heat="H123", parts=[part]),
            station.cut(heat="H123", parts=[part]),
            station.write("offcut.stored", offcut),
            station.write("scrap.made", {**piece(mass_kg=1.5), "reason": "trim", "heat": "H123"}),
            station.write("stock.taken", {**piece(length_mm=2500, width_mm=645), "ref": "OC-1"}),
            station.cut(heat="H9", parts=[part]),
        ]
    )
    found = service.get("/heats/H123", "report").json
    (made,) = found["parts"]
    assert (made["order_ref"], made["ref"], made["quantity"], made["mass_kg"]) == ("W-1", "P1", 8, 34)
    (stored,) = found["offcuts"]
    assert (stored["ref"], stored["from_stock"], stored["width_mm"]) == ("OC-1", "SH-H", 645)
    assert [one["ref"] for one in found["stock"]] == ["OC-1", "SH-H"]
    assert found["scrap_kg"] == 1.5
    # The sheet said which heat it is, and so did the offcut that was cut from it.
    assert [one["type"] for one in found["events"]] == [
        "stock.taken",
        "cuts.made",
        "cuts.made",
        "offcut.stored",
        "scrap.made",
        "stock.taken",
    ]
    assert service.get("/heats/H9").json["parts"][0]["quantity"] == 4
    assert service.get("/heats/none").status_code == 404


def test_parts_that_were_spoiled_leave_the_trail_of_their_heat(service: Service, station: Station) -> None:
    def part(ref: str, quantity: int) -> dict[str, Any]:
        mass = 4.239 * quantity
        return {"ref": ref, "length_mm": 600, "width_mm": 300, "quantity": quantity, "mass_kg": mass}

    spoiled = {**piece(length_mm=600, width_mm=300), "reason": "burr", "was_made": True, "heat": "H5"}
    service.push(
        [
            # One is written down as spoiled before it is as made: at another bench, or late.
            station.write("scrap.made", {**spoiled, "quantity": 1, "mass_kg": 4.239, "part_ref": "P2"}),
            station.cut(heat="H5", parts=[part("P1", 4), part("P2", 3)]),
            station.write("scrap.made", {**spoiled, "quantity": 5, "mass_kg": 21.195}),
            # A part of another heat takes nothing off this one.
            station.write("scrap.made", {**spoiled, "quantity": 1, "mass_kg": 4.239, "part_ref": "P9"}),
        ]
    )
    found = service.get("/heats/H5", "report").json
    assert [(one["ref"], one["quantity"], one["mass_kg"]) for one in found["parts"]] == [("P2", 1, 4.239)]
    assert found["scrap_kg"] == 29.673


def test_events_of_a_heat_come_page_by_page_and_sums_are_of_all(service: Service, station: Station) -> None:
    service.push([station.cut(heat="H/1") for _ in range(5)])
    seen: list[str] = []
    query: dict[str, Any] = {"limit": 2}
    while True:
        page = service.get("/heats/H/1", query_string=query).json
        assert page["parts"][0]["quantity"] == 20
        seen += [one["event_id"] for one in page["events"]]
        if "next" not in page:
            break
        query["cursor"] = page["next"]
    assert len(seen) == len(set(seen)) == 5
    with connected():
        assert heats.trail("H/2").parts == ()


def test_every_revision_of_a_machine_is_kept_and_a_late_write_as_a_copy(service: Service) -> None:
    first = service.get("/machines/bench-3m").json
    second, late = {**first, "name": "second"}, {**first, "name": "late"}
    assert service.put("/machines/bench-3m", second, headers={"If-Match": '"1"'}).status_code == 200
    for _ in range(2):
        answer = service.put("/machines/bench-3m", late, headers={"If-Match": '"1"'})
        assert answer.status_code == 412
    listed = service.get("/versions/machine/bench-3m", "plan").json["items"]
    assert [(one["revision"], one["stale"], one["document"]["name"]) for one in listed] == [
        (1, False, first["name"]),
        (2, False, "second"),
        (1, True, "late"),
    ]
    assert answer.json["kept_copy"] == listed[2]["id"]
    assert service.get("/machines/bench-3m").json["name"] == "second"
    assert service.get("/versions/stock/northgate/SH-A").status_code == 404
    # Stock follows from events: of it no copies are kept.
    assert service.put("/stock/northgate/SH-A", sheet(), headers={"If-Match": '"9"'}).status_code == 412
    assert json.loads(service.get("/versions/program/none").text) == {"items": []}
