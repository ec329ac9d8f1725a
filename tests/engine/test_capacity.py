"""Capacity is the inverse of the checks, to the last hundredth, and names the limit that governs."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.capacity import capacity, thickest_by_hold_down
from service.engine.checks import check_cut
from service.engine.machine import GapRange, GapRow, HoldDown, Machine, Rake, Rating
from service.engine.materials_table import BUILT_IN, material_named
from service.engine.settings import settings_for
from tests.engine import shears

STEEL = material_named("plain steel")
FEET = tuple(range(10_000, 300_000, 20_000))
TABLE = tuple(
    GapRow(rm, t, round(share * t)) for rm, share in ((200, 0.04), (700, 0.09)) for t in (50, 200, 600)
)
STOPS = {
    "rating": "thickness-over-rating",
    "force": "force-over-limit",
    "blade gap": "gap-too-narrow",
    "mechanical maximum": "thickness-over-maximum",
    "hold-down": "hold-down-short",
}


def shear(**changes) -> Machine:
    return shears.shear(**{"hold_down": HoldDown(4500, FEET, 6000, 150.0)} | changes)


def row(machine, material, length):
    (only,) = capacity(machine, [material], [length])
    return only


def said(machine, material, thickness, length):
    """Codes that a check of one cut brings against it, stops and the hold-down."""
    cut = check_cut(
        machine,
        material,
        thickness,
        cut_length=length,
        drop_depth=30_000,
        remainder_depth=50_000,
        gauging="back gauge",
    )
    held = settings_for(machine, material, thickness, cut_length=length, drop_depth=30_000).findings
    return {one.code for one in cut if one.level == "stop"} | {
        one.code for one in held if one.code == "hold-down-short"
    }


machines = st.builds(
    shear,
    rating=st.builds(Rating, st.integers(150, 1600), st.sampled_from([400.0, 450.0])),
    rake=st.sampled_from([Rake(1.5, 1.5), Rake(0.5, 2.5, 0.1), Rake(0.0, 2.0, 0.5)]),
    force_limit_kn=st.none() | st.floats(20, 800),
    gap=st.sampled_from([GapRange(1, 400), GapRange(1, 4), GapRange(2, 20)]),
    gap_table=st.sampled_from([(), TABLE]),
    max_thickness=st.none() | st.integers(100, 1200),
    dulled_allowance=st.sampled_from([0.0, 0.15, 0.25, 0.6]),
    hold_down=st.builds(
        HoldDown,
        st.just(4500),
        st.just(FEET),
        st.just(6000),
        st.floats(20, 400),
        st.sampled_from([None, 0.05, 0.2]),
    ),
)
shearable = st.sampled_from([material for material in BUILT_IN if material.shearable])


@settings(max_examples=150, deadline=None)
@given(machines, shearable, st.integers(13_000, 300_000))
def test_nothing_is_said_against_the_largest_thickness_and_the_named_limit_against_one_hundredth_more(
    machine, material, length
):
    best = row(machine, material, length)
    counted = {limit.name for limit in best.limits if limit.counts}
    codes = {STOPS[name] for name in counted}
    if best.thickness:
        assert not said(machine, material, best.thickness, length) & codes
    more = said(machine, material, best.thickness + 1, length)
    assert STOPS[best.governed_by] in more or (best.thickness == 0 and "gap-too-wide" in more)


@settings(max_examples=80, deadline=None)
@given(machines, shearable, st.integers(13_000, 300_000), st.data())
def test_every_sheet_below_the_hold_down_limit_is_held(machine, material, length, data):
    limit = thickest_by_hold_down(machine, material, length)
    assert limit is not None
    assert "hold-down-short" in said(machine, material, limit + 1, length)
    if limit:
        thinner = data.draw(st.integers(1, limit))
        assert "hold-down-short" not in said(machine, material, thinner, length)


@settings(max_examples=60, deadline=None)
@given(machines, shearable, st.integers(13_000, 150_000))
def test_a_longer_cut_never_has_more_force_to_spare(machine, material, length):
    def by_force(at):
        return next(one.thickness for one in row(machine, material, at).limits if one.name == "force")

    assert by_force(2 * length) <= by_force(length)


@pytest.mark.parametrize(
    ("machine", "governed_by"),
    [
        (shear(), "rating"),
        (shear(force_limit_kn=100.0), "force"),
        (shear(gap=GapRange(1, 3)), "blade gap"),
        (shear(max_thickness=500), "mechanical maximum"),
        (shear(hold_down=HoldDown(4500, FEET, 6000, 20.0, 0.3)), "hold-down"),
    ],
)
def test_each_limit_is_named_when_it_governs(machine, governed_by):
    assert row(machine, STEEL, 200_000).governed_by == governed_by


def test_the_default_share_of_hold_down_has_no_source_and_takes_no_thickness_from_a_machine():
    weak = shear(hold_down=HoldDown(4500, FEET, 6000, 20.0))
    best = row(weak, STEEL, 200_000)
    assert best.governed_by == "rating"
    told = next(limit for limit in best.limits if limit.name == "hold-down")
    assert not told.counts
    assert told.thickness < best.thickness


def test_what_sets_no_limit_is_said_to_set_none():
    unknown = shear(hold_down=HoldDown(4500), gap=GapRange(1, 400))
    free = replace(STEEL, gap_share=(0.0, 0.1))
    limits = {limit.name: limit.thickness for limit in row(unknown, free, 200_000).limits}
    assert limits["hold-down"] is None
    assert limits["mechanical maximum"] is None
    assert limits["blade gap"] is None


def test_a_row_tells_the_equivalent_thickness_and_what_the_cut_takes():
    best = row(shear(), material_named("1.4301"), 200_000)
    assert best.equivalent_thickness_mm == pytest.approx(best.thickness / 100 * (750 / 450) ** 0.5)
    assert best.force_kn > 0
    assert best.rake_deg == 1.5
    none = row(shear(), material_named("wear plate 500 HBW"), 200_000)
    assert (none.thickness, none.force_kn, none.limits) == (0, 0.0, ())


def test_a_cut_without_length_is_refused():
    with pytest.raises(ValueError, match="greater than zero"):
        capacity(shear(), [STEEL], [0])


def test_there_is_no_thickness_for_a_piece_that_cannot_be_held():
    best = row(shear(), STEEL, 5_999)
    assert (best.thickness, best.governed_by) == (0, "clamping foot")
    assert "narrower-than-foot" in said(shear(), STEEL, 100, 5_999)
    assert row(shear(), STEEL, 6_000).thickness == 600


def test_there_is_no_thickness_where_the_largest_is_too_thin_for_the_smallest_gap():
    # Half the thickness at most: a gap of 0.5 mm wants sheet of 1 mm.
    wide = shear(gap=GapRange(50, 80), rating=Rating(90))
    best = row(wide, STEEL, 100_000)
    assert (best.thickness, best.governed_by) == (0, "blade gap")
    assert "gap-too-wide" in said(wide, STEEL, 90, 100_000)
    assert row(shear(gap=GapRange(50, 80), rating=Rating(110)), STEEL, 100_000).thickness == 110
