"""A part that is spoiled: scrap, and no longer one of the parts made, whichever is logged first.

Its mass must not stand twice. Spoiled after its step was logged, it leaves the parts made (`was_made`);
spoiled before, the step leaves it out when it is logged.
"""

from __future__ import annotations

from collections.abc import Mapping

from client.cache.plans import pieces_done, spoiled_parts
from client.errors import InputWrong
from client.log.batch import Batch, Logged, Sheet
from client.workstation import Workstation
from service.engine.order import Order
from service.engine.plan import CutPlan, Leaf
from service.engine.tolerance import aimed_size


def log_spoiled(
    station: Workstation,
    plan_id: str,
    plan: CutPlan,
    order: Order,
    part_ref: str,
    quantity: int,
    reason: str,
    *,
    machine: str | None = None,
    remark: str | None = None,
    was_made: bool | None = None,
    operator: str | None = None,
) -> Logged:
    """Write down spoiled parts of a plan.

    Parameters
    ----------
    plan_id, plan, order
        The plan they belong to.
    part_ref, quantity
        Which part, and how many of it.
    machine
        Where they were spoiled; the plan's own machine when None.
    was_made
        Whether they were logged as made before; found out from what was logged here when None.

    Raises
    ------
    InputWrong
        When the plan has no such part.
    """
    part = next((one for one in order.parts if one.ref == part_ref), None)
    if part is None:
        raise InputWrong(f"plan {plan_id} has no part {part_ref!r}")
    material = order.material(part.material)
    with station.home.logging():
        batch = Batch(station)
        if quantity > part.quantity:
            batch.doubts.append(f"{part.quantity} of {part_ref} are ordered, and {quantity} are scrap")
        count = quantity if was_made else 0
        if was_made is None:
            count = min(quantity, _good(station, plan_id, plan, part_ref))
        for pieces, made in ((count, True), (quantity - count, False)):
            if not pieces:
                continue
            sheet = Sheet(material, part.thickness, *aimed_size(part), pieces)
            batch.add(
                "scrap.made",
                {
                    **sheet.fields(),
                    "machine": machine or plan.machine_id,
                    "reason": reason,
                    "remark": remark,
                    "plan_id": plan_id,
                    "part_ref": part_ref,
                    "was_made": made or None,
                    "operator": operator,
                },
            )
            batch.spoiled.append((plan_id, part_ref, pieces, made))
            batch.notes.append(
                f"{pieces} of {part_ref} counted as made and no longer do"
                if made
                else f"{pieces} of {part_ref} not logged as made yet; their step will leave them out"
            )
        return batch.write()


def _good(station: Workstation, plan_id: str, plan: CutPlan, part_ref: str) -> int:
    """Good parts of a ref that were logged as made here and not spoiled since."""
    gross = parts_logged(plan, pieces_done(station.outbox.sql, plan_id), part_ref)
    spoiled = spoiled_parts(station.outbox.sql, plan_id, part_ref)
    return max(0, gross - spoiled.left_out - spoiled.made)


def parts_logged(plan: CutPlan, done: Mapping[int, int], part_ref: str) -> int:
    """Parts of a ref that the pieces logged of each step come to, spoiled ones among them.

    Sheets that are parts as they are count too; they are kept under minus the number of their layout.
    """
    whole = sum(
        done.get(-layout.number, 0)
        for layout in plan.layouts
        if isinstance(layout.tree, Leaf) and layout.tree.ref == part_ref
    )
    return whole + sum(
        out.count * done.get(step.number, 0) // step.pieces
        for step in plan.program
        for out in (*step.drops, *step.remainders)
        if out.kind == "part" and out.ref == part_ref
    )


def left_out(batch: Batch, plan_id: str, part_ref: str, count: int) -> int:
    """Parts among `count` that were logged as scrap before; they are noted in the batch as left out."""
    spoiled = spoiled_parts(batch.station.outbox.sql, plan_id, part_ref)
    already = sum(-one[2] for one in batch.spoiled if one[:2] == (plan_id, part_ref))
    few = min(count, max(0, spoiled.early - spoiled.left_out - already))
    if few:
        batch.spoiled.append((plan_id, part_ref, -few, False))
        batch.notes.append(f"{few} of {part_ref} logged as scrap before, and left out of the parts made")
    return few
