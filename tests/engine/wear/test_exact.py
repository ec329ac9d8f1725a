"""Weights along the blade, added up by coming and going, are what each place adds up to by itself."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.engine.wear.edge import Band, EdgeUse, UseSoFar, edge_use
from service.engine.wear.exact import layered
from service.engine.wear.history import Cutting, Measuring, told
from service.engine.wear.spread import MOST_BANDS, best_spread
from tests.engine.test_wear import cut, shear, wear_cuts
from tests.engine.wear.test_history_and_spread import at

PLACES = st.integers(1, 40)
WEIGHTS = st.floats(1e-9, 1e9) | st.sampled_from([0.0, 0.1, 0.2, 1e300, 5e-324])
SPANS = st.lists(
    st.tuples(st.integers(0, 50), st.integers(1, 30), WEIGHTS).map(
        lambda one: (one[0], one[0] + one[1], one[2])
    ),
    max_size=30,
)


@given(spans=SPANS)
def test_every_place_has_the_exact_sum_rounded_once(spans):
    ends = sorted({0, 100, *(place for start, end, _ in spans for place in (start, end))})
    assert layered(spans, also=(0, 100)) == [
        (low, high, math.fsum(weight for start, end, weight in spans if start <= low and high <= end))
        for low, high in pairwise(ends)
    ]


@given(cuts=wear_cuts)
def test_an_edge_may_be_asked_at_any_time(cuts):
    so_far = UseSoFar(shear())
    for number, one in enumerate(cuts, 1):
        so_far.add([one])
        assert so_far.use() == edge_use(shear(), cuts[:number])


def test_measurements_between_cuts_see_what_was_cut_before_them():
    machine = shear(edge_life_m=3000.0)
    happenings = []
    for hour in range(5):
        happenings += [
            Cutting(at(2 * hour), cut(100_000, strokes=200), 1 + hour % 2),
            Measuring(at(2 * hour + 1), edge=1, radius_um=10.0),
            Measuring(at(2 * hour + 1), edge=2, radius_um=10.0),
        ]
    shares = [one.estimated for one in told(machine, 1, happenings).measures]
    assert shares == pytest.approx([0.1, 0, 0.1, 0.1, 0.2, 0.1, 0.2, 0.2, 0.3, 0.2])


def test_a_blade_with_thousands_of_lengths_is_advised_on_the_careful_side():
    """Short pieces most: with half of them moved to the other half of the blade the peak is near halved."""
    blade, count = 300_000, 3000
    bands = tuple(
        Band(blade * number // count, blade * (number + 1) // count, 100.0 if number < count // 2 else 0.5)
        for number in range(count)
    )
    wavy = tuple(Band(one.start, one.end, one.passes + one.start % 7 / 100) for one in bands)
    found = best_spread(shear(), EdgeUse(1, 1, wavy))
    assert len(wavy) > MOST_BANDS
    # 100.06 and 0.56 at the worst; moved, half of each lies upon half of the other.
    assert 1.98 < found.gain <= 100.06 / ((100 + 0.5) / 2)
