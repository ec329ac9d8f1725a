"""What must hold at the end of a story, reckoned from what was promised and from the documents alone."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from schemas.events import FIRST_HASH, event_hash
from service.store import audits, records
from service.store.models import Chain, Discrepancy, Event, Record, Tally
from tests.faults.centres import MANY

if TYPE_CHECKING:
    from tests.faults.floor import Bench
    from tests.faults.world import World

PLANS = ("55f0c1d2a3b4e5f6", "a1b2c3d4e5f60718")
"""Plans of which nobody knows more than what is logged of their steps."""
PIECES = 3
"""Pieces that the first step of a plan has; the second has twice as many, and so on."""
OFFCUTS = ("OC-1", "OC-2")
"""Names of offcuts, which are given again and again."""
EDGES = 4
"""Edges of a blade."""
SHEETS = 4
"""Sheets of the layout of a plan that are parts as they are."""


def reckon_centre(world: World) -> None:
    """Everything promised is there once, chains are whole, times and sums are right."""
    rows = list(Event.select().order_by(Event.station, Event.epoch, Event.seq))
    counted: dict[str, int] = {}
    for row in rows:
        counted.setdefault(row.event_id, 0)
        counted[row.event_id] += row.state == "applied"
    missing = [one for one in world.promised if one not in counted and one not in world.excused]
    assert not missing, f"lost: {missing}"
    gone = _reckon_withdrawals(rows)
    wrong = {
        one: count
        for one, count in counted.items()
        if count != (one not in gone) and not (one in world.refused and count == 0)
    }
    assert not wrong, f"not applied once: {wrong}"
    chains: dict[tuple[str, str], list[Any]] = {}
    for row in rows:
        chains.setdefault((row.station, row.epoch), []).append(row)
    for (station, epoch), events in chains.items():
        assert [one.seq for one in events] == list(range(1, len(events) + 1))
        assert events[0].document["prev_hash"] == FIRST_HASH
        assert all(after.document["prev_hash"] == before.hash for before, after in pairwise(events))
        assert all(event_hash(one.document) == one.hash for one in events)
        chain = Chain.get((Chain.station == station) & (Chain.epoch == epoch))
        assert (chain.has_to_seq, chain.last_hash) == (len(events), events[-1].hash)
    # However the clocks were moved, the centre knows when it was, unless the letter was on its way long.
    for row in rows:
        when = world.promised.get(row.event_id)
        if when is not None and row.state == "applied" and row.event_id not in world.came_late:
            assert abs(row.corrected_at - when) < timedelta(minutes=10), (row.event_id, row.corrected_at)
    _reckon_days(world, rows)
    assert audits.audit() == []
    applied = [row for row in rows if row.state == "applied"]
    _reckon_rack(applied)
    for ref in OFFCUTS:
        _reckon_offcut(ref, rows)
    _reckon_blades(world, rows)
    # Sums that no code of ours made: counted here from the documents.
    parts = sum(
        part["quantity"]
        for one in applied
        if one.type in {"cuts.made", "parts.taken"}
        for part in one.document["payload"]["parts"]
    )
    assert sum(row.parts for row in Tally.select()) == parts
    _reckon_discrepancies(applied)


def _reckon_rack(applied: list[Any]) -> None:
    """As many sheets as were counted last, without those that were taken since."""
    kept = records.find("stock", "northgate/SH-A")
    assert kept is not None
    counts = Discrepancy.select().where(Discrepancy.counted.is_null(False))
    last = counts.order_by(Discrepancy.settled_at.desc(), Discrepancy.id.desc()).first()
    begun = MANY if last is None else last.counted
    since = 1 if last is None else kept.by_hand
    taken = sum(
        one.document["payload"]["quantity"]
        for one in applied
        if one.type == "stock.taken"
        and one.document["payload"]["ref"] == "SH-A"
        and one.record_revision > since
    )
    assert kept.document["quantity"] == begun - taken


def _reckon_offcut(ref: str, rows: list[Any]) -> None:
    """As many as were stored and not taken; more taken than there were, and other sizes, are shown.

    Where an entry of the name was withdrawn that depends on what had the name when: then no more is held
    than that there are never fewer than none.
    """
    own = [
        one
        for one in rows
        if one.type in {"stock.taken", "offcut.stored"} and one.document["payload"]["ref"] == ref
    ]
    kept = records.find("stock", f"northgate/{ref}")
    assert kept is None or kept.document["quantity"] >= 0
    if any(one.withdrawn_by is not None for one in own):
        return
    there, length, short, odd = 0, None, set(), set()
    # What was taken before there was a record has changed none.
    for one in sorted(
        (one for one in own if one.state == "applied"), key=lambda event: event.record_revision or 0
    ):
        payload = one.document["payload"]
        if one.type == "offcut.stored":
            assert not there or length == payload["length_mm"], f"{ref}: two sizes at once"
            there, length = there + payload["quantity"], payload["length_mm"]
            continue
        if payload["quantity"] > there:
            short.add(one.event_id)
        if length not in {None, payload["length_mm"]}:
            odd.add(one.event_id)
        there = max(0, there - payload["quantity"])
    assert (0 if kept is None else kept.document["quantity"]) == there, ref
    noted = list(Discrepancy.select().where(Discrepancy.ref == ref))
    assert {one.event_id for one in noted if one.kind == "stock short"} == short, ref
    assert {one.event_id for one in noted if one.kind == "size differs"} == odd, ref


SUMMER = datetime(2026, 3, 29, 1, tzinfo=UTC), datetime(2026, 10, 25, 1, tzinfo=UTC)
"""Summer time in London, an hour ahead: from the last Sunday of March to that of October, 01:00 UTC both
(The Summer Time Order 2002, S.I. 2002/262)."""


def _reckon_days(world: World, rows: list[Any]) -> None:
    """The day of an entry is the one on the wall, and that of its own moment; sums go by it."""
    parts: dict[str, int] = {}
    for row in rows:
        if row.state != "applied" or row.type not in {"cuts.made", "parts.taken"}:
            continue
        pieces = sum(part["quantity"] for part in row.document["payload"]["parts"])
        parts[row.day] = parts.get(row.day, 0) + pieces
        if row.event_id not in world.came_late:
            ahead = timedelta(hours=SUMMER[0] <= row.corrected_at < SUMMER[1])
            assert row.day == (row.corrected_at + ahead).date().isoformat(), (row.corrected_at, row.day)
    found: dict[str, int] = {}
    for one in Tally.select().where(Tally.parts != 0):
        found[one.day] = found.get(one.day, 0) + one.parts
    assert found == {day: count for day, count in parts.items() if count}


def _reckon_blades(world: World, rows: list[Any]) -> None:
    """Each blade is what the cuts and turns that stand make of a new one, in the order they were applied.

    Or of what a person set it to last; unless something from before that was withdrawn, which is carried
    over it: that is left to the audit.
    """
    worked = [row for row in rows if row.state == "applied" and row.type in {"cuts.made", "blade.turned"}]
    assert all(one.blade is not None for one in worked)
    for name in {one.blade for one in worked} | set(world.set_by_hand):
        thousandths, edge, regrinds, since = [0] * EDGES, 1, 0, None
        of_blade = [one for one in worked if one.blade == name]
        if name in world.set_by_hand:
            revision, state = world.set_by_hand[name]
            if any(row.blade == name and row.withdrawn_by and row.record_revision < revision for row in rows):
                continue
            of_blade = [one for one in of_blade if one.record_revision > revision]
            thousandths = [round(used * 1000) for used in state["used_m"]]
            edge, regrinds = state["edge"], state["regrinds"]
        for one in sorted(of_blade, key=lambda event: event.record_revision):
            payload = one.document["payload"]
            if one.type == "cuts.made":
                thousandths[(payload.get("blade_edge") or edge) - 1] += round(payload["equivalent_m"] * 1000)
                continue
            edge, since = payload["edge"], one.corrected_at
            if payload["work"] != "turned":
                thousandths = [0] * EDGES
                regrinds = regrinds + 1 if payload["work"] == "reground" else 0
        kept = records.find("blade", name)
        assert kept is not None
        found = kept.document
        assert [round(used * 1000) for used in found["used_m"]] == thousandths, name
        assert (found["edge"], found["regrinds"]) == (edge, regrinds), name
        at_work = found["edge_since"]
        assert (None if at_work is None else datetime.fromisoformat(at_work)) == since, name


def _reckon_withdrawals(rows: list[Any]) -> set[str]:
    """What was taken back stays so, and says by what; all the rest was not. Their event_ids."""
    gone = {
        row.document["payload"]["event_id"]: row.event_id
        for row in rows
        if row.type == "log.withdrawn" and row.state == "applied"
    }
    for row in rows:
        if row.state != "again":
            assert row.withdrawn_by == gone.get(row.event_id), (row.event_id, row.withdrawn_by)
    return set(gone)


def _reckon_discrepancies(applied: list[Any]) -> None:
    """Every step cut more than planned shows, and none that was not; and every sheet of another size."""
    pieces: dict[tuple[str, int], int] = {}
    odd = set()
    for row in applied:
        payload = row.document["payload"]
        if row.type == "stock.taken" and payload["ref"] == "SH-A" and payload["length_mm"] != 2500:
            odd.add(row.event_id)
        name, said = ("step", "pieces") if row.type == "cuts.made" else ("layout", "sheets")
        if payload.get("plan_id") is not None:
            place = payload["plan_id"], payload[name] if name == "step" else -payload[name]
            pieces[place] = pieces.get(place, 0) + payload[said]
    noted = list(Discrepancy.select().where(Discrepancy.ref.is_null() | (Discrepancy.ref == "SH-A")))
    kinds = ("size differs", "step over", "counted since")
    by_kind = {kind: [one for one in noted if one.kind == kind] for kind in kinds}
    assert len(noted) == sum(map(len, by_kind.values()))
    at = {row.event_id: row.corrected_at for row in Event.select().where(Event.type == "stock.taken")}
    counts = [one.settled_at for one in noted if one.counted is not None]
    for one in by_kind["counted since"]:
        assert any(at[one.event_id] < when < one.noted_at + timedelta(seconds=1) for when in counts)
    _reckon_shown(by_kind["size differs"], lambda one: one.event_id, odd)
    most = {place: PIECES * place[1] if place[1] > 0 else SHEETS for place in pieces}
    over = {place for place, count in pieces.items() if count > most[place]}
    _reckon_shown(by_kind["step over"], lambda one: (one.plan_id, one.step), over)


def _reckon_shown(noted: list[Any], about: Callable[[Any], Any], wrong: set[Any]) -> None:
    """All that is wrong is shown, and what is open is wrong; a person may have settled it before."""
    shown = {about(one) for one in noted if not _taken_back(one)}
    still_open = {about(one) for one in noted if one.settled_at is None}
    assert still_open <= wrong <= shown, f"open: {still_open}, wrong: {wrong}, shown: {shown}"


def reckon_bench(world: World, bench: Bench) -> None:
    """The centre has what the bench wrote, and both know the same records."""
    station = world.open(bench)
    station.outbox.sql.check()
    at_centre = {(row.station, row.epoch, row.seq): row for row in Event.select()}
    for one in station.outbox.all_events():
        if one.state == "reissued":
            continue
        assert one.state == "taken", f"{bench.name}: event {one.seq} is {one.state}: {one.answer}"
        assert at_centre[bench.name, one.epoch, one.seq].hash == one.hash
    visible = Record.select().where(
        (Record.deleted == False)  # noqa: E712 - SQL
        & ((Record.site == "northgate") | Record.site.is_null())
    )
    expected = {(row.kind, row.key): row.document for row in visible}
    kinds = {kind for kind, _ in expected}
    known = {(kind, key): body for kind in kinds for key, body in station.records.records(kind)}
    assert known == expected
    rack = {item.ref: item.quantity for item in station.rack()}
    assert rack["SH-A"] == expected["stock", "northgate/SH-A"]["quantity"]


def _taken_back(one: Any) -> bool:
    """Whether a discrepancy was settled by a withdrawal, and not by a person."""
    return one.settled_by is not None and one.settled_by.startswith("station ")
