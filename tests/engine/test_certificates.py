"""Certificates narrow the strength of a grade where every piece of stock has one."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schemas.plans import read_plan, write_plan
from service.engine.certificates import by_certificates
from service.engine.machine import BackGauge, GapRange, HoldDown, Lifting, Machine, Rake, Rating
from service.engine.materials_table import material_named
from service.engine.order import Options, Order, Part, StockItem
from service.engine.planner import plan
from service.engine.verifier import verify

STEEL = material_named("S355JR")


def sheet(strength: float | None, thickness: int = 1000, ref: str = "A", quantity: int = 1) -> StockItem:
    certificate = None if strength is None else "3.1/77"
    return StockItem(
        ref,
        300_000,
        150_000,
        quantity,
        "S355JR",
        thickness,
        tensile_strength=strength,
        certificate=certificate,
    )


def test_the_least_and_the_most_of_the_certificates_hold_at_their_thickness_only():
    known = by_certificates(STEEL, [sheet(521), sheet(545), sheet(600, 200)])
    assert known.strength_at(1000) == (521, 545)
    assert known.strength_at(200) == (600, 600)
    for thickness in (199, 201, 299, 300, 999, 1001, 2000):
        assert known.strength_at(thickness) == STEEL.strength_at(thickness)


def test_one_piece_without_leaves_the_whole_range():
    assert by_certificates(STEEL, [sheet(521), sheet(None)]) == STEEL
    assert by_certificates(STEEL, []) == STEEL


def test_what_there_is_none_of_or_is_of_another_grade_does_not_count():
    gone, other = sheet(None, quantity=0), replace(sheet(None), material="S235JR")
    assert by_certificates(STEEL, [sheet(521), gone, other]).strength_at(1000) == (521, 521)


@given(
    st.lists(st.builds(sheet, st.none() | st.floats(470, 630), st.sampled_from([200, 300, 1000])), max_size=8)
)
def test_no_piece_is_counted_weaker_than_it_may_be_and_twice_says_the_same(stock):
    known = by_certificates(STEEL, stock)
    for item in stock:
        may_be = (
            STEEL.strength_at(item.thickness)[1] if item.tensile_strength is None else item.tensile_strength
        )
        assert known.strength_at(item.thickness)[1] >= may_be
    assert by_certificates(known, stock) == known


# 10 mm of 630 N/mm² counts as 11.83 mm of 450, of 545 as 11.00 mm.
SHEAR = Machine(
    "m",
    "Plate 4 m",
    400_000,
    Rating(1150),
    Rake(2.0, 2.0),
    GapRange(10, 200),
    BackGauge(500, 100_000),
    HoldDown(4500),
    lifting=Lifting(crane_kg=2000.0),
)


def order(*stock: StockItem) -> Order:
    return Order(
        "W-1",
        SHEAR,
        (by_certificates(STEEL, stock),),
        (Part("P1", 60_000, 50_000, 4, "S355JR", 1000),),
        stock,
        Options(effort="quick"),
    )


def test_plate_that_only_its_certificate_lets_onto_the_shear_is_planned_and_replayed():
    bare = plan(order(sheet(None)))
    assert "write strength and certificate to the stock" in bare.unplaced[0].reason
    asked = order(sheet(545))
    made = plan(asked)
    assert made.unplaced == ()
    document = write_plan(made, asked)
    assert verify(document).faults == ()
    assert read_plan(document) == (made, asked)


@pytest.mark.parametrize("stated", [600.0, 630.0])
def test_the_replay_holds_the_strength_against_the_certificate(stated):
    asked = order(sheet(545))
    document = write_plan(plan(asked), asked)
    document["order"]["stock"][0]["tensile_strength_n_mm2"] = stated
    assert "strength" in verify(document).codes()
