"""Tolerances: classes by size, and the order's own limits before them."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.machine import BackGauge
from service.engine.order import Tolerance
from service.engine.tolerance import allowed_deviation, class_deviation

classes = st.sampled_from(["f", "m", "c", "v"])


@settings(max_examples=100, deadline=None)
@given(classes, st.integers(1, 500_000), st.integers(0, 100_000))
def test_a_larger_size_never_has_a_finer_tolerance_within_a_class(name, size, more):
    assert class_deviation(name, size + more) >= class_deviation(name, size)


@settings(max_examples=100, deadline=None)
@given(st.integers(50, 400_000))
def test_a_coarser_class_is_never_finer(size):
    fine, medium, coarse, very = (class_deviation(name, size) for name in ("f", "m", "c", "v"))
    assert fine <= medium <= coarse <= very


@pytest.mark.parametrize(
    ("size", "deviation"), [(3000, 20), (3001, 30), (12_000, 30), (12_001, 50), (100_000, 80), (100_001, 120)]
)
def test_ranges_are_over_the_lower_end_up_to_and_including_the_upper(size, deviation):
    assert class_deviation("m", size) == deviation


def test_where_a_class_states_nothing_its_nearest_range_holds():
    assert class_deviation("v", 200) == class_deviation("v", 500) == 50
    assert class_deviation("f", 300_000) == class_deviation("f", 200_000) == 50
    assert class_deviation("c", 900_000) == class_deviation("c", 400_000)


@pytest.mark.parametrize(
    ("tolerance", "allowed"),
    [
        (Tolerance("m"), 80),
        (Tolerance("m", minus=10, plus=30), 10),
        (Tolerance("m", minus=40, plus=30), 30),
        (Tolerance("c", minus=5), 5),
        (Tolerance("c", plus=0), 0),
    ],
)
def test_the_orders_own_limits_come_before_the_class_and_the_finer_one_rules(tolerance, allowed):
    assert allowed_deviation(tolerance, 50_000) == allowed


def test_a_back_gauge_repeats_to_a_tenth_unless_its_profile_says_otherwise():
    # common practice, no source: back gauges repeat to ±0.1 mm
    gauge = BackGauge(500, 100_000)
    assert gauge.accuracy == 10
    assert gauge.accuracy <= class_deviation("m", 50)
