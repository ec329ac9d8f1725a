"""The log in one file that needs no Shearwright to be read: NDJSON, one event a line, with checksums.

The first line describes the file, the last holds the number of events and the SHA-256 of all lines
between. Each event carries its own hash and the hash of the one before.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Final

from client.cache.outbox import CONTRACT, utc_text
from client.errors import InputWrong
from client.home import writing_whole
from client.workstation import Workstation
from schemas.events import FIRST_HASH, event_hash
from service.engine.fingerprint import canonical_json

FORMAT: Final = "shearwright log 1"

_LONGEST_LINE: Final = 4 * 1024 * 1024
"""Bytes of a line beyond which it is no event."""


@dataclass(frozen=True, slots=True)
class Exported:
    """How many events a file holds, and their checksum."""

    events: int
    sha256: str


def export_log(station: Workstation, path: Path) -> Exported:
    """Write every event kept here to a file.

    Raises
    ------
    StoreFailed
        When it cannot be written.
    """
    digest = hashlib.sha256()
    head = {
        "format": FORMAT,
        "station": station.settings.station,
        "site": station.settings.site,
        "contract": CONTRACT,
        "written_at": utc_text(station.outbox.now()),
    }
    count = 0
    with writing_whole(path, mode=0o600) as out:
        out.write(canonical_json(head) + b"\n")
        for written in station.outbox.all_events():
            line = canonical_json({"event": written.event, "state": written.state}) + b"\n"
            digest.update(line)
            out.write(line)
            count += 1
        done = Exported(count, digest.hexdigest())
        out.write(canonical_json({"events": done.events, "sha256": done.sha256}) + b"\n")
    return done


def check_export(path: Path) -> Exported:
    """Check a file written by :func:`export_log`: the sum, every hash, and the chain.

    Raises
    ------
    InputWrong
        Naming the first line that is not as it was written.
    """
    try:
        with path.open("rb") as file:
            return _checked(path, file)
    except OSError as error:
        raise InputWrong(f"{path} cannot be read: {error.strerror}") from error


def _checked(path: Path, file: BinaryIO) -> Exported:
    """Go through the file line by line: a log of years is longer than the memory is large."""
    digest = hashlib.sha256()
    count = 0
    chain: dict[str, tuple[int, str]] = {}
    found = _documents(path, file)
    head = next(found, None)
    last = next(found, None)
    if head is None or last is None or head.document.get("format") != FORMAT:
        raise _not_whole(path)
    for following in found:
        _check_event(path, last, chain)
        digest.update(last.text)
        count += 1
        last = following
    if "sha256" not in last.document:
        raise _not_whole(path)
    done = Exported(count, digest.hexdigest())
    if (done.events, done.sha256) != (last.document.get("events"), last.document["sha256"]):
        raise InputWrong(f"{path}: the checksum of its last line does not fit")
    return done


def _not_whole(path: Path) -> InputWrong:
    return InputWrong(f"{path} is not a whole log: its first or last line is missing")


def _check_event(path: Path, line: _Line, chain: dict[str, tuple[int, str]]) -> None:
    """Check an event and that it follows the one before in its epoch; `chain` holds the last of each."""
    event = line.document.get("event")
    if not isinstance(event, dict) or event_hash(event) != event.get("hash"):
        raise InputWrong(f"{path}, line {line.number}: the entry is not as it was written")
    before = chain.get(event["epoch"])
    # The oldest events may have been dropped past their age; within the file nothing may be missing.
    if before is not None and (event["seq"], event["prev_hash"]) != (before[0] + 1, before[1]):
        raise InputWrong(f"{path}, line {line.number}: an entry before this one is missing or was changed")
    if before is None and event["seq"] == 1 and event["prev_hash"] != FIRST_HASH:
        raise InputWrong(f"{path}, line {line.number}: the chain does not begin as it should")
    chain[event["epoch"]] = (event["seq"], event["hash"])


@dataclass(frozen=True, slots=True)
class _Line:
    """A line of the file, with its end, and what it says."""

    number: int
    text: bytes
    document: dict[str, Any]


def _documents(path: Path, file: BinaryIO) -> Iterator[_Line]:
    number = 0
    while text := file.readline(_LONGEST_LINE):
        number += 1
        if len(text) == _LONGEST_LINE and not text.endswith(b"\n"):
            raise InputWrong(f"{path}, line {number}: no entry is as long as this line")
        if text == b"\n":
            continue
        try:
            found = json.loads(text)
        except ValueError as error:
            raise InputWrong(f"{path}, line {number}: this is not JSON") from error
        if not isinstance(found, dict):
            raise InputWrong(f"{path}, line {number}: an object is wanted")
        yield _Line(number, text, found)
