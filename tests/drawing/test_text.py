"""The program on a terminal: everything an operator cuts from, on every line that fits the width."""

from dataclasses import replace

import pytest

from service.drawing.text import ROW_HEAD, program_rows, program_text
from service.engine.estimate import summarise
from service.engine.findings import Finding
from service.engine.machine import BackGauge, FrontStops, GapRange, HoldDown, Lifting, Machine, Rake, Rating
from service.engine.materials_table import material_named
from service.engine.order import Options, Order, Part, StockItem, Tolerance
from service.engine.plan import Bound, CutPlan, Layout, Leaf, Node, Split, Unplaced
from service.engine.program.write import write_program
from service.engine.quantities import mm

STEEL = material_named("S235JR")
SHEAR = Machine(
    "northgate-3m",
    "Northgate 3 m",
    mm(3000),
    Rating(mm(6)),
    Rake(1.5, 1.5),
    GapRange(5, 100),
    BackGauge(mm(5), mm(750)),
    HoldDown(mm(45)),
    front_stops=FrontStops(mm(50), mm(1500)),
    squaring_arm=mm(1000),
    relief=True,
    lifting=Lifting(25, 40, 500),
)
PARTS = {
    "COVER": Part("COVER", mm(600), mm(300), 4, "S235JR", mm(3)),
    "PANEL": Part("PANEL", mm(900), mm(300), 1, "S235JR", mm(3), tolerance=Tolerance("c")),
}
SHEET = StockItem("SH-4", mm(2500), mm(1250), 1, "S235JR", mm(3), heat="H123")


def strip(y: float, *parts: tuple[str, float]) -> Split:
    children: list[Node] = [Leaf("trim", 0, mm(y), mm(5), mm(300))]
    x = mm(5)
    for ref, length in parts:
        children.append(Leaf("part", x, mm(y), mm(length), mm(300), ref))
        x += mm(length)
    children.append(Leaf("scrap", x, mm(y), mm(2500) - x, mm(300)))
    return Split("x", 0, mm(y), mm(2500), mm(300), tuple(children))


def made(parts: tuple[tuple[str, float], ...] = (("COVER", 600),) * 4) -> CutPlan:
    """A plan of one sheet: a strip of the parts, an offcut, and one part that found no place."""
    trim = Leaf("trim", 0, 0, mm(2500), mm(5))
    offcut = Leaf("offcut", 0, mm(305), mm(2500), mm(945))
    tree = Split("y", 0, 0, mm(2500), mm(1250), (trim, strip(5, *parts), offcut))
    layouts = (Layout(1, "SH-4", "S235JR", mm(3), 1, tree),)
    program = write_program(SHEAR, STEEL, layouts, PARTS, {"SH-4": SHEET}, Options(), SHEAR.cutting_length)
    order = Order("W-1042", SHEAR, (STEEL,), tuple(PARTS.values()), (SHEET,))
    return CutPlan(
        order_ref="W-1042",
        machine_id="northgate-3m",
        fingerprint="0123456789abcdef" * 4,
        engine_version="9.9.9",
        summary=summarise(order, layouts, program),
        bound=Bound(1, 1.5e6, None, 0, 0.125, "area"),
        layouts=layouts,
        program=program,
        findings=(Finding("note", "heavy", "One sheet goes by crane.", "machine profile"),),
        unplaced=(Unplaced("BIG", 2, "too-long", "3200 mm is more than the 3000 mm that can be cut"),),
        cautions=("Keep hands clear of the hold-downs.",),
        stopped_early=True,
    )


def test_the_head_names_order_machine_plan_and_how_good_it_is() -> None:
    text = program_text(made())
    for wanted in ("W-1042", "northgate-3m", "0123456789ab", "9.9.9", "1 sheet for 4 parts", "12.5%"):
        assert wanted in text
    assert "0123456789abcdef" not in text
    assert "stopped before its end" in text


def test_the_gauge_value_stands_in_the_line_of_the_step() -> None:
    heads = [line for line in program_text(made()).splitlines() if line.startswith("--- STEP")]
    assert [line.split("]")[0] for line in heads] == [
        "--- STEP 1 ---[ BACK GAUGE  5 ",
        "--- STEP 2 ---[ BACK GAUGE  300 ",
        "--- STEP 3 ---[ BACK GAUGE  5 ",
        "--- STEP 4 ---[ BACK GAUGE  600 ",
    ]
    assert "4 cuts, 4 strokes" in heads[3]


def test_a_step_says_which_edge_goes_where_and_how_it_is_turned() -> None:
    text = program_text(made())
    assert "from the rack: the long mill edge to the back gauge" in text
    assert "as it lies: the edge just cut to the back gauge" in text
    assert "turn it a quarter: the short mill edge to the back gauge" in text
    assert "300 along the blade, a cut side edge to the squaring arm" in text


def test_a_step_says_where_each_side_goes() -> None:
    text = program_text(made())
    assert "4 × PART COVER, 600 × 300" in text
    assert "1 × piece 1b, 2500 × 300, for step 3" in text
    assert "1 × OFFCUT 2500 × 945, to the rack" in text


def test_a_front_stop_says_what_stays_in_front() -> None:
    text = program_text(made((("PANEL", 900),)))
    assert "[ FRONT STOP  900 ]" in text
    assert "turn it end for end: the edge just cut in front, against the stop; 900 stays in front" in text


def test_after_a_front_stop_the_rest_has_the_edge_just_cut() -> None:
    text = program_text(made((("PANEL", 900), ("PANEL", 900))))
    assert "as it lies: the edge just cut in front, against the stop; 900 stays in front" in text


def test_a_turned_piece_has_another_edge_than_the_one_just_cut() -> None:
    plan = made()
    cross = Split(
        "x",
        0,
        mm(5),
        mm(2500),
        mm(1245),
        (Leaf("trim", 0, mm(5), mm(5), mm(1245)), Leaf("scrap", mm(5), mm(5), mm(2495), mm(1245))),
    )
    tree = Split("y", 0, 0, mm(2500), mm(1250), (Leaf("trim", 0, 0, mm(2500), mm(5)), cross))
    layouts = (replace(plan.layouts[0], tree=tree),)
    program = write_program(SHEAR, STEEL, layouts, {}, {"SH-4": SHEET}, Options(), SHEAR.cutting_length)
    text = program_text(replace(plan, layouts=layouts, program=program))
    assert "turn it a quarter: the short mill edge to the back gauge" in text


def test_heats_are_marked_before_the_cut_and_only_where_the_stock_has_one() -> None:
    with_heat = program_text(made(), heats={"SH-4": "H123"})
    assert with_heat.count("heat H123 on each") == 2
    assert "heat H123 on each part before it is cut off" in with_heat
    assert "heat H123 on each offcut before it is cut off" in with_heat
    assert with_heat.index("heat H123 on each part") < with_heat.index("4 × PART COVER")
    assert "heat" not in program_text(made())


def test_what_was_not_planned_and_what_to_beware_of_stand_at_the_end() -> None:
    text = program_text(made())
    end = text[text.index("NOT PLANNED") :]
    assert "2 × BIG: 3200 mm is more than the 3000 mm that can be cut" in end
    assert "NOTE    One sheet goes by crane." in end
    assert end.rstrip().endswith("- Keep hands clear of the hold-downs.")


def test_cautions_of_a_step_are_shown_and_lifting_only_once() -> None:
    first = program_text(made()).split("--- STEP 2")[0]
    assert "74 kg, BY CRANE" in first
    assert first.lower().count("crane") == 1
    plan = made()
    warned = replace(plan.program[0], findings=(Finding("stop", "x", "Do not cut.", "test"),))
    text = program_text(replace(plan, program=(warned, *plan.program[1:])))
    assert "STOP    Do not cut." in text


@pytest.mark.parametrize("width", [60, 80, 100, 132])
def test_no_line_is_wider_than_asked(width: int) -> None:
    lines = program_text(made(), width=width, heats={"SH-4": "H123"}).splitlines()
    assert max(len(line) for line in lines) <= width


def test_a_width_that_cannot_be_read_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 60 columns"):
        program_text(made(), width=59)


def test_a_terminal_of_western_europe_can_show_every_character() -> None:
    # Windows consoles outside UTF-8: a plan must not fail to print there.
    program_text(made(), heats={"SH-4": "H123"}).encode("cp1252")


def test_rows_have_a_value_for_every_column_and_lengths_in_millimetres() -> None:
    plan = made()
    rows = program_rows(plan)
    assert len(rows) == len(plan.program)
    assert all(len(row) == len(ROW_HEAD) for row in rows)
    second = dict(zip(ROW_HEAD, rows[1], strict=True))
    assert (second["step"], second["stock"], second["gauge_mm"], second["depth_mm"]) == (
        2,
        "SH-4",
        300.0,
        1245.0,
    )
    assert second["falls"] == "1 × piece 1b, 2500 × 300, for step 3"


def test_a_layout_without_cuts_says_so() -> None:
    plan = made()
    whole = replace(plan.layouts[0], tree=Leaf("part", 0, 0, mm(600), mm(300), "COVER"))
    assert "No cut is needed" in program_text(replace(plan, layouts=(whole,), program=()))
