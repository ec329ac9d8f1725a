"""What is withdrawn is taken off the very blade and piece that it was counted on, or it is said why not."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from service.store import audits, blade_fill, held
from service.store.database import connected
from service.store.models import BladeSet, Event, JsonField
from tests.service.shop import Service, Station, discrepancies, piece

TURNED = {"machine": "bench-3m", "edge": 2, "work": "turned"}
GROUND = {"machine": "bench-3m", "edge": 1, "work": "reground"}
OFFCUT = {**piece(length_mm=900, width_mm=500), "ref": "OC-1"}


def withdraw(station: Station, event: dict[str, Any]) -> dict[str, Any]:
    return station.write("log.withdrawn", {"event_id": event["event_id"], "reason": "found to be wrong"})


def push(service: Service, *events: dict[str, Any]) -> list[str]:
    """Push events that are all applied; what the answer notes of them."""
    answer = service.push(list(events))
    assert {result["state"] for result in answer.json["results"]} == {"applied"}, answer.text
    notes: list[str] = answer.json["notes"]
    return notes


def blade(service: Service, name: str = "bench-3m") -> dict[str, Any]:
    found: dict[str, Any] = service.get(f"/blades/{name}").json
    return found


def put(service: Service, path: str, **changes: Any) -> None:
    document = {**service.get(path).json, **changes}
    answer = service.put(path, document, headers={"If-Match": "*"})
    assert answer.status_code == 200, answer.text


def quantity(service: Service, ref: str) -> int:
    found: int = service.get(f"/stock/northgate/{ref}").json["quantity"]
    return found


# --- blades ------------------------------------------------------------------------------------


def test_a_cut_is_taken_off_the_blade_that_it_was_counted_on(service: Service, station: Station) -> None:
    cut = station.cut(equivalent_m=5)
    push(service, cut, station.cut(equivalent_m=1))
    put(service, "/blades/bench-3m", machine=None)
    assert service.post("/blades", {"id": "B2", "machine": "bench-3m"}).status_code == 201
    push(service, station.cut(equivalent_m=7), withdraw(station, cut))
    assert (blade(service)["used_m"], blade(service, "B2")["used_m"]) == ([1, 0, 0, 0], [7, 0, 0, 0])


def test_a_cut_that_is_pushed_with_a_withdrawal_undoes_nothing_of_it(
    service: Service, station: Station
) -> None:
    cut = station.cut(equivalent_m=5)
    push(service, cut)
    push(service, withdraw(station, cut), station.cut(equivalent_m=1))
    assert blade(service)["used_m"] == [1, 0, 0, 0]


def test_that_a_blade_is_gone_is_told(service: Service, station: Station) -> None:
    cut = station.cut(equivalent_m=5)
    push(service, cut)
    assert service.ask("DELETE", "/blades/bench-3m", headers={"If-Match": "*"}).status_code == 204
    assert service.post("/blades", {"id": "B2", "machine": "bench-3m"}).status_code == 201
    push(service, station.cut(equivalent_m=7))
    (note,) = push(service, withdraw(station, cut))
    assert "'bench-3m' has no record" in note
    assert blade(service, "B2")["used_m"] == [7, 0, 0, 0]


def test_a_cut_that_was_put_right_late_counts_after_the_regrind_that_came_before(
    service: Service, station: Station
) -> None:
    """It is written down before the regrind, and counted after it."""
    late = station.cut(machine="nobody", equivalent_m=5)
    assert service.push([late]).json["results"][0]["state"] == "quarantined"
    push(service, station.cut(equivalent_m=3), station.write("blade.turned", GROUND))
    (held,) = service.get("/sync/quarantine").json["items"]
    right = {**late["payload"], "machine": "bench-3m"}
    answer = service.post(f"/sync/quarantine/{held['id']}/correct", {"payload": right, "words": "bench-3m"})
    assert answer.json["state"] == "applied", answer.text
    assert blade(service)["used_m"] == [5, 0, 0, 0]
    push(service, withdraw(station, late))
    assert (blade(service)["used_m"], blade(service)["regrinds"]) == ([0, 0, 0, 0], 1)


def test_use_that_was_set_by_hand_comes_back_with_a_regrind_that_was_none(
    service: Service, station: Station
) -> None:
    first = station.cut(equivalent_m=2)
    push(service, first)
    put(service, "/blades/bench-3m", used_m=[40, 0, 0, 0])
    ground = station.write("blade.turned", GROUND)
    # A cut of before the regrind takes nothing off what was cut since; and comes back as none.
    push(service, ground, station.cut(equivalent_m=1), withdraw(station, first))
    assert blade(service)["used_m"] == [1, 0, 0, 0]
    push(service, withdraw(station, ground))
    assert (blade(service)["used_m"], blade(service)["regrinds"]) == ([39, 0, 0, 0], 0)


def test_turns_are_taken_back_in_any_order(service: Service, station: Station) -> None:
    cuts, turns = [station.cut(equivalent_m=1)], []
    for edge, work, metres in ((2, "turned", 2), (3, "reground", 4), (4, "turned", 8)):
        turns.append(station.write("blade.turned", {**TURNED, "edge": edge, "work": work}))
        cuts.append(station.cut(equivalent_m=metres))
    told = station.cut(equivalent_m=16, blade_edge=2)
    both = [one for pair in zip(cuts[1:], turns, strict=True) for one in reversed(pair)]
    push(service, cuts[0], *both, told)
    assert blade(service)["used_m"] == [0, 16, 4, 8]
    push(service, withdraw(station, turns[1]))
    # What was cut after the regrind was cut on the edge of the turn before.
    assert (blade(service)["used_m"], blade(service)["regrinds"]) == ([1, 22, 0, 8], 0)
    push(service, withdraw(station, turns[0]))
    assert (blade(service)["used_m"], blade(service)["edge"]) == ([7, 16, 0, 8], 4)
    push(service, withdraw(station, turns[2]))
    found = blade(service)
    assert (found["used_m"], found["edge"], found["edge_since"]) == ([15, 16, 0, 0], 1, None)
    push(service, *(withdraw(station, one) for one in (*cuts, told)))
    assert blade(service)["used_m"] == [0, 0, 0, 0]
    with connected():
        assert audits.audit() == []


@pytest.mark.parametrize("count", [3, 30])
def test_withdrawing_a_cut_reads_no_other_cut(
    small: Service, station: Station, monkeypatch: pytest.MonkeyPatch, count: int
) -> None:
    cuts = [station.cut(equivalent_m=1) for _ in range(count)]
    push(small, *cuts)
    gone = withdraw(station, cuts[0])
    read = JsonField.python_value
    documents: list[Any] = []

    def reading(field: JsonField, value: str | None) -> Any:
        found = read(field, value)
        if field is Event.document and found is not None:
            documents.append(found)
        return found

    monkeypatch.setattr(JsonField, "python_value", reading)
    push(small, gone)
    assert documents == [cuts[0]]
    assert blade(small)["used_m"] == [count - 1, 0, 0, 0]


def test_events_of_an_earlier_version_are_given_to_the_blade_at_work(
    service: Service, station: Station
) -> None:
    late = station.cut(machine="nobody", equivalent_m=5)
    service.push([late])
    cut = station.cut(equivalent_m=3)
    ground = station.write("blade.turned", {**GROUND, "edge": 2})
    push(service, cut, ground, station.cut(equivalent_m=4))
    service.clock.now = service.clock.now.replace(hour=13)
    (held,) = service.get("/sync/quarantine").json["items"]
    right = {**late["payload"], "machine": "bench-3m"}
    service.post(f"/sync/quarantine/{held['id']}/correct", {"payload": right, "words": "bench-3m"})
    columns = Event.blade, Event.blade_edge, Event.blade_before
    with connected():
        query = Event.select(*columns).where(Event.machine == "bench-3m").order_by(Event.record_revision)
        before: list[Any] = list(query.tuples())
        Event.update(blade=None, blade_edge=None, blade_before=None, record_revision=None).execute()
        blade_fill.fill()
        BladeSet.delete().execute()
        blade_fill.fill_sets()
        assert list(query.tuples()) == before
        assert Event.select().where(Event.record_revision > 0).count() == 0
    assert [edge for _, edge, _ in before] == [1, None, 2, 2]
    push(service, station.cut(equivalent_m=8), withdraw(station, late), withdraw(station, cut))
    assert blade(service)["used_m"] == [0, 12, 0, 0]
    push(service, withdraw(station, ground))
    assert blade(service)["used_m"] == [12, 0, 0, 0]


# --- stock -------------------------------------------------------------------------------------


def test_a_count_of_the_rack_stands_when_a_taking_before_it_is_withdrawn(
    service: Service, station: Station
) -> None:
    first = station.write("stock.taken", {**piece(quantity=2), "ref": "SH-A"})
    short = station.write("stock.taken", {**piece(quantity=9), "ref": "SH-A"})
    push(service, first, short)
    (found,) = discrepancies(service)
    answer = service.post(f"/sync/discrepancies/{found['id']}/settle", {"words": "counted", "counted": 5})
    assert answer.status_code == 200
    later = station.write("stock.taken", {**piece(quantity=1), "ref": "SH-A"})
    push(service, later)
    (note,) = push(service, withdraw(station, first))
    assert "counted or set by hand" in note
    assert quantity(service, "SH-A") == 4
    assert push(service, withdraw(station, later)) == []
    assert quantity(service, "SH-A") == 5


def test_pieces_that_were_set_by_hand_stand_too(service: Service, station: Station) -> None:
    taken = station.write("stock.taken", {**piece(quantity=2), "ref": "SH-A"})
    stored = station.write("offcut.stored", OFFCUT)
    push(service, taken, stored)
    put(service, "/stock/northgate/SH-A", quantity=20)
    put(service, "/stock/northgate/OC-1", quantity=3)
    notes = push(service, withdraw(station, taken), withdraw(station, stored))
    assert ["set by hand" in note for note in notes] == [True, True]
    assert (quantity(service, "SH-A"), quantity(service, "OC-1")) == (20, 3)


def test_what_happened_before_a_count_and_is_told_of_after_it_is_noted(
    service: Service, station: Station
) -> None:
    """The rack held 5 and one offcut when it was counted; the books move, and a person settles it."""
    push(service, station.write("offcut.stored", {**OFFCUT, "quantity": 1}))
    put(service, "/stock/northgate/SH-A", quantity=5)
    put(service, "/stock/northgate/OC-1", quantity=2)
    before = station.write("stock.taken", {**piece(quantity=3), "ref": "SH-A"})
    stored = station.write("offcut.stored", {**OFFCUT, "quantity": 1})
    service.clock.now += timedelta(hours=2)
    after = station.write(
        "stock.taken", {**piece(quantity=1), "ref": "SH-A"}, happened_at="2026-03-02T13:00:00Z"
    )
    push(service, before, stored, after)
    assert (quantity(service, "SH-A"), quantity(service, "OC-1")) == (1, 3)
    found = discrepancies(service)
    assert [(one["kind"], one["event_id"], one["taken"], one["on_the_books"]) for one in found] == [
        ("counted since", before["event_id"], 3, 5),
        ("counted since", stored["event_id"], -1, 2),
    ]
    with connected():
        words = [held.in_words(row, ()) for row in held.discrepancies(0, 9)]
    told = "before the rack was counted, and told of afterwards; it was"
    assert words == [f"3 taken {told} 5 then", f"1 stored {told} 2 then"]
    answer = service.post(
        f"/sync/discrepancies/{found[0]['id']}/settle", {"words": "was in it", "counted": 4}
    )
    assert answer.status_code == 200
    # The withdrawal takes back what was noted, and what it moved.
    push(service, withdraw(station, stored))
    assert (quantity(service, "SH-A"), quantity(service, "OC-1")) == (4, 2)
    assert discrepancies(service) == []


def test_entering_a_stock_item_is_no_count_of_it(service: Service, station: Station) -> None:
    push(service, station.write("stock.taken", {**piece(quantity=2), "ref": "SH-A"}))
    assert discrepancies(service) == []


def test_a_change_of_a_record_that_sets_no_pieces_is_no_count(service: Service, station: Station) -> None:
    taken = station.write("stock.taken", {**piece(quantity=2), "ref": "SH-A"})
    push(service, taken)
    put(service, "/stock/northgate/SH-A", heat="H9")
    assert push(service, withdraw(station, taken)) == []
    assert quantity(service, "SH-A") == 8


def test_a_withdrawal_leaves_another_piece_of_the_same_name_alone(service: Service, station: Station) -> None:
    first = station.write("offcut.stored", OFFCUT)
    taken = station.write("stock.taken", OFFCUT)
    other = station.write("offcut.stored", {**OFFCUT, "length_mm": 800})
    push(service, first, taken, other)
    assert discrepancies(service) == []
    gone = [withdraw(station, taken), withdraw(station, first)]
    notes = push(service, *gone)
    assert ["another piece" in note for note in notes] == [True, True]
    assert quantity(service, "OC-1") == 1
    assert [(one["kind"], one["event_id"], one["differs"]) for one in discrepancies(service)] == [
        ("size differs", event["event_id"], {"length_mm": {"taken": 900, "record": 800}}) for event in gone
    ]
    push(service, withdraw(station, other))
    assert quantity(service, "OC-1") == 0


def test_a_sheet_that_was_another_than_its_record_says_is_put_back_all_the_same(
    service: Service, station: Station
) -> None:
    taken = station.write("stock.taken", {**piece(quantity=2, length_mm=2440), "ref": "SH-A"})
    push(service, taken)
    assert [one["kind"] for one in discrepancies(service)] == ["size differs"]
    assert push(service, withdraw(station, taken)) == []
    assert quantity(service, "SH-A") == 8
    assert discrepancies(service) == []


def test_that_nobody_counts_what_was_put_back_is_noted(service: Service, station: Station) -> None:
    taken = station.write("stock.taken", {**piece(quantity=2), "ref": "SH-A"})
    push(service, taken)
    assert service.ask("DELETE", "/stock/northgate/SH-A", headers={"If-Match": "*"}).status_code == 204
    gone = withdraw(station, taken)
    (note,) = push(service, gone)
    assert "no record has the name 'SH-A'" in note
    (found,) = discrepancies(service)
    assert (found["kind"], found["event_id"], found["ref"], found["taken"]) == (
        "no record",
        gone["event_id"],
        "SH-A",
        2,
    )
    with connected():
        (row,) = held.discrepancies(0, 10)
        assert held.in_words(row, ()) == "2 put back on the rack, and no record has the name"
    settle = f"/sync/discrepancies/{found['id']}/settle"
    assert service.post(settle, {"words": "entered anew"}).status_code == 200
