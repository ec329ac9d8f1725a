"""A bound is never above what can be done: against trying everything, and against itself."""

from __future__ import annotations

from functools import cache
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.layout.bound import Least, least_of, raised, with_prices
from service.engine.layout.dual import by_unit, in_parts, measures, plain, without_small
from service.engine.layout.kinds import kinds_of
from service.engine.layout.prices import price_bound
from service.engine.layout.stock import stock_types
from service.engine.order import Grain, Part, StockItem

Sizes = tuple[tuple[int, int, Grain], ...]


@cache
def fits(width: int, height: int, parts: Sizes) -> bool:
    """Whether the parts can be cut from the rectangle by guillotine cuts: every cut, every division."""
    if not parts:
        return True
    if sum(length * breadth for length, breadth, _ in parts) > width * height:
        return False
    if len(parts) == 1:
        length, breadth, grain = parts[0]
        ways = {"along": [(length, breadth)], "across": [(breadth, length)]}.get(
            grain, [(length, breadth), (breadth, length)]
        )
        return any(dx <= width and dy <= height for dx, dy in ways)
    places = range(len(parts))
    for size in range(len(parts) // 2 + 1):
        for group in combinations(places, size):
            one = tuple(parts[i] for i in places if i in group)
            two = tuple(parts[i] for i in places if i not in group)
            for cut in range(1, width):
                if fits(cut, height, one) and fits(width - cut, height, two) and (one or cut == 1):
                    return True
            for cut in range(1, height):
                if fits(width, cut, one) and fits(width, height - cut, two) and (one or cut == 1):
                    return True
    return False


def fewest(width: int, height: int, parts: Sizes) -> int | None:
    """Fewest equal sheets, by trying every division into sheets."""

    @cache
    def need(left: Sizes) -> int | None:
        if not left:
            return 0
        best: int | None = None
        rest = left[1:]
        for size in range(len(rest), -1, -1):
            for group in combinations(range(len(rest)), size):
                sheet = (left[0], *(rest[i] for i in group))
                if fits(width, height, tuple(sorted(sheet))):
                    more = need(tuple(rest[i] for i in range(len(rest)) if i not in group))
                    if more is not None and (best is None or more + 1 < best):
                        best = more + 1
        return best

    return need(tuple(sorted(parts)))


def order(parts: Sizes) -> tuple[Part, ...]:
    return tuple(Part(f"P{i}", a, b, 1, "S235JR", 300, grain) for i, (a, b, grain) in enumerate(parts))


PARTS = st.lists(
    st.tuples(st.integers(1, 8), st.integers(1, 8), st.sampled_from(("any", "along", "across"))),
    min_size=1,
    max_size=5,
)


@settings(max_examples=80)
@given(st.integers(3, 8), st.integers(3, 8), PARTS, st.lists(st.integers(0, 50), min_size=5, max_size=5))
def test_no_bound_exceeds_the_fewest_sheets_that_trying_everything_finds(
    width: int, height: int, parts: list[tuple[int, int, Grain]], prices: list[int]
) -> None:
    sizes: Sizes = tuple(parts)
    best = fewest(width, height, sizes)
    if best is None:
        return
    kinds = kinds_of(order(sizes))
    types = stock_types([StockItem("A", width, height, 9, "S235JR", 300, edges="cut", oversize=0)], 0)
    counts = [kind.quantity for kind in kinds]
    least = least_of(kinds, counts, types, 0, prices[: len(kinds)])
    assert 1 <= least.pieces <= best
    assert least.area <= best * width * height
    assert least.cost <= best * width * height


@settings(max_examples=40)
@given(PARTS, st.lists(st.integers(0, 50), min_size=5, max_size=5))
def test_with_two_sizes_no_bound_exceeds_the_cheapest_choice_of_stock(
    parts: list[tuple[int, int, Grain]], prices: list[int]
) -> None:
    sizes: Sizes = tuple(sorted(parts))
    stock = [
        StockItem("A", 8, 6, 2, "S235JR", 300, edges="cut", oversize=0, price=7.0),
        StockItem("B", 5, 8, 9, "S235JR", 300, edges="cut", oversize=0, price=5.5),
    ]

    @cache
    def cheapest(left: Sizes, large: int) -> float | None:
        if not left:
            return 0.0
        best: float | None = None
        rest = left[1:]
        for size in range(len(rest), -1, -1):
            for group in combinations(range(len(rest)), size):
                sheet = tuple(sorted((left[0], *(rest[i] for i in group))))
                others = tuple(rest[i] for i in range(len(rest)) if i not in group)
                for item, keep in ((stock[0], large - 1), (stock[1], large)):
                    if keep >= 0 and fits(item.length, item.width, sheet):
                        more = cheapest(others, keep)
                        if more is not None and (best is None or more + float(item.price or 0) < best):
                            best = more + float(item.price or 0)
        return best

    best = cheapest(sizes, 2)
    if best is None:
        return
    kinds = kinds_of(order(sizes))
    least = least_of(kinds, [kind.quantity for kind in kinds], stock_types(stock, 0), 0, prices[: len(kinds)])
    assert least.cost <= best * 2  # 5.5 and 7 in whole halves


@pytest.mark.parametrize("whole", [7, 12, 13, 30])
def test_the_measures_are_superadditive(whole: int) -> None:
    families = [in_parts(whole, k) for k in range(1, 8)]
    families += [without_small(whole, s) for s in range(1, whole // 2 + 1)]
    families += [by_unit(whole, s) for s in range(1, whole // 2 + 1)]
    families += measures(whole, range(1, whole + 1), 16)
    for f in [plain, *families]:
        for a in range(whole + 1):
            for b in range(whole + 1 - a):
                assert f(a) + f(b) <= f(a + b)


def test_parts_over_half_the_sheet_both_ways_need_a_sheet_each() -> None:
    kinds = kinds_of([Part("P", 60, 60, 7, "S235JR", 300)])
    types = stock_types([StockItem("A", 100, 100, 9, "S235JR", 300, edges="cut")], 0)
    assert least_of(kinds, [7], types, 0).pieces == 7


def test_mill_edges_are_no_use_to_the_bound() -> None:
    """Twenty-five of 20 × 20 fill a sheet of 100 × 100 with good edges; with a trim of 1 they do not."""
    kinds = kinds_of([Part("P", 20, 20, 25, "S235JR", 300)])
    good = stock_types([StockItem("A", 100, 100, 9, "S235JR", 300, edges="cut")], 1)
    mill = stock_types([StockItem("A", 100, 100, 9, "S235JR", 300, edges="mill")], 1)
    assert least_of(kinds, [25], good, 1).pieces == 1
    assert least_of(kinds, [25], mill, 1).pieces == 2


def test_scarce_large_sheets_raise_the_bound() -> None:
    kinds = kinds_of([Part("P", 50, 50, 8, "S235JR", 300)])
    stock = [
        StockItem("large", 100, 100, 1, "S235JR", 300, edges="cut"),
        StockItem("small", 50, 50, 9, "S235JR", 300, edges="cut"),
    ]
    assert least_of(kinds, [8], stock_types(stock, 0), 0).pieces == 5


def test_a_cost_that_is_the_area_bounds_the_area_too() -> None:
    """Several sizes without a price: the area was bounded by the smallest sheet for each piece alone."""
    stock = (
        StockItem("A", 25_000, 25_000, 99, "S235JR", 300, edges="cut", oversize=0),
        StockItem("B", 30_000, 20_000, 99, "S235JR", 300, edges="cut", oversize=0),
    )
    types = stock_types(stock, 0)
    least = raised(Least(0, 0, 0, "area"), 10 * 30_000 * 20_000 + 1, types)
    # Whole sheets come to a multiple of 2 500 mm²: the areas are 60 000 and 62 500 mm².
    assert least.area == least.cost == 10 * 30_000 * 20_000 + 2_500 * 10_000
    assert least.pieces == 10


def test_a_bound_on_cost_bounds_the_area_where_prices_differ() -> None:
    """Free offcuts add area and no cost, the rest at least what the dearest area for its money needs."""
    stock = (
        StockItem("R", 10_000, 10_000, 2, "S235JR", 300, kind="offcut", edges="cut", oversize=0, price=0),
        StockItem("A", 10_000, 10_000, 9, "S235JR", 300, edges="cut", oversize=0, price=10),
        StockItem("B", 20_000, 10_000, 9, "S235JR", 300, edges="cut", oversize=0, price=15),
    )
    types = stock_types(stock, 0)
    least = raised(Least(0, 0, 0, "area"), 30, types)
    assert (least.pieces, least.area, least.cost) == (2, 3 * 10_000 * 10_000, 30)
    by_area = raised(Least(0, 5 * 10_000 * 10_000, 0, "area"), 0, types)
    # Two free, then a sheet and a half of the cheaper area: 22.5, and prices are multiples of 5.
    assert by_area.cost == 25


ODD = ((33_137, 30_941, 12), (92_411, 52_573, 9), (38_659, 63_949, 12), (82_339, 21_787, 8))
"""Sizes whose sums are so many that they are measured in units, in several ways."""


@settings(max_examples=10, deadline=None)
@given(st.lists(st.integers(0, 50), min_size=4, max_size=4), st.integers(0, 200))
def test_what_is_known_leaves_tables_out_and_raises_none(weights: list[int], percent: int) -> None:
    """With little known all measures are tried, so nothing is lost; with much known the rest is left out."""
    kinds = kinds_of([Part(f"P{i}", a, b, n, "S235JR", 300) for i, (a, b, n) in enumerate(ODD)])
    types = stock_types([StockItem("A", 250_000, 125_000, 99, "S235JR", 300, edges="cut", oversize=0)], 0)
    counts = [kind.quantity for kind in kinds]
    prices = [kind.area // 1000 * weight for kind, weight in zip(kinds, weights, strict=True)]
    room = [(250_000, 125_000)]

    def told(known: int) -> int:
        return price_bound(kinds, counts, types, room, prices, 3, known)

    full = told(0)
    assert told(min(full, 1)) == full
    assert told(full * percent // 100) <= full
    assert told(10 * full + 1) == 0
    least = Least(99, 99 * types[0].area, 99 * types[0].cost, "area")
    assert with_prices(least, kinds, counts, types, 0, prices, 3) == least


def test_a_bound_from_prices_is_kept_where_it_comes_near_to_what_is_known() -> None:
    """Nine of 60 × 60 take a sheet of 100 × 100 each, and any price of them shows it."""
    kinds = kinds_of([Part("P", 6000, 6000, 9, "S235JR", 300)])
    types = stock_types([StockItem("A", 10_000, 10_000, 99, "S235JR", 300, edges="cut", oversize=0)], 0)
    cost = types[0].cost
    for known in (0, 4 * cost, 9 * cost):
        assert price_bound(kinds, [9], types, [(10_000, 10_000)], [1], 3, known) == 9 * cost
    # Of 11 sheets nine are less than the share from which further measures are tried.
    assert price_bound(kinds, [9], types, [(10_000, 10_000)], [1], 3, 11 * cost) == 0


def test_a_bound_of_no_pieces_says_that_none_has_a_place() -> None:
    assert least_of([], [], [], 0).method == "no piece has a place"
