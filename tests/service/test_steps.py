"""What was cut of the steps of a plan, and at how many stations: nothing is lost, and what is over shows."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
from click.testing import CliRunner

from service.cli import main
from service.store import audits, held, makers, steps, tokens
from service.store.audits import told
from service.store.database import connected, database
from service.store.models import Event
from tests.service.shop import NOW, Service, Station, cuts_made, order, piece, sheet

PLAN = "55f0c1d2a3b4e5f6"


def step_cut(station: Station, pieces: int = 4, planned: int = 4, step: int = 2, **more: Any) -> Any:
    return station.cut(plan_id=PLAN, step=step, pieces=pieces, step_pieces=planned, **more)


def states(answer: Any) -> list[str]:
    assert answer.status_code == 200, answer.text
    return [result["state"] for result in answer.json["results"]]


def discrepancies(service: Service, show: str = "open") -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = service.get("/sync/discrepancies", query_string={"show": show}).json[
        "items"
    ]
    return items


def kept_of(plan_id: str) -> dict[int, int]:
    with connected():
        assert audits.audit() == []
        return {step: found.pieces for (_, step), found in steps.sums_of(plan_id).items()}


@pytest.fixture
def second(service: Service) -> Station:
    """Another station of the same site."""
    service.secrets["ng-2"] = service.token("station", site="northgate", station="ng-2")
    return Station("ng-2")


def test_a_step_cut_at_two_stations_shows_and_no_log_is_lost(
    service: Service, station: Station, second: Station
) -> None:
    first, other = step_cut(station), step_cut(second)
    assert states(service.push([first])) == ["applied"]
    assert discrepancies(service) == []
    assert states(service.push([other], "ng-2")) == ["applied"]
    (found,) = discrepancies(service)
    assert found["kind"] == "step over"
    assert (found["plan_id"], found["step"], found["site"]) == (PLAN, 2, "northgate")
    assert (found["pieces_cut"], found["pieces_planned"]) == (8, 4)
    assert found["ref"] is None
    assert found["taken"] is None
    assert [(one["station"], one["event_id"], one["pieces"]) for one in found["events"]] == [
        ("ng-1", first["event_id"], 4),
        ("ng-2", other["event_id"], 4),
    ]
    assert kept_of(PLAN) == {2: 8}
    # Both count in the sums: whether one of them is wrong is for a person to say.
    assert service.get("/reports/throughput", query_string={"by": "site"}).json["rows"][0]["parts"] == 8
    # The same again is the same.
    assert states(service.push([other], "ng-2")) == ["repeat"]
    assert len(discrepancies(service)) == 1
    settle = f"/sync/discrepancies/{found['id']}/settle"
    refused = service.post(settle, {"words": "cut twice", "counted": 4}, "plan")
    assert refused.status_code == 422
    assert refused.json["errors"][0]["pointer"] == "/counted"
    assert service.post(settle, {"words": "cut twice: four were spoiled"}, "plan").status_code == 200
    assert discrepancies(service) == []


def test_a_step_logged_in_parts_at_two_stations_is_as_planned(
    service: Service, station: Station, second: Station
) -> None:
    service.push([step_cut(station, 1), step_cut(station, 2)])
    service.push([step_cut(second, 1), step_cut(second, 9, 9, step=3)], "ng-2")
    assert discrepancies(service) == []
    assert kept_of(PLAN) == {2: 4, 3: 9}


def test_a_step_logged_twice_in_one_push_shows_once_for_each_event_that_is_over(
    service: Service, station: Station
) -> None:
    events = [step_cut(station, 3), step_cut(station, 3), step_cut(station, 1)]
    service.push(events)
    found = discrepancies(service)
    assert [(one["event_id"], one["pieces_cut"]) for one in found] == [
        (events[1]["event_id"], 6),
        (events[2]["event_id"], 7),
    ]
    assert kept_of(PLAN) == {2: 7}


def test_withdrawing_the_first_of_two_settles_what_the_second_showed(
    service: Service, station: Station, second: Station
) -> None:
    first, other = step_cut(station), step_cut(second)
    service.push([first])
    service.push([other], "ng-2")
    gone = [station.write("log.withdrawn", {"event_id": first["event_id"], "reason": "not cut here"})]
    answer = service.push(gone)
    (result,) = answer.json["results"]
    assert result["state"] == "applied"
    (note,) = answer.json["notes"]
    assert "step 2" in note
    assert "4 of 4 pieces" in note
    assert other["event_id"] in note
    assert "ng-2" in note
    # The answer was lost on its way: sent again, or under a new epoch, it is told again.
    sent = [{name: one[name] for name in ("event_id", "type", "payload")} for one in gone]
    assert service.push(gone).json["notes"] == [note]
    anew = Station()
    renewed = [anew.write(one["type"], one["payload"], event_id=one["event_id"]) for one in sent]
    answer = service.push(renewed)
    assert states(answer) == ["repeat"]
    assert answer.json["notes"] == [note]
    assert discrepancies(service) == []
    (settled,) = discrepancies(service, "settled")
    assert settled["settled_by"] == "station ng-1"
    assert kept_of(PLAN) == {2: 4}


def test_withdrawing_one_of_three_leaves_what_is_still_over(service: Service, station: Station) -> None:
    events = [step_cut(station, 4), step_cut(station, 3), step_cut(station, 2)]
    gone = [
        station.write("log.withdrawn", {"event_id": one["event_id"], "reason": "logged twice"})
        for one in events[1:]
    ]
    service.push(events)
    service.push(gone[:1])
    (left,) = discrepancies(service)
    assert left["event_id"] == events[2]["event_id"]
    answer = service.push(gone[1:])
    assert discrepancies(service) == []
    assert kept_of(PLAN) == {2: 4}
    assert "4 of 4 pieces" in answer.json["notes"][0]


def test_an_event_of_a_station_that_does_not_say_pieces_counts_by_its_plan(
    service: Service, station: Station
) -> None:
    plan = service.post("/plans", order(), "plan").json
    last = plan["program"][-1]
    assert last["repeat"] > 1, "a step with several strokes a piece is wanted"
    strokes = last["repeat"] * last["pieces"] // last["gang"]
    old = station.cut(
        plan_id=plan["id"],
        step=last["step"],
        strokes=strokes,
        cut_length_mm=last["along_blade_mm"] * last["gang"],
    )
    assert states(service.push([old])) == ["applied"]
    assert kept_of(plan["id"]) == {last["step"]: last["pieces"]}
    again = station.cut(
        plan_id=plan["id"],
        step=last["step"],
        pieces=last["pieces"],
        step_pieces=last["pieces"],
    )
    service.push([again])
    (found,) = discrepancies(service)
    assert found["pieces_cut"] == 2 * last["pieces"]
    # Strokes that are no whole number of pieces say nothing, and the event is taken all the same.
    odd = station.cut(plan_id=plan["id"], step=last["step"], strokes=strokes + 1)
    assert states(service.push([odd])) == ["applied"]
    assert kept_of(plan["id"]) == {last["step"]: 2 * last["pieces"]}
    pieces = [one["pieces"] for one in discrepancies(service)[0]["events"]]
    assert pieces == [last["pieces"], last["pieces"], None]


def test_a_step_of_a_plan_nobody_here_knows_is_taken_and_not_counted(
    service: Service, station: Station
) -> None:
    assert states(service.push([station.cut(plan_id=PLAN, step=1)])) == ["applied"]
    assert states(service.push([station.cut(plan_id=PLAN, step=2**70)])) == ["applied"]
    assert kept_of(PLAN) == {1: 0}


def test_sheets_that_are_parts_as_they_are_count_as_parts_and_not_as_cuts(
    service: Service, station: Station, second: Station
) -> None:
    part = {"ref": "P1", "length_mm": 2500, "width_mm": 1250, "quantity": 3, "mass_kg": 220.8}
    whole = {
        "machine": "bench-3m",
        "material": "S235JR",
        "thickness_mm": 3,
        "parts": [part],
        "plan_id": PLAN,
        "layout": 1,
        "sheets": 3,
        "layout_sheets": 3,
        "heat": "H77",
    }
    assert states(service.push([station.write("parts.taken", whole)])) == ["applied"]
    (row,) = service.get("/reports/throughput", query_string={"by": "site"}).json["rows"]
    assert (row["parts"], row["strokes"]) == (3, 0)
    assert service.get("/heats/H77").json["parts"][0]["quantity"] == 3
    assert kept_of(PLAN) == {-1: 3}
    service.push([second.write("parts.taken", whole)], "ng-2")
    (found,) = discrepancies(service)
    assert (found["step"], found["pieces_cut"], found["pieces_planned"]) == (-1, 6, 3)


def test_the_audit_names_a_step_that_does_not_add_up(service: Service, station: Station) -> None:
    service.push([step_cut(station)])
    with connected():
        database.execute_sql("UPDATE step_cut SET pieces = 5")
        (found,) = audits.audit()
    assert told(found) == f"plan {PLAN} step 2 pieces: kept 5, counted 4"


def planned_of(plan_id: str) -> dict[int, tuple[int | None, tuple[int, ...] | None]]:
    with connected():
        assert audits.audit() == []
        return {step: (one.planned, one.made_by) for (_, step), one in steps.sums_of(plan_id).items()}


def test_what_a_withdrawn_entry_said_of_its_plan_goes_with_it(service: Service, station: Station) -> None:
    wrong = step_cut(station, 40, 40, made_by=[1])
    gone = station.write("log.withdrawn", {"event_id": wrong["event_id"], "reason": "a nought too many"})
    assert states(service.push([wrong, gone])) == ["applied", "applied"]
    assert planned_of(PLAN) == {2: (None, None)}
    service.push([step_cut(station, 8, 4)])
    (found,) = discrepancies(service)
    assert (found["pieces_cut"], found["pieces_planned"]) == (8, 4)
    assert planned_of(PLAN) == {2: (4, None)}


@pytest.mark.parametrize("figures", [(40, 4), (4, 40)])
def test_of_two_figures_of_a_plan_that_nobody_here_knows_the_less_holds_and_the_station_is_told(
    service: Service, station: Station, second: Station, figures: tuple[int, int]
) -> None:
    first, other = step_cut(station, 3, figures[0]), step_cut(second, 2, figures[1])
    assert "notes" not in service.push([first]).json["results"][0]
    (note,) = service.push([other], "ng-2").json["notes"]
    assert f"step 2 of plan {PLAN} has {figures[1]} pieces, and other entries have {figures[0]}" in note
    over, odd = sorted(discrepancies(service), key=lambda one: one["kind"], reverse=True)
    assert (over["kind"], over["pieces_cut"], over["pieces_planned"]) == ("step over", 5, 4)
    assert (odd["kind"], odd["event_id"]) == ("plan differs", other["event_id"])
    assert odd["differs"] == {"step_pieces": {"taken": figures[1], "record": figures[0]}}
    assert planned_of(PLAN) == {2: (4, None)}
    # Whichever is taken back, what the other said holds.
    service.push([station.write("log.withdrawn", {"event_id": first["event_id"], "reason": "not cut"})])
    assert planned_of(PLAN) == {2: (figures[1], None)}
    assert discrepancies(service) == []


def test_a_plan_that_is_known_here_counts_against_what_entries_say_of_it(
    service: Service, station: Station
) -> None:
    plan = service.post("/plans", order(), "plan").json
    last = plan["program"][-1]
    number, pieces = last["step"], last["pieces"]
    wrong = station.cut(plan_id=plan["id"], step=number, pieces=pieces, step_pieces=10 * pieces)
    (note,) = service.push([wrong]).json["notes"]
    assert f"has {10 * pieces} pieces, and the plan has {pieces}" in note
    silent = station.cut(plan_id=plan["id"], step=number, pieces=1)
    service.push([silent])
    odd, found = discrepancies(service)
    assert (odd["kind"], odd["event_id"], odd["step"]) == ("plan differs", wrong["event_id"], number)
    assert odd["differs"] == {"step_pieces": {"taken": 10 * pieces, "record": pieces}}
    assert (found["pieces_cut"], found["pieces_planned"]) == (pieces + 1, pieces)
    with connected():
        (words, _) = [held.in_words(row, ()) for row in held.discrepancies(0, 9)]
    assert words == f"an entry has {10 * pieces} pieces for the step, and the plan or other entries {pieces}"
    again = station.cut(plan_id=plan["id"], step=number, pieces=1, step_pieces=9 * pieces)
    assert len(service.push([again]).json["notes"]) == 1
    # It is asked once a step, and gone with the entry.
    assert [one["kind"] for one in discrepancies(service)].count("plan differs") == 1
    service.push([station.write("log.withdrawn", {"event_id": again["event_id"], "reason": "not cut"})])
    service.push([station.write("log.withdrawn", {"event_id": wrong["event_id"], "reason": "not cut"})])
    assert planned_of(plan["id"])[number][0] == pieces
    sheets = plan["layouts"][0]["repeat"]
    whole = {
        "machine": "bench-3m",
        "material": "S235JR",
        "thickness_mm": 3,
        "parts": [],
        "plan_id": plan["id"],
        "layout": plan["layouts"][0]["number"],
        "sheets": sheets,
    }
    service.push([station.write("parts.taken", whole)])
    assert planned_of(plan["id"])[-plan["layouts"][0]["number"]] == (sheets, None)


def test_sums_that_drifted_are_named_and_mended(service: Service, station: Station) -> None:
    plan = service.post("/plans", order(), "plan").json
    last = plan["program"][-1]
    service.push(
        [
            step_cut(station, made_by=[1]),
            station.cut(plan_id=plan["id"], step=last["step"], pieces=1, step_pieces=last["pieces"]),
            step_cut(station, 2, 2, step=7),
        ]
    )
    before = kept_of(PLAN), kept_of(plan["id"]), planned_of(plan["id"])
    with connected():
        database.execute_sql(f"UPDATE step_cut SET planned = 9, made_by = '[1,3]' WHERE plan_id = '{PLAN}'")
        database.execute_sql(f"UPDATE step_cut SET planned = 9 WHERE plan_id = '{plan['id']}'")
        database.execute_sql("UPDATE tally SET parts = parts + 1")
        database.execute_sql("UPDATE tally_of_month SET strokes = strokes + 1")
        named = [told(one) for one in audits.audit()]
        assert f"plan {PLAN} step 2 planned: kept 9, counted 4" in named
        assert f"plan {PLAN} step 2 made by: kept 1 and 3, counted 1" in named
        assert f"plan {plan['id']} step {last['step']} planned: kept 9, counted {last['pieces']}" in named
        # As a process of the version before leaves them, which knows nothing of steps.
        Event.update(plan_id=None, step=None, pieces=None).where(Event.seq > 1).execute()
        database.execute_sql("DELETE FROM step_cut")
        assert audits.mend() != []
    assert (kept_of(PLAN), kept_of(plan["id"]), planned_of(plan["id"])) == before
    with connected():
        assert audits.mend() == []


def test_a_corrected_event_counts_its_pieces_when_it_is_applied(service: Service, station: Station) -> None:
    bad = step_cut(station, machine="gone-5m")
    assert states(service.push([bad])) == ["quarantined"]
    assert kept_of(PLAN) == {}
    (held,) = service.get("/sync/quarantine").json["items"]
    right = {**bad["payload"], "machine": "bench-3m", "pieces": 3}
    answer = service.post(
        f"/sync/quarantine/{held['id']}/correct", {"payload": right, "words": "its machine"}
    )
    assert answer.json["state"] == "applied"
    assert kept_of(PLAN) == {2: 3}


@pytest.mark.parametrize(
    ("taken", "differs"),
    [
        ({"length_mm": 3000}, {"length_mm": {"taken": 3000, "record": 2500}}),
        (
            {"width_mm": 1250.01, "thickness_mm": 3.5},
            {
                "width_mm": {"taken": 1250.01, "record": 1250},
                "thickness_mm": {"taken": 3.5, "record": 3},
            },
        ),
        ({"material": "S355JR"}, {"material": {"taken": "S355JR", "record": "S235JR"}}),
        ({"length_mm": 2500.0}, None),
    ],
)
def test_a_sheet_that_is_not_as_its_record_says_shows(
    service: Service, station: Station, taken: dict[str, Any], differs: dict[str, Any] | None
) -> None:
    event = station.write("stock.taken", {**piece(**taken), "ref": "SH-A"})
    assert states(service.push([event])) == ["applied"]
    assert service.get("/stock/northgate/SH-A").json["quantity"] == 7
    found = discrepancies(service)
    if differs is None:
        assert found == []
        return
    (one,) = found
    assert (one["kind"], one["ref"], one["differs"]) == ("size differs", "SH-A", differs)
    assert one["taken"] is None
    assert one["events"] == []
    answer = service.post(
        f"/sync/discrepancies/{one['id']}/settle", {"words": "the record was wrong", "counted": 6}, "plan"
    )
    assert answer.status_code == 200
    assert service.get("/stock/northgate/SH-A").json["quantity"] == 6


def test_an_offcut_that_is_not_as_its_record_says_and_more_than_there_were_shows_twice(
    service: Service, station: Station
) -> None:
    service.post("/stock", sheet("OC-9", kind="offcut", length=900, width=400, quantity=1))
    event = station.write("stock.taken", {**piece(length_mm=800, width_mm=400, quantity=2), "ref": "OC-9"})
    service.push([event])
    assert {one["kind"] for one in discrepancies(service)} == {"stock short", "size differs"}
    gone = station.write("log.withdrawn", {"event_id": event["event_id"], "reason": "another one"})
    assert states(service.push([gone])) == ["applied"]
    assert discrepancies(service) == []
    assert service.get("/stock/northgate/OC-9").json["quantity"] == 1


# --- two events under one event_id -----------------------------------------------------------------


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


# --- what a station took back stays taken back ------------------------------------------------------


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


def test_the_command_lists_and_settles_what_does_not_add_up(small: Service, station: Station) -> None:
    def run(*words: str) -> Any:
        database.close()
        return CliRunner().invoke(main, ["--database", small.address, "discrepancies", *words])

    short = {**piece(quantity=9, length_mm=3000), "ref": "SH-A"}
    small.push([step_cut(station), step_cut(station, 1), station.write("stock.taken", short)])
    lines = run("list").output.splitlines()
    assert [line.rsplit("  ", 1)[1].split(", noted ")[0] for line in lines] == [
        f"entry {number} of ng-1 at northgate, 2026-03-02T09:15:00+00:00" for number in (2, 3, 3)
    ]
    assert [line.rsplit("  ", 1)[0] for line in lines] == [
        f"1  northgate/plan {PLAN} step 2  S235JR  pieces cut 5, planned 4 (counted now: ng-1 4, ng-1 1)",
        "2  northgate/SH-A  S235JR  length_mm 3000 taken, 2500 on the record",
        "3  northgate/SH-A  S235JR  taken 9, on the books 8",
    ]
    refused = run("settle", "1", "--words", "cut again", "--counted", "3")
    assert refused.exit_code == 1
    assert "not the rack" in refused.output
    assert run("settle", "1", "--words", "one was spoiled").output == (
        f"settled: northgate/plan {PLAN} step 2\n"
    )
    assert run("settle", "3", "--words", "counted", "--counted", "2").output == "settled: northgate/SH-A\n"
    assert len(run("list").output.splitlines()) == 1


# --- pieces that nobody logged as made --------------------------------------------------------------


def look(service: Service, **later: float) -> tuple[int, int]:
    service.clock.now += timedelta(**later)
    with connected():
        found = makers.look(service.clock.now)
    return found.noted, found.settled


def test_a_step_whose_maker_never_comes_shows_a_day_later_and_until_it_comes(
    service: Service, station: Station, second: Station
) -> None:
    late = step_cut(station, step=5, made_by=[2, 3])
    service.push([late, step_cut(station, step=3)])
    assert look(service, hours=23) == (0, 0)
    assert look(service, hours=2) == (1, 0)
    (found,) = discrepancies(service)
    assert (found["kind"], found["step"], found["makers"]) == ("maker missing", 5, [2])
    assert [one["event_id"] for one in found["events"]] == [late["event_id"]]
    # Looked at daily, and noted once.
    assert look(service, days=1) == (0, 0)
    maker = step_cut(second, step=2)
    service.push([maker], "ng-2")
    assert look(service, days=1) == (0, 1)
    assert discrepancies(service) == []
    # It was not cut after all: the pieces are nobody's again.
    gone = second.write("log.withdrawn", {"event_id": maker["event_id"], "reason": "not cut"})
    service.push([gone], "ng-2")
    assert look(service, days=1) == (1, 0)
    (anew,) = discrepancies(service)
    assert anew["settled_at"] is None
    # How it was settled the first time stays written down.
    (settled,) = discrepancies(service, "settled")
    assert (settled["id"], settled["words"]) == (found["id"], "the step that makes its pieces came")
    assert look(service, days=1) == (0, 0)


def test_a_maker_of_which_nobody_knows_how_many_pieces_is_not_missing(
    service: Service, station: Station
) -> None:
    service.push([step_cut(station, step=5, made_by=[2]), station.cut(plan_id=PLAN, step=2)])
    assert look(service, days=2) == (0, 0)


def test_what_a_person_settled_of_a_missing_maker_is_not_asked_again(
    service: Service, station: Station
) -> None:
    service.push([step_cut(station, step=5, made_by=[2])])
    assert look(service, days=2) == (1, 0)
    (found,) = discrepancies(service)
    answer = service.post(f"/sync/discrepancies/{found['id']}/settle", {"words": "cut by hand"}, "plan")
    assert answer.json["makers"] == [2]
    assert look(service, days=1) == (0, 0)
    assert discrepancies(service) == []


def test_a_step_of_an_older_station_has_the_makers_that_its_plan_tells(
    service: Service, station: Station
) -> None:
    plan = service.post("/plans", order(), "plan").json
    last = plan["program"][-1]
    assert last["step"] > 1, "a step after the first is wanted"
    strokes = last["repeat"] * last["pieces"] // last["gang"]
    length = last["along_blade_mm"] * last["gang"]
    service.push([station.cut(plan_id=plan["id"], step=last["step"], strokes=strokes, cut_length_mm=length)])
    assert look(service, days=2) == (1, 0)
    (found,) = discrepancies(service)
    maker = plan["program"][found["makers"][0] - 1]
    assert last["piece"] in {out["ref"] for out in (*maker["drop_to"], *maker["remainder_to"])}


@pytest.mark.parametrize("name", ["station manager", "the service desk"])
def test_what_a_person_of_any_name_settled_is_not_asked_again(
    service: Service, station: Station, name: str
) -> None:
    with connected():
        secret = tokens.make(name, ["plan"], now=NOW)[1]
    service.push([step_cut(station, step=5, made_by=[2])])
    assert look(service, days=2) == (1, 0)
    (found,) = discrepancies(service)
    settle = f"/sync/discrepancies/{found['id']}/settle"
    assert service.post(settle, {"words": "by hand, not logged"}, secret).status_code == 200
    assert look(service, days=2) == (0, 0)
    (settled,) = discrepancies(service, "settled")
    assert (settled["settled_by"], settled["words"]) == (name, "by hand, not logged")
