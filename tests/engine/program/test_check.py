"""A program written by the operator: checked, set and timed, never reordered."""

from dataclasses import replace

import pytest

from service.engine.checks import check_cut
from service.engine.machine import BackGauge, FrontStops, HoldDown, Machine, Rating
from service.engine.materials import Material
from service.engine.materials_table import material_named
from service.engine.program.check import GaugeStep, ProgramCheck, check_program, needed_depth
from service.engine.quantities import mm


def codes(check: ProgramCheck, level: str = "stop") -> set[str]:
    return {finding.code for one in check.steps for finding in one.findings if finding.level == level}


def test_two_equal_cuts_in_six_millimetre_plate_use_the_whole_rating(shear: Machine) -> None:
    """800 mm along the blade, 6 mm plain steel, two cuts at 50.7 mm (common practice, no source)."""
    plate = material_named("plain steel")
    check = check_program(shear, plate, mm(6), mm(800), mm(500), [GaugeStep(mm(50.7), repeat=2)])
    assert check.ok
    assert (check.strokes, check.gauge_moves, check.settings_changes) == (2, 1, 1)
    # Rated for 6 mm of 450 N/mm²: inside it, and nothing to spare.
    assert check.rating_needed_mm == pytest.approx(6)
    assert "rating-margin" in codes(check, "caution")
    assert check.steps[0].depth_after == mm(500 - 2 * 50.7)


def test_equal_values_on_two_lines_move_the_gauge_once(shear: Machine) -> None:
    plate = material_named("plain steel")
    lines = [GaugeStep(mm(50.7)), GaugeStep(mm(50.7))]
    check = check_program(shear, plate, mm(6), mm(800), mm(500), lines)
    assert (len(check.steps), check.strokes, check.gauge_moves) == (2, 2, 1)


def test_two_gauge_settings_in_aluminium_share_one_gap(shear: Machine) -> None:
    """3.7 mm aluminium, some cuts at 30, then some at 20 (common practice, no source)."""
    lines = [GaugeStep(mm(30), repeat=4), GaugeStep(mm(20), repeat=3)]
    check = check_program(shear, material_named("5754 H111"), mm(3.7), mm(1000), mm(400), lines)
    assert check.ok
    assert (check.strokes, check.gauge_moves, check.settings_changes) == (7, 2, 1)
    assert len({one.settings.gap for one in check.steps}) == 1


def test_four_lines_in_stainless_stay_as_written_and_want_six_millimetre_rating(shear: Machine) -> None:
    """4 mm stainless at 100, 200, 400, 500: 5 to 6 mm of plain-steel rating (common practice, no source)."""
    values = [mm(100), mm(200), mm(400), mm(500)]
    stainless = material_named("1.4301")
    lines = [GaugeStep(value) for value in values]
    check = check_program(shear, stainless, mm(4), mm(1500), mm(1300), lines)
    assert check.ok
    assert [one.step.gauge for one in check.steps] == values
    assert (check.strokes, check.gauge_moves) == (4, 4)
    assert 5 <= check.rating_needed_mm <= 6
    assert check.minutes > 0
    weak = replace(shear, rating=Rating(mm(4)))
    assert "thickness-over-rating" in codes(check_program(weak, stainless, mm(4), mm(1500), mm(1300), lines))


def test_what_is_left_must_reach_the_clamping_depth(shear: Machine, steel: Material) -> None:
    """Six parts of 32 from 200 leave 8 mm: only the first four cuts can be held by feet of 45 mm depth."""
    lines = [GaugeStep(mm(32), repeat=6)]
    check = check_program(shear, steel, mm(2), mm(500), mm(200), lines)
    assert not check.ok
    assert codes(check) == {"too-little-left"}
    assert "4 can be cut" in check.steps[0].findings[0].message
    assert check.needed_depth == mm(6 * 32 + 45)
    assert check_program(shear, steel, mm(2), mm(500), check.needed_depth, lines).ok
    assert not check_program(shear, steel, mm(2), mm(500), check.needed_depth - 1, lines).ok


def test_without_a_depth_the_needed_depth_is_said_and_nothing_is_left_to_check(
    shear: Machine, steel: Material
) -> None:
    check = check_program(shear, steel, mm(2), mm(500), None, [GaugeStep(mm(100), repeat=3)])
    assert check.ok
    assert check.needed_depth == mm(345)
    assert check.steps[0].depth_after is None


def test_a_front_stop_leaves_its_own_value_in_front(shear: Machine, steel: Material) -> None:
    stops = replace(shear, front_stops=FrontStops(mm(50), mm(1500)), smallest_drop=mm(5))
    lines = [GaugeStep(mm(1200), gauging="front stop"), GaugeStep(mm(400), repeat=2)]
    check = check_program(stops, steel, mm(2), mm(500), mm(1500), lines)
    assert check.ok
    assert [one.depth_after for one in check.steps] == [mm(1200), mm(400)]
    assert check.needed_depth == mm(1205)
    # Three times 400 from what the stop leaves cannot be held, whatever the sheet measures.
    lines[1] = GaugeStep(mm(400), repeat=3)
    assert codes(check_program(stops, steel, mm(2), mm(500), None, lines)) == {"too-little-left"}


@pytest.mark.parametrize(
    ("step", "code"),
    [
        (GaugeStep(mm(1200)), "gauge-out-of-range"),
        (GaugeStep(mm(4)), "gauge-out-of-range"),
        (GaugeStep(mm(100), gauging="front stop"), "no-front-stops"),
        (GaugeStep(mm(100), gauging="marked line"), "no-marked-line"),
    ],
)
def test_a_value_the_machine_cannot_gauge_is_stopped(
    shear: Machine, steel: Material, step: GaugeStep, code: str
) -> None:
    check = check_program(shear, steel, mm(2), mm(500), mm(2000), [step])
    assert not check.ok
    assert code in codes(check)


@pytest.mark.parametrize("depth", [mm(3000), None])
def test_a_drop_cut_to_a_line_must_get_past_the_back_gauge(
    shear: Machine, steel: Material, depth: int | None
) -> None:
    light = replace(shear, marked_line_accuracy=100, gauge_clears=False)
    deep = light.back_gauge.high + 1
    step = GaugeStep(deep, gauging="marked line")
    assert codes(check_program(light, steel, mm(2), mm(500), depth, [step])) == {"gauge-in-the-way"}
    swung_away = replace(light, gauge_clears=True)
    assert codes(check_program(swung_away, steel, mm(2), mm(500), depth, [step])) == set()


def test_a_front_stop_cannot_be_repeated_nor_leave_less_than_the_clamping_depth(
    shear: Machine, steel: Material
) -> None:
    stops = replace(shear, front_stops=FrontStops(mm(20), mm(1500)))
    step = GaugeStep(mm(30), repeat=2, gauging="front stop")
    found = codes(check_program(stops, steel, mm(2), mm(500), mm(300), [step]))
    assert found == {"front-stop-repeated", "remainder-not-clamped"}


def test_a_value_between_the_steps_of_the_gauge_names_the_nearest(shear: Machine, steel: Material) -> None:
    coarse = replace(shear, back_gauge=BackGauge(mm(5), mm(1000), step=mm(0.5)))
    check = check_program(coarse, steel, mm(2), mm(500), mm(300), [GaugeStep(mm(50.7))])
    said = [one.message for one in check.steps[0].findings if one.code == "gauge-rounded"]
    assert said == ["50.7 mm cannot be set in steps of 0.5 mm: the nearest is 50.5 mm"]


def test_a_piece_longer_than_the_blade_is_stopped(shear: Machine, steel: Material) -> None:
    check = check_program(shear, steel, mm(2), mm(3000.01), mm(500), [GaugeStep(mm(100))])
    assert "too-long-for-blade" in codes(check)


def test_a_piece_under_one_foot_is_cautioned(shear: Machine, steel: Material) -> None:
    feet = replace(shear, hold_down=HoldDown(mm(45), (mm(50), mm(250)), mm(60)))
    one = check_program(feet, steel, mm(2), mm(200), mm(500), [GaugeStep(mm(100))])
    two = check_program(feet, steel, mm(2), mm(280), mm(500), [GaugeStep(mm(100))])
    assert "few-feet" in codes(one, "caution")
    assert "few-feet" not in codes(two, "caution")


def test_more_strokes_and_more_settings_take_longer(shear: Machine, steel: Material) -> None:
    def minutes(lines: list[GaugeStep]) -> float:
        return check_program(shear, steel, mm(2), mm(500), mm(1000), lines).minutes

    one, two = minutes([GaugeStep(mm(100))]), minutes([GaugeStep(mm(100), repeat=2)])
    moved = minutes([GaugeStep(mm(100)), GaugeStep(mm(120))])
    assert one < two < moved


def test_wrong_use_is_said_in_words(shear: Machine, steel: Material) -> None:
    with pytest.raises(ValueError, match="steps: at least one gauge value is wanted"):
        check_program(shear, steel, mm(2), mm(500), mm(300), [])
    with pytest.raises(ValueError, match="depth: a length above zero is wanted, not 0 mm"):
        check_program(shear, steel, mm(2), mm(500), 0, [GaugeStep(mm(50))])
    with pytest.raises(ValueError, match="repeat: at least one cut is wanted"):
        GaugeStep(mm(50), repeat=0)
    with pytest.raises(ValueError, match="gauge: a value above zero is wanted"):
        GaugeStep(0)


def test_needed_depth_adds_what_falls_to_the_clamping_depth(shear: Machine) -> None:
    assert needed_depth(shear, [GaugeStep(mm(100), repeat=2), GaugeStep(mm(5))]) == mm(250)


def test_the_limits_of_a_cut_have_the_same_codes_in_a_program(shear: Machine, steel: Material) -> None:
    """Each is held against the check of that very cut."""
    machine = replace(
        shear,
        hold_down=HoldDown(mm(45), (mm(50), mm(250)), mm(60)),
        front_stops=FrontStops(mm(20), mm(800)),
        marked_line_accuracy=100,
        smallest_drop=mm(5),
    )
    cuts: list[tuple[int, GaugeStep, int, int]] = [
        (mm(3100), GaugeStep(mm(100)), mm(100), mm(400)),
        (mm(40), GaugeStep(mm(100)), mm(100), mm(400)),
        (mm(200), GaugeStep(mm(100)), mm(100), mm(400)),
        (mm(100), GaugeStep(mm(100)), mm(100), mm(400)),
        (mm(500), GaugeStep(mm(15)), mm(15), mm(485)),
        (mm(500), GaugeStep(mm(4), gauging="marked line"), mm(4), mm(496)),
        (mm(500), GaugeStep(mm(1200)), mm(1200), mm(300)),
        (mm(500), GaugeStep(mm(1200), gauging="marked line"), mm(1200), mm(300)),
        (mm(500), GaugeStep(mm(900), gauging="front stop"), mm(100), mm(900)),
        (mm(500), GaugeStep(mm(30), gauging="front stop"), mm(470), mm(30)),
        (mm(500), GaugeStep(mm(600), gauging="front stop"), mm(1400), mm(600)),
        (mm(500), GaugeStep(mm(480), gauging="front stop"), mm(15), mm(480)),
    ]
    seen = set()
    for along, step, falls, stays in cuts:
        program = check_program(machine, steel, mm(2), along, falls + stays, [step])
        cut = check_cut(
            machine,
            steel,
            mm(2),
            cut_length=along,
            drop_depth=falls,
            remainder_depth=stays,
            gauging=step.gauging,
        )
        limits = {
            "too-long-for-blade",
            "narrower-than-foot",
            "few-feet",
            "narrow-drop",
            "drop-too-narrow",
            "gauge-out-of-range",
            "gauge-in-the-way",
            "remainder-not-clamped",
        }
        of_both = [{one.code for one in found} & limits for found in (program.steps[0].findings, cut)]
        assert of_both[0] == of_both[1], (step, of_both)
        seen |= of_both[0]
    assert seen == limits
