"""A drop that sags so far that it misses the back gauge is gauged otherwise, or not planned.

The sag is that of a cantilever under its own weight, w·L⁴/(8·E·I), as beam tables state it; a case is
worked by hand below. Properties: steel 7850 kg/m³ and 210 GPa.
"""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.engine.layout import levels, rules
from service.engine.layout.rules import Cut, Extent
from service.engine.machine import BackGauge, FrontStops, GapRange, HoldDown, Machine, Rake, Rating
from service.engine.materials_table import material_named
from service.engine.order import Options, Order, Part, StockItem, Tolerance
from service.engine.planner import plan
from service.engine.quantities import mm
from service.engine.sag import deepest_met, pull_back_mm, sag_mm, with_sheet

STEEL = material_named("DC01")
GRADES = [material_named(name) for name in ("S235JR", "1.4301", "5754 H111", "CuZn37 R300")]
BARE = Machine(
    "b", "bare", mm(2500), Rating(250), Rake(1.5, 1.5), GapRange(2, 40), BackGauge(mm(8), mm(1000)),
    HoldDown(mm(45)), relief=True, squaring_arm=mm(1500),
)  # fmt: skip
STOPPED = replace(BARE, front_stops=FrontStops(mm(60), mm(1300), accuracy=50))
LINED = replace(BARE, marked_line_accuracy=mm(0.8))
SUPPORTED = replace(STOPPED, sheet_support=True)


def good(size: float) -> Extent:
    return Extent(mm(size), False, False, 0)


def test_a_tenth_of_the_depth_worked_by_hand() -> None:
    """0.8 mm steel: 0.1 = ρ·g·t·L³/(8·E·t³/12), so L³ = 0.8·E·t²/(12·ρ·g) with metres and newtons.

    ρ·g = 7850·9.80665 = 76982.2 N/m³; L³ = 0.8·2.1e11·6.4e-7/(12·76982.2) = 0.116391 m³; L = 0.48824 m.
    """
    assert deepest_met(STEEL, 80) == mm("488.24")
    # At 700 mm: q·L⁴/(8·E·I) = 76982.2·0.0008·0.2401/(8·2.1e11·4.26667e-11) = 0.20629 m.
    assert sag_mm(STEEL, 80, mm(700)) == pytest.approx(206.29, abs=0.01)


@given(st.sampled_from(GRADES), st.integers(20, 2000))
def test_it_is_the_deepest(material, thickness) -> None:
    most = deepest_met(material, thickness)
    assert sag_mm(material, thickness, most) <= 0.1 * most / 100 * (1 + 1e-9)
    assert sag_mm(material, thickness, most + 1) >= 0.1 * (most + 1) / 100 * (1 - 1e-9)


def test_a_front_stop_takes_its_place_and_a_support_carries_it() -> None:
    bare, stopped, lined, supported = (
        with_sheet(one, STEEL, 80) for one in (BARE, STOPPED, LINED, SUPPORTED)
    )
    refused = rules.separate(bare, good(1500), mm(700), mm(0.8), 0)
    assert isinstance(refused, str)
    assert "sags too far" in refused
    cut = rules.separate(stopped, good(1500), mm(700), mm(0.8), 0)
    assert isinstance(cut, Cut)
    assert cut.gauging == "front stop"
    cut = rules.separate(lined, good(1500), mm(700), mm(0.8), 0)
    assert isinstance(cut, Cut)
    assert cut.gauging == "marked line"
    cut = rules.separate(supported, good(1500), mm(700), mm(0.8), 0)
    assert isinstance(cut, Cut)
    assert cut.gauging == "back gauge"
    # What hangs no deeper than it may is gauged, and the sag counts: 4/7 · 48.73²/488 = 2.78 mm.
    cut = rules.separate(bare, good(1500), mm(488), mm("2.88"), 0)
    assert isinstance(cut, Cut)
    assert (cut.gauging, cut.accuracy) == ("back gauge", mm("2.88"))
    refused = rules.separate(bare, good(1500), mm(488), mm("2.87"), 0)
    assert isinstance(refused, str)
    assert "is cut 2.78 mm too long, of the ±2.87 mm of its tolerance" in refused


def test_what_sags_is_gauged_otherwise_where_its_tolerance_does_not_bear_it() -> None:
    """1 mm steel over 500 mm sags 34.37 mm and is drawn back 1.35 mm (beam tables)."""
    bare, stopped, supported = (with_sheet(one, STEEL, 100) for one in (BARE, STOPPED, SUPPORTED))
    assert rules.gauge_error(bare.back_gauge, mm(500)) == 10 + 135
    assert rules.gauge_error(supported.back_gauge, mm(500)) == 10
    cut = rules.separate(stopped, good(1500), mm(500), 100, 0)
    assert isinstance(cut, Cut)
    assert (cut.gauging, cut.accuracy) == ("front stop", 50)
    cut = rules.separate(stopped, good(1500), mm(500), 145, 0)
    assert isinstance(cut, Cut)
    assert cut.gauging == "back gauge"
    # From the far end too: the 500 that fall are cut long, and what stays is the shorter.
    cut = rules.separate(bare, good(1100), mm(600), 145, 0)
    assert isinstance(cut, Cut)
    assert (cut.from_far, cut.accuracy) == (True, 145)
    assert isinstance(rules.separate(bare, good(1100), mm(600), 144, 0), str)


@given(st.sampled_from(GRADES), st.integers(20, 2000), st.integers(100, 100_000))
def test_what_sag_adds_is_that_of_the_beam(material, thickness, depth) -> None:
    gauge = with_sheet(BARE, material, thickness).back_gauge
    back = 100 * pull_back_mm(sag_mm(material, thickness, depth), depth / 100)
    assert gauge.gained(depth) == pytest.approx(back, rel=1e-9, abs=0.5 + 1e-9)


@given(
    st.sampled_from([BARE, STOPPED, LINED, SUPPORTED]),
    st.integers(50, 300),
    st.integers(800, 160_000),
    st.integers(0, 160_000),
    st.sampled_from([5, 20, 80, 200]),
)
def test_the_quick_rule_says_the_same(machine, thickness, item, rest, tolerance) -> None:
    shear = with_sheet(machine, STEEL, thickness)
    extent = Extent(item + rest, False, False, 0)
    slow = rules.separate(shear, extent, item, tolerance, 0)
    assert levels.separable(shear, extent, item, tolerance, 0) == isinstance(slow, Cut)


@given(st.integers(50, 300), st.integers(1, 250_000), st.sampled_from([1, 7, 50]))
def test_what_is_cut_away_first_is_gauged_too(thickness, rest, step) -> None:
    shear = with_sheet(
        replace(BARE, back_gauge=BackGauge(mm(8), mm(1000), step=step)), STEEL, thickness
    )  # fmt: skip
    *aside, _kept = levels.surplus(shear, rest, 0)
    assert sum(aside) + _kept == rest
    assert all(one <= deepest_met(STEEL, thickness) for one in aside)


def planned(machine: Machine):
    order = Order(
        "W-1",
        machine,
        (STEEL,),
        (Part("P1", mm(700), mm(600), 4, "DC01", 80, tolerance=Tolerance("m")),),
        (StockItem("S-1", mm(2500), mm(1250), 2, "DC01", 80),),
        Options(effort="quick"),
    )
    return plan(order)


def test_no_plan_gauges_what_misses_the_gauge() -> None:
    """The foreman's order: four of 700 × 600 in 0.8 mm on a machine without a support."""
    found = planned(STOPPED)
    assert not found.unplaced
    hung = [step for step in found.program if step.gauging == "back gauge" and step.gauge > mm("488.24")]
    assert not hung
    assert any(step.gauging == "front stop" for step in found.program)
    assert all(one.inside is not None for one in found.quality)


def test_without_another_way_the_reason_is_given() -> None:
    found = planned(replace(BARE, back_gauge=BackGauge(mm(620), mm(1000))))
    assert [one.quantity for one in found.unplaced] == [4]
    assert "sags too far to be gauged without a sheet support" in found.unplaced[0].reason


def test_the_limit_is_exact_in_whole_numbers() -> None:
    """L³·3·ρ·g ≤ 0.2·E·t², with the numbers as they stand and nothing rounded."""
    found = deepest_met(STEEL, 80)

    def over(depth: int) -> bool:
        load = 3 * Fraction(7850, 10**9) * Fraction("9.80665") * Fraction(depth, 100) ** 3
        return load > Fraction(2, 10) * 210_000 * Fraction(80, 100) ** 2

    assert not over(found)
    assert over(found + 1)
