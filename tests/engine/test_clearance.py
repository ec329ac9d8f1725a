"""The blade gap: laws of the formulae, and what is set on a machine that cannot set everything."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.clearance import gap_for, oehler, thickest_by_gap, usual_gap
from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
from service.engine.materials_table import BUILT_IN, material_named
from service.engine.settings import settings_for

STEEL = material_named("S235JR")


USUAL = GapRange(5, 80, 5)


def shear(gap=USUAL) -> Machine:
    return Machine(
        id="m",
        name="Bench 3 m",
        cutting_length=300_000,
        rating=Rating(600),
        rake=Rake(1.5, 1.5),
        gap=gap,
        back_gauge=BackGauge(500, 100_000),
        hold_down=HoldDown(4500),
    )


def levels(findings):
    return {finding.code: finding.level for finding in findings}


def test_a_series_at_several_gauges_keeps_one_gap():
    # common practice, no source: 3.7 mm aluminium cut at 30, then at 20 mm
    aluminium = material_named("5754 H111")
    gaps = {
        settings_for(shear(), aluminium, 370, cut_length=100_000, drop_depth=depth).gap
        for depth in (3000, 2000)
    }
    assert len(gaps) == 1


@settings(max_examples=100, deadline=None)
@given(
    st.sampled_from(BUILT_IN),
    st.integers(20, 2000),
    st.integers(0, 40),
    st.integers(0, 120),
    st.integers(1, 9),
)
def test_the_gap_is_one_the_machine_can_set_and_no_other_is_nearer(material, thickness, low, span, step):
    machine = shear(GapRange(low, low + span, step))
    gap, findings = gap_for(machine, material, thickness)
    settable = range(low, low + span + 1, step)
    wanted = sum(usual_gap(material, thickness)) / 2
    assert gap in settable
    assert abs(gap - wanted) == pytest.approx(min(abs(value - wanted) for value in settable))
    assert findings


def test_a_gap_inside_the_usual_range_is_a_note_with_its_basis():
    gap, findings = gap_for(shear(), STEEL, 300)
    assert gap == 20
    assert levels(findings) == {"gap": "note"}
    assert "shop default" in findings[0].basis


def test_a_gap_outside_the_usual_range_is_a_caution_that_says_what_follows():
    wide = gap_for(shear(GapRange(20, 20)), STEEL, 200)[1]
    assert levels(wide) == {"gap": "note", "gap-unusual": "caution"}
    assert "burr" in wide[1].message
    narrow = gap_for(shear(GapRange(10, 10)), STEEL, 600)[1]
    assert levels(narrow) == {"gap": "note", "gap-unusual": "caution"}
    assert "force" in narrow[1].message


def test_half_a_step_of_rounding_is_no_reason_to_warn():
    assert levels(gap_for(shear(GapRange(0, 100, 10)), STEEL, 100)[1]) == {"gap": "note"}


def test_thin_sheet_that_would_be_drawn_between_the_blades_is_stopped():
    assert levels(gap_for(shear(GapRange(30, 80)), STEEL, 50)[1]) == {"gap-too-wide": "stop"}


def test_a_gap_far_too_narrow_is_stopped():
    assert levels(gap_for(shear(GapRange(2, 5)), STEEL, 600)[1]) == {"gap-too-narrow": "stop"}


@pytest.mark.parametrize("material", BUILT_IN, ids=lambda m: m.grade)
@pytest.mark.parametrize("gap", [GapRange(2, 5), GapRange(5, 80, 7), GapRange(10, 10)])
def test_the_thickest_by_gap_is_the_exact_inverse(material, gap):
    machine = shear(gap)
    limit = thickest_by_gap(machine, material)
    assert "gap-too-narrow" not in levels(gap_for(machine, material, limit)[1])
    assert "gap-too-narrow" in levels(gap_for(machine, material, limit + 1)[1])


def test_a_material_that_asks_for_no_gap_sets_no_limit():
    no_gap = replace(STEEL, gap_share=(0.0, 0.0))
    assert thickest_by_gap(shear(), no_gap) > 1_000_000


def test_a_sheet_without_thickness_is_refused():
    with pytest.raises(ValueError, match="thickness"):
        gap_for(shear(), STEEL, 0)


@settings(max_examples=100, deadline=None)
@given(st.floats(0.3, 12), st.floats(60, 900), st.floats(1.01, 4))
def test_oehlers_gap_grows_with_the_root_of_strength(t, tau, more):
    assert oehler(t, tau * more) == pytest.approx(oehler(t, tau) * more**0.5)


@settings(max_examples=100, deadline=None)
@given(st.floats(0.3, 12), st.floats(0.1, 12))
def test_oehlers_gap_grows_with_thickness(t, more):
    assert oehler(t + more, 320) > oehler(t, 320)


@pytest.mark.parametrize("c", [0.004, 0.04, float("nan")])
def test_oehlers_constant_has_a_range(c):
    with pytest.raises(ValueError, match="Oehler"):
        oehler(2, 320, c)


def test_the_note_gives_the_gap_as_a_share_of_thickness():
    assert "gap 0.2 mm for 3 mm S235JR (6.7% of t)" in gap_for(shear(), STEEL, 300)[1][0].message


def test_the_rounding_that_is_forgiven_is_half_a_step_and_no_more():
    # usual 0.05 to 0.08 mm; a fixed gap has steps of 0.01, so 0.085 would be forgiven and 0.09 is not
    assert levels(gap_for(shear(GapRange(8, 8)), STEEL, 100)[1]) == {"gap": "note"}
    assert levels(gap_for(shear(GapRange(9, 9)), STEEL, 100)[1]) == {"gap": "note", "gap-unusual": "caution"}
