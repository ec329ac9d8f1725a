"""A plan worked by hand: one sheet, eight parts, four settings of the gauge.

The figures were worked out on paper from the rules of the trade before the program was written; common
practice, no source. A sheet of 2500 × 1250 × 3 with mill edges and 5 mm of trim gives eight parts of
600 × 300: trim a long edge, cut two strips of 300, keep the rest as an offcut; turn both strips, lay
them side by side with a cut edge on the squaring arm, trim the mill ends, cut each strip into four.
"""

from dataclasses import replace

import pytest

from service.engine.estimate import summarise
from service.engine.machine import HoldDown, Machine
from service.engine.materials import Material
from service.engine.order import Options, Order, Part, StockItem
from service.engine.plan import Layout, Leaf, Outcome, Split, Step
from service.engine.program.write import ProgramError
from service.engine.quantities import mm
from tests.engine.program.written import write_program

PARTS = {"P": Part("P", mm(600), mm(300), 8, "S235JR", mm(3))}
SHEET = StockItem("SHEET", mm(2500), mm(1250), 4, "S235JR", mm(3), price=80.0)


def strip(y: float) -> Split:
    ends = (
        Leaf("trim", 0, mm(y), mm(5), mm(300)),
        *(Leaf("part", mm(5 + 600 * i), mm(y), mm(600), mm(300), "P") for i in range(4)),
        Leaf("scrap", mm(2405), mm(y), mm(95), mm(300)),
    )
    return Split("x", 0, mm(y), mm(2500), mm(300), ends)


def layout(repeat: int = 1) -> Layout:
    trim = Leaf("trim", 0, 0, mm(2500), mm(5))
    offcut = Leaf("offcut", 0, mm(605), mm(2500), mm(645))
    tree = Split("y", 0, 0, mm(2500), mm(1250), (trim, strip(5), strip(305), offcut))
    return Layout(1, "SHEET", "S235JR", mm(3), repeat, tree)


def written(shear: Machine, steel: Material, repeat: int = 1, *, batch: bool = True) -> tuple[Step, ...]:
    options = Options(batch=batch)
    return write_program(
        shear, steel, (layout(repeat),), PARTS, {"SHEET": SHEET}, options, shear.cutting_length
    )


def test_eight_strokes_at_four_settings_of_the_gauge(shear: Machine, steel: Material) -> None:
    steps = written(shear, steel)
    assert [step.gauge for step in steps] == [mm(5), mm(300), mm(5), mm(600)]
    assert [step.strokes for step in steps] == [1, 2, 1, 4]
    assert [step.repeat for step in steps] == [1, 2, 1, 4]
    assert [step.along_blade for step in steps] == [mm(2500), mm(2500), mm(300), mm(300)]
    assert [step.depth for step in steps] == [mm(1250), mm(1245), mm(2500), mm(2495)]
    assert {step.gauging for step in steps} == {"back gauge"}


def test_two_trims_come_before_what_is_measured_from_them(shear: Machine, steel: Material) -> None:
    steps = written(shear, steel)
    trims = [step.number for step in steps if all(drop.kind == "trim" for drop in step.drops)]
    assert trims == [1, 3]
    assert [step.edge_state for step in steps] == ["mill", "cut", "mill", "cut"]


def test_one_turn_of_the_two_strips_side_by_side(shear: Machine, steel: Material) -> None:
    steps = written(shear, steel)
    assert [step.turn for step in steps] == ["none", "none", "quarter", "none"]
    assert [step.gang for step in steps] == [1, 1, 2, 2]
    assert [step.squared for step in steps] == [False, False, True, True]


def test_relief_is_on_for_the_trims_only(shear: Machine, steel: Material) -> None:
    assert [step.settings.relief for step in written(shear, steel)] == [True, False, True, False]


def test_where_every_piece_goes(shear: Machine, steel: Material) -> None:
    first, second, third, fourth = written(shear, steel)
    assert first.remainders == (Outcome("piece", "1a", mm(2500), mm(1245), 1),)
    assert second.drops == (Outcome("piece", "1b", mm(2500), mm(300), 2),)
    assert second.remainders == (Outcome("offcut", None, mm(2500), mm(645), 1),)
    assert third.drops == (Outcome("trim", None, mm(5), mm(300), 2),)
    assert fourth.drops == (Outcome("part", "P", mm(600), mm(300), 8),)
    assert fourth.remainders == (Outcome("scrap", None, mm(95), mm(300), 2),)
    assert [step.piece for step in (first, second, third, fourth)] == ["1", "1a", "1b", "1c"]


def test_the_summary_counts_what_was_counted_by_hand(shear: Machine, steel: Material) -> None:
    order = Order("W", shear, (steel,), tuple(PARTS.values()), (SHEET,))
    summary = summarise(order, (layout(),), written(shear, steel))
    assert (summary.strokes, summary.gauge_moves, summary.turns, summary.settings_changes) == (8, 4, 1, 1)
    # 3 × 2500, then on two strips 5 × 300: 7.5 m + 3 m.
    assert summary.cut_metres == pytest.approx(10.5)
    # 8 × 0.6 × 0.3 m² of parts from 2.5 × 1.25 m² less the offcut of 2.5 × 0.645 m².
    assert summary.parts_area_mm2 == pytest.approx(1.44e6)
    assert summary.utilisation == pytest.approx(1.44 / (3.125 - 1.6125))
    assert summary.scrap_area_mm2 == pytest.approx(12500 + 2 * 1500 + 2 * 28500)
    # 7850 kg/m³ · 1.44 m² · 3 mm.
    assert summary.parts_kg == pytest.approx(33.912)
    assert summary.material_cost == 80.0


def test_the_minutes_are_those_summed_by_hand(shear: Machine, steel: Material) -> None:
    order = Order("W", shear, (steel,), tuple(PARTS.values()), (SHEET,))
    setup = 180
    loading = 60 + 120  # 73.6 kg by crane; the sheet then lies at the blade for step 2 as well
    gauge = (2 + 9.95) + (2 + 2.95) + (2 + 2.95) + (2 + 5.95)  # from 1000 to 5, 300, 5, 600 at 100 mm/s
    placing = (1 + 2 + 2 + 8) * 8
    turns = 2 * 10
    # Travel: 77 of 93 mm at 2500, 27 of 93 at 600 (length · tan 1.5° + thickness + 8, whole mm upwards).
    strokes = 3 * (3 * 77 + 5 * 27) / 93
    collecting = 2 * 30  # strips and parts; trims lie until later
    by_hand = setup + loading + gauge + placing + turns + strokes + collecting
    assert summarise(order, (layout(),), written(shear, steel)).minutes == pytest.approx(by_hand / 60)


def test_equal_sheets_run_through_each_setting_together(shear: Machine, steel: Material) -> None:
    steps = written(shear, steel, repeat=3)
    assert [step.gauge for step in steps] == [mm(5), mm(300), mm(5), mm(600)]
    assert [step.pieces for step in steps] == [3, 3, 6, 6]
    # Six strips of 300 fit side by side on 3000; the shop holds four at most, so three and three.
    assert [step.gang for step in steps] == [1, 1, 3, 3]
    assert [step.strokes for step in steps] == [3, 6, 2, 8]


def test_without_batches_a_sheet_is_finished_before_the_next(shear: Machine, steel: Material) -> None:
    steps = written(shear, steel, repeat=2, batch=False)
    assert [step.piece for step in steps] == ["1.1", "1.1a", "1.1b", "1.1c", "1.2", "1.2a", "1.2b", "1.2c"]
    assert [step.number for step in steps] == list(range(1, 9))


def test_a_clamping_depth_beyond_the_last_rest_is_refused_and_said(shear: Machine, steel: Material) -> None:
    deep = replace(shear, hold_down=HoldDown(mm(100)))
    with pytest.raises(ProgramError, match=r"layout 1 cannot be cut on the worked shear: .*clamping depth"):
        written(deep, steel)
