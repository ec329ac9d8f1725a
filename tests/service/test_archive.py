"""Events written to a file: all that is kept of them, nothing changed unseen, and the store as it was."""

from __future__ import annotations

import gzip
import hashlib
import json
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from schemas.events import event_hash
from service.cli import main
from service.store import archive, archive_check, audits
from service.store.archive import manifest_of
from service.store.archive_check import ArchiveDamaged
from service.store.database import connected
from service.store.models import Event
from tests.service.shop import NOW, Service, Station, cuts_made

EPOCHS = [f"00000000-0000-4000-8000-00000000000{number}" for number in range(3)]
TODAY, TOMORROW = NOW.date(), NOW.date() + timedelta(days=1)


@pytest.fixture
def kept(service: Service) -> Service:
    """Events of two stations and three epochs: applied, withdrawn, corrected, unknown and garbled ones."""
    service.secrets["other"] = service.token("station", site="fell-road", station="fr-1")
    first, second, other = (
        Station(name, EPOCHS[place]) for place, name in enumerate(["ng-1", "ng-1", "fr-1"])
    )
    events = [first.cut(), first.cut(strokes=7), first.write("coil.slit", {"machine": "bench-3m"})]
    events.append(first.write("log.withdrawn", {"event_id": events[0]["event_id"], "reason": "twice"}))
    events.append(first.cut(machine="bench-33m"))
    garbled = first.cut()
    garbled["payload"] = {**garbled["payload"], "strokes": 5}
    assert service.push([*events, garbled]).status_code == 200
    assert service.push([second.cut(happened_at="2026-02-01T09:00:00Z")]).status_code == 200
    there = [other.write("cuts.made", cuts_made(machine="far-2m", operator="Ærø ½")) for _ in range(3)]
    assert service.push(there, "other").status_code == 200
    with connected():
        row = Event.get(Event.seq == 5)
    path = f"/sync/quarantine/{row.id}/correct"
    answer = service.post(path, {"payload": cuts_made(), "words": "the machine was bench-3m"})
    assert answer.status_code == 200, answer.text
    return service


def lines_of(file: Path) -> list[dict[str, Any]]:
    raw = gzip.decompress(file.read_bytes()) if file.name.endswith(".gz") else file.read_bytes()
    return [json.loads(line) for line in raw.splitlines()]


def rewritten(file: Path, change: Callable[[list[dict[str, Any]], dict[str, Any]], None]) -> None:
    """Change lines and manifest, and set the hash of the file right again, as who means to deceive would."""
    lines, said = lines_of(file), json.loads(manifest_of(file).read_text())
    change(lines, said)
    raw = b"".join(json.dumps(line, sort_keys=True).encode() + b"\n" for line in lines)
    file.write_bytes(raw)
    said |= {"bytes": len(raw), "sha256": hashlib.sha256(raw).hexdigest()}
    manifest_of(file).write_text(json.dumps(said))


@pytest.mark.parametrize("name", ["events.jsonl", "events.jsonl.gz"])
def test_all_that_is_kept_of_every_event_is_in_the_file(kept: Service, tmp_path: Path, name: str) -> None:
    file = tmp_path / name
    with connected():
        before = list(Event.select().order_by(Event.id).dicts())
        made = archive.export(TOMORROW, file, NOW)
        assert archive_check.check(file) == made
        assert list(archive_check.missing_in_store(file)) == []
        assert list(Event.select().order_by(Event.id).dicts()) == before
        assert audits.audit() == []
        lines = lines_of(file)
        by_id = {line["event"]["id"]: line for line in lines}
        for row in before:
            told = by_id[row["id"]]["event"]
            assert told.keys() == row.keys()
            assert told["document"] == row["document"]
            assert told["received_at"] == row["received_at"].isoformat(timespec="microseconds")
    assert len(lines) == len(before) == made.events == 10
    assert made.sha256 == hashlib.sha256(file.read_bytes()).hexdigest()
    # Counted by hand: eight cuts of 4, 7, 4, 4 and 3 × 4 strokes, of which one was withdrawn and one garbled.
    assert made.sums["strokes"] == 7 + 4 + 4 + 3 * 4
    assert made.states == {"applied": 7, "kept": 1, "quarantined": 2}
    assert made.garbled == 1
    assert [(run.station, run.first_seq, run.last_seq) for run in made.runs if run.station == "fr-1"] == [
        ("fr-1", 1, 3)
    ]
    assert made.corrections == sum(len(line["corrections"]) for line in lines) == 2
    proven = [event_hash(line["event"]["document"]) == line["event"]["hash"] for line in lines]
    assert proven.count(False) == made.garbled
    assert file.stat().st_mode & 0o77 == 0


def test_the_file_ends_where_the_day_begins_and_leaves_no_hole(kept: Service, tmp_path: Path) -> None:
    kept.clock.now += timedelta(days=3)
    station = Station("ng-1")
    later = [station.cut(), station.cut()]
    assert kept.push(later).status_code == 200
    with connected():
        # As when an event came anew after it had been damaged on the way: what follows it stays with it.
        Event.update(received_at=kept.clock.now).where(Event.seq == 2, Event.station == "fr-1").execute()
        made = archive.export(TOMORROW, tmp_path / "e.jsonl", NOW)
        archive_check.check(tmp_path / "e.jsonl")
        nothing = archive.export(date(2026, 3, 1), tmp_path / "none.jsonl", NOW)
        archive_check.check(tmp_path / "none.jsonl")
    assert made.events == 8
    assert [run.last_seq for run in made.runs if run.station == "fr-1"] == [1]
    assert later[0]["epoch"] not in {run.epoch for run in made.runs}
    assert (nothing.events, nothing.runs) == (0, [])


def _payload(lines: Any, said: Any) -> None:
    lines[1]["event"]["document"]["payload"]["strokes"] = 70


def _drop(lines: Any, said: Any) -> None:
    del lines[1]
    said["events"] -= 1


def _drop_last(lines: Any, said: Any) -> None:
    del lines[-1]


def _correction(lines: Any, said: Any) -> None:
    for line in lines:
        line["corrections"] = []


def _state(lines: Any, said: Any) -> None:
    lines[-1]["event"]["state"] = "kept"


def _number(lines: Any, said: Any) -> None:
    lines[-1]["event"]["seq"] += 1


def _corrected(lines: Any, said: Any) -> None:
    [line] = [line for line in lines if line["event"]["corrected_payload"]]
    line["event"]["corrected_payload"]["strokes"] += 1


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (_payload, "the hash is not that of the entry"),
        (_drop, "missing or was changed"),
        (_drop_last, "of the manifest are not those of the entries"),
        (_correction, "corrections of the manifest"),
        (_state, "states of the manifest"),
        (_number, "name or number of another"),
        (_corrected, "sums of the manifest"),
        (lambda lines, said: said.update(format="other 1"), "of the format 'other 1'"),
        (lambda lines, said: said.pop("runs"), "is no manifest"),
        (lambda lines, said: lines.append({"no": "event"}), "this is no entry"),
    ],
)
def test_what_was_changed_is_found_even_with_the_right_hash_of_the_file(
    kept: Service, tmp_path: Path, change: Any, told: str
) -> None:
    file = tmp_path / "events.jsonl"
    with connected():
        archive.export(TOMORROW, file, NOW)
    rewritten(file, lambda lines, said: None)
    archive_check.check(file)
    rewritten(file, change)
    with pytest.raises(ArchiveDamaged, match=told):
        archive_check.check(file)


@pytest.mark.parametrize(
    "change",
    [
        lambda line: line.update(event={}),
        lambda line: line.update(event=[]),
        lambda line: line["event"].update(document=None),
        lambda line: line["event"].update(seq="1"),
        lambda line: line["event"]["document"].pop("prev_hash"),
        lambda line: line["event"].update(corrected_payload={"strokes": 4}),
        lambda line: line.update(corrections=None),
    ],
    ids=["empty", "a list", "no document", "seq", "prev_hash", "payload", "corrections"],
)
def test_a_line_without_a_field_is_damaged_whatever_its_hash(
    kept: Service, tmp_path: Path, change: Callable[[dict[str, Any]], object]
) -> None:
    file = tmp_path / "e.jsonl"
    with connected():
        archive.export(TOMORROW, file, NOW)

    def damage(lines: list[dict[str, Any]], said: dict[str, Any]) -> None:
        change(lines[1])

    rewritten(file, damage)
    with pytest.raises(ArchiveDamaged, match="line 2"):
        archive_check.check(file)


@pytest.mark.parametrize("end", [-1, -40])
def test_a_file_cut_short_or_with_a_byte_turned_is_found(kept: Service, tmp_path: Path, end: int) -> None:
    file = tmp_path / "events.jsonl.gz"
    with connected():
        archive.export(TOMORROW, file, NOW)
    whole = file.read_bytes()
    file.write_bytes(whole[:end])
    with pytest.raises(ArchiveDamaged, match="size or hash"):
        archive_check.check(file)
    file.write_bytes(whole[:end] + bytes([whole[end] ^ 1]) + whole[len(whole) + end + 1 :])
    with pytest.raises(ArchiveDamaged, match="size or hash"):
        archive_check.check(file)


def test_nothing_is_written_over_and_nothing_is_left_of_a_failure(
    kept: Service, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "events.jsonl"

    def full(*given: Any) -> Any:
        raise OSError(28, "No space left on device")

    with connected():
        with monkeypatch.context() as patched:
            patched.setattr(archive.os, "fsync", full)
            with pytest.raises(OSError, match="No space"):
                archive.export(TOMORROW, file, NOW)
        assert list(tmp_path.glob("events*")) == []
        archive.export(TOMORROW, file, NOW)
        there = file.read_bytes()
        with pytest.raises(FileExistsError, match="is there already"):
            archive.export(TODAY, file, NOW)
    assert file.read_bytes() == there


def test_by_the_command_line(kept: Service, tmp_path: Path) -> None:
    def run(*words: str) -> Any:
        return CliRunner().invoke(main, ["--database", kept.address, *words])

    file = tmp_path / "events.jsonl.gz"
    done = run("export-entries", "--before", "2026-03-03", "--out", str(file))
    assert done.exit_code == 0, done.output
    assert "10 entries of 3 epochs written and read again" in done.output
    done = run("check-export", str(file), "--with-store")
    assert done.exit_code == 0, done.output
    assert "as they were written" in done.output
    assert "this store has all of them" in done.output
    with connected():
        Event.update(hash="0" * 64).where(Event.station == "fr-1", Event.seq == 2).execute()
    done = run("check-export", str(file), "--with-store")
    assert done.exit_code == 1
    assert "1 of them are not in this store" in done.output
    again = run("export-entries", "--before", "2026-03-03", "--out", str(file))
    assert (again.exit_code, "is there already" in again.output) == (1, True)


def test_a_file_without_its_manifest_is_told_to_lack_it(tmp_path: Path) -> None:
    file = tmp_path / "events.jsonl"
    file.write_text("")
    done = CliRunner().invoke(main, ["check-export", str(file)])
    assert done.exit_code == 1
    assert done.output == f"Error: {manifest_of(file)} is missing, which is written beside every export\n"
