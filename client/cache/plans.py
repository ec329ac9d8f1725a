"""Plans made at this workstation, and how far their steps are done."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, cast

from client.cache.sqlite import Sqlite
from service.engine.fingerprint import canonical_json

PLAN_TABLES: Final = (
    """CREATE TABLE plan (
        id TEXT PRIMARY KEY,
        made_at TEXT NOT NULL,
        order_ref TEXT NOT NULL,
        machine TEXT NOT NULL,
        body BLOB NOT NULL
    ) STRICT""",
    """CREATE TABLE step_done (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        plan_id TEXT NOT NULL,
        step INTEGER NOT NULL,
        pieces INTEGER NOT NULL CHECK (pieces > 0)
    ) STRICT""",
    "CREATE INDEX step_done_by_plan ON step_done (plan_id, step)",
)

ID_LENGTH: Final = 16
"""A plan's id is the beginning of its fingerprint, so it is the same offline and online."""


@dataclass(frozen=True, slots=True)
class PlanLine:
    """A plan made here, for a list."""

    id: str
    made_at: str
    order_ref: str
    machine: str


def plan_id_of(fingerprint: str) -> str:
    """The id of a plan with this fingerprint."""
    return fingerprint[:ID_LENGTH]


def keep_plan(sql: Sqlite, plan_id: str, document: Mapping[str, Any], made_at: str) -> None:
    """Keep a plan; the same plan again changes nothing."""
    with sql.transaction():
        sql.run(
            "INSERT INTO plan (id, made_at, order_ref, machine, body) VALUES (?, ?, ?, ?, ?)"
            " ON CONFLICT (id) DO NOTHING",
            plan_id,
            made_at,
            document["order_ref"],
            document["machine_id"],
            canonical_json(document),
        )


def kept_plan(sql: Sqlite, plan_id: str) -> dict[str, Any] | None:
    """A plan document made here."""
    body = sql.value("SELECT body FROM plan WHERE id = ?", plan_id)
    return None if body is None else cast("dict[str, Any]", json.loads(body))


def kept_plans(sql: Sqlite) -> list[PlanLine]:
    """Plans made here, newest first."""
    found = sql.rows("SELECT id, made_at, order_ref, machine FROM plan ORDER BY made_at DESC, id")
    return [PlanLine(*row) for row in found]


def pieces_done(sql: Sqlite, plan_id: str) -> dict[int, int]:
    """Pieces logged so far at this workstation, by step."""
    found = sql.rows("SELECT step, sum(pieces) FROM step_done WHERE plan_id = ? GROUP BY step", plan_id)
    return dict(cast("list[tuple[int, int]]", found))


def mark_done(sql: Sqlite, plan_id: str, step: int, pieces: int) -> None:
    """Count pieces as done; inside the transaction that writes the events."""
    sql.run("INSERT INTO step_done (plan_id, step, pieces) VALUES (?, ?, ?)", plan_id, step, pieces)
