"""What an event does to the records: stock, blades, programs. Within the transaction that stores it.

Effects look into and write to :class:`~service.store.books.Books`, which a push writes down at its end.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import datetime
from itertools import count
from types import MappingProxyType
from typing import Any, Final, NamedTuple, TypeAlias

from schemas.fields import TEXT_LIMIT
from schemas.problems import FieldError
from schemas.programs import ProgramSchema
from schemas.records import CUT_OVERSIZE, MILL_OVERSIZE
from schemas.shop import Blade, BladeSchema, StockRecord, StockRecordSchema
from service.engine.order import StockItem
from service.engine.quantities import mm, show_mm
from service.store import steps
from service.store.blade_states import State, with_more
from service.store.books import Books
from service.store.records import Kept
from service.store.sums import Counted

MOST_PIECES: Final = 1_000_000
"""Pieces one stock record may hold, by the wire contract."""


_Changed: TypeAlias = Mapping[str, Any]
"""Which record an event changed, as it is kept beside it."""


class EffectRefused(Exception):  # noqa: N818 - reads as what it says
    """An event that is well formed and yet cannot be applied; a person must look."""

    def __init__(self, error: FieldError) -> None:
        super().__init__(error.message)
        self.error = error


class Happening(NamedTuple):
    """An event about to be applied. `day` is the day at the site, `at` the corrected time."""

    event_id: str
    station: str
    site: str
    type: str
    payload: Mapping[str, Any]
    day: str
    at: datetime
    now: datetime


def touched(event_type: str, payload: Mapping[str, Any], site: str) -> Iterator[tuple[str, str]]:
    """Records that an effect will ask for, as far as its payload tells at a glance."""
    if "machine" in payload:
        yield "machine", payload["machine"]
    if event_type in {"stock.taken", "offcut.stored"}:
        yield "stock", stock_key(site, payload["ref"])
    if event_type == "program.saved":
        yield "program", payload["program_id"]


class Applied(NamedTuple):
    """What an event came to besides its records.

    Attributes
    ----------
    heat, machine
        What it is about.
    counted
        What sums need of it.
    cut
        What it adds to the pieces cut of a step; or takes off, when it `takes_back` another event.
    notes
        What the station should be told.
    changed
        Which record it changed, as it is kept beside the event.
    """

    heat: str | None
    counted: Counted | None
    machine: str | None
    cut: steps.Cut | None = None
    takes_back: bool = False
    notes: tuple[str, ...] = ()
    changed: Mapping[str, Any] = MappingProxyType({})

    @property
    def place(self) -> Mapping[str, Any]:
        """The step of a plan that it is about, and the record that it changed, as kept beside the event."""
        place = {**NO_PLACE, **self.changed}
        if self.cut is not None and not self.takes_back:
            place |= {"plan_id": self.cut.plan_id, "step": self.cut.step, "pieces": self.cut.pieces}
        return place


NO_PLACE: Final[Mapping[str, Any]] = dict.fromkeys(
    ("plan_id", "step", "pieces", "record_revision", "blade", "blade_edge", "blade_before")
)


def apply(event: Happening, books: Books) -> Applied:
    """Apply an event to the books.

    Raises
    ------
    EffectRefused
        When it cannot be applied; the caller undoes what was begun.
    """
    machine = _machine_here(event, books)
    heat = event.payload.get("heat") or _heat_of_stock(event, books)
    changed = _EFFECTS[event.type](event, machine, books)
    cut = steps.cut_of(event.type, event.payload, books.plan)
    notes: tuple[str, ...] = ()
    if cut is not None:
        cut, notes = _count_pieces(event, cut, books)
    counted = Counted(event.type, event.payload, event.site, event.day, event.at)
    return Applied(heat, counted, event.payload["machine"], cut, notes=notes, changed=changed)


def _count_pieces(event: Happening, cut: steps.Cut, books: Books) -> tuple[steps.Cut, tuple[str, ...]]:
    """The cut with what holds of its step, and words where the event says otherwise.

    A step of which more pieces were cut than the plan has is noted: logged at two stations, or cut again. So
    is, once a step, that entries do not agree how many it has.
    """
    before = books.pieces_cut(cut)
    holds = steps.settled(before, cut, books.plan)
    pieces = before.pieces + (cut.pieces or 0)
    if cut.pieces and holds.planned is not None and pieces > holds.planned:
        _note(
            event,
            steps.OVER,
            books,
            plan_id=cut.plan_id,
            step=cut.step,
            pieces_cut=pieces,
            pieces_planned=holds.planned,
        )
    odd = steps.contradicted(before, cut, holds)
    if odd is None:
        return holds, ()
    if not books.knows_open(steps.PLAN_DIFFERS, cut.plan_id, cut.step):
        _note(
            event,
            steps.PLAN_DIFFERS,
            books,
            plan_id=cut.plan_id,
            step=cut.step,
            pieces_cut=pieces,
            pieces_planned=holds.planned,
            differs={"step_pieces": {"taken": odd.said, "record": odd.others}},
        )
    return holds, (odd.words,)


def _heat_of_stock(event: Happening, books: Books) -> str | None:
    """The heat of the sheet or offcut that was taken, or that an offcut was cut from."""
    name = {"stock.taken": "ref", "offcut.stored": "from_stock"}.get(event.type)
    ref = None if name is None else event.payload.get(name)
    kept = None if ref is None else books.find("stock", stock_key(event.site, ref), deleted_too=True)
    heat: str | None = None if kept is None else kept.document["heat"]
    return heat


def _machine_here(event: Happening, books: Books) -> Mapping[str, Any]:
    name = event.payload["machine"]
    kept = books.find("machine", name)
    if kept is None:
        raise EffectRefused(FieldError("/payload/machine", f"no machine is known by the id {name!r}"))
    if kept.site not in {None, event.site}:
        raise EffectRefused(
            FieldError(
                "/payload/machine",
                f"machine {name!r} stands at {kept.site}, and this station is at {event.site}",
            )
        )
    return kept.document


def _cuts_made(event: Happening, machine: Mapping[str, Any], books: Books) -> _Changed:
    blade = _blade_on(machine, books)
    edge = event.payload.get("blade_edge") or blade["edge"]
    _check_edge(blade, edge, "/payload/blade_edge")
    used = list(blade["used_m"])
    used[edge - 1] = with_more(used[edge - 1], event.payload["equivalent_m"])
    kept = _write_blade(event, machine, {**blade, "used_m": used}, books)
    return {"blade": kept.key, "blade_edge": edge, "record_revision": kept.revision}


def _blade_turned(event: Happening, machine: Mapping[str, Any], books: Books) -> _Changed:
    blade = _blade_on(machine, books)
    edge, work = event.payload["edge"], event.payload["work"]
    _check_edge(blade, edge, "/payload/edge")
    before = State.of(blade)
    turned = before.turned(edge, work, event.at.isoformat())
    kept = _write_blade(event, machine, {**blade, **turned.as_kept()}, books)
    return {"blade": kept.key, "blade_before": before.as_kept(), "record_revision": kept.revision}


def _edge_measured(event: Happening, machine: Mapping[str, Any], books: Books) -> _Changed:
    """The measurement itself is what is wanted; it is checked that there is such an edge and place."""
    edge, place = event.payload.get("edge"), event.payload.get("place_mm")
    if edge is not None:
        _check_edge(_blade_on(machine, books), edge, "/payload/edge")
    if place is not None and place > machine["cutting_length_mm"]:
        raise EffectRefused(
            FieldError("/payload/place_mm", f"the blade is {machine['cutting_length_mm']:g} mm long")
        )
    return {}


def _check_edge(blade: Mapping[str, Any], edge: int, where: str) -> None:
    if edge > blade["edges"]:
        raise EffectRefused(FieldError(where, f"the blade {blade['id']} has {blade['edges']} edges"))


def _loaded_blade(document: Mapping[str, Any]) -> Blade:
    blade: Blade = BladeSchema().load(document)
    return blade


def _blade_on(machine: Mapping[str, Any], books: Books) -> dict[str, Any]:
    """The record of the blade at work on a machine, with every field of a blade."""
    name = machine["id"]
    kept = books.blade_on(name)
    if kept is not None:
        # One that was written before a field was added lacks it.
        whole = kept.document.keys() >= _BLADE_FIELDS and kept.document["used_m"]
        return kept.document if whole else BladeSchema().dump(_loaded_blade(kept.document))
    edges = machine["blade_edges"]
    # No blade was entered for this machine: one is begun under the machine's own name, or near it when
    # a blade of that name lies on the shelf or works elsewhere.
    free = (own for own in _names_like(name) if books.find("blade", own) is None)
    begun: dict[str, Any] = BladeSchema().dump(
        Blade(next(free), name, edges, 1, (0.0,) * edges, None, 0, None, None)
    )
    books.begin_blade(begun["id"], begun)
    return begun


_BLADE_FIELDS: Final = frozenset(BladeSchema().fields)


def _names_like(machine: str) -> Iterator[str]:
    # The name of a machine may hold what that of a blade may not.
    name = re.sub(r"[^A-Za-z0-9._-]+", "-", machine).lstrip("._-") or "blade"
    yield name
    yield from (f"{name[:50]}-{number}" for number in count(2))


def _write_blade(event: Happening, machine: Mapping[str, Any], blade: dict[str, Any], books: Books) -> Kept:
    return books.write(
        "blade", blade["id"], blade, site=machine["site"], by=f"station {event.station}", now=event.now
    )


def _stock_taken(event: Happening, machine: Mapping[str, Any], books: Books) -> _Changed:
    ref, quantity = event.payload["ref"], event.payload["quantity"]
    kept = books.find("stock", stock_key(event.site, ref))
    there = kept.document["quantity"] if kept else 0
    changed: _Changed = {}
    if kept is not None:
        changed = _write_stock(event, {**kept.document, "quantity": max(0, there - quantity)}, books)
        if found := differs(event.payload, kept.document):
            _note(event, "size differs", books, ref=ref, differs=found)
        _note_counted(event, kept, quantity, books)
    if quantity > there:
        _note(event, "stock short", books, ref=ref, taken=quantity, on_the_books=there)
    return changed


COUNTED_SINCE: Final = "counted since"
"""The kind of discrepancy: told of only after the rack was counted, which may have counted it already."""


def _note_counted(event: Happening, kept: Kept, taken: int, books: Books) -> None:
    """Note what was taken (below nothing: stored) before the last count of its record, and came after it."""
    if kept.counted_at is not None and event.at < kept.counted_at:
        there = kept.document["quantity"]
        _note(event, COUNTED_SINCE, books, ref=kept.document["ref"], taken=taken, on_the_books=there)


def _note(event: Happening, kind: str, books: Books, **noted: Any) -> None:
    books.note_discrepancy(
        event_id=event.event_id,
        kind=kind,
        site=event.site,
        material=event.payload["material"],
        noted_at=event.now,
        **noted,
    )


_MEASURES: Final = (("length_mm", "length"), ("width_mm", "width"), ("thickness_mm", "thickness"))


def differs(payload: Mapping[str, Any], record: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """In what a sheet or offcut that was taken is not as its record has it, each with both figures."""
    found = {
        name: {"taken": payload[name], "record": record[own]}
        for name, own in _MEASURES
        if payload[name] != record[own] and mm(payload[name]) != mm(record[own])
    }
    if payload["material"] != record["material"]:
        found["material"] = {"taken": payload["material"], "record": record["material"]}
    return found


def _offcut_stored(event: Happening, machine: Mapping[str, Any], books: Books) -> _Changed:
    payload = event.payload
    item = StockItem(
        ref=payload["ref"],
        length=mm(payload["length_mm"]),
        width=mm(payload["width_mm"]),
        quantity=payload["quantity"],
        material=payload["material"],
        thickness=mm(payload["thickness_mm"]),
        kind="offcut",
        edges=payload.get("edges") or "cut",
        oversize=_oversize(payload),
        heat=payload.get("heat") or _heat_of_stock(event, books),
    )
    kept = books.find("stock", stock_key(event.site, item.ref))
    # Of an offcut of which none is left, or whose entry was withdrawn, the name is free again.
    if kept is not None and (kept.document["quantity"] or kept.document["kind"] != "offcut"):
        there: StockItem = StockRecordSchema().load(kept.document).item
        same = ("length", "width", "material", "thickness", "heat")
        if any(getattr(there, name) != getattr(item, name) for name in same):
            raise EffectRefused(
                FieldError(
                    "/payload/ref",
                    f"{item.ref!r} is on the rack already as {show_mm(there.length)} × "
                    f"{show_mm(there.width)} × {show_mm(there.thickness)} {there.material}",
                )
            )
        _note_counted(event, kept, -item.quantity, books)
        item = replace(
            there,
            quantity=there.quantity + item.quantity,
            # One record says of all of them what holds for the worst.
            edges=there.edges if there.edges == "mill" else item.edges,
            oversize=max(there.oversize, item.oversize),
        )
        if item.quantity > MOST_PIECES:
            raise EffectRefused(
                FieldError("/payload/quantity", f"{item.quantity} pieces under one name are too many")
            )
    return _write_stock(event, StockRecordSchema().dump(StockRecord(event.site, item)), books)


def _oversize(payload: Mapping[str, Any]) -> int:
    if payload.get("oversize_mm") is not None:
        return mm(payload["oversize_mm"])
    return MILL_OVERSIZE if payload.get("edges") == "mill" else CUT_OVERSIZE


def _write_stock(event: Happening, document: dict[str, Any], books: Books) -> _Changed:
    kept = books.write(
        "stock",
        stock_key(event.site, document["ref"]),
        document,
        site=event.site,
        by=f"station {event.station}",
        now=event.now,
    )
    return {"record_revision": kept.revision}


def stock_key(site: str, ref: str) -> str:
    """The id of a stock record."""
    return f"{site}/{ref}"


_LONGEST_ID: Final = 100 - 13
"""What a copy's id keeps of that of its original, so that it can itself be saved anew under it."""

_SAVED: Final = ("name", "machine", "material", "thickness_mm", "cut_length_mm", "steps", "operator")


def _program_saved(event: Happening, machine: Mapping[str, Any], books: Books) -> _Changed:
    payload = event.payload
    name = payload["program_id"]
    content = {field: payload[field] for field in _SAVED if field in payload}
    program = ProgramSchema().dump(ProgramSchema().load({**content, "id": name}))
    kept = books.find("program", name, deleted_too=True)
    based_on = payload["based_on_revision"]
    if kept is not None and not kept.deleted and kept.document == program:
        return {}
    by = f"station {event.station}"
    # The station's own earlier changes, which it has not had back yet, are not somebody else's.
    own_run = kept is not None and kept.changed_by == by and based_on >= kept.run_from - 1
    if kept is not None and (kept.deleted or not (based_on == kept.revision or own_run)):
        # Somebody else changed it since: both stay, side by side, for a person to decide.
        name = f"{name[:_LONGEST_ID]}~{event.event_id[-12:]}"
        copied = f" (copy from {event.station}, revision {based_on})"
        program = {
            **program,
            "id": name,
            "copy_of": kept.key,
            "name": f"{program['name'][: TEXT_LIMIT - len(copied)]}{copied}",
        }
    books.write("program", name, program, site=event.site, by=by, now=event.now)
    return {}


def _only_kept(event: Happening, machine: Mapping[str, Any], books: Books) -> _Changed:
    """Nothing changes: the event itself is what is wanted."""
    return {}


_EFFECTS: Final[dict[str, Callable[[Happening, Mapping[str, Any], Books], _Changed]]] = {
    "cuts.made": _cuts_made,
    "stock.taken": _stock_taken,
    "parts.taken": _only_kept,
    "scrap.made": _only_kept,
    "offcut.stored": _offcut_stored,
    "gauge.measured": _only_kept,
    "edge.measured": _edge_measured,
    "blade.turned": _blade_turned,
    "program.saved": _program_saved,
}
