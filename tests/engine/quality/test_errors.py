"""The sum of independent errors: its chance to lie inside limits, against tables and a second opinion."""

import math
import random
from itertools import combinations

import mpmath
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from service.engine.quality.errors import Errors, accurate, chance_inside, evenly, of_many

limits = st.integers(0, 3000)
errors = st.builds(
    lambda shift, squares, spans: Errors(shift, squares, tuple(sorted(spans))),
    st.integers(-200, 200),
    st.integers(0, 40_000),
    st.lists(st.tuples(st.integers(-500, 0), st.integers(1, 2000)), max_size=3),
)


@pytest.mark.parametrize(
    ("limit", "inside"),
    # Areas of the standard normal within ±z, printed in any table of it: 0.6827, 0.9545, 0.9973.
    [(5, 0.6827), (10, 0.9545), (15, 0.9973)],
)
def test_an_accuracy_is_two_standard_deviations(limit, inside):
    assert chance_inside(accurate(10), limit, limit) == pytest.approx(inside, abs=5e-5)


def test_stock_over_size_is_evenly_spread():
    assert chance_inside(evenly(0, 2000), 0, 500) == 0.25
    assert chance_inside(evenly(0, 2000), 500, 2000) == 1.0
    assert chance_inside(evenly(0, 0), 0, 0) == 1.0


def test_two_equal_even_errors_make_a_triangle():
    # Half of a triangle's area lies beyond (1 − 1/√2) of its base half on one side.
    both = evenly(0, 100).plus(evenly(0, 100))
    assert chance_inside(both, 0, 100) == pytest.approx(0.5)
    assert chance_inside(both, 0, 50) == pytest.approx(1 / 8)


def test_a_known_shift_eats_the_limits_on_one_side():
    assert chance_inside(accurate(10, 10), 10, 10) == pytest.approx(0.5, abs=1e-4)
    assert chance_inside(accurate(0, 7), 0, 7) == 1.0
    assert chance_inside(accurate(0, 8), 0, 7) == 0.0


@settings(max_examples=100, deadline=None)
@given(errors, limits, limits)
def test_a_chance_is_a_chance_and_grows_with_the_limits(found, minus, plus):
    here = chance_inside(found, minus, plus)
    assert 0 <= here <= 1
    assert here <= chance_inside(found, minus + 100, plus + 100) + 1e-6


@settings(max_examples=100, deadline=None)
@given(errors, errors, limits, limits)
def test_errors_add_up_in_any_order_and_mirror(one, other, minus, plus):
    assert one.plus(other) == other.plus(one)
    turned = Errors().less(one)
    assert chance_inside(one, minus, plus) == pytest.approx(chance_inside(turned, plus, minus), abs=2e-6)


@settings(max_examples=15, deadline=None)
@given(errors, st.integers(50, 2000), st.integers(50, 2000), st.integers(0, 1000))
def test_the_closed_form_is_what_throwing_dice_gives(found, minus, plus, number):
    dice = random.Random(number)
    sigma = math.sqrt(found.squares) / 2
    throws = 4000
    inside = 0
    for _ in range(throws):
        value = found.shift + dice.gauss(0, sigma) + sum(dice.uniform(*span) for span in found.spans)
        inside += -minus <= value <= plus
    assert chance_inside(found, minus, plus) == pytest.approx(inside / throws, abs=0.04)


def in_fifty_digits(found, minus, plus):
    """The closed form as it stands, with enough digits for the differences of its terms."""
    with mpmath.workdps(50):
        sigma = mpmath.sqrt(found.squares) / 2
        widths = [high - low for low, high in found.spans]
        start = found.shift + sum(low for low, _ in found.spans)

        def integral(times, x):
            z = x / sigma
            before, now = mpmath.npdf(z), mpmath.ncdf(z)
            for n in range(1, times + 1):
                before, now = now, (z * now + before) / n
            return now * sigma**times

        def below(x):
            return sum(
                (-1) ** size * integral(len(widths), x - sum(some))
                for size in range(len(widths) + 1)
                for some in combinations(widths, size)
            ) / mpmath.fprod(widths)

        return float(below(plus - start) - below(-minus - start))


@settings(max_examples=60, deadline=None)
@given(
    st.integers(-200, 200),
    st.integers(1, 300),
    st.lists(st.sampled_from([1, 2, 5, 20, 100, 2000]), min_size=1, max_size=6),
    st.integers(0, 3000),
    st.integers(0, 3000),
)
@example(0, 100, [1] * 6, 100, 100)
@example(0, 300, [1] * 6, 100, 900)
@example(0, 300, [1] * 5, 50, 70)
@example(0, 80, [10] * 6, 40, 90)
def test_many_narrow_errors_lose_no_digits(shift, accuracy, widths, minus, plus):
    found = Errors(shift, accuracy**2, tuple((0, width) for width in sorted(widths)))
    assert chance_inside(found, minus, plus) == pytest.approx(in_fifty_digits(found, minus, plus), abs=1e-5)


def test_even_errors_alone_are_exact():
    # Six of them from 0 to 1: 1/6! of the cube of side 1 lies below a sum of 1.
    narrow = Errors(0, 0, ((0, 1),) * 6 + ((0, 200_000),))
    assert chance_inside(narrow, 0, 100_003) == pytest.approx(0.5, abs=1e-6)
    assert chance_inside(Errors(0, 0, ((0, 1),) * 6), 0, 1) == round(1 / 720, 6)


def test_of_many_parts_some_are_outside_though_each_is_likely_inside():
    """Bernoulli trials: of n about n(1 − p) fail, and all succeed with pⁿ; 0.9545²⁴ by logarithms.

    24·ln 0.9545 = 24·(−0.0465676) = −1.117623, e^−1.117623 = 0.32706 (by hand, four figures).
    """
    outside, whole = of_many([(0.9545, 24)])
    assert outside == pytest.approx(24 * 0.0455)
    assert whole == pytest.approx(0.3271, abs=1e-4)


@given(st.lists(st.tuples(st.floats(0, 1), st.integers(1, 500)), min_size=1, max_size=5))
def test_all_are_no_likelier_than_the_worst(found):
    outside, whole = of_many(found)
    count, worst = sum(number for _, number in found), min(chance for chance, _ in found)
    assert worst**count - 1e-5 <= whole <= worst + 1e-5
    assert 1 - worst - 1e-5 <= outside <= count * (1 - worst) + 1e-5
