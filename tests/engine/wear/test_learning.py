"""What measurements of an edge teach: laws of the update, and the interval of the forecast."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.wear.edge import estimate
from service.engine.wear.learn import (
    BURR_SIGMA,
    PRIOR_SIGMA,
    RADIUS_SIGMA,
    Measure,
    WearRate,
    by_burr,
    by_radius,
    governing,
    learn,
    widened,
)
from service.engine.wear.seen import seen_burr, seen_radius
from tests.engine.test_wear import cut, shear

measures = st.builds(
    Measure,
    st.floats(0.02, 1.5),
    st.floats(0, 2.5),
    st.sampled_from([RADIUS_SIGMA, BURR_SIGMA]),
    st.sampled_from([None, None, "upper", "lower"]),
)
logs = st.lists(measures, min_size=1, max_size=8)


@settings(max_examples=100, deadline=None)
@given(logs, st.randoms(use_true_random=False))
def test_the_order_of_measurements_changes_nothing(log, random):
    shuffled = list(log)
    random.shuffle(shuffled)
    assert learn(shuffled) == learn(log)


@settings(max_examples=100, deadline=None)
@given(logs, measures)
def test_every_measurement_narrows_the_interval(log, one_more):
    assert learn([*log, one_more]).sigma < learn(log).sigma < PRIOR_SIGMA


@settings(max_examples=100, deadline=None)
@given(logs)
def test_the_rate_learnt_lies_between_what_was_thought_and_what_was_measured(log):
    told = [one.measured / one.estimated for one in log]
    rate = learn(log).mean
    assert min(1.0, *told) - 1e-9 <= rate <= max(1.0, *told) + 1e-9


@settings(max_examples=60, deadline=None)
@given(logs, logs)
def test_learning_in_two_goes_is_learning_at_once(first, second):
    at_once, in_two = learn([*first, *second]), learn(second, learn(first))
    assert (in_two.mean, in_two.sigma) == pytest.approx((at_once.mean, at_once.sigma))
    assert in_two.measurements == at_once.measurements


def test_one_measurement_by_hand():
    # 1/0.3² = 11.111; (0.5/0.1)² = 25; mean (11.111 + 25·0.8)/36.111; σ = 36.111^−½.
    rate = learn([by_radius(0.5, 60.0)])
    assert rate.mean == pytest.approx(0.86154, abs=1e-5)
    assert rate.sigma == pytest.approx(0.16641, abs=1e-5)


def test_a_fresh_edge_teaches_nothing_and_many_measurements_win():
    assert learn([Measure(0.0, 0.3, RADIUS_SIGMA)]).mean == 1.0
    many = learn([Measure(0.8, 1.2, RADIUS_SIGMA)] * 200)
    assert many.mean == pytest.approx(1.5, abs=0.01)
    assert many.sigma < 0.01


def test_a_burr_of_a_tenth_of_the_thickness_is_a_worn_edge():
    assert by_burr(0.5, 300, 0.3).measured == pytest.approx(1.0)
    assert by_burr(0.5, 300, 0.0).measured == 0.0
    assert by_burr(0.5, 300, 0.3).sigma > by_radius(0.5, 150.0).sigma


def test_the_blade_that_wears_faster_decides():
    slow, fast = Measure(0.5, 0.4, 0.1, "upper"), Measure(0.5, 0.7, 0.1, "lower")
    rate = governing([slow, fast])
    assert rate.half == "lower"
    assert rate.mean == learn([fast]).mean
    both = Measure(0.5, 0.5, 0.25)
    assert governing([both]).half is None
    # What was seen on the piece counts for both blades.
    assert governing([slow, fast, both]).measurements == 2
    assert governing([]) == WearRate()


def test_a_measured_edge_moves_the_forecast_and_narrows_it():
    machine = shear(edge_life_m=3000.0)
    log = [cut(strokes=1000)]  # 500 of 1000 passes
    before = estimate(machine, log, days=100)
    agreeing = estimate(machine, log, days=100, rate=learn([by_radius(0.5, 75.0)]))
    assert agreeing.days_left == pytest.approx(before.days_left)
    assert before.days_left_low < agreeing.days_left_low < agreeing.days_left
    assert agreeing.days_left < agreeing.days_left_high < before.days_left_high
    worn = estimate(machine, log, days=100, rate=learn([by_radius(0.5, 120.0)]))
    assert worn.share_used > before.share_used
    assert worn.days_left < before.days_left
    assert worn.blade_days_left < before.blade_days_left
    assert "1 measurement" in worn.findings[-1].message
    assert "shop default" in worn.findings[-1].basis


def test_a_rate_that_cannot_be_told_from_nothing_has_no_upper_end():
    machine = shear(edge_life_m=3000.0)
    vague = estimate(machine, [cut(strokes=1000)], days=100, rate=WearRate(0.5, 0.3, 1))
    assert vague.rate.low == 0
    assert vague.days_left_high is None
    assert vague.days_left_low < vague.days_left


def test_one_measurement_that_contradicts_the_estimate_leaves_the_rate_wide_open():
    """400 µm where the estimate says 0.6: χ² of prior and measurement by hand, one degree of freedom.

    mean = (1/0.09 + 0.6·2.6667/0.01)/(1/0.09 + 36) = 171.11/47.111 = 3.6321, σ = 0.14569;
    χ² = (2.6321/0.3)² + ((3.6321·0.6 − 2.6667)/0.1)² = 76.98 + 23.76 = 100.73, and √100.73 = 10.04.
    """
    log = [by_radius(0.6, 400.0)]
    rate = governing(log)
    assert rate.mean == pytest.approx(3.6321, abs=1e-3)
    assert rate.stretch == pytest.approx(10.04, abs=0.01)
    assert rate.sigma == pytest.approx(0.14569 * rate.stretch, rel=1e-3)
    told = estimate(shear(edge_life_m=3000.0), [cut(strokes=1000)], days=100, rate=rate)
    assert "measurements-disagree" in [one.code for one in told.findings if one.level == "caution"]


@settings(max_examples=100, deadline=None)
@given(logs)
def test_an_interval_is_widened_and_never_narrowed(log):
    plain, wide = learn(log), widened(learn(log), log)
    assert wide.mean == plain.mean
    assert wide.stretch >= 1
    assert wide.sigma == pytest.approx(plain.sigma * wide.stretch)
    agreeing = [Measure(one.estimated, one.estimated, one.sigma) for one in log]
    assert widened(learn(agreeing), agreeing).stretch == 1


def test_a_burr_on_a_fresh_edge_is_no_wear():
    """The foreman's: 500 strokes, 1 % of the life, three burrs of 0.30 on 3 mm, a tenth of the thickness."""
    seen = seen_burr(0.01, 300, 0.30)
    assert seen.measures == ()
    assert [one.code for one in seen.findings] == ["burr-not-wear"]
    assert "blade gap" in seen.findings[0].message
    # With the life nearly used it is what wear leaves.
    worn = seen_burr(0.9, 300, 0.30)
    assert (len(worn.measures), worn.findings) == (1, ())


def test_a_burr_above_its_limit_is_said_whatever_the_estimate_says():
    seen = seen_burr(0.91, 300, 0.40)
    assert len(seen.measures) == 1
    assert [(one.level, one.code) for one in seen.findings] == [("caution", "burr-high")]


def test_what_cannot_be_meant_teaches_nothing():
    for seen in (seen_radius(0.5, 0.12), seen_radius(0.5, 40_000.0), seen_burr(0.5, 300, 3.01)):
        assert seen.measures == ()
        assert seen.findings[0].level == "caution"
    assert seen_radius(0.5, 1000.0).findings == seen_radius(0.5, 1.0).findings == ()


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: by_radius(0.5, 0.0), "radius"),
        (lambda: by_radius(-0.1, 50.0), "share used"),
        (lambda: by_burr(0.5, 0, 0.1), "thickness"),
        (lambda: by_burr(0.5, 300, float("nan")), "burr"),
        (lambda: by_burr(float("inf"), 300, 0.1), "share used: inf"),
    ],
)
def test_a_measurement_that_cannot_be_is_refused(call, says):
    with pytest.raises(ValueError, match=says):
        call()
