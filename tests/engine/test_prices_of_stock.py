"""What counts for stock without a price: nothing for an offcut beside priced sheets, no sum for a sheet.

The expected choices follow from the sizes by hand; the verifier counts the cost again without the planner.
"""

import json
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schemas.orders import read_order, write_order
from schemas.plans import write_plan
from schemas.problems import WireError
from service.drawing.text import program_text
from service.engine.materials_table import material_named
from service.engine.order import Options, Order, Part, StockItem, as_priced
from service.engine.plan import CutPlan
from service.engine.planner import PriceError, plan
from service.engine.verifier import verify
from tests.engine.test_objectives import SHEAR

SQUARE = Part("A", 90_000, 90_000, 1, "S235JR", 300)
RACK = StockItem("R", 150_000, 150_000, 1, "S235JR", 300, "offcut", "cut", 50)
SMALL = replace(RACK, ref="R2", length=92_000, width=92_000)
SHEET = StockItem("S", 100_000, 100_000, 9, "S235JR", 300, "sheet", "cut", 0, 100.0)
UNKNOWN = StockItem("T", 200_000, 200_000, 9, "S235JR", 300, "sheet", "cut", 0)


def order_of(*stock: StockItem, pieces: int = 1, **options: Any) -> Order:
    parts = (replace(SQUARE, quantity=pieces),)
    return Order("W-9", SHEAR, (material_named("S235JR"),), parts, stock, Options(**options))


def checked(order: Order) -> CutPlan:
    found = plan(order)
    assert verify(json.loads(json.dumps(write_plan(found, order)))).faults == ()
    return found


def taken(found: CutPlan) -> dict[str, int]:
    return {one.stock_ref: one.repeat for one in found.layouts}


def codes(found: CutPlan) -> set[str]:
    return {one.code for one in found.findings}


@pytest.mark.parametrize("objective", ["material", "cost"])
def test_an_offcut_without_a_price_is_taken_before_a_sheet_is_bought(objective: str) -> None:
    found = checked(order_of(RACK, SHEET, objective=objective))
    assert taken(found) == {"R": 1}
    assert (found.summary.material_cost, found.bound.cost) == (0.0, 0.0)
    assert "offcuts-free" in codes(found)
    assert "no-price" not in codes(found)


def test_of_two_that_are_paid_for_the_smaller_one_is_cut_up() -> None:
    assert taken(checked(order_of(RACK, SMALL, SHEET))) == {"R2": 1}


def test_one_that_saves_no_sheet_stays_on_the_rack() -> None:
    """Three times ten strips of 640 · 118.5 fit on the sheet, which has to be bought in any case."""
    offcut = replace(RACK, length=124_000, width=64_000)
    sheet = replace(SHEET, length=250_000, width=125_000, edges="mill")
    order = order_of(offcut, sheet)
    strips = Part("A", 64_000, 11_850, 24, "S235JR", 300)
    found = checked(replace(order, parts=(strips,)))
    assert taken(found) == {"S": 1}
    assert found.summary.material_cost == 100.0


def test_what_is_bought_besides_is_all_that_the_plan_costs() -> None:
    found = checked(order_of(RACK, SHEET, pieces=3))
    assert taken(found) == {"R": 1, "S": 2}
    assert (found.summary.material_cost, found.bound.cost, found.bound.gap_share) == (200.0, 200.0, 0.0)


def test_a_sheet_without_a_price_makes_area_the_aim_and_is_named() -> None:
    found = checked(order_of(RACK, SHEET, UNKNOWN))
    assert taken(found) == {"S": 1}
    assert found.bound.cost is None
    said = next(one for one in found.findings if one.code == "no-price")
    assert said.level == "caution"
    assert said.message.startswith("T has no price")
    with pytest.raises(PriceError, match="'T' has none"):
        plan(order_of(RACK, SHEET, UNKNOWN, objective="cost"))


def test_a_shop_that_writes_no_prices_is_told_nothing_of_them() -> None:
    found = checked(order_of(RACK, UNKNOWN))
    assert found.summary.material_cost is None
    assert codes(found).isdisjoint({"no-price", "offcuts-free"})


def test_where_nothing_need_be_paid_by_the_bound_and_something_is_the_areas_are_compared() -> None:
    """18 · 330 · 250 mm² are 1.485 of the offcut's 1.5 m², and the plan buys a sheet all the same."""
    order = order_of(replace(RACK, width=100_000), SHEET, effort="quick")
    order = replace(order, parts=(replace(SQUARE, length=33_000, width=25_000, quantity=18),))
    found = checked(order)
    assert taken(found) == {"R": 1, "S": 1}
    assert (found.bound.cost, found.bound.area_mm2, found.summary.material_cost) == (0.0, 1.5e6, 100.0)
    assert found.bound.gap_share == pytest.approx(2.5 / 1.5 - 1)
    assert "The stock measures 2.50 m²; no plan" in program_text(found).replace("\n", " ")


def test_over_the_wire_the_least_cost_is_refused_by_the_name_of_the_sheet() -> None:
    document = write_order(order_of(RACK, SHEET, UNKNOWN, objective="cost"))
    with pytest.raises(WireError) as caught:
        read_order(document, machine_named=lambda _: None)
    assert [(one.pointer, "'T' has none" in one.message) for one in caught.value.errors] == [
        ("/options/objective", True)
    ]
    fine = write_order(order_of(RACK, SHEET, objective="cost"))
    assert read_order(fine, machine_named=lambda _: None).stock[0].price is None


def test_the_verifier_counts_the_cost_of_free_offcuts_itself() -> None:
    order = order_of(RACK, SHEET, pieces=3)
    document = json.loads(json.dumps(write_plan(plan(order), order)))
    document["summary"]["material_cost"] = 225.0
    assert "/summary/material_cost" in {one.where for one in verify(document).faults}
    # A plan of an earlier engine says that the cost is not known, which claims nothing.
    document["summary"]["material_cost"] = None
    assert "/summary/material_cost" not in {one.where for one in verify(document).faults}


@given(
    st.lists(
        st.tuples(st.sampled_from([RACK, SHEET]), st.sampled_from([None, 0.0, 7.5]), st.sampled_from([0, 3])),
        max_size=5,
    )
)
def test_only_offcuts_come_to_count_as_nothing_and_never_beside_an_unknown_sheet(
    drawn: list[tuple[StockItem, float | None, int]],
) -> None:
    stock = [replace(item, price=price, quantity=n) for item, price, n in drawn]
    counted = as_priced(stock)
    usable = [item for item in stock if item.quantity]
    unknown = any(item.kind == "sheet" and item.price is None for item in usable)
    known = any(item.price is not None for item in usable)
    for before, after in zip(stock, counted, strict=True):
        changes = before.price is None and before.kind == "offcut" and known and not unknown
        assert after == (replace(before, price=0.0) if changes else before)
    assert as_priced(counted) == counted
