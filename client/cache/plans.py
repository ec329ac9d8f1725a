"""Plans made at this workstation, and how far their steps are done."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, cast

from client.cache.bodies import json_object
from client.cache.sqlite import Sqlite
from client.errors import StoreFailed
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

SPOILED_TABLES: Final = (
    """CREATE TABLE spoiled (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        plan_id TEXT NOT NULL,
        ref TEXT NOT NULL,
        quantity INTEGER NOT NULL,
        was_made INTEGER NOT NULL CHECK (was_made IN (0, 1))
    ) STRICT""",
    "CREATE INDEX spoiled_by_plan ON spoiled (plan_id, ref)",
)

SUM_TABLES: Final = ("ALTER TABLE plan ADD COLUMN sum TEXT",)
"""The SHA-256 of a plan as it was kept; none of plans that an earlier version kept."""

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
    """Keep a plan; the same plan again changes nothing, unless the one kept changed on the disk."""
    body = canonical_json(document)
    with sql.transaction():
        kept = sql.row("SELECT id, body, sum FROM plan WHERE id = ?", plan_id)
        if kept is not None and _sound(*kept) is None:
            sql.run("DELETE FROM plan WHERE id = ?", plan_id)
        sql.run(
            "INSERT INTO plan (id, made_at, order_ref, machine, body, sum) VALUES (?, ?, ?, ?, ?, ?)"
            " ON CONFLICT (id) DO NOTHING",
            plan_id,
            made_at,
            document["order_ref"],
            document["machine_id"],
            body,
            _sum(body),
        )


def kept_plan(sql: Sqlite, plan_id: str) -> dict[str, Any] | None:
    """A plan document made here; None: there is none by that id.

    Raises
    ------
    StoreFailed
        When it is damaged.
    """
    found = sql.row("SELECT id, body, sum FROM plan WHERE id = ?", plan_id)
    return None if found is None else _whole(*found)


def last_plan_on(sql: Sqlite, machine: str, *, other_than: str) -> dict[str, Any] | None:
    """The newest plan made here on a machine, another than one named.

    Raises
    ------
    StoreFailed
        When it is damaged.
    """
    found = sql.row(
        "SELECT id, body, sum FROM plan WHERE machine = ? AND id <> ? ORDER BY made_at DESC, id LIMIT 1",
        machine,
        other_than,
    )
    return None if found is None else _whole(*found)


def _whole(plan_id: str, body: bytes, kept_sum: str | None) -> dict[str, Any]:
    found = _sound(plan_id, body, kept_sum)
    if found is None:
        raise StoreFailed(
            f"the store is damaged: plan {plan_id} is not as it was kept any more; pull or plan again"
        )
    return found


def _sound(plan_id: str, body: bytes, kept_sum: str | None) -> dict[str, Any] | None:
    """A plan as it was kept; None: it changed on the disk."""
    if kept_sum is not None and kept_sum != _sum(body):
        return None
    found = json_object(body)
    if found is None:
        return None
    # All that can be told of one that an earlier version kept: its id says what was planned.
    named = found.get("cut_short") or str(found.get("fingerprint")).startswith(plan_id)
    return found if kept_sum is not None or named else None


def _sum(body: bytes) -> str:
    return hashlib.sha256(body).hexdigest()


def kept_plans(sql: Sqlite) -> list[PlanLine]:
    """Plans made here, newest first."""
    found = sql.rows("SELECT id, made_at, order_ref, machine FROM plan ORDER BY made_at DESC, id")
    return [PlanLine(*row) for row in found]


def pieces_done(sql: Sqlite, plan_id: str) -> dict[int, int]:
    """Pieces logged so far at this workstation, by step."""
    found = sql.rows("SELECT step, sum(pieces) FROM step_done WHERE plan_id = ? GROUP BY step", plan_id)
    return dict(cast("list[tuple[int, int]]", found))


def plans_in_hand(sql: Sqlite, most: int) -> list[str]:
    """Plans of which steps were logged here, those logged of last first."""
    found = sql.rows(
        "SELECT plan_id FROM step_done GROUP BY plan_id ORDER BY max(id) DESC, plan_id LIMIT ?", most
    )
    return [plan_id for (plan_id,) in found]


@dataclass(frozen=True, slots=True)
class Spoiled:
    """Parts of a plan logged as scrap at this workstation.

    Attributes
    ----------
    made
        Those that were logged as made before.
    early
        Those whose step was not logged yet; the step leaves them out when it is.
    left_out
        How many of the early ones steps have left out since.
    """

    made: int
    early: int
    left_out: int


def spoiled_parts(sql: Sqlite, plan_id: str, ref: str) -> Spoiled:
    """How many parts of a ref were spoiled."""
    made, early, left_out = sql.rows(
        "SELECT coalesce(sum(quantity) FILTER (WHERE was_made = 1), 0),"
        " coalesce(sum(quantity) FILTER (WHERE was_made = 0 AND quantity > 0), 0),"
        " coalesce(sum(-quantity) FILTER (WHERE was_made = 0 AND quantity < 0), 0)"
        " FROM spoiled WHERE plan_id = ? AND ref = ?",
        plan_id,
        ref,
    )[0]
    return Spoiled(made, early, left_out)


def note_spoiled(sql: Sqlite, plan_id: str, ref: str, quantity: int, *, was_made: bool) -> None:
    """Count spoiled parts, below none when a step leaves early ones out; inside the events' transaction."""
    sql.run(
        "INSERT INTO spoiled (plan_id, ref, quantity, was_made) VALUES (?, ?, ?, ?)",
        plan_id,
        ref,
        quantity,
        int(was_made),
    )


def mark_done(sql: Sqlite, plan_id: str, step: int, pieces: int) -> None:
    """Count pieces as done; inside the transaction that writes the events."""
    sql.run("INSERT INTO step_done (plan_id, step, pieces) VALUES (?, ?, ?)", plan_id, step, pieces)


def mark_undone(sql: Sqlite, plan_id: str, step: int, pieces: int) -> None:
    """Count pieces as done no longer; inside the transaction that withdraws their events."""
    left = pieces_done(sql, plan_id).get(step, 0) - pieces
    sql.run("DELETE FROM step_done WHERE plan_id = ? AND step = ?", plan_id, step)
    if left > 0:
        mark_done(sql, plan_id, step, left)


def forget_spoiled(sql: Sqlite, plan_id: str, ref: str, quantity: int, *, was_made: bool) -> None:
    """Count parts as spoiled no longer; inside the transaction that withdraws their event."""
    if was_made:
        note_spoiled(sql, plan_id, ref, -quantity, was_made=True)
        return
    _fewer(sql, plan_id, ref, quantity, "quantity > 0")


def forget_left_out(sql: Sqlite, plan_id: str, ref: str, quantity: int) -> None:
    """Count early spoiled parts as left out no longer; inside the transaction that withdraws the step."""
    _fewer(sql, plan_id, ref, -quantity, "quantity < 0")


def _fewer(sql: Sqlite, plan_id: str, ref: str, quantity: int, which: str) -> None:
    # `which` is a literal of this module.
    where = f"FROM spoiled WHERE plan_id = ? AND ref = ? AND was_made = 0 AND {which}"
    there = cast("int", sql.value(f"SELECT coalesce(sum(quantity), 0) {where}", plan_id, ref))
    sql.run(f"DELETE {where}", plan_id, ref)
    left = there - quantity
    if left * quantity > 0:
        note_spoiled(sql, plan_id, ref, left, was_made=False)
