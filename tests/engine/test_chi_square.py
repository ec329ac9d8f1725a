"""χ² against a general library, and against what is known of it without one."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from service.engine.chi_square import MANY, chi_square_probability, chi_square_quantile
from service.engine.student import student_quantile


@given(st.floats(0, 300), st.integers(1, 200))
def test_the_sums_agree_with_a_library(value, freedom):
    assert chi_square_probability(value, freedom) == pytest.approx(stats.chi2.cdf(value, freedom), abs=1e-12)


@given(st.floats(0.01, 0.9999), st.integers(1, MANY))
def test_the_quantile_agrees_with_a_library_and_is_the_inverse(probability, freedom):
    found = chi_square_quantile(probability, freedom)
    assert found == pytest.approx(stats.chi2.ppf(probability, freedom), rel=1e-9)
    assert chi_square_probability(found, freedom) == pytest.approx(probability, abs=1e-12)


@given(st.floats(0.01, 0.9999), st.integers(MANY + 1, 20_000))
def test_of_many_the_approximation_is_near_enough(probability, freedom):
    found = chi_square_quantile(probability, freedom)
    assert found == pytest.approx(stats.chi2.ppf(probability, freedom), rel=3e-5)


def test_two_degrees_are_the_exponential_distribution_and_one_the_square_of_the_normal():
    assert chi_square_probability(3.0, 2) == pytest.approx(1 - math.exp(-1.5))
    assert chi_square_quantile(0.95, 1) == pytest.approx(1.959964**2, abs=1e-5)
    assert chi_square_quantile(0.95, 1) == pytest.approx(student_quantile(0.95, 10**5) ** 2, rel=1e-4)


@pytest.mark.parametrize("probability", [0, 1, -0.1, 2, float("nan")])
def test_a_probability_that_is_none_is_refused(probability):
    with pytest.raises(ValueError, match="probability"):
        chi_square_quantile(probability, 4)


@pytest.mark.parametrize("freedom", [0, MANY + 1])
def test_degrees_of_freedom_beyond_the_sums_are_refused(freedom):
    with pytest.raises(ValueError, match="freedom"):
        chi_square_probability(1, freedom)
