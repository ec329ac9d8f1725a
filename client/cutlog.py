"""Writing down what was done at the shear: a step of a plan, or a single thing.

Everything one call tells is one transaction: the events, the counts of the rack, the pieces done.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from client.batch import Batch, Logged, Sheet
from client.cache.plans import pieces_done
from client.errors import InputWrong
from client.spoiled import left_out
from client.workstation import Workstation
from schemas.plans import read_plan
from schemas.problems import WireError
from service.engine.layout.rack import offcut_state
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.order import Order
from service.engine.plan import CutPlan, Layout, Outcome, Step
from service.engine.program.names import is_sheet
from service.engine.quantities import PER_MM, Length, show_mm, to_mm
from service.engine.tolerance import aimed_size
from service.engine.wear.metres import equivalent_metres


def log_step(
    station: Workstation,
    plan_id: str,
    number: int,
    *,
    pieces: int | None = None,
    operator: str | None = None,
    again: bool = False,
    minutes: float | None = None,
    blade_edge: int | None = None,
) -> Logged:
    """Write down that a step of a plan, or a part of it, is done.

    Parameters
    ----------
    station
        The workstation.
    plan_id, number
        The plan and its step.
    pieces
        Pieces that went through; all that are left when None.
    operator
        Initials or code.
    again
        Allows more pieces than the step has, for a step cut a second time.
    minutes
        Time it took [min].
    blade_edge
        The edge of the blade in use.

    Returns
    -------
    Logged
        Only after everything is on the disk.

    Raises
    ------
    InputWrong
        When the plan or the step is not known, or more is told than the step has.
    """
    plan, order = opened_plan(station, plan_id)
    step = next((one for one in plan.program if one.number == number), None)
    if step is None:
        raise InputWrong(f"plan {plan_id} has no step {number}; {_its_steps(plan)}")
    with station.home.logging():
        done = pieces_done(station.outbox.sql, plan_id)
        count = _pieces(step, done.get(number, 0), pieces, again)
        layout = next(one for one in plan.layouts if one.number == step.layout)
        batch = Batch(station)
        batch.notes += _before(plan, step, done)
        _step_events(batch, plan_id, plan, order, layout, step, count, operator, minutes, blade_edge)
        batch.done.append((plan_id, number, count))
        return batch.write()


def _its_steps(plan: CutPlan) -> str:
    if plan.program:
        return f"its steps are 1 to {len(plan.program)}"
    return "its sheets are parts as they are: shearwright log layout writes down that they were taken"


def opened_plan(station: Workstation, plan_id: str) -> tuple[CutPlan, Order]:
    """A plan known here, read.

    Raises
    ------
    InputWrong
        When it is not known or not understood.
    """
    try:
        return read_plan(station.plan_document(plan_id))
    except WireError as error:
        raise InputWrong(f"plan {plan_id} is not understood here: {error}") from error


def _pieces(step: Step, done: int, pieces: int | None, again: bool) -> int:
    left = step.pieces - done
    count = pieces if pieces is not None else (step.pieces if again else left)
    if count < 1 and pieces is not None:
        raise InputWrong(f"pieces: {pieces} is not a number of 1 or more")
    if again:
        return count
    if left < 1:
        raise InputWrong(
            f"step {step.number}: {_all(step.pieces, 'piece')} logged already; --again logs it once more"
        )
    if count > left:
        raise InputWrong(
            f"step {step.number} has {step.pieces} pieces and {done} are logged: at most {left} are left; "
            "--again logs more than the plan has"
        )
    return count


def _all(count: int, name: str) -> str:
    """That all of a number is something.

    >>> _all(1, "piece"), _all(4, "piece")
    ('its only piece is', 'all 4 pieces are')
    """
    return f"its only {name} is" if count == 1 else f"all {count} {name}s are"


def _before(plan: CutPlan, step: Step, done: Mapping[int, int]) -> list[str]:
    makers = makers_not_logged(plan, step, done)
    return [f"step {number}, which makes these pieces, is not logged yet" for number in makers]


def makers_not_logged(plan: CutPlan, step: Step, done: Mapping[int, int]) -> list[int]:
    """Numbers of the steps that make the pieces of a step, and of which nothing is logged."""
    return [number for number in makers_of(plan, step) if number not in done]


def makers_of(plan: CutPlan, step: Step) -> list[int]:
    """Numbers of the steps that make the pieces of a step."""
    return [
        one.number
        for one in plan.program
        if any(out.kind == "piece" and out.ref == step.piece for out in (*one.drops, *one.remainders))
    ]


def _step_events(
    batch: Batch,
    plan_id: str,
    plan: CutPlan,
    order: Order,
    layout: Layout,
    step: Step,
    pieces: int,
    operator: str | None,
    minutes: float | None,
    blade_edge: int | None,
) -> None:
    machine, material = order.machine, order.material(layout.material)
    stock = next(item for item in order.stock if item.ref == layout.stock_ref)
    common = {"machine": machine.id, "plan_id": plan_id, "operator": operator}

    def sheet(length: Length, width: Length, quantity: int) -> Sheet:
        return Sheet(material, layout.thickness, length, width, quantity, stock.heat)

    if is_sheet(step.piece):  # what is left of it after this step has another name
        batch.taken(stock.ref, sheet(stock.length, stock.width, pieces), machine.id, plan_id, operator)
    outcomes = [(out, _share(out, step, pieces)) for out in (*step.drops, *step.remainders)]
    parts = {part.ref: part for part in order.parts}
    made = []
    for out, count in outcomes:
        if out.kind == "part" and out.ref is not None:
            part = parts[out.ref]
            good = count - left_out(batch, plan_id, part.ref, count)
            if not good:
                continue
            blank = sheet(*aimed_size(part), good)
            made.append(
                {
                    "order_ref": plan.order_ref,
                    "ref": part.ref,
                    "length_mm": to_mm(part.length),
                    "width_mm": to_mm(part.width),
                    "quantity": good,
                    "mass_kg": blank.mass_kg,
                }
            )
    # A stroke over a full gang is longer than the last one over what was left, so they are told apart.
    strokes = [(step.gang, pieces // step.gang), (pieces % step.gang, 1)]
    for place, (side_by_side, runs) in enumerate(one for one in strokes if one[0] and one[1]):
        cut_length = step.along_blade * side_by_side
        batch.add(
            "cuts.made",
            {
                **common,
                **_cut(machine, material, layout.thickness, cut_length, runs * step.repeat),
                "parts": made if place == 0 else [],
                "step": step.number,
                "pieces": side_by_side * runs,
                "step_pieces": step.pieces,
                "made_by": makers_of(plan, step) or None,
                "heat": stock.heat,
                "minutes": minutes if place == 0 else None,
                "blade_edge": blade_edge,
            },
        )
    for out, count in outcomes:
        if out.kind in {"trim", "scrap"}:
            batch.add(
                "scrap.made",
                {
                    **common,
                    **sheet(out.dx, out.dy, count).fields(),
                    "reason": "trim" if out.kind == "trim" else "leftover",
                    "step": step.number,
                },
            )
        elif out.kind == "offcut":
            batch.stored(
                sheet(out.dx, out.dy, count),
                machine.id,
                from_stock=stock.ref,
                plan_id=plan_id,
                operator=operator,
                state=offcut_state(order, layout, out.dx, out.dy),
            )


def _share(out: Outcome, step: Step, pieces: int) -> int:
    count, rest = divmod(out.count * pieces, step.pieces)
    if rest:
        raise InputWrong(f"step {step.number} does not divide evenly; log all its {step.pieces} pieces")
    return count


def _cut(
    machine: Machine, material: Material, thickness: Length, cut_length: Length, strokes: int
) -> dict[str, Any]:
    metres = cut_length / PER_MM / 1000 * strokes
    return {
        "material": material.grade,
        "thickness_mm": to_mm(thickness),
        "cut_length_mm": to_mm(cut_length),
        "strokes": strokes,
        "equivalent_m": round(equivalent_metres(machine, material, thickness, metres), 6),
    }


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
    batch = Batch(station)
    batch.add(
        "cuts.made",
        {
            **_cut(machine, material, thickness, cut_length, strokes),
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
    with station.home.logging():
        return batch.write()


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
    batch = Batch(station)
    batch.add(
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
    with station.home.logging():
        return batch.write()


def log_offcut(
    station: Workstation,
    sheet: Sheet,
    machine: Machine,
    *,
    ref: str | None = None,
    from_stock: str | None = None,
    operator: str | None = None,
) -> Logged:
    """Write down an offcut put on the rack; it gets a name unless it has one."""
    with station.home.logging():
        there = [item for item in station.rack(machine.site) if item.ref == ref]
        if any(item.quantity or item.kind != "offcut" for item in there):
            raise InputWrong(f"the ref {ref!r} is on the rack already; an offcut needs a name of its own")
        batch = Batch(station)
        batch.stored(sheet, machine.id, ref=ref, from_stock=from_stock, operator=operator)
        return batch.write()


def log_gauge(
    station: Workstation, machine: Machine, gauge: Length, measured: Length, *, operator: str | None = None
) -> Logged:
    """Write down a drop measured after it was cut at a gauge value."""
    return _single(
        station,
        "gauge.measured",
        {
            "machine": machine.id,
            "gauge_mm": to_mm(gauge),
            "measured_mm": to_mm(measured),
            "operator": operator,
        },
    )


def log_blade(
    station: Workstation,
    machine: Machine,
    edge: int,
    work: str,
    *,
    operator: str | None = None,
    remark: str | None = None,
) -> Logged:
    """Write down that another edge was put to work."""
    if edge > machine.blade_edges:
        raise InputWrong(f"edge {edge}: the blades of {machine.name} have {machine.blade_edges} edges")
    return _single(
        station,
        "blade.turned",
        {"machine": machine.id, "edge": edge, "work": work, "operator": operator, "remark": remark},
    )


@dataclass(frozen=True, slots=True)
class EdgeMeasured:
    """An edge measured: its radius [µm], or the burr [mm] it leaves on sheet of a thickness, or both.

    `edge` None: the one at work; `place` None: the most worn one.
    """

    edge: int | None = None
    blade: str | None = None
    radius_um: float | None = None
    burr_mm: float | None = None
    thickness: Length | None = None
    material: str | None = None
    place: Length | None = None


def log_edge(
    station: Workstation,
    machine: Machine,
    measured: EdgeMeasured,
    *,
    operator: str | None = None,
    remark: str | None = None,
) -> Logged:
    """Write down a measurement of an edge of the blade.

    Raises
    ------
    InputWrong
        When nothing was measured, a burr comes without the thickness, or there is no such edge or place.
    """
    if measured.radius_um is None and measured.burr_mm is None:
        raise InputWrong("--radius or --burr is wanted: the edge radius in µm, or the burr in mm")
    if measured.burr_mm is not None and measured.thickness is None:
        raise InputWrong("--thickness of the sheet that has the burr is wanted")
    if measured.edge is not None and measured.edge > machine.blade_edges:
        raise InputWrong(
            f"edge {measured.edge}: the blades of {machine.name} have {machine.blade_edges} edges"
        )
    if measured.place is not None and measured.place > machine.cutting_length:
        raise InputWrong(
            f"--place {show_mm(measured.place)}: the blade of {machine.name} is "
            f"{show_mm(machine.cutting_length)} mm long"
        )
    return _single(
        station,
        "edge.measured",
        {
            "machine": machine.id,
            "edge": measured.edge,
            "blade": measured.blade,
            "radius_um": measured.radius_um,
            "burr_mm": measured.burr_mm,
            "thickness_mm": None if measured.thickness is None else to_mm(measured.thickness),
            "material": measured.material,
            "place_mm": None if measured.place is None else to_mm(measured.place),
            "operator": operator,
            "remark": remark,
        },
    )


def log_program(station: Workstation, payload: Mapping[str, Any]) -> Logged:
    """Write down a program made by hand; the payload as the contract has it."""
    return _single(station, "program.saved", payload)


def _single(station: Workstation, event_type: str, payload: Mapping[str, Any]) -> Logged:
    batch = Batch(station)
    batch.add(event_type, payload)
    with station.home.logging():
        return batch.write()


__all__ = [
    "EdgeMeasured",
    "Logged",
    "PartMade",
    "Sheet",
    "log_blade",
    "log_cuts",
    "log_edge",
    "log_gauge",
    "log_offcut",
    "log_program",
    "log_scrap",
    "log_step",
    "log_taken",
    "opened_plan",
]
