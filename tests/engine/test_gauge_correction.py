"""The gauge is corrected when an offset is proven and can be set, and left alone otherwise."""

import random
import statistics
from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from service.engine.gauge_correction import Measured, gauge_correction
from service.engine.machine import BackGauge

GAUGE = BackGauge(500, 100_000, step=1, accuracy=10)
COARSE = BackGauge(500, 100_000, step=10, accuracy=10)


def measured(*offs, at=30_000):
    return [Measured(at, at + off) for off in offs]


def codes(said):
    return [finding.code for finding in said.findings]


offsets = st.lists(st.integers(-200, 200), min_size=2, max_size=40)


@given(offsets, st.sampled_from([0.5, 0.9, 0.95, 0.99]))
def test_mean_spread_and_interval_agree_with_a_library(offs, confidence):
    said = gauge_correction(GAUGE, measured(*offs), confidence=confidence)
    assert said.count == len(offs)
    assert said.mean_mm == pytest.approx(statistics.mean(offs) / 100)
    spread = statistics.stdev(offs) / 100
    assert said.spread_mm == pytest.approx(spread, abs=1e-12)
    if spread:
        error = spread / len(offs) ** 0.5
        low, high = stats.t.interval(confidence, len(offs) - 1, loc=said.mean_mm, scale=error)
        assert (said.low_mm, said.high_mm) == (pytest.approx(low), pytest.approx(high))
    else:
        assert said.low_mm == said.high_mm == said.mean_mm


@given(offsets, st.sampled_from([GAUGE, COARSE]))
def test_a_correction_is_in_steps_of_the_gauge_and_leaves_less_than_half_a_step(offs, gauge):
    said = gauge_correction(gauge, measured(*offs))
    assert said.correction % gauge.step == 0
    if said.advice == "correct":
        assert said.correction != 0
        assert abs(100 * said.mean_mm + said.correction) <= gauge.step / 2 + 1e-9
        assert said.low_mm > 0 or said.high_mm < 0
        again = gauge_correction(gauge, measured(*(off + said.correction for off in offs)))
        assert again.advice != "correct"
    else:
        assert said.correction == 0


@pytest.mark.parametrize("off", [5, -5])
def test_half_a_step_is_left_as_it_is(off):
    """A correction of a whole step would leave half a step on the other side, and so on for ever."""
    assert gauge_correction(replace(GAUGE, step=10), measured(off, off, off)).advice != "correct"


@given(offsets)
def test_the_advice_does_not_hang_on_the_order_or_the_sign(offs):
    said = gauge_correction(GAUGE, measured(*offs))
    turned = gauge_correction(GAUGE, measured(*(-off for off in reversed(offs))))
    assert turned.advice == said.advice
    assert turned.correction == -said.correction


@pytest.mark.parametrize(
    ("offs", "gauge", "advice", "correction", "words"),
    [
        ((11, 13, 12, 14, 10), GAUGE, "correct", -12, "too deep"),
        ((-11, -13, -12, -14, -10), GAUGE, "correct", 12, "set the gauge 0.12 mm higher"),
        ((20, -18, 15, -21, 9), GAUGE, "leave", 0, "chance"),
        ((20, -10), GAUGE, "measure more", 0, "chance; measure 5 or more"),
        ((3, 4, 3, 4, 3), COARSE, "leave", 0, "less than half a step"),
        ((12, 13, 12, 14, 11), COARSE, "correct", -10, "0.1 mm lower"),
        ((7,), GAUGE, "measure more", 0, "one part"),
        ((0, 0, 0), GAUGE, "leave", 0, "nothing to set"),
        ((5, 5, 5), GAUGE, "correct", -5, "proven"),
    ],
)
def test_the_advice_in_words(offs, gauge, advice, correction, words):
    said = gauge_correction(gauge, measured(*offs))
    assert (said.advice, said.correction) == (advice, correction)
    assert words in said.why


def test_each_part_may_have_its_own_gauge_value():
    mixed = [Measured(10_000, 10_010), Measured(25_000, 25_012), Measured(60_000, 60_011)]
    assert gauge_correction(GAUGE, mixed).mean_mm == pytest.approx(0.11)


def test_capability_by_its_definition():
    # offsets 10, 12, 14: mean 0.12, s 0.02 mm; tolerance ±0.2: Cp = 0.4/0.12, Cpk = 0.08/0.06
    said = gauge_correction(GAUGE, measured(10, 12, 14), minus=20, plus=20)
    assert said.cp == pytest.approx(0.4 / 0.12)
    assert said.cpk == pytest.approx(0.08 / 0.06)
    assert said.correction == -12
    assert said.cpk_after == pytest.approx(0.2 / 0.06)


def test_a_one_sided_tolerance_is_off_centre_however_the_zero_is_set():
    said = gauge_correction(GAUGE, measured(0, 1, -1, 0, 1, -1), minus=0, plus=20)
    assert "off-centre" in codes(said)
    assert "not-capable" not in codes(said)


@given(offsets, st.integers(1, 100), st.integers(0, 100))
def test_cpk_is_at_most_cp(offs, minus, plus):
    said = gauge_correction(GAUGE, measured(*offs), minus=minus, plus=plus)
    if said.cp is None:
        assert said.spread_mm == 0
    else:
        assert said.cpk <= said.cp + 1e-12


def test_a_wide_spread_is_no_matter_of_the_zero():
    said = gauge_correction(GAUGE, measured(30, -5, 22, 2, 40, 18), minus=20, plus=20)
    assert {"gauge-spread", "not-capable", "parts-outside"} <= set(codes(said))
    # Two standard deviations count. s = 0.173 mm of six parts, and χ² of five degrees of freedom stays below
    # 11.07 (any table) with 95 %: σ is 0.173·√(5/11.07) = 0.116 mm at least, one of them alone.
    parts = measured(30, -5, 22, 2, 40, 18)
    for accuracy, found in ((22, True), (24, False)):
        said = gauge_correction(replace(GAUGE, accuracy=accuracy), parts)
        assert ("gauge-spread" in codes(said)) == found
    tight = gauge_correction(GAUGE, measured(1, 0, 1, 0, 1, 0), minus=20, plus=20)
    assert codes(tight) == []


def thrown(dice, sigma, count):
    return measured(*(round(dice.gauss(0, sigma)) for _ in range(count)), at=100_000)


@pytest.mark.parametrize("count", [3, 5, 10])
def test_a_gauge_that_is_as_good_as_stated_is_hardly_ever_called_worse(count):
    """Two deviations are just the accuracy, and Cp is just 1.33: so at most one in twenty is called out."""
    dice, found = random.Random(count), Counter()
    for _ in range(600):
        said = gauge_correction(
            replace(GAUGE, accuracy=1000), thrown(dice, 500, count), minus=1995, plus=1995
        )  # fmt: skip
        found.update(codes(said))
    # 600/20 = 30, and two and a half deviations, √(600·0.05·0.95) = 5.3 each, more
    assert found["gauge-spread"] <= 44
    assert found["not-capable"] <= 44
    assert found["off-centre"] <= 44


def test_a_gauge_three_times_worse_than_stated_is_mostly_found_with_ten_parts():
    dice, found = random.Random(7), Counter()
    for _ in range(200):
        said = gauge_correction(
            replace(GAUGE, accuracy=1000), thrown(dice, 1500, 10), minus=1995, plus=1995
        )  # fmt: skip
        found.update(codes(said))
    assert found["gauge-spread"] > 180
    assert found["not-capable"] > 180


def test_what_few_parts_leave_open_is_a_note():
    """s = 2.0 of three parts, ±7: Cp 1.17; σ may be 2·√(2/5.99) = 1.16 as well, and Cp 2.0."""
    said = gauge_correction(GAUGE, measured(-2, 0, 2), minus=7, plus=7)
    assert said.cp == pytest.approx(7 / 6)
    told = [one for one in said.findings if one.code == "capability-open"]
    assert [one.level for one in told] == ["note"]
    assert not {"not-capable", "off-centre"} & set(codes(said))


def test_one_part_far_outside_its_tolerance_is_said_to_be():
    said = gauge_correction(GAUGE, measured(500), minus=50, plus=50)
    assert said.advice == "measure more"
    assert [(one.level, one.code) for one in said.findings] == [("caution", "parts-outside")]
    assert "the measured part is outside" in said.findings[0].message
    assert codes(gauge_correction(GAUGE, measured(50), minus=50, plus=50)) == []
    assert codes(gauge_correction(GAUGE, measured(500))) == []


@pytest.mark.parametrize(
    ("parts", "more", "words"),
    [
        ([], {}, "at least one"),
        ([Measured(0, 10)], {}, "greater than zero"),
        ([Measured(10, -1)], {}, "greater than zero"),
        (measured(1, 2), {"minus": 5}, "go together"),
        (measured(1, 2), {"minus": 0, "plus": 0}, "not both 0"),
        (measured(1, 2), {"minus": -1, "plus": 5}, "0 or more"),
        (measured(1, 2), {"confidence": 1.0}, "confidence"),
    ],
)
def test_what_cannot_be_reckoned_is_refused(parts, more, words):
    with pytest.raises(ValueError, match=words):
        gauge_correction(GAUGE, parts, **more)


def scaled(*values, offs):
    return [Measured(value, value + off) for value, off in zip(values, offs, strict=True)]


def test_an_error_that_grows_with_the_value_is_not_the_zero():
    """The foreman's five: 100.1, 300.3, 500.5, 700.7, 900.9, one millimetre in a thousand."""
    said = gauge_correction(
        GAUGE, scaled(10_000, 30_000, 50_000, 70_000, 90_000, offs=(10, 30, 50, 70, 90)), minus=80, plus=80
    )
    assert (said.advice, said.correction) == ("look first", 0)
    assert said.slope_mm_m == pytest.approx(1.0)
    assert said.slope_half_mm_m == 0
    assert "by 1 mm a metre" in said.why
    assert "not the zero" in said.why
    assert "gauge-scale" in codes(said)
    # On the line itself nothing is spread, and the tolerance is no matter of the middle.
    assert not {"gauge-spread", "off-centre"} & set(codes(said))


def test_a_proven_offset_of_parts_that_spread_too_widely_is_looked_at_first():
    said = gauge_correction(GAUGE, measured(30, 46, 26, 49, 33, 28))
    assert said.low_mm > 0
    assert (said.advice, said.correction) == ("look first", 0)
    assert "gauge-spread" in codes(said)


def test_an_offset_that_is_the_same_everywhere_is_the_zero():
    said = gauge_correction(
        GAUGE, scaled(10_000, 30_000, 50_000, 70_000, 90_000, offs=(12, 11, 13, 12, 12))
    )  # fmt: skip
    assert (said.advice, said.correction) == ("correct", -12)


points = st.lists(
    st.tuples(st.integers(1000, 100_000), st.integers(-200, 200)), min_size=3, max_size=20
).filter(lambda found: all(len(set(column)) > 1 for column in zip(*found, strict=True)))


@given(points)
def test_the_slope_agrees_with_a_library(found):
    said = gauge_correction(GAUGE, [Measured(value, value + off) for value, off in found])
    line = stats.linregress([value for value, _ in found], [off for _, off in found])
    assert said.slope_mm_m == pytest.approx(1000 * line.slope, abs=1e-6)
    half = stats.t.ppf(0.975, len(found) - 2) * line.stderr
    assert said.slope_half_mm_m == pytest.approx(1000 * half, rel=1e-4, abs=1e-3)
    if "gauge-scale" in codes(said):
        assert said.correction == 0
    assert not (said.advice == "correct" and "gauge-spread" in codes(said))


def test_inches_are_told_where_they_are_wanted():
    told = gauge_correction(GAUGE, measured(127, 127, 127), inches=True)
    assert "1.27 mm (0.0500 in) lower" in told.why
    assert " in)" not in gauge_correction(GAUGE, measured(127, 127, 127)).why
