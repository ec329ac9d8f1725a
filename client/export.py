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
from typing import Any, Final

from client.cache.outbox import CONTRACT, utc_text
from client.errors import InputWrong
from client.home import writing_whole
from client.workstation import Workstation
from schemas.events import FIRST_HASH, event_hash
from service.engine.fingerprint import canonical_json

FORMAT: Final = "shearwright log 1"


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
    digest = hashlib.sha256()
    count = 0
    chain: dict[str, tuple[int, str]] = {}
    try:
        lines = path.read_bytes().split(b"\n")
    except OSError as error:
        raise InputWrong(f"{path} cannot be read: {error.strerror}") from error
    documents = list(_documents(path, lines))
    if len(documents) < 2 or documents[0].get("format") != FORMAT or "sha256" not in documents[-1]:
        raise InputWrong(f"{path} is not a whole log: its first or last line is missing")
    for number, document in enumerate(documents[1:-1], start=2):
        event = document.get("event")
        if not isinstance(event, dict) or event_hash(event) != event.get("hash"):
            raise InputWrong(f"{path}, line {number}: the event is not as it was written")
        before = chain.get(event["epoch"])
        # The oldest events may have been dropped past their age; within the file nothing may be missing.
        if before is not None and (event["seq"], event["prev_hash"]) != (before[0] + 1, before[1]):
            raise InputWrong(f"{path}, line {number}: an event before this one is missing or was changed")
        if before is None and event["seq"] == 1 and event["prev_hash"] != FIRST_HASH:
            raise InputWrong(f"{path}, line {number}: the chain does not begin as it should")
        chain[event["epoch"]] = (event["seq"], event["hash"])
        digest.update(lines[number - 1] + b"\n")
        count += 1
    done = Exported(count, digest.hexdigest())
    if (done.events, done.sha256) != (documents[-1].get("events"), documents[-1].get("sha256")):
        raise InputWrong(f"{path}: the checksum of its last line does not fit")
    return done


def _documents(path: Path, lines: list[bytes]) -> Iterator[dict[str, Any]]:
    for number, line in enumerate(lines, start=1):
        if not line:
            continue
        try:
            found = json.loads(line)
        except ValueError as error:
            raise InputWrong(f"{path}, line {number}: this is not JSON") from error
        if not isinstance(found, dict):
            raise InputWrong(f"{path}, line {number}: an object is wanted")
        yield found
