"""What the commands print: records, reports and states as plain lines."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime, timedelta, tzinfo

from client.cache.lost import Lost, lost_words
from client.cache.outbox import Counts, Written
from client.cache.records import Change
from client.entry_words import name_of
from client.errors import ClientError
from client.sync import SyncReport
from service.engine.findings import Finding
from service.engine.machine import Machine
from service.engine.order import Order, StockItem
from service.engine.plan import CutPlan
from service.engine.quantities import show_mm

CLOCK_WARNING = timedelta(seconds=120)
"""A clock further off than this is worth a word."""


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    """Lines of a table with columns as wide as they need to be."""
    lines = [list(head), *(list(row) for row in rows)]
    widths = [max(len(line[place]) for line in lines) for place in range(len(head))]
    for line in lines:
        yield "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()


def finding_lines(findings: Iterable[Finding], *, why: bool = False) -> Iterator[str]:
    """Findings, the worst first, one a line; `why`: with what each rests on."""
    order = {"stop": 0, "caution": 1, "note": 2}
    for one in sorted(findings, key=lambda finding: order[finding.level]):
        level = "STOP" if one.level == "stop" else one.level
        yield f"{level}: {one.message}"
        if why:
            yield f"      by: {one.basis}"


def machine_lines(machines: Sequence[Machine]) -> Iterator[str]:
    """Machines, one a line."""
    yield from table(
        ("id", "name", "site", "longest cut", "rated", "back gauge"),
        (
            (
                one.id,
                one.name,
                one.site or "",
                f"{show_mm(one.cutting_length)} mm",
                f"{show_mm(one.rating.thickness)} mm at {one.rating.rm:g} N/mm²",
                f"{show_mm(one.back_gauge.low)} to {show_mm(one.back_gauge.high)} mm",
            )
            for one in machines
        ),
    )


def stock_lines(rack: Sequence[StockItem]) -> Iterator[str]:
    """The rack, one ref a line, with what decides a plan: size, state of the edges and price of a piece."""
    yield from table(
        ("ref", "kind", "material", "thickness", "length × width", "edges", "quantity", "price", "heat"),
        (
            (
                one.ref,
                one.kind,
                one.material,
                f"{show_mm(one.thickness)} mm",
                f"{show_mm(one.length)} × {show_mm(one.width)} mm",
                one.edges,
                str(one.quantity),
                "none" if one.price is None else f"{one.price:.2f}",
                one.heat or "",
            )
            for one in rack
        ),
    )


def records_text(kind: str, count: int) -> str:
    """How many records of a kind there are.

    >>> records_text("machine", 2), records_text("stock", 1)
    ('2 machines', '1 stock item')
    """
    name = "stock item" if kind == "stock" else kind
    return f"{count} {name}" if count == 1 else f"{count} {name}s"


def change_lines(changes: Sequence[Change], most: int = 40) -> Iterator[str]:
    """What a pull changed; changed machines with the fields that changed."""
    told = [one for one in changes if one.kind in {"machine", "material", "site", "program", "blade"}]
    for one in told[:most]:
        fields = f": {', '.join(one.fields)}" if one.fields else ""
        yield f"{one.kind} {one.id} {one.what}{fields}"
    if len(told) > most:
        yield f"… and {len(told) - most} more"
    for kind in ("stock", "plan"):
        count = sum(one.kind == kind for one in changes)
        if count:
            yield f"{kind}: {count} {'item' if count == 1 else 'items'} new, changed or gone"


def report_lines(report: SyncReport) -> Iterator[str]:
    """What an exchange did."""
    yield from (f"note: {notice}" for notice in report.notices)
    pushed = report.pushed
    told = [
        (pushed.applied, "sent"),
        (pushed.repeats, "known there already"),
        (pushed.kept, "kept there for a later version"),
        (pushed.quarantined, "put in quarantine"),
    ]
    none = "nothing to send" if report.complete else "nothing sent"
    sent = ", ".join(f"{count} {words}" for count, words in told if count) or none
    yield f"entries: {sent}; {report.counts.pending} pending"
    if pushed.quarantined:
        yield "  a person must look at what is in quarantine: shearwright status"
    yield from change_lines(report.changes)
    if report.complete and not report.changes:
        yield "records: nothing new"


def outcome_lines(outcome: SyncReport | ClientError) -> Iterator[str]:
    """What became of a scheduled exchange, in one line or few."""
    if isinstance(outcome, ClientError):
        yield f"no sync: {outcome}"
        return
    yield from report_lines(outcome)
    if outcome.problem is not None:
        yield f"not finished: {outcome.problem}; nothing is lost"


def sync_lines(meta: Callable[[str], str | None], now: datetime) -> Iterator[str]:
    """When this station last sent all it had and last fetched all there was, and what went wrong since."""
    yield f"last sync        {moment(meta('last_sync'), now)}"
    yield f"  all sent       {moment(meta('last_sent'), now)}"
    yield f"  all fetched    {moment(meta('last_fetched'), now)}"
    problem = meta("last_problem")
    if problem is not None:
        yield f"  last tried     {moment(meta('last_tried'), now)}: {problem}"


def backlog_lines(counts: Counts, meta: Callable[[str], str | None], now: datetime) -> Iterator[str]:
    """What a pull leaves unsent, in one line."""
    if not counts.pending:
        yield "to be sent: nothing"
        return
    entries = "1 entry" if counts.pending == 1 else f"{counts.pending} entries"
    yield f"to be sent: {entries}, the oldest of {moment(counts.oldest, now)}: shearwright sync"


def counts_lines(counts: Counts, now: datetime) -> Iterator[str]:
    """The outbox in figures."""
    yield f"pending          {counts.pending}"
    if counts.oldest is not None:
        yield f"oldest pending   {moment(counts.oldest, now)}"
    if counts.kept:
        yield f"kept for later   {counts.kept}"
    yield f"quarantined      {counts.quarantined}"


def lost_lines(losses: Sequence[Lost]) -> Iterator[str]:
    """Entries that are not here any more, and how to say that they were seen to."""
    for one in losses:
        yield f"missing          {lost_words(one)}"
    if any(one.has is not None for one in losses):
        yield "  once that is seen to: shearwright status --seen"


def moment(text: str | None, now: datetime) -> str:
    """A time with its age, for people, by the clock on the wall where `now` is told.

    >>> from datetime import UTC
    >>> from zoneinfo import ZoneInfo
    >>> moment("2026-03-02T07:15:00Z", datetime(2026, 3, 2, 9, 15, tzinfo=UTC))
    '2026-03-02 07:15 UTC (2 h ago)'
    >>> moment("2026-07-02T07:15:00Z", datetime(2026, 7, 2, 11, 15, tzinfo=ZoneInfo("Europe/Rome")))
    '2026-07-02 09:15 CEST (2 h ago)'
    """
    if text is None:
        return "never"
    then = datetime.fromisoformat(text).astimezone(now.tzinfo)
    age = max(0.0, (now - then).total_seconds())
    if age < 90:
        ago = f"{age:.0f} s ago"
    elif age < 90 * 60:
        ago = f"{age / 60:.0f} min ago"
    elif age < 48 * 3600:
        ago = f"{age / 3600:.0f} h ago"
    else:
        ago = f"{age / 86400:.0f} days ago"
    return f"{then:%Y-%m-%d %H:%M} {then:%Z} ({ago})"


def quarantine_lines(events: Sequence[Written], zone: tzinfo, most: int = 20) -> Iterator[str]:
    """Events the centre could not apply, by the numbers that the log has for them, and why."""
    for one in events[:most]:
        where = "put aside here" if one.state == "aside" else "at the centre"
        when = datetime.fromisoformat(one.happened_at).astimezone(zone)
        what = f"{name_of(one.type)} (entry {one.row}, {where})"
        yield f"  {when:%Y-%m-%d %H:%M} {what}: {_reason(one.answer)}"
    if len(events) > most:
        yield f"  … and {len(events) - most} more"


def thickness_lines(
    plan: CutPlan, order: Order, rack: Sequence[StockItem], *, own: bool = False
) -> Iterator[str]:
    """For each material of which the wanted thickness is missing: the thicknesses on the rack.

    `own` says that the order brings its own stock, so that what lies on the rack was not asked.
    """
    where = "on the rack, which this order with its own stock does not use" if own else "on the rack"
    missing = {one.ref for one in plan.unplaced if one.code == "no-stock-of-material"}
    for grade in dict.fromkeys(part.material for part in order.parts if part.ref in missing):
        thick = sorted({item.thickness for item in rack if item.material == grade})
        words = ", ".join(show_mm(one) for one in thick) + " mm" if thick else "none"
        yield f"{grade} {where}: {words}"


def _reason(answer: str | None) -> str:
    """Why an event waits, as the service said it.

    >>> _reason('[{"pointer": "/payload/machine", "message": "no machine is known by the id"}]')
    'machine: no machine is known by the id'
    """
    try:
        errors = json.loads(answer or "[]")
        told = [
            f"{str(error['pointer']).removeprefix('/payload').strip('/')}: {error['message']}".removeprefix(
                ": "
            )
            for error in errors
        ]
    except (ValueError, TypeError, KeyError):
        told = [answer or ""]
    return "; ".join(told) or "no reason given"
