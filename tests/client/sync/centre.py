"""A centre of a few lines that can be made to misbehave."""

import gzip
import json
from datetime import UTC, datetime, timedelta

import requests

from client.cache.outbox import Draft
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


def log(station, count=1, operator="ab"):
    payload = {"machine": "bench-3m", "gauge_mm": 300.0, "measured_mm": 300.1, "operator": operator}
    return [station.outbox.write([Draft("gauge.measured", payload)])[0] for _ in range(count)]


def waiting_at(centre, station, waiting, more=False):
    plain = centre.where

    def where(request):
        status, headers, body = plain(request)
        return status, headers, json.dumps({**json.loads(body), "waiting": waiting, "waiting_more": more})

    centre.mock.remove("GET", f"{URL}/v1/sync/stations/bench1")
    centre.mock.add_callback("GET", f"{URL}/v1/sync/stations/bench1", where)
