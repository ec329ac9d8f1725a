"""The story of a blade's edges, and what is won by moving the work along the blade."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.wear.edge import Band, EdgeUse, edge_use
from service.engine.wear.history import Cutting, Measuring, Turning, beyond_blade, on_blade, told
from service.engine.wear.spread import best_spread, runs_of, spread_finding
from tests.engine.test_wear import cut, shear, wear_cuts

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


def at(hour):
    return NOON + timedelta(hours=hour)


@pytest.mark.parametrize(
    ("work", "second", "first_again"),
    [("turned", 0, 7), ("reground", 0, 0), ("replaced", 0, 0)],
)
def test_turning_puts_a_fresh_edge_to_work_and_a_regrind_freshens_all(work, second, first_again):
    happenings = [Cutting(at(0), cut(strokes=7)), Turning(at(1), 2, work)]
    story = told(shear(), 1, happenings)
    assert story.edge == 2
    assert sum(one.strokes for one in story.cuts_of(2)) == second
    back = told(shear(), 1, [*happenings, Turning(at(2), 1, "turned")])
    assert sum(one.strokes for one in back.cuts_of(1)) == first_again


def test_a_cut_that_names_its_edge_counts_there_and_another_at_work():
    story = told(shear(), 3, [Cutting(at(0), cut(strokes=2), 1), Cutting(at(1), cut(strokes=5))])
    assert [sum(one.strokes for one in story.cuts_of(edge)) for edge in (1, 2, 3, 4)] == [2, 0, 5, 0]


def test_what_was_learnt_stays_through_a_regrind_and_goes_with_the_blade():
    machine = shear(edge_life_m=3000.0)
    happenings = [Cutting(at(0), cut(strokes=1000)), Measuring(at(1), radius_um=60.0)]
    for work, kept in (("turned", 1), ("reground", 1), ("replaced", 0)):
        assert len(told(machine, 1, [*happenings, Turning(at(2), 2, work)]).measures) == kept


def test_a_measurement_is_held_against_the_use_at_its_time_and_place():
    machine = shear(edge_life_m=3000.0)
    happenings = [
        Cutting(at(0), cut(100_000, strokes=1000)),
        Measuring(at(1), radius_um=60.0, half="lower"),
        Measuring(at(1), radius_um=15.0, place=250_000),
        Cutting(at(2), cut(100_000, strokes=400)),
        Measuring(at(3), burr_mm=0.3, thickness=300),
    ]
    found = told(machine, 1, happenings).measures
    assert [one.estimated for one in found] == pytest.approx([0.5, 0.0, 0.7])
    assert [one.measured for one in found] == pytest.approx([0.4, 0.1, 1.0])
    assert [one.half for one in found] == ["lower", None, None]


@pytest.mark.parametrize(
    ("start", "length", "counted"),
    [
        (0, 300_000, (0, 300_000)),
        (250_000, 50_000, (250_000, 50_000)),
        (250_000, 100_000, (200_000, 100_000)),
        (400_000, 100_000, (200_000, 100_000)),
        (0, 350_000, (0, 300_000)),
    ],
)
def test_a_cut_beyond_the_blade_is_counted_at_its_end_and_keeps_its_length(start, length, counted):
    moved = on_blade(300_000, cut(length, start=start))
    assert (moved.start, moved.cut_length) == counted


def test_cuts_beyond_the_blade_are_told():
    assert beyond_blade(300_000, 0) == ()
    for entries, words in ((1, "1 entry is of cuts"), (2, "2 entries are of cuts")):
        (said,) = beyond_blade(300_000, entries)
        assert (said.level, said.code) == ("caution", "beyond-blade")
        assert words in said.message
        assert "blade of 3000 mm" in said.message


@settings(max_examples=60, deadline=None)
@given(wear_cuts)
def test_runs_put_together_are_the_profile_again(cuts):
    use = edge_use(shear(), cuts)
    runs = runs_of(use.bands)
    for band in use.bands:
        over = [passes for start, end, passes in runs if start <= band.start and band.end <= end]
        assert sum(over) == pytest.approx(band.passes)


@settings(max_examples=60, deadline=None)
@given(wear_cuts)
def test_moving_half_of_the_work_never_shortens_the_life_and_gains_at_most_double(cuts):
    spread = best_spread(shear(), edge_use(shear(), cuts))
    assert 1 <= spread.gain <= 2 + 1e-9
    assert 0 <= spread.shift < 300_000


def test_short_pieces_moved_clear_of_each_other_double_the_life():
    spread = best_spread(shear(), edge_use(shear(), [cut(50_000, 100)]))
    assert (spread.shift, spread.gain) == (50_000, pytest.approx(2.0))
    told_so = spread_finding(spread)
    assert "500 mm along the blade" in told_so.message
    assert "2.00 times" in told_so.message


def test_pieces_that_overlap_gain_less_and_full_lengths_nothing():
    # 2000 of 3000 mm: moved by 1000 the middle is still passed over by all.
    assert best_spread(shear(), edge_use(shear(), [cut(200_000, 100)])).gain == 1.0
    full = best_spread(shear(), edge_use(shear(), [cut(300_000, 100)]))
    assert (full.shift, full.gain) == (0, 1.0)
    assert spread_finding(full) is None
    # Half of the wear by full lengths stays: (100 + 100) / (100 + 50).
    mixed = best_spread(shear(), edge_use(shear(), [cut(300_000, 100), cut(100_000, 100)]))
    assert mixed.gain == pytest.approx(4 / 3)


def test_an_edge_that_cut_nothing_wants_no_spreading():
    idle = best_spread(shear(), EdgeUse(0.0, 0.0, (Band(0, 300_000, 0.0),)))
    assert (idle.shift, idle.gain) == (0, 1.0)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(0, 5), min_size=1, max_size=30))
def test_a_long_uneven_profile_comes_apart_and_back(heights):
    bands = [Band(10 * i, 10 * i + 10, float(height)) for i, height in enumerate(heights)]
    runs = runs_of(bands)
    assert sum((end - start) * passes for start, end, passes in runs) == 10 * sum(heights)
