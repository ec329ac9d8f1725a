"""Damage to what a plan says of sizes: chances, limits and tolerances."""

from __future__ import annotations

from tests.engine.verifier.damage import Damages, Document, machine, part
from tests.engine.verifier.worked import goes, leaf, split

damage = Damages()


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
