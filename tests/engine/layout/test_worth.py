"""Filling a sheet with what is worth most: published optima, and every choice tried.

cgcut1 and cgcut3: Christofides & Whitlock, Operations Research 25 (1977) 30-44, OR-Library; optima 244
and 1860 of exact runs in H. Becker's thesis (2022). gcut1: Beasley, JORS 36 (1985) 297-306.
"""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schemas.orders import read_order, write_order
from schemas.plans import write_plan
from schemas.problems import WireError
from service.engine.layout.job import Job
from service.engine.layout.search import find_layouts
from service.engine.machine import Machine
from service.engine.materials_table import material_named
from service.engine.order import Options, Order, Part, StockItem
from service.engine.planner import plan
from service.engine.verifier import verify
from tests.benchmarks.layouts import IDEAL

Rows = list[tuple[int, int, int, int]]

CGCUT1: Rows = [
    (8, 4, 2, 66),
    (3, 7, 1, 35),
    (8, 2, 3, 24),
    (3, 4, 5, 17),
    (3, 3, 2, 11),
    (3, 2, 2, 8),
    (2, 1, 1, 2),
]
CGCUT3: Rows = [
    (31, 43, 4, 500),
    (30, 41, 2, 480),
    (29, 39, 4, 460),
    (28, 38, 4, 440),
    (27, 37, 3, 420),
    (26, 36, 4, 410),
    (25, 35, 3, 400),
    (24, 34, 4, 380),
    (33, 23, 4, 360),
    (22, 32, 3, 340),
    (31, 21, 3, 320),
    (29, 18, 3, 300),
    (17, 27, 2, 280),
    (15, 24, 2, 240),
    (16, 25, 4, 260),
    (15, 24, 1, 240),
    (23, 14, 4, 220),
    (21, 12, 3, 180),
    (19, 11, 4, 160),
    (9, 17, 1, 140),
]


def order(machine: Machine, size: tuple[int, int], rows: Rows, sheets: int = 1, unit: int = 100) -> Order:
    parts = tuple(
        Part(f"P{i}", a * unit, b * unit, n, "S235JR", 300, "along", value=value)
        for i, (a, b, n, value) in enumerate(rows)
    )
    stock = StockItem("S", size[0] * unit, size[1] * unit, sheets, "S235JR", 300, edges="cut", oversize=0)
    options = Options(objective="value", effort="quick", max_stages=6, trim=0)
    return Order("fill", machine, (material_named("S235JR"),), parts, (stock,), options)


@pytest.mark.parametrize(
    ("size", "rows", "optimum"),
    [
        pytest.param((15, 10), CGCUT1, 244, id="cgcut1"),
        pytest.param((40, 70), CGCUT3, 1860, id="cgcut3"),
    ],
)
def test_a_sheet_is_filled_to_the_published_optimum_and_the_plan_passes_the_replay(
    ideal: Machine, size: tuple[int, int], rows: Rows, optimum: int
) -> None:
    asked = order(ideal, size, rows)
    found = plan(asked)
    left = Counter({one.ref: one.quantity for one in found.unplaced})
    assert {one.code for one in found.unplaced} == {"left-out"}
    assert sum((part.quantity - left[part.ref]) * (part.value or 0) for part in asked.parts) == optimum
    assert found.bound.value is not None
    assert found.bound.value >= optimum
    assert verify(write_plan(found, asked)).ok


def most(width: int, height: int, left: tuple[tuple[int, int, int], ...]) -> int:
    """The greatest worth of some of these parts in a rectangle: every cut and every part tried."""
    best = max((value for a, b, value in left if a <= width and b <= height), default=0)
    if len(left) < 2:
        return best
    places = range(len(left))
    for choice in range(1, 1 << (len(left) - 1)):
        one = tuple(left[i] for i in places if choice >> i & 1)
        two = tuple(left[i] for i in places if not choice >> i & 1)
        for cut in range(1, width):
            best = max(best, most(cut, height, one) + most(width - cut, height, two))
        for cut in range(1, height):
            best = max(best, most(width, cut, one) + most(width, height - cut, two))
    return best


@settings(max_examples=25)
@given(
    st.integers(2, 5),
    st.integers(2, 5),
    st.lists(
        st.tuples(st.integers(1, 4), st.integers(1, 4), st.just(1), st.integers(0, 30)),
        min_size=1,
        max_size=4,
    ),
)
def test_what_is_chosen_is_worth_no_more_than_the_bound_and_no_less_than_every_choice_tried(
    width: int, height: int, rows: Rows
) -> None:
    asked = order(IDEAL, (width, height), rows)
    found = find_layouts(Job(IDEAL, asked.parts, asked.stock, asked.options, IDEAL.cutting_length))
    left = Counter({one.ref: one.quantity for one in found.unplaced})
    got = sum((part.quantity - left[part.ref]) * (part.value or 0) for part in asked.parts)
    best = most(width, height, tuple((a, b, value) for a, b, _, value in rows))
    assert got == best
    assert found.bound.value is not None
    assert found.bound.value >= best


def test_the_bound_holds_when_the_levels_of_cuts_are_few() -> None:
    # Three strips of widths that differ, each cut to the width of the sheet: within three levels.
    asked = order(IDEAL, (40, 70), CGCUT3)
    options = Options(objective="value", effort="standard", max_stages=3, trim=0)
    found = find_layouts(Job(IDEAL, asked.parts, asked.stock, options, IDEAL.cutting_length))
    left = Counter({one.ref: one.quantity for one in found.unplaced})
    assert sum((part.quantity - left[part.ref]) * (part.value or 0) for part in asked.parts) == 1860
    assert found.bound.value == 1860


def test_with_enough_sheets_every_part_that_is_worth_something_is_cut(ideal: Machine) -> None:
    asked = order(ideal, (15, 10), [(8, 4, 5, 66), (3, 7, 4, 0)], sheets=9)
    found = plan(asked)
    assert [(one.ref, one.quantity) for one in found.unplaced] == [("P1", 4)]
    assert found.bound.value == 5 * 66


def test_over_the_wire_every_part_needs_a_value_when_value_decides() -> None:
    asked = order(IDEAL, (15, 10), [(8, 4, 5, 66), (3, 7, 4, 9)])
    document = write_order(asked)
    assert read_order(document, machine_named=lambda _: None) == asked
    document["parts"][1]["value"] = None
    with pytest.raises(WireError) as refused:
        read_order(document, machine_named=lambda _: None)
    assert [error.pointer for error in refused.value.errors] == ["/parts/1/value"]
