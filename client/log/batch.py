"""Events and their effects on the rack, gathered and then written together."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from client.cache.outbox import Draft, Written
from client.cache.plans import mark_done, note_spoiled
from client.cache.sqlite import Sqlite
from client.cache.stock import StockChange, note_change
from client.errors import InputWrong
from client.log.sanity import doubts, notes
from client.workstation import Workstation
from schemas.events import payload_errors
from schemas.records import CUT_OVERSIZE
from service.engine.handling import piece_kg
from service.engine.layout.rack import RackState
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.order import StockItem
from service.engine.quantities import PER_MM, Length, show_mm, to_mm
from service.engine.wear.metres import equivalent_metres

_SIGNS: Final = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
"""For names that are written on plate by hand: no 0 and O, no 1 and I."""

_CUT_ALL_ROUND: Final = RackState("cut", CUT_OVERSIZE)
"""An offcut that is logged by hand counts as cut on every edge."""


@dataclass(frozen=True, slots=True)
class Logged:
    """What was written, and what a person should know about it."""

    events: tuple[Written, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """Equal flat pieces. Lengths are whole hundredths of a millimetre."""

    material: Material
    thickness: Length
    length: Length
    width: Length
    quantity: int
    heat: str | None = None

    @property
    def mass_kg(self) -> float:
        """Of all of them together [kg]."""
        return round(self.quantity * piece_kg(self.material, self.length, self.width, self.thickness), 4)

    def fields(self) -> dict[str, Any]:
        """As events carry it."""
        return {
            "material": self.material.grade,
            "thickness_mm": to_mm(self.thickness),
            "length_mm": to_mm(self.length),
            "width_mm": to_mm(self.width),
            "quantity": self.quantity,
            "mass_kg": self.mass_kg,
            "heat": self.heat,
        }


def cut_fields(
    machine: Machine, material: Material, thickness: Length, cut_length: Length, strokes: int
) -> dict[str, Any]:
    """Strokes over a cut length, as events carry them."""
    metres = cut_length / PER_MM / 1000 * strokes
    return {
        "material": material.grade,
        "thickness_mm": to_mm(thickness),
        "cut_length_mm": to_mm(cut_length),
        "strokes": strokes,
        "equivalent_m": round(equivalent_metres(machine, material, thickness, metres), 6),
    }


class Batch:
    """Events and their effects, gathered before they are written together."""

    def __init__(self, station: Workstation) -> None:
        self.station = station
        self.drafts: list[Draft] = []
        self.changes: list[tuple[int, StockChange]] = []
        self.done: list[tuple[str, int, int]] = []
        self.spoiled: list[tuple[str, str, int, bool]] = []
        self.undone: list[Callable[[Sqlite], None]] = []
        self.notes: list[str] = []
        self.doubts: list[str] = []
        self._named = 0

    def add(self, event_type: str, payload: Mapping[str, Any], change: StockChange | None = None) -> None:
        """Add an event, and what it does to the rack; values that are None are left out."""
        kept = {name: value for name, value in payload.items() if value is not None}
        if change is not None:
            self.changes.append((len(self.drafts), change))
        self.drafts.append(Draft(event_type, kept))

    def taken(self, ref: str, sheet: Sheet, machine: str, plan_id: str | None, operator: str | None) -> None:
        """Add sheets taken from the rack, with a note when the records have fewer."""
        on_rack = {item.ref: item.quantity for item in self.station.rack()}
        if ref not in on_rack:
            self.notes.append(f"{ref} is not in the stock records here; it is logged all the same")
        elif on_rack[ref] < sheet.quantity:
            self.notes.append(
                f"the records show {on_rack[ref]} of {ref}, and {sheet.quantity} "
                f"{'is' if sheet.quantity == 1 else 'are'} taken: count the rack"
            )
        payload = {
            **sheet.fields(),
            "ref": ref,
            "machine": machine,
            "plan_id": plan_id,
            "operator": operator,
        }
        self.add("stock.taken", payload, StockChange(ref, -sheet.quantity))

    def stored(
        self,
        sheet: Sheet,
        machine: str,
        *,
        ref: str | None = None,
        from_stock: str | None = None,
        plan_id: str | None = None,
        operator: str | None = None,
        state: RackState = _CUT_ALL_ROUND,
    ) -> str:
        """Add an offcut put on the rack, and a note of what to write on it; its name."""
        name = ref or self._new_ref()
        item = StockItem(
            name,
            sheet.length,
            sheet.width,
            sheet.quantity,
            sheet.material.grade,
            sheet.thickness,
            kind="offcut",
            edges=state.edges,
            oversize=state.oversize,
            heat=sheet.heat,
        )
        payload = {
            **sheet.fields(),
            "ref": name,
            "machine": machine,
            "edges": state.edges,
            "oversize_mm": to_mm(state.oversize),
            "from_stock": from_stock,
            "plan_id": plan_id,
            "operator": operator,
        }
        self.add("offcut.stored", payload, StockChange(name, sheet.quantity, item))
        size = f"{show_mm(sheet.length)} × {show_mm(sheet.width)} × {show_mm(sheet.thickness)}"
        heat = f", heat {sheet.heat}" if sheet.heat else ""
        heat += f", rolled along the {show_mm(sheet.length)}"
        heat += ", mill edge" if state.edges == "mill" else ""
        self.notes.append(
            f"write on the offcut: {name}   ({sheet.quantity} of {size}, {sheet.material.grade}{heat})"
        )
        return name

    def _new_ref(self) -> str:
        """A name that no offcut ever had here, nor any piece that the records know.

        A store that was put back forgets which it gave out; the records, which did not go back, tell.
        """
        outbox, site = self.station.outbox, self.station.settings.site
        known = {item.ref for item in self.station.rack(site)}
        number = self._named or int(outbox.sql.meta("offcuts_named") or 0)
        while True:
            number += 1
            name = f"{outbox.station[:40]}-{_tag(outbox.epoch)}-{number}"
            if name not in known:
                self._named = number
                return name

    def write(self) -> Logged:
        """Write everything, or nothing; what it returns is on the disk."""
        outbox = self.station.outbox
        self._doubted()

        def effects(rows: Sequence[int]) -> None:
            for place, change in self.changes:
                note_change(outbox.sql, rows[place], change)
            for plan_id, step, pieces in self.done:
                mark_done(outbox.sql, plan_id, step, pieces)
            for plan_id, ref, quantity, was_made in self.spoiled:
                note_spoiled(outbox.sql, plan_id, ref, quantity, was_made=was_made)
            for undo in self.undone:
                undo(outbox.sql)
            if self._named:
                outbox.sql.set_meta("offcuts_named", str(self._named))

        told_before = outbox.notice
        written = outbox.write(self.drafts, effects)
        if outbox.notice is not None and outbox.notice != told_before:
            self.notes.append(outbox.notice)
        return Logged(tuple(written), tuple(self.notes))

    def _doubted(self) -> None:
        """Ask about what is hardly meant so, and note what is worth a word."""
        found = list(self.doubts)
        for draft in self.drafts:
            if payload_errors(draft.type, draft.payload):
                return  # it is not as the contract wants it, and is refused for that
            found += doubts(self.station, draft.type, draft.payload)
            self.notes += notes(self.station, draft.type, draft.payload)
        self.notes = list(dict.fromkeys(self.notes))
        if found and not self.station.sure:
            raise InputWrong(f"not written: {'; '.join(found)}. If it is right, give --sure")


def write_one(station: Workstation, event_type: str, payload: Mapping[str, Any]) -> Logged:
    """Write down one event that does nothing to the rack; values that are None are left out."""
    batch = Batch(station)
    batch.add(event_type, payload)
    with station.home.logging():
        return batch.write()


def _tag(epoch: str) -> str:
    """Three signs from an epoch, so that a store put back does not give out a name again."""
    number = int(epoch.replace("-", ""), 16)
    return "".join(_SIGNS[number >> shift & 31] for shift in (0, 5, 10))
