"""What the centre does not take in waits there or here, is shown, and holds nothing up."""

from client.errors import CentreRefuses
from client.log.withdraw import log_withdrawn
from tests.client.sync.centre import log, problem, waiting_at


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


def test_what_was_put_aside_and_then_withdrawn_is_not_offered_again(centre, station, sync):
    """The centre cannot apply the withdrawal of what it lacks; once taken in, the entry would count."""
    bad = log(station, 1, "malformed")[0]
    assert sync().complete
    log_withdrawn(station, [bad.row], "measured wrongly")
    assert sync().complete
    centre.cured = True
    assert station.outbox.retry_aside() == 0
    assert sync().complete
    assert bad.event_id not in {event["event_id"] for event in centre.applied}


def test_a_refusal_that_names_no_event_is_held_against_none(centre, station, sync):
    log(station, 3)
    centre.faults = [problem(400, "no", errors=[{"pointer": "/sent_at", "message": "bad"}])]
    report = sync()
    assert isinstance(report.problem, CentreRefuses)
    assert (report.counts.pending, report.counts.quarantined) == (3, 0)


def test_what_was_cured_at_the_centre_leaves_the_quarantine_here(centre, station, sync):
    centre.bad = {"zz"}
    bad = log(station, 1, "zz")[0]
    waits = [{"epoch": bad.epoch, "seq": 1, "state": "quarantined", "errors": []}]
    waiting_at(centre, station, waits)
    assert sync().counts.quarantined == 1
    waits.clear()
    report = sync()
    assert report.counts.quarantined == 0
    assert "the centre settled 1 entry that waited there" in report.notices


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
    assert any("not applied at the centre yet: 1 entry" in notice for notice in report.notices)
