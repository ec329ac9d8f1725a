"""The station's half of sync against a centre of a few lines that can be made to misbehave."""

import gzip
import json
import uuid
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime

import pytest
import requests
import responses

from client.cache.outbox import Draft
from client.errors import CentreAway, CentreRefuses, StoreBusy
from client.sync import sync_once
from client.wire import Wire
from schemas.events import FIRST_HASH, EventSchema, event_hash

URL = "http://centre.test"
EPOCH_A, EPOCH_B = "a" * 8, "b" * 8


class Centre:
    """What the contract says of a centre, over a dictionary; faults are played once each, in order."""

    def __init__(self, page):
        self.epoch = EPOCH_A
        self.page = page
        self.stored = {}
        self.applied = []
        self.faults = []
        self.pushes = []
        self.sent_at = []
        self.pulls = []
        self.offset = timedelta()
        self.bad = set()
        self.cured = False
        self.unknown = set()
        self.site = "northgate"
        self.most = 10_000
        self.pages = [page(centre_epoch=self.epoch)]

    def now(self):
        return (datetime.now(UTC) + self.offset).isoformat()

    def last(self, epoch):
        seq = max((s for e, s in self.stored if e == epoch), default=0)
        return seq, self.stored[epoch, seq]["hash"] if seq else FIRST_HASH

    def push(self, request):
        fault = self.faults.pop(0) if self.faults else None
        if isinstance(fault, tuple):
            return fault
        packed = request.headers.get("Content-Encoding") == "gzip"
        body = json.loads(gzip.decompress(request.body) if packed else request.body)
        events = body["events"]
        self.sent_at.append(body["sent_at"])
        self.pushes.append([event["seq"] for event in events])
        if len(events) > self.most:
            return problem(413, "too many")
        for index, event in enumerate(events):
            malformed = event["payload"].get("operator") == "malformed" and not self.cured
            if EventSchema().validate(event) or malformed:
                return problem(422, "not valid", errors=[{"pointer": f"/events/{index}", "message": "bad"}])
        before, applied = dict(self.stored), list(self.applied)
        results = []
        for event in events:
            epoch, seq = event["epoch"], event["seq"]
            has, last_hash = self.last(epoch)
            known = self.stored.get((epoch, seq))
            wrong = (
                known["hash"] != event["hash"] if known else (seq, event["prev_hash"]) != (has + 1, last_hash)
            )
            if wrong:
                self.stored, self.applied = before, applied
                has, last_hash = self.last(epoch)
                return problem(409, "fork or gap", epoch=epoch, has_to_seq=has, last_hash=last_hash)
            assert event_hash(event) == event["hash"]
            if known:
                results.append({"epoch": epoch, "seq": seq, "state": "repeat"})
                continue
            self.stored[epoch, seq] = event
            operator = event["payload"].get("operator")
            if any(one["event_id"] == event["event_id"] for one in self.applied):
                results.append({"epoch": epoch, "seq": seq, "state": "repeat"})
            elif operator in self.bad:
                error = {"pointer": "/payload/operator", "message": "nobody knows them"}
                results.append({"epoch": epoch, "seq": seq, "state": "quarantined", "errors": [error]})
            elif operator in self.unknown:
                results.append({"epoch": epoch, "seq": seq, "state": "kept"})
            else:
                self.applied.append(event)
                results.append({"epoch": epoch, "seq": seq, "state": "applied"})
        if fault == "lose answer":
            raise requests.ConnectionError("the cable came out")
        has, last_hash = self.last(events[-1]["epoch"])
        return ok(
            centre_epoch=self.epoch,
            server_time=self.now(),
            station="bench1",
            epoch=events[-1]["epoch"],
            has_to_seq=has,
            last_hash=last_hash,
            results=results,
        )

    def changes(self, request):
        cursor = request.params.get("cursor")
        self.pulls.append(cursor)
        found = self.pages.pop(0) if len(self.pages) > 1 else self.pages[0]
        if isinstance(found, tuple):
            return found
        return ok(**{**found, "centre_epoch": self.epoch, "server_time": self.now()})

    def where(self, _request):
        epochs = {epoch for epoch, _ in self.stored}
        told = [
            {"epoch": epoch, "has_to_seq": self.last(epoch)[0], "last_hash": self.last(epoch)[1]}
            for epoch in sorted(epochs)
        ]
        first = told[0] if told else {"epoch": None, "has_to_seq": 0, "last_hash": FIRST_HASH}
        said = {"centre_epoch": self.epoch, "server_time": self.now(), "station": "bench1", "site": self.site}
        return ok(**said, epochs=told, **first)


def ok(**body):
    return 200, {"Content-Type": "application/json"}, json.dumps(body)


def problem(status, title, headers=None, **more):
    body = {"type": "about:blank", "title": title, "status": status, **more}
    return status, {"Content-Type": "application/problem+json", **(headers or {})}, json.dumps(body)


@pytest.fixture
def centre(page):
    made = Centre(page)
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        mock.add_callback("POST", f"{URL}/v1/sync/events", made.push)
        mock.add_callback("GET", f"{URL}/v1/sync/changes", made.changes)
        mock.add_callback("GET", f"{URL}/v1/sync/stations/bench1", made.where)
        made.mock = mock
        yield made


def log(station, count=1, operator="ab"):
    payload = {"machine": "bench-3m", "gauge_mm": 300.0, "measured_mm": 300.1, "operator": operator}
    return [station.outbox.write([Draft("gauge.measured", payload)])[0] for _ in range(count)]


@pytest.fixture
def sync(station, hurry):
    def run(**given):
        return sync_once(station, patience=given.pop("patience", None) or hurry(), **given)

    return run


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


def test_a_bad_event_goes_to_quarantine_and_the_rest_goes_on(centre, station, sync):
    centre.bad, centre.unknown = {"zz"}, {"later"}
    log(station)
    bad = log(station, 1, "zz")[0]
    log(station, 1, "later")
    log(station)
    report = sync()
    assert report.complete
    assert (report.pushed.applied, report.pushed.quarantined, report.pushed.kept) == (2, 1, 1)
    held = station.outbox.quarantined()
    assert [one.event_id for one in held] == [bad.event_id]
    assert "nobody knows them" in (held[0].answer or "")
    assert held[0].event["payload"]["operator"] == "zz"


def test_an_event_the_centre_does_not_take_in_at_all_does_not_hold_up_the_others(centre, station, sync):
    log(station, 3)
    bad = log(station, 1, "malformed")[0]
    log(station, 3)
    report = sync()
    assert report.complete
    assert len(centre.applied) == 6
    assert [one.event_id for one in station.outbox.quarantined()] == [bad.event_id]
    assert report.counts.pending == 0


def test_what_was_put_aside_is_offered_again_on_request(centre, station, sync, monkeypatch):
    bad = log(station, 1, "malformed")[0]
    log(station, 2)
    assert sync().complete
    assert sync().counts.quarantined == 1, "by itself it is not sent again"
    centre.cured = True
    assert station.outbox.retry_aside() == 1
    report = sync()
    assert report.complete
    assert report.counts.quarantined == 0
    assert bad.event_id in {event["event_id"] for event in centre.applied}
    assert station.outbox.retry_aside() == 0


def test_a_refusal_that_names_no_event_is_held_against_none(centre, station, sync):
    log(station, 3)
    centre.faults = [problem(400, "no", errors=[{"pointer": "/sent_at", "message": "bad"}])]
    report = sync()
    assert isinstance(report.problem, CentreRefuses)
    assert (report.counts.pending, report.counts.quarantined) == (3, 0)


def test_a_fork_begins_a_new_epoch_and_all_that_the_centre_lacks_is_sent_again(centre, station, sync):
    log(station, 2)
    sync()
    epoch = station.outbox.epoch
    twin = {**centre.stored[epoch, 2], "seq": 3, "prev_hash": centre.stored[epoch, 2]["hash"]}
    twin["event_id"] = str(uuid.uuid4())
    twin["hash"] = event_hash(twin)
    centre.stored[epoch, 3] = twin
    ours = log(station, 3)
    report = sync()
    assert report.complete
    assert station.outbox.epoch != epoch
    assert {one.event_id for one in ours} <= {event["event_id"] for event in centre.applied}
    assert len(centre.applied) == 5
    assert report.counts.reissued == 3
    assert any("new epoch" in notice for notice in report.notices)
    assert centre.stored[epoch, 3] == twin


def test_repeats_before_a_fork_are_not_sent_under_the_new_epoch(centre, station, sync):
    log(station, 2)
    centre.faults = ["lose answer"] + [problem(503, "down")] * 2
    assert not sync().complete
    epoch = station.outbox.epoch
    twin = {**centre.stored[epoch, 2], "seq": 3, "prev_hash": centre.stored[epoch, 2]["hash"]}
    twin["event_id"] = str(uuid.uuid4())
    twin["hash"] = event_hash(twin)
    centre.stored[epoch, 3] = twin
    log(station, 2)
    assert sync().complete
    assert len(centre.applied) == 4
    assert [one.state for one in station.outbox.all_events()][:4] == [
        "taken",
        "taken",
        "reissued",
        "reissued",
    ]


def test_a_centre_put_back_to_an_earlier_state_is_offered_what_it_lacks(centre, station, sync):
    first = log(station, 2)
    sync()
    backup = dict(centre.stored), list(centre.applied)
    log(station, 3)
    sync()
    assert len(centre.applied) == 5
    centre.stored, centre.applied = backup
    centre.epoch = EPOCH_B
    report = sync()
    assert report.complete
    assert len(centre.applied) == 5
    assert report.pushed.offered_again == 3
    assert report.counts.pending == 0
    assert any("earlier state" in notice for notice in report.notices)
    assert centre.applied[0]["event_id"] == first[0].event_id
    assert centre.pulls[-2:] == ["c1", None], "from the beginning, once what it lacks was sent"


def test_a_centre_that_lost_all_is_offered_all(centre, station, sync):
    log(station, 4)
    sync()
    centre.stored, centre.applied, centre.epoch = {}, [], EPOCH_B
    log(station, 1)
    assert sync().complete
    assert len(centre.applied) == 5


def test_a_centre_that_lost_events_without_a_new_life_is_filled_up_too(centre, station, sync):
    log(station, 4)
    sync()
    centre.stored = {key: event for key, event in centre.stored.items() if key[1] <= 1}
    centre.applied = centre.applied[:1]
    log(station, 1)
    assert sync().complete
    assert len(centre.applied) == 5
    assert len(station.outbox.epochs()) == 1


def test_what_the_centre_lacks_and_is_no_longer_kept_here_stops_nothing(centre, station, sync):
    log(station, 4)
    sync()
    station.outbox.sql.run("DELETE FROM event WHERE seq <= 2")
    centre.stored, centre.applied, centre.epoch = {}, [], EPOCH_B
    report = sync()
    assert report.complete
    assert len(centre.applied) == 2
    assert report.counts.pending == 0


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


@pytest.mark.parametrize("body", ["", "{", "[]", '{"hello": 1}', "<html>"])
def test_an_answer_that_is_none_is_an_outage_and_moves_nothing(centre, station, sync, body):
    log(station)
    centre.faults = [(200, {}, body)] * 3
    report = sync()
    assert isinstance(report.problem, CentreAway)
    assert report.counts.pending == 1


def test_what_is_taken_here_counts_until_the_records_include_it(centre, station, sync, page, changed):
    from client.log.without_plan import log_taken

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


def test_a_pull_alone_from_a_centre_put_back_does_not_forget_what_was_taken_here(
    centre, station, sync, page, changed
):
    from client.log.without_plan import log_taken

    sync()
    log_taken(station, "SH-A", 3, station.machine("bench-3m"))
    stock = page()["changes"][2]["record"]
    centre.pages = [page([changed("stock", "northgate/SH-A", {**stock, "quantity": 5}, 2)], cursor="c2")]
    sync()
    centre.stored, centre.applied, centre.epoch = {}, [], EPOCH_B
    centre.pages = [page(cursor="n1")]
    assert sync(push=False).complete
    assert station.outbox.counts().pending == 1
    assert {item.ref: item.quantity for item in station.rack()}["SH-A"] == 5


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


def waiting_at(centre, station, waiting, more=False):
    plain = centre.where

    def where(request):
        status, headers, body = plain(request)
        return status, headers, json.dumps({**json.loads(body), "waiting": waiting, "waiting_more": more})

    centre.mock.remove("GET", f"{URL}/v1/sync/stations/bench1")
    centre.mock.add_callback("GET", f"{URL}/v1/sync/stations/bench1", where)


def test_what_was_cured_at_the_centre_leaves_the_quarantine_here(centre, station, sync):
    centre.bad = {"zz"}
    bad = log(station, 1, "zz")[0]
    waits = [{"epoch": bad.epoch, "seq": 1, "state": "quarantined", "errors": []}]
    waiting_at(centre, station, waits)
    assert sync().counts.quarantined == 1
    waits.clear()
    report = sync()
    assert report.counts.quarantined == 0
    assert "the centre settled 1 event that waited there" in report.notices


def test_a_list_that_is_not_whole_settles_nothing(centre, station, sync):
    centre.bad = {"zz"}
    log(station, 1, "zz")
    waiting_at(centre, station, [], more=True)
    sync()
    assert sync().counts.quarantined == 1


def test_a_repeat_of_what_is_in_quarantine_there_is_shown_in_quarantine_here(centre, station, sync):
    centre.bad = {"zz"}
    bad = log(station, 1, "zz")[0]
    centre.faults = ["lose answer"]
    errors = [{"pointer": "", "message": "nobody knows them"}]
    waits = [{"epoch": bad.epoch, "seq": 1, "state": "quarantined", "errors": errors}]
    waiting_at(centre, station, waits)
    report = sync()
    assert report.counts.quarantined == 1
    assert "nobody knows them" in (station.outbox.quarantined()[0].answer or "")
    assert any("not applied at the centre yet: 1 event" in notice for notice in report.notices)


def test_a_centre_that_lost_events_is_filled_up_without_a_new_event(centre, station, sync):
    log(station, 4)
    sync()
    centre.stored = {key: event for key, event in centre.stored.items() if key[1] <= 1}
    centre.applied = centre.applied[:1]
    report = sync()
    assert report.complete
    assert len(centre.applied) == 4
    assert any("less of this station" in notice for notice in report.notices)


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
