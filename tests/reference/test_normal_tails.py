"""Areas of the standard normal distribution as printed in any table of it, and scipy as a second opinion.

The table values are standard (for example NIST/SEMATECH e-Handbook, 1.3.6.7.1); typed from memory.

Published values: 9. Tolerance: half of the last digit printed, and of the last one kept here.
"""

from statistics import NormalDist

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.quality.errors import Errors, accurate, chance_inside


@pytest.mark.parametrize(
    ("z", "below"),
    [
        (0.0, 0.5),
        (0.5, 0.69146),
        (1.0, 0.84134),
        (1.28, 0.89973),
        (1.645, 0.95002),
        (1.96, 0.97500),
        (2.0, 0.97725),
        (2.576, 0.99500),
        (3.0, 0.99865),
    ],
)
def test_one_tail_of_the_normal_distribution(z, below):
    # An accuracy of ±2000 is a deviation of 1000; the other limit is out of the way.
    assert chance_inside(accurate(2000), 10**7, round(1000 * z)) == pytest.approx(below, abs=6e-6)


cases = st.tuples(
    st.integers(1, 200), st.integers(1, 2000), st.integers(0, 500), st.integers(0, 500), st.integers(-50, 50)
)


@settings(max_examples=40, deadline=None)
@given(cases)
def test_normal_plus_even_is_what_summing_normal_areas_gives(case):
    accuracy, oversize, minus, plus, shift = case
    normal = NormalDist(0, accuracy / 2)
    steps = 40_000 // accuracy + 2000
    total = 0.0
    for step in range(steps):
        centre = shift + oversize * (step + 0.5) / steps
        total += normal.cdf(plus - centre) - normal.cdf(-minus - centre)
    found = chance_inside(Errors(shift, accuracy**2, ((0, oversize),)), minus, plus)
    assert found == pytest.approx(total / steps, abs=2e-4)


@settings(max_examples=40, deadline=None)
@given(cases)
def test_normal_plus_even_is_what_scipy_integrates(case):
    integrate = pytest.importorskip("scipy.integrate", reason="scipy is the second opinion here")
    stats = pytest.importorskip("scipy.stats")
    accuracy, oversize, minus, plus, shift = case
    sigma = accuracy / 2

    def inside_at(over):
        centre = shift + over
        return stats.norm.cdf((plus - centre) / sigma) - stats.norm.cdf((-minus - centre) / sigma)

    # Broken where the limits cut the normal curve, or a narrow strip between them would be missed.
    breaks = {limit - shift + side for limit in (plus, -minus) for side in (-8 * sigma, 0, 8 * sigma)}
    points = sorted(point for point in breaks if 0 < point < oversize)
    area = integrate.quad(inside_at, 0, oversize, points=points or None, limit=500)[0]
    found = chance_inside(Errors(shift, accuracy**2, ((0, oversize),)), minus, plus)
    assert found == pytest.approx(area / oversize, abs=5e-6)


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 300), st.lists(st.integers(1, 400), min_size=2, max_size=4), st.integers(1, 800))
def test_several_even_errors_are_what_a_convolution_on_a_grid_gives(accuracy, widths, limit):
    np = pytest.importorskip("numpy", reason="numpy is the second opinion here")
    stats = pytest.importorskip("scipy.stats")
    # Each even error on a fine grid, convolved; then the normal one taken over the whole.
    parts = 16
    density = np.ones(1)
    start = 0.0
    for width in widths:
        count = width * parts
        density = np.convolve(density, np.full(count, 1 / count))
        start += 0.5 / parts
    places = start + np.arange(len(density)) / parts
    expected = float(np.sum(density * stats.norm.cdf((limit - places) / (accuracy / 2))))
    expected -= float(np.sum(density * stats.norm.cdf((-limit - places) / (accuracy / 2))))
    found = chance_inside(Errors(0, accuracy**2, tuple((0, width) for width in sorted(widths))), limit, limit)
    assert found == pytest.approx(expected, abs=2e-3)
