"""What a program says where the parts worth most were chosen: their worth, and that of any choice."""

from __future__ import annotations

from dataclasses import replace

from service.drawing.text import program_text
from service.engine.materials_table import material_named
from service.engine.order import Options, Order, Part, StockItem
from service.engine.planner import plan
from tests.benchmarks.layouts import IDEAL

# One sheet holds two of the first or one of the second.
PARTS = (
    Part("A", 100_000, 50_000, 2, "S235JR", 300, value=30.25),
    Part("B", 100_000, 100_000, 1, "S235JR", 300, value=55.0),
)
SHEET = StockItem("S", 100_000, 100_000, 1, "S235JR", 300, edges="cut", oversize=0)
ORDER = Order("fill", IDEAL, (material_named("S235JR"),), PARTS, (SHEET,), Options(objective="value", trim=0))


def joined(text: str) -> str:
    return " ".join(text.split())


def test_the_worth_is_told_with_the_order_and_the_bound_without() -> None:
    found = plan(ORDER)
    best = "The parts are worth 60.5; no choice of parts from this stock is worth more."
    assert best in joined(program_text(found, ORDER))
    assert "No choice of parts from this stock is worth more than 60.5." in joined(program_text(found))


def test_where_the_best_is_not_proved_the_distance_is_told() -> None:
    found = plan(ORDER)
    found = replace(found, bound=replace(found.bound, value=66.0), stopped_early=True)
    text = joined(program_text(found, ORDER))
    assert "is worth more than 66, so this one is at most 8.3% below the best." in text
    assert "may find parts worth more" in text


def test_nothing_is_said_of_worth_where_it_does_not_decide() -> None:
    asked = replace(ORDER, options=replace(ORDER.options, objective="material"))
    assert "worth" not in program_text(plan(asked), asked)


def test_the_figures_tell_what_was_reached_and_how_far_it_is_from_the_most() -> None:
    found = plan(ORDER)
    assert (found.summary.worth, found.bound.value, found.bound.gap_value) == (60.5, 60.5, 0.0)
    asked = replace(ORDER, options=replace(ORDER.options, objective="material"))
    told = plan(asked)
    assert (told.summary.worth, told.bound.gap_value) == (None, None)


def test_of_what_a_plan_was_chosen_for_it_is_said_that_nothing_is_proved() -> None:
    for objective, word in (("handling", "handling"), ("time", "time")):
        asked = replace(ORDER, options=replace(ORDER.options, objective=objective))
        text = joined(program_text(plan(asked), asked))
        assert f"That is said of the material. Its {word} is the least of the plans that were tried" in text
    plain = replace(ORDER, options=replace(ORDER.options, objective="material"))
    assert "That is said of the material" not in program_text(plan(plain), plain)
