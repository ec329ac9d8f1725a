"""A program written by hand is checked at the station as at the service, and needs no network for it."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from client.cli import cli
from client.sync import sync_once
from client.wire import Wire
from service.engine.quantities import show_mm

PROGRAM = {
    "name": "Shelf blanks",
    "material": "S235JR",
    "thickness_mm": 2,
    "cut_length_mm": 1250,
    "steps": [{"gauge_mm": 300, "repeat": 3, "note": "strips"}, {"gauge_mm": 150}],
}


@pytest.fixture
def check(stocked, home, tmp_path):
    """Run `program-check` on a program."""

    def run(changes=None, *words):
        file = tmp_path / "program.json"
        file.write_text(json.dumps({**PROGRAM, **(changes or {})}))
        return CliRunner().invoke(cli, ["--home", str(home.folder), "program-check", str(file), *words])

    return run


def test_a_sound_program_is_set_timed_and_says_who_lifts(check):
    done = check(None, "--depth", "1250", "--machine", "bench-3m")
    assert done.exit_code == 0, done.output
    assert "step 1   back gauge 300 mm × 3   strips" in done.stdout
    assert "front   1250 mm before, 350 mm after" in done.stdout
    assert "front   350 mm before, 200 mm after" in done.stdout
    assert "4 strokes, 2 gauge settings" in done.stdout
    # 1250 × 1250 × 2 mm of steel at 7850 kg/m³ weigh 24.5 kg.
    assert "lifted by two people: 24.5 kg" in done.stdout


def test_one_person_is_named_by_the_limits_of_the_shop_alone(check):
    done = check(None, "--depth", "600")
    assert "lifted by one person by the shop's limits, ask lift-check: 11.8 kg" in done.stdout


def test_who_lifts_stands_in_the_cautions(check):
    done = check({"thickness_mm": 5, "cut_length_mm": 2500}, "--depth", "1250")
    assert "lifted by crane: 122.7 kg" in done.stdout
    cautions = done.stdout.partition("usual cautions:")[2]
    assert "crane" in cautions
    assert "crane" not in check(None, "--depth", "600").stdout.partition("usual cautions:")[2]


def test_a_step_that_must_not_be_made_is_a_stop_and_exit_code_1(check):
    done = check({"steps": [{"gauge_mm": 1100}]})
    assert done.exit_code == 1
    assert "STOP: " in done.stdout
    assert "this program must not be cut on this machine" in done.stderr
    done = check(None, "--depth", "900")
    assert done.exit_code == 1, "three strips and a fourth leave nothing to clamp"


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"steps": []}, "/steps: at least 1 entry is wanted"),
        ({"steps": [{"gauge": 300}]}, "/steps/0/gauge: this field is not known"),
        ({"thickness_mm": "thin"}, "/thickness_mm"),
        ({"material": "S999"}, "S999"),
        ({"machine": "nowhere"}, "no machine is known by the id 'nowhere'"),
        ({"colour": "red"}, "/colour: this field is not known"),
    ],
)
def test_what_is_wrong_with_the_file_is_named_by_its_field(check, changes, told):
    done = check(changes)
    assert done.exit_code == 3, done.output
    assert told in done.stderr
    assert "fault in the program" not in done.stderr


def test_a_program_that_is_kept_is_checked_by_its_id(stocked, home, changed, page):
    kept = {**PROGRAM, "id": "p-1", "machine": "bench-3m", "operator": "KM", "copy_of": None}
    stocked.records.take_page(
        [changed("program", "p-1", kept)],
        cursor="c2",
        centre_epoch=page()["centre_epoch"],
        last=True,
        server_time=page()["server_time"],
        settled_to=0,
    )

    def run(*words):
        return CliRunner().invoke(cli, ["--home", str(home.folder), "program-check", *words])

    assert run("--program", "p-1").exit_code == 0
    assert "known are p-1" in run("--program", "p-2").stderr
    assert "give a FILE, or --program" in run().stderr


def test_the_service_and_the_station_say_the_same(service, connected, tmp_path):
    steps = [{"gauge_mm": 300, "repeat": 3}, {"gauge_mm": 12}]
    question = {
        "machine": "bench-3m",
        "material": "S235JR",
        "thickness": 2,
        "cut_length": 1250,
        "depth": 1250,
        "steps": steps,
    }
    with connected(service) as station:
        sync_once(station)
        home = station.home
    wire = Wire(service.url, service.plan_token())
    answer = wire.post("/v1/programs/check", question).document
    wire.close()
    file = tmp_path / "p.json"
    file.write_text(json.dumps({**PROGRAM, "steps": steps}))
    said = (
        CliRunner()
        .invoke(cli, ["--home", str(home.folder), "program-check", str(file), "--depth", "1250"])
        .stdout
    )
    for step in answer["steps"]:
        for finding in step["findings"]:
            assert finding["message"] in said
    for caution in answer["cautions"]:
        assert caution in said
    assert f"at least {show_mm(round(answer['needed_depth_mm'] * 100))} mm deep" in said
