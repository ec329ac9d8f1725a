"""What the profile states of thickness and gaps is in the plan, and the replay asks for it too."""

from dataclasses import replace

import pytest

from schemas.plans import read_plan, write_plan
from service.engine.machine import BackGauge, GapRange, GapRow, HoldDown, Lifting, Machine, Rake, Rating
from service.engine.materials import Material, certified
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


def of_grade(material: Material, machine: Machine) -> Order:
    bare = order(machine)
    return replace(
        bare,
        materials=(material,),
        parts=tuple(replace(one, material=material.grade) for one in bare.parts),
        stock=tuple(replace(one, material=material.grade) for one in bare.stock),
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


def test_a_plan_and_its_replay_count_strength_at_the_thickness():
    # EN 10025-2: S355JR of 3 mm has 470 to 630 N/mm², below 3 mm up to 680. 3 mm of 630 counts 3.55 mm
    # of 450, of 680 it would count 3.69 mm.
    strong = of_grade(material_named("S355JR"), replace(SHEAR, rating=Rating(360)))
    made = plan(strong)
    assert made.unplaced == ()
    document = write_plan(made, strong)
    assert verify(document).faults == ()
    read, order_read = read_plan(document)
    assert (read, order_read) == (made, strong)
    document["order"]["materials"][0]["strength_bands"] = []
    assert "strength" in verify(document).codes()


def test_sheet_with_a_certificate_is_planned_as_a_grade_of_its_own():
    # What the force check advises: 3 mm of 510 N/mm² counts as 3.19 mm of 450, 3 mm of 430 as 2.93 mm.
    thick = replace(SHEAR, rating=Rating(300))
    steel = material_named("S235JR")
    assert plan(of_grade(steel, thick)).unplaced
    assert "keep such sheets as a grade of their own" in plan(of_grade(steel, thick)).unplaced[0].reason
    assert plan(of_grade(certified(steel, 430, "3.1/77"), thick)).unplaced == ()


def test_the_steps_are_set_by_the_machines_own_gap_table():
    rows = (GapRow(400, 200, 11), GapRow(400, 400, 27), GapRow(500, 200, 13), GapRow(500, 400, 33))
    made = plan(order(replace(SHEAR, gap_table=rows)))
    # 3 mm, S235JR at the middle of 360 to 510: 19 for 400 and 23 for 500 N/mm², so 20.4
    assert {step.settings.gap for step in made.program} == {20}
    assert {step.settings.findings[0].basis for step in made.program} == {
        "machine's own gap table, read at 435 N/mm²"
    }
