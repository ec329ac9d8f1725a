"""What the machine is set to: each value within what it can set, each with its basis."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st

from service.engine.force import check_force
from service.engine.hold_down import HOLD_DOWN_SHARE
from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
from service.engine.materials_table import BUILT_IN, material_named
from service.engine.settings import (
    full_stroke,
    gauge_setting,
    gripping_feet,
    hold_down_to_be_had,
    hold_down_wanted,
    settings_for,
    stroke_for,
)

STEEL = material_named("plain steel")


def shear(**changes) -> Machine:
    machine = Machine(
        id="m",
        name="Bench 3 m",
        cutting_length=310_000,
        rating=Rating(600),
        rake=Rake(1.5, 1.5),
        gap=GapRange(5, 80, 5),
        back_gauge=BackGauge(500, 100_000),
        hold_down=HoldDown(4500, tuple(range(10_000, 310_000, 20_000)), 6000, 150.0),
        relief=True,
        sheet_support=True,
    )
    return replace(machine, **changes)


def set_for(machine=None, thickness=300, cut_length=250_000, drop_depth=30_000, material=STEEL, **more):
    return settings_for(
        machine or shear(), material, thickness, cut_length=cut_length, drop_depth=drop_depth, **more
    )


def codes(settings, level):
    return [finding.code for finding in settings.findings if finding.level == level]


def test_every_value_has_a_finding_with_its_basis():
    settings = set_for()
    assert codes(settings, "note") == ["gap", "rake", "stroke", "hold-down", "relief", "sheet-support"]
    assert all(finding.basis for finding in settings.findings)


def test_a_long_narrow_strip_is_cut_with_gauge_relief():
    # common practice, no source: 22 mm deep, 3025 mm along the blade, relief on
    assert set_for(cut_length=302_500, drop_depth=2200).relief


def test_a_strip_of_ordinary_depth_needs_no_relief():
    assert not set_for(cut_length=250_000, drop_depth=30_000).relief


def test_a_drop_thick_against_its_depth_is_cut_with_relief():
    assert set_for(thickness=600, cut_length=20_000, drop_depth=5000).relief
    assert not set_for(thickness=100, cut_length=20_000, drop_depth=5000).relief


def test_a_trim_is_always_cut_with_relief():
    assert not set_for(thickness=100, cut_length=20_000, drop_depth=2000).relief
    assert set_for(thickness=100, cut_length=20_000, drop_depth=2000, trim=True).relief


def test_a_machine_without_relief_gets_a_caution_and_no_relief():
    settings = set_for(shear(relief=False), drop_depth=2200)
    assert not settings.relief
    assert "relief-missing" in codes(settings, "caution")
    said = next(one.message for one in settings.findings if one.code == "relief-missing")
    assert said.endswith("keep clear")
    assert "watch" not in said


def test_drops_side_by_side_jam_by_their_own_length_and_not_by_all_of_them_together():
    # Drops 95 deep: 1200 long is 12.6 times, both together would be 25.3 times, and 20 is the limit.
    together = {"cut_length": 240_000, "drop_depth": 9500}
    assert set_for(**together).relief
    assert not set_for(side_by_side=2, **together).relief
    said = codes(set_for(shear(relief=False), side_by_side=2, **together), "caution")
    assert "relief-missing" not in said


@pytest.mark.parametrize("gauging", ["front stop", "marked line"])
def test_the_gauge_does_not_back_off_from_a_cut_it_does_not_gauge(gauging):
    settings = set_for(shear(relief=False), drop_depth=2200, gauging=gauging)
    assert not settings.relief
    assert "relief-missing" not in codes(settings, "caution")


def test_thin_deep_drops_are_carried_and_stiff_ones_are_not():
    assert set_for(thickness=100, drop_depth=50_000).sheet_support
    assert not set_for(thickness=300, drop_depth=30_000).sheet_support


def test_a_gauge_that_is_finer_than_the_pull_back_asks_for_support_sooner():
    # 1 mm steel, 350 mm deep: 8 mm sag; 300 mm deep: 4.45 mm sag and 0.038 mm of pull-back
    coarse = shear(back_gauge=BackGauge(500, 100_000, accuracy=10))
    fine = shear(back_gauge=BackGauge(500, 100_000, accuracy=3))
    assert not set_for(coarse, thickness=100, drop_depth=30_000).sheet_support
    assert set_for(fine, thickness=100, drop_depth=30_000).sheet_support


def test_a_machine_without_support_gets_a_caution():
    settings = set_for(shear(sheet_support=False), thickness=100, drop_depth=50_000)
    assert not settings.sheet_support
    assert "support-missing" in codes(settings, "caution")


def test_the_stroke_follows_the_cut_length_and_ends_at_the_full_stroke():
    machine = shear()
    short, long = stroke_for(machine, 300, 50_000, 1.5), stroke_for(machine, 300, 250_000, 1.5)
    rise = 200_000 * math.tan(math.radians(1.5))
    assert long - short == pytest.approx(rise, abs=100)
    assert stroke_for(machine, 1200, 310_000, 1.5) == full_stroke(machine)


def test_soft_sheet_thicker_than_the_rating_gets_the_travel_it_wants_or_is_told_that_it_lacks():
    soft = material_named("1050A H14")
    # 3000·tan 1.5° + t + 5 + 3 mm: 92.6 mm for 6 mm, 95.6 mm for 9 mm.
    plain = shear(cutting_length=300_000)
    stated = replace(plain, max_thickness=900)
    cut = {"cut_length": 300_000, "drop_depth": 30_000}
    deep = settings_for(stated, soft, 900, **cut)
    assert deep.stroke == 9_600
    assert "stroke-short" not in codes(deep, "caution")
    silent = settings_for(plain, soft, 900, **cut)
    assert silent.stroke == 9_300
    (short,) = (one for one in silent.findings if one.code == "stroke-short")
    assert "96 mm of stroke are wanted" in short.message
    assert "stroke-short" not in codes(settings_for(plain, soft, 600, **cut), "caution")


def test_hold_down_is_a_share_of_the_force_on_the_feet_that_grip():
    machine = shear()
    settings = set_for(machine, thickness=300, cut_length=50_000)
    force = check_force(machine, STEEL, 300, 50_000).force_kn
    assert gripping_feet(machine, 50_000) == 2
    on_piece = settings.hold_down_kn * 2 / 15
    assert on_piece >= HOLD_DOWN_SHARE * force
    assert on_piece == pytest.approx(HOLD_DOWN_SHARE * force, abs=0.05)
    assert "hold-down-short" not in codes(settings, "caution")


def test_hold_down_ends_at_what_the_machine_has_and_says_so():
    settings = set_for(thickness=600, cut_length=14_000)
    assert settings.hold_down_kn == 150.0
    assert "hold-down-short" in codes(settings, "caution")


def test_hold_down_of_a_bar_without_feet_needs_no_sharing():
    machine = shear(hold_down=HoldDown(4500, force_kn=150.0))
    force = check_force(machine, STEEL, 300, 50_000).force_kn
    assert set_for(machine, cut_length=50_000).hold_down_kn == pytest.approx(HOLD_DOWN_SHARE * force, abs=0.1)


def test_a_piece_that_no_foot_grips_gets_the_whole_force_and_a_caution():
    settings = set_for(cut_length=9_000)
    assert settings.hold_down_kn == 150.0
    assert "hold-down-short" in codes(settings, "caution")


def test_an_unknown_hold_down_force_stays_unknown():
    assert set_for(shear(hold_down=HoldDown(4500))).hold_down_kn is None


def test_a_measured_offset_moves_the_gauge_the_other_way():
    assert gauge_setting(shear(), 30_000, 20) == (29_980, ())
    assert gauge_setting(shear(), 30_000, -20) == (30_020, ())
    settings = set_for(measured_offset=20)
    assert "299.8 mm for 300 mm" in settings.findings[-1].message
    assert "0.2 mm too deep" in settings.findings[-1].message


def test_a_gauge_is_set_in_its_own_steps():
    coarse = shear(back_gauge=BackGauge(500, 100_000, step=10))
    assert gauge_setting(coarse, 30_004) == (30_000, ())


@pytest.mark.parametrize(("depth", "offset", "held"), [(500, 10, 500), (100_000, -30, 100_000)])
def test_a_correction_beyond_the_gauges_range_is_a_stop(depth, offset, held):
    value, findings = gauge_setting(shear(), depth, offset)
    assert value == held
    assert [finding.code for finding in findings] == ["gauge-out-of-range"]


@pytest.mark.parametrize("sizes", [{"drop_depth": 0}, {"cut_length": 0}, {"thickness": 0}])
def test_a_cut_without_size_is_refused(sizes):
    with pytest.raises(ValueError, match="greater than zero"):
        set_for(**sizes)


def test_a_check_already_made_gives_the_same_settings():
    check = check_force(shear(), STEEL, 300, 250_000)
    assert set_for(force=check) == set_for()


@examples(max_examples=100, deadline=None)
@given(
    st.sampled_from(BUILT_IN),
    st.integers(30, 1500),
    st.integers(1000, 310_000),
    st.integers(200, 100_000),
    st.sampled_from([Rake(1.5, 1.5), Rake(0.5, 2.5, 0.1)]),
    st.sampled_from([GapRange(5, 80, 5), GapRange(10, 10), GapRange(3, 64, 7)]),
)
def test_every_value_is_one_that_the_machine_can_set(material, thickness, length, depth, rake, gap):
    machine = shear(rake=rake, gap=gap)
    settings = set_for(machine, thickness, length, depth, material)
    assert gap.low <= settings.gap <= gap.high
    assert (settings.gap - gap.low) % gap.step == 0
    assert rake.low_deg <= settings.rake_deg <= rake.high_deg
    assert 0 < settings.stroke <= full_stroke(machine)
    assert 0 < settings.hold_down_kn <= machine.hold_down.force_kn


def test_a_rake_that_was_chosen_says_why():
    machine = shear(rake=Rake(0.5, 2.5, 0.1), force_limit_kn=200.0)
    note = next(finding for finding in set_for(machine, thickness=400).findings if finding.code == "rake")
    assert "of 200 kN" in note.message
    assert "smallest rake" in note.basis


def test_an_offset_that_carries_the_gauge_out_of_its_range_is_a_stop():
    settings = set_for(drop_depth=100_000, measured_offset=-30)
    assert codes(settings, "stop") == ["gauge-out-of-range"]


def test_an_offset_of_the_gauge_does_not_matter_where_it_does_not_gauge():
    settings = set_for(drop_depth=100_000, measured_offset=-30, gauging="marked line")
    assert codes(settings, "stop") == []
    assert "gauge-corrected" not in codes(settings, "note")


def test_a_stroke_worked_by_hand():
    # 2500 mm · tan 1.5° = 65.46 mm, 3 mm thick, 5 mm opening, 3 mm overlap: 76.46, so 77 mm
    assert stroke_for(shear(), 300, 250_000, 1.5) == 7_700
    # 3100 mm · tan 1.5° = 81.18 mm, 6 + 5 + 3 mm: 95.18, so 96 mm at most
    assert full_stroke(shear()) == 9_600


@pytest.mark.parametrize(
    ("thickness", "cut_length", "drop_depth", "relief"),
    [
        (100, 100_000, 5_000, True),  # twenty times longer than deep
        (100, 99_999, 5_000, False),
        (300, 20_000, 4_494, True),  # 3 mm tipping on 44.94 mm: √(44.94² + 3²) − 44.94 = 0.10002 mm
        (300, 20_000, 4_496, False),
    ],
)
def test_relief_comes_on_for_long_narrow_drops_and_where_the_tipping_edge_would_touch_the_gauge(
    thickness, cut_length, drop_depth, relief
):
    settings = set_for(thickness=thickness, cut_length=cut_length, drop_depth=drop_depth)
    assert settings.relief is relief


@pytest.mark.parametrize(("depth", "support"), [(30_800, False), (30_900, True)])
def test_support_comes_on_above_five_millimetres_of_sag(depth, support):
    # 1 mm steel sags 4.95 mm over 308 and 5.01 mm over 309; the gauge here is too coarse to matter
    coarse = shear(back_gauge=BackGauge(500, 100_000, accuracy=100))
    assert set_for(coarse, thickness=100, drop_depth=depth).sheet_support is support


@pytest.mark.parametrize(
    ("depth", "says"), [(40_000, "sags 14.1 mm"), (80_000, "more than a tenth of its depth")]
)
def test_a_sag_beyond_small_bending_is_not_given_in_figures(depth, says):
    note = set_for(thickness=100, drop_depth=depth).findings[-1]
    assert note.code == "sheet-support"
    assert says in note.message


def test_a_drop_without_a_support_is_told_by_how_much_it_is_long_and_whether_it_meets_the_gauge():
    """3 mm steel over 640 mm by beam tables: 34.37·(640/500)⁴/9 = 10.25 mm, 4/7·10.25²/640 = 0.094 mm."""
    bare = shear(sheet_support=False)
    found = set_for(bare, thickness=300, drop_depth=64_000).findings
    (said,) = (one.message for one in found if one.code == "support-missing")
    assert "sags 10.3 mm" in said
    assert "about 0.09 mm longer than the gauge is set for" in said
    assert "still meets the gauge where that reaches 10.3 mm below the table" in said
    far = set_for(bare, thickness=80, drop_depth=70_000).findings
    (said,) = (one.message for one in far if one.code == "support-missing")
    assert "more than a tenth of its depth" in said
    assert "it misses the gauge" in said
    assert "longer" not in said


@pytest.mark.parametrize("depth", [500, 100_000])
def test_the_ends_of_the_gauges_range_can_be_set(depth):
    assert gauge_setting(shear(), depth) == (depth, ())


def test_a_foot_grips_only_with_its_whole_width():
    assert gripping_feet(shear(), 5_999) == 0
    assert gripping_feet(shear(), 13_000) == 1
    beyond_the_arm = shear(hold_down=HoldDown(4500, (2_000, 10_000), 6000))
    assert gripping_feet(beyond_the_arm, 20_000) == 1


def test_a_piece_that_no_foot_grips_at_the_arm_is_moved_under_one():
    """The program says so; then a foot does press on it, and the setting counts with that one."""
    one = shear(hold_down=HoldDown(4500, (10_000, 26_000), 6000, force_kn=60))
    assert gripping_feet(one, 12_999) == 1
    settings = set_for(one, thickness=300, cut_length=6_000, drop_depth=20_000)
    assert settings.hold_down_kn is not None
    assert not any("0.0 kN are to be had" in finding.message for finding in settings.findings)


def test_a_finer_gauge_wants_relief_sooner_because_the_tipping_edge_touches_it_sooner():
    # A drop of 44 mm, 3 mm thick, turns about its cut edge: its far corner reaches this much further [mm].
    assert 0.10 < math.hypot(44, 3) - 44 < 0.11
    for accuracy, relief in ((5, True), (10, True), (11, False)):
        machine = shear(back_gauge=BackGauge(500, 100_000, accuracy=accuracy))
        assert set_for(machine, thickness=300, cut_length=20_000, drop_depth=4_400).relief is relief


@pytest.mark.parametrize("gauging", ["front stop", "marked line"])
def test_a_drop_that_the_back_gauge_does_not_measure_cannot_miss_it(gauging):
    bare = shear(sheet_support=False)
    assert "support-missing" in codes(set_for(bare, thickness=100, drop_depth=50_000), "caution")
    settings = set_for(bare, thickness=100, drop_depth=50_000, gauging=gauging)
    assert codes(settings, "caution") == []
    assert "misses the gauge" not in " ".join(finding.message for finding in settings.findings)
    # A hanging drop is still carried where the machine can, but not for the sake of a fine gauge.
    fine = shear(back_gauge=BackGauge(500, 100_000, accuracy=3))
    assert set_for(fine, thickness=100, drop_depth=50_000, gauging=gauging).sheet_support
    assert not set_for(fine, thickness=100, drop_depth=30_000, gauging=gauging).sheet_support


def test_the_note_on_hold_down_sets_the_wanted_force_beside_what_the_feet_give():
    note = next(f for f in set_for(cut_length=50_000).findings if f.code == "hold-down")
    assert "(2 of 15 feet)" in note.message
    assert "kN are wanted there" in note.message
    stated = shear(hold_down=replace(shear().hold_down, wanted_share=0.05))
    less = next(f for f in set_for(stated, cut_length=50_000).findings if f.code == "hold-down")
    assert less.basis == "5% of the shearing force: machine profile"
    assert hold_down_wanted(stated, 100.0) == 5.0
    assert hold_down_wanted(shear(), 100.0) == 15.0
    assert hold_down_to_be_had(shear(), 50_000) == pytest.approx(150 * 2 / 15)
    assert hold_down_to_be_had(shear(hold_down=HoldDown(4500)), 50_000) is None


def rake_note(machine, thickness=400):
    (note,) = [one for one in set_for(machine, thickness=thickness).findings if one.code == "rake"]
    return note.message


def test_a_rake_tells_what_speaks_against_the_next_smaller_one():
    machine = shear(rake=Rake(0.5, 2.5, 0.1), force_limit_kn=200.0)
    assert "would leave less than 10% of it" in rake_note(machine)
    weak = shear(rake=Rake(0.5, 2.5, 0.1), force_limit_kn=900.0, hold_down=HoldDown(4500, force_kn=30.0))
    assert "would want more hold-down than is to be had" in rake_note(weak)
    none = replace(weak, hold_down=HoldDown(4500, force_kn=3.0))
    assert "at none of them what is wanted of the hold-down is to be had" in rake_note(none)


def test_over_the_limit_the_rake_is_not_called_good_for_it():
    said = rake_note(shear(rake=Rake(0.5, 2.5, 0.1), force_limit_kn=50.0), 600)
    assert "are over the limit of 50 kN, and no rake of this machine is higher" in said
    assert "would" not in said


def test_far_too_little_hold_down_is_a_reason_not_to_cut():
    short = shear(rake=Rake(1.5, 1.5), hold_down=replace(shear().hold_down, force_kn=60.0))
    (said,) = [one for one in set_for(short, cut_length=20_000).findings if one.code == "hold-down-short"]
    assert "do not cut until it is settled how the piece is held" in said.message
    nearly = shear(hold_down=replace(shear().hold_down, force_kn=10.0))
    (said,) = [one for one in set_for(nearly, cut_length=300_000).findings if one.code == "hold-down-short"]
    assert "watch that it does not slip" in said.message


def test_a_chosen_rake_tells_that_the_next_smaller_one_is_over_the_limit():
    machine = shear(rake=Rake(0.5, 2.5, 0.1), force_limit_kn=200.0, force_margin=0.0)
    settings = set_for(machine, thickness=400)
    note = next(finding for finding in settings.findings if finding.code == "rake")
    assert f"{settings.rake_deg - 0.1:g}° would be over the limit" in note.message
    easy = next(finding for finding in set_for(machine, thickness=100).findings if finding.code == "rake")
    assert "over the limit" not in easy.message
