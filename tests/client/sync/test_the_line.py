"""A line that fails, halves, waits and packs: no event is lost, none is blamed for it."""

from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from http.client import BadStatusLine, IncompleteRead

import pytest
import requests
import responses
from urllib3.exceptions import MaxRetryError, NewConnectionError, ProtocolError

from client.errors import CentreAway, CentreRefuses
from client.sync import sync_once
from client.wire import Wire
from tests.client.sync.centre import URL, log, problem


def test_an_answer_lost_after_the_centre_committed_is_applied_once(centre, station, sync):
    log(station, 2)
    centre.faults = ["lose answer"]
    report = sync()
    assert report.complete
    assert len(centre.applied) == 2
    assert (report.pushed.applied, report.pushed.repeats) == (0, 2)
    assert report.counts.pending == 0


def test_more_than_one_push_may_carry_goes_in_several(centre, station, sync, monkeypatch):
    monkeypatch.setattr("client.push.MOST_EVENTS", 4)
    log(station, 10)
    assert sync().complete
    assert centre.pushes == [[1, 2, 3, 4], [5, 6, 7, 8], [9, 10]]


def test_a_push_is_limited_by_bytes_too(centre, station, sync, monkeypatch):
    monkeypatch.setattr("client.push.MOST_BYTES", 1200)
    log(station, 6)
    assert sync().complete
    assert [seq for push in centre.pushes for seq in push] == [1, 2, 3, 4, 5, 6]
    assert len(centre.pushes) > 1


def test_too_large_a_push_is_halved(centre, station, sync):
    centre.most = 3
    log(station, 8)
    assert sync().complete
    assert len(centre.applied) == 8
    assert centre.pushes[:3] == [[1, 2, 3, 4, 5, 6, 7, 8], [1, 2, 3, 4], [1, 2]]


@pytest.mark.parametrize("status", [500, 502, 503, 429, 408])
def test_an_outage_is_waited_out_and_held_against_no_event(centre, station, sync, hurry, status):
    waits = []
    log(station)
    centre.faults = [problem(status, "busy", {"Retry-After": "7"})] * 2
    assert sync(patience=hurry(sleep=waits.append)).complete
    assert waits == [7.0, 7.0]


def test_retry_after_may_be_a_date(centre, station, sync, hurry):
    waits = []
    log(station)
    later = datetime.now(UTC) + timedelta(seconds=20)
    centre.faults = [problem(503, "busy", {"Retry-After": format_datetime(later, usegmt=True)})]
    assert sync(patience=hurry(sleep=waits.append)).complete
    assert 17 < waits[0] <= 20


def test_pauses_double_with_jitter(centre, station, sync, hurry):
    waits = []
    log(station)
    centre.faults = [problem(503, "busy")] * 3
    sync(patience=hurry(sleep=waits.append, tries=4, chance=lambda: 1.0))
    assert waits == [0.75, 1.5, 3.0]


def test_a_wait_beyond_the_time_of_the_run_ends_it_and_nothing_is_lost(centre, station, sync, hurry):
    log(station)
    centre.faults = [problem(503, "busy", {"Retry-After": "900"})]
    report = sync(patience=hurry(total_s=60))
    assert isinstance(report.problem, CentreAway)
    assert report.counts.pending == 1
    assert sync().complete


def test_without_the_network_the_report_says_so_and_nothing_is_lost(station, sync):
    log(station, 2)
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        for method, path in (("POST", "events"), ("GET", "stations/bench1")):
            mock.add(method, f"{URL}/v1/sync/{path}", body=requests.ConnectionError("Connection refused"))
        report = sync()
    assert isinstance(report.problem, CentreAway)
    assert "cannot be reached" in str(report.problem)
    assert (report.counts.pending, report.counts.quarantined) == (2, 0)


@pytest.mark.parametrize("body", ["", "{", "[]", '{"hello": 1}', "<html>"])
def test_an_answer_that_is_none_is_an_outage_and_moves_nothing(centre, station, sync, body):
    log(station)
    centre.faults = [(200, {}, body)] * 3
    report = sync()
    assert isinstance(report.problem, CentreAway)
    assert report.counts.pending == 1


def test_every_request_has_its_time_limits(centre, station, monkeypatch, sync):
    seen = []
    before = requests.Session.send

    def send(self, request, **given):
        seen.append(given["timeout"])
        return before(self, request, **given)

    monkeypatch.setattr(requests.Session, "send", send)
    log(station)
    sync()
    assert seen
    assert all(connect > 0 and read > 0 for connect, read in seen)


def test_a_moved_service_is_not_followed_with_the_token(station):
    wire = Wire(URL, "secret-token")
    with responses.RequestsMock() as mock:
        mock.add("GET", f"{URL}/v1/x", status=302, headers={"Location": "http://elsewhere.test/"})
        with pytest.raises(CentreRefuses, match="has moved"):
            wire.get("/v1/x")


def test_a_large_push_goes_packed_and_a_small_one_plain(centre, station, sync):
    log(station)
    sync()
    log(station, 20)
    sync()
    codings = [
        call.request.headers.get("Content-Encoding")
        for call in centre.mock.calls
        if call.request.method == "POST"
    ]
    assert codings == [None, "gzip"]


def test_a_centre_that_does_not_unpack_is_sent_plain_bodies(centre, station, sync):
    log(station, 20)
    centre.faults = [problem(400, "the body is not UTF-8")]
    assert sync().complete
    assert len(centre.applied) == 20


def test_the_clock_is_read_anew_for_each_attempt(centre, station, hurry):
    moment = datetime(2026, 3, 2, tzinfo=UTC)
    station.outbox.now = lambda: moment
    log(station)

    def wait(seconds):
        nonlocal moment
        moment += timedelta(seconds=seconds)

    centre.faults = [problem(503, "busy", {"Retry-After": "60"})]
    assert sync_once(station, patience=hurry(sleep=wait)).complete
    assert centre.sent_at == ["2026-03-02T00:01:00.000000Z"]


@pytest.mark.parametrize(
    "broken",
    [
        requests.exceptions.ChunkedEncodingError(
            ProtocolError("Connection broken", IncompleteRead(b"x" * 9))
        ),
        requests.ConnectionError(ProtocolError("Connection aborted.", BadStatusLine("H"))),
        requests.ConnectionError(ProtocolError("Connection aborted.", ConnectionResetError(104, "reset"))),
    ],
    ids=["in the body", "in the first line", "before it"],
)
def test_a_line_that_is_cut_in_an_answer_is_said_in_plain_words(station, sync, hurry, broken):
    log(station, 2)
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        for method, path in (("POST", "events"), ("GET", "stations/bench1"), ("GET", "changes")):
            mock.add(method, f"{URL}/v1/sync/{path}", body=broken)
        report = sync(patience=hurry(tries=1))
    assert str(report.problem) == f"the line to {URL} was cut before its answer was here as a whole"
    assert report.counts.pending == 2


def test_a_line_that_is_not_made_at_all_is_said_with_its_reason(station, sync, hurry):
    log(station)
    refused = NewConnectionError(None, "Failed to establish a new connection: [Errno 111] Connection refused")
    broken = requests.ConnectionError(MaxRetryError(None, "/v1/sync/events", refused))
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        for method, path in (("POST", "events"), ("GET", "stations/bench1"), ("GET", "changes")):
            mock.add(method, f"{URL}/v1/sync/{path}", body=broken)
        report = sync(patience=hurry(tries=1))
    assert str(report.problem) == f"{URL} cannot be reached: Connection refused"


def test_a_service_that_cannot_take_it_is_told_in_its_own_words(centre, station, sync, hurry):
    log(station)
    centre.faults = [problem(507, "No room left", detail="no room left on its disk")]
    report = sync(patience=hurry(tries=1))
    assert str(report.problem) == f"{URL} cannot take it now (status 507): no room left on its disk"
