"""Damage to layouts: trees, placements, and the program that belongs to them."""

from __future__ import annotations

from tests.engine.verifier.damage import Damages, Document, step

damage = Damages()


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


@damage("layout-number")
def layouts_counted_wrongly(plan: Document) -> None:
    plan["layouts"][0]["number"] = 2
