import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from client.cli import cli
from client.errors import EXIT_CODES, NotAllPlanned
from client.home import Home, StationSettings

ROOT = Path(__file__).resolve().parents[2]
TABLE = "ref;length;width;quantity;material;thickness\nP1;600;300;8;S235JR;3\n"


@pytest.fixture
def run(home, stocked):
    stocked.close()

    def command(*words, **given):
        return CliRunner().invoke(cli, ["--home", str(home.folder), *words], **given)

    return command


@pytest.fixture
def order(tmp_path):
    path = tmp_path / "W-1042.csv"
    path.write_text(TABLE)
    return str(path)


def walk(command, *path):
    yield path, command
    for name, inner in getattr(command, "commands", {}).items():
        yield from walk(inner, *path, name)


def test_every_command_and_option_has_a_help_text():
    for path, command in walk(cli):
        assert command.help, path
        for option in command.params:
            if option.param_type_name == "option":
                assert option.help, (path, option.name)


def test_the_help_lists_every_exit_code():
    said = CliRunner().invoke(cli, ["--help"]).output
    for line in EXIT_CODES.splitlines():
        assert line.strip() in said


def test_before_init_each_command_says_what_to_run(tmp_path):
    for words in (["status"], ["pull"], ["sync"], ["stock"], ["log", "blade", "1"], ["export", "x"]):
        done = CliRunner().invoke(cli, ["--home", str(tmp_path / "none"), *words])
        assert done.exit_code == 4, done.output
        assert "shearwright init" in done.stderr


def test_init_keeps_the_token_out_of_sight(tmp_path):
    words = ["--server", "http://127.0.0.1:9/", "--station", "bench1", "--site", "northgate"]
    done = CliRunner().invoke(
        cli, ["--home", str(tmp_path / "h"), "init", *words, "--token", "-"], input="s3cret\n"
    )
    assert done.exit_code == 0, done.output
    assert "s3cret" not in done.output
    assert (tmp_path / "h" / "token").read_text() == "s3cret\n"


def test_a_mistyped_station_can_be_put_right_until_something_is_logged(tmp_path):
    def init(station):
        words = ("init", "--server", "http://x.test", "--token", "t", "--site", "northgate")
        return CliRunner().invoke(cli, ["--home", str(tmp_path / "h"), *words, "--station", station])

    assert init("bemch1").exit_code == 0
    assert init("bench1").exit_code == 0
    assert json.loads((tmp_path / "h" / "settings.json").read_text())["station"] == "bench1"


def test_a_folder_belongs_to_one_station(run):
    run("log", "gauge", "--gauge", "300", "--measured", "300.1")
    done = run(
        "init", "--server", "http://x.test", "--token", "t", "--station", "other", "--site", "northgate"
    )
    assert done.exit_code == 3
    assert "belongs to station 'bench1'" in done.stderr


def test_a_token_over_plain_http_is_warned_of(tmp_path):
    words = ["init", "--server", "http://shear.example", "--token", "t", "--station", "b", "--site", "n"]
    assert "https is wanted" in CliRunner().invoke(cli, ["--home", str(tmp_path), *words]).stderr


def test_machines_and_stock_are_listed_with_the_age_of_the_data(run):
    assert "bench-3m" in run("machines").output
    done = run("stock")
    assert "SH-A" in done.output
    assert "H123" in done.output
    assert "data as of" in done.output


def test_a_plan_is_printed_written_and_verified_offline(run, order, tmp_path):
    done = run("plan", order, "--out", str(tmp_path / "out"), "--effort", "quick")
    assert done.exit_code == 0, done.output
    assert "CUT PROGRAM" in done.output
    assert "W-1042" in done.output
    plan_file = tmp_path / "out" / "plan.json"
    plan = json.loads(plan_file.read_text())
    assert f"plan {plan['id']}, kept here" in done.output
    assert run("verify", str(plan_file)).exit_code == 0
    assert plan["id"] in run("plans").output


def test_a_plan_that_lacks_pieces_is_kept_and_printed_and_has_its_own_exit_code(run, tmp_path):
    path = tmp_path / "W-9.csv"
    path.write_text(
        "ref,length,width,quantity,material,thickness\nP1,600,300,8,S235JR,3\nBIG,9000,300,2,S235JR,3\n"
    )
    done = run("plan", str(path), "--machine", "bench-3m")
    assert done.exit_code == NotAllPlanned.exit_code == 10
    assert "NOT PLANNED: 2 of 10 pieces" in done.output.splitlines()[1]
    assert "NOT PLANNED: 2 of 10 pieces" in done.stderr
    assert "kept here" in done.output
    assert "W-9" in run("plans").output
    assert "10 the plan is made and kept" in run("--help").output


def test_missing_stock_is_told_with_what_there_is_of_that_material(run, tmp_path):
    path = tmp_path / "W-9.csv"
    path.write_text(
        "ref,length,width,quantity,material,thickness\nP1,600,300,8,S235JR,4\nP2,600,300,8,S355JR,3\n"
    )
    done = run("plan", str(path), "--machine", "bench-3m")
    assert done.exit_code == 10
    assert "8 × P1: there is no stock of 4 mm S235JR" in done.output
    assert "S235JR on the rack: 3 mm" in done.output
    assert "S355JR on the rack: none" in done.output
    assert "Nothing could be planned" in done.output


def test_a_plan_file_that_was_changed_by_hand_has_faults(run, order, tmp_path):
    run("plan", order, "--out", str(tmp_path / "out"))
    plan_file = tmp_path / "out" / "plan.json"
    plan = json.loads(plan_file.read_text())
    plan["program"][1]["gauge_mm"] += 1
    plan_file.write_text(json.dumps(plan))
    done = run("verify", str(plan_file))
    assert done.exit_code == 1
    assert "fault" in done.stderr
    assert "Traceback" not in done.output


def test_a_plan_file_that_is_none_is_told(run, tmp_path):
    (tmp_path / "p.json").write_text("{}")
    assert run("verify", str(tmp_path / "p.json")).exit_code == 1
    assert run("verify", str(tmp_path / "none.json")).exit_code == 3


def test_plans_of_one_order_can_be_told_apart(run, order):
    run("plan", order, "--effort", "quick")
    run("plan", order, "--stages", "any", "--offcut-min", "400x250")
    said = run("plans").output
    quick, other = (line for line in said.splitlines() if "W-1042" in line)
    if "quick" not in quick:
        quick, other = other, quick
    assert "  quick  " in quick
    assert "any stages, offcuts from 400 × 250" in other
    for line in (quick, other):
        assert re.search(r"20\d\d-\d\d-\d\d \d\d:\d\d [A-Z]+  +\d+\.\d\d( m²)?  +\d+  ", line), line


def test_the_rack_is_shown_with_what_decides_a_plan(run):
    heads, first, *_ = run("stock").output.splitlines()
    assert [word for word in ("edges", "price") if word in heads.split()] == ["edges", "price"]
    assert "mill" in first.split()


def test_a_rack_that_an_order_does_not_use_is_told_as_such(run, tmp_path, order_document):
    path = tmp_path / "W-7.json"
    own = [{"ref": "OWN", "length": 1000, "width": 800, "quantity": 1, "material": "S235JR", "thickness": 2}]
    path.write_text(json.dumps({**order_document, "stock": own}))
    said = run("plan", str(path)).output
    assert "S235JR on the rack, which this order with its own stock does not use: 3" in said


def test_check_plans_nothing(run, order):
    done = run("check", order)
    assert done.exit_code == 0
    assert "lines 1, pieces 8, machine bench-3m" in done.output
    assert run("plans").output.count("\n") == 1


def test_a_wrong_order_file_is_told_in_lines_and_nothing_is_kept(run, tmp_path):
    path = tmp_path / "bad.csv"
    path.write_text(TABLE + "P2;;300;8;S235JR;3\nP3;wide;300;8;S235JR;3\n")
    for command in ("check", "plan"):
        done = run(command, str(path))
        assert done.exit_code == 3
        assert "line 3, length: is missing" in done.stderr
        assert "line 4, length: 'wide' is not a length" in done.stderr
    assert run("plans").output.count("\n") == 1


def test_a_day_is_logged_and_written_is_said_of_each(run, order):
    run("plan", order)
    plan_id = next(line for line in run("plans").output.splitlines() if "W-1042" in line).split()[0]
    commands = [
        ("step", plan_id, "1", "--operator", "ab", "--minutes", "4"),
        ("scrap", "--plan", plan_id, "--part", "P1", "--reason", "twisted", "--quantity", "2"),
        ("scrap", "--reason", "test piece", "--material", "S235JR", "--thickness", "3", "--length", "100",
         "--width", "80"),
        ("offcut", "--material", "S235JR", "--thickness", "3", "--length", "900", "--width", '20"'),
        ("cuts", "--material", "S235JR", "--thickness", "16 ga steel", "--cut-length", "1250",
         "--strokes", "3", "--part", "X1:640x118,5x3"),
        ("gauge", "--gauge", "300", "--measured", "300,12"),
        ("blade", "2", "--work", "turned"),
        ("edge", "--radius", "45", "--blade", "upper"),
        ("edge", "--burr", "0.12", "--thickness", "3", "--material", "S235JR", "--place", "200"),
        ("cuts", "--material", "S235JR", "--thickness", "3", "--cut-length", "500", "--start", "1000"),
        ("taken", "SH-A", "--quantity", "2"),
    ]  # fmt: skip
    for words in commands:
        done = run("log", *words)
        assert done.exit_code == 0, done.output
        assert "written: " in done.output
    status = run("status").output
    assert "pending          " in status
    assert "oldest pending" in status
    again = run("log", "step", plan_id, "1")
    assert again.exit_code == 3
    assert "--again" in again.stderr


def test_a_program_is_saved_from_a_file_and_its_faults_are_told_by_field(run, tmp_path):
    path = tmp_path / "program.json"
    good = {
        "name": "Shelf blanks",
        "material": "S235JR",
        "thickness_mm": 2,
        "cut_length_mm": 1250,
        "steps": [{"gauge_mm": 300, "repeat": 4}],
    }
    path.write_text(json.dumps(good))
    assert "program " in run("log", "program", str(path)).output
    path.write_text(json.dumps({**good, "steps": [{"gauge_mm": "far"}]}))
    done = run("log", "program", str(path))
    assert done.exit_code == 3
    assert "steps/0/gauge_mm" in done.stderr
    done = run("log", "program", str(path), "--change", "unknown")
    assert "no program is known here" in done.stderr


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("log", "scrap", "--reason", "rust"), "rust"),
        (("log", "scrap", "--reason", "trim"), "--material, --thickness, --length, --width wanted"),
        (("log", "gauge", "--gauge", "0", "--measured", "1"), "is zero"),
        (
            ("log", "cuts", "--material", "S235JR", "--thickness", "16 ga", "--cut-length", "1"),
            "which gauge table",
        ),
        (("log", "cuts", "--material", "X", "--thickness", "3", "--cut-length", "1"), "X"),
        (("log", "taken", "SH-Z"), "no stock is known"),
        (("log", "step", "abcd", "1"), "no plan is known"),
        (("log", "blade", "2", "--machine", "none"), "known are bench-3m"),
        (("log", "edge"), "--radius or --burr"),
        (("log", "edge", "--burr", "0.1"), "--thickness"),
        (("plan", "none.csv"), "cannot be read"),
    ],
)
def test_what_is_wrong_is_said_in_one_clear_line(run, words, told):
    done = run(*words)
    assert done.exit_code in {2, 3}
    assert told in done.stderr
    assert "Traceback" not in done.output + done.stderr


def test_without_the_network_sync_says_so_and_nothing_is_lost(tmp_path, shearwright):
    words = ["--server", "http://127.0.0.1:9", "--token", "t", "--station", "bench1", "--site", "northgate"]
    shearwright(tmp_path, "init", *words)
    done = shearwright(tmp_path, "sync", "--seconds", "3")
    assert done.returncode == 5
    assert "cannot be reached" in done.stderr
    assert "nothing is lost" in done.stderr
    assert "Traceback" not in done.stderr
    assert shearwright(tmp_path, "status").returncode == 0


def test_a_fault_in_the_program_is_one_line_and_its_details_are_kept(run, home, monkeypatch):
    def broken(*_given):
        raise ZeroDivisionError("oh")

    monkeypatch.setattr("client.cli.show.machine_lines", broken)
    done = run("machines")
    assert done.exit_code == 9
    assert "a fault in the program (ZeroDivisionError: oh)" in done.stderr
    assert "Traceback" in (home.folder / "last-fault.txt").read_text()


def test_the_log_is_exported_and_a_changed_export_is_found_out(run, tmp_path):
    for measured in ("300.1", "300.2", "300.3"):
        run("log", "gauge", "--gauge", "300", "--measured", measured)
    path = tmp_path / "log.ndjson"
    assert "3 entries" in run("export", str(path)).output
    assert run("export", "--check", str(path)).exit_code == 0
    lines = path.read_text().splitlines()
    assert len(lines) == 5
    for bad in (
        [lines[0], lines[1], lines[3], lines[4]],
        lines[:-1],
        [*lines[:2], lines[2].replace("300.2", "300.9"), *lines[3:]],
        [*lines[:3], lines[4]],
    ):
        path.write_text("\n".join(bad) + "\n")
        done = run("export", "--check", str(path))
        assert done.exit_code == 3, bad
        assert "log.ndjson" in done.stderr


def test_an_export_is_checked_line_by_line_whatever_its_size(run, tmp_path, monkeypatch):
    for measured in ("300.1", "300.2"):
        run("log", "gauge", "--gauge", "300", "--measured", measured)
    path = tmp_path / "log.ndjson"
    run("export", str(path))

    def whole(*_given):
        raise MemoryError

    monkeypatch.setattr("pathlib.Path.read_bytes", whole)
    assert run("export", "--check", str(path)).exit_code == 0
    # Lines without an end, as in a file that is something else, are not read into memory either.
    monkeypatch.setattr("client.export._LONGEST_LINE", 2000)
    with path.open("ab") as file:
        file.write(b" " * 5000)
    done = run("export", "--check", str(path))
    assert done.exit_code == 3
    assert "line 5: no entry is as long" in done.stderr


def test_pull_tells_what_changed(service, tmp_path, shearwright, machine_record):
    token = service.station_token("bench1")
    words = ["--server", service.url, "--token", token, "--station", "bench1", "--site", "northgate"]
    assert shearwright(tmp_path / "h", "init", *words).returncode == 0
    assert "machine bench-3m new" in shearwright(tmp_path / "h", "pull").stdout
    service.load(sites=[], machines=[{**machine_record, "cutting_length_mm": 2500}])
    told = shearwright(tmp_path / "h", "pull").stdout
    assert "machine bench-3m changed: cutting length 3000 → 2500 mm" in told
    assert "nothing new" in shearwright(tmp_path / "h", "pull").stdout


def test_a_token_that_was_revoked_is_said_plainly(service, tmp_path, shearwright):
    Home(tmp_path / "h").write_settings(StationSettings(service.url, "bench1", "northgate"), "revoked")
    done = shearwright(tmp_path / "h", "sync")
    assert done.returncode == 6
    assert "does not know this token" in done.stderr


def test_planning_at_the_service_wants_a_token_for_it(service, tmp_path, shearwright, order):
    token = service.station_token("bench1")
    words = ["--server", service.url, "--token", token, "--station", "bench1", "--site", "northgate"]
    shearwright(tmp_path / "h", "init", *words)
    shearwright(tmp_path / "h", "pull")
    done = shearwright(tmp_path / "h", "plan", order, "--online")
    assert done.returncode == 4
    assert "--plan-token" in done.stderr
    shearwright(tmp_path / "h", "init", *words, "--plan-token", service.plan_token())
    online = shearwright(tmp_path / "h", "plan", order, "--online")
    offline = shearwright(tmp_path / "h", "plan", order)
    assert online.returncode == 0, online.stderr
    assert online.stdout == offline.stdout


@pytest.mark.skipif(os.name != "posix", reason="signals are those of POSIX")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_run_syncs_at_once_and_again_and_stops_cleanly(service, tmp_path, shearwright, until, number):
    token = service.station_token("bench1")
    words = ["--server", service.url, "--token", token, "--station", "bench1", "--site", "northgate"]
    shearwright(tmp_path / "h", "init", *words)
    out = (tmp_path / "run.log").open("w+")
    running = subprocess.Popen(
        [sys.executable, "-m", "client.cli", "--home", str(tmp_path / "h"), "run", "--every", "5"],
        cwd=ROOT,
        stdout=out,
        stderr=subprocess.STDOUT,
    )

    def said():
        return (tmp_path / "run.log").read_text()

    try:
        until(lambda: "machine bench-3m new" in said())
        until(lambda: "nothing new" in said())
        running.send_signal(number)
        assert running.wait(15) == 0
    finally:
        running.kill()
        running.wait()
        out.close()
    assert said().rstrip().endswith("stopped; what is pending is kept")
    assert "Traceback" not in said()


def test_a_comparison_prints_a_table_and_keeps_its_plans(run, order):
    done = run("plan", order, "--objective", "compare", "--effort", "quick")
    assert done.exit_code == 0, done.output
    assert "kept here" in done.output


def test_a_ceiling_is_said_to_make_a_plan_that_may_differ(run, order, tmp_path):
    done = run("plan", order, "--effort", "thorough", "--ceiling", "0.1", "--out", str(tmp_path / "o"))
    assert done.exit_code == 0, done.output
    plan = json.loads((tmp_path / "o" / "plan.json").read_text())
    assert plan["cut_short"] == ("the time was over before" in done.output)
    assert (plan["id"] == plan["fingerprint"][:16]) != plan["cut_short"]


def test_a_ceiling_is_refused_for_the_service(run, order):
    done = run("plan", order, "--online", "--ceiling", "5")
    assert done.exit_code != 0
    assert "leave it out with --online" in done.stderr
