"""Every limit of a single cut is found, named and explained; capacity is the largest that passes."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.checks import capacity, check_cut
from service.engine.force import check_force
from service.engine.machine import FrontStops, GapRange, HoldDown, Machine, Rake
from service.engine.materials_table import BUILT_IN, material_named
from tests.engine import shears

STEEL = material_named("plain steel")


def shear(**changes) -> Machine:
    own = {
        "hold_down": HoldDown(4500, tuple(range(10_000, 300_000, 20_000)), 6000, 150.0),
        "front_stops": FrontStops(10_000, 200_000),
        "marked_line_accuracy": 100,
        "smallest_drop": 500,
    }
    return shears.shear(**own | changes)


def found(machine=None, material=STEEL, thickness=300, **cut):
    cut = {"cut_length": 100_000, "drop_depth": 30_000, "remainder_depth": 50_000, **cut}
    return check_cut(machine or shear(), material, thickness, **cut)


def codes(findings, *wanted):
    return [finding.code for finding in findings if finding.level in (wanted or ("stop", "caution"))]


def test_an_ordinary_cut_has_nothing_against_it():
    assert codes(found()) == []


@pytest.mark.parametrize(
    ("cut", "code"),
    [
        ({"cut_length": 300_001}, "too-long-for-blade"),
        ({"cut_length": 5_999}, "narrower-than-foot"),
        ({"drop_depth": 499}, "drop-too-narrow"),
        ({"drop_depth": 100_001}, "gauge-out-of-range"),
        ({"drop_depth": 499}, "gauge-out-of-range"),
        ({"remainder_depth": 4_499}, "remainder-not-clamped"),
        ({"thickness": 601}, "thickness-over-rating"),
        ({"gauging": "front stop", "remainder_depth": 9_999}, "gauge-out-of-range"),
        ({"gauging": "front stop", "remainder_depth": 200_001}, "gauge-out-of-range"),
        ({"machine": shear(front_stops=None), "gauging": "front stop"}, "no-front-stops"),
        ({"machine": shear(marked_line_accuracy=None), "gauging": "marked line"}, "no-marked-line"),
        ({"gauging": "front stop", "drop_depth": 100_001}, "gauge-in-the-way"),
        ({"gauging": "marked line", "drop_depth": 100_001}, "gauge-in-the-way"),
        ({"machine": shear(force_limit_kn=10.0)}, "force-over-limit"),
        ({"machine": shear(gap=GapRange(1, 2)), "thickness": 500}, "gap-too-narrow"),
        ({"material": material_named("wear plate 500 HBW")}, "not-shearable"),
    ],
)
def test_each_limit_stops_the_cut(cut, code):
    assert code in codes(found(**cut), "stop")


@pytest.mark.parametrize(
    "cut",
    [
        {"cut_length": 300_000},
        {"drop_depth": 100_000},
        {"drop_depth": 3_000},
        {"remainder_depth": 4_500},
        {"thickness": 600},
        {"gauging": "front stop", "remainder_depth": 10_000},
        {"gauging": "front stop", "remainder_depth": 200_000, "drop_depth": 100_000},
        {"gauging": "marked line", "drop_depth": 100_000},
        {"machine": shear(gauge_clears=True), "gauging": "front stop", "drop_depth": 150_000},
        {"machine": shear(gauge_clears=True), "gauging": "marked line", "drop_depth": 150_000},
    ],
)
def test_a_cut_on_the_limit_is_not_stopped(cut):
    assert codes(found(**cut), "stop") == []


def test_a_narrow_drop_is_a_caution_and_called_a_rule_of_thumb():
    findings = found(drop_depth=2_999)
    assert codes(findings) == ["narrow-drop"]
    assert "rule of thumb" in findings[0].basis


def test_a_drop_must_be_the_wider_the_higher_the_rake():
    # 10 thicknesses at 1.5 degrees, 20 at 3.
    steep = shear(rake=Rake(3.0, 3.0))
    assert codes(found(steep, drop_depth=5_999)) == ["narrow-drop"]
    assert codes(found(steep, drop_depth=6_000)) == []


def test_a_remainder_not_given_is_said_to_be_unchecked():
    findings = found(remainder_depth=None)
    assert codes(findings) == []
    assert "remainder-unknown" in codes(findings, "note")


@pytest.mark.parametrize(
    ("length", "code"),
    [(12_999, ["few-feet", "hold-down-short"]), (13_000, ["few-feet", "hold-down-short"]), (33_000, [])],
)
def test_a_piece_must_lie_under_the_feet(length, code):
    assert codes(found(cut_length=length)) == code


def test_a_bar_without_feet_grips_everywhere():
    assert codes(found(shear(hold_down=HoldDown(4500)), cut_length=2_000)) == []


def test_pieces_side_by_side_must_each_be_gripped():
    assert codes(found(cut_length=240_000, pieces_side_by_side=4)) == []
    # 200 mm each, feet 200 mm apart: one foot on each, which can turn.
    (one_foot,) = found(cut_length=80_000, pieces_side_by_side=4)[:1]
    assert (one_foot.code, one_foot.level) == ("few-feet", "caution")
    assert "pieces 1, 2, 3, 4 lie under one foot only" in one_foot.message
    loose = found(cut_length=36_000, pieces_side_by_side=4)
    assert codes(loose) == ["between-feet", "few-feet"]
    assert "pieces 1, 2, 3 lie" in loose[0].message
    assert codes(found(cut_length=20_000, pieces_side_by_side=4), "stop") == ["narrower-than-foot"]


def test_the_worst_is_told_first():
    levels = [finding.level for finding in found(drop_depth=2_000, thickness=700, remainder_depth=None)]
    assert levels == sorted(levels, key=["stop", "caution", "note"].index)
    assert levels[0] == "stop"


def test_every_finding_has_words_and_a_basis():
    for finding in found(drop_depth=400, remainder_depth=100, cut_length=400_000, thickness=800):
        assert len(finding.message) > 10
        assert finding.basis


@pytest.mark.parametrize(
    "cut",
    [
        {"thickness": 0},
        {"cut_length": 0},
        {"drop_depth": -1},
        {"remainder_depth": 0},
        {"pieces_side_by_side": 0},
    ],
)
def test_a_cut_without_size_is_refused(cut):
    with pytest.raises(ValueError, match="greater than zero"):
        found(**cut)


def row(machine, material, length):
    (only,) = capacity(machine, [material], [length])
    return only


def test_capacity_names_the_limit_that_governs():
    assert row(shear(), STEEL, 100_000).governed_by == "rating"
    assert row(shear(), STEEL, 100_000).thickness == 600
    assert row(shear(force_limit_kn=100.0), STEEL, 300_000).governed_by == "force"
    assert row(shear(gap=GapRange(1, 3)), STEEL, 100_000).governed_by == "blade gap"
    assert row(shear(), material_named("wear plate 500 HBW"), 1000).governed_by == "not for a shear"
    assert row(shear(), STEEL, 300_001).governed_by == "cutting length"


def test_capacity_lists_each_material_at_a_tenth_a_quarter_half_and_the_whole_length():
    table = capacity(shear(), BUILT_IN)
    assert len(table) == 4 * len(BUILT_IN)
    assert [row.cut_length for row in table[:4]] == [30_000, 75_000, 150_000, 300_000]


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from([material for material in BUILT_IN if material.shearable]),
    st.integers(20_000, 300_000),
    st.sampled_from(
        [shear(), shear(force_limit_kn=120.0), shear(gap=GapRange(1, 4)), shear(rake=Rake(0.5, 2.5, 0.1))]
    ),
)
def test_capacity_is_the_thickness_that_no_check_stops_and_one_hundredth_more_is_stopped(
    material, length, machine
):
    def stopped(thickness):
        checked = found(machine, material, thickness, cut_length=length)
        return [code for code in codes(checked, "stop") if code != "gap-too-wide"]

    best = row(machine, material, length)
    assert best.thickness > 0
    assert stopped(best.thickness) == []
    assert stopped(best.thickness + 1)


@pytest.mark.parametrize(
    "cut", [{"drop_depth": 3_000}, {"drop_depth": 500, "thickness": 50}, {"cut_length": 33_000}]
)
def test_a_cut_on_a_shop_set_line_brings_no_caution(cut):
    assert codes(found(**cut)) == []


def test_a_piece_as_wide_as_a_foot_can_be_held():
    assert codes(found(cut_length=6_000), "stop") == []


def test_one_loose_piece_is_named_in_the_singular():
    # feet at 100, 300, 500 … mm, 60 mm wide: of 0–135 and 135–270 mm the second holds none
    (loose,) = (f for f in found(cut_length=27_000, pieces_side_by_side=2) if f.code == "between-feet")
    assert "piece 2 lies under no foot" in loose.message
    # of two pieces of 130 mm the first just holds its foot
    assert codes(found(cut_length=26_000, pieces_side_by_side=2)) == [
        "between-feet",
        "few-feet",
        "hold-down-short",
    ]
    assert codes(found(cut_length=120_000, pieces_side_by_side=2)) == []


def test_a_piece_that_is_held_short_is_a_caution_of_the_cut():
    weak = shear(hold_down=HoldDown(4500, tuple(range(10_000, 300_000, 20_000)), 6000, 30.0))
    (short,) = (finding for finding in found(weak, thickness=600) if finding.code == "hold-down-short")
    assert short.level == "caution"
    assert "(5 of 15 feet)" in short.message
    assert "hold-down-short" not in codes(found(shear(), thickness=300))


def test_without_a_drop_all_that_needs_none_is_checked_and_the_rest_is_named():
    said = found(drop_depth=None, remainder_depth=None, cut_length=350_000, thickness=5)
    assert codes(said, "stop") == ["too-long-for-blade", "gap-too-wide"]
    assert {"drop-unknown", "remainder-unknown"} <= set(codes(said, "note"))
    assert "remainder-not-clamped" in codes(found(drop_depth=None, remainder_depth=4000), "stop")


def test_the_hold_down_is_that_for_the_rake_of_the_check():
    machine = shear(rake=Rake(1.0, 2.5), hold_down=HoldDown(4500, force_kn=12.0))
    wanted = {}
    for rake in (1.2, 2.5):
        check = check_force(machine, STEEL, 300, 100_000, rake)
        said = found(machine, force=check)
        wanted[rake] = [one.message for one in said if one.code == "hold-down-short"]
        share = math.ceil(0.15 * check.force_kn * 10) / 10
        assert all(one.startswith(f"{share:g} kN") for one in wanted[rake])
    assert wanted[1.2]
    assert not wanted[2.5]
