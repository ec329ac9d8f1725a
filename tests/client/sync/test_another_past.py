"""A centre with another past than the station knows: forks, backups put back, events lost."""

import uuid

from client.log.without_plan import log_taken
from schemas.events import event_hash
from tests.client.sync.centre import EPOCH_B, log, problem


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


def test_a_pull_alone_from_a_centre_put_back_does_not_forget_what_was_taken_here(
    centre, station, sync, page, changed
):
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


def test_a_centre_that_lost_events_is_filled_up_without_a_new_event(centre, station, sync):
    log(station, 4)
    sync()
    centre.stored = {key: event for key, event in centre.stored.items() if key[1] <= 1}
    centre.applied = centre.applied[:1]
    report = sync()
    assert report.complete
    assert len(centre.applied) == 4
    assert any("less of this station" in notice for notice in report.notices)
