"""General libraries on the force formulae: units by pint, limits by sympy, digits by mpmath."""

import math

import mpmath
import pint
import pytest
import sympy
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.shearing import (
    MILL_FACTOR,
    bending_and_holding,
    mill_shear,
    parallel,
    penetration,
    raked_triangle,
    wedge,
)

UNITS = pint.UnitRegistry()
laws = settings(max_examples=100, deadline=None)
thicknesses = st.floats(0.3, 25)
strengths = st.floats(60, 1500)
slopes = st.floats(0.0, 0.2)
shares = st.floats(0.05, 1)


def test_the_formulae_have_the_dimension_of_a_force():
    rm, t, length = 420 * UNITS.N / UNITS.mm**2, 8 * UNITS.mm, 1 * UNITS.m
    slope = math.tan(math.radians(2.5))
    for ours, theirs in (
        (parallel(420, 8, 1000), rm * t * length),
        (raked_triangle(420, 8, 1000, 2.5), 0.5 * rm * t**2 / slope),
        (penetration(420, 8, 1000, 2.5, 0.4), rm * 0.4 * t**2 * (1 - 0.2) / slope),
        (mill_shear(420, 8, 2.5, 0.3), MILL_FACTOR * rm * 0.3 * 1.7 * t**2 / (2 * slope)),
    ):
        assert ours == pytest.approx(theirs.to("N").magnitude)


def test_the_holding_term_is_a_pure_number_only_with_its_constant_as_a_stress():
    rm, constant = 400 * UNITS.N / UNITS.mm**2, 10 * UNITS.kgf / UNITS.mm**2
    term = 1 / (1 + constant * 0.25 / (rm * 0.083**2 * 7.7))
    assert term.to("dimensionless").magnitude == pytest.approx(
        bending_and_holding(400, 6, 1000, 1.5, 0.25, 0.083, 7.7, strip=0.0)
        / bending_and_holding(400, 6, 1000, 1.5, 0.25, 0.0, 7.7, strip=0.0)
        - 1
    )


def test_inches_and_pounds_give_the_same_force():
    force = parallel(
        (60_000 * UNITS.psi).to("N/mm**2").magnitude, (0.25 * UNITS.inch).to("mm").magnitude, 304.8
    )
    pounds = 60_000 * UNITS.psi * 0.25 * UNITS.inch * 12 * UNITS.inch
    assert force == pytest.approx(pounds.to("N").magnitude)


S, T, L, K, P = sympy.symbols("S t L k P", positive=True)
X = sympy.Symbol("x", positive=True)
STEADY = S * P * (1 - P / 2) * T**2 / K
SHORT = S * L * (T - L * K / 2)


def test_the_steady_force_is_the_integral_over_the_engaged_length():
    assert sympy.simplify(sympy.integrate(S * (T - X * K), (X, 0, P * T / K)) - STEADY) == 0


def test_the_short_cut_is_the_integral_over_the_cut():
    assert sympy.simplify(sympy.integrate(S * (T - X * K), (X, 0, L)) - SHORT) == 0


def test_the_two_meet_at_the_engaged_length_with_the_first_derivative_too_for_the_full_wedge():
    engaged = P * T / K
    assert sympy.simplify(SHORT.subs(L, engaged) - STEADY) == 0
    # At full penetration the ligament ends in nothing, so that even the slope has no step.
    assert sympy.simplify(sympy.diff(SHORT, L).subs(L, engaged).subs(P, 1)) == 0


def test_the_short_cut_becomes_the_parallel_force_as_the_rake_vanishes():
    assert sympy.limit(SHORT, K, 0) == S * L * T


def test_the_mill_formula_is_the_penetration_formula_with_a_factor():
    mill = S * P * T**2 * (2 - P) / (2 * K)
    assert sympy.simplify(mill - STEADY) == 0


def test_penetration_in_inches_per_foot_is_the_same_formula():
    rake = sympy.Symbol("R", positive=True)
    printed = S * P * T**2 * (12 / rake) * (1 - P / 2)
    assert sympy.simplify(printed.subs(rake, 12 * K) - STEADY) == 0


@laws
@given(strengths, thicknesses, st.floats(0.5, 6000), slopes, shares)
def test_the_wedge_agrees_with_fifty_digits(rm, t, length, slope, deep):
    with mpmath.workdps(50):
        s, th, ln, k, p = (mpmath.mpf(value) for value in (rm, t, length, slope, deep))
        exact = s * p * (1 - p / 2) * th**2 / k if ln * k >= p * th else s * ln * (th - ln * k / 2)
        assert wedge(rm, t, length, slope, deep) == pytest.approx(float(exact), rel=1e-12)


@laws
@given(strengths, thicknesses, shares, st.floats(1e-12, 0.2))
def test_just_at_the_switch_no_digit_is_lost(rm, t, deep, slope):
    engaged = deep * t / slope
    with mpmath.workdps(50):
        exact = float(
            mpmath.mpf(rm) * deep * (1 - mpmath.mpf(deep) / 2) * mpmath.mpf(t) ** 2 / mpmath.mpf(slope)
        )
    for length in (math.nextafter(engaged, 0), engaged, math.nextafter(engaged, math.inf)):
        assert wedge(rm, t, length, slope, deep) == pytest.approx(exact, rel=1e-9)
