"""Damage to steps and pieces: what goes in, what comes off, what is left."""

from __future__ import annotations

from tests.engine.verifier.damage import Damages, Document, machine, step
from tests.engine.verifier.worked import goes, leaf, split

damage = Damages()


@damage("outcome-size")
def gauge_off_by_a_hundredth(plan: Document) -> None:
    step(plan, 4)["gauge_mm"] = 600.01


@damage("outcome-count")
def one_cut_too_many(plan: Document) -> None:
    step(plan, 2)["repeat"] = 3


@damage("cut-size")
def more_cuts_than_the_piece_has_room_for(plan: Document) -> None:
    step(plan, 4)["repeat"] = 5


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


@damage("sheet-count")
def layout_for_two_sheets_cut_once(plan: Document) -> None:
    plan["layouts"][0]["repeat"] = 2


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


@damage("strokes")
def strokes_counted_wrongly(plan: Document) -> None:
    step(plan, 4)["strokes"] = 8


@damage("turn")
def turned_strips_said_to_lie_as_before(plan: Document) -> None:
    step(plan, 3)["turn"] = "none"


@damage("mass")
def mass_of_a_piece_wrong(plan: Document) -> None:
    step(plan, 1)["piece_kg"] = 73.0


@damage("piece-name")
def strip_named_like_the_sheet(plan: Document) -> None:
    step(plan, 2)["drop_to"][0]["ref"] = "1"


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
