"""What an earlier version did not keep of blades, settled once after a migration."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from service.store import bulk, records
from service.store.blade_states import State
from service.store.blades import Turn
from service.store.database import ask, database, is_postgresql
from service.store.models import BladeSet, Event, JsonField
from service.store.records import Kept
from service.store.standing import Standing, in_order_of_record, payload_of

_AT_A_TIME: Final = 2000


def fill() -> None:
    """Settle for the events of an earlier version on which blade they counted.

    That was not kept: they are given to the blade now at work on their machine, in the order in which
    they were applied, before all revisions of its record.
    """
    at_work: dict[str, Kept] = {}
    for kept in records.listed("blade"):
        if kept.document["machine"] is not None:
            at_work.setdefault(kept.document["machine"], kept)
    for machine, kept in sorted(at_work.items()):
        _fill_blade(kept, _applied_in_order(machine))


def _applied_in_order(machine: str) -> list[int]:
    """Numbers of the cuts and turns of a machine as they were applied: one put right later came later."""
    rows = ask(
        "SELECT e.id FROM event e LEFT JOIN (SELECT event, max(made_at) AS made_at FROM correction"
        " WHERE outcome = 'applied' GROUP BY event) c ON c.event = e.id"
        " WHERE e.machine = %s AND e.type IN ('cuts.made', 'blade.turned') AND e.state = 'applied'"
        " ORDER BY coalesce(c.made_at, e.received_at), e.id",
        machine,
    )
    return [number for (number,) in rows]


def _fill_blade(kept: Kept, numbers: Sequence[int]) -> None:
    turned = Event.select(Event.id).where(
        Event.machine == kept.document["machine"], Event.type == "blade.turned", Event.state == "applied"
    )
    state = State.fresh(kept.document["edges"], 1 if turned.exists() else kept.document["edge"])
    mark = "%s" if is_postgresql() else "?"
    write = (
        f"UPDATE event SET blade = {mark}, record_revision = {mark}, blade_edge = {mark},"  # noqa: S608 - ours
        f" blade_before = {mark} WHERE id = {mark}"
    )
    wanted = Event.id, Event.type, Event.document, Event.corrected_payload, Event.corrected_at
    for begin in range(0, len(numbers), _AT_A_TIME):
        page = numbers[begin : begin + _AT_A_TIME]
        found = {row.id: row for row in Event.select(*wanted).where(Event.id.in_(page)).namedtuples()}
        rows = []
        for place, number in enumerate(page, begin + 1 - len(numbers)):
            row = found[number]
            payload = payload_of(row)
            edge, before = None, None
            if row.type == "blade.turned":
                before = state
                state = state.turned(payload["edge"], payload["work"], row.corrected_at.isoformat())
            else:
                edge = payload.get("blade_edge") or state.edge
                state = state.with_use(edge, payload["equivalent_m"])
            text = None if before is None else JsonField().db_value(before.as_kept())
            rows.append((kept.key, place, edge, text, number))
        database.cursor().executemany(write, rows)


def fill_sets() -> None:
    """Settle what blades were set to by hand, which an earlier version did not keep.

    Wherever what is kept beside an event does not follow from what came before it, the blade was set to it
    in between; and whatever the record says beyond the last of them was set at last.
    """
    standing = {kept.key: kept for kept in records.listed("blade")}
    named = {blade for (blade,) in ask("SELECT DISTINCT blade FROM event WHERE blade IS NOT NULL")}
    rows: list[dict[str, Any]] = []
    for blade in sorted(named | standing.keys()):
        rows += _sets_of(blade, standing.get(blade))
    bulk.insert(BladeSet, rows)


def _sets_of(blade: str, kept: Kept | None) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    state: State | None = None

    def set_to(other: State, revision: int) -> State:
        rows.append(
            {
                "blade": blade,
                "revision": revision,
                "before": None if state is None else state.as_kept(),
                "after": other.as_kept(),
            }
        )
        return other

    for event in in_order_of_record(blade):
        revision = event.record_revision or 0
        if state is None:
            state = set_to(_begun(event, kept), revision - 1)
        if event.type == "cuts.made":
            edge = event.blade_edge or state.edge
            if not event.payload.get("blade_edge") and edge != state.edge:
                state = set_to(replace(state, edge=edge), revision - 1)
            state = state.with_use(edge, event.payload["equivalent_m"])
            continue
        before = State.of(event.blade_before)
        if before != state:
            state = set_to(before, revision - 1)
        turn = Turn(event.payload["edge"], event.payload["work"], event.at.isoformat())
        state = state.turned(turn.edge, turn.work, turn.since)
    if kept is not None:
        now = State.of(kept.document)
        if now != state:
            set_to(now, kept.revision)
    return rows


def _begun(event: Standing, kept: Kept | None) -> State:
    """What a blade was before the first that is known of it."""
    if event.blade_before is not None:
        return State.of(event.blade_before)
    edge = event.blade_edge or 1
    return State.fresh(max(edge, 1 if kept is None else kept.document["edges"]), edge)
