"""Wear of a blade: laws of adding up, where it wears, when it turns, what a measurement says."""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.machine import Rating
from service.engine.materials_table import BUILT_IN, material_named
from service.engine.wear.edge import WORKING_DAYS_A_YEAR, WearCut, edge_use, estimate, life_passes
from service.engine.wear.measure import cost_per_metre, judge_burr
from service.engine.wear.metres import equivalent_metres, severity
from tests.engine.shears import shear

STEEL = material_named("plain steel")


def cut(length=300_000, strokes=1, thickness=300, material=STEEL, start=0):
    return WearCut(material, thickness, length, strokes, start)


def codes(found, level="caution"):
    return [finding.code for finding in found.findings if finding.level == level]


wear_cuts = st.lists(
    st.builds(
        WearCut,
        st.sampled_from(BUILT_IN[:12]),
        st.integers(50, 600),
        st.integers(5_000, 150_000),
        st.integers(0, 500),
        st.sampled_from([0, 0, 0, 20_000, 150_000]),
    ),
    max_size=12,
)


def test_a_metre_of_the_rated_plate_counts_one_metre():
    assert equivalent_metres(shear(), STEEL, 600, 17) == pytest.approx(17)


@settings(max_examples=100, deadline=None)
@given(st.sampled_from(BUILT_IN), st.integers(30, 600), st.integers(0, 10_000), st.integers(0, 10_000))
def test_metres_add_up(material, thickness, one, other):
    def worn(metres):
        return equivalent_metres(shear(), material, thickness, metres)

    assert worn(one) + worn(other) == pytest.approx(worn(one + other))


@settings(max_examples=60, deadline=None)
@given(wear_cuts, st.randoms(use_true_random=False))
def test_the_order_in_which_cuts_were_written_down_changes_no_figure(cuts, random):
    shuffled = list(cuts)
    random.shuffle(shuffled)
    assert edge_use(shear(), shuffled) == edge_use(shear(), cuts)


@settings(max_examples=60, deadline=None)
@given(wear_cuts, wear_cuts)
def test_the_wear_of_two_logs_adds_up_at_every_place(one, other):
    both, first, second = (edge_use(shear(), cuts) for cuts in (one + other, one, other))

    def passes(use, place):
        return next(band.passes for band in use.bands if band.start <= place < band.end)

    for place in range(0, 300_000, 12_345):
        assert passes(both, place) == pytest.approx(passes(first, place) + passes(second, place))
    assert both.equivalent_metres == pytest.approx(first.equivalent_metres + second.equivalent_metres)


@settings(max_examples=60, deadline=None)
@given(wear_cuts)
def test_the_bands_fill_the_blade_and_hold_all_the_wear(cuts):
    use = edge_use(shear(), cuts)
    assert use.bands[0].start == 0
    assert use.bands[-1].end == 300_000
    assert all(a.end == b.start for a, b in zip(use.bands, use.bands[1:], strict=False))
    summed = sum(band.passes * (band.end - band.start) for band in use.bands) / 100_000
    assert summed == pytest.approx(use.equivalent_metres)


def test_thicker_and_stronger_stock_wears_more():
    mild, stainless = material_named("DC01"), material_named("1.4301")
    assert severity(shear(), mild, 300) < severity(shear(), mild, 400)
    assert severity(shear(), mild, 300) < severity(shear(), stainless, 300)


def test_short_pieces_wear_the_blade_at_the_squaring_arm():
    short = estimate(shear(), [cut(50_000, 60)], days=1)
    full = estimate(shear(), [cut(300_000, 10)], days=1)
    assert short.use.metres == full.use.metres
    assert (short.worst_start, short.worst_end) == (0, 50_000)
    assert short.share_used == pytest.approx(6 * full.share_used)
    assert short.mean_share == pytest.approx(full.mean_share)
    assert full.share_used == pytest.approx(full.mean_share)


@pytest.mark.parametrize("rated", [300, 600, 1300])
def test_a_blade_with_four_edges_lasts_decades_in_an_ordinary_shop(rated):
    # common practice, no source. Twenty metres of 3 mm plain steel a day, 250 days a year.
    machine = shear(rating=Rating(rated))
    day = [cut(300_000, 6), cut(200_000, 1)]
    assert edge_use(machine, day).metres == 20
    estimated = estimate(machine, day, days=1)
    assert estimated.blade_days_left / WORKING_DAYS_A_YEAR > 20


def test_the_forecast_follows_the_present_rate():
    machine = shear(edge_life_m=3000.0)  # a thousand passes of the full length
    assert life_passes(machine) == 1000
    log = [cut(strokes=1000)]  # at half the thickness: 500 passes
    now = estimate(machine, log, days=100, recent=[cut(strokes=100)], today=date(2026, 1, 1))
    assert now.share_used == pytest.approx(0.5)
    assert now.share_per_day == pytest.approx(0.0005)
    assert now.days_left == pytest.approx(1000)
    # Before any measurement it may wear 0.4 to 1.6 times as fast: 2500 to 625 passes of life.
    assert (now.rate.low, now.rate.high) == pytest.approx((0.4, 1.6))
    assert now.days_left_low == pytest.approx(250)
    assert now.days_left_high == pytest.approx(4000)
    assert now.turn_on == date(2029, 12, 31)  # 1000 working days are 1460 of the calendar
    assert now.blade_days_left == pytest.approx(1000 + 3 * 2000)
    assert estimate(machine, log, days=100, edges_unused=0).blade_days_left == pytest.approx(
        estimate(machine, log, days=100).days_left
    )


def test_work_that_has_moved_along_the_blade_wears_out_another_place_first():
    machine = shear(edge_life_m=3000.0)
    log = [cut(100_000, 1000), cut(100_000, 600, start=200_000)]
    moved = estimate(machine, log, days=10, recent=[cut(100_000, 200, start=200_000)])
    assert (moved.worst_start, moved.worst_end) == (0, 100_000)
    assert moved.days_left == pytest.approx((1000 - 300) / 10)


def test_an_edge_that_cuts_nothing_has_no_date():
    idle = estimate(shear(), [], days=5, today=date(2026, 1, 1))
    assert (idle.share_used, idle.days_left, idle.turn_on, idle.blade_days_left) == (0, None, None, None)


def test_an_edge_that_is_due_says_so_even_when_nothing_is_cut_now():
    machine = shear(edge_life_m=300.0)
    due = estimate(machine, [cut(strokes=250)], days=5, recent=[])
    assert due.days_left == 0
    assert codes(due) == ["turn-due"]
    assert codes(estimate(machine, [cut(strokes=190)], days=5)) == ["turn-soon"]


def test_every_estimate_says_on_what_it_rests():
    told = estimate(shear(), [cut()], days=1).findings[0]
    assert "shop default" in told.basis
    assert "machine profile" in told.basis
    assert "measured" in estimate(shear(), [cut()], days=1, edge_life_m=5e4).findings[0].basis


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (cut(length=300_001), "cut 2: it reaches from 0 to 3000.01 mm"),
        (cut(length=100_000, start=250_000), "cut 2: it reaches"),
        (cut(length=1000, start=-1), "cut 2: it reaches"),
        (cut(strokes=-1), "cut 2: a length"),
        (cut(length=0), "cut 2: a length"),
        (cut(thickness=0), "cut 2: a length"),
    ],
)
def test_a_cut_that_cannot_have_been_is_named(wrong, says):
    with pytest.raises(ValueError, match=says):
        edge_use(shear(), [cut(), wrong])


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"days": 0}, "days"),
        ({"days": float("nan")}, "days"),
        ({"days": 1, "edges_unused": 4}, "edges unused"),
        ({"days": 1, "edges_unused": -1}, "edges unused"),
        ({"days": 1, "edge_life_m": 0}, "edge life"),
    ],
)
def test_an_estimate_refuses_figures_that_are_none(wrong, says):
    with pytest.raises(ValueError, match=says):
        estimate(shear(), [cut()], **wrong)


@pytest.mark.parametrize("metres", [-1, float("nan"), float("inf")])
def test_metres_must_be_a_number(metres):
    with pytest.raises(ValueError, match="metres cut"):
        equivalent_metres(shear(), STEEL, 300, metres)


def test_a_burr_above_a_tenth_of_the_thickness_is_a_caution():
    assert judge_burr(300, 0.30).level == "note"
    assert judge_burr(300, 0.31).level == "caution"


def test_a_metre_costs_set_and_regrinds_over_all_the_metres_they_give():
    assert cost_per_metre(60_000, 4, 2400, 0, 0) == pytest.approx(0.01)
    assert cost_per_metre(60_000, 4, 3000, 3, 600) == pytest.approx(4800 / 960_000)
    with pytest.raises(ValueError, match="edge"):
        cost_per_metre(60_000, 0, 3000, 3, 600)
    with pytest.raises(ValueError, match="prices"):
        cost_per_metre(60_000, 4, -1, 3, 600)


@pytest.mark.parametrize(("thickness", "burr"), [(0, 0.1), (300, -0.1), (300, float("nan"))])
def test_a_burr_that_cannot_be_is_refused(thickness, burr):
    with pytest.raises(ValueError, match=r"thickness|burr"):
        judge_burr(thickness, burr)


def test_a_sheet_without_thickness_has_no_severity():
    with pytest.raises(ValueError, match="thickness"):
        severity(shear(), STEEL, 0)


def test_places_on_the_blade_are_told_in_millimetres():
    told = estimate(shear(), [cut(50_000, start=20_000)], days=1).findings[0]
    assert "200 to 700 mm from the squaring arm" in told.message
    with pytest.raises(ValueError, match="from 2500 to 3500 mm; the blade from 0 to 3000 mm"):
        edge_use(shear(), [cut(100_000, start=250_000)])
    with pytest.raises(ValueError, match="0 to 3 are possible"):
        estimate(shear(), [cut()], days=1, edges_unused=4)


def test_a_cut_begins_at_the_squaring_arm_unless_said_otherwise():
    assert WearCut(STEEL, 300, 1000, 1).start == 0


def test_a_date_too_far_off_to_name_is_left_out():
    rare = estimate(shear(), [cut(strokes=1)], days=30, today=date(2026, 1, 1))
    assert rare.days_left > 365 * 200
    assert rare.turn_on is None


def test_nothing_is_a_burr_and_a_price_too():
    assert judge_burr(300, 0).level == "note"
    assert cost_per_metre(60_000, 1, 600, 0, 0) == pytest.approx(0.01)
    assert cost_per_metre(60_000, 4, 0, 1, 480) == pytest.approx(0.001)
