"""Tolerances: classes by size, and the order's own limits before them."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.machine import BackGauge
from service.engine.order import Tolerance
from service.engine.tolerance import aim_of, allowed_deviation, class_deviation

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
        (Tolerance("m", minus=10, plus=10), 10),
        (Tolerance("m", minus=40, plus=30), 30),
        (Tolerance("c", minus=5), 5),
        (Tolerance("c", plus=0), 0),
    ],
)
def test_the_orders_own_limits_come_before_the_class_and_the_finer_one_rules(tolerance, allowed):
    assert allowed_deviation(tolerance, 50_000) == allowed


@pytest.mark.parametrize(
    # Class f of ISO 2768-1:1989, table 1, allows ±0.3 over 400 up to 1000 mm.
    ("minus", "plus", "aim", "deviation"),
    [
        (50, 0, 49_975, 25),
        (0, 50, 50_025, 25),
        (0, 500, 50_030, 30),
        (500, 0, 49_970, 30),
        (10, 30, 50_010, 20),
        (30, 90, 50_000, 30),
        (0, 5, 50_002, 2),
        (20, 20, 50_000, 20),
    ],
)
def test_limits_that_differ_are_cut_for_a_size_further_inside(minus, plus, aim, deviation):
    tolerance = Tolerance("m", minus=minus, plus=plus)
    assert aim_of(tolerance, 50_000) == aim
    assert allowed_deviation(tolerance, 50_000) == deviation


@settings(max_examples=200, deadline=None)
@given(st.integers(1000, 400_000), st.integers(0, 999), st.integers(0, 999))
def test_what_is_cut_for_lies_within_the_limits_and_is_never_harder_to_hold_than_the_nominal_size(
    size, minus, plus
):
    tolerance = Tolerance(minus=minus, plus=plus)
    aim = aim_of(tolerance, size)
    assert size - minus <= aim <= size + plus
    assert min(minus, plus) <= allowed_deviation(tolerance, size) <= (minus + plus) / 2


def test_a_back_gauge_repeats_to_a_tenth_unless_its_profile_says_otherwise():
    # common practice, no source: back gauges repeat to ±0.1 mm
    gauge = BackGauge(500, 100_000)
    assert gauge.accuracy == 10
    assert gauge.accuracy <= class_deviation("m", 50)
