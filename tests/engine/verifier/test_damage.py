"""Every kind of damage to a sound plan is found, and called by its name.

The plan is the worked one of the trade primer (own example); each case breaks it in one way.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from service.engine.verifier import verify
from tests.engine.verifier.worked import goes, leaf, split, worked_plan

Document = dict[str, Any]
Damage = Callable[[Document], None]

DAMAGES: list[tuple[str, Damage]] = []


def damage(code: str) -> Callable[[Damage], Damage]:
    """Register a kind of damage with the code it must be found by."""

    def register(breaks: Damage) -> Damage:
        DAMAGES.append((code, breaks))
        return breaks

    return register


def machine(plan: Document) -> Document:
    found: Document = plan["order"]["machine"]
    return found


def part(plan: Document) -> Document:
    found: Document = plan["order"]["parts"][0]
    return found


def step(plan: Document, number: int) -> Document:
    found: Document = plan["program"][number - 1]
    return found


@damage("quality")
def an_accuracy_that_is_better_than_the_gauge(plan: Document) -> None:
    plan["quality"][0]["accuracy_mm"] = 0.05


@damage("quality")
def an_accuracy_that_is_worse_than_the_cuts(plan: Document) -> None:
    plan["quality"][1]["accuracy_mm"] = 0.2


@damage("quality")
def a_dimension_left_out(plan: Document) -> None:
    plan["quality"].pop()


@damage("quality")
def a_dimension_said_twice(plan: Document) -> None:
    plan["quality"].append(dict(plan["quality"][0]))


@damage("quality")
def a_count_that_is_not_what_is_made(plan: Document) -> None:
    plan["quality"][0].update(count=9, outside=0.0, all_inside=1.0)


@damage("quality")
def fewer_outside_than_the_worst_alone(plan: Document) -> None:
    plan["quality"][0].update(count=8, inside=0.9, outside=0.05, all_inside=0.5)


@damage("quality")
def more_outside_than_if_all_were_the_worst(plan: Document) -> None:
    plan["quality"][0].update(count=8, inside=0.9, outside=0.9, all_inside=0.5)


@damage("quality")
def all_likelier_than_the_worst(plan: Document) -> None:
    plan["quality"][0].update(count=8, inside=0.9, outside=0.8, all_inside=0.95)


@damage("quality")
def all_less_likely_than_eight_of_the_worst(plan: Document) -> None:
    plan["quality"][0].update(count=8, inside=0.9, outside=0.8, all_inside=0.4)  # 0.9⁸ = 0.43


@damage("quality")
def limits_that_nobody_ordered(plan: Document) -> None:
    plan["quality"][0]["plus_mm"] = 1.2


@damage("quality")
def a_size_that_nobody_ordered(plan: Document) -> None:
    plan["quality"][0]["size_mm"] = 610.0


@damage("quality")
def a_part_that_is_not_made(plan: Document) -> None:
    plan["quality"].append({**plan["quality"][0], "ref": "P9"})


@damage("quality")
def a_chance_above_the_whole(plan: Document) -> None:
    plan["quality"][0]["inside"] = 1.01


@damage("outcome-size")
def gauge_off_by_a_hundredth(plan: Document) -> None:
    step(plan, 4)["gauge_mm"] = 600.01


@damage("outcome-count")
def one_cut_too_many(plan: Document) -> None:
    step(plan, 2)["repeat"] = 3


@damage("cut-size")
def more_cuts_than_the_piece_has_room_for(plan: Document) -> None:
    step(plan, 4)["repeat"] = 5


@damage("not-held")
def remainder_below_the_clamping_depth(plan: Document) -> None:
    machine(plan)["hold_down"]["clamping_depth_mm"] = 95.01


@damage("piece-size")
def sizes_of_a_piece_swapped(plan: Document) -> None:
    one = step(plan, 3)
    one["along_blade_mm"], one["depth_mm"] = one["depth_mm"], one["along_blade_mm"]


@damage("piece-count")
def trim_step_dropped(plan: Document) -> None:
    del plan["program"][2]


@damage("left-over")
def last_step_dropped(plan: Document) -> None:
    del plan["program"][3]


@damage("step-number")
def steps_counted_wrongly(plan: Document) -> None:
    step(plan, 3)["step"] = 4


@damage("piece-count")
def steps_in_the_wrong_order(plan: Document) -> None:
    plan["program"][1], plan["program"][2] = plan["program"][2], plan["program"][1]


@damage("demand")
def one_part_more_than_wanted(plan: Document) -> None:
    part(plan)["quantity"] = 7


@damage("demand")
def one_part_fewer_than_wanted(plan: Document) -> None:
    part(plan)["quantity"] = 9


@damage("demand")
def made_and_stated_as_unplaced_as_well(plan: Document) -> None:
    plan["unplaced"] = [{"ref": "P1", "quantity": 1, "code": "stock-exhausted", "reason": "no stock"}]


@damage("unplaced")
def unplaced_without_a_reason(plan: Document) -> None:
    part(plan)["quantity"] = 9
    plan["unplaced"] = [{"ref": "P1", "quantity": 1, "code": "stock-exhausted", "reason": " "}]


@damage("unplaced")
def none_stated_as_unplaced(plan: Document) -> None:
    plan["unplaced"] = [{"ref": "P1", "quantity": 0, "code": "stock-exhausted", "reason": "no stock"}]


@damage("part-unknown")
def part_that_nobody_ordered(plan: Document) -> None:
    step(plan, 4)["drop_to"] = [goes("part", "P2", 600.0, 300.0, 8)]


@damage("part-size")
def part_of_another_size(plan: Document) -> None:
    part(plan)["length"] = 600.01


@damage("grain")
def part_across_the_grain(plan: Document) -> None:
    part(plan)["grain"] = "across"


@damage("over-stock")
def more_sheets_than_there_are(plan: Document) -> None:
    plan["order"]["stock"][0]["quantity"] = 0


@damage("sheet-count")
def layout_for_two_sheets_cut_once(plan: Document) -> None:
    plan["layouts"][0]["repeat"] = 2


@damage("gauge-range")
def gauge_beyond_its_range(plan: Document) -> None:
    machine(plan)["back_gauge"]["high_mm"] = 599.99


@damage("gauge-range")
def gauge_before_its_range(plan: Document) -> None:
    machine(plan)["back_gauge"]["low_mm"] = 5.01


@damage("gauge-step")
def gauge_between_its_steps(plan: Document) -> None:
    machine(plan)["back_gauge"].update(low_mm=5.0, step_mm=0.1)
    step(plan, 2)["gauge_mm"] = 300.04


@damage("mill-edge")
def mill_edge_left_on_a_part(plan: Document) -> None:
    """The strips go straight to the part cut; their first drop keeps the end of the sheet."""
    del plan["program"][2]
    one = step(plan, 3)
    one.update(step=3, piece="1b", depth_mm=2500.0, edge_state="mill", turn="quarter")
    one["remainder_to"] = [goes("scrap", None, 100.0, 300.0, 2)]


@damage("mill-edge")
def last_remainder_with_a_mill_edge_taken_for_a_part(plan: Document) -> None:
    step(plan, 2)["remainder_to"] = [goes("part", "P1", 2500.0, 645.0, 1)]


@damage("trim-short")
def trim_less_than_asked_for(plan: Document) -> None:
    plan["order"]["options"]["trim_mm"] = 5.01


@damage("edge-state")
def mill_edge_called_cut(plan: Document) -> None:
    step(plan, 1)["edge_state"] = "cut"


@damage("edge-state")
def gauged_from_the_other_end(plan: Document) -> None:
    step(plan, 2)["edge_end"] = "far"


@damage("offcut-lost")
def offcut_thrown_away(plan: Document) -> None:
    step(plan, 2)["remainder_to"][0]["kind"] = "scrap"


@damage("offcut-small")
def scrap_kept_as_an_offcut(plan: Document) -> None:
    step(plan, 4)["remainder_to"][0]["kind"] = "offcut"


@damage("not-a-trim")
def offcut_called_a_trim(plan: Document) -> None:
    machine(plan)["back_gauge"]["high_mm"] = 2000.0
    step(plan, 4)["remainder_to"][0]["kind"] = "trim"
    plan["order"]["options"]["trim_mm"] = 0.0


@damage("outcome-count")
def part_counted_twice(plan: Document) -> None:
    step(plan, 4)["drop_to"].append(goes("part", "P1", 600.0, 300.0, 1))


@damage("tolerance")
def tolerance_finer_than_the_gauge(plan: Document) -> None:
    part(plan)["tolerance"].update(minus=0.09, plus=0.09)


@damage("tolerance")
def gauge_coarser_than_class_m_allows(plan: Document) -> None:
    """ISO 2768-1:1989, table 1: class m allows ±0.5 mm over 120 up to 400 mm."""
    machine(plan)["back_gauge"]["accuracy_mm"] = 0.51


@damage("tolerance")
def strips_gauged_from_the_mill_edge_and_trimmed_afterwards(plan: Document) -> None:
    """A strip of 305 off the mill edge, trimmed by 5, is 300 only as far as the mill edge is straight."""
    strip = split(
        "y",
        0.0,
        0.0,
        2500.0,
        305.0,
        [
            leaf("trim", 0.0, 0.0, 2500.0, 5.0),
            split(
                "x",
                0.0,
                5.0,
                2500.0,
                300.0,
                [
                    leaf("trim", 0.0, 5.0, 5.0, 300.0),
                    *(leaf("part", 5.0 + 600.0 * i, 5.0, 600.0, 300.0, "P1") for i in range(4)),
                    leaf("scrap", 2405.0, 5.0, 95.0, 300.0),
                ],
            ),
        ],
    )
    rest = leaf("offcut", 0.0, 305.0, 2500.0, 945.0)
    plan["layouts"][0].update(tree=split("y", 0.0, 0.0, 2500.0, 1250.0, [strip, rest]), placements=None)
    part(plan)["quantity"] = 4
    first, second, third, fourth = plan["program"]
    first.update(gauge_mm=305.0, drop_to=[goes("piece", "1a", 2500.0, 305.0, 1)])
    first.update(remainder_to=[goes("offcut", None, 2500.0, 945.0, 1)])
    second.update(depth_mm=305.0, edge_state="mill", gauge_mm=5.0, repeat=1, strokes=1, piece_kg=17.956875)
    second.update(lift="one person", drop_to=[goes("trim", None, 2500.0, 5.0, 1)])
    second.update(remainder_to=[goes("piece", "1b", 2500.0, 300.0, 1)])
    for one in (third, fourth):
        one.update(pieces=1, gang=1)
        for way in (*one["drop_to"], *one["remainder_to"]):
            way["count"] //= 2


@damage("cutting-length")
def two_side_by_side_longer_than_the_blade(plan: Document) -> None:
    machine(plan)["cutting_length_mm"] = 2500.0
    step(plan, 3)["gang"] = 2
    step(plan, 3)["along_blade_mm"] = 1250.01


@damage("cutting-length")
def sheet_longer_than_the_blade(plan: Document) -> None:
    machine(plan)["cutting_length_mm"] = 2499.99


@damage("gang")
def more_side_by_side_than_there_are(plan: Document) -> None:
    step(plan, 4)["gang"] = 3


@damage("strokes")
def strokes_counted_wrongly(plan: Document) -> None:
    step(plan, 4)["strokes"] = 8


@damage("not-gripped")
def second_of_the_gang_between_two_feet(plan: Document) -> None:
    machine(plan)["hold_down"].update(feet_mm=[100.0, 300.0, 500.01], foot_width_mm=200.0)


@damage("not-gripped")
def piece_narrower_than_a_foot(plan: Document) -> None:
    machine(plan)["hold_down"].update(feet_mm=[1250.0], foot_width_mm=300.01)
    for number in (3, 4):
        step(plan, number)["gang"] = 1
        step(plan, number)["strokes"] *= 2


@damage("drop-small")
def drop_narrower_than_the_smallest(plan: Document) -> None:
    machine(plan)["smallest_drop_mm"] = 5.01


@damage("stages")
def one_turn_too_many(plan: Document) -> None:
    plan["order"]["options"]["max_stages"] = 1


@damage("summary")
def strokes_of_the_summary_wrong(plan: Document) -> None:
    plan["summary"]["strokes"] = 9


@damage("summary")
def turns_of_the_summary_wrong(plan: Document) -> None:
    plan["summary"]["turns"] = 2


@damage("summary")
def utilisation_wrong(plan: Document) -> None:
    plan["summary"]["utilisation"] += 0.0001


@damage("summary")
def metres_cut_wrong(plan: Document) -> None:
    plan["summary"]["cut_metres"] = 10.4


@damage("summary")
def mass_of_the_parts_wrong(plan: Document) -> None:
    plan["summary"]["parts_kg"] = 33.9


@damage("summary")
def sheets_taken_for_offcuts(plan: Document) -> None:
    plan["summary"].update(sheets=0, offcuts_used=1)


@damage("summary")
def cost_of_stock_without_a_price(plan: Document) -> None:
    plan["summary"]["material_cost"] = 80.0


@damage("bound")
def bound_above_what_is_used(plan: Document) -> None:
    plan["bound"]["pieces"] = 2


@damage("bound")
def area_bound_above_what_is_used(plan: Document) -> None:
    plan["bound"]["area_mm2"] = 3125001.0


@damage("bound")
def gap_in_pieces_wrong(plan: Document) -> None:
    plan["bound"]["gap_pieces"] = 1


@damage("bound")
def share_of_the_gap_wrong(plan: Document) -> None:
    plan["bound"]["gap_share"] = 0.01


@damage("bound")
def parts_worth_more_than_the_most_that_is_said(plan: Document) -> None:
    part(plan)["value"] = 2.0
    plan["bound"]["value"] = 1.99


@damage("strength")
def sheet_thicker_than_the_rating(plan: Document) -> None:
    """3 mm at 510 N/mm² counts as 3·√(510/450) = 3.19 mm."""
    machine(plan)["rating"]["thickness_mm"] = 3.19


@damage("strength")
def sheet_thicker_than_fits_under_the_blade(plan: Document) -> None:
    machine(plan)["max_thickness_mm"] = 2.99


@damage("strength")
def material_that_must_not_be_sheared(plan: Document) -> None:
    plan["order"]["materials"][0]["shearable"] = False


@damage("force")
def more_force_than_the_machine_has(plan: Document) -> None:
    machine(plan)["force_limit_kn"] = 89.0


@damage("stop")
def forbidden_by_its_own_finding(plan: Document) -> None:
    step(plan, 4)["findings"] = [
        {"level": "stop", "code": "force-over-limit", "message": "too much", "basis": "machine profile"}
    ]


@damage("gap-range")
def blade_gap_that_cannot_be_set(plan: Document) -> None:
    step(plan, 1)["settings"]["gap_mm"] = 1.01


@damage("rake-range")
def rake_that_cannot_be_set(plan: Document) -> None:
    step(plan, 1)["settings"]["rake_deg"] = 1.6


@damage("not-fitted")
def relief_on_a_machine_without(plan: Document) -> None:
    machine(plan)["relief"] = False


@damage("not-fitted")
def sheet_support_on_a_machine_without(plan: Document) -> None:
    machine(plan)["sheet_support"] = False
    step(plan, 2)["settings"]["sheet_support"] = True


@damage("not-fitted")
def squared_without_a_squaring_arm(plan: Document) -> None:
    machine(plan)["squaring_arm_mm"] = 0.0


@damage("not-fitted")
def front_stop_on_a_machine_without(plan: Document) -> None:
    step(plan, 2).update(gauging="front stop", measured="remainder", repeat=1, gauge_mm=945.0)


@damage("not-fitted")
def marked_line_on_a_machine_without(plan: Document) -> None:
    step(plan, 2)["gauging"] = "marked line"


@damage("measured-side")
def back_gauge_that_measures_the_remainder(plan: Document) -> None:
    step(plan, 2)["measured"] = "remainder"


@damage("squared")
def squared_on_a_mill_edge(plan: Document) -> None:
    step(plan, 1)["squared"] = True


@damage("turn")
def turned_strips_said_to_lie_as_before(plan: Document) -> None:
    step(plan, 3)["turn"] = "none"


@damage("mass")
def mass_of_a_piece_wrong(plan: Document) -> None:
    step(plan, 1)["piece_kg"] = 73.0


@damage("lift")
def one_person_for_a_heavy_sheet(plan: Document) -> None:
    step(plan, 1)["lift"] = "one person"


@damage("lift")
def sheet_that_nobody_may_lift(plan: Document) -> None:
    machine(plan)["lifting"]["two_people_kg"] = 73.0


@damage("layout")
def step_of_no_layout(plan: Document) -> None:
    step(plan, 4)["layout"] = 2


@damage("layout-program")
def layout_and_program_disagree(plan: Document) -> None:
    children = plan["layouts"][0]["tree"]["children"]
    children[3]["kind"] = "scrap"
    plan["layouts"][0]["placements"][-1]["kind"] = "scrap"


@damage("tree-split")
def child_that_leaves_a_gap(plan: Document) -> None:
    plan["layouts"][0]["tree"]["children"][3]["width_mm"] = 644.99


@damage("tree-split")
def cut_that_does_not_go_edge_to_edge(plan: Document) -> None:
    plan["layouts"][0]["tree"]["children"][3]["length_mm"] = 2499.99


@damage("tree-root")
def tree_larger_than_the_sheet(plan: Document) -> None:
    plan["order"]["stock"][0]["width"] = 1249.0


@damage("rotated")
def part_said_to_lie_the_other_way(plan: Document) -> None:
    plan["layouts"][0]["tree"]["children"][1]["children"][1]["rotated"] = True


@damage("placements")
def placement_that_is_no_leaf(plan: Document) -> None:
    del plan["layouts"][0]["placements"][3]


@damage("overlap")
def placements_that_overlap(plan: Document) -> None:
    plan["layouts"][0]["placements"][2]["x_mm"] = 500.0


@damage("outside")
def placement_that_sticks_out(plan: Document) -> None:
    plan["layouts"][0]["placements"][-1]["y_mm"] = 605.01


@damage("stock")
def stock_that_is_not_there(plan: Document) -> None:
    plan["layouts"][0]["stock_ref"] = "SH-B"


@damage("material")
def part_from_another_material(plan: Document) -> None:
    part(plan)["material"] = "DC01"


@damage("material")
def layout_of_another_thickness(plan: Document) -> None:
    plan["layouts"][0]["thickness_mm"] = 4.0


@damage("piece-name")
def strip_named_like_the_sheet(plan: Document) -> None:
    step(plan, 2)["drop_to"][0]["ref"] = "1"


@damage("layout-number")
def layouts_counted_wrongly(plan: Document) -> None:
    plan["layouts"][0]["number"] = 2


@damage("fingerprint")
def fingerprint_cut_short(plan: Document) -> None:
    plan["fingerprint"] = plan["fingerprint"][:-1]


@damage("order-ref")
def plan_for_another_order(plan: Document) -> None:
    plan["order_ref"] = "W-1043"


@damage("machine")
def plan_for_another_machine(plan: Document) -> None:
    plan["machine_id"] = "bench-4m"


@damage("malformed")
def length_finer_than_a_hundredth(plan: Document) -> None:
    step(plan, 4)["gauge_mm"] = 600.001


@damage("malformed")
def field_missing(plan: Document) -> None:
    del step(plan, 4)["gauge_mm"]


@damage("malformed")
def part_there_twice(plan: Document) -> None:
    plan["order"]["parts"].append(part(plan))


@damage("left-over")
def whole_sheet_used_as_an_offcut(plan: Document) -> None:
    plan["layouts"].append(
        {
            **plan["layouts"][0],
            "number": 2,
            "tree": leaf("offcut", 0.0, 0.0, 2500.0, 1250.0),
            "placements": None,
        }
    )


@damage("sheet-count")
def sheet_divided_into_itself(plan: Document) -> None:
    whole = split("x", 0.0, 0.0, 2500.0, 1250.0, [leaf("offcut", 0.0, 0.0, 2500.0, 1250.0)])
    plan["layouts"].append({**plan["layouts"][0], "number": 2, "tree": whole, "placements": None})


@pytest.mark.parametrize(
    ("code", "breaks"), [pytest.param(code, breaks, id=breaks.__name__) for code, breaks in DAMAGES]
)
def test_damage_is_found_by_its_name(code: str, breaks: Damage) -> None:
    plan = worked_plan()
    breaks(plan)
    verdict = verify(plan)
    assert not verdict.ok
    assert code in verdict.codes(), verdict.faults


def test_sharp_limits_are_kept_on_their_good_side() -> None:
    """What lies exactly on a limit is allowed: the same limits as in the damages, a hundredth back."""
    plan = worked_plan()
    machine(plan)["hold_down"].update(
        clamping_depth_mm=95.0, feet_mm=[100.0, 300.0, 500.0], foot_width_mm=200.0
    )
    machine(plan)["back_gauge"].update(low_mm=5.0, high_mm=600.0, accuracy_mm=0.5)
    machine(plan).update(cutting_length_mm=2500.0, smallest_drop_mm=5.0, force_limit_kn=90.0)
    machine(plan)["max_thickness_mm"] = 3.0
    # 3 mm at 510 N/mm² counts as 3·√(510/450) = 3.194 mm
    machine(plan)["rating"]["thickness_mm"] = 3.2
    part(plan)["tolerance"].update(minus=0.5, plus=0.5)
    for one in plan["quality"]:
        one.update(accuracy_mm=0.5, minus_mm=0.5, plus_mm=0.5)
    plan["order"]["options"].update(max_stages=2, offcut_min=[2500.0, 645.0])
    assert verify(plan).faults == ()


def test_gauge_between_its_steps_counts_as_error_when_the_step_says_so() -> None:
    """Drops of 300 mm on a gauge that stands at 299.95 or 300.05 are ±(0.1 + 0.05) mm."""
    plan = worked_plan()
    machine(plan)["back_gauge"].update(low_mm=4.95, step_mm=0.1)
    remark = {"level": "caution", "code": "gauge-rounded", "message": "0.05 off", "basis": "machine profile"}
    for one in plan["program"]:
        one["findings"] = [remark]
    part(plan)["tolerance"].update(minus=0.15, plus=0.15)
    for said in plan["quality"]:
        said.update(accuracy_mm=0.15, minus_mm=0.15, plus_mm=0.15)
    assert verify(plan).faults == ()
    part(plan)["tolerance"].update(minus=0.14, plus=0.15)
    for said in plan["quality"]:
        said["minus_mm"] = 0.14
    assert verify(plan).codes() == ("tolerance",)


def test_sheets_may_be_cut_one_after_the_other() -> None:
    """Two sheets, named 1.1 and 1.2, each with its own pieces."""
    plan = worked_plan()
    twice = []
    for sheet in ("1", "2"):
        for one in worked_plan()["program"]:
            one["piece"] = f"1.{sheet}{one['piece'][1:]}"
            for way in (*one["drop_to"], *one["remainder_to"]):
                if way["kind"] == "piece":
                    way["ref"] = f"1.{sheet}{way['ref'][1:]}"
            twice.append({**one, "step": len(twice) + 1})
    plan["program"] = twice
    plan["layouts"][0]["repeat"] = 2
    plan["order"]["stock"][0]["quantity"] = 2
    part(plan)["quantity"] = 16
    summary = plan["summary"]
    for name in ("sheets", "parts", "strokes", "gauge_moves", "parts_kg", "scrap_kg", "cut_metres"):
        summary[name] *= 2
    summary["turns"] = 2
    for name in ("stock", "parts", "offcut", "scrap"):
        summary[f"{name}_area_mm2"] *= 2
    plan["bound"].update(pieces=2, area_mm2=6250000.0)
    assert verify(plan).faults == ()
    plan["program"][4]["piece"] = "1.1"
    assert "piece-count" in verify(plan).codes()
