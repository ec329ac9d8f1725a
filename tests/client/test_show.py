"""A kept plan is shown again without the network, and its id may be cut short."""

import json
from datetime import UTC, datetime, timedelta, timezone

import pytest
from click.testing import CliRunner

from client.cache.outbox import Counts
from client.cache.written import Written
from client.cli import cli
from client.errors import CentreAway
from client.push import Pushed
from client.show import quarantine_lines, report_lines
from client.sync import SyncReport
from client.workstation import workstation_at

TABLE = "ref;length;width;quantity;material;thickness\nP1;600;300;8;S235JR;3\n"


@pytest.fixture
def run(home, stocked):
    stocked.close()

    def command(*words):
        return CliRunner().invoke(cli, ["--home", str(home.folder), *words])

    return command


@pytest.fixture
def planned(run, tmp_path):
    """A plan kept here: its id, and what the command printed of it."""
    path = tmp_path / "W-1042.csv"
    path.write_text(TABLE)
    out = tmp_path / "out"
    said = run("plan", str(path), "--out", str(out))
    assert said.exit_code == 0, said.output
    return json.loads((out / "plan.json").read_text())["id"], said.stdout


def test_the_program_is_shown_as_it_was_planned(run, planned):
    plan_id, said = planned
    shown = run("show", plan_id)
    assert shown.exit_code == 0, shown.output
    assert shown.stdout.strip() in said
    assert f"plan {plan_id}" in shown.stdout


def test_the_first_letters_of_the_id_are_enough_to_show_and_to_log(run, planned):
    plan_id, _ = planned
    assert run("show", plan_id[:6]).stdout == run("show", plan_id).stdout
    logged = run("log", "step", plan_id[:6], "1")
    assert logged.exit_code == 0, logged.output
    step = run("show", plan_id[:6], "--step", "1")
    assert step.stdout.startswith("--- STEP 1 ---")
    assert "STEP 2" not in step.stdout
    assert "logged here: 1 of 1" in step.stdout


def test_too_few_letters_and_wrong_ones_are_refused_in_words(run, planned):
    plan_id, _ = planned
    for wrong in (plan_id[:3], "zzzzzz", plan_id + "0"):
        done = run("show", wrong)
        assert done.exit_code == 3
        assert "shearwright plans lists them" in done.stderr
    assert "no step 99" in run("show", plan_id, "--step", "99").stderr


def test_papers_are_written_again(run, planned, tmp_path):
    plan_id, _ = planned
    again = tmp_path / "again"
    assert run("show", plan_id, "--out", str(again)).exit_code == 0
    names = sorted(path.name for path in again.iterdir())
    assert names[:2] == ["layout-1.svg", "plan.json"]
    before, after = (json.loads((folder / "plan.json").read_text()) for folder in (tmp_path / "out", again))
    assert after == before


def test_an_event_in_quarantine_is_shown_by_the_number_that_the_log_has_for_it():
    one = Written(
        5, "id", "epoch", 1, "gauge.measured", "2026-03-02T07:15Z", "h", b"{}", "quarantined", None, 0
    )
    assert "(entry 5, at the centre)" in next(quarantine_lines([one], UTC))


def test_without_the_network_it_is_not_said_that_there_was_nothing_to_send():
    counts = Counts(8, 0, 0, 0, 0, None)
    away = SyncReport(Pushed(), (), counts, CentreAway("no answer"))
    assert "entries: nothing sent; 8 pending" in list(report_lines(away))
    assert "entries: nothing to send; 8 pending" in list(report_lines(SyncReport(Pushed(), (), counts)))


def test_times_are_told_by_the_clock_of_the_site(run, stocked, page, changed):
    logged = run("log", "gauge", "--gauge", "300", "--measured", "300.1")
    assert logged.exit_code == 0
    assert "UTC" not in run("status").output, "Europe/London has GMT and BST"
    site = {"id": "northgate", "name": "Northgate", "time_zone": "Asia/Kolkata"}
    stocked.records.take_page(
        [changed("site", "northgate", site, 2)],
        cursor="c2",
        centre_epoch=page()["centre_epoch"],
        last=True,
        server_time=page()["server_time"],
        settled_to=0,
    )
    stocked.records.close()
    # India keeps UTC + 5:30 all year (tz database, Asia/Kolkata).
    with workstation_at(stocked.home) as station:
        happened = datetime.fromisoformat(station.outbox.latest(1)[0].happened_at)
    there = happened.astimezone(timezone(timedelta(hours=5, minutes=30)))
    assert f"{there:%Y-%m-%d %H:%M} IST" in run("log", "list").output
    assert f"oldest pending   {there:%Y-%m-%d %H:%M} IST" in run("status").output
    assert " IST" in run("stock").output
