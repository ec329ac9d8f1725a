"""Force, rating and their inverses: laws that hold whatever the figures, and the limits."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine import force
from service.engine.force import (
    check_force,
    choose_rake,
    largest_thickness,
    longest_cut,
    parallel,
    penetration,
    permitted,
    raked_triangle,
)
from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
from service.engine.materials_table import BUILT_IN, material_named

STEEL = material_named("plain steel")


def shear(**changes) -> Machine:
    machine = Machine(
        id="m",
        name="Bench 3 m",
        cutting_length=300_000,
        rating=Rating(600),
        rake=Rake(1.5, 1.5),
        gap=GapRange(5, 80, 5),
        back_gauge=BackGauge(500, 100_000),
        hold_down=HoldDown(4500),
    )
    return replace(machine, **changes)


def codes(check, level="stop"):
    return [finding.code for finding in check.findings if finding.level == level]


thicknesses = st.floats(0.3, 25)
strengths = st.floats(60, 1500)
lengths = st.floats(1, 6000)
slopes = st.floats(0.05, 6)
shares = st.floats(0.05, 1)
laws = settings(max_examples=100, deadline=None)


@laws
@given(thicknesses, strengths, lengths, slopes, shares, st.floats(1.0, 3))
def test_force_never_falls_with_thickness_strength_or_length(t, rm, length, rake, deep, more):
    base = penetration(rm, t, length, rake, deep)
    nearly = base * (1 - 1e-12)
    assert penetration(rm, t * more, length, rake, deep) >= nearly
    assert penetration(rm * more, t, length, rake, deep) >= nearly
    assert penetration(rm, t, length * more, rake, deep) >= nearly


@laws
@given(thicknesses, strengths, slopes, slopes)
def test_force_times_the_slope_is_one_constant_for_a_long_cut(t, rm, one, other):
    def work(rake):
        return raked_triangle(rm, t, 1e6, rake) * math.tan(math.radians(rake))

    assert work(one) == pytest.approx(work(other))


@laws
@given(thicknesses, strengths, slopes, st.floats(1.1, 4))
def test_raked_force_goes_with_the_square_of_thickness_and_parallel_force_with_thickness(t, rm, rake, k):
    assert raked_triangle(rm, k * t, 1e6, rake) == pytest.approx(k**2 * raked_triangle(rm, t, 1e6, rake))
    assert parallel(rm, k * t, 900) == pytest.approx(k * parallel(rm, t, 900))


@laws
@given(thicknesses, strengths, lengths, slopes, shares)
def test_an_inclined_blade_never_takes_more_than_a_parallel_one(t, rm, length, rake, deep):
    assert penetration(rm, t, length, rake, deep) <= parallel(rm, t, length) * (1 + 1e-12)


@laws
@given(thicknesses, strengths, slopes, shares)
def test_the_short_cut_joins_the_steady_force_at_the_engaged_length(t, rm, rake, deep):
    engaged = deep * t / math.tan(math.radians(rake))
    steady = penetration(rm, t, 1e9, rake, deep)
    assert penetration(rm, t, engaged * (1 - 1e-9), rake, deep) == pytest.approx(steady)
    assert penetration(rm, t, engaged * (1 + 1e-9), rake, deep) == pytest.approx(steady)
    assert penetration(rm, t, engaged / 2, rake, deep) < steady


@laws
@given(thicknesses, strengths, lengths)
def test_the_raked_force_becomes_the_parallel_force_as_the_rake_vanishes(t, rm, length):
    assert raked_triangle(rm, t, length, 1e-9) == pytest.approx(parallel(rm, t, length), rel=1e-6)


@laws
@given(thicknesses, strengths, slopes, shares)
def test_a_short_cut_is_the_sum_over_the_uncut_ligament(t, rm, rake, deep):
    # The integral of the docstring, summed by the mid-point rule instead of in closed form.
    slope = math.tan(math.radians(rake))
    length = 0.7 * deep * t / slope
    strips = 400
    width = length / strips
    summed = sum(rm * (t - (i + 0.5) * width * slope) * width for i in range(strips))
    assert penetration(rm, t, length, rake, deep) == pytest.approx(summed)


@laws
@given(thicknesses, strengths, slopes, shares)
def test_force_rises_with_penetration_and_ends_at_the_full_wedge(t, rm, rake, deep):
    assert penetration(rm, t, 1e6, rake, deep) <= raked_triangle(rm, t, 1e6, rake) * (1 + 1e-12)
    assert penetration(rm, t, 1e6, rake, 1.0) == pytest.approx(raked_triangle(rm, t, 1e6, rake))


@pytest.mark.parametrize("material", BUILT_IN, ids=lambda m: m.grade)
def test_work_is_independent_of_the_rake_and_equals_force_times_rise(material):
    checks = [check_force(shear(), material, 300, 200_000, rake) for rake in (0.0, 0.7, 1.5, 3.0)]
    assert len({round(check.work_j, 6) for check in checks}) == 1
    for check in checks[1:]:
        rise_mm = 2000 * math.tan(math.radians(check.rake_deg))
        assert check.force_kn * rise_mm == pytest.approx(check.work_j)


@pytest.mark.parametrize("material", BUILT_IN, ids=lambda m: m.grade)
@pytest.mark.parametrize("cut_length", [300, 5_000, 200_000])
def test_the_greatest_method_rules_and_none_passes_the_cap(material, cut_length):
    check = check_force(shear(), material, 400, cut_length)
    *inclined, cap = check.by_method
    assert cap.name == "parallel"
    assert check.force_kn == pytest.approx(max(method.force_kn for method in inclined))
    assert check.force_kn <= cap.force_kn * (1 + 1e-12)
    assert check.method in {method.name for method in inclined}
    assert all(method.source for method in check.by_method)


def test_plain_steel_of_the_rated_thickness_is_inside_the_rating_without_margin():
    # common practice, no source: plain steel counts as 450 N/mm²; a sheet 800 mm along the blade and
    # 6 mm thick is inside a 6 mm rating without margin to spare.
    check = check_force(shear(), STEEL, 600, 80_000)
    assert check.rating_share == pytest.approx(1)
    assert codes(check) == []
    assert codes(check, "caution") == ["rating-margin"]
    assert codes(check_force(shear(), STEEL, 601, 80_000)) == ["thickness-over-rating", "force-over-limit"]


def test_stainless_of_4_mm_needs_a_machine_of_5_to_6_mm_plain_steel():
    # common practice, no source
    stainless = material_named("1.4301")
    check = check_force(shear(), stainless, 400, 100_000)
    assert 5 < check.equivalent_thickness_mm < 6
    assert codes(check_force(shear(rating=Rating(500)), stainless, 400, 100_000))
    assert codes(check) == []


def test_strength_counts_with_the_upper_end_of_its_range_unless_a_certificate_says_less():
    check = check_force(shear(), material_named("S235JR"), 600, 80_000)
    assert codes(check)[0] == "thickness-over-rating"
    assert "6.39 mm" in check.findings[0].message
    assert "certificate says 450 N/mm² or less" in check.findings[0].message
    assert codes(check_force(shear(), replace(material_named("S235JR"), rm_high=450), 600, 80_000)) == []


def test_no_way_out_is_offered_when_even_the_lower_end_is_too_strong():
    check = check_force(shear(), material_named("S235JR"), 800, 80_000)
    assert "certificate" not in check.findings[0].message


def test_the_machines_own_force_limit_stops_a_cut_that_the_rating_allows():
    weak = shear(force_limit_kn=200)
    check = check_force(weak, STEEL, 600, 100_000)
    assert codes(check) == ["force-over-limit"]
    assert check.limit_basis == "machine profile"
    assert check.limit_kn == 200


def test_close_to_the_force_limit_is_a_caution():
    exact = check_force(shear(), STEEL, 600, 100_000).force_kn
    assert "force-margin" in codes(check_force(shear(force_limit_kn=exact), STEEL, 600, 100_000), "caution")
    roomy = check_force(shear(force_limit_kn=exact * 1.2), STEEL, 600, 100_000)
    assert "force-margin" not in codes(roomy, "caution")


def test_hardened_stock_is_stopped_at_any_thickness():
    hard = material_named("wear plate 500 HBW")
    assert codes(check_force(shear(), hard, 50, 1000)) == ["not-shearable"]
    assert longest_cut(shear(), hard, 50) == 0
    assert largest_thickness(shear(), hard, 1000) == 0


def test_soft_sheet_thicker_than_the_plate_is_a_caution_only():
    check = check_force(shear(), material_named("1050A H14"), 900, 100_000)
    assert codes(check) == []
    assert "thicker-than-plate" in codes(check, "caution")


ADJUSTABLE = shear(rake=Rake(0.5, 2.5, 0.1), force_limit_kn=250.0)


def test_the_smallest_rake_within_the_force_limit_is_chosen():
    rake = choose_rake(ADJUSTABLE, STEEL, 500, 200_000)
    assert 0.5 < rake < 2.5
    assert codes(check_force(ADJUSTABLE, STEEL, 500, 200_000, rake)) == []
    assert codes(check_force(ADJUSTABLE, STEEL, 500, 200_000, round(rake - 0.1, 6))) == ["force-over-limit"]
    assert choose_rake(ADJUSTABLE, STEEL, 100, 200_000) == 0.5
    assert choose_rake(ADJUSTABLE, STEEL, 1500, 200_000) == 2.5


def test_without_a_force_limit_the_rating_at_the_highest_rake_gives_it():
    rated_only = replace(ADJUSTABLE, force_limit_kn=None)
    assert choose_rake(rated_only, STEEL, 600, 300_000) == 2.5
    assert codes(check_force(rated_only, STEEL, 600, 300_000)) == []
    assert codes(check_force(rated_only, STEEL, 600, 300_000, 1.0)) == ["force-over-limit"]
    assert choose_rake(rated_only, STEEL, 200, 300_000) == 0.5


@pytest.mark.parametrize(
    ("rake", "expected"),
    [
        (Rake(1.5, 1.5), (1.5,)),
        (Rake(0.5, 0.8, 0.1), (0.5, 0.6, 0.7, 0.8)),
        (Rake(0.5, 0.75, 0.1), (0.5, 0.6, 0.7, 0.75)),
        (Rake(0.5, 2.0, 0.0), (0.5, 2.0)),
    ],
)
def test_only_rakes_that_the_machine_can_set_are_offered(rake, expected):
    assert force.rakes(shear(rake=rake)) == expected


machines = st.builds(
    shear,
    rating=st.builds(Rating, st.integers(100, 2000), st.sampled_from([400.0, 450.0])),
    rake=st.sampled_from([Rake(1.0, 1.0), Rake(2.2, 2.2), Rake(0.5, 2.5, 0.1), Rake(0.0, 1.0, 0.25)]),
    force_limit_kn=st.none() | st.floats(5, 800),
    cutting_length=st.sampled_from([100_000, 300_000, 412_345]),
)
materials = st.sampled_from(BUILT_IN)


@laws
@given(machines, materials, st.integers(20, 2500))
def test_longest_cut_is_the_exact_inverse_of_the_check(machine, material, thickness):
    longest = longest_cut(machine, material, thickness)
    assert 0 <= longest <= machine.cutting_length
    if longest:
        assert codes(check_force(machine, material, thickness, longest)) == []
    if longest < machine.cutting_length:
        assert codes(check_force(machine, material, thickness, longest + 1))


@laws
@given(machines, materials, st.integers(10, 412_345))
def test_largest_thickness_is_the_exact_inverse_of_the_check(machine, material, cut_length):
    largest = largest_thickness(machine, material, cut_length)
    if cut_length > machine.cutting_length:
        assert largest == 0
        return
    if largest:
        assert codes(check_force(machine, material, largest, cut_length)) == []
    assert codes(check_force(machine, material, largest + 1, cut_length))


@laws
@given(machines, materials, st.integers(20, 2500), st.integers(10, 400_000))
def test_the_quick_answer_and_the_check_agree(machine, material, thickness, cut_length):
    stopped = bool(codes(check_force(machine, material, thickness, cut_length)))
    assert permitted(machine, material, thickness, cut_length) is not stopped


@pytest.mark.parametrize(("thickness", "cut_length"), [(0, 1000), (-5, 1000), (300, 0), (300, -1)])
def test_a_cut_without_size_is_refused(thickness, cut_length):
    with pytest.raises(ValueError, match="greater than zero"):
        check_force(shear(), STEEL, thickness, cut_length)


@pytest.mark.parametrize("rake", [-0.1, 45, float("nan")])
def test_a_rake_that_is_none_is_refused(rake):
    with pytest.raises(ValueError, match="rake"):
        check_force(shear(), STEEL, 300, 1000, rake)
    with pytest.raises(ValueError, match="rake"):
        raked_triangle(400, 3, 100, rake)


def test_the_inverses_refuse_what_has_no_size():
    with pytest.raises(ValueError, match="thickness"):
        longest_cut(shear(), STEEL, 0)
    with pytest.raises(ValueError, match="cut length"):
        largest_thickness(shear(), STEEL, 0)


def test_the_mill_formula_is_for_an_inclined_blade_only():
    with pytest.raises(ValueError, match=r"parallel\(\)"):
        force.mill_shear(400, 6, 0, 0.3)


def test_an_open_ended_standard_is_named_in_a_note():
    assert codes(check_force(shear(), material_named("6082 T6"), 300, 100_000), "note") == [
        "strength-open-ended"
    ]


def test_hard_plate_that_may_be_sheared_carries_a_caution():
    hard = material_named("wear plate 400 HBW")
    assert "hard-plate" in codes(check_force(shear(), hard, 200, 100_000), "caution")


def test_figures_are_settled_to_six_decimals_so_that_every_machine_gives_the_same_plan():
    check = check_force(shear(), material_named("1.4301"), 317, 123_457)
    figures = [
        check.force_kn,
        check.work_j,
        check.rating_share,
        check.engaged_mm,
        check.limit_kn,
        check.equivalent_thickness_mm,
        *(method.force_kn for method in check.by_method),
    ]
    assert figures == [round(figure, 6) for figure in figures]
