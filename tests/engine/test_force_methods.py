"""The formulas of the shearing force: laws that hold whatever the figures."""

import math
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.engine import force
from service.engine.force import bending_and_holding, check_force, parallel, penetration, raked_triangle
from service.engine.machine import Rake
from service.engine.materials_table import BUILT_IN, material_named
from service.engine.shearing import forces
from tests.engine.shears import (
    STEEL,
    elongations,
    laws,
    lengths,
    shares,
    shear,
    slopes,
    strengths,
    thicknesses,
)


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


def test_the_mill_formula_is_for_an_inclined_blade_only():
    with pytest.raises(ValueError, match=r"parallel\(\)"):
        force.mill_shear(400, 6, 0, 0.3)


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


@pytest.mark.parametrize("elongation", [0.0, -0.1])
def test_an_elongation_that_is_none_is_refused(elongation):
    with pytest.raises(ValueError, match="elongation"):
        bending_and_holding(400, 6, 1000, 1.5, elongation, 0.08)
    with pytest.raises(ValueError, match="elongation"):
        check_force(shear(), replace(STEEL, elongation=elongation), 300, 1000)
