"""Student's t against printed tables and a general library."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from service.engine.student import student_probability, student_quantile


@given(st.floats(0, 400), st.integers(1, 200))
def test_the_sums_agree_with_a_library(t, freedom):
    # Near nothing the library is off by some 3e-11 itself: for one degree of freedom 2/π·arctan t is exact.
    assert student_probability(t, freedom) == pytest.approx(2 * stats.t.cdf(t, freedom) - 1, abs=1e-10)


@given(st.floats(0.01, 0.9999), st.integers(1, 200))
def test_the_quantile_agrees_with_a_library_and_is_the_inverse(confidence, freedom):
    t = student_quantile(confidence, freedom)
    assert t == pytest.approx(stats.t.ppf((1 + confidence) / 2, freedom), rel=1e-9)
    assert student_probability(t, freedom) == pytest.approx(confidence, abs=1e-12)


def test_one_degree_of_freedom_is_the_arc_tangent():
    assert student_probability(1.0, 1) == pytest.approx(0.5)
    assert student_quantile(0.5, 1) == pytest.approx(1.0)


def test_many_degrees_of_freedom_become_the_normal_distribution():
    assert student_quantile(0.95, 100_001) == pytest.approx(1.959964, abs=1e-4)
    assert student_probability(1.0, 100_000) == pytest.approx(math.erf(1 / math.sqrt(2)), abs=1e-5)


@pytest.mark.parametrize("confidence", [0, 1, -0.1, 2, float("nan")])
def test_a_confidence_that_is_none_is_refused(confidence):
    with pytest.raises(ValueError, match="confidence"):
        student_quantile(confidence, 4)


def test_no_degree_of_freedom_is_refused():
    with pytest.raises(ValueError, match="freedom"):
        student_probability(1, 0)
