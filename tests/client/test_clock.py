"""A clock put forward or back is noticed at the station and set right at the centre."""

from datetime import UTC, datetime, timedelta

import pytest

from client.cache.clock import Ticks, in_words, note_offset, offset_now, ticks_now
from client.cache.outbox import Draft, Outbox
from client.home import Home, StationSettings
from client.sync import sync_once
from client.workstation import workstation_at

START = datetime(2026, 3, 2, 7, tzinfo=UTC)


class Computer:
    """A clock that can be set, over seconds that cannot."""

    def __init__(self):
        self.true = START
        self.off = timedelta()
        self.boot = "first"
        self.started = START

    def now(self):
        return self.true + self.off

    def ticks(self):
        return Ticks(self.boot, (self.true - self.started).total_seconds())

    def restart(self):
        self.boot, self.started = self.boot + "+", self.true


def measured():
    return Draft("gauge.measured", {"machine": "bench-3m", "gauge_mm": 1.0, "measured_mm": 1.0})


@pytest.fixture
def computer():
    return Computer()


@pytest.fixture
def box(tmp_path, computer):
    made = Outbox(Home(tmp_path / "home"), "bench1", computer="pc-1", now=computer.now, ticks=computer.ticks)
    yield made
    made.close()


def sent(box, written):
    return datetime.fromisoformat(box.sent_at(written.clock))


@pytest.mark.parametrize("moved", [timedelta(hours=-3), timedelta(days=4000), timedelta(minutes=3)])
def test_a_clock_that_is_moved_is_told_and_each_event_is_sent_by_its_own(box, computer, moved):
    before = box.write([measured()])[0]
    computer.true += timedelta(minutes=10)
    computer.off += moved
    after = box.write([measured()])[0]
    assert "the clock of this computer was put" in (box.notice or "")
    computer.true += timedelta(minutes=5)
    assert sent(box, after) == computer.now()
    assert sent(box, before) == computer.now() - moved
    # What was written down stays as it was.
    assert before.happened_at == "2026-03-02T07:00:00.000000Z"


def test_a_clock_set_right_before_the_sync_does_not_spoil_what_was_timed_by_the_wrong_one(box, computer):
    computer.off = timedelta(days=-30)
    wrong = box.write([measured()])[0]
    computer.true += timedelta(hours=1)
    computer.off = timedelta()
    # No event in between: the push itself looks at the clock.
    ahead = sent(box, wrong) - computer.true
    when = datetime.fromisoformat(wrong.happened_at) - ahead
    assert when == START


def test_an_hour_of_work_or_a_nights_sleep_moves_no_clock(box, computer):
    for hours in (1, 14, 24 * 60):
        box.write([measured()])
        computer.true += timedelta(hours=hours)
    assert {one.clock for one in box.all_events()} == {0}
    assert box.notice is None


def test_after_a_restart_only_a_clock_that_went_back_or_far_ahead_is_in_doubt(box, computer):
    box.write([measured()])
    computer.true += timedelta(days=3)
    computer.restart()
    assert box.write([measured()])[0].clock == 0
    computer.restart()
    computer.off = timedelta(days=-2000)
    assert box.write([measured()])[0].clock == 1
    computer.restart()
    computer.off = timedelta(days=2000)
    assert box.write([measured()])[0].clock == 2


def test_what_is_written_again_under_another_epoch_keeps_its_clock(box, computer):
    first = box.write([measured()])[0]
    computer.off = timedelta(hours=5)
    box.write([measured()])
    epoch = box.reissue(first.epoch, 1, "fork")
    assert [one.clock for one in box.pending(epoch, 10)] == [0, 1]


def test_the_computer_counts_seconds_that_nobody_sets():
    one, other = ticks_now(), ticks_now()
    assert one.boot == other.boot
    assert 0 <= other.seconds - one.seconds < 5


@pytest.mark.parametrize(
    ("moved", "words"),
    [
        (timedelta(minutes=5), "put forward by 5 min"),
        (timedelta(hours=-30), "put back by 30 h"),
        (timedelta(days=400), "put forward by 400 days"),
    ],
)
def test_a_move_is_told_in_a_fitting_unit(moved, words):
    assert in_words(moved) == words


def test_how_far_the_clock_is_off_follows_it_when_it_is_moved(box, computer):
    assert offset_now(box.sql) is None
    box.write([measured()])
    note_offset(box.sql, timedelta(seconds=-1))
    computer.off = timedelta(days=1)
    box.write([measured()])
    assert offset_now(box.sql) == timedelta(days=-1, seconds=-1)
    note_offset(box.sql, timedelta(days=-1))
    computer.off = timedelta()
    box.write([measured()])
    assert offset_now(box.sql) == timedelta()


def test_the_centre_counts_the_day_on_which_it_was(service, connected, tmp_path):
    """End to end: logged with a clock a month back, set right, then synced."""
    computer = Computer()
    computer.true = computer.started = datetime.now(UTC)
    with connected(service) as station:
        sync_once(station)
        station.outbox.now, station.outbox.ticks = computer.now, computer.ticks
        computer.off = timedelta(days=-30)
        from client.log.without_plan import log_cuts

        machine, steel = station.machine("bench-3m"), station.material("S235JR")
        log_cuts(station, machine, steel, 300, 100_000, 4)
        computer.off = timedelta()
        assert sync_once(station).complete
    (row,) = service.get("/v1/reports/wear?by=day", service.plan_token())["rows"]
    assert row["day"] in {
        (computer.true + timedelta(minutes=shift)).date().isoformat() for shift in (-70, 0, 70)
    }


def test_a_moved_clock_is_told_when_logging(home, monkeypatch):
    home.write_settings(StationSettings("http://centre.test", "bench1", "northgate"), "t")
    with workstation_at(home) as station:
        from client.log.batch import Batch

        computer = Computer()
        station.outbox.now, station.outbox.ticks = computer.now, computer.ticks
        for off in (timedelta(), timedelta(hours=-2)):
            computer.off = off
            batch = Batch(station)
            batch.add("gauge.measured", measured().payload)
            notes = batch.write().notes
    assert any("put back by 2 h" in note or "put back by 120 min" in note for note in notes)
