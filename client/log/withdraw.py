"""Putting a wrong entry right: it is withdrawn by a further entry, and stays itself."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping, Sequence
from typing import Any, Final

from client.cache.outbox import Outbox, Written
from client.cache.plans import forget_left_out, forget_spoiled, mark_undone
from client.cache.sqlite import Sqlite
from client.cache.stock import StockChange, change_of
from client.entry_words import name_of
from client.errors import InputWrong
from client.log.batch import Batch, Logged
from client.opened import opened_plan
from client.workstation import Workstation
from service.engine.plan import Leaf, Step
from service.engine.quantities import mm

TYPE: Final = "log.withdrawn"


def log_withdrawn(
    station: Workstation,
    numbers: Sequence[int],
    reason: str,
    *,
    operator: str | None = None,
    pass_over: Collection[int] = (),
) -> Logged:
    """Write down that entries do not count, all of them or none.

    Parameters
    ----------
    station
        The workstation.
    numbers
        Of the entries, as they were told when they were written, and as the list shows them.
    reason
        In the operator's words.
    operator
        Initials or code.
    pass_over
        Those of the numbers that may be withdrawals, or of entries withdrawn before: nothing becomes of them.

    Raises
    ------
    InputWrong
        When there is no such entry, or it cannot be withdrawn.
    """
    with station.home.logging():
        batch = Batch(station)
        gone = withdrawn_ids(station.outbox)
        undone = {event_id for event_id, _ in _named(station.outbox)}
        found = {number: _entry(station.outbox, number) for number in dict.fromkeys(numbers)}
        chosen = [
            one
            for number, one in found.items()
            if number not in pass_over or (one.event_id not in gone and one.type != TYPE)
        ]
        if not chosen:
            raise InputWrong("all of these were withdrawn before, or are withdrawals; nothing was written")
        batch.notes += _passed_over(found, chosen)
        for one in chosen:
            _refuse_bad(one, gone)
            payload = one.event["payload"]
            change = change_of(one.type, payload)
            batch.add(
                TYPE,
                {"event_id": one.event_id, "reason": reason, "operator": operator},
                None if change is None else StockChange(change.ref, -change.delta, change.item),
            )
            if change is not None and one.state != "pending":
                batch.notes.append(f"the rack shows {change.ref} as it is after the next shearwright sync")
            # A withdrawal that the centre could not apply has undone it here all the same.
            if one.event_id not in undone:
                _undo(batch, one, payload)
        batch.notes += _companions(station.outbox, chosen, gone)
        batch.notes += _still_counting(station.outbox, chosen, gone)
        batch.notes += _still_spoiled(station.outbox, chosen, gone)
        return batch.write()


def _passed_over(found: Mapping[int, Written], chosen: Sequence[Written]) -> list[str]:
    rows = [str(number) for number, one in found.items() if one not in chosen]
    if not rows:
        return []
    one = len(rows) == 1
    which = f"entry {rows[0]} was" if one else f"entries {', '.join(rows)} were"
    return [f"{which} withdrawn before or {'is a withdrawal' if one else 'are withdrawals'}, and passed over"]


def withdrawn_ids(outbox: Outbox) -> set[str]:
    """The event_ids of all entries withdrawn here.

    Withdrawals that the centre could not apply are none, unless it lacks the entry, which was put aside
    here; nor are those that changed on the disk.
    """
    aside = {event_id for (event_id,) in outbox.sql.rows("SELECT event_id FROM event WHERE state = 'aside'")}
    return {event_id for event_id, state in _named(outbox) if state != "quarantined" or event_id in aside}


def _named(outbox: Outbox) -> list[tuple[str, str]]:
    """The event_ids that withdrawals name, each with the state of the withdrawal."""
    found = [one for one in outbox.of_type(TYPE, after=0) if one.sound]
    return [(one.event["payload"]["event_id"], one.state) for one in found]


def row_of(outbox: Outbox, event_id: str) -> int | None:
    """The number in the log of an entry, as it was sent last; None where it is not kept here."""
    row: int | None = outbox.sql.value(
        "SELECT max(id) FROM event WHERE event_id = ? AND state <> 'reissued'", event_id
    )
    return row


def _entry(outbox: Outbox, number: int) -> Written:
    found = outbox.by_rows([number])
    if found and found[0].state == "reissued":
        newest = row_of(outbox, found[0].event_id)
        found = outbox.by_rows([newest]) if newest is not None else []
    if not found:
        raise InputWrong(
            f"no entry {number} is kept here, and nothing was written; "
            "shearwright log list shows the last ones"
        )
    return found[0]


def _refuse_bad(one: Written, gone: set[str]) -> None:
    if one.event_id in gone:
        raise InputWrong(f"entry {one.row} was withdrawn before; nothing was written")
    if one.type == TYPE:
        raise InputWrong(
            f"entry {one.row} is itself a withdrawal; log anew what was done; nothing was written"
        )
    if one.type == "program.saved":
        name = one.event["payload"]["program_id"]
        raise InputWrong(
            f"entry {one.row} saved a program, and nothing was written; save it again as it should be: "
            f"shearwright log program FILE --change {name}"
        )


def _undo(batch: Batch, one: Written, payload: Mapping[str, Any]) -> None:
    """Take back what the entry did to the progress of its plan here."""
    plan_id = payload.get("plan_id")
    if plan_id is None:
        return
    if one.type == "scrap.made" and payload.get("part_ref") is not None:
        ref, quantity, made = payload["part_ref"], payload["quantity"], bool(payload.get("was_made"))
        batch.undone.append(lambda sql: forget_spoiled(sql, plan_id, ref, quantity, was_made=made))
    if one.type == "parts.taken":
        _undo_whole(batch, one, payload)
        return
    if one.type != "cuts.made" or payload.get("step") is None:
        return
    number = payload["step"]
    try:
        plan, _ = opened_plan(batch.station, plan_id)
    except InputWrong:
        batch.notes.append(f"plan {plan_id} is not known here; step {number} still counts as logged")
        return
    step = next(each for each in plan.program if each.number == number)
    pieces = _pieces(step, payload)
    left_out = _left_out(batch.station.outbox, one, step)

    def undo(sql: Sqlite) -> None:
        mark_undone(sql, plan_id, number, pieces)
        for ref, count in left_out:
            forget_left_out(sql, plan_id, ref, count)

    batch.undone.append(undo)
    batch.notes.append(f"{pieces} of {step.pieces} pieces of step {number} no longer count as logged")


def _undo_whole(batch: Batch, one: Written, payload: Mapping[str, Any]) -> None:
    """Take back that sheets of a layout were taken as parts."""
    plan_id, number, sheets = payload["plan_id"], payload["layout"], payload["sheets"]
    made = sum(part["quantity"] for part in payload["parts"])
    refs = {part["ref"] for part in payload["parts"]} or _whole_refs(batch.station, plan_id, number)

    def undo(sql: Sqlite) -> None:
        mark_undone(sql, plan_id, -number, sheets)
        for ref in refs if sheets > made else ():
            forget_left_out(sql, plan_id, ref, sheets - made)

    batch.undone.append(undo)
    batch.notes.append(f"{sheets} sheets of layout {number} no longer count as logged")


def _whole_refs(station: Workstation, plan_id: str, number: int) -> set[str]:
    """The part that the sheets of a layout are, by its plan."""
    try:
        plan, _ = opened_plan(station, plan_id)
    except InputWrong:
        return set()
    leaves = (one.tree for one in plan.layouts if one.number == number)
    return {leaf.ref for leaf in leaves if isinstance(leaf, Leaf) and leaf.ref is not None}


def _pieces(step: Step, payload: Mapping[str, Any]) -> int:
    """Pieces that went through in the strokes of a cut of a step."""
    if payload.get("pieces") is not None:
        return int(payload["pieces"])
    side_by_side = max(1, round(mm(payload["cut_length_mm"]) / step.along_blade))
    return int(payload["strokes"]) // step.repeat * side_by_side


def _together(outbox: Outbox, one: Written) -> list[Written]:
    """Everything that was written by the same command, this entry among it."""
    # Some of them may have been written again under a new epoch, and others not.
    rows = outbox.sql.rows(
        "SELECT id FROM event WHERE happened_at = ? AND state <> 'reissued' ORDER BY id", one.happened_at
    )
    return outbox.by_rows([row for (row,) in rows])


def _stands(one: Written, gone: set[str]) -> bool:
    """Whether an entry counts: no withdrawal, not withdrawn, not written again under a new epoch."""
    return one.event_id not in gone and one.type != TYPE and one.state != "reissued"


def _left_out(outbox: Outbox, one: Written, step: Step) -> list[tuple[str, int]]:
    """Parts that were scrap before the step was logged, and that its cuts left out: told by the first cut."""
    cuts = [
        each
        for each in _together(outbox, one)
        if each.type == "cuts.made" and each.event["payload"].get("step") == step.number
    ]
    if cuts[0].row != one.row:
        return []
    pieces = sum(_pieces(step, each.event["payload"]) for each in cuts)
    made = {part["ref"]: part["quantity"] for part in one.event["payload"]["parts"]}
    found = [
        (out.ref, out.count * pieces // step.pieces - made.get(out.ref, 0))
        for out in (*step.drops, *step.remainders)
        if out.kind == "part" and out.ref is not None
    ]
    return [(ref, count) for ref, count in found if count > 0]


def _companions(outbox: Outbox, chosen: Sequence[Written], gone: set[str]) -> list[str]:
    """A note of entries that were written by the same command and still count."""
    own = {one.event_id for one in chosen}
    rows = {each.row: each for one in chosen for each in _together(outbox, one) if _stands(each, own | gone)}
    if not rows:
        return []
    names = ", ".join(f"{row} ({name_of(rows[row].type)})" for row in sorted(rows))
    return [
        f"written together with it and still counting: {names}; to withdraw "
        f"{'that' if len(rows) == 1 else 'these'} too: {withdrawal_of(sorted(rows))}"
    ]


def withdrawal_of(rows: Sequence[int]) -> str:
    """The command that withdraws entries."""
    return f"shearwright log withdraw {' '.join(map(str, rows))} --reason …"


def left_of_withdrawn(outbox: Outbox, plan_id: str, name: str, number: int) -> list[str]:
    """A question about what still counts of a step or layout whose own entries were withdrawn.

    When it is logged anew, what was taken and scrapped with the withdrawn cuts would count twice.
    `name` is ``step`` or ``layout``.
    """
    gone = withdrawn_ids(outbox)
    rows: dict[int, str] = {}
    for event_id in gone:
        of_it = row_of(outbox, event_id)
        for one in outbox.by_rows([of_it]) if of_it is not None else ():
            if one.sound and one.type in _COUNTING and _place_of(one) == (plan_id, name, number):
                for each in _together(outbox, one):
                    if each.sound and _stands(each, gone) and each.type not in _COUNTING:
                        rows[each.row] = name_of(each.type)
    if not rows:
        return []
    names = ", ".join(f"{row} ({rows[row]})" for row in sorted(rows))
    return [
        f"the cuts of {name} {number} were withdrawn, and what was written with them still counts and would "
        f"count twice: {names}; first {withdrawal_of(sorted(rows))}"
    ]


def _still_counting(outbox: Outbox, chosen: Sequence[Written], gone: set[str]) -> list[str]:
    """A note for each step or layout of which other entries here still count."""
    own = {one.event_id for one in chosen} | gone
    told = []
    for place in dict.fromkeys(place for one in chosen if (place := _place_of(one)) is not None):
        rows = [
            one.row
            for one in _of_plan(outbox, place[0], *_COUNTING)
            if one.event_id not in own and _place_of(one) == place
        ]
        if rows:
            named = ", ".join(map(str, sorted(rows)))
            told.append(
                f"{place[1]} {place[2]} of plan {place[0]} still counts as logged by "
                f"{'entry' if len(rows) == 1 else 'entries'} {named}"
            )
    return told


def _still_spoiled(outbox: Outbox, chosen: Sequence[Written], gone: set[str]) -> list[str]:
    """A note of entries that take parts off those made as spoiled, where what made them is withdrawn."""
    own = {one.event_id for one in chosen} | gone
    refs: dict[str, set[str]] = {}
    for one in chosen:
        payload = one.event["payload"]
        if one.type in _COUNTING and payload.get("plan_id") is not None:
            made = {part["ref"] for part in payload["parts"]}
            refs.setdefault(payload["plan_id"], set()).update(made)
    told = []
    for plan_id, made in refs.items():
        for one in _of_plan(outbox, plan_id, "scrap.made"):
            payload = one.event["payload"]
            spoiled = payload.get("was_made") and payload.get("plan_id") == plan_id
            if spoiled and payload.get("part_ref") in made and one.event_id not in own:
                told.append(
                    f"entry {one.row} still counts {payload['quantity']} of {payload['part_ref']} of plan "
                    f"{plan_id} as made and then spoiled; if what is withdrawn made them, withdraw it too"
                )
    return told


_COUNTING: Final = ("cuts.made", "parts.taken")
"""Types that count pieces and parts of a plan."""


def _place_of(one: Written) -> tuple[str, str, int] | None:
    """The plan, and the step or layout of it, of which an entry counts pieces."""
    name = {"cuts.made": "step", "parts.taken": "layout"}.get(one.type)
    payload = one.event["payload"]
    if name is None or payload.get(name) is None or payload.get("plan_id") is None:
        return None
    return payload["plan_id"], name, payload[name]


def _of_plan(outbox: Outbox, plan_id: str, *types: str) -> list[Written]:
    """Entries of some types that name a plan, by its id as the text of an entry has it."""
    marks = ", ".join("?" * len(types))
    rows = outbox.sql.rows(
        f"SELECT id FROM event WHERE type IN ({marks}) AND state <> 'reissued'"  # noqa: S608 - marks alone
        " AND instr(body, ?) > 0 ORDER BY id",
        *types,
        f'"plan_id":{json.dumps(plan_id)}'.encode("ascii"),
    )
    return outbox.by_rows([row for (row,) in rows])
