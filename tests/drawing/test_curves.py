"""Pictures of what a machine can cut: whole, told apart without colour, and true to the figures."""

import itertools
import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from service.drawing.chart import Axis, Curve, chart_svg, round_ticks
from service.drawing.curves import capacity_svg, capacity_table, curve_lengths, force_svg
from service.drawing.lettering import text_width
from service.engine.capacity import capacity
from service.engine.force import check_force
from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
from service.engine.materials_table import BUILT_IN, material_named

SVG = "{http://www.w3.org/2000/svg}"
GRADES = [material_named(grade) for grade in ("plain steel", "1.4301", "5754 H111", "wear plate 400 HBW")]
SHEAR = Machine(
    "m",
    "Bench <3 m> & more",
    300_000,
    Rating(600),
    Rake(1.0, 2.5, 0.1),
    GapRange(5, 80, 5),
    BackGauge(500, 100_000),
    HoldDown(4500),
    force_limit_kn=170.0,
)


def texts(picture):
    return [(one.text, one) for one in ET.fromstring(picture).iter(f"{SVG}text")]


def points(path):
    return [tuple(map(float, pair.split())) for pair in re.split("[ML]", path.get("d"))[1:]]


def curves_of(picture):
    paths = [one for one in ET.fromstring(picture).iter(f"{SVG}path") if one.get("stroke-width") == "2"]
    return [points(path) for path in paths]


def test_the_end_of_each_curve_names_grade_thickness_and_limit():
    picture = capacity_svg(SHEAR, GRADES)
    said = " ".join(text or "" for text, _ in texts(picture))
    for row in capacity(SHEAR, GRADES, [SHEAR.cutting_length]):
        name = f"{row.grade} *" if row.leave_needed else row.grade
        assert f"{name}: {row.thickness / 100:g} mm ({row.governed_by})" in said


def test_hard_plate_is_marked_as_wanting_the_makers_leave():
    hard = material_named("wear plate 400 HBW")
    assert "Hard plate: only where the makers" in capacity_table(SHEAR, [hard])
    assert "wear plate 400 HBW *" in capacity_table(SHEAR, [hard])
    assert "Hard plate" in capacity_svg(SHEAR, [hard])
    assert "Hard plate" not in capacity_table(SHEAR, GRADES[:1]) + capacity_svg(SHEAR, GRADES[:1])


def test_a_curve_passes_through_the_thickness_of_every_length():
    (drawn,) = curves_of(capacity_svg(SHEAR, GRADES[:1]))
    lengths = curve_lengths(SHEAR)
    rows = capacity(SHEAR, GRADES[:1], lengths)
    assert len(drawn) == len(rows) == len(lengths)
    # heights are to scale: equal ratios of thickness, measured from the axis at y = 0
    axis = max(
        float(one.get("y1")) for one in ET.fromstring(capacity_svg(SHEAR, GRADES[:1])).iter(f"{SVG}line")
    )
    unit = (axis - drawn[0][1]) / rows[0].thickness
    for (_, y), row in zip(drawn, rows, strict=True):
        assert axis - y == pytest.approx(unit * row.thickness, abs=0.2)
    assert all(a[0] < b[0] for a, b in itertools.pairwise(drawn))


def test_grades_with_the_same_curve_share_it():
    twin = replace(GRADES[0], grade="twin steel")
    picture = capacity_svg(SHEAR, [GRADES[0], twin])
    assert len(curves_of(picture)) == 1
    assert any("plain steel, twin steel: " in (text or "") for text, _ in texts(picture))


def test_curves_differ_by_dash_as_well_as_by_colour():
    paths = [
        one
        for one in ET.fromstring(capacity_svg(SHEAR, GRADES)).iter(f"{SVG}path")
        if one.get("stroke-width") == "2"
    ]
    assert len({path.get("stroke-dasharray") for path in paths}) == len(paths) == 4


@pytest.mark.parametrize("draw", [capacity_svg, lambda m, g: force_svg(m, g[1])], ids=["capacity", "force"])
def test_all_words_stay_inside_the_picture_and_names_do_not_meet(draw):
    picture = draw(SHEAR, GRADES)
    wide = float(ET.fromstring(picture).get("width"))
    rows = []
    for text, one in texts(picture):
        size = float(one.get("font-size"))
        long = text_width(text, size, one.get("font-weight") == "bold")
        x = float(one.get("x")) - {"start": 0, "middle": long / 2, "end": long}[one.get("text-anchor")]
        assert x >= 0
        assert x + long <= wide + 1
        if one.get("fill") not in {"#16202b", "#5a6672", "#b8480b"} or float(one.get("x")) > 700:
            rows.append(float(one.get("y")))
    assert all(b - a >= 12 for a, b in itertools.pairwise(sorted(set(rows))))


def test_the_force_picture_shows_every_method_and_shuts_what_is_over_the_limit():
    picture = force_svg(SHEAR, GRADES[1])
    names = [one.name for one in check_force(SHEAR, GRADES[1], 300, 300_000).by_method[:-1]]
    said = [text or "" for text, _ in texts(picture)]
    for name in names:
        assert any(text.startswith(f"{name}: ") for text in said)
    assert "over the limit of 170 kN" in said
    assert any(text.endswith("mm at most (force)") for text in said)
    assert len(curves_of(picture)) == len(names)


def test_the_force_picture_says_which_curve_counts():
    said = [text or "" for text, _ in texts(force_svg(SHEAR, GRADES[1]))]
    assert any("the highest that may rule counts" in text for text in said)
    rated_only = [text or "" for text, _ in texts(force_svg(replace(SHEAR, force_limit_kn=None), GRADES[1]))]
    assert any("by the raked triangle: only that curve counts" in text for text in rated_only)
    assert not any("the highest that may rule counts" in text for text in rated_only)


def test_a_machine_with_parallel_blades_has_one_force():
    picture = force_svg(replace(SHEAR, rake=Rake(0.0, 0.0)), GRADES[0])
    assert len(curves_of(picture)) == 1


def test_nothing_of_the_input_can_break_the_document():
    picture = capacity_svg(SHEAR, [replace(GRADES[0], grade='S"<&>' + chr(7))])
    assert "Bench &lt;3 m&gt; &amp; more" in picture
    ET.fromstring(picture)


def test_pictures_are_the_same_every_time():
    assert capacity_svg(SHEAR, GRADES) == capacity_svg(SHEAR, GRADES)
    assert force_svg(SHEAR, GRADES[0]) == force_svg(SHEAR, GRADES[0])


def test_what_cannot_be_drawn_is_refused():
    with pytest.raises(ValueError, match="none of them"):
        capacity_svg(SHEAR, [material_named("wear plate 500 HBW")])
    with pytest.raises(ValueError, match="at most 8"):
        capacity_svg(SHEAR, BUILT_IN)


def test_the_table_holds_the_same_figures_as_the_engine():
    lengths = (10_000, 300_000)
    table = capacity_table(SHEAR, BUILT_IN, lengths)
    for row in capacity(SHEAR, BUILT_IN, lengths):
        line = next(one for one in table.splitlines() if one.startswith(f"{row.grade} "))
        assert (f"{row.thickness / 100:.2f}" if row.thickness else "–") in line
    assert "no permission to cut" in table


@pytest.mark.parametrize(
    ("high", "last", "step"),
    [(7.0, 7.0, 1.0), (12.96, 12.0, 2.0), (0.9, 0.8, 0.2), (860, 800, 200), (1, 1, 0.2)],
)
def test_ticks_are_round(high, last, step):
    ticks = round_ticks(high)
    assert ticks[-1][0] == pytest.approx(last)
    assert ticks[1][0] - ticks[0][0] == pytest.approx(step)


def test_labels_of_curves_that_end_together_are_moved_apart():
    axis = Axis(0.0, 10.0, round_ticks(10.0), "x")
    curves = [Curve(((0.0, 0.0), (10.0, 0.01 * i)), f"curve {i}") for i in range(8)]
    picture = chart_svg("t", (), axis, axis, curves)
    rows = sorted(float(one.get("y")) for text, one in texts(picture) if (text or "").startswith("curve"))
    assert all(b - a >= 15.9 for a, b in itertools.pairwise(rows))
    bottom = max(float(one.get("y1")) for one in ET.fromstring(picture).iter(f"{SVG}line"))
    assert rows[-1] <= bottom + 5


def test_where_the_hold_down_reaches_less_than_is_wanted_the_table_says_so() -> None:
    weak = replace(SHEAR, hold_down=replace(SHEAR.hold_down, force_kn=5.0, wanted_share=None))
    strong = replace(SHEAR, hold_down=replace(SHEAR.hold_down, force_kn=5000.0, wanted_share=None))
    stated = replace(SHEAR, hold_down=replace(SHEAR.hold_down, force_kn=5.0, wanted_share=0.15))
    told = "the hold-down has less than is usually wanted"
    assert told in capacity_table(weak, GRADES[:1])
    assert told not in capacity_table(strong, GRADES[:1]) + capacity_table(stated, GRADES[:1])
