"""Parts worth most where few stacks may wait: what is said of how near that is to the best."""

from __future__ import annotations

from fractions import Fraction

from service.engine.candidates import candidates
from service.engine.layout.job import Job
from service.engine.objectives import worth_of
from service.engine.order import Options, Part, StockItem
from tests.benchmarks.layouts import IDEAL

# Two strips of 600: 500 beside two of 400 × 300 one above the other, and 300 beside 600.
PARTS = tuple(
    Part(f"P{i}", length * 100, width * 100, count, "S235JR", 200, "along", value=length * width / 100)
    for i, (length, width, count) in enumerate([(500, 600, 1), (400, 300, 2), (300, 600, 1), (600, 600, 1)])
)
SHEET = StockItem("S", 90_000, 120_000, 1, "S235JR", 200, edges="cut", oversize=0)


def test_a_plan_of_few_stacks_is_measured_by_the_bound_of_any_plan() -> None:
    """All of it fits in three directions; with one stack two are allowed, and they give less."""
    options = Options(objective="value", open_stacks=1, trim=0)
    first, few = list(candidates(Job(IDEAL, PARTS, (SHEET,), options, 10**7), "value"))[:2]
    assert worth_of(first.divisions, PARTS) == Fraction(str(first.bound.value)) == 10_800
    assert not first.stopped_early
    assert few.bound.value == first.bound.value
    assert worth_of(few.divisions, PARTS) < 10_800
    assert few.stopped_early
