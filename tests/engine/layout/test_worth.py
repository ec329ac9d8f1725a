"""Filling a sheet with what is worth most: published optima, and every choice tried.

cgcut1 and cgcut3: Christofides & Whitlock, Operations Research 25 (1977) 30-44, OR-Library; optima 244
and 1860 of exact runs in H. Becker's thesis (2022). gcut1: Beasley, JORS 36 (1985) 297-306.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import replace
from fractions import Fraction
from itertools import product
from typing import TypeVar

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schemas.orders import read_order, write_order
from schemas.plans import write_plan
from schemas.problems import WireError
from service.engine.layout.job import Found, Job
from service.engine.layout.kinds import kinds_of
from service.engine.layout.most_worth import Wanted, most_of
from service.engine.layout.search import find_layouts
from service.engine.layout.values import not_below, whole_values
from service.engine.machine import Machine
from service.engine.materials_table import material_named
from service.engine.order import Options, Order, Part, StockItem
from service.engine.plan import Unplaced
from service.engine.planner import plan
from service.engine.verifier import verify
from tests.benchmarks.layouts import IDEAL

Rows = list[tuple[int, int, int, int]]
Value = TypeVar("Value", int, Fraction)

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


def most(width: int, height: int, left: tuple[tuple[int, int, Value], ...]) -> Value | int:
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


def worth(asked: Order, unplaced: Iterable[Unplaced]) -> Fraction:
    """What the parts that are not left out are worth, exactly."""
    left = Counter({one.ref: 0 for one in asked.parts})
    for one in unplaced:
        left[one.ref] += one.quantity
    return sum((Fraction(str(p.value or 0)) * (p.quantity - left[p.ref]) for p in asked.parts), Fraction(0))


def fill(asked: Order, stop: Callable[[], bool] | None = None) -> tuple[Fraction, Fraction, Found]:
    """What is chosen is worth, the bound on it, and the whole answer."""
    job = Job(IDEAL, asked.parts, asked.stock, asked.options, IDEAL.cutting_length)
    found = find_layouts(job, stop)
    assert found.bound.value is not None
    return worth(asked, found.unplaced), Fraction(str(found.bound.value)), found


@pytest.mark.parametrize(
    ("small", "large"),
    [
        pytest.param(0.30000000000000004, 95.5, id="many decimals"),
        pytest.param(0.3333333333333333, 1000.0, id="beyond a number of the table"),
        pytest.param(1e-7, 999999.9, id="far apart"),
    ],
)
def test_values_of_many_decimals_neither_overflow_nor_lower_the_bound(small: float, large: float) -> None:
    # All four of the dearer part fit.
    asked = order(IDEAL, (1000, 500), [(300, 200, 5, 0), (410, 170, 4, 0)])
    parts = [replace(p, value=v, grain="any") for p, v in zip(asked.parts, (small, large), strict=True)]
    asked = replace(asked, parts=tuple(parts))
    got, bound, _ = fill(asked)
    assert Fraction(str(large)) * 4 <= got <= bound


@given(st.lists(st.floats(0, 1e6), min_size=1, max_size=6), st.integers(1, 10**10), st.integers(1, 10**10))
def test_whole_values_are_no_lower_nearly_the_same_and_stay_within_numbers(
    values: list[float], wide: int, high: int
) -> None:
    parts = [Part(f"P{i}", 100 + i, 100, 1, "S235JR", 300, value=value) for i, value in enumerate(values)]
    kinds = kinds_of(parts)
    whole, scale = whole_values(kinds, (wide, high))
    full = wide * high // (100 * 100)
    for kind, value in zip(kinds, whole, strict=True):
        exact = Fraction(str(kind.value))
        assert exact * scale <= value < exact * scale + 1
        assert value * full < 2**60 + full


@given(st.fractions(0, 10**9))
def test_a_bound_is_never_rounded_below_itself(amount: Fraction) -> None:
    assert amount <= Fraction(str(not_below(amount)))


SMALL = st.lists(
    st.tuples(st.integers(1, 4), st.integers(1, 4), st.just(1), st.integers(0, 30)), min_size=1, max_size=4
)


@settings(max_examples=40)
@given(
    st.lists(st.tuples(st.integers(1, 5), st.integers(1, 5)), min_size=2, max_size=3),
    SMALL,
    st.integers(1, 6),
    st.sampled_from([1.0, 0.1, 1 / 3, 0.30000000000000004]),
)
def test_over_several_pieces_the_bound_is_no_lower_than_every_choice_tried(
    pieces: list[tuple[int, int]], rows: Rows, stages: int, unit: float
) -> None:
    asked = order(IDEAL, pieces[0], rows)
    stock = tuple(
        replace(asked.stock[0], ref=f"S{i}", length=a * 100, width=b * 100) for i, (a, b) in enumerate(pieces)
    )
    parts = tuple(replace(part, value=(part.value or 0) * unit) for part in asked.parts)
    asked = replace(asked, parts=parts, stock=stock, options=replace(asked.options, max_stages=stages))
    got, bound, _ = fill(asked)
    assert got <= bound
    if stages == 6:
        sized = [(part.length // 100, part.width // 100, Fraction(str(part.value))) for part in parts]
        best = Fraction(0)
        for shares in product(range(len(pieces)), repeat=len(rows)):
            found: Fraction | int = 0
            for place, (a, b) in enumerate(pieces):
                mine = [one for one, share in zip(sized, shares, strict=True) if share == place]
                found += most(a, b, tuple(mine))
            best = max(best, Fraction(found))
        assert got <= best <= bound


def test_parts_are_shared_out_so_that_each_piece_of_stock_gets_what_fits_it_alone() -> None:
    # C fits G only; filled first, G would get both A, of which H can hold two as well.
    asked = order(IDEAL, (1000, 430), [(400, 400, 2, 30), (900, 440, 1, 55)])
    offcut = replace(asked.stock[0], ref="G", kind="offcut", length=100_000, width=45_000)
    got, bound, found = fill(replace(asked, stock=(offcut, *asked.stock)))
    assert got == bound == 115
    assert not found.stopped_early


def test_layouts_are_chosen_that_leave_the_other_piece_something_that_is_worth_more() -> None:
    # The three small parts fill one strip best, 12, and leave 7 for the other; 4 + 7 twice is more.
    asked = order(IDEAL, (10, 1), [(3, 1, 3, 4), (7, 1, 2, 7)], sheets=2)
    got, bound, _ = fill(asked)
    assert got == 22 <= bound


def test_where_places_are_too_many_the_bound_is_that_of_areas_or_less() -> None:
    rows = [(97 + 53 * i % 811, 61 + 37 * i % 541, 1 + i % 6, 5 + 29 * i % 197) for i in range(30)]
    asked = order(IDEAL, (3000, 1500), rows)
    asked = replace(asked, options=replace(asked.options, max_stages=3))
    got, bound, found = fill(asked, lambda: True)
    room, by_area = 3000 * 1500, Fraction(0)
    for a, b, n, value in sorted(rows, key=lambda row: Fraction(-row[3], row[0] * row[1])):
        by_area += value * min(Fraction(n), Fraction(room, a * b))
        room -= min(n * a * b, room)
    assert got <= bound <= by_area < sum(n * value for _, _, n, value in rows)
    assert found.stopped_early
    kinds = kinds_of(asked.parts)
    values = [int(kind.value or 0) for kind in kinds]
    wanted = Wanted(values, [kind.quantity for kind in kinds])
    told = most_of(kinds, [(300_000, 150_000)], [1], wanted, 3, 4, lambda _: True)
    assert got <= told <= by_area * 6 / 5


@given(st.integers(0, 8))
def test_the_search_ends_when_the_caller_says_stop_with_what_it_has(after: int) -> None:
    asked = order(IDEAL, (40, 70), CGCUT3, sheets=3)
    asks = 0

    def stop() -> bool:
        nonlocal asks
        asks += 1
        return asks > after

    got, bound, found = fill(replace(asked, options=replace(asked.options, effort="standard")), stop)
    assert 3 * 1200 < got <= bound
    assert asks <= after + 1
    assert found.stopped_early or got == bound


def test_a_limit_on_stacks_does_not_lower_the_worth_nor_the_bound() -> None:
    rows = [(500, 600, 1, 10), (500, 300, 2, 10), (290, 400, 1, 10), (700, 400, 1, 10), (1000, 1000, 1, 45)]
    asked = order(IDEAL, (1000, 1000), rows)
    asked = replace(asked, options=replace(asked.options, open_stacks=1))
    found = plan(asked)
    assert worth(asked, found.unplaced) == 50
    assert found.bound.value == 50
    assert verify(write_plan(found, asked)).ok


def test_bounds_of_several_thicknesses_add_up_without_falling_below_the_worth() -> None:
    # 0.7 + 0.1 is 0.7999999999999999 in floating point.
    asked = order(IDEAL, (15, 10), [(15, 10, 1, 0), (10, 10, 1, 0)])
    parts = tuple(replace(p, value=v) for p, v in zip(asked.parts, (0.7, 0.1), strict=True))
    parts = (parts[0], replace(parts[1], thickness=200))
    stock = (*asked.stock, replace(asked.stock[0], ref="T", thickness=200))
    found = plan(replace(asked, parts=parts, stock=stock))
    assert found.unplaced == ()
    assert found.bound.value == 0.8


def test_what_is_left_out_says_whether_it_is_worth_anything(ideal: Machine) -> None:
    asked = order(ideal, (20, 10), [(20, 10, 2, 100), (10, 10, 1, 40), (5, 5, 1, 0)])
    told = {one.ref: one.reason for one in plan(asked).unplaced}
    dear, cheap, nothing = (part.ref for part in asked.parts)
    assert told[dear] == told[cheap] == "the stock is filled with parts that are together worth more"
    assert told[nothing] == "it is worth nothing"
