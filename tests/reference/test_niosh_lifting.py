"""Revised NIOSH lifting equation of 1991, metric: factor tables as printed by a Canadian occupational
health centre and a US training page (horizontal, vertical, distance, asymmetry); the frequency and
coupling tables are those of NIOSH publication 94-110, from memory.

Published values: 39. Tolerance: ±0.006, since the printed tables round to two digits and cut some values
off instead; none for frequency, coupling and reach, which are tables here too.
"""

import pytest

from service.engine.lifting import (
    Lifted,
    asymmetry_multiplier,
    check_lift,
    coupling_multiplier,
    distance_multiplier,
    frequency_multiplier,
    horizontal_multiplier,
    reach_cm,
    vertical_multiplier,
)


@pytest.mark.parametrize(("cm", "factor"), [(25, 1.0), (30, 0.83), (40, 0.63), (50, 0.50), (60, 0.42)])
def test_the_horizontal_factor(cm, factor):
    assert horizontal_multiplier(cm) == pytest.approx(factor, abs=0.006)


@pytest.mark.parametrize(
    ("cm", "factor"),
    [(0, 0.78), (30, 0.87), (50, 0.93), (70, 0.99), (100, 0.93), (150, 0.78), (175, 0.70)],
)
def test_the_vertical_factor(cm, factor):
    assert vertical_multiplier(cm) == pytest.approx(factor, abs=0.006)


@pytest.mark.parametrize(("cm", "factor"), [(40, 0.93), (55, 0.90), (100, 0.87), (145, 0.85)])
def test_the_distance_factor(cm, factor):
    assert distance_multiplier(cm) == pytest.approx(factor, abs=0.006)


@pytest.mark.parametrize(("deg", "factor"), [(30, 0.90), (45, 0.86), (60, 0.81), (90, 0.71)])
def test_the_asymmetry_factor(deg, factor):
    assert asymmetry_multiplier(deg) == pytest.approx(factor, abs=0.006)


def test_the_ends_of_the_factors():
    assert horizontal_multiplier(63) > 0 == horizontal_multiplier(63.1)
    assert vertical_multiplier(175) > 0 == vertical_multiplier(175.1)
    assert distance_multiplier(175) > 0 == distance_multiplier(175.1)
    assert asymmetry_multiplier(135) > 0 == asymmetry_multiplier(135.1)
    assert horizontal_multiplier(10) == distance_multiplier(10) == 1.0


@pytest.mark.parametrize(
    ("lifts", "duration", "vertical", "factor"),
    # Publication 94-110, table 5, from memory.
    [
        (0.2, "1 hour", 30, 1.00),
        (0.2, "8 hours", 30, 0.85),
        (1, "2 hours", 80, 0.88),
        (5, "1 hour", 80, 0.80),
        (5, "8 hours", 80, 0.35),
        (9, "8 hours", 74, 0.00),
        (9, "8 hours", 75, 0.15),
        (12, "2 hours", 75, 0.21),
        (12, "2 hours", 74, 0.00),
        (15, "1 hour", 75, 0.28),
        (16, "1 hour", 75, 0.00),
    ],
)
def test_the_frequency_factor(lifts, duration, vertical, factor):
    assert frequency_multiplier(lifts, duration, vertical) == factor


def test_the_coupling_factor():
    # Publication 94-110, table 7, from memory.
    found = [coupling_multiplier(name, v) for name in ("good", "fair", "poor") for v in (50, 75)]
    assert found == [1.0, 1.0, 0.95, 1.0, 0.90, 0.90]


def test_a_worked_lift():
    # By hand: 23 · 25/40 · 1 · 1 = 14.375 kg.
    check = check_lift(14.375, Lifted(40, 75, 25, coupling="good"))
    assert check.limit_kg == pytest.approx(14.375)
    assert check.finding.level == "note"
    assert "permits nothing" in check.finding.message


def test_a_wide_sheet_is_far_from_the_ankles():
    # Publication 94-110: H = 20 + W/2 from a height of 25 cm, 25 + W/2 below; from memory.
    assert reach_cm(60_000, 75) == 50
    assert reach_cm(60_000, 20) == 55


def test_what_is_said_follows_the_index():
    lift = Lifted(40, coupling="good")
    levels = [check_lift(kg, lift).finding.level for kg in (14.37, 14.4, 43.1, 43.2)]
    assert levels == ["note", "caution", "caution", "stop"]
    beyond = check_lift(1.0, Lifted(70))
    assert (beyond.limit_kg, beyond.index, beyond.finding.level) == (0, None, "stop")


@pytest.mark.parametrize("wrong", [(0, 40), (float("nan"), 40), (5, -1)])
def test_a_lift_that_cannot_be_is_refused(wrong):
    with pytest.raises(ValueError, match=r"mass|horizontal"):
        check_lift(wrong[0], Lifted(wrong[1]))
