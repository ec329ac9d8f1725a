"""The program on a terminal: everything an operator cuts from, on every line that fits the width."""

import re
from dataclasses import replace

import pytest

from service.drawing.steps import lift_text
from service.drawing.text import ROW_HEAD, not_planned, program_rows, program_text
from service.engine.estimate import summarise
from service.engine.findings import Finding
from service.engine.handling import cautions_for
from service.engine.machine import BackGauge, FrontStops, GapRange, HoldDown, Lifting, Machine, Rake, Rating
from service.engine.materials_table import material_named
from service.engine.order import Objective, Options, Order, Part, StockItem, Tolerance
from service.engine.plan import Bound, CutPlan, Layout, Leaf, Node, Outcome, Split, Unplaced
from service.engine.quantities import mm
from tests.engine.program.written import write_program

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
    gauge_clears=True,
    squaring_arm=mm(1000),
    relief=True,
    lifting=Lifting(25, 40, 500),
)
PARTS = {
    "COVER": Part("COVER", mm(600), mm(300), 4, "S235JR", mm(3)),
    "PANEL": Part("PANEL", mm(900), mm(300), 1, "S235JR", mm(3), tolerance=Tolerance("c")),
}
SHEET = StockItem("SH-4", mm(2500), mm(1250), 1, "S235JR", mm(3), heat="H123")
ORDER = Order("W-1042", SHEAR, (STEEL,), tuple(PARTS.values()), (SHEET,))


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
    return CutPlan(
        order_ref="W-1042",
        machine_id="northgate-3m",
        fingerprint="0123456789abcdef" * 4,
        engine_version="9.9.9",
        summary=summarise(ORDER, layouts, program),
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
    assert "plan 0123456789abcdef" in text
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
    assert "lay     the long mill edge to the back gauge" in text
    assert "as it lies: the edge just cut to the back gauge" in text
    assert "turn it a quarter: the short mill edge to the back gauge" in text
    assert "300 along the blade, a cut side edge to the squaring arm" in text


def test_a_step_says_where_each_side_goes() -> None:
    text = program_text(made())
    assert "4 × PART COVER, 600 × 300" in text
    assert "1 × piece 1b, 2500 × 300, for step 3" in text
    assert "1 × OFFCUT 2500 × 945, rolled along the 2500, to the rack" in text


def test_an_offcut_keeps_the_order_of_its_sides_as_stock_does() -> None:
    """Along the rolling direction first, be it the shorter side."""
    plan = made()
    first = replace(plan.program[0], drops=(Outcome("offcut", None, mm(765), mm(1245), 2),))
    text = program_text(replace(plan, program=(first, *plan.program[1:])))
    assert "2 × OFFCUT 765 × 1245, rolled along the 765, to the rack" in text


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
    with_heat = program_text(made(), ORDER)
    assert with_heat.count("heat H123 on each") == 2
    assert "heat H123 on each part before it is cut off" in with_heat
    rolled = "the rolling direction on each offcut before it is cut off"
    assert f"heat H123 on each offcut, {rolled}" in with_heat
    assert f"mark    {rolled}" in program_text(made())
    assert with_heat.index("heat H123 on each part") < with_heat.index("4 × PART COVER")
    assert "heat" not in program_text(made())


def test_what_was_not_planned_and_what_to_beware_of_stand_at_the_end() -> None:
    text = program_text(made())
    end = text[text.index("NOT PLANNED\n") :]
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
    lines = program_text(made(), ORDER, width=width).splitlines()
    assert max(len(line) for line in lines) <= width


def test_a_width_that_cannot_be_read_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 60 columns"):
        program_text(made(), width=59)


def test_a_terminal_of_western_europe_can_show_every_character() -> None:
    # Windows consoles outside UTF-8: a plan must not fail to print there.
    program_text(made(), ORDER).encode("cp1252")


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


def test_what_is_missing_stands_in_the_second_line_with_how_many_there_are() -> None:
    plan = made()
    assert program_text(plan).splitlines()[1] == "NOT PLANNED: 2 of 6 pieces, see the end"
    many = replace(plan, unplaced=(Unplaced("TINY", 10_629, "no-gauging", "too small"),))
    assert not_planned(many) == "NOT PLANNED: 10 629 of 10 633 pieces"
    assert "10 629 × TINY: too small" in program_text(many)
    whole = replace(plan, unplaced=())
    assert not_planned(whole) is None
    assert "NOT PLANNED" not in program_text(whole)


def test_a_plan_of_nothing_boasts_of_nothing() -> None:
    plan = made()
    empty = replace(plan, layouts=(), program=(), bound=Bound(0, 0, None, 0, 0.0, "nothing placed"),
                    summary=summarise(ORDER, (), ()))  # fmt: skip
    text = program_text(empty)
    assert "Nothing could be planned" in text
    for boast in ("%", "best", "no plan", "0 strokes"):
        assert boast not in text


def test_the_bound_speaks_of_area_or_of_cost_and_never_of_a_count_of_pieces() -> None:
    plan = made()
    best = replace(plan, bound=Bound(1, 3.125e6, None, 1, 0.0, "area"))
    text = one_line(program_text(best))
    assert (
        "The stock measures 3.12 m²; no plan for the parts that are planned can do with less (area)." in text
    )
    assert "stock piece" not in text
    weak = replace(plan, bound=Bound(1, 1.5e6, None, 1, 3.125 / 1.5 - 1, "area"), unplaced=())
    text = one_line(program_text(weak))
    assert (
        "no plan for these parts can do with less than 1.50 m² (area), so this one is at most 108.3%" in text
    )
    assert "the best may be much nearer" in text
    priced = replace(
        plan,
        summary=replace(plan.summary, material_cost=110.0),
        bound=Bound(1, 1.5e6, 100.0, 0, 0.1, "price of area"),
    )
    text = one_line(program_text(priced))
    assert "The stock costs 110.00; no plan" in text
    assert "less than 100.00 (price of area), so this one is at most 10.0% above the best." in text


def one_line(text: str) -> str:
    return " ".join(text.split())


def test_the_head_says_what_more_handling_may_have_been_taken_for() -> None:
    plan, order = made(), ORDER
    kept = replace(plan, summary=replace(plan.summary, offcut_area_mm2=640_000.0))
    words = "Offcuts of 0.64 m² are kept: of plans with the same sheets the one that keeps more is taken"
    assert words in " ".join(program_text(kept, order).split())
    none = replace(plan, summary=replace(plan.summary, offcut_area_mm2=0.0))
    other = replace(order, options=replace(order.options, objective="time"))
    for one, of in ((none, order), (kept, other)):
        assert "are kept: of plans" not in " ".join(program_text(one, of).split())


def test_one_stack_waits_and_several_wait() -> None:
    plan, order = made(), ORDER
    for count, words in ((1, "at most 1 stack of pieces waits at once"), (2, "2 stacks of pieces wait at")):
        one = replace(plan, summary=replace(plan.summary, most_waiting=count))
        assert words in " ".join(program_text(one, order).split())


def test_a_longer_search_is_proposed_by_name_unless_it_was_the_longest() -> None:
    assert "--effort thorough" in program_text(made(), ORDER)
    longest = replace(ORDER, options=Options(effort="thorough"))
    text = program_text(made(), longest)
    assert "stopped before its end." in text
    assert "--effort" not in text


def test_a_longer_search_promises_only_what_is_not_proved_impossible() -> None:
    def said(gap: float, code: str, objective: Objective) -> str:
        bound = Bound(1, 1.5e6, None, 0, gap, "area")
        left = (Unplaced("BIG", 2, code, "the stock that it fits on is used up"),)
        plan = replace(made(), bound=bound, unplaced=left)
        order = replace(ORDER, options=Options(objective=objective))
        found = re.search(
            r"The search was stopped before its end(.*?)\.(?= |$)", one_line(program_text(plan, order))
        )
        assert found
        return found[1].rpartition(") ")[2]

    assert said(0.125, "too-long", "material") == "may save material"
    assert said(0.125, "stock-exhausted", "material") == "may find a place for more pieces and save material"
    assert said(0.0, "stock-exhausted", "material") == "may find a place for more pieces"
    assert said(0.0, "too-long", "handling") == "may save handling"
    assert said(0.0, "too-long", "material") == ""


def test_a_step_says_where_its_pieces_are() -> None:
    text = program_text(made())
    assert "74 kg, BY CRANE; from the rack" in text
    # The strip falls behind at step 2; its rest stays on the table.
    assert (
        "1 × piece 1b, 2500 × 300, 18 kg, one person by the shop's limits only, ask lift-check; from behind, "
        "machine stopped"
    ) in one_line(text)
    assert "lift-check; from the table" in one_line(text)


def test_one_person_is_told_with_a_reserve_where_guidance_recommends_less() -> None:
    """By the equation of NIOSH publication 94-110, for hands at 75 cm and a poor hold (CM 0.90).

    H is 20 cm and half of the smaller side: 23 kg · 25/45 · 0.90 = 11.5 kg for a side of 500 mm; beyond
    63 cm, a side of 860 mm, the equation allows for no lift.
    """
    step = made().program[0]
    for kg, sides, alone in (
        (11.4, (600, 500), True),
        (11.6, (600, 500), False),
        (1.0, (2000, 860), True),
        (1.0, (2000, 861), False),
    ):
        lifted = replace(step, lift="one person", piece_kg=kg, along_blade=mm(sides[0]), depth=mm(sides[1]))
        reserve = "" if alone else " by the shop's limits only, ask lift-check"
        assert lift_text(lifted) == f"one person{reserve}"
    assert lift_text(step) == "crane"


def test_a_piece_that_waits_is_said_to_be_put_aside() -> None:
    plan = made()
    other = replace(plan.program[2], number=2, piece="2", layout=2)
    first, *rest = plan.program
    moved = (first, other, *(replace(step, number=step.number + 1) for step in rest))
    layouts = (*plan.layouts, replace(plan.layouts[0], number=2))
    text = program_text(replace(plan, layouts=layouts, program=moved))
    assert "put aside at step 1" in text
    assert "as it lay: the edge cut at step 1 to the back gauge" in text
    # Steps stand in the order they are made, under the heads of both layouts.
    heads = [line[:10].strip(" -") for line in text.splitlines() if line.startswith(("--- STEP", "LAYOUT"))]
    assert heads == ["LAYOUT 1", "LAYOUT 2", "STEP 1", "STEP 2", "STEP 3", "STEP 4", "STEP 5"]


def test_a_gauge_in_steps_shows_what_can_be_set_and_what_is_wanted() -> None:
    plan = made()
    rounded = Finding("note", "gauge-rounded", "300.02 mm cannot be set", "test")
    odd = replace(plan.program[1], gauge=mm(300.02), findings=(rounded,))
    stepped = replace(ORDER, machine=replace(SHEAR, back_gauge=BackGauge(mm(5), mm(750), step=mm(0.1))))
    plan = replace(plan, program=(plan.program[0], odd, *plan.program[2:]))
    text = program_text(plan, stepped)
    assert "--- STEP 2 ---[ BACK GAUGE  300, wanted 300.02 ]" in text
    assert "cannot be set" not in text
    assert "NOTE    300.02 mm cannot be set" in program_text(plan)


def test_lengths_that_are_set_carry_their_unit() -> None:
    line = next(one for one in program_text(made()).splitlines() if one.startswith("  set "))
    assert re.fullmatch(
        r"  set     gap [\d.]+ mm  rake 1.5°  stroke [\d.]+ mm  relief \w+  support \w+", line
    )


def test_what_is_said_at_every_step_is_printed_once_and_a_stop_at_its_step() -> None:
    plan = made()
    same = Finding("caution", "tight", "Close to the limit.", "test")
    stop = Finding("stop", "x", "Do not cut.", "test")
    program = tuple(replace(step, findings=(same, stop)) for step in plan.program)
    text = program_text(replace(plan, program=program))
    assert text.count("Close to the limit.") == 1
    assert (
        text.index("at every step from 1 to 4:") < text.index("Close to the limit.") < text.index("STEP 1 ")
    )
    assert text.count("Do not cut.") == len(program)


def test_an_overhang_is_a_word_in_the_line_and_no_caution_of_every_step() -> None:
    table = replace(SHEAR, table_depth=mm(900))
    layouts = made().layouts
    program = write_program(table, STEEL, layouts, PARTS, {"SH-4": SHEET}, Options(), SHEAR.cutting_length)
    plan = replace(made(), program=program)
    text = program_text(plan)
    assert "along   2500 along the blade; hangs 350 mm over the front" in text
    assert "CAUTION hangs" not in text
    assert "NOTE    hangs" not in text
    assert {f.level for step in program for f in step.findings if f.code == "beyond-table"} == {"note"}
    order = replace(ORDER, machine=table)
    assert sum("hang over the front" in words for words in cautions_for(order, layouts, program)) == 1


def two_strips(first: int, second: int) -> str:
    """Two strips of one size, the first with so many covers and the second with so many."""
    trim = Leaf("trim", 0, 0, mm(2500), mm(5))
    strips = (strip(5, *[("COVER", 600)] * first), strip(305, *[("COVER", 600)] * second))
    rest = Leaf("offcut", 0, mm(605), mm(2500), mm(645))
    tree = Split("y", 0, 0, mm(2500), mm(1250), (trim, *strips, rest))
    layouts = (replace(made().layouts[0], tree=tree),)
    program = write_program(SHEAR, STEEL, layouts, PARTS, {"SH-4": SHEET}, Options(), SHEAR.cutting_length)
    return one_line(program_text(replace(made(), layouts=layouts, program=program)))


def test_pieces_of_one_size_that_are_cut_differently_are_told_apart_by_what_they_give() -> None:
    text = two_strips(4, 2)
    assert re.search(r"1 × piece 1\w, 2500 × 300, for step \d \(4 × COVER\); 1 × piece", text)
    assert text.count("(2 × COVER)") == 1


def test_pieces_that_are_cut_alike_share_a_name_and_need_no_such_words() -> None:
    text = two_strips(3, 3)
    assert re.search(r"2 × piece 1\w, 2500 × 300, for step \d stays", text)
    assert "(3 × COVER)" not in text
