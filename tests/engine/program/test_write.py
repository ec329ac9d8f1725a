"""How single cuts become steps: names, turns, sides, gangs and what is said beside them."""

from dataclasses import replace

import pytest

from service.engine.machine import FrontStops, HoldDown, Lifting, Machine
from service.engine.materials import Material
from service.engine.order import Options, Part, StockItem, Tolerance
from service.engine.plan import Axis, Layout, Leaf, LeafKind, Node, Split, Step
from service.engine.quantities import mm
from tests.engine.program.written import write_program

LOOSE = Tolerance(minus=mm(3), plus=mm(3))


def leaf(kind: LeafKind, x: float, y: float, dx: float, dy: float, ref: str | None = None) -> Leaf:
    return Leaf(kind, mm(x), mm(y), mm(dx), mm(dy), ref)


def split(axis: Axis, *children: Node) -> Split:
    first = children[0]
    dx = sum(child.dx for child in children) if axis == "x" else first.dx
    dy = sum(child.dy for child in children) if axis == "y" else first.dy
    return Split(axis, first.x, first.y, dx, dy, children)


def written(
    shear: Machine, steel: Material, tree: Node, *, repeat: int = 1, edges: str = "cut", oversize: float = 0
) -> tuple[Step, ...]:
    """The program of one layout whose parts, named by the leaves, bear ±3 mm."""
    item = StockItem(
        "S",
        tree.dx,
        tree.dy,
        9,
        "S235JR",
        mm(3),
        edges="mill" if edges == "mill" else "cut",
        oversize=mm(oversize),
    )
    parts: dict[str, Part] = {}

    def collect(node: Node) -> None:
        if isinstance(node, Split):
            for child in node.children:
                collect(child)
        elif node.ref is not None:
            parts[node.ref] = Part(node.ref, node.dx, node.dy, 1, "S235JR", mm(3), tolerance=LOOSE)

    collect(tree)
    layout = Layout(1, "S", "S235JR", mm(3), repeat, tree)
    return write_program(shear, steel, (layout,), parts, {"S": item}, Options(), shear.cutting_length)


def codes(step: Step) -> set[str]:
    return {finding.code for finding in step.findings}


def test_equal_cuts_with_different_contents_share_a_step(shear: Machine, steel: Material) -> None:
    first = split("x", leaf("part", 0, 0, 600, 200, "A"), leaf("scrap", 600, 0, 100, 200))
    second = split("x", leaf("part", 0, 200, 500, 200, "B"), leaf("scrap", 500, 200, 200, 200))
    steps = written(shear, steel, split("y", first, second, leaf("scrap", 0, 400, 700, 100)))
    assert steps[0].repeat == 2
    assert [(drop.ref, drop.count) for drop in steps[0].drops] == [("1a", 1), ("1b", 1)]
    assert {(step.piece, step.gauge) for step in steps[1:]} == {("1a", mm(600)), ("1b", mm(500))}


def test_pieces_with_equal_contents_share_a_name_wherever_they_come_from(
    shear: Machine, steel: Material
) -> None:
    # Two equal strips on either side of a narrower part: two steps, one name, then cut together.
    def strip(y: float) -> Split:
        return split("x", leaf("part", 0, y, 600, 200, "A"), leaf("scrap", 600, y, 100, 200))

    tree = split(
        "y", strip(0), leaf("part", 0, 200, 700, 90, "B"), strip(290), leaf("scrap", 0, 490, 700, 110)
    )
    steps = written(shear, steel, tree)
    assert [step.gauge for step in steps] == [mm(200), mm(90), mm(200), mm(600)]
    assert steps[0].drops[0].ref == steps[2].drops[0].ref == steps[3].piece
    assert (steps[3].pieces, steps[3].gang, steps[3].strokes) == (2, 2, 1)


def test_pieces_with_other_edges_do_not_share_a_name(shear: Machine, steel: Material) -> None:
    # The strip at the far side keeps a mill edge along it.
    def strip(y: float) -> Split:
        return split("x", leaf("trim", 0, y, 5, 200), leaf("scrap", 5, y, 795, 200))

    tree = split("y", leaf("trim", 0, 0, 800, 5), strip(5), strip(205))
    steps = written(shear, steel, tree, edges="mill")
    assert [step.pieces for step in steps] == [1, 1, 1, 1]
    assert len({step.piece for step in steps}) == 4


def test_a_group_waits_for_its_deepest_member(shear: Machine, steel: Material) -> None:
    # The same piece comes from two levels of the layout; both are cut together once both are there.
    def small(x: float, y: float) -> Split:
        return split("y", leaf("part", x, y, 200, 300, "A"), leaf("scrap", x, y + 300, 200, 100))

    narrow = split("x", small(200, 0), leaf("scrap", 400, 0, 100, 400))
    wide = split("y", narrow, leaf("scrap", 200, 400, 300, 50))
    other = split("y", leaf("part", 500, 0, 90, 350, "B"), leaf("scrap", 500, 350, 90, 100))
    first = split("y", split("x", small(0, 0)), leaf("scrap", 0, 400, 200, 50))
    steps = written(shear, steel, split("x", first, wide, other, leaf("scrap", 590, 0, 110, 450)))
    (small_step,) = [step for step in steps if step.drops[0].ref == "A"]
    assert small_step.pieces == 2


def test_a_trim_is_cut_with_relief_however_deep_it_is(shear: Machine, steel: Material) -> None:
    tree = split("y", leaf("trim", 0, 0, 800, 200), leaf("scrap", 0, 200, 800, 300))
    (trim,) = written(shear, steel, tree, edges="mill")
    plain = split("y", leaf("scrap", 0, 0, 800, 200), leaf("scrap", 0, 200, 800, 300))
    (scrap,) = written(shear, steel, plain)
    assert (trim.settings.relief, scrap.settings.relief) == (True, False)


def test_a_cut_on_a_mill_edge_stands_alone(shear: Machine, steel: Material) -> None:
    tree = split("y", leaf("trim", 0, 0, 900, 5), leaf("scrap", 0, 5, 900, 5), leaf("scrap", 0, 10, 900, 690))
    steps = written(shear, steel, tree, edges="mill")
    assert [(step.repeat, step.edge_state) for step in steps] == [(1, "mill"), (1, "cut")]


def test_a_front_stop_holds_the_item_and_the_rest_is_taken_up_again(shear: Machine, steel: Material) -> None:
    """Deeper than the gauge reaches: the wanted side stays in front, the rest falls and is turned round."""
    stops = replace(shear, front_stops=FrontStops(mm(50), mm(1500)))
    tree = split(
        "y",
        leaf("part", 0, 0, 800, 1200, "A"),
        leaf("part", 0, 1200, 800, 300, "B"),
        leaf("scrap", 0, 1500, 800, 200),
    )
    first, second = written(stops, steel, tree)
    assert (first.gauging, first.gauge, first.measured) == ("front stop", mm(1200), "remainder")
    assert (first.drops[0].kind, first.remainders[0].ref) == ("piece", "A")
    # The datum edge lay in front; the rest fell with its far end at the back.
    assert (second.gauging, second.turn, second.edge_end) == ("back gauge", "half", "near")


def test_without_stops_the_rest_is_gauged_from_the_far_end(shear: Machine, steel: Material) -> None:
    tree = split("y", leaf("part", 0, 0, 800, 1200, "A"), leaf("scrap", 0, 1200, 800, 300))
    (step,) = written(shear, steel, tree)
    assert (step.gauging, step.gauge, step.edge_end, step.measured) == ("back gauge", mm(300), "far", "drop")
    assert (step.drops[0].kind, step.remainders[0].ref) == ("scrap", "A")


def test_a_true_size_that_may_differ_too_much_goes_to_a_marked_line(shear: Machine, steel: Material) -> None:
    lined = replace(shear, marked_line_accuracy=mm(1))
    strip = split("y", leaf("part", 0, 0, 700, 1200, "A"), leaf("scrap", 0, 1200, 700, 300))
    tree = split("x", strip, leaf("scrap", 700, 0, 100, 1500))
    _, step = written(lined, steel, tree, oversize=20)
    assert (step.gauging, step.gauge, step.measured) == ("marked line", mm(1200), "remainder")


def test_only_the_back_gauge_stops_several_pieces_at_once(shear: Machine, steel: Material) -> None:
    stops = replace(shear, front_stops=FrontStops(mm(50), mm(1500)))

    def strip(y: float) -> Split:
        return split("x", leaf("part", 0, y, 1200, 100, "A"), leaf("scrap", 1200, y, 300, 100))

    steps = written(stops, steel, split("y", strip(0), strip(100), leaf("scrap", 0, 200, 1500, 100)))
    assert (steps[1].gauging, steps[1].pieces, steps[1].gang, steps[1].strokes) == ("front stop", 2, 1, 2)


def test_pieces_that_two_people_carry_go_one_by_one(shear: Machine, steel: Material) -> None:
    # 1500 × 500 × 3 weighs 17.7 kg.
    def tree() -> Split:
        strips = (
            split("x", leaf("part", 0, y, 700, 500, "A"), leaf("scrap", 700, y, 800, 500)) for y in (0, 500)
        )
        return split("y", *strips, leaf("scrap", 0, 1000, 1500, 100))

    light = written(shear, steel, tree())[1]
    heavy = written(replace(shear, lifting=Lifting(15, 40)), steel, tree())[1]
    assert (light.lift, light.gang, heavy.lift, heavy.gang) == ("one person", 2, "two people", 1)
    assert "gang" in codes(light)
    assert "two-people" in codes(heavy)


def test_a_gang_is_limited_by_the_longest_cut_there_is_force_for(shear: Machine, steel: Material) -> None:
    strips = (
        split("x", leaf("part", 0, y, 700, 500, "A"), leaf("scrap", 700, y, 100, 500)) for y in (0, 500)
    )
    tree = split("y", *strips, leaf("scrap", 0, 1000, 800, 100))
    part = Part("A", mm(700), mm(500), 2, "S235JR", mm(3))
    item = StockItem("S", mm(800), mm(1100), 1, "S235JR", mm(3), edges="cut")
    layout = Layout(1, "S", "S235JR", mm(3), 1, tree)

    def gang(longest: float) -> int:
        steps = write_program(shear, steel, (layout,), {"A": part}, {"S": item}, Options(), mm(longest))
        return steps[1].gang

    assert (gang(1000), gang(999)) == (2, 1)


def test_a_square_corner_needs_an_arm_and_a_cut_side_edge(shear: Machine, steel: Material) -> None:
    strip = split("x", leaf("part", 0, 0, 700, 300, "A"), leaf("scrap", 700, 0, 100, 300))
    tree = split("y", strip, leaf("scrap", 0, 300, 800, 100))
    armless = replace(shear, squaring_arm=0)
    assert [step.squared for step in written(shear, steel, tree)] == [True, True]
    without = written(armless, steel, tree)
    assert [step.squared for step in without] == [False, False]
    assert "no-squaring-arm" in codes(without[1])


def test_a_piece_no_foot_reaches_at_the_arm_is_moved_and_not_squared(shear: Machine, steel: Material) -> None:
    feet = replace(shear, hold_down=HoldDown(mm(45), (mm(200), mm(400), mm(600)), mm(60)))
    strip = split("x", leaf("part", 0, 0, 700, 120, "A"), leaf("scrap", 700, 0, 100, 120))
    steps = written(feet, steel, split("y", strip, leaf("scrap", 0, 120, 800, 100)))
    assert steps[0].squared
    assert not steps[1].squared
    assert "few-feet" in codes(steps[1])


def test_narrow_wanted_drops_are_cautioned_below_ten_thicknesses(shear: Machine, steel: Material) -> None:
    # 8 to 10 thicknesses for flat parts: common practice, no source.
    def step(width: float) -> Step:
        tree = split("y", leaf("part", 0, 0, 800, width, "A"), leaf("scrap", 0, width, 800, 100))
        return written(shear, steel, tree)[0]

    assert "narrow-drop" in codes(step(29.9))
    assert "narrow-drop" not in codes(step(30))


def test_a_piece_deeper_than_the_table_is_cautioned(shear: Machine, steel: Material) -> None:
    tree = split("y", leaf("part", 0, 0, 800, 300, "A"), leaf("scrap", 0, 300, 800, 300))
    assert "beyond-table" in codes(written(replace(shear, table_depth=mm(599)), steel, tree)[0])
    assert "beyond-table" not in codes(written(replace(shear, table_depth=mm(600)), steel, tree)[0])


def test_a_piece_whose_weight_lies_beyond_the_table_tips(shear: Machine, steel: Material) -> None:
    """A plate on an edge tips as soon as its centre of gravity, in the middle, lies beyond the edge."""
    tree = split("y", leaf("part", 0, 0, 800, 300, "A"), leaf("scrap", 0, 300, 800, 300))
    tips = written(replace(shear, table_depth=mm(299)), steel, tree)[0]
    said = next(one for one in tips.findings if one.code == "tips-over-table")
    assert said.level == "caution"
    assert "up to 1 mm beyond the table" in said.message
    assert "before you let go" in said.message
    assert "tips-over-table" not in codes(written(replace(shear, table_depth=mm(300)), steel, tree)[0])


@pytest.mark.parametrize(("trim", "short"), [(9.99, True), (10, False)])
def test_a_squaring_trim_below_one_percent_of_the_width(
    shear: Machine, steel: Material, trim: float, short: bool
) -> None:
    """EN 10051:2010 lets a mill edge be out of square by 1 % of the width (from memory): 10 mm on 1000.

    The first trim runs along the sheet and has no edge to be square to.
    """
    strip = split("x", leaf("trim", 0, 20, trim, 1000), leaf("part", trim, 20, 1900, 1000, "A"))
    strip = split("x", *strip.children, leaf("trim", trim + 1900, 20, 20, 1000))
    tree = split("y", leaf("trim", 0, 0, 1920 + trim, 20), strip, leaf("trim", 0, 1020, 1920 + trim, 20))
    front = replace(shear, front_stops=FrontStops(mm(50), mm(2500)))
    steps = written(front, steel, tree, edges="mill")
    squaring = next(step for step in steps if step.along_blade == mm(1000) and step.gauge == mm(trim))
    assert ("trim-out-of-square" in codes(squaring)) == short
    if short:
        said = next(one.message for one in squaring.findings if one.code == "trim-out-of-square")
        assert "takes up to 0.01 mm more" in said
        assert "a trim of 10 mm has room for it" in said
    assert "trim-out-of-square" not in codes(steps[0])


def test_settings_and_force_are_those_of_the_whole_stroke(shear: Machine, steel: Material) -> None:
    strips = (
        split("x", leaf("part", 0, y, 700, 300, "A"), leaf("scrap", 700, y, 100, 300)) for y in (0, 300)
    )
    ganged = written(shear, steel, split("y", *strips, leaf("scrap", 0, 600, 800, 100)))[1]
    strip = split("x", leaf("part", 0, 0, 700, 300, "A"), leaf("scrap", 700, 0, 100, 300))
    single = written(shear, steel, split("y", strip, leaf("scrap", 0, 300, 800, 100)))[1]
    assert (ganged.gang, single.gang) == (2, 1)
    assert ganged.settings.stroke > single.settings.stroke


def test_a_layout_without_cuts_has_no_steps(shear: Machine, steel: Material) -> None:
    assert written(shear, steel, leaf("part", 0, 0, 800, 300, "A")) == ()


def test_a_split_with_one_child_is_no_cut(shear: Machine, steel: Material) -> None:
    inner = split("x", leaf("part", 0, 0, 700, 300, "A"), leaf("scrap", 700, 0, 100, 300))
    (step,) = written(shear, steel, split("y", inner))
    assert (step.piece, step.axis, step.gauge) == ("1", "x", mm(700))


def test_layouts_follow_one_another_and_steps_are_numbered_through(shear: Machine, steel: Material) -> None:
    tree = split("y", leaf("scrap", 0, 0, 800, 300), leaf("scrap", 0, 300, 800, 300))
    item = StockItem("S", tree.dx, tree.dy, 9, "S235JR", mm(3), edges="cut")
    layouts = tuple(Layout(number, "S", "S235JR", mm(3), 1, tree) for number in (4, 5))
    steps = write_program(shear, steel, layouts, {}, {"S": item}, Options(), shear.cutting_length, 11)
    assert [(step.number, step.layout, step.piece) for step in steps] == [(11, 4, "4"), (12, 5, "5")]


def test_unknown_stock_is_not_passed_over(shear: Machine, steel: Material) -> None:
    layout = Layout(1, "GONE", "S235JR", mm(3), 1, leaf("scrap", 0, 0, 800, 300))
    with pytest.raises(KeyError, match="GONE"):
        write_program(shear, steel, (layout,), {}, {}, Options(), shear.cutting_length)
