"""More effort never ends with a worse plan."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given, settings

from service.engine.machine import BackGauge, FrontStops, GapRange, HoldDown, Lifting, Machine, Rake, Rating
from service.engine.materials_table import material_named
from service.engine.order import Effort, Options, Order, Part, StockItem
from service.engine.plan import CutPlan
from service.engine.planner import plan
from tests.strategies import small_orders

MM = 100
SHEAR = Machine(
    "bench",
    "bench shear",
    310_000,
    Rating(600),
    Rake(1.0, 2.0),
    GapRange(2, 100),
    BackGauge(500, 100_000),
    HoldDown(4500),
    squaring_arm=200_000,
    front_stops=FrontStops(5000, 250_000, 30),
    marked_line_accuracy=100,
    sheet_support=True,
    relief=True,
    lifting=Lifting(25, 50, 5000),
)


def at(effort: Effort, order: Order) -> CutPlan:
    return plan(replace(order, options=replace(order.options, objective="material", effort=effort)))


def used(found: CutPlan, order: Order) -> tuple[int, float]:
    """What is left out, and what the stock used comes to."""
    area = {part.ref: part.length * part.width for part in order.parts}
    cost = found.summary.material_cost
    if found.bound.cost is None or cost is None:
        cost = found.summary.stock_area_mm2
    return sum(area[one.ref] * one.quantity for one in found.unplaced), round(cost, 6)


def test_a_standard_search_keeps_what_a_quick_one_finds() -> None:
    """A coarser look at the layouts found a plan of 6.5 m² here, the finer one alone 7.6 m²."""
    parts = (
        Part("A", 550 * MM, 360 * MM, 4, "S235JR", 200),
        Part("B", 780 * MM, 480 * MM, 9, "S235JR", 200, "along"),
        Part("C", 250 * MM, 570 * MM, 9, "S235JR", 200, "along"),
        Part("D", 100 * MM, 570 * MM, 6, "S235JR", 200, "along"),
    )
    stock = tuple(
        StockItem(f"{length}", length * MM, width * MM, quantity, "S235JR", 200)
        for length, width, quantity in ((3000, 1500, 9), (2500, 1250, 9), (2000, 1000, 1))
    )
    order = Order("W-9", SHEAR, (material_named("S235JR"),), parts, stock, Options())
    assert used(at("standard", order), order) <= used(at("quick", order), order)


@settings(max_examples=15, deadline=None)
@given(small_orders())
def test_more_effort_is_never_worse(order: Order) -> None:
    found = [used(at(effort, order), order) for effort in ("quick", "standard", "thorough")]
    assert found == sorted(found, reverse=True)
