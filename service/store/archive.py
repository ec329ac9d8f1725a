"""Raw events in a file that can be read without this program, and proved to be whole.

The file is JSON Lines: an event with all that is kept of it and its corrections on each line, in the
order of stations, epochs and numbers; packed by gzip when its name ends so. Beside it lies a manifest with
the hash of the file, the counts, the two ends of every chain, and what the events add to the sums. Nothing
is deleted.
"""

from __future__ import annotations

import gzip
import hashlib
import io
import json
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any, BinaryIO, Final

from peewee import fn

from service.engine.fingerprint import canonical_json
from service.store import records, tally
from service.store.models import Correction, Event
from service.store.sums import MEASURES

FORMAT: Final = "shearwright events 1"

_AT_A_TIME: Final = 2000


@dataclass(frozen=True, slots=True)
class Run:
    """A run of events of one epoch without holes, and the hashes at its two ends."""

    station: str
    epoch: str
    first_seq: int
    last_seq: int
    prev_hash: str
    last_hash: str


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a file of events holds.

    Attributes
    ----------
    before
        Each epoch goes up to its last event that came before this day (UTC).
    states
        Events by what became of them.
    sums
        What the applied events add to the roll-ups in all.
    garbled
        Events whose hash is not that of their content, as they came; none was applied as it is.
    file, bytes, sha256
        Name, size and hash of the file as it lies there.
    """

    format: str
    centre_epoch: str
    before: str
    made_at: str
    events: int
    corrections: int
    garbled: int
    states: dict[str, int]
    runs: list[Run]
    sums: dict[str, int]
    file: str
    bytes: int
    sha256: str


@dataclass(slots=True)
class Count:
    """What is counted of lines, the same when they are written as when they are read."""

    events: int = 0
    corrections: int = 0
    garbled: int = 0
    states: dict[str, int] = field(default_factory=dict)
    runs: list[Run] = field(default_factory=list)
    sums: dict[str, int] = field(default_factory=lambda: dict.fromkeys(MEASURES, 0))

    def add(self, line: Mapping[str, Any]) -> None:
        """Count a line in; its chain was looked at before."""
        event = line["event"]
        self.events += 1
        self.corrections += len(line["corrections"])
        self.states[event["state"]] = self.states.get(event["state"], 0) + 1
        document = event["document"]
        if event["state"] == "applied":
            payload = event["corrected_payload"] or document["payload"]
            added = tally.added_by(event["type"], payload, event["site"], event["day"])
            for name, value in added[1].items() if added else ():
                self.sums[name] += value
        last = self.runs[-1] if self.runs else None
        place = event["station"], event["epoch"]
        if last is not None and (last.station, last.epoch) == place:
            self.runs[-1] = Run(*place, last.first_seq, event["seq"], last.prev_hash, event["hash"])
        else:
            self.runs.append(Run(*place, event["seq"], event["seq"], document["prev_hash"], event["hash"]))


def manifest_of(file: Path) -> Path:
    """Where the manifest of a file lies."""
    return file.with_name(f"{file.name}.manifest.json")


def export(before: date, file: Path, now: datetime) -> Manifest:
    """Write the events that came before a day.

    Raises
    ------
    FileExistsError
        When the file or its manifest is there already.
    OSError
        When it cannot be written; then neither is there.
    """
    beside = manifest_of(file)
    for path in (file, beside):
        if path.exists():
            raise FileExistsError(f"{path} is there already")
    count = Count()
    part = file.with_name(f"{file.name}.part")
    try:
        with tally.one_state():
            centre = records.centre_epoch()
            with _written(part, packed(file)) as out:
                for line in _lines(before):
                    _count_in(count, line)
                    out.write(canonical_json(line) + b"\n")
        size, digest = measured(part)
        made = Manifest(
            FORMAT, centre, before.isoformat(), now.astimezone(UTC).isoformat(timespec="seconds"),
            count.events, count.corrections, count.garbled, count.states, count.runs, count.sums,
            file.name, size, digest,
        )  # fmt: skip
        text = json.dumps(asdict(made), indent=1, sort_keys=True) + "\n"
        # Without its manifest a file is no export; so that comes last.
        part.replace(file)
        with _written(part, False) as out:
            out.write(text.encode("ascii"))
        part.replace(beside)
    finally:
        part.unlink(missing_ok=True)
    return made


def _count_in(count: Count, line: Mapping[str, Any]) -> None:
    count.add(line)
    count.garbled += garbled(line["event"])


def garbled(event: Mapping[str, Any]) -> bool:
    """Whether an event's hash is not that of its content."""
    body = {name: value for name, value in event["document"].items() if name != "hash"}
    return hashlib.sha256(canonical_json(body)).hexdigest() != str(event["hash"])


def packed(file: Path) -> bool:
    """Whether a file is packed, by its name."""
    return file.name.endswith(".gz")


@contextmanager
def _written(path: Path, pack: bool) -> Iterator[BinaryIO]:
    """A file for the owner's eyes, on the disk when the block ends."""
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as raw:
        if pack:
            with gzip.GzipFile("", "wb", fileobj=raw, mtime=0) as out:
                buffered = io.BufferedWriter(out, 1 << 20)
                yield buffered
                buffered.flush()
        else:
            yield raw
        raw.flush()
        os.fsync(raw.fileno())


def measured(file: Path) -> tuple[int, str]:
    """Size and SHA-256 of a file as it lies there."""
    digest, size = hashlib.sha256(), 0
    with file.open("rb") as raw:
        while block := raw.read(1 << 20):
            digest.update(block)
            size += len(block)
    return size, digest.hexdigest()


def _lines(before: date) -> Iterator[dict[str, Any]]:
    moment = datetime.combine(before, time(), UTC)
    late: Any = (
        Event.select(Event.station, Event.epoch, fn.MIN(Event.seq))
        .where(Event.received_at >= moment)
        .group_by(Event.station, Event.epoch)
    )
    ends = {(station, epoch): seq for station, epoch, seq in late.tuples()}
    # From the events themselves, so that none is left out whatever else is kept of their chains.
    chains: Any = Event.select(Event.station, Event.epoch).distinct().order_by(Event.station, Event.epoch)
    for station, epoch in list(chains.tuples()):
        yield from _of_chain(station, epoch, ends.get((station, epoch), 2**62))


def _of_chain(station: str, epoch: str, end: int) -> Iterator[dict[str, Any]]:
    after = 0
    while True:
        wanted: Any = Event.select().where(
            Event.station == station, Event.epoch == epoch, Event.seq > after, Event.seq < end
        )
        rows = list(wanted.order_by(Event.seq).limit(_AT_A_TIME))
        if not rows:
            return
        corrections: dict[int, list[Any]] = {}
        first, last = min(row.id for row in rows), max(row.id for row in rows)
        of_these: Any = Correction.select().where(Correction.event >= first, Correction.event <= last)
        for one in of_these.order_by(Correction.id):
            corrections.setdefault(one.event, []).append(one)
        for row in rows:
            yield {"event": _plain(row), "corrections": list(map(_plain, corrections.get(row.id, ())))}
        after = rows[-1].seq


def _plain(row: Any) -> dict[str, Any]:
    """A row with all its columns, times as text."""
    values = {name: getattr(row, name) for name in row._meta.fields}
    return {
        name: value.isoformat(timespec="microseconds") if isinstance(value, datetime) else value
        for name, value in values.items()
    }
