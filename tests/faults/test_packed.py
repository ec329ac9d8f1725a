"""Packed bodies: taken, bounded when unpacked, and never needed."""

from __future__ import annotations

import gzip
import json
from typing import Any

import pytest

from tests.service.shop import NOW, Service, Station


def send(service: Service, body: bytes, coding: str = "gzip") -> Any:
    headers = {"Content-Type": "application/json", "Content-Encoding": coding}
    return service.ask("POST", "/sync/events", "station", data=body, headers=headers)


def push(station: Station, count: int = 3) -> bytes:
    events = [station.cut() for _ in range(count)]
    return json.dumps({"station": "ng-1", "sent_at": NOW.isoformat(), "events": events}).encode()


def test_a_packed_push_is_taken(service: Service, station: Station) -> None:
    answer = send(service, gzip.compress(push(station)))
    assert answer.status_code == 200, answer.text
    assert answer.json["has_to_seq"] == 3


def test_a_body_that_unpacks_to_more_than_is_taken_is_refused_before_it_is_unpacked(service: Service) -> None:
    # 100 MB of blanks pack to about 100 kB.
    packed = gzip.compress(b" " * 100_000_000)
    assert len(packed) < 200_000
    answer = send(service, packed)
    assert answer.status_code == 413
    assert "unpacks to at most 200000 bytes" in answer.json["detail"]


@pytest.mark.parametrize(
    "spoil",
    [lambda b: b[:-5], lambda _: b"no gzip", lambda b: b + b"x", lambda _: b""],
    ids=["cut short", "no gzip", "something behind", "empty"],
)
def test_a_packed_body_that_is_broken_is_no_fault_of_the_service(
    service: Service, station: Station, spoil: Any
) -> None:
    answer = send(service, spoil(gzip.compress(push(station))))
    assert answer.status_code == 400, answer.text
    assert service.get("/sync/stations/ng-1", "station").json["has_to_seq"] == 0


def test_another_coding_is_refused_by_name(service: Service, station: Station) -> None:
    answer = send(service, push(station), "br")
    assert answer.status_code == 415
    assert "gzip" in answer.json["detail"]


def test_a_station_is_told_what_waits_and_no_longer_once_it_is_applied(
    service: Service, station: Station
) -> None:
    from tests.service.shop import machine

    service.push([station.cut(), station.cut(machine="bench-4m"), station.write("tea.made", {})])
    told = service.get("/sync/stations/ng-1", "station").json
    assert [(one["seq"], one["state"]) for one in told["waiting"]] == [(2, "quarantined"), (3, "kept")]
    assert "bench-4m" in told["waiting"][0]["errors"][0]["message"]
    assert told["waiting_more"] is False
    assert service.post("/machines", machine("bench-4m")).status_code == 201
    number = service.get("/sync/quarantine").json["items"][0]["id"]
    service.post(f"/sync/quarantine/{number}/retry", {})
    told = service.get("/sync/stations/ng-1", "station").json
    assert [one["seq"] for one in told["waiting"]] == [3]
