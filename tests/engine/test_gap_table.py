"""The machine's own gap table: read between its lines, and not left without a word."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.engine.checks import capacity
from service.engine.clearance import gap_for, thickest_by_gap
from service.engine.gap_table import table_gap
from service.engine.machine import BackGauge, GapRange, GapRow, HoldDown, Machine, Rake, Rating
from service.engine.materials_table import BUILT_IN, material_named

ROWS = (
    GapRow(400, 100, 6),
    GapRow(400, 300, 20),
    GapRow(400, 600, 48),
    GapRow(600, 100, 8),
    GapRow(600, 300, 28),
    GapRow(600, 500, 50),
)
STEEL = material_named("plain steel")
SHEAR = Machine(
    "m",
    "Bench 3 m",
    300_000,
    Rating(600),
    Rake(1.5, 1.5),
    GapRange(5, 80, 1),
    BackGauge(500, 100_000),
    HoldDown(4500),
    gap_table=ROWS,
)


def codes(findings):
    return [finding.code for finding in findings]


@pytest.mark.parametrize("row", ROWS)
def test_a_row_gives_its_own_gap(row):
    assert table_gap(ROWS, row.rm, row.thickness) == (row.gap, "")


@pytest.mark.parametrize(
    ("rm", "thickness", "gap"),
    [
        (400, 200, 13.0),
        (500, 300, 24.0),  # half way between the strengths
        (450, 200, 13 + (18 - 13) / 4),
        (500, 400, (20 + 28 / 3 + 39) / 2),
    ],
)
def test_between_rows_the_gap_is_interpolated_in_thickness_then_in_strength(rm, thickness, gap):
    found = table_gap(ROWS, rm, thickness)
    assert found.gap == pytest.approx(gap)
    assert found.beyond == ""


@pytest.mark.parametrize(
    ("rm", "thickness", "words"),
    [
        (299, 300, "begins at 400"),
        (751, 300, "ends at 600"),
        (400, 99, "begin at 1 mm"),
        (400, 601, "end at 6 mm"),
        (500, 501, "rows for 600 N/mm² end at 5 mm"),
    ],
)
def test_the_table_is_never_left_without_a_word(rm, thickness, words):
    assert words in table_gap(ROWS, rm, thickness).beyond
    own = replace(STEEL, rm_low=float(rm), rm_high=float(rm))
    assert "gap-beyond-table" in codes(gap_for(SHEAR, own, thickness)[1])


def test_a_table_for_one_steel_is_not_left_by_the_usual_ones():
    # The rating plate's 450 N/mm²; S235JR has 360 to 510, 435 in the middle.
    machine = replace(SHEAR, gap_table=(GapRow(450, 100, 6), GapRow(450, 600, 40)))
    assert codes(gap_for(machine, material_named("S235JR"), 300)[1]) == ["gap"]
    assert "gap-beyond-table" in codes(gap_for(machine, material_named("5754 H22"), 300)[1])


def test_a_table_far_from_the_usual_share_is_told_of_and_never_called_usual():
    machine = replace(SHEAR, gap_table=(GapRow(450, 100, 50), GapRow(450, 600, 70)))
    (said,) = [
        one for one in gap_for(machine, material_named("S235JR"), 300)[1] if one.code == "gap-table-unusual"
    ]
    # 3 mm at 5 to 8 %
    assert "table says 0.58 mm" in said.message
    assert "usual are 0.15 to 0.24 mm" in said.message


def test_inside_the_table_there_is_one_note_that_names_it():
    gap, findings = gap_for(SHEAR, replace(STEEL, rm_low=400.0, rm_high=400.0), 300)
    assert gap == 20
    assert codes(findings) == ["gap"]
    assert findings[0].basis == "machine's own gap table, read at 400 N/mm²"


def test_the_table_is_read_at_the_middle_of_the_range_of_strength():
    gap, findings = gap_for(SHEAR, replace(STEEL, rm_low=400.0, rm_high=600.0), 300)
    assert gap == 24
    assert "read at 500 N/mm²" in findings[0].basis


@given(
    st.floats(300, 700),
    st.floats(0, 50),
    st.integers(20, 900),
    st.integers(0, 30),
    st.sampled_from([100, 300, 500, 600]),
)
def test_the_gap_never_falls_with_thickness_or_strength_and_has_no_step_at_a_row(rm, more, t, dt, row):
    base = table_gap(ROWS, rm, t).gap
    assert table_gap(ROWS, rm, t + dt).gap >= base - 1e-9
    assert table_gap(ROWS, rm + more, t).gap >= base - 1e-9
    # one hundredth of thickness moves the gap by no more than the steepest line of the table
    steepest = 0.12
    for side in (-1, 1):
        assert abs(table_gap(ROWS, rm, row + side).gap - table_gap(ROWS, rm, row).gap) <= steepest
    for edge in (400, 600):
        near = [table_gap(ROWS, edge + side, t).gap for side in (-1e-9, 0, 1e-9)]
        assert max(near) - min(near) < 1e-6


@pytest.mark.parametrize("highest", [3, 10, 80])
@pytest.mark.parametrize("material", [m for m in BUILT_IN if m.shearable][:6], ids=lambda m: m.grade)
def test_the_thickest_by_the_table_is_the_last_that_is_not_stopped(material, highest):
    machine = replace(SHEAR, gap=GapRange(1, highest))
    thickest = thickest_by_gap(machine, material)
    assert "gap-too-narrow" not in codes(gap_for(machine, material, thickest)[1])
    assert codes(gap_for(machine, material, thickest + 1)[1]) == ["gap-too-narrow"]


def test_a_table_that_outgrows_the_gap_range_limits_the_capacity():
    machine = replace(SHEAR, gap=GapRange(1, 3), rating=Rating(2000))
    (row,) = capacity(machine, [STEEL], [100_000])
    assert row.governed_by == "blade gap"
    assert row.thickness == thickest_by_gap(machine, STEEL)


def test_an_empty_table_is_refused():
    with pytest.raises(ValueError, match="at least one row"):
        table_gap([], 400, 300)
