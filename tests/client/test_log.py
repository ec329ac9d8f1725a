import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from client.cache.plans import keep_plan
from client.errors import InputWrong
from client.log.awaited import awaited
from client.log.batch import Sheet
from client.log.machine import EdgeMeasured, log_blade, log_edge
from client.log.step import log_step
from client.log.without_plan import PartMade, log_cuts, log_offcut, log_taken
from client.planning import plan_here
from client.workstation import workstation_at
from schemas.events import payload_errors
from schemas.plans import write_plan
from service.engine.quantities import mm
from tests.client.epochs import new_epoch

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def planned(stocked, order_document):
    return plan_here(stocked, order_document)


def payloads(station, kind):
    return [one.event["payload"] for one in station.outbox.all_events() if one.type == kind]


def log_all(station, kept):
    for step in kept.plan.program:
        log_step(station, kept.id, step.number, operator="ab")


def test_mass_is_kept_over_a_whole_plan(stocked, planned):
    # Conservation of mass: what is taken is what parts, scrap, trims and offcuts weigh together.
    log_all(stocked, planned)
    taken = sum(one["mass_kg"] for one in payloads(stocked, "stock.taken"))
    parts = sum(p["mass_kg"] for one in payloads(stocked, "cuts.made") for p in one["parts"])
    scrap = sum(one["mass_kg"] for one in payloads(stocked, "scrap.made"))
    offcuts = sum(one["mass_kg"] for one in payloads(stocked, "offcut.stored"))
    assert taken == pytest.approx(parts + scrap + offcuts, abs=0.01)


def test_a_sheet_weighs_what_the_handbook_says(stocked, planned):
    # 7.85 kg/m² for each mm of steel (EN 10025-1 / trade tables, from memory): 2.5 · 1.25 · 3 · 7.85 = 73.59.
    log_all(stocked, planned)
    taken = payloads(stocked, "stock.taken")
    assert sum(one["quantity"] for one in taken) == planned.plan.summary.sheets
    assert taken[0]["mass_kg"] / taken[0]["quantity"] == pytest.approx(73.59, abs=0.01)


def test_every_part_of_the_plan_is_logged_once(stocked, planned, order_document):
    log_all(stocked, planned)
    made = {}
    for one in payloads(stocked, "cuts.made"):
        for part in one["parts"]:
            made[part["ref"]] = made.get(part["ref"], 0) + part["quantity"]
            assert part["order_ref"] == "W-1042"
    assert made == {part["ref"]: part["quantity"] for part in order_document["parts"]}


def test_each_cut_says_how_many_pieces_of_how_many_of_its_step(stocked, planned):
    # Logged in two halves where a step can be, so that no event tells of all of it.
    for step in planned.plan.program:
        if step.pieces % 2 == 0:
            log_step(stocked, planned.id, step.number, pieces=step.pieces // 2)
        log_step(stocked, planned.id, step.number)
    told = {}
    for one in payloads(stocked, "cuts.made"):
        told[one["step"]] = told.get(one["step"], 0) + one["pieces"]
        assert one["step_pieces"] == planned.plan.program[one["step"] - 1].pieces
    assert told == {step.number: step.pieces for step in planned.plan.program}


def test_strokes_and_metres_are_those_of_the_plan(stocked, planned):
    log_all(stocked, planned)
    cuts = payloads(stocked, "cuts.made")
    assert sum(one["strokes"] for one in cuts) == planned.plan.summary.strokes
    metres = sum(one["strokes"] * one["cut_length_mm"] for one in cuts) / 1000
    assert metres == pytest.approx(planned.plan.summary.cut_metres, rel=1e-9)


def test_wear_is_reckoned_by_the_engine_for_the_metres_cut(stocked, planned):
    from service.engine.wear.metres import equivalent_metres

    log_all(stocked, planned)
    machine, material = planned.order.machine, planned.order.material("S235JR")
    for one in payloads(stocked, "cuts.made"):
        metres = one["strokes"] * one["cut_length_mm"] / 1000
        assert one["equivalent_m"] == pytest.approx(
            equivalent_metres(machine, material, 300, metres), abs=1e-6
        )


def test_trims_and_leftovers_have_their_reasons(stocked, planned):
    log_all(stocked, planned)
    leaves = {
        (out.kind, step.number)
        for step in planned.plan.program
        for out in (*step.drops, *step.remainders)
        if out.kind in {"trim", "scrap"}
    }
    logged = {
        ("trim" if one["reason"] == "trim" else "scrap", one["step"])
        for one in payloads(stocked, "scrap.made")
    }
    assert logged == leaves
    assert {one["reason"] for one in payloads(stocked, "scrap.made")} <= {"trim", "leftover"}


def test_the_rack_shows_at_once_what_was_taken_and_stored(stocked, planned):
    log_all(stocked, planned)
    rack = {item.ref: item for item in stocked.rack()}
    assert rack["SH-A"].quantity == 8 - planned.plan.summary.sheets
    stored = payloads(stocked, "offcut.stored")
    assert stored, "this order leaves an offcut"
    for one in stored:
        item = rack[one["ref"]]
        assert (item.kind, item.edges, item.heat) == ("offcut", "mill", "H123")
        assert (item.length, item.width) == (mm(one["length_mm"]), mm(one["width_mm"]))


def test_the_note_of_an_offcut_tells_how_it_was_rolled(stocked):
    """Its sides stand as in the stock: the one along the rolling direction first, be it the shorter."""
    sheet = Sheet(stocked.material("S235JR"), 300, 50_000, 90_000, 1)
    (note,) = log_offcut(stocked, sheet, stocked.machine("bench-3m")).notes
    assert "(1 of 500 × 900 × 3, S235JR, rolled along the 500)" in note


def test_an_offcut_has_the_heat_of_the_sheet_it_was_cut_from_unless_another_is_told(stocked):
    machine, material = stocked.machine("bench-3m"), stocked.material("S235JR")
    sheet = Sheet(material, 300, 90_000, 50_000, 1)

    def heat_of(one, from_stock):
        log_offcut(stocked, one, machine, from_stock=from_stock)
        return payloads(stocked, "offcut.stored")[-1].get("heat")

    assert heat_of(sheet, "SH-A") == "H123"
    assert heat_of(replace(sheet, heat="H9"), "SH-A") == "H9"
    assert heat_of(replace(sheet, thickness=500), "SH-A") is None
    assert heat_of(sheet, None) is None


def test_a_name_that_stands_in_the_rack_list_is_not_given_again(stocked):
    machine, sheet = stocked.machine("bench-3m"), Sheet(stocked.material("S235JR"), 300, 90_000, 50_000, 1)

    def named():
        return payloads(stocked, "offcut.stored")[-1]["ref"]

    log_offcut(stocked, sheet, machine)
    first = named()
    # As after a store that was put back: it forgot the name, and the records still list the piece.
    stocked.outbox.sql.set_meta("offcuts_named", None)
    log_offcut(stocked, sheet, machine)
    second = named()
    log_offcut(stocked, sheet, machine)
    assert len({first, second, named()}) == 3
    assert {item.ref: item.quantity for item in stocked.rack()}[first] == 1


def test_an_offcut_gets_a_name_that_can_be_written_by_hand_and_is_never_given_twice(stocked):
    material = stocked.material("S235JR")
    machine = stocked.machine("bench-3m")
    names = []
    for _ in range(3):
        logged = log_offcut(stocked, Sheet(material, 300, 90_000, 50_000, 1), machine)
        names.append(logged.events[0].event["payload"]["ref"])
        assert names[-1] in logged.notes[0]
    assert len(set(names)) == 3
    assert all(name.startswith("bench1-") and len(name) < 15 for name in names)
    new_epoch(stocked.outbox)
    logged = log_offcut(stocked, Sheet(material, 300, 90_000, 50_000, 1), machine)
    assert logged.events[0].event["payload"]["ref"].split("-")[1] != names[0].split("-")[1]


def test_a_step_is_not_logged_beyond_its_pieces(stocked, planned):
    log_step(stocked, planned.id, 1)
    with pytest.raises(InputWrong, match="--again"):
        log_step(stocked, planned.id, 1)
    before = stocked.outbox.counts().pending
    assert log_step(stocked, planned.id, 1, again=True).events
    assert stocked.outbox.counts().pending > before


def ganged(station, kept):
    """The plan with one step written anew for five pieces, two side by side, whoever planned it how."""
    step = next(one for one in kept.plan.program if any(out.kind == "part" for out in one.drops))

    def five(outcomes):
        return tuple(replace(out, count=out.count // step.pieces * 5) for out in outcomes)

    changed = replace(
        step,
        pieces=5,
        gang=2,
        strokes=step.repeat * 3,
        drops=five(step.drops),
        remainders=five(step.remainders),
    )
    program = tuple(changed if one is step else one for one in kept.plan.program)
    document = write_plan(replace(kept.plan, program=program), kept.order, "ganged")
    keep_plan(station.outbox.sql, "ganged", document, "2026-03-02T07:15:00Z")
    return changed


def parts_of(step):
    return sum(out.count for out in (*step.drops, *step.remainders) if out.kind == "part")


def test_a_part_of_a_step_counts_its_own_pieces_and_strokes(stocked, planned):
    step = ganged(stocked, planned)
    first = log_step(stocked, "ganged", step.number, pieces=1)
    cuts = [one.event["payload"] for one in first.events if one.type == "cuts.made"]
    assert [one["strokes"] for one in cuts] == [step.repeat]
    assert cuts[0]["cut_length_mm"] == step.along_blade / 100
    assert sum(part["quantity"] for part in cuts[0]["parts"]) == parts_of(step) // 5
    with pytest.raises(InputWrong, match="at most 4 are left"):
        log_step(stocked, "ganged", step.number, pieces=5)
    log_step(stocked, "ganged", step.number)
    made = sum(p["quantity"] for one in payloads(stocked, "cuts.made") for p in one["parts"])
    assert made == parts_of(step)


def test_metres_of_a_full_gang_and_of_the_rest_are_told_apart(stocked, planned):
    step = ganged(stocked, planned)
    logged = log_step(stocked, "ganged", step.number)
    cuts = [one.event["payload"] for one in logged.events if one.type == "cuts.made"]
    # Five pieces, two side by side: two full strokes and one of a single piece for each cut.
    assert [one["cut_length_mm"] for one in cuts] == [step.along_blade * 2 / 100, step.along_blade / 100]
    assert [one["strokes"] for one in cuts] == [2 * step.repeat, step.repeat]
    metres = sum(one["cut_length_mm"] * one["strokes"] for one in cuts)
    assert metres == pytest.approx(5 * step.repeat * step.along_blade / 100)


def test_a_step_whose_pieces_are_not_logged_yet_is_logged_with_a_note(stocked, planned):
    step = next(one for one in planned.plan.program if one.number > 1)
    logged = log_step(stocked, planned.id, step.number)
    assert any("is not logged yet" in note for note in logged.notes)


def test_taking_more_than_the_records_have_is_logged_with_a_note(stocked):
    machine = stocked.machine("bench-3m")
    logged = log_taken(stocked, "SH-A", 9, machine)
    assert "count the rack" in logged.notes[0]
    assert {item.ref: item.quantity for item in stocked.rack()}["SH-A"] == 0
    assert "0 of SH-A, and 1 is taken" in log_taken(stocked, "SH-A", 1, machine).notes[0]


@pytest.mark.parametrize(
    ("plan", "step", "told"), [("none", 1, "no plan is known"), (None, 99, "has no step 99")]
)
def test_what_is_not_known_is_told(stocked, planned, plan, step, told):
    with pytest.raises(InputWrong, match=told):
        log_step(stocked, plan or planned.id, step)


def test_cuts_without_a_plan(stocked):
    logged = log_cuts(
        stocked,
        stocked.machine("bench-3m"),
        stocked.material("S235JR"),
        300,
        125_000,
        4,
        parts=[PartMade("X1", 60_000, 30_000, 4)],
        order_ref="W-7",
        heat="H9",
        minutes=3.5,
        blade_edge=2,
    )
    made = logged.events[0].event["payload"]
    assert (made["strokes"], made["cut_length_mm"], made["blade_edge"], made["heat"]) == (4, 1250.0, 2, "H9")
    assert made["parts"][0]["mass_kg"] == pytest.approx(4 * 0.6 * 0.3 * 3 * 7.85, abs=1e-3)


def test_a_cut_longer_than_the_machine_is_a_slip_of_the_pen(stocked):
    machine, material = stocked.machine("bench-3m"), stocked.material("S235JR")
    with pytest.raises(InputWrong, match="longer than"):
        log_cuts(stocked, machine, material, 300, 300_001, 1)
    with pytest.raises(InputWrong, match="have 4 edges"):
        log_blade(stocked, machine, 5, "turned")


def test_nothing_of_a_step_is_written_when_its_transaction_fails(stocked, planned, monkeypatch):
    def cut_short(*_args):
        raise RuntimeError("power cut")

    monkeypatch.setattr("client.log.batch.mark_done", cut_short)
    with pytest.raises(RuntimeError):
        log_step(stocked, planned.id, 1)
    assert stocked.outbox.counts().pending == 0
    assert {item.ref: item.quantity for item in stocked.rack()}["SH-A"] == 8
    monkeypatch.undo()
    assert log_step(stocked, planned.id, 1).events


def test_what_was_logged_is_there_after_opening_again(home, stocked, planned):
    log_all(stocked, planned)
    before = [one.body for one in stocked.outbox.all_events()]
    rack = stocked.rack()
    stocked.close()
    with workstation_at(home) as again:
        assert [one.body for one in again.outbox.all_events()] == before
        assert again.rack() == rack
        with pytest.raises(InputWrong, match="logged already"):
            log_step(again, planned.id, 1)


def test_deleting_the_cache_loses_nothing_that_was_written_down(home, stocked, planned):
    log_all(stocked, planned)
    count = stocked.outbox.counts().pending
    stocked.close()
    home.cache_file.unlink()
    with workstation_at(home) as again:
        assert again.outbox.counts().pending == count
        assert json.loads(json.dumps(again.plan_document(planned.id)))["id"] == planned.id


def test_two_processes_that_log_the_same_step_at_once_log_it_once(home, stocked, planned):
    child = """
import sys
from pathlib import Path
from client.log.step import log_step
from client.errors import InputWrong
from client.home import Home
from client.workstation import workstation_at
with workstation_at(Home(Path(sys.argv[1]))) as station:
    sys.stdin.readline()
    try:
        log_step(station, sys.argv[2], 1)
        print("written")
    except InputWrong:
        print("refused")
"""
    running = [
        subprocess.Popen(
            [sys.executable, "-c", child, str(home.folder), planned.id],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for _ in range(3)
    ]
    for one in running:
        one.stdin.write("go\n")
        one.stdin.flush()
    said = sorted(one.communicate(timeout=60)[0].strip() for one in running)
    assert said == ["refused", "refused", "written"]
    assert sum(one["quantity"] for one in payloads(stocked, "stock.taken")) == planned.plan.layouts[0].repeat


def test_a_measured_edge_is_written_down(stocked):
    machine = stocked.machine("bench-3m")
    measured = EdgeMeasured(2, "lower", 45.0, 0.12, 300, "S235JR", 20_000)
    logged = log_edge(stocked, machine, measured, operator="KB")
    payload = logged.events[0].event["payload"]
    assert payload == {
        "machine": "bench-3m", "edge": 2, "blade": "lower", "radius_um": 45.0, "burr_mm": 0.12,
        "thickness_mm": 3.0, "material": "S235JR", "place_mm": 200.0, "operator": "KB",
    }  # fmt: skip
    assert payload_errors("edge.measured", payload) == []


@pytest.mark.parametrize(
    ("measured", "says"),
    [
        (EdgeMeasured(), "--radius or --burr"),
        (EdgeMeasured(burr_mm=0.1), "--thickness"),
        (EdgeMeasured(edge=5, radius_um=40.0), "4 edges"),
        (EdgeMeasured(radius_um=40.0, place=10**7), "mm long"),
    ],
    ids=["nothing", "burr alone", "edge", "place"],
)
def test_a_measured_edge_that_cannot_be_is_refused(stocked, measured, says):
    with pytest.raises(InputWrong, match=says):
        log_edge(stocked, stocked.machine("bench-3m"), measured)


def test_a_cut_away_from_the_squaring_arm_says_where(stocked):
    machine, material = stocked.machine("bench-3m"), stocked.material("S235JR")
    log_cuts(stocked, machine, material, 300, 50_000, 2, start=100_000)
    assert payloads(stocked, "cuts.made")[-1]["start_mm"] == 1000.0
    with pytest.raises(InputWrong, match="begins 2900 mm along the blade"):
        log_cuts(stocked, machine, material, 300, 50_000, 2, start=290_000)


def test_a_step_logged_without_the_one_that_makes_its_pieces_is_told_until_that_is_logged(stocked, planned):
    makers = {
        step.number: [
            one.number
            for one in planned.plan.program
            for out in (*one.drops, *one.remainders)
            if out.kind == "piece" and out.ref == step.piece
        ]
        for step in planned.plan.program
    }
    late = next(number for number, of in makers.items() if of)
    assert list(awaited(stocked)) == []
    log_step(stocked, planned.id, late)
    assert list(awaited(stocked)) == [
        f"step {late} of plan {planned.id} is logged, and step {maker}, which makes its pieces, "
        "is not logged here"
        for maker in makers[late]
    ]
    for maker in makers[late]:
        log_step(stocked, planned.id, maker)
    told = [line for line in awaited(stocked) if line.startswith(f"step {late} ")]
    assert told == []


def test_status_tells_of_it_too(home, stocked, planned, shearwright):
    log_step(stocked, planned.id, planned.plan.program[-1].number)
    (told, *_) = awaited(stocked)
    stocked.close()
    assert f"note: {told}" in shearwright(home.folder, "status").stdout.splitlines()
