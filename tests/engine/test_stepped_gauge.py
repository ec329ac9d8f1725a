"""A back gauge that moves in steps: what it cannot reach counts as error, for search and settings alike."""

from dataclasses import replace

import pytest

from service.engine.layout.rules import gauge_error
from service.engine.machine import BackGauge, GapRange, HoldDown, Lifting, Machine, Rake, Rating
from service.engine.materials_table import material_named
from service.engine.order import Options, Order, Part, StockItem, Tolerance
from service.engine.planner import plan
from service.engine.settings import gauge_setting
from service.engine.verifier.facts import Range
from service.engine.verifier.limits import off_step

MACHINE = Machine(
    "m",
    "M",
    300000,
    Rating(600),
    Rake(1.5, 1.5),
    GapRange(2, 100),
    BackGauge(500, 100000),
    HoldDown(4500),
    sheet_support=True,
    lifting=Lifting(crane_kg=1000.0),
)


@pytest.mark.parametrize("depth", [501, 2003, 2005, 2007, 99998, 100000])
@pytest.mark.parametrize("step", [1, 5, 10, 30])
def test_search_settings_and_verifier_agree_on_the_nearest_position(depth: int, step: int) -> None:
    gauge = BackGauge(500, 100000, step=step, accuracy=7)
    setting, stops = gauge_setting(replace(MACHINE, back_gauge=gauge), depth)
    assert stops == ()
    assert gauge_error(gauge, depth) == 7 + abs(setting - depth)
    assert off_step(Range(500, 100000, step), depth) == abs(setting - depth)


@pytest.mark.parametrize(("limit", "placed"), [(13, 3), (12, 0)])
def test_a_part_needs_a_tolerance_for_what_the_steps_leave(limit: int, placed: int) -> None:
    """300.03 mm on a gauge that stands at 300 or 300.1: ±(0.1 + 0.03) mm."""
    steel = material_named("S235JR")
    order = Order(
        "W-1",
        replace(MACHINE, back_gauge=BackGauge(500, 100000, step=10, accuracy=10)),
        (steel,),
        (Part("P1", 60000, 30003, 3, "S235JR", 300, tolerance=Tolerance(minus=limit, plus=limit)),),
        (StockItem("S1", 250000, 125000, 1, "S235JR", 300),),
        Options(effort="quick"),
    )
    assert plan(order).summary.parts == placed


def test_gap_of_a_plan_with_some_stock_unpriced_is_a_share_of_area() -> None:
    """Two materials, one with a price and one without: money cannot be added up, areas can."""
    parts = tuple(Part(f"P{i}", 60000, 30000, 2, grade, 300) for i, grade in enumerate(("S235JR", "DC01")))
    stock = (
        StockItem("S1", 250000, 125000, 1, "S235JR", 300, price=80.0),
        StockItem("S2", 200000, 100000, 2, "DC01", 300),
    )
    order = Order(
        "W-1",
        MACHINE,
        (material_named("DC01"), material_named("S235JR")),
        parts,
        stock,
        Options(effort="quick"),
    )
    found = plan(order)
    assert found.summary.parts == 4
    assert found.bound.cost is None
    assert found.bound.gap_share == pytest.approx(found.summary.stock_area_mm2 / found.bound.area_mm2 - 1)
