"""The station and the real service, each in a process of its own, over loopback."""

import json
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from client.cli import cli
from client.log.batch import Sheet
from client.log.machine import log_blade, log_gauge, log_program
from client.log.step import log_step
from client.log.without_plan import log_scrap, log_taken
from client.planning import plan_here, plan_there
from client.sync import sync_once
from client.wire import Wire
from service.engine.fingerprint import canonical_json

ROOT = Path(__file__).resolve().parents[2]


def stock_at_centre(service, token):
    found = service.get("/v1/stock", token)["items"]
    return {item["ref"]: item["quantity"] for item in found}


def events_at_centre(service):
    with sqlite3.connect(service.database) as database:
        return database.execute("SELECT event_id, state FROM event ORDER BY id").fetchall()


def test_a_plan_is_the_same_offline_and_online_byte_for_byte(service, connected, order_document, hurry):
    with connected(service) as station:
        assert sync_once(station).complete
        here = plan_here(station, order_document)
        wire = Wire(service.url, service.plan_token())
        there = plan_there(station, wire, order_document, hurry())
        wire.close()
    assert here.plan.fingerprint == there.plan.fingerprint
    assert canonical_json(here.document) == canonical_json(there.document)


def test_a_comparison_is_the_same_offline_and_online_in_all_its_plans(
    service, connected, order_document, hurry
):
    sizes = ((600, 300, 5), (410, 230, 9), (655, 175, 7), (820, 440, 3), (390, 120, 8), (505, 340, 4))
    part = order_document["parts"][0]
    parts = [
        {**part, "ref": f"P{number}", "length": length, "width": width, "quantity": quantity}
        for number, (length, width, quantity) in enumerate(sizes, 1)
    ]
    asked = {**order_document, "parts": parts, "options": {"objective": "compare", "effort": "quick"}}
    with connected(service) as station:
        assert sync_once(station).complete
        here = plan_here(station, asked)
        wire = Wire(service.url, service.plan_token())
        there = plan_there(station, wire, asked, hurry())
        wire.close()
        assert [station.plan_document(one.id) is not None for one in here.others] == [True] * len(here.others)
    assert here.others
    assert [canonical_json(one.document) for one in (here, *here.others)] == [
        canonical_json(one.document) for one in (there, *there.others)
    ]


def test_the_station_answers_questions_about_a_cut_as_the_service_does(service, connected):
    with connected(service) as station:
        assert sync_once(station).complete
        home = station.home.folder
        wire = Wire(service.url, service.plan_token())
        cut = {"machine": "bench-3m", "material": "S355JR", "thickness": 4, "cut_length": 900}
        force = wire.post("/v1/checks/force", {**cut, "drop_depth": 30, "remainder_depth": 400}).document
        settings = wire.post("/v1/settings", {**cut, "drop_depth": 300}).document
        piece = {"material": "S355JR", "thickness": 4, "length": 900, "width": 700}
        lift = wire.post("/v1/checks/lift", {"piece": piece, "turned_deg": 30}).document
        wire.close()

    def asked(*words):
        done = CliRunner().invoke(cli, ["--home", str(home), *words])
        assert done.exit_code == 0, done.output
        return done.stdout

    of_cut = ("--material", "S355JR", "--thickness", "4", "--cut-length", "900")
    told = asked("cut-check", *of_cut, "--drop", "30", "--remainder", "400")
    assert force["findings"]
    for finding in force["findings"]:
        assert f"{finding['level']}: {finding['message']}" in told
    assert f"{force['force_kn']:.0f} of {force['limit_kn']:.0f} kN" in told
    told = asked("cut-settings", *of_cut, "--drop", "300")
    for finding in settings["findings"]:
        assert f"{finding['level']}: {finding['message']}" in told
    assert f"gap              {settings['gap_mm']:g} mm" in told
    size = ("--length", "900", "--width", "700")
    told = asked("lift-check", *of_cut[:4], *size, "--turned", "30")
    assert f"index            {lift['index']:.2f}" in told
    for finding in lift["findings"]:
        assert finding["message"] in told


def test_a_day_at_the_shear_arrives_as_it_was_logged(service, connected, order_document):
    with connected(service) as station:
        sync_once(station)
        kept = plan_here(station, order_document)
        for step in kept.plan.program:
            log_step(station, kept.id, step.number, operator="ab")
        machine, material = station.machine("bench-3m"), station.material("S235JR")
        log_scrap(station, Sheet(material, 300, 60_000, 30_000, 1), machine, "twisted", plan_id=kept.id)
        log_gauge(station, machine, 30_000, 30_012)
        log_blade(station, machine, 2, "turned")
        log_program(
            station,
            {
                "program_id": "shelf",
                "name": "Shelf blanks",
                "machine": "bench-3m",
                "material": "S235JR",
                "thickness_mm": 2.0,
                "cut_length_mm": 1250.0,
                "steps": [{"gauge_mm": 300.0, "repeat": 4}],
                "based_on_revision": 0,
            },
        )
        before = station.rack()
        report = sync_once(station)
        assert report.complete
        assert report.pushed.quarantined == 0, station.outbox.quarantined()
        assert report.counts.pending == 0
        assert station.rack() == before, "the centre reckons the rack as the station did"
        assert station.records.record("program", "shelf")["name"] == "Shelf blanks"
        assert station.records.record("blade", "bench-3m")["edge"] == 2
        logged = [one.event_id for one in station.outbox.all_events()]
    assert events_at_centre(service) == [(event_id, "applied") for event_id in logged]
    token = service.plan_token()
    scrap = service.get("/v1/reports/scrap?by=reason", token)["rows"]
    assert "twisted" in json.dumps(scrap)
    service.command("audit")


@pytest.mark.parametrize("fault", ["lose request", "lose answer", "cut answer", "unavailable", "twice"])
def test_whatever_the_road_loses_each_event_is_applied_once(service, bad_road, connected, hurry, fault):
    with connected(service, url=bad_road.url) as station:
        assert sync_once(station, patience=hurry()).complete
        machine = station.machine("bench-3m")
        for _ in range(3):
            log_taken(station, "SH-A", 1, machine)
        bad_road.faults = [fault, fault]
        report = sync_once(station, patience=hurry())
        assert report.complete
        assert report.counts.pending == 0
        logged = [one.event_id for one in station.outbox.all_events()]
    assert events_at_centre(service) == [(event_id, "applied") for event_id in logged]
    assert stock_at_centre(service, service.plan_token())["SH-A"] == 5


def test_with_the_service_away_work_goes_on_and_arrives_later(service, connected, order_document, hurry):
    with connected(service) as station:
        sync_once(station)
        service.stop()
        kept = plan_here(station, order_document)
        log_step(station, kept.id, 1)
        report = sync_once(station, patience=hurry())
        assert not report.complete
        assert report.counts.pending == len(list(station.outbox.all_events()))
        service.start()
        assert sync_once(station, patience=hurry()).complete
        assert station.outbox.counts().pending == 0


def test_a_store_restored_with_its_mark_is_found_out_by_the_centre_and_loses_nothing(
    service, connected, hurry
):
    with connected(service) as station:
        sync_once(station)
        machine = station.machine("bench-3m")
        log_taken(station, "SH-A", 1, machine)
        sync_once(station)
        folder = station.home.folder
    shutil.copytree(folder, folder.with_name("backup"))
    with connected(service) as station:
        log_taken(station, "SH-A", 1, station.machine("bench-3m"))
        assert sync_once(station, patience=hurry()).complete
    shutil.rmtree(folder)
    shutil.copytree(folder.with_name("backup"), folder)
    with connected(service) as station:
        assert station.outbox.notice is None, "store and mark went back together"
        log_taken(station, "SH-A", 2, station.machine("bench-3m"))
        report = sync_once(station, patience=hurry())
        assert report.complete
        assert len(station.outbox.epochs()) == 2
        assert any("new epoch" in notice for notice in report.notices)
        assert {item.ref: item.quantity for item in station.rack()}["SH-A"] == 4
    assert stock_at_centre(service, service.plan_token())["SH-A"] == 8 - 1 - 1 - 2


@pytest.mark.parametrize("told", [True, False])
def test_a_centre_put_back_from_a_backup_gets_everything_again(service, connected, hurry, tmp_path, told):
    with connected(service) as station:
        sync_once(station)
        machine = station.machine("bench-3m")
        log_taken(station, "SH-A", 1, machine)
        sync_once(station)
        service.stop()
        shutil.copy(service.database, tmp_path / "backup.sqlite3")
        service.start()
        log_taken(station, "SH-A", 2, machine)
        assert sync_once(station).complete
        service.stop()
        for end in ("", "-wal", "-shm"):
            Path(str(service.database) + end).unlink(missing_ok=True)
        shutil.copy(tmp_path / "backup.sqlite3", service.database)
        if told:
            with sqlite3.connect(service.database) as database:
                # What `restored` does: another life of the centre.
                database.execute("UPDATE centre SET epoch = '22222222-2222-4222-8222-222222222222'")
        service.start()
        # Else the station finds out by itself: its cursor and its events lie beyond what the centre has.
        report = sync_once(station, patience=hurry())
        assert report.complete
        assert report.pushed.offered_again == 1
        assert {item.ref: item.quantity for item in station.rack()}["SH-A"] == 5
    assert stock_at_centre(service, service.plan_token())["SH-A"] == 5


CHILD = """
import os, signal, sys
from pathlib import Path

from client.cache.sqlite import Sqlite
from client.home import Home
from client.log.without_plan import log_taken
from client.sync import sync_once
from client.wire import Wire
from client.workstation import workstation_at

home, point, kind = Home(Path(sys.argv[1])), int(sys.argv[2]), sys.argv[3]
seen = 0


def die():
    os.kill(os.getpid(), signal.SIGKILL)


def count():
    global seen
    seen += 1
    if seen == point:
        die()


plain_execute, plain_post = Sqlite._execute, Wire.post


def execute(self, sql, values=()):
    if kind == "before":
        count()
    done = plain_execute(self, sql, values)
    if kind == "after":
        count()
    return done


def post(self, *given):
    answer = plain_post(self, *given)
    if kind == "answer":
        count()
    return answer


with workstation_at(home) as station:
    machine = station.machine("bench-3m")
    Sqlite._execute, Wire.post = execute, post
    for _ in range(2):
        print(log_taken(station, "SH-A", 1, machine).events[0].event_id, flush=True)
    sync_once(station)
    print("end", flush=True)
"""


def test_no_power_cut_at_any_point_loses_or_doubles_anything(service, connected, hurry, tmp_path):
    service.load(sites=[], stock=[{**many_sheets(), "quantity": 500}])
    with connected(service) as station:
        assert sync_once(station).complete
        folder = station.home.folder
    told: list[str] = []
    killed = 0
    points = [("before", n) for n in range(3, 60, 7)] + [("after", n) for n in range(1, 60, 7)]
    for kind, point in [*points, ("answer", 1)]:
        done = subprocess.run(
            [sys.executable, "-c", CHILD, str(folder), str(point), kind],
            cwd=ROOT,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        assert done.returncode in {0, -9}, done.stderr
        killed += done.returncode == -9
        said = done.stdout.split()
        told += [word for word in said if word != "end"]
        with connected(service) as station:
            station.outbox.sql.check()
            kept = {one.event_id for one in station.outbox.all_events()}
            assert set(told) <= kept, f"lost at {kind} {point}"
            assert station.outbox.notice is None
    assert killed > len(points) // 2, "the points lie where something happens"
    with connected(service) as station:
        assert sync_once(station, patience=hurry()).complete
        assert station.outbox.counts().pending == 0
        logged = [one.event_id for one in station.outbox.all_events()]
        on_rack = {item.ref: item.quantity for item in station.rack()}["SH-A"]
    assert events_at_centre(service) == [(event_id, "applied") for event_id in logged]
    assert stock_at_centre(service, service.plan_token())["SH-A"] == on_rack == 500 - len(logged)


def many_sheets():
    return {
        "site": "northgate",
        "ref": "SH-A",
        "length": 2500,
        "width": 1250,
        "quantity": 500,
        "material": "S235JR",
        "thickness": 3,
        "heat": "H123",
    }


def test_what_the_service_finds_wrong_with_an_order_is_told_by_line(service, connected, hurry, tmp_path):
    from client.errors import InputWrong
    from client.orders.read import read_order_file, resolved

    path = tmp_path / "order.csv"
    path.write_text("ref;length;width;quantity;material;thickness\n\nP1;600;0;8;S235JR;3\n")
    with connected(service) as station:
        wire = Wire(service.url, service.plan_token())
        read = read_order_file(path, machine="bench-3m")
        with pytest.raises(InputWrong, match=r"line 3, width: .*zero"):
            resolved(read, lambda document: plan_there(station, wire, document, hurry()))
        wire.close()


def test_a_service_that_does_not_answer_is_given_up_in_time(connected, service, hurry):
    import socket
    import time

    with socket.create_server(("127.0.0.1", 0)) as silent, connected(service) as station:
        wire = Wire(f"http://127.0.0.1:{silent.getsockname()[1]}", "t")
        began = time.monotonic()
        report = sync_once(station, wire=wire, patience=hurry(total_s=2, tries=9))
        assert time.monotonic() - began < 6
        assert "did not answer in time" in str(report.problem)
