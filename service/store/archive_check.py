"""Whether a file of events is whole: its hash, every event, every chain, the counts and the sums."""

from __future__ import annotations

import gzip
import json
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from itertools import groupby, islice
from pathlib import Path
from typing import Any, Final

from peewee import SQL

from schemas.events import FIRST_HASH
from service.store import bulk
from service.store.archive import FORMAT, Count, Manifest, Run, garbled, manifest_of, measured, packed
from service.store.models import Event

_AT_A_TIME: Final = 1000


class ArchiveDamaged(Exception):  # noqa: N818 - reads as what it says
    """The file is not what its manifest says; the message names the first thing that differs."""


def check(file: Path) -> Manifest:
    """Read a file of events again from its beginning to its end.

    Raises
    ------
    ArchiveDamaged
        Naming the line or figure that is not as it was written.
    OSError
        When it cannot be read.
    """
    manifest = _manifest(file)
    if measured(file) != (manifest.bytes, manifest.sha256):
        raise ArchiveDamaged(f"{file}: size or hash of the file are not those of the manifest")
    count = Count()
    for number, line in enumerate(_lines(file), 1):
        try:
            _check_line(file, number, count, line)
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            # Well-formed JSON, and yet a field is missing or holds what it never does.
            raise ArchiveDamaged(f"{file}, line {number}: this is no entry") from error
    for name, counted in asdict(count).items():
        said = getattr(manifest, name)
        said = [asdict(run) for run in said] if name == "runs" else said
        if counted != said:
            raise ArchiveDamaged(f"{file}: {name} of the manifest are not those of the entries")
    return manifest


def _check_line(file: Path, number: int, count: Count, line: Mapping[str, Any]) -> None:
    _check_link(file, number, count.runs[-1] if count.runs else None, line["event"])
    if garbled(line["event"]):
        if line["event"]["state"] != "quarantined" and line["event"]["corrected_payload"] is None:
            raise ArchiveDamaged(f"{file}, line {number}: the hash is not that of the entry")
        count.garbled += 1
    count.add(line)


def _manifest(file: Path) -> Manifest:
    beside = manifest_of(file)
    try:
        said = json.loads(beside.read_bytes())
        made = Manifest(**{**said, "runs": [Run(**run) for run in said["runs"]]})
    except FileNotFoundError as error:
        raise ArchiveDamaged(f"{beside} is missing, which is written beside every export") from error
    except (ValueError, TypeError, KeyError) as error:
        raise ArchiveDamaged(f"{beside} is no manifest of entries") from error
    if made.format != FORMAT:
        raise ArchiveDamaged(f"{beside} is of the format {made.format!r}, and {FORMAT!r} is read here")
    return made


def _lines(file: Path) -> Iterator[dict[str, Any]]:
    with gzip.open(file, "rb") if packed(file) else file.open("rb") as raw:
        number = 0
        try:
            for number, text in enumerate(raw, 1):
                line = json.loads(text)
                if not line.keys() >= {"event", "corrections"}:
                    raise ValueError(number)
                yield line
        except (ValueError, AttributeError, EOFError, zlib.error, gzip.BadGzipFile) as error:
            raise ArchiveDamaged(f"{file}, line {number + 1}: this is no entry") from error


def _check_link(file: Path, number: int, last: Run | None, event: Mapping[str, Any]) -> None:
    place, document = (event["station"], event["epoch"]), event["document"]
    own = {name: document[name] for name in ("station", "epoch", "seq", "hash")}
    if own != {name: event[name] for name in own}:
        raise ArchiveDamaged(f"{file}, line {number}: the entry stands under a name or number of another")
    if last is not None and (last.station, last.epoch) == place:
        wanted = last.last_seq + 1, last.last_hash
    else:
        wanted = event["seq"], FIRST_HASH if event["seq"] == 1 else document["prev_hash"]
    if (event["seq"], document["prev_hash"]) != wanted:
        raise ArchiveDamaged(f"{file}, line {number}: an entry before this one is missing or was changed")


def missing_in_store(file: Path) -> Iterator[str]:
    """Events of a checked file that the store has not, or has otherwise, in words."""
    lines = (line["event"] for line in _lines(file))
    for (station, epoch), events in groupby(lines, lambda event: (event["station"], event["epoch"])):
        while some := list(islice(events, _AT_A_TIME)):
            text, given = bulk.among("seq", [event["seq"] for event in some])
            rows: Any = Event.select(Event.seq, Event.hash).where(
                Event.station == station, Event.epoch == epoch, SQL(text, given)
            )
            there = dict(rows.tuples())
            for event in some:
                if there.get(event["seq"]) != event["hash"]:
                    yield f"{station} {epoch} {event['seq']}"
