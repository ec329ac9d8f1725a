"""What was cut of the steps of a plan, and at how many stations: nothing is lost, and what is over shows."""

from __future__ import annotations

import pytest

from service.store import audits, held, steps
from service.store.audits import told
from service.store.database import connected, database
from service.store.models import Event
from tests.service.shop import PLAN, Service, Station, discrepancies, order, states, step_cut


def kept_of(plan_id: str) -> dict[int, int]:
    with connected():
        assert audits.audit() == []
        return {step: found.pieces for (_, step), found in steps.sums_of(plan_id).items()}


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
    assert f"number {other['seq']} of epoch {other['epoch'][:8]} of {other['station']}" in note
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
