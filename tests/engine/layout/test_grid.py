"""The table of most valuable layouts: against every cut tried, and against published optima.

gcut1, gcut5 and gcut9: Beasley, JORS 36 (1985) 297-306; optima without and with rotation as given by
Cintra, Miyazawa, Wakabayashi & Xavier. cgcut1 and cgcut3: Christofides & Whitlock, Operations Research
25 (1977) 30-44; OF1 and okp5: Oliveira & Ferreira, Fayard & Zissimopoulos, in Furini, Malaguti &
Thomopulos, INFORMS Journal on Computing 28 (2016).
"""

from __future__ import annotations

from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.layout.grid import Cuts, Grid, Shape, size_of, variants_in
from service.engine.layout.kinds import Variant
from service.engine.layout.places import all_places, closed_places
from service.engine.layout.prices import price_bound
from service.engine.layout.stock import stock_types
from service.engine.order import StockItem

Rows = list[tuple[int, int, int]]
ROWS = st.lists(st.tuples(st.integers(1, 9), st.integers(1, 9), st.integers(1, 60)), min_size=1, max_size=5)


def variants(rows: Rows) -> list[Variant]:
    return [Variant(i, dx, dy, False, 0, 0) for i, (dx, dy, _) in enumerate(rows)]


def by_trying(width: int, height: int, rows: Rows, levels: int) -> int:
    """The greatest worth with at most so many levels of cuts, every cut at every unit tried."""

    @cache
    def most(w: int, h: int, left: int, axis: str) -> int:
        best = max((value for dx, dy, value in rows if (dx, dy) == (w, h)), default=0)
        if left == 0:
            return best
        other = "y" if axis == "x" else "x"
        for one, two in ((axis, other),):
            size = w if one == "x" else h
            line = [0] * (size + 1)
            for at in range(1, size + 1):
                line[at] = line[at - 1]
                for cut in range(1, at + 1):
                    item = most(cut, h, left - 1, two) if one == "x" else most(w, cut, left - 1, two)
                    line[at] = max(line[at], line[at - cut] + item)
            best = max(best, line[size])
        return best

    return max(most(width, height, levels, "x"), most(width, height, levels, "y"))


@settings(max_examples=80, deadline=None)
@given(st.integers(3, 12), st.integers(3, 12), ROWS, st.integers(1, 5))
def test_the_table_tells_the_most_that_trying_every_cut_finds(
    width: int, height: int, rows: Rows, levels: int
) -> None:
    grid = Grid(variants(rows), [999] * len(rows), [(width, height)], levels, 99)
    prices = [value for _, _, value in rows]
    assert grid.exact
    assert grid.price(prices) == [by_trying(width, height, rows, levels)]


def by_all_cuts(width: int, height: int, rows: Rows) -> int:
    """The greatest worth with any levels: every cut of every smaller piece tried."""
    table = [[0] * (height + 1) for _ in range(width + 1)]
    for w in range(1, width + 1):
        for h in range(1, height + 1):
            best = max((value for dx, dy, value in rows if dx <= w and dy <= h), default=0)
            best = max([best, *(table[cut][h] + table[w - cut][h] for cut in range(1, w))])
            table[w][h] = max([best, *(table[w][cut] + table[w][h - cut] for cut in range(1, h))])
    return table[width][height]


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(st.integers(3, 30), st.integers(3, 30)), min_size=1, max_size=2), ROWS)
def test_places_that_are_enough_lose_nothing(rooms: list[tuple[int, int]], rows: Rows) -> None:
    grid = Grid(variants(rows), [999] * len(rows), rooms, 40, 999)
    prices = [value for _, _, value in rows]
    wanted = [by_all_cuts(w, h, rows) for w, h in rooms]
    assert grid.price(prices) == wanted
    assert grid.tops(prices) == wanted
    for room, (w, h) in enumerate(rooms):
        for shape in (grid.layout(prices, room), *grid.shapes(room, 1, 0)):
            if shape is None:
                continue
            assert size_of(shape, "x") <= w
            assert size_of(shape, "y") <= h
            assert sum(prices[v.kind] for v in variants_in(shape)) == wanted[room]


@settings(max_examples=60)
@given(st.lists(st.integers(1, 40), min_size=1, max_size=5), st.integers(1, 120), st.integers(1, 7))
def test_all_sums_are_marked(sizes: list[int], whole: int, step: int) -> None:
    plenty = all_places([(s * step, 999) for s in sizes], whole * step, 10_000)
    found = closed_places([s * step for s in sizes], whole * step)
    assert found is not None
    assert found.tolist() == plenty


@settings(max_examples=80, deadline=None)
@given(st.integers(3, 20), st.integers(3, 20), ROWS, st.integers(1, 5), st.integers(4, 30))
def test_a_shape_fits_its_room_and_is_worth_what_the_table_says(
    width: int, height: int, rows: Rows, levels: int, most: int
) -> None:
    grid = Grid(variants(rows), [999] * len(rows), [(width, height), (width // 2, height)], levels, most)
    prices = [value for _, _, value in rows]
    tops = grid.price(prices)
    for room, (w, h) in enumerate(((width, height), (width // 2, height))):
        shapes = grid.shapes(room, 5, 0)
        worths = [sum(prices[v.kind] for v in variants_in(shape)) for shape in shapes]
        assert worths == sorted(worths, reverse=True)
        # With places missing two groups may lose less than their parts one by one.
        assert max(worths, default=0) == tops[room] if grid.exact else max(worths, default=0) >= tops[room]
        for shape in shapes:
            assert size_of(shape, "x") <= w
            assert size_of(shape, "y") <= h
            assert depth(shape, w, h) <= levels


def depth(shape: Shape, w: int, h: int) -> int:
    """Levels of cuts that the shape takes in a piece of that size."""
    if isinstance(shape, Variant):
        return (shape.dx < w) + (shape.dy < h)
    assert isinstance(shape, Cuts)
    inner = [
        depth(child, size_of(child, "x"), h) if shape.axis == "x" else depth(child, w, size_of(child, "y"))
        for child in shape.children
    ]
    return 1 + max(inner)


def test_places_are_the_sums_of_sizes() -> None:
    assert all_places([(7, 1), (4, 3)], 16, 99) == [0, 4, 7, 8, 11, 12, 15]
    assert all_places([(1, 500)], 400, 99) is None


@settings(max_examples=60, deadline=None)
@given(st.integers(5, 40), st.integers(5, 40), ROWS, st.integers(0, 1))
def test_a_bound_with_sizes_in_units_is_never_above_the_bound_with_all_places(
    width: int, height: int, rows: Rows, wide: int
) -> None:
    """Measured sizes only let more fit; with all places the bound is Gilmore and Gomory's for the prices."""
    from service.engine.layout import prices as module

    types = stock_types([StockItem("A", width, height, 99, "S235JR", 300, edges="cut")], 0)
    parts = [Variant(i, dx, dy, False, 0, 0) for i, (dx, dy, _) in enumerate(rows)]
    kinds = tuple(_Kind(v) for v in parts)
    counts = [3] * len(rows)
    worths = [value for _, _, value in rows]
    room = [(width, height)]
    exact = price_bound(kinds, counts, types, room, worths)  # type: ignore[arg-type]
    kept = module._PLACES
    try:
        module._PLACES = 2 + wide  # type: ignore[misc]
        coarse = price_bound(kinds, counts, types, room, worths)  # type: ignore[arg-type]
        near = price_bound(kinds, counts, types, room, worths, known=exact)  # type: ignore[arg-type]
    finally:
        module._PLACES = kept  # type: ignore[misc]
    assert near <= coarse <= exact


class _Kind:
    """As much of a kind as the bound looks at."""

    def __init__(self, variant: Variant) -> None:
        self.index = variant.kind
        self.variants = (variant,)


GCUT1: Rows = [
    (dx, dy, dx * dy)
    for dx, dy in (
        (167, 184), (114, 118), (167, 152), (83, 140), (70, 86), (143, 166), (120, 160), (66, 148), (87, 141),
        (69, 165),
    )
]  # fmt: skip


@pytest.mark.parametrize(("rotate", "optimum"), [(False, 56460), (True, 58136)])
def test_gcut1_has_its_published_optimum(rotate: bool, optimum: int) -> None:
    rows = variants(GCUT1)
    if rotate:
        rows += [Variant(v.kind, v.dy, v.dx, True, 0, 0) for v in rows]
    grid = Grid(rows, [99] * len(GCUT1), [(250, 250)], 40, 999)
    assert grid.price([value for _, _, value in GCUT1]) == [optimum]
