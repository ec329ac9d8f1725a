"""Events go up, records come down, and what is taken here counts meanwhile."""

import json
from datetime import timedelta

import pytest

from client.errors import CentreRefuses, StoreBusy
from client.log.without_plan import log_taken
from tests.client.sync.centre import URL, log, problem


def test_events_go_up_in_order_and_records_come_down(centre, station, sync):
    written = log(station, 3)
    report = sync()
    assert report.complete
    assert [event["event_id"] for event in centre.applied] == [one.event_id for one in written]
    assert (report.pushed.applied, report.counts.pending, report.counts.taken) == (3, 0, 3)
    assert station.records.machine("bench-3m") is not None
    assert [c.id for c in report.changes] == ["northgate", "bench-3m", "northgate/SH-A"]


def test_a_second_sync_sends_nothing_and_reads_on_from_the_cursor(centre, station, sync):
    log(station)
    sync()
    report = sync()
    assert len(centre.pushes) == 1
    assert centre.pulls == [None, "c1"]
    assert report.changes == ()


def test_the_token_is_sent_as_a_bearer_token(centre, station, sync):
    sync()
    assert centre.mock.calls[0].request.headers["Authorization"] == "Bearer secret-token"


@pytest.mark.parametrize(("status", "told"), [(401, "does not know this token"), (403, "does not allow")])
def test_a_token_that_is_refused_is_said_plainly_and_tried_once(centre, station, sync, status, told):
    log(station)
    centre.faults = [problem(status, "no")] * 5
    report = sync()
    assert isinstance(report.problem, CentreRefuses)
    assert told in str(report.problem)
    assert len(centre.faults) == 4
    assert report.counts.pending == 1


@pytest.mark.parametrize("push", [False, True])
@pytest.mark.parametrize(
    ("site", "told"), [("fell-road", "it is of the site 'fell-road'"), (None, "the scope station is wanted")]
)
def test_a_token_of_another_site_or_scope_is_found_out_by_the_first_exchange(
    centre, station, sync, site, told, push
):
    log(station)
    centre.site = site
    report = sync(push=push)
    assert isinstance(report.problem, CentreRefuses)
    assert f"does not allow this with this token: {told}" in str(report.problem)
    assert (centre.pulls, centre.pushes, station.records.counts()) == ([], [], {})
    centre.site = "northgate"
    assert sync().complete


def test_a_pull_asks_anew_whose_the_token_is(centre, station, sync):
    assert sync(push=False).complete
    centre.site = "fell-road"
    assert isinstance(sync(push=False).problem, CentreRefuses)


def test_a_cursor_too_old_reads_the_cache_anew_and_touches_no_event(centre, station, sync, page, changed):
    log(station)
    sync()
    log(station)
    anew = page([changed("site", "northgate", {"id": "northgate"})], cursor="n1")
    centre.pages = [problem(410, "too old"), anew]
    report = sync()
    assert report.complete
    assert centre.pulls[-2:] == ["c1", None]
    assert {(c.id, c.what) for c in report.changes} >= {("bench-3m", "gone"), ("northgate/SH-A", "gone")}
    assert len(centre.applied) == 2


def test_pages_come_in_until_there_are_no_more(centre, station, sync, page, changed, machine_record):
    centre.pages = [
        page([changed("machine", "a", machine_record)], cursor="p1", more=True),
        problem(503, "busy"),
        page([changed("machine", "b", machine_record)], cursor="p2", more=True),
        page([changed("machine", "c", machine_record)], cursor="p3"),
    ]
    assert sync().complete
    assert centre.pulls == [None, "p1", "p1", "p2"]
    assert [one for one, _ in station.records.records("machine")] == ["a", "b", "c"]


def test_a_pull_that_breaks_off_is_read_on_from_where_it_was(
    centre, station, sync, page, changed, machine_record
):
    centre.pages = [
        page([changed("machine", "a", machine_record)], cursor="p1", more=True),
        *[problem(503, "busy")] * 3,
        page([changed("machine", "b", machine_record)], cursor="p2"),
    ]
    assert not sync().complete
    assert station.records.as_of is None
    assert sync().complete
    assert centre.pulls[-1] == "p1"
    assert [one for one, _ in station.records.records("machine")] == ["a", "b"]


def test_what_is_taken_here_counts_until_the_records_include_it(centre, station, sync, page, changed):
    def on_rack():
        return {item.ref: item.quantity for item in station.rack()}["SH-A"]

    sync()
    log_taken(station, "SH-A", 3, station.machine("bench-3m"))
    assert on_rack() == 5
    centre.pages = [problem(503, "busy")] * 3 + [page([])]
    assert not sync().complete
    assert (on_rack(), station.outbox.counts().pending) == (5, 0)
    stock = {**page()["changes"][2]["record"], "quantity": 5}
    centre.pages = [page([changed("stock", "northgate/SH-A", stock, 2)], cursor="c2")]
    assert sync().complete
    assert on_rack() == 5


def test_the_clocks_are_compared(centre, station, sync):
    centre.offset = timedelta(minutes=5)
    sync()
    assert float(station.outbox.sql.meta("clock_offset_s")) == pytest.approx(300, abs=2)


def test_only_one_sync_at_a_time_and_logging_goes_on_meanwhile(home, station, sync):
    with home.syncing():
        with pytest.raises(StoreBusy, match="syncing"):
            sync()
        assert log(station)[0].seq == 1


def test_only_what_the_centre_says_it_has_counts_as_acknowledged(centre, station, sync):
    log(station, 3)
    plain, told = centre.last, []

    def last(epoch):
        seq, last_hash = plain(epoch)
        told.append(seq)
        # The answer to the first push says less than its results do.
        return (1, last_hash) if told.count(3) == 1 and seq == 3 else (seq, last_hash)

    centre.last = last
    report = sync(pull=False)
    assert centre.pushes == [[1, 2, 3], [2, 3]]
    assert (report.pushed.applied, report.pushed.repeats, report.counts.pending) == (1, 2, 0)


def test_a_state_of_a_newer_centre_is_acknowledged_and_stops_nothing(centre, station, sync):
    log(station, 3)
    plain = centre.push

    def push(request):
        status, headers, body = plain(request)
        found = json.loads(body)
        found["results"][1]["state"] = "weighed"
        return status, headers, json.dumps(found)

    centre.mock.remove("POST", f"{URL}/v1/sync/events")
    centre.mock.add_callback("POST", f"{URL}/v1/sync/events", push)
    report = sync()
    assert report.complete
    assert (report.counts.taken, report.counts.kept, report.counts.pending) == (2, 1, 0)
