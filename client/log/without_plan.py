"""What is written down without a plan: strokes made, sheets taken, scrap, and offcuts put on the rack."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from client.errors import InputWrong
from client.log.batch import Batch, Logged, Sheet, cut_fields, write_one
from client.workstation import Workstation
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.quantities import Length, show_mm, to_mm


@dataclass(frozen=True, slots=True)
class PartMade:
    """A part that came off a cut made without a plan."""

    ref: str
    length: Length
    width: Length
    quantity: int


def log_cuts(
    station: Workstation,
    machine: Machine,
    material: Material,
    thickness: Length,
    cut_length: Length,
    strokes: int,
    *,
    parts: Sequence[PartMade] = (),
    order_ref: str | None = None,
    heat: str | None = None,
    operator: str | None = None,
    minutes: float | None = None,
    blade_edge: int | None = None,
    start: Length = 0,
) -> Logged:
    """Write down strokes made without a plan; `start` along the blade, from the squaring arm."""
    if start + cut_length > machine.cutting_length:
        begun = f" that begins {show_mm(start)} mm along the blade" if start else ""
        raise InputWrong(
            f"a cut of {show_mm(cut_length)} mm{begun} is longer than {machine.name} can make "
            f"({show_mm(machine.cutting_length)} mm)"
        )
    return write_one(
        station,
        "cuts.made",
        {
            **cut_fields(machine, material, thickness, cut_length, strokes),
            "start_mm": to_mm(start) if start else None,
            "machine": machine.id,
            "parts": [
                {
                    **({} if order_ref is None else {"order_ref": order_ref}),
                    "ref": part.ref,
                    "length_mm": to_mm(part.length),
                    "width_mm": to_mm(part.width),
                    "quantity": part.quantity,
                    "mass_kg": Sheet(material, thickness, part.length, part.width, part.quantity).mass_kg,
                }
                for part in parts
            ],
            "heat": heat,
            "operator": operator,
            "minutes": minutes,
            "blade_edge": blade_edge,
        },
    )


def log_taken(
    station: Workstation, ref: str, quantity: int, machine: Machine, *, operator: str | None = None
) -> Logged:
    """Write down sheets taken from the rack without a plan."""
    item = next((one for one in station.rack(machine.site) if one.ref == ref), None)
    if item is None:
        raise InputWrong(f"no stock is known by the ref {ref!r}; shearwright stock lists what is known")
    material = station.material(item.material)
    with station.home.logging():
        batch = Batch(station)
        sheet = Sheet(material, item.thickness, item.length, item.width, quantity, item.heat)
        batch.taken(ref, sheet, machine.id, None, operator)
        return batch.write()


def log_scrap(
    station: Workstation,
    sheet: Sheet,
    machine: Machine,
    reason: str,
    *,
    remark: str | None = None,
    plan_id: str | None = None,
    part_ref: str | None = None,
    was_made: bool = False,
    operator: str | None = None,
) -> Logged:
    """Write down scrap with its reason; `was_made`: it was logged as a part before, and is none now."""
    return write_one(
        station,
        "scrap.made",
        {
            **sheet.fields(),
            "machine": machine.id,
            "reason": reason,
            "remark": remark,
            "plan_id": plan_id,
            "part_ref": part_ref,
            "was_made": was_made or None,
            "operator": operator,
        },
    )


def log_offcut(
    station: Workstation,
    sheet: Sheet,
    machine: Machine,
    *,
    ref: str | None = None,
    from_stock: str | None = None,
    operator: str | None = None,
) -> Logged:
    """Write down an offcut put on the rack; it gets a name unless it has one.

    Its heat is that of the sheet that it was cut from, where the records have one and no other is told.
    """
    with station.home.logging():
        rack = station.rack(machine.site)
        there = [item for item in rack if item.ref == ref]
        if any(item.quantity or item.kind != "offcut" for item in there):
            raise InputWrong(f"the ref {ref!r} is on the rack already; an offcut needs a name of its own")
        if sheet.heat is None:
            like = (sheet.material.grade, sheet.thickness)
            same = [one for one in rack if one.ref == from_stock and (one.material, one.thickness) == like]
            sheet = replace(sheet, heat=same[0].heat if same else None)
        batch = Batch(station)
        batch.stored(sheet, machine.id, ref=ref, from_stock=from_stock, operator=operator)
        return batch.write()
