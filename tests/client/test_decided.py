"""What persons at the centre decided is told at the station, once, and listed afterwards."""

from __future__ import annotations

import json

import pytest
import responses
from click.testing import CliRunner

from client.agree import earlier_centre
from client.cache.decided import decisions
from client.cache.outbox import Draft
from client.cli import cli
from client.sync import sync_once
from schemas.payloads import PAYLOADS_VERSION

STATE = "/v1/sync/stations/bench1"


def shown(home, *words):
    done = CliRunner().invoke(cli, ["--home", str(home.folder), *words])
    assert done.exit_code == 0, done.output
    return done.output


def log_gauge(station, machine="bench-3m"):
    payload = {"machine": machine, "gauge_mm": 300.0, "measured_mm": 300.1}
    return station.outbox.write([Draft("gauge.measured", payload)])[0]


def at_the_centre(service, *words):
    return service.command(*words)


def waits(service):
    """Numbers of the events in quarantine at the centre."""
    listed = at_the_centre(service, "quarantine", "list").splitlines()
    return [line.split()[0] for line in listed if line and not line.startswith(" ")]


def test_what_a_person_dismissed_is_told_once_with_their_words_and_listed(service, connected):
    with connected(service) as station:
        sync_once(station)
        entry = log_gauge(station, machine="no-such-shear")
        assert sync_once(station).pushed.quarantined == 1
        (number,) = waits(service)
        at_the_centre(
            service, "quarantine", "dismiss", number, "--words", "no such machine", "--by", "planning office"
        )
        told = f'entry {entry.row} (gauge measured) was dismissed by planning office and does not count: "no'
        assert any(one.startswith(told) for one in sync_once(station).notices)
        assert not any("dismissed by" in one for one in sync_once(station).notices), "told once"
        home = station.home
    assert told in shown(home, "decisions")
    assert shown(home, "log", "list").rstrip().endswith("dismissed")
    as_sent = shown(home, "log", "list", "--as-sent").rstrip()
    assert as_sent.endswith(f"dismissed    number {entry.seq} of epoch {entry.epoch[:8]}")


def test_what_a_person_put_right_is_told(service, connected, tmp_path):
    with connected(service) as station:
        sync_once(station)
        entry = log_gauge(station, machine="no-such-shear")
        sync_once(station)
        (number,) = waits(service)
        right = tmp_path / "right.json"
        right.write_text(json.dumps({**entry.event["payload"], "machine": "bench-3m"}))
        at_the_centre(
            service, "quarantine", "correct", number, "--payload", str(right), "--words", "name", "--by", "KM"
        )
        notices = sync_once(station).notices
        home = station.home
    assert (
        f'entry {entry.row} (gauge measured) was put right by KM and counts as they put it: "name"' in notices
    )
    assert shown(home, "log", "list").rstrip().endswith("corrected")


@pytest.fixture
def station_answers(station, hurry, page):
    """Let the centre tell of this station what the test wants, in one exchange; its notices."""

    def answered(**said):
        told = {
            "centre_epoch": page()["centre_epoch"],
            "server_time": page()["server_time"],
            "station": "bench1",
            "site": "northgate",
            "epochs": [],
            "waiting": [],
            "waiting_more": False,
            **said,
        }
        with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
            mock.add("GET", f"http://centre.test{STATE}", json=told)
            mock.add("GET", "http://centre.test/v1/sync/changes", json=page())
            report = sync_once(station, patience=hurry())
            assert report.complete, report.problem
            return report.notices

    return answered


def decision(number, **changes):
    return {
        "kind": "dismissed",
        "number": number,
        "epoch": "e",
        "seq": number,
        "words": "no",
        "by": "office",
        "at": f"2026-03-02T07:{number:02}:00+00:00",
        "outcome": "dismissed",
        "about": None,
        "counted": None,
        **changes,
    }


def test_a_centre_that_tells_of_no_decisions_is_no_error(station_answers, station):
    assert not any("decision" in one for one in station_answers())
    assert decisions(station.outbox.sql, 10) == []


def test_of_many_decisions_at_once_the_newest_are_told_and_all_are_kept(station_answers, station):
    notices = station_answers(decided=[decision(n) for n in range(15, 0, -1)])
    assert sum("dismissed by office" in one for one in notices) == 10
    assert "5 older decisions of the centre are new here too: shearwright decisions" in notices
    assert [one.seq for one in decisions(station.outbox.sql, 100)] == list(range(15, 0, -1))


def test_what_is_not_understood_of_a_newer_centre_is_passed_over(station_answers, station):
    odd = [None, {}, decision(1, kind="weighed"), decision(2, words=None), decision(3, counted="many")]
    station_answers(decided=odd)
    assert [one.seq for one in decisions(station.outbox.sql, 100)] == [3]


def test_a_settled_discrepancy_says_what_did_not_add_up_and_what_was_counted(station_answers):
    about = "stock short: northgate/SH-A: taken 3, on the books 2"
    told = decision(1, kind="settled", outcome="settled", about=about, counted=4, words="on the pile")
    wanted = f'number 1 of epoch e: {about}: settled by office; 4 counted on the rack: "on the pile"'
    wanted += (
        "; what was logged stays and counts as before, and a wrong entry, this or another, is withdrawn "
    )
    wanted += "at the station that wrote it"
    assert wanted in station_answers(decided=[told])


def test_a_centre_of_an_earlier_version_is_told_at_the_sync_and_in_the_status(station_answers, home):
    words = earlier_centre("0")
    assert words is not None
    assert "update" not in words or "brought up to date" in words
    assert words in station_answers(), "a centre that does not tell which events it knows"
    assert words not in station_answers(), "told once"
    assert words in shown(home, "status")
    assert words not in station_answers(payloads_version=PAYLOADS_VERSION)
    assert words not in shown(home, "status")
    assert words not in station_answers(payloads_version=PAYLOADS_VERSION + 1), "a newer one knows more"
