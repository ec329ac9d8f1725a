"""What the profile states of thickness and gaps is in the plan, and the replay asks for it too."""

from dataclasses import replace

import pytest

from schemas.plans import write_plan
from service.engine.machine import BackGauge, GapRange, GapRow, HoldDown, Lifting, Machine, Rake, Rating
from service.engine.materials_table import material_named
from service.engine.order import Options, Order, Part, StockItem
from service.engine.planner import plan
from service.engine.verifier import verify

SHEAR = Machine(
    "m",
    "Bench 3 m",
    300_000,
    Rating(600),
    Rake(1.5, 1.5),
    GapRange(1, 100),
    BackGauge(500, 100_000),
    HoldDown(4500),
    lifting=Lifting(crane_kg=1000.0),
)


def order(machine: Machine) -> Order:
    return Order(
        "W-1",
        machine,
        (material_named("S235JR"),),
        (Part("P1", 60_000, 30_000, 8, "S235JR", 300),),
        (StockItem("S1", 250_000, 125_000, 2, "S235JR", 300, oversize=2000),),
        Options(effort="quick"),
    )


@pytest.mark.parametrize("most", [300, 301])
def test_a_sheet_that_just_fits_under_the_blade_is_planned(most):
    made = plan(order(replace(SHEAR, max_thickness=most)))
    assert made.unplaced == ()


def test_a_sheet_that_does_not_fit_is_unplaced_with_the_reason():
    made = plan(order(replace(SHEAR, max_thickness=299)))
    (only,) = made.unplaced
    assert only.code == "over-maximum"
    assert only.reason == "3 mm is thicker than what fits under the blade of Bench 3 m"


def test_stock_that_nobody_can_lift_is_not_called_missing():
    made = plan(order(replace(SHEAR, lifting=Lifting(crane_kg=50.0))))
    (only,) = made.unplaced
    assert (only.quantity, only.code) == (8, "too-heavy")
    assert only.reason == "all stock of this material and thickness is too heavy for Bench 3 m"
    assert [finding.code for finding in made.findings] == ["too-heavy"]


def test_the_replay_finds_a_plan_for_a_machine_with_less_room():
    roomy = order(SHEAR)
    document = write_plan(plan(roomy), roomy)
    assert verify(document).faults == ()
    document["order"]["machine"]["max_thickness_mm"] = 2.99
    assert "strength" in verify(document).codes()


def test_the_steps_are_set_by_the_machines_own_gap_table():
    rows = (GapRow(400, 200, 11), GapRow(400, 400, 27), GapRow(500, 200, 13), GapRow(500, 400, 33))
    made = plan(order(replace(SHEAR, gap_table=rows)))
    # 3 mm, S235JR at the middle of 360 to 510: 19 for 400 and 23 for 500 N/mm², so 20.4
    assert {step.settings.gap for step in made.program} == {20}
    assert {step.settings.findings[0].basis for step in made.program} == {
        "machine's own gap table, read at 435 N/mm²"
    }
