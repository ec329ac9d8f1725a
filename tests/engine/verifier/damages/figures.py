"""Damage to the figures of a plan, its name, and the form of its document."""

from __future__ import annotations

from tests.engine.verifier.damage import Damages, Document, part, step

damage = Damages()


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


@damage("bound")
def share_of_the_worth_that_is_lacking_wrong(plan: Document) -> None:
    """Parts worth 2 each of at most 2.5 each are a fifth below; a tenth is said."""
    part(plan)["value"] = 2.0
    plan["bound"]["value"] = 2.5 * part(plan)["quantity"]
    plan["bound"]["gap_value"] = 0.1


@damage("summary")
def worth_of_the_parts_wrong(plan: Document) -> None:
    part(plan)["value"] = 2.0
    plan["summary"]["worth"] = 1.0


@damage("summary")
def points_of_handling_wrong(plan: Document) -> None:
    plan["summary"]["handling"] = 1


@damage("summary")
def stacks_that_wait_wrong(plan: Document) -> None:
    plan["summary"]["most_waiting"] = 99


@damage("fingerprint")
def fingerprint_cut_short(plan: Document) -> None:
    plan["fingerprint"] = plan["fingerprint"][:-1]


@damage("malformed")
def length_finer_than_a_hundredth(plan: Document) -> None:
    step(plan, 4)["gauge_mm"] = 600.001


@damage("malformed")
def field_missing(plan: Document) -> None:
    del step(plan, 4)["gauge_mm"]


@damage("malformed")
def part_there_twice(plan: Document) -> None:
    plan["order"]["parts"].append(part(plan))
