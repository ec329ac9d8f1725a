"""Whole pieces of stock that hold so much: against trying every choice, and what it says of plans."""

from __future__ import annotations

from itertools import product

from hypothesis import given
from hypothesis import strategies as st

from service.engine.layout.bound import least_of
from service.engine.layout.cover import cover_cost, whole_cost
from service.engine.layout.kinds import kinds_of
from service.engine.layout.stock import stock_types
from service.engine.order import Part, StockItem

ROWS = st.lists(st.tuples(st.integers(0, 40), st.integers(0, 30), st.integers(0, 3)), min_size=1, max_size=4)


def tried(holds: list[tuple[int, int, int]], wanted: int) -> int | None:
    """The least cost of all choices; None where all of the stock holds too little."""
    costs = [
        sum(n * cost for n, (_, cost, _) in zip(counts, holds, strict=True))
        for counts in product(*(range(quantity + 1) for _, _, quantity in holds))
        if sum(n * hold for n, (hold, _, _) in zip(counts, holds, strict=True)) >= wanted
    ]
    return min(costs, default=None)


@given(ROWS, st.integers(0, 250))
def test_the_least_whole_cost_is_that_of_trying_every_choice(
    holds: list[tuple[int, int, int]], wanted: int
) -> None:
    least = tried(holds, wanted)
    if least is None:
        # What is asked for cannot be had: all of the stock is what is sure.
        assert whole_cost(holds, wanted) == sum(cost * n for hold, cost, n in holds if hold)
    else:
        assert whole_cost(holds, wanted) == least


@given(ROWS, st.integers(0, 250), st.integers(0, 60))
def test_with_few_looks_it_is_below_the_least_and_never_below_fractions(
    holds: list[tuple[int, int, int]], wanted: int, looks: int
) -> None:
    least = tried(holds, wanted)
    if least is not None:
        assert cover_cost(holds, wanted) <= whole_cost(holds, wanted, looks) <= least


def test_sheets_are_taken_whole_in_the_bound() -> None:
    """9.15 m² from sheets of 3.125 m² and two offcuts of 0.79 m²: three sheets, and no part of one."""
    parts = (
        Part("P", 64_000, 30_000, 47, "S235JR", 300, "any"),
        Part("Q", 30_000, 14_300, 3, "S235JR", 300, "any"),
    )
    stock = (
        StockItem("R", 124_000, 64_000, 2, "S235JR", 300, kind="offcut", price=17.5),
        StockItem("S", 250_000, 125_000, 14, "S235JR", 300, price=94),
    )
    kinds = kinds_of(parts)
    types = stock_types(stock, 0)
    least = least_of(kinds, [sum(n for _, n, _ in kind.wanted) for kind in kinds], types, 0)
    assert least.cost == 3 * 94 * 2  # prices are counted in halves, for the offcut at 17.5
    assert least.pieces == 3
