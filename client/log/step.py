"""A step of a plan is written down: what it took, cut, made and left, in one transaction."""

from __future__ import annotations

from collections.abc import Mapping

from client.cache.plans import pieces_done
from client.errors import InputWrong
from client.log.amount import how_many
from client.log.batch import Batch, Logged, Sheet, cut_fields
from client.log.spoiled import left_out
from client.log.withdraw import left_of_withdrawn
from client.opened import opened_plan
from client.workstation import Workstation
from service.engine.layout.rack import offcut_state
from service.engine.order import Order
from service.engine.plan import CutPlan, Layout, Outcome, Step
from service.engine.program.names import is_sheet
from service.engine.quantities import Length, to_mm
from service.engine.tolerance import aimed_size


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
        count = how_many(f"step {number}", "piece", step.pieces, done.get(number, 0), pieces, again)
        layout = next(one for one in plan.layouts if one.number == step.layout)
        batch = Batch(station)
        batch.notes += _before(plan, step, done)
        batch.doubts += left_of_withdrawn(station.outbox, plan_id, "step", number)
        _step_events(batch, plan_id, plan, order, layout, step, count, operator, minutes, blade_edge)
        batch.done.append((plan_id, number, count))
        return batch.write()


def _its_steps(plan: CutPlan) -> str:
    if plan.program:
        return f"its steps are 1 to {len(plan.program)}"
    return "its sheets are parts as they are: shearwright log layout writes down that they were taken"


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
                **cut_fields(machine, material, layout.thickness, cut_length, runs * step.repeat),
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
