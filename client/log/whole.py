"""Sheets that are parts as they are: a layout without a cut, taken from the rack and done."""

from __future__ import annotations

from client.cache.plans import pieces_done
from client.errors import InputWrong
from client.log.amount import how_many
from client.log.batch import Batch, Logged, Sheet
from client.log.spoiled import left_out
from client.log.withdraw import left_of_withdrawn
from client.opened import opened_plan
from client.workstation import Workstation
from service.engine.order import Order
from service.engine.plan import CutPlan, Layout, Leaf
from service.engine.quantities import to_mm
from service.engine.tolerance import aimed_size


def log_whole(
    station: Workstation,
    plan_id: str,
    number: int,
    *,
    sheets: int | None = None,
    operator: str | None = None,
    again: bool = False,
) -> Logged:
    """Write down that sheets of a layout were taken that are parts as they are.

    Parameters
    ----------
    station
        The workstation.
    plan_id, number
        The plan and its layout.
    sheets
        Sheets taken; all that are left when None.
    operator
        Initials or code.
    again
        Allows more sheets than the layout has.

    Raises
    ------
    InputWrong
        When the plan or the layout is not known, the layout is cut, or more is told than it has.
    """
    plan, order = opened_plan(station, plan_id)
    layout = next((one for one in plan.layouts if one.number == number), None)
    if layout is None:
        raise InputWrong(f"plan {plan_id} has no layout {number}; its layouts are 1 to {len(plan.layouts)}")
    leaf = layout.tree
    if not isinstance(leaf, Leaf) or leaf.kind != "part" or leaf.ref is None:
        steps = ", ".join(str(step.number) for step in plan.program if step.layout == number)
        raise InputWrong(f"layout {number} is cut: log its steps {steps} by shearwright log step")
    with station.home.logging():
        done = pieces_done(station.outbox.sql, plan_id).get(-number, 0)
        count = how_many(f"layout {number}", "sheet", layout.repeat, done, sheets, again)
        batch = Batch(station)
        batch.doubts += left_of_withdrawn(station.outbox, plan_id, "layout", number)
        _events(batch, plan_id, plan, order, layout, leaf.ref, count, operator)
        batch.done.append((plan_id, -number, count))
        return batch.write()


def _events(
    batch: Batch,
    plan_id: str,
    plan: CutPlan,
    order: Order,
    layout: Layout,
    part_ref: str,
    sheets: int,
    operator: str | None,
) -> None:
    machine, material = order.machine, order.material(layout.material)
    stock = next(item for item in order.stock if item.ref == layout.stock_ref)
    part = next(one for one in order.parts if one.ref == part_ref)
    taken = Sheet(material, layout.thickness, stock.length, stock.width, sheets, stock.heat)
    batch.taken(stock.ref, taken, machine.id, plan_id, operator)
    good = sheets - left_out(batch, plan_id, part_ref, sheets)
    made = {
        "order_ref": plan.order_ref,
        "ref": part_ref,
        "length_mm": to_mm(part.length),
        "width_mm": to_mm(part.width),
        "quantity": good,
        "mass_kg": Sheet(material, layout.thickness, *aimed_size(part), good).mass_kg,
    }
    batch.add(
        "parts.taken",
        {
            "machine": machine.id,
            "material": material.grade,
            "thickness_mm": to_mm(layout.thickness),
            "parts": [made] if good else [],
            "plan_id": plan_id,
            "layout": layout.number,
            "sheets": sheets,
            "layout_sheets": layout.repeat,
            "heat": stock.heat,
            "operator": operator,
        },
    )
