"""Damage to what the order asks for: parts, stock, materials."""

from __future__ import annotations

from tests.engine.verifier.damage import Damages, Document, part, step
from tests.engine.verifier.worked import goes

damage = Damages()


@damage("demand")
def one_part_more_than_wanted(plan: Document) -> None:
    part(plan)["quantity"] = 7


@damage("demand")
def one_part_fewer_than_wanted(plan: Document) -> None:
    part(plan)["quantity"] = 9


@damage("demand")
def made_and_stated_as_unplaced_as_well(plan: Document) -> None:
    plan["unplaced"] = [{"ref": "P1", "quantity": 1, "code": "stock-exhausted", "reason": "no stock"}]


@damage("unplaced")
def unplaced_without_a_reason(plan: Document) -> None:
    part(plan)["quantity"] = 9
    plan["unplaced"] = [{"ref": "P1", "quantity": 1, "code": "stock-exhausted", "reason": " "}]


@damage("unplaced")
def none_stated_as_unplaced(plan: Document) -> None:
    plan["unplaced"] = [{"ref": "P1", "quantity": 0, "code": "stock-exhausted", "reason": "no stock"}]


@damage("part-unknown")
def part_that_nobody_ordered(plan: Document) -> None:
    step(plan, 4)["drop_to"] = [goes("part", "P2", 600.0, 300.0, 8)]


@damage("part-size")
def part_of_another_size(plan: Document) -> None:
    part(plan)["length"] = 600.01


@damage("grain")
def part_across_the_grain(plan: Document) -> None:
    part(plan)["grain"] = "across"


@damage("over-stock")
def more_sheets_than_there_are(plan: Document) -> None:
    plan["order"]["stock"][0]["quantity"] = 0


@damage("stages")
def one_turn_too_many(plan: Document) -> None:
    plan["order"]["options"]["max_stages"] = 1


@damage("stock")
def stock_that_is_not_there(plan: Document) -> None:
    plan["layouts"][0]["stock_ref"] = "SH-B"


@damage("material")
def part_from_another_material(plan: Document) -> None:
    part(plan)["material"] = "DC01"


@damage("material")
def layout_of_another_thickness(plan: Document) -> None:
    plan["layouts"][0]["thickness_mm"] = 4.0


@damage("order-ref")
def plan_for_another_order(plan: Document) -> None:
    plan["order_ref"] = "W-1043"


@damage("machine")
def plan_for_another_machine(plan: Document) -> None:
    plan["machine_id"] = "bench-4m"
