"""The command that lists what was not applied, and tries, corrects or dismisses it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from service.cli import main
from service.store import audits
from service.store.database import connected, database
from service.store.models import Correction, Event
from tests.service.shop import Service, Station, cuts_made, machine

Run = Callable[..., Result]


@pytest.fixture
def run(small: Service) -> Run:
    """Run the command on the store of a service."""

    def ran(*words: str) -> Result:
        database.close()
        return CliRunner().invoke(main, ["--database", small.address, "quarantine", *words])

    return ran


def test_a_payload_is_put_right_from_a_file_that_the_list_begins(
    small: Service, station: Station, run: Run, tmp_path: Path
) -> None:
    wrong = cuts_made(strokes=-1)
    small.push([station.cut(), station.write("cuts.made", wrong)])
    line, *payload = run("list", "--full").output.splitlines()
    assert line == (
        f"2  quarantined  northgate/ng-1 number 2 of epoch {station.epoch[:8]}  cuts.made  "
        "2026-03-02 09:15 UTC  "
        "/payload/strokes a number from 1 to 1000000 is wanted"
    )
    assert json.loads("\n".join(payload)) == wrong
    file = tmp_path / "payload.json"
    file.write_text(json.dumps({**wrong, "strokes": 0}))
    refused = run("correct", "2", "--words", "typed wrong", "--payload", str(file))
    assert refused.exit_code == 1
    assert "nothing was saved.\n/payload/strokes: a number from 1" in refused.output
    file.write_text(json.dumps({**wrong, "strokes": 5}))
    done = run("correct", "2", "--words", "typed wrong", "--payload", str(file), "--by", "qm")
    assert (done.exit_code, done.output) == (0, "applied: 2\n")
    assert run("list").output == "none that waits\n"
    assert "qm: typed wrong (applied)" in run("list", "--show", "corrected").output
    with connected():
        assert Event.get_by_id(2).corrected_payload["strokes"] == 5
        assert audits.audit() == []


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--words", "typed wrong"), "payload"),
        (("--words", "", "--happened-at", "2026-03-02T09:15:00Z"), "/words"),
        (("--words", "late", "--happened-at", "2026-03-02T09:15:00"), "/happened_at"),
    ],
)
def test_a_correction_that_is_not_as_wanted_saves_nothing(
    small: Service, station: Station, run: Run, words: tuple[str, ...], told: str
) -> None:
    small.push([station.write("cuts.made", cuts_made(strokes=-1))])
    done = run("correct", "1", *words)
    assert done.exit_code == 1
    assert told in done.output
    with connected():
        assert not Correction.select().exists()


def test_an_event_is_tried_again_once_what_it_lacked_is_there(
    small: Service, station: Station, run: Run
) -> None:
    small.push([station.cut(machine="bench-4m")])
    done = run("retry", "1")
    assert done.exit_code == 1
    assert "still quarantined: /payload/machine: no machine is known by the id 'bench-4m'" in done.output
    small.post("/machines", machine("bench-4m"))
    assert run("retry", "1").output == "applied: 1\n"
    assert "nothing waits under 1 in the list" in run("retry", "1").output


def test_an_event_is_dismissed_in_words(small: Service, station: Station, run: Run) -> None:
    small.push([station.write("cuts.made", cuts_made(strokes=-1))])
    assert run("dismiss", "1").exit_code == 2
    assert run("dismiss", "1", "--words", "a trial run").output == "dismissed: 1\n"
    assert run("list").output == "none that waits\n"
    assert "command line: a trial run (dismissed)" in run("list", "--show", "dismissed").output
    assert run("dismiss", "7", "--words", "a trial run").exit_code == 1


def test_what_its_station_withdrew_is_left_alone(small: Service, station: Station, run: Run) -> None:
    cut = station.cut()
    gone: dict[str, Any] = {"event_id": cut["event_id"], "reason": "logged twice"}
    small.push([cut, station.write("log.withdrawn", gone)])
    for words in (("retry", "1"), ("dismiss", "1", "--words", "so")):
        done = run(*words)
        assert done.exit_code == 1
        assert "withdrawn by its station: logged twice" in done.output
