import contextlib
import json
import os
import shutil
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from client.cache.outbox import Draft, Outbox
from client.cache.records import Records
from client.errors import InputWrong, StoreFailed
from client.home import Home
from schemas.events import FIRST_HASH, event_hash
from service.engine.fingerprint import canonical_json

ROOT = Path(__file__).resolve().parents[2]


def measured(value=300.0, operator="ab"):
    return Draft(
        "gauge.measured",
        {"machine": "bench-3m", "gauge_mm": 300.0, "measured_mm": value, "operator": operator},
    )


@pytest.fixture
def box(tmp_path):
    made = Outbox(Home(tmp_path / "home"), "bench1", computer="pc-1")
    yield made
    made.close()


def reopened(box, computer="pc-1"):
    box.close()
    return Outbox(box.home, "bench1", computer=computer)


def test_the_store_flushes_to_disk_and_can_give_space_back(box):
    # SQLite: synchronous 2 = FULL, auto_vacuum 2 = INCREMENTAL (sqlite.org/pragma.html).
    assert box.sql.value("PRAGMA journal_mode") == "wal"
    assert box.sql.value("PRAGMA synchronous") == 2
    assert box.sql.value("PRAGMA auto_vacuum") == 2


@pytest.mark.skipif(os.name != "posix", reason="files have no modes there")
def test_the_files_of_a_station_are_for_their_owner_alone_in_any_folder(tmp_path):
    folder = tmp_path / "made-by-somebody"
    folder.mkdir(mode=0o755)
    before = os.umask(0o022)
    try:
        home = Home(folder)
        with contextlib.closing(Outbox(home, "bench1")) as box, contextlib.closing(Records(home)):
            box.write([measured()])
            modes = {one.name: one.stat().st_mode & 0o777 for one in folder.glob("*.sqlite3*")}
    finally:
        os.umask(before)
    assert len(modes) == 6
    assert set(modes.values()) == {0o600}


def test_events_form_a_chain_numbered_without_holes(box):
    written = [box.write([measured(300 + n)])[0] for n in range(3)]
    assert [one.seq for one in written] == [1, 2, 3]
    before = FIRST_HASH
    for one in written:
        assert one.event["prev_hash"] == before
        assert one.hash == one.event["hash"] == event_hash(one.event)
        assert one.body == canonical_json(one.event)
        before = one.hash


def test_an_event_and_its_effects_are_one(box):
    def effects(rows):
        box.sql.set_meta("touched", "yes")
        raise RuntimeError("power cut")

    with pytest.raises(RuntimeError):
        box.write([measured(), measured()], effects)
    assert box.counts().pending == 0
    assert box.sql.meta("touched") is None
    assert box.write([measured()])[0].seq == 1


def test_a_payload_that_breaks_the_contract_is_refused_by_field_and_nothing_is_written(box):
    with pytest.raises(InputWrong, match="measured_mm: is missing"):
        box.write([measured(), Draft("gauge.measured", {"machine": "bench-3m", "gauge_mm": 1.0})])
    with pytest.raises(InputWrong, match="no kind of entry"):
        box.write([Draft("tea.made", {})])
    assert box.counts().pending == 0


def test_an_unchanged_store_keeps_its_epoch(box):
    box.write([measured()])
    again = reopened(box)
    assert again.epoch == box.epoch
    assert again.notice is None
    assert again.write([measured()])[0].seq == 2


def test_a_store_put_back_from_a_backup_begins_a_new_epoch_and_keeps_its_events(box, tmp_path):
    box.write([measured(1)])
    box.close()
    shutil.copy(box.home.store_file, tmp_path / "backup")
    first = Outbox(box.home, "bench1", computer="pc-1")
    first.write([measured(2)])
    first.close()
    for end in ("-wal", "-shm"):
        Path(str(box.home.store_file) + end).unlink(missing_ok=True)
    shutil.copy(tmp_path / "backup", box.home.store_file)
    restored = Outbox(box.home, "bench1", computer="pc-1")
    assert "put back to an earlier state" in (restored.notice or "")
    assert len(restored.epochs()) == 2
    written = restored.write([measured(3)])[0]
    assert (written.seq, written.event["prev_hash"]) == (1, FIRST_HASH)
    assert restored.counts().pending == 2


def test_a_store_copied_to_another_computer_begins_a_new_epoch(box):
    box.write([measured()])
    copied = reopened(box, computer="pc-2")
    assert "another computer" in (copied.notice or "")
    assert len(copied.epochs()) == 2
    assert reopened(copied, computer="pc-2").notice is None


def test_a_store_whose_mark_is_gone_begins_a_new_epoch(box):
    box.write([measured()])
    box.home.mark_file.unlink()
    assert "mark" in (reopened(box).notice or "")


def test_a_store_that_vanished_is_not_taken_for_a_first_use(box):
    box.write([measured()])
    box.close()
    for end in ("", "-wal", "-shm"):
        Path(str(box.home.store_file) + end).unlink(missing_ok=True)
    assert "gone" in (Outbox(box.home, "bench1", computer="pc-1").notice or "")


def test_a_mark_behind_the_store_after_a_power_cut_is_no_doubt(box):
    box.write([measured()])
    early = box.home.mark_file.read_bytes()
    box.write([measured()])
    box.home.mark_file.write_bytes(early)
    again = reopened(box)
    assert again.notice is None
    assert again.write([measured()])[0].seq == 3


def test_a_store_exchanged_while_the_program_runs_is_noticed_at_the_next_event(box):
    box.write([measured()])
    mark = json.loads(box.home.mark_file.read_text())
    box.home.mark_file.write_text(json.dumps({**mark, "seq": 99}))
    written = box.write([measured()])[0]
    assert written.seq == 1
    assert len(box.epochs()) == 2


def test_a_full_disk_leaves_the_store_as_it_was(box):
    box.write([measured()])
    pages = box.sql.value("PRAGMA page_count")
    box.sql.value(f"PRAGMA max_page_count = {pages + 2}")

    def fill():
        for _ in range(200):
            box.write([measured(operator="x" * 60) for _ in range(20)])

    with pytest.raises(StoreFailed, match="disk is full"):
        fill()
    kept = box.counts().pending
    box.sql.value("PRAGMA max_page_count = 1000000")
    box.sql.check()
    assert (kept - 1) % 20 == 0, "a batch was written in part"
    assert box.write([measured()])[0].seq == kept + 1


def test_a_damaged_store_is_copied_aside_and_never_deleted(box):
    for _ in range(50):
        box.write([measured(operator="x" * 60)])
    box.close()
    with box.home.store_file.open("r+b") as file:
        file.seek(4096 * 2)
        file.write(b"\xff" * 4096 * 3)
    with pytest.raises(StoreFailed, match="do not delete it"):
        Outbox(box.home, "bench1", computer="pc-1").sql.check()
    assert box.home.store_file.exists()
    assert list(box.home.folder.glob("station.sqlite3.damaged-*"))


def test_a_store_of_a_newer_program_is_not_touched(box):
    box.sql.run("PRAGMA user_version = 99")
    with pytest.raises(StoreFailed, match="newer shearwright"):
        reopened(box)


def test_only_acknowledged_events_past_their_age_are_dropped_and_the_chain_goes_on(tmp_path):
    moment = datetime(2026, 1, 1, tzinfo=UTC)
    box = Outbox(Home(tmp_path / "home"), "bench1", computer="pc-1", now=lambda: moment)
    old = [box.write([measured(n + 1)])[0] for n in range(4)]
    box.answered(
        {old[0].row: ("taken", None), old[1].row: ("quarantined", "[]"), old[3].row: ("taken", None)}
    )
    assert box.tidy() == 0
    moment += timedelta(days=91)
    assert box.tidy() == 1
    assert [one.seq for one in box.all_events()] == [2, 3, 4], "quarantined, pending, and the last stay"
    assert box.write([measured()])[0].event["prev_hash"] == old[3].hash


def test_events_written_again_under_a_new_epoch_keep_their_ids_and_times(box):
    first = [box.write([measured(n + 1)])[0] for n in range(3)]
    box.answered({first[0].row: ("taken", None)})
    epoch = box.reissue(first[0].epoch, 2, "fork")
    again = box.pending(epoch, 10)
    assert [one.event_id for one in again] == [one.event_id for one in first[1:]]
    assert [one.happened_at for one in again] == [one.happened_at for one in first[1:]]
    assert [one.seq for one in again] == [1, 2]
    assert [one.state for one in box.by_rows([one.row for one in first])] == ["taken", "reissued", "reissued"]
    assert box.counts().pending == 2


def test_two_processes_that_log_at_once_make_one_chain(tmp_path):
    folder = tmp_path / "home"
    child = """
import sys
from pathlib import Path
from client.cache.outbox import Draft, Outbox
from client.cache.records import Records
from client.home import Home
box = Outbox(Home(Path(sys.argv[1])), "bench1", computer="pc-1")
for number in range(40):
    payload = {"machine": sys.argv[2], "gauge_mm": 1.0, "measured_mm": 1.0 + number}
    box.write([Draft("gauge.measured", payload)])
"""
    Outbox(Home(folder), "bench1", computer="pc-1").close()
    running = [
        subprocess.Popen([sys.executable, "-c", child, str(folder), name], cwd=ROOT)
        for name in ("one", "two")
    ]
    assert [one.wait(120) for one in running] == [0, 0]
    box = Outbox(Home(folder), "bench1", computer="pc-1")
    events = [one.event for one in box.all_events()]
    assert [event["seq"] for event in events] == list(range(1, 81))
    assert all(after["prev_hash"] == before["hash"] for before, after in pairwise(events))
    for name in ("one", "two"):
        values = [e["payload"]["measured_mm"] for e in events if e["payload"]["machine"] == name]
        assert values == [1.0 + number for number in range(40)]
    assert len(box.epochs()) == 1


words = st.text(
    st.characters(blacklist_categories=("Cs", "Cc"), blacklist_characters="\x7f"), min_size=1, max_size=60
)


@given(operator=words, gauge=st.integers(1, 9_999_999), measured_at=st.integers(1, 9_999_999))
@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_may_be_written_reads_back_the_same(box, operator, gauge, measured_at):
    payload = {
        "machine": "bench-3m",
        "gauge_mm": gauge / 100,
        "measured_mm": measured_at / 100,
        "operator": operator,
    }
    written = box.write([Draft("gauge.measured", payload)])[0]
    assert written.event["payload"] == payload
    assert event_hash(json.loads(written.body)) == written.hash
