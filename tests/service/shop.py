"""What the tests of the service share: a shop, a service with tokens, and a station that writes."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

from schemas.events import FIRST_HASH, event_hash
from service.app import Config, create_app
from service.store import tokens
from service.store.database import connected

NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)

SITES = [
    {"id": "northgate", "name": "Northgate", "time_zone": "Europe/London"},
    {"id": "fell-road", "name": "Fell Road", "time_zone": "Pacific/Auckland"},
]


def machine(name: str = "bench-3m", site: str | None = "northgate", **changes: Any) -> dict[str, Any]:
    """A machine of the shop."""
    return {
        "id": name,
        "name": "Bench shear, 3 m",
        "site": site,
        "cutting_length_mm": 3000,
        "rating": {"thickness_mm": 6},
        "rake": {"low_deg": 0.5, "high_deg": 2},
        "gap": {"low_mm": 0.05, "high_mm": 1},
        "back_gauge": {"low_mm": 5, "high_mm": 1000},
        "front_stops": {"low_mm": 50, "high_mm": 2000},
        "hold_down": {"clamping_depth_mm": 45},
        "squaring_arm_mm": 2000,
        "relief": True,
        "lifting": {"crane_kg": 1000},
        **changes,
    }


def sheet(ref: str = "SH-A", site: str = "northgate", **changes: Any) -> dict[str, Any]:
    """A stock record."""
    return {
        "site": site,
        "ref": ref,
        "length": 2500,
        "width": 1250,
        "quantity": 8,
        "material": "S235JR",
        "thickness": 3,
        **changes,
    }


def order(**changes: Any) -> dict[str, Any]:
    """The order that TRADE works by hand: eight blanks of 600 × 300 from a sheet of 2500 × 1250 × 3."""
    return {
        "order_ref": "W-1042",
        "machine": "bench-3m",
        "parts": [
            {
                "ref": "P1",
                "length": 600,
                "width": 300,
                "quantity": 8,
                "material": "S235JR",
                "thickness": 3,
            }
        ],
        **changes,
    }


class Clock:
    """A clock that a test can set."""

    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> datetime:
        return self.now


class Service:
    """A running application and its tokens."""

    def __init__(self, address: str, **settings: Any) -> None:
        self.clock = Clock()
        self.address = address
        self.app = create_app(Config(database=address, clock=self.clock, **settings))
        self.http = self.app.test_client()
        self.secrets: dict[str, str] = {}
        for scope in ("admin", "plan", "report"):
            self.secrets[scope] = self.token(scope)

    def token(self, scope: str, **bound: Any) -> str:
        with connected():
            return tokens.make(scope, [scope], now=NOW - timedelta(days=1), **bound)[1]

    def ask(self, method: str, path: str, scope: str | None = "admin", **more: Any) -> Any:
        headers = dict(more.pop("headers", {}))
        if scope is not None:
            headers["Authorization"] = f"Bearer {self.secrets.get(scope, scope)}"
        return self.http.open(f"/v1{path}", method=method, headers=headers, **more)

    def get(self, path: str, scope: str | None = "admin", **more: Any) -> Any:
        return self.ask("GET", path, scope, **more)

    def post(self, path: str, document: Any, scope: str | None = "admin", **more: Any) -> Any:
        return self.ask("POST", path, scope, json=document, **more)

    def put(self, path: str, document: Any, scope: str | None = "admin", **more: Any) -> Any:
        return self.ask("PUT", path, scope, json=document, **more)

    def fill(self) -> None:
        """Two sites, two machines, stock."""
        for site in SITES:
            assert self.post("/sites", site).status_code == 201
        assert self.post("/machines", machine()).status_code == 201
        assert self.post("/machines", machine("far-2m", "fell-road")).status_code == 201
        assert self.post("/stock", sheet()).status_code == 201
        self.secrets["station"] = self.token("station", site="northgate", station="ng-1")

    def push(self, events: list[dict[str, Any]], scope: str = "station", **more: Any) -> Any:
        document = {
            "station": events[0]["station"] if events else "ng-1",
            "sent_at": more.pop("sent_at", self.clock.now.isoformat()),
            "events": events,
        }
        return self.post("/sync/events", document, scope, **more)


class Station:
    """A station's outbox: it numbers and chains what is written down."""

    def __init__(self, name: str = "ng-1", epoch: str | None = None) -> None:
        self.name = name
        self.epoch = epoch or str(uuid.uuid4())
        self.seq = 0
        self.last = FIRST_HASH

    def write(self, event_type: str, payload: dict[str, Any], **changes: Any) -> dict[str, Any]:
        self.seq += 1
        event = {
            "event_id": str(uuid.uuid4()),
            "station": self.name,
            "epoch": self.epoch,
            "seq": self.seq,
            "happened_at": "2026-03-02T09:15:00Z",
            "type": event_type,
            "payload": payload,
            "prev_hash": self.last,
            **changes,
        }
        event["hash"] = event_hash(event)
        self.last = event["hash"]
        return event

    def cut(self, **changes: Any) -> dict[str, Any]:
        envelope = {name: changes.pop(name) for name in ("happened_at", "event_id") if name in changes}
        return self.write("cuts.made", cuts_made(**changes), **envelope)


def cuts_made(**changes: Any) -> dict[str, Any]:
    """A payload: four parts cut in four strokes."""
    return {
        "machine": "bench-3m",
        "material": "S235JR",
        "thickness_mm": 3,
        "cut_length_mm": 300,
        "strokes": 4,
        "equivalent_m": 0.6,
        "parts": [{"ref": "P1", "length_mm": 600, "width_mm": 300, "quantity": 4, "mass_kg": 16.956}],
        "minutes": 2.5,
        **changes,
    }


def piece(**changes: Any) -> dict[str, Any]:
    """What stock taken, scrap and offcuts have in common."""
    return {
        "machine": "bench-3m",
        "material": "S235JR",
        "thickness_mm": 3,
        "length_mm": 2500,
        "width_mm": 1250,
        "quantity": 1,
        "mass_kg": 73.6,
        **changes,
    }


def states(answer: Any) -> list[str]:
    """What became of each event of a push."""
    assert answer.status_code == 200, answer.text
    return [result["state"] for result in answer.json["results"]]


def discrepancies(service: Service, show: str = "open") -> list[dict[str, Any]]:
    """What does not add up, as the service lists it."""
    items: list[dict[str, Any]] = service.get("/sync/discrepancies", query_string={"show": show}).json[
        "items"
    ]
    return items


PLAN = "55f0c1d2a3b4e5f6"
"""A plan that the centre does not know."""


def step_cut(station: Station, pieces: int = 4, planned: int = 4, step: int = 2, **more: Any) -> Any:
    """A step of that plan."""
    return station.cut(plan_id=PLAN, step=step, pieces=pieces, step_pieces=planned, **more)


def rows(service: Service, name: str = "throughput", by: str = "site,day", **query: str) -> Any:
    """Rows of a report."""
    answer = service.get(f"/reports/{name}", query_string={"by": by, **query})
    assert answer.status_code == 200, answer.text
    return answer.json["rows"]
