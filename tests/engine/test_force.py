"""Force, rating and their inverses: laws that hold whatever the figures, and the limits."""

import math
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine import force
from service.engine.force import (
    bending_and_holding,
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
from service.engine.shearing import forces

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


def test_the_smallest_rake_within_the_force_limit_is_chosen_where_no_margin_is_wanted():
    machine = replace(ADJUSTABLE, force_margin=0.0)
    rake = choose_rake(machine, STEEL, 500, 200_000)
    assert 0.5 < rake < 2.5
    assert codes(check_force(machine, STEEL, 500, 200_000)) == []
    assert codes(check_force(ADJUSTABLE, STEEL, 500, 200_000, rake)) == []
    assert codes(check_force(ADJUSTABLE, STEEL, 500, 200_000, round(rake - 0.1, 6))) == ["force-over-limit"]
    assert choose_rake(ADJUSTABLE, STEEL, 100, 200_000) == 0.5
    assert choose_rake(ADJUSTABLE, STEEL, 1500, 200_000) == 2.5


# EN 10051:2010, plus tolerance of hot-rolled strip of category A, 5 to 6 mm thick and up to 1500 mm
# wide: from memory.
PLUS_OF_6_MM = 28


def test_sheet_of_the_plus_tolerance_stays_within_the_limit_at_the_rake_that_was_chosen():
    steel, machine = (
        material_named("S235JR"),
        shear(rating=Rating(800), rake=Rake(1.0, 2.5, 0.1), force_limit_kn=320.0),
    )
    check = check_force(machine, steel, 600, 150_000)
    assert check.force_share <= 0.9
    assert codes(check, "caution") == []
    thick = check_force(machine, steel, 600 + PLUS_OF_6_MM, 150_000, check.rake_deg)
    assert thick.force_share <= 1
    # Without a margin it is not.
    bare = check_force(replace(machine, force_margin=0.0), steel, 600, 150_000)
    assert check_force(machine, steel, 600 + PLUS_OF_6_MM, 150_000, bare.rake_deg).force_share > 1
    assert codes(bare, "caution") == ["force-margin"]


def test_the_word_of_a_small_margin_names_the_thickness_that_is_over_the_limit():
    machine = shear(rating=Rating(800), force_limit_kn=320.0, rake=Rake(1.9, 1.9))
    steel = material_named("S235JR")
    (said,) = [
        one for one in check_force(machine, steel, 620, 150_000).findings if one.code == "force-margin"
    ]
    over = next(t for t in range(620, 800) if codes(check_force(machine, steel, t, 150_000)))
    assert f"sheet above {(over - 1) / 100:g} mm is over the limit" in said.message


def test_strength_counts_with_the_range_of_the_thickness():
    thin, thick = (check_force(shear(), material_named("S355JR"), t, 50_000) for t in (299, 300))
    assert (thin.strength, thick.strength) == (680, 630)
    assert "470 to 630 N/mm² at 3 mm" in thick.strength_basis
    assert thin.force_kn > thick.force_kn
    assert thin.rating_share == pytest.approx(2.99 * math.sqrt(680 / 450) / 6)


def test_thin_sheet_that_is_too_strong_ends_the_largest_thickness_though_thicker_might_pass():
    # 2.99 mm of 680 N/mm² counts 3.68 mm, 3.00 mm of 630 counts 3.55 mm.
    machine = shear(rating=Rating(360))
    grade = material_named("S355JR")
    assert permitted(machine, grade, 300, 50_000)
    limit = largest_thickness(machine, grade, 50_000)
    assert limit == math.floor(360 / math.sqrt(680 / 450))
    assert not permitted(machine, grade, limit + 1, 50_000)


def test_a_higher_rake_is_chosen_where_it_holds_the_piece():
    held = HoldDown(4500, tuple(range(10_000, 300_000, 20_000)), 5000, 90.0)
    machine = shear(rake=Rake(0.5, 2.5, 0.1), force_limit_kn=500.0, hold_down=held)
    free = choose_rake(replace(machine, hold_down=HoldDown(4500)), STEEL, 300, 60_000)
    rake = choose_rake(machine, STEEL, 300, 60_000)
    assert free == 0.5 < rake < 2.5
    # 3 of 15 feet give 18 kN, which hold 120 kN at 15 %.
    assert check_force(machine, STEEL, 300, 60_000, rake).force_kn <= 120
    assert check_force(machine, STEEL, 300, 60_000, round(rake - 0.1, 6)).force_kn > 120
    assert choose_rake(machine, STEEL, 500, 60_000) == 2.5


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


# --- bending and holding, the mill shears at any length, and what is said of the methods -----------

elongations = st.floats(0.03, 0.7)


@laws
@given(thicknesses, strengths, lengths, slopes, elongations, st.floats(0.0, 0.15), st.floats(1.0, 3))
def test_bending_and_holding_never_falls_with_thickness_strength_or_length(t, rm, length, rake, a, y, more):
    base = bending_and_holding(rm, t, length, rake, a, y) * (1 - 1e-12)
    assert bending_and_holding(rm, t * more, length, rake, a, y) >= base
    assert bending_and_holding(rm * more, t, length, rake, a, y) >= base
    assert bending_and_holding(rm, t, length * more, rake, a, y) >= base


@laws
@given(thicknesses, strengths, slopes, elongations)
def test_without_gap_and_bending_only_pure_shear_is_left(t, rm, rake, a):
    pure = bending_and_holding(rm, t, 1e6, rake, a, 0.0, strip=0.0)
    assert pure == pytest.approx(0.6 * rm * a * t**2 / math.tan(math.radians(rake)))
    assert bending_and_holding(rm, t, 1e6, rake, a, 0.08, strip=0.0) > pure
    assert bending_and_holding(rm, t, 1e6, rake, a, 0.0) > pure


@laws
@given(thicknesses, strengths, slopes, elongations, st.floats(0.01, 0.15), st.floats(1, 20))
def test_a_long_cut_is_the_algebra_of_the_formula_in_its_own_units(t, rm, rake, a, y, x):
    slope, kgf = math.tan(math.radians(rake)), 9.80665
    own = rm / kgf
    p1 = 0.6 * own * a * t**2 / slope
    total = p1 * (1 + 0.95 * slope / (0.6 * a) + 1 / (1 + 10 * a / (own * y**2 * x)))
    assert bending_and_holding(rm, t, 1e6, rake, a, y, x) == pytest.approx(total * kgf)


@laws
@given(thicknesses, strengths, lengths, elongations, st.floats(0.0, 0.15))
def test_bending_and_holding_has_a_limit_as_the_rake_vanishes(t, rm, length, a, y):
    level = bending_and_holding(rm, t, length, 0.0, a, y)
    assert bending_and_holding(rm, t, length, 1e-7, a, y) == pytest.approx(level, rel=1e-4)


@laws
@given(thicknesses, strengths, slopes, shares)
def test_the_mill_formula_knows_short_cuts_and_ends_in_the_printed_one(t, rm, rake, deep):
    engaged = deep * t / math.tan(math.radians(rake))
    printed = force.mill_shear(rm, t, rake, deep)
    for share in (1 - 1e-9, 1.0, 1 + 1e-9, 5.0):
        assert force.mill_shear(rm, t, rake, deep, length_mm=share * engaged) == pytest.approx(printed)
    assert force.mill_shear(rm, t, rake, deep, length_mm=engaged / 2) < printed


@laws
@given(st.sampled_from(BUILT_IN), thicknesses, st.floats(0.0, 0.2), st.floats(1, 3000), st.floats(0, 1))
def test_every_method_scales_as_forces_do(material, t, slope, length, dulled):
    # Lengths times λ and stresses times μ make forces times λ²·μ. The holding term has a stress of its
    # own (10 kgf/mm²), so that method goes with lengths only.
    material = replace(material, bands=())
    one = forces(material, t, length, slope, dulled)
    twice = forces(material, 2 * t, 2 * length, slope, dulled)
    assert twice == pytest.approx(tuple(4 * force for force in one))
    strong = replace(material, rm_low=3 * material.rm_low, rm_high=3 * material.rm_high)
    stressed = forces(strong, t, length, slope, dulled)._asdict()
    for name, value in one._asdict().items():
        if name != "bending":
            assert stressed[name] == pytest.approx(3 * value)


@pytest.mark.parametrize("material", BUILT_IN, ids=lambda m: m.grade)
@pytest.mark.parametrize("rake", [0.0, 0.5, 1.5, 3.0, 6.0])
def test_the_ruling_force_has_no_step_anywhere_along_the_cut(material, rake):
    # Every switch lies on the way: engaged lengths of the methods, the cap, which of two rules.
    machine = shear(rake=Rake(0.0, 6.0))
    found = [check_force(machine, material, 400, length, rake).force_kn for length in range(20, 60_000, 20)]
    steepest = material.rm_high * 4.0 * 0.2 * (1 + 1e-6) / 1000  # Rm·t·dL, the slope of the cap
    assert all(0 <= later - before + 2e-6 <= steepest + 4e-6 for before, later in pairwise(found))


def test_the_allowance_for_dulled_edges_is_stated_and_the_shops():
    usual = check_force(shear(), STEEL, 300, 100_000)
    assert usual.dulled_allowance == 0.25
    assert usual.force_kn == pytest.approx(1.25 * usual.sharp_kn)
    # with a quarter the textbook's 0.5·0.8·Rm is the trade handbook's 0.5·Rm
    assert usual.force_kn == pytest.approx(raked_triangle(450, 3, 1000, 1.5) / 1000)
    sharp = check_force(shear(), STEEL, 300, 100_000, dulled_allowance=0.0)
    assert sharp.force_kn == pytest.approx(0.8 * usual.force_kn)
    shop = check_force(shear(dulled_allowance=0.4), STEEL, 300, 100_000)
    assert shop.force_kn == pytest.approx(1.4 * 0.8 * usual.force_kn)
    assert all(one.sharp_kn <= one.force_kn for one in usual.by_method)
    with pytest.raises(ValueError, match="dulled"):
        check_force(shear(), STEEL, 300, 100_000, dulled_allowance=-0.1)


def test_a_limit_that_follows_from_the_rating_is_dulled_like_the_cut():
    for allowance in (0.0, 0.25, 1.0):
        check = check_force(shear(dulled_allowance=allowance), STEEL, 600, 300_000)
        assert check.force_share == pytest.approx(1)
        assert codes(check) == []


def test_the_answer_says_which_method_rules_and_why_and_how_far_they_differ():
    stainless = check_force(shear(), material_named("1.4301"), 300, 100_000)
    assert stainless.method == "mill shear"
    assert stainless.why.startswith("mill shear asks for most of the methods that rule (raked triangle: ")
    inclined = [one.force_kn for one in stainless.by_method[:-1]]
    assert stainless.spread == pytest.approx(max(inclined) / min(inclined))
    assert f"{max(inclined):.1f} kN" in stainless.why
    assert f"{min(inclined):.1f} kN" in stainless.why
    assert "parallel blades" in check_force(shear(), STEEL, 300, 100_000, 0.0).why
    assert "shorter than the length engaged" in check_force(shear(), STEEL, 300, 8_000).why
    remark = {one.name: one.remark for one in stainless.by_method}
    assert "2 to 6°" in remark["mill shear"]
    assert "from memory" in remark["bending and holding"]
    assert [one.name for one in stainless.by_method if not one.rules] == ["bending and holding"]


def test_the_strength_that_counts_is_told_with_its_basis():
    check = check_force(shear(), material_named("S235JR"), 300, 100_000)
    assert check.strength == 510
    assert check.strength_basis.startswith("upper end of 360 to 510 N/mm² (range); EN 10025-2")


def test_mean_power_is_the_work_over_the_time_of_the_stroke():
    machine = shear(strokes_per_minute=15.0)
    check = check_force(machine, STEEL, 600, 300_000)
    assert check.stroke_s == pytest.approx(4.0)  # the full stroke at the machine's one rake
    # F·L·tan φ = 0.5·450·6²·3000 N·mm
    assert check.work_j == pytest.approx(0.5 * 450 * 36 * 3000 / 1000)
    assert check.mean_power_kw == pytest.approx(check.work_j / 4000, abs=1e-6)
    assert check_force(machine, STEEL, 600, 30_000).stroke_s < 4.0


def test_the_mechanical_maximum_stops_what_is_thicker_and_answers_the_question_of_thick_soft_sheet():
    soft = material_named("1050A H14")
    roomy = shear(max_thickness=900)
    assert codes(check_force(roomy, soft, 900, 100_000)) == []
    assert "thicker-than-plate" not in codes(check_force(roomy, soft, 900, 100_000), "caution")
    assert codes(check_force(roomy, soft, 901, 100_000)) == ["thickness-over-maximum"]
    assert not permitted(roomy, soft, 901, 100_000)


def test_a_formula_from_memory_does_not_rule_but_is_not_silent():
    # a tough grade of our own: 0.6·0.7 of pure shear, bending and holding on top
    tough = replace(material_named("1.4301"), elongation=0.7, gap_share=(0.05, 0.12))
    check = check_force(shear(), tough, 400, 200_000, 1.5)
    recalled = next(one for one in check.by_method if one.name == "bending and holding")
    assert recalled.force_kn > check.force_kn
    limit = (recalled.force_kn + check.force_kn) / 2
    told = check_force(shear(force_limit_kn=limit), tough, 400, 200_000)
    assert codes(told) == []
    assert "recalled-formula-over-limit" in codes(told, "caution")
    roomy = check_force(shear(force_limit_kn=recalled.force_kn), tough, 400, 200_000)
    assert "recalled-formula-over-limit" not in codes(roomy, "caution")


@pytest.mark.parametrize("elongation", [0.0, -0.1])
def test_an_elongation_that_is_none_is_refused(elongation):
    with pytest.raises(ValueError, match="elongation"):
        bending_and_holding(400, 6, 1000, 1.5, elongation, 0.08)
    with pytest.raises(ValueError, match="elongation"):
        check_force(shear(), replace(STEEL, elongation=elongation), 300, 1000)


def test_a_minimum_elongation_counts_with_the_upper_end_of_the_handbook():
    # ε = 1.2 to 1.6·A, the rolling-mill handbook: 1.6·0.45 = 0.72 of 1.4301, whose standard states a minimum.
    stainless = material_named("1.4301")
    check = check_force(shear(), stainless, 300, 100_000)
    printed = force.mill_shear(750, 3, 1.5, 1.6 * 0.45) / 1000
    assert check.method == "mill shear"
    assert check.force_kn == pytest.approx(printed)
    assert "1.6 times the elongation of 45%" in check.why
    # A sheet as ductile as the standard's least, taken as it is, never takes more.
    typical = replace(stainless, strength_basis="typical")
    known = check_force(shear(), typical, 300, 100_000)
    assert known.force_kn == pytest.approx(force.mill_shear(750, 3, 1.5, 1.4 * 0.45) / 1000)
    assert "1.6 times" not in known.why
    assert known.force_kn < check.force_kn


def test_sharp_edges_of_the_mill_shear_have_no_blade_condition():
    # K1 of the handbook is 1.3 to 1.5 and of the edges; without it K2·K3 are left, 0.75·1.3.
    check = check_force(shear(), material_named("1.4301"), 300, 100_000)
    assert check.method == "mill shear"
    assert check.force_kn == pytest.approx(1.3 * check.sharp_kn)
    for allowance, times in ((0.0, 1.3), (0.3, 1.3), (0.5, 1.5)):
        mill = check_force(shear(), material_named("1.4301"), 300, 100_000, None, allowance).by_method[2]
        assert mill.force_kn == pytest.approx(times * mill.sharp_kn)
        assert ("1.3 times sharp ones at least" in mill.remark) is (allowance < 0.3)


def test_a_machine_known_by_its_rating_alone_is_told_why_only_the_triangle_counts():
    stainless = material_named("1.4301")
    check = check_force(shear(), stainless, 464, 300_000)
    assert check.force_kn > check.limit_kn
    assert check.force_share < 1
    assert codes(check) == []
    (said,) = (one for one in check.findings if one.code == "counted-by-triangle")
    assert f"{check.force_share * check.limit_kn:.0f} kN of the triangle" in said.message
    assert "counted-by-triangle" not in codes(check_force(shear(), stainless, 300, 300_000), "note")
    stated = check_force(shear(force_limit_kn=check.limit_kn), stainless, 464, 300_000)
    assert codes(stated) == ["force-over-limit"]
