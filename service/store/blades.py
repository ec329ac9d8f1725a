"""What cuts and turns did to a blade, kept beside each event, and how it is taken back on that very blade.

A cut keeps the blade and edge that it was counted on; a turn keeps what the blade was before it. Both keep
the revision that they gave the record of the blade, which is their order. So nothing is replayed: a change
of the past is carried from turn to turn, until a regrind wipes it off or it reaches the record.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from service.store import records
from service.store.books import Books
from service.store.database import ask, database, is_postgresql
from service.store.models import Event, JsonField
from service.store.records import Kept

_AT_A_TIME: Final = 2000


@dataclass(frozen=True, slots=True)
class State:
    """A blade at one moment: the edge at work and since when, equivalent metres by edge, regrinds."""

    edge: int
    since: str | None
    used: tuple[float, ...]
    regrinds: int

    @classmethod
    def of(cls, kept: Mapping[str, Any]) -> State:
        """The state that a record of a blade tells of, or a turn of what was before it."""
        return cls(kept["edge"], kept["edge_since"], tuple(kept["used_m"]), kept["regrinds"])

    def as_kept(self) -> dict[str, Any]:
        """The state in the words of the record."""
        return {
            "edge": self.edge,
            "edge_since": self.since,
            "used_m": list(self.used),
            "regrinds": self.regrinds,
        }

    def turned(self, edge: int, work: str, since: str | None) -> State:
        """The state after an edge was put to work, as it was or with the whole blade fresh.

        >>> State(1, None, (3.0, 0.0), 2).turned(2, "turned", None)
        State(edge=2, since=None, used=(3.0, 0.0), regrinds=2)
        >>> State(1, None, (3.0, 0.0), 2).turned(1, "reground", None)
        State(edge=1, since=None, used=(0.0, 0.0), regrinds=3)
        """
        if work == "turned":
            return replace(self, edge=edge, since=since)
        fresh = (0.0,) * len(self.used)
        return State(edge, since, fresh, self.regrinds + 1 if work == "reground" else 0)

    def with_use(self, edge: int, metres: float) -> State:
        """The state with metres more, or less, on an edge; one that the blade does not have is left out."""
        used = tuple(
            # Rounded to the unit of the roll-ups, so that the order of events makes no difference.
            round(was + metres, 3) if number == edge else was
            for number, was in enumerate(self.used, 1)
        )
        return replace(self, used=used)


def carried(old: State, new: State, then: State) -> State:
    """What came of a blade that stood at `new`, where it is known that of `old` came `then`.

    Edge and time are those of `new` as long as nothing else was said of them since.

    >>> carried(State(2, None, (1.0, 0.0), 0), State(1, None, (0.0, 0.0), 0), State(2, None, (1.0, 4.0), 0))
    State(edge=1, since=None, used=(0.0, 4.0), regrinds=0)
    """
    more = [after - before for before, after in zip(old.used, new.used, strict=True)]
    # A blade may have been given more edges since, or fewer.
    more += [0.0] * (len(then.used) - len(more))
    return State(
        new.edge if then.edge == old.edge else then.edge,
        new.since if then.since == old.since else then.since,
        tuple(round(max(0.0, used + by), 3) for used, by in zip(then.used, more, strict=False)),
        max(0, then.regrinds + new.regrinds - old.regrinds),
    )


def take_back(row: Any, payload: Mapping[str, Any], books: Books, **written: Any) -> tuple[str, ...]:
    """Let a blade be as it were without a cut or a turn.

    Parameters
    ----------
    row, payload
        The event that is withdrawn, and the payload that counts of it.
    written
        `by` and `now` of what is written.

    Returns
    -------
    tuple of str
        What the station should know besides.
    """
    kept = None if row.blade is None else books.find("blade", row.blade)
    if kept is None:
        named = "the blade that it was counted on" if row.blade is None else f"the blade {row.blade!r}"
        return (f"{named} has no record here; the use of no blade was changed",)
    if row.type == "cuts.made":
        now = State.of(kept.document)
        old, new = now.with_use(row.blade_edge, payload["equivalent_m"]), now
    else:
        new = State.of(row.blade_before)
        old = _after(row, payload, new)
        if old.edge != new.edge:
            metres = _give_cuts(row, old.edge, new.edge)
            new = new.with_use(old.edge, -metres).with_use(new.edge, metres)
    _carry(row, old, new, kept, books, written)
    return ()


def _carry(row: Any, old: State, new: State, kept: Kept, books: Books, written: Mapping[str, Any]) -> None:
    for turn in _turns_after(row):
        before = State.of(turn.blade_before)
        changed = carried(old, new, before)
        Event.update(blade_before=changed.as_kept()).where(Event.id == turn.id).execute()
        payload = turn.corrected_payload or turn.document["payload"]
        old, new = _after(turn, payload, before), _after(turn, payload, changed)
        if old == new:
            return
    document = {**kept.document, **carried(old, new, State.of(kept.document)).as_kept()}
    if document != kept.document:
        books.write("blade", kept.key, document, site=kept.site, **written)


def _after(turn: Any, payload: Mapping[str, Any], before: State) -> State:
    return before.turned(payload["edge"], payload["work"], turn.corrected_at.isoformat())


def _turns_after(row: Any) -> list[Any]:
    return list(
        Event.select(
            Event.id, Event.document, Event.corrected_payload, Event.corrected_at, Event.blade_before
        )
        .where(
            Event.blade == row.blade,
            Event.record_revision > row.record_revision,
            Event.type == "blade.turned",
            Event.state == "applied",
        )
        .order_by(Event.record_revision)
    )


def _give_cuts(turn: Any, edge: int, to: int) -> float:
    """Give the cuts that did not say their edge to the one that was at work before a turn; their metres."""
    following = (
        (Event.blade == turn.blade)
        & (Event.record_revision > turn.record_revision)
        & (Event.state == "applied")
    )
    end = (
        Event.select(Event.record_revision)
        .where(following, Event.type == "blade.turned")
        .order_by(Event.record_revision)
        .limit(1)
        .scalar()
    )
    if end is not None:
        following &= Event.record_revision < end
    metres = 0.0
    for cut in _paged(following & (Event.type == "cuts.made") & (Event.blade_edge == edge)):
        payload = cut.corrected_payload or cut.document["payload"]
        if not payload.get("blade_edge"):
            metres = round(metres + payload["equivalent_m"], 3)
            Event.update(blade_edge=to).where(Event.id == cut.id).execute()
    return metres


def _paged(wanted: Any) -> Iterator[Any]:
    """Events some at a time, as there may be more than memory holds."""
    after = 0
    while True:
        rows = list(
            Event.select(Event.id, Event.document, Event.corrected_payload)
            .where(wanted, Event.id > after)
            .order_by(Event.id)
            .limit(_AT_A_TIME)
            .namedtuples()
        )
        yield from rows
        if not rows:
            return
        after = rows[-1].id


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
    edges = kept.document["edges"]
    state = State(1 if turned.exists() else kept.document["edge"], None, (0.0,) * edges, 0)
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
            payload = row.corrected_payload or row.document["payload"]
            edge, before = None, None
            if row.type == "blade.turned":
                before, state = state, _after(row, payload, state)
            else:
                edge = payload.get("blade_edge") or state.edge
                state = state.with_use(edge, payload["equivalent_m"])
            text = None if before is None else JsonField().db_value(before.as_kept())
            rows.append((kept.key, place, edge, text, number))
        database.cursor().executemany(write, rows)
