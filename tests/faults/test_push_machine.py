"""The sync API under any order of pushes, right and wrong, against a model of a few lines."""

from __future__ import annotations

import json
import shutil
import tempfile
import uuid
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from schemas.events import FIRST_HASH, event_hash
from service.store import audits
from service.store.database import connected, database
from service.store.models import Event
from tests.service.shop import NOW, Service, Station, cuts_made, machine

ABSURD = "0001-01-01T00:00:00+14:00"
"""A time that cannot be."""


@dataclass
class Entry:
    """What the model knows of one thing that came in: what it says now, and whether it counts."""

    event: dict[str, Any]
    payload: dict[str, Any]
    happened_at: str
    state: Literal["applied", "waits", "dismissed"] = "waits"

    def says(self, event: dict[str, Any]) -> bool:
        return all(self.event[name] == event[name] for name in ("happened_at", "type", "payload"))

    @property
    def place(self) -> tuple[str, int]:
        return self.event["epoch"], self.event["seq"]


class Pushing(RuleBasedStateMachine):
    """One station that sends whatever it likes, and a person who puts right what waits.

    The model is a list of events for each epoch, and of different entries for each event_id.
    """

    def __init__(self) -> None:
        super().__init__()
        self.folder = tempfile.mkdtemp(prefix="shearwright-push-")

    @initialize()
    def begin(self) -> None:
        self.service = Service(str(Path(self.folder) / "centre.sqlite3"))
        self.service.fill()
        self.outbox = Station()
        self.chains: dict[str, list[dict[str, Any]]] = {self.outbox.epoch: []}
        self.unsent: list[dict[str, Any]] = []
        self.known_machines = {"bench-3m"}
        self.entries: dict[str, list[Entry]] = {}

    def teardown(self) -> None:
        with suppress(AttributeError):
            if not database.is_closed():
                database.close()
        shutil.rmtree(self.folder, ignore_errors=True)

    # --- what a station may do -----------------------------------------------------------------

    @rule(where=st.sampled_from(["bench-3m", "bench-4m"]), strokes=st.integers(-1, 5))
    def write(self, where: str, strokes: int) -> None:
        self.unsent.append(self.outbox.cut(machine=where, strokes=strokes))

    @rule(strokes=st.integers(0, 2))
    def write_at_a_time_that_cannot_be(self, strokes: int) -> None:
        self.unsent.append(self.outbox.cut(strokes=strokes, happened_at=ABSURD))

    @rule()
    def write_what_nobody_knows(self) -> None:
        self.unsent.append(self.outbox.write("tea.made", {"cups": 2}))

    @precondition(lambda self: self.unsent)
    @rule(count=st.integers(1, 5))
    def push(self, count: int) -> None:
        run, self.unsent = self.unsent[:count], self.unsent[count:]
        answer = self.service.push(run)
        assert answer.status_code == 200, answer.text
        expected = [self._take(event) for event in run]
        assert [result["state"] for result in answer.json["results"]] == expected
        chain = self.chains[run[-1]["epoch"]]
        assert (answer.json["has_to_seq"], answer.json["last_hash"]) == (len(chain), chain[-1]["hash"])

    @precondition(lambda self: any(self.chains.values()))
    @rule(data=st.data())
    def push_again(self, data: st.DataObject) -> None:
        chain = data.draw(st.sampled_from([one for one in self.chains.values() if one]))
        first = data.draw(st.integers(0, len(chain) - 1))
        answer = self.service.push(chain[first : first + 5])
        assert {result["state"] for result in answer.json["results"]} == {"repeat"}

    @precondition(lambda self: any(self.chains.values()))
    @rule(data=st.data())
    def push_a_fork(self, data: st.DataObject) -> None:
        chain = data.draw(st.sampled_from([one for one in self.chains.values() if one]))
        other = {**data.draw(st.sampled_from(chain)), "event_id": str(uuid.uuid4())}
        other["hash"] = event_hash(other)
        answer = self.service.push([other])
        assert answer.status_code == 409
        assert answer.json["type"] == "/problems/fork"

    @precondition(lambda self: len(self.unsent) > 1)
    @rule()
    def push_with_a_hole(self) -> None:
        answer = self.service.push(self.unsent[1:])
        assert answer.status_code == 409
        assert answer.json["has_to_seq"] == len(self.chains[self.outbox.epoch])

    @rule()
    def begin_an_epoch_and_send_the_rest_again(self) -> None:
        fresh = Station()
        self.unsent = [
            fresh.write(
                event["type"],
                event["payload"],
                event_id=event["event_id"],
                happened_at=event["happened_at"],
            )
            for event in self.unsent
        ]
        self.outbox = fresh
        self.chains[fresh.epoch] = []

    @precondition(lambda self: any(self.chains.values()))
    @rule(data=st.data())
    def offer_an_old_event_under_a_new_epoch(self, data: st.DataObject) -> None:
        old = self._any_that_came(data)
        self.unsent.append(
            self.outbox.write(
                old["type"], old["payload"], event_id=old["event_id"], happened_at=old["happened_at"]
            )
        )

    @precondition(lambda self: any(self.chains.values()))
    @rule(data=st.data(), strokes=st.integers(-1, 5))
    def write_something_else_under_an_old_id(self, data: st.DataObject, strokes: int) -> None:
        old = self._any_that_came(data)
        self.unsent.append(self.outbox.cut(event_id=old["event_id"], strokes=strokes))

    def _any_that_came(self, data: st.DataObject) -> dict[str, Any]:
        chain = data.draw(st.sampled_from([one for one in self.chains.values() if one]))
        return data.draw(st.sampled_from(chain))

    # --- what a person may do ------------------------------------------------------------------

    @rule()
    def enter_the_machine_and_retry(self) -> None:
        if "bench-4m" not in self.known_machines:
            assert self.service.post("/machines", machine("bench-4m")).status_code == 201
            self.known_machines.add("bench-4m")
        for item in self._held():
            answer = self.service.post(f"/sync/quarantine/{item['id']}/retry", {})
            self._tried(self._entry(item), answer.json["state"])

    @precondition(lambda self: self._of_state("waits"))
    @rule(data=st.data(), strokes=st.integers(1, 5))
    def correct(self, data: st.DataObject, strokes: int) -> None:
        item = data.draw(st.sampled_from(self._held()))
        entry = self._entry(item)
        right, moment = cuts_made(strokes=strokes), "2026-03-02T10:00:00Z"
        answer = self.service.post(
            f"/sync/quarantine/{item['id']}/correct",
            {"payload": right, "happened_at": moment, "words": "typed wrong"},
        )
        if entry.event["type"] == "tea.made":
            assert answer.status_code == 422
            return
        entry.payload, entry.happened_at = right, moment
        self._tried(entry, answer.json["state"])

    @precondition(lambda self: self._of_state("waits"))
    @rule(data=st.data())
    def dismiss(self, data: st.DataObject) -> None:
        item = data.draw(st.sampled_from(self._held()))
        answer = self.service.post(f"/sync/quarantine/{item['id']}/dismiss", {"words": "made up"})
        assert answer.status_code == 204
        self._entry(item).state = "dismissed"

    # --- the model -----------------------------------------------------------------------------

    def _held(self) -> list[dict[str, Any]]:
        items: list[dict[str, Any]] = self.service.get("/sync/quarantine").json["items"]
        return items

    def _entry(self, item: dict[str, Any]) -> Entry:
        (entry,) = (one for one in self.entries[item["event_id"]] if one.event == item["event"])
        return entry

    def _of_state(self, state: str) -> list[Entry]:
        return [one for entries in self.entries.values() for one in entries if one.state == state]

    def _may_count(self, entry: Entry) -> bool:
        return (
            entry.event["type"] == "cuts.made"
            and entry.payload["strokes"] > 0
            and entry.payload["machine"] in self.known_machines
            and entry.happened_at != ABSURD
        )

    def _tried(self, entry: Entry, state: str) -> None:
        taken = any(one.state == "applied" for one in self.entries[entry.event["event_id"]])
        may = self._may_count(entry) and not taken
        assert (state == "applied") == may
        if may:
            entry.state = "applied"

    def _take(self, event: dict[str, Any]) -> str:
        self.chains[event["epoch"]].append(event)
        under_its_id = self.entries.setdefault(event["event_id"], [])
        if any(one.says(event) for one in under_its_id):
            return "repeat"
        entry = Entry(event, event["payload"], event["happened_at"])
        under_its_id.append(entry)
        if len(under_its_id) > 1:
            return "quarantined"
        if event["type"] == "tea.made":
            return "kept"
        if not self._may_count(entry):
            return "quarantined"
        entry.state = "applied"
        return "applied"

    # --- what must hold ------------------------------------------------------------------------

    @invariant()
    def the_centre_is_as_the_model(self) -> None:
        if not hasattr(self, "service"):
            return
        told = self.service.get("/sync/stations/ng-1", "station").json
        reached = {one["epoch"]: (one["has_to_seq"], one["last_hash"]) for one in told["epochs"]}
        expected = {
            epoch: (len(chain), chain[-1]["hash"] if chain else FIRST_HASH)
            for epoch, chain in self.chains.items()
            if chain
        }
        assert reached == expected
        applied = self._of_state("applied")
        with connected():
            kept = sorted((row.epoch, row.seq) for row in Event.select().where(Event.state == "applied"))
            assert kept == sorted(one.place for one in applied)
            assert audits.audit() == []
        rows = self.service.get("/reports/wear?by=site").json["rows"]
        assert sum(row["strokes"] for row in rows) == sum(one.payload["strokes"] for one in applied)
        waiting = sorted(one.place for one in self._of_state("waits"))
        assert sorted((one["epoch"], one["seq"]) for one in told["waiting"]) == waiting
        dismissed = self.service.get("/sync/quarantine?show=dismissed").json["items"]
        assert sorted((one["event"]["epoch"], one["event"]["seq"]) for one in dismissed) == sorted(
            one.place for one in self._of_state("dismissed")
        )


TestPushing = Pushing.TestCase
TestPushing.settings = settings(
    max_examples=15,
    stateful_step_count=15,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)


# --- bodies that are none --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def open_service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    made = Service(str(tmp_path_factory.mktemp("fuzz") / "centre.sqlite3"))
    made.fill()
    yield made
    with suppress(AttributeError):
        if not database.is_closed():
            database.close()


_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)
_SPOT = st.sampled_from(
    ["event_id", "station", "epoch", "seq", "happened_at", "type", "payload", "prev_hash", "hash"]
)
_PAYLOAD_SPOT = st.sampled_from(sorted(cuts_made()))


@given(body=st.binary(max_size=200), kind=st.sampled_from(["application/json", "text/plain", ""]))
@settings(max_examples=100, deadline=None)
def test_no_bytes_make_the_service_fail(open_service: Service, body: bytes, kind: str) -> None:
    for coding in ("identity", "gzip"):
        answer = open_service.ask(
            "POST",
            "/sync/events",
            "station",
            data=body,
            headers={"Content-Type": kind, "Content-Encoding": coding},
        )
        assert 400 <= answer.status_code < 500, answer.text


@given(spot=_SPOT, value=_JSON, rehash=st.booleans())
@settings(max_examples=150, deadline=None)
def test_no_field_of_an_event_makes_the_service_fail(
    open_service: Service, spot: str, value: Any, rehash: bool
) -> None:
    event = {**Station().cut(), spot: value}
    _send(open_service, event, rehash and spot != "hash")


@given(spot=_PAYLOAD_SPOT, value=_JSON)
@settings(max_examples=150, deadline=None)
def test_no_field_of_a_payload_makes_the_service_fail(open_service: Service, spot: str, value: Any) -> None:
    station = Station()
    event = station.write("cuts.made", cuts_made())
    event["payload"] = {**event["payload"], spot: value}
    _send(open_service, event, True)


@given(document=_JSON)
@settings(max_examples=100, deadline=None)
def test_no_document_makes_the_service_fail(open_service: Service, document: Any) -> None:
    text = json.dumps(document)
    headers = {"Content-Type": "application/json"}
    answer = open_service.ask("POST", "/sync/events", "station", data=text, headers=headers)
    assert 400 <= answer.status_code < 500, answer.text


def _send(service: Service, event: dict[str, Any], rehash: bool) -> None:
    if rehash:
        with suppress(ValueError):
            event["hash"] = event_hash(event)
    document = {"station": "ng-1", "sent_at": NOW.isoformat(), "events": [event]}
    answer = service.ask(
        "POST",
        "/sync/events",
        "station",
        data=json.dumps(document),
        headers={"Content-Type": "application/json"},
    )
    assert answer.status_code < 500, answer.text
