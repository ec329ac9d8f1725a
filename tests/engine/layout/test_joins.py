"""The search for the most valuable layout within the counts, against every cut and every choice tried."""

from __future__ import annotations

import tracemalloc
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.layout import joins as joins_module
from service.engine.layout.beyond import OUTSIDE, beyond, sums_of
from service.engine.layout.counts import Counts
from service.engine.layout.grid import Grid, Shape, size_of, variants_in
from service.engine.layout.hunt import Hunt
from service.engine.layout.joins import Joins
from service.engine.layout.kinds import Variant

Kinds = list[tuple[int, int, int, int]]
ANY_LEVELS = 60
ENOUGH = 10**9

sheets = st.tuples(st.integers(2, 5), st.integers(2, 5))
kinds = st.lists(
    st.tuples(st.integers(1, 4), st.integers(1, 4), st.integers(1, 2), st.integers(1, 30)),
    min_size=1,
    max_size=3,
)


def every_way(sheet: tuple[int, int], rows: Kinds, levels: int) -> int:
    """The greatest worth: every place of a cut, every sharing out of the parts; `levels` of cuts at most.

    A part is cut to its size on all sides, which takes levels as any cut.
    """
    options = [range(n + 1) for _, _, n, _ in rows]

    @cache
    def most(width: int, height: int, left: tuple[int, ...], level: int, along_x: bool) -> int:
        best = max(
            (
                value
                for n, (a, b, _, value) in zip(left, rows, strict=True)
                if n and (a, b) == (width, height)
            ),
            default=0,
        )
        if level == 0 or not any(left):
            return best
        best = max(best, most(width, height, left, level - 1, not along_x))
        for share in product(*options):
            if any(s > n for s, n in zip(share, left, strict=True)):
                continue
            rest = tuple(n - s for n, s in zip(left, share, strict=True))
            for cut in range(1, width if along_x else height):
                # What is cut off is cut the other way next; the rest is cut on along the same axis.
                if along_x:
                    one = most(cut, height, share, level - 1, False)
                    two = most(width - cut, height, rest, level, True)
                else:
                    one = most(width, cut, share, level - 1, True)
                    two = most(width, height - cut, rest, level, False)
                best = max(best, one + two)
        return best

    counts = tuple(n for _, _, n, _ in rows)
    return max(most(*sheet, counts, levels, axis) for axis in (True, False))


def any_way(sheet: tuple[int, int], rows: Kinds) -> int:
    """As :func:`every_way` with levels not limited."""
    options = [range(n + 1) for _, _, n, _ in rows]

    @cache
    def most(width: int, height: int, left: tuple[int, ...]) -> int:
        fitting = [
            value for n, (a, b, _, value) in zip(left, rows, strict=True) if n and a <= width and b <= height
        ]
        best = max(fitting, default=0)
        if not fitting or sum(left) < 2:
            return best
        for share in product(*options):
            rest = tuple(n - s for n, s in zip(left, share, strict=True))
            if min(rest) < 0 or not any(share) or not any(rest):
                continue
            for cut in range(1, width):
                best = max(best, most(cut, height, share) + most(width - cut, height, rest))
            for cut in range(1, height):
                best = max(best, most(width, cut, share) + most(width, height - cut, rest))
        return best

    return most(*sheet, tuple(n for _, _, n, _ in rows))


def joins_of(sheet: tuple[int, int], rows: Kinds, prices: list[int], levels: int) -> Joins:
    variants = [Variant(k, a, b, False, 0, 0) for k, (a, b, _, _) in enumerate(rows)]
    counts = [n for _, _, n, _ in rows]
    grid = Grid(variants, counts, [sheet], levels, 1000)
    return Joins(grid, counts, [value for *_, value in rows], prices, lambda _: True)


def taken(sheet: tuple[int, int], rows: Kinds, found: list[int]) -> Callable[[Shape], int]:
    """Take a layout: it lies within the sheet and the counts."""

    def accept(shape: Shape) -> int:
        used = Counter(v.kind for v in variants_in(shape))
        assert all(n <= rows[kind][2] for kind, n in used.items())
        assert size_of(shape, "x") <= sheet[0]
        assert size_of(shape, "y") <= sheet[1]
        found.append(sum(rows[kind][3] * n for kind, n in used.items()))
        return found[-1]

    return accept


@settings(max_examples=40)
@given(
    sheets,
    kinds,
    st.lists(st.integers(0, 30), min_size=3, max_size=3),
    st.sampled_from([1, 2, 3, 4, ANY_LEVELS]),
)
def test_the_search_finds_and_proves_what_trying_every_cut_finds_at_any_prices(
    sheet: tuple[int, int], rows: Kinds, asked: list[int], levels: int
) -> None:
    prices = [min(p, value) for p, (*_, value) in zip(asked, rows, strict=False)]
    joins = joins_of(sheet, rows, prices, levels)
    best = any_way(sheet, rows) if levels == ANY_LEVELS else every_way(sheet, rows, levels)
    found = [0]
    bound = joins.search(1, ENOUGH, taken(sheet, rows, found))
    assert joins.most >= best
    assert max(found) == best == bound
    assert joins.search(best + 1, ENOUGH, taken(sheet, rows, found)) == best


@settings(max_examples=40)
@given(sheets, kinds, st.integers(1, 3))
def test_few_layouts_a_size_tell_a_bound_only_when_none_was_left_out(
    sheet: tuple[int, int], rows: Kinds, keep: int
) -> None:
    joins = joins_of(sheet, rows, [0] * len(rows), ANY_LEVELS)
    found = [0]
    bound = joins.search(1, ENOUGH, taken(sheet, rows, found), keep)
    assert bound in (None, max(found))
    if bound is not None:
        assert bound == any_way(sheet, rows)


@settings(max_examples=40)
@given(sheets, kinds, st.integers(0, 3000))
def test_whatever_the_effort_what_is_reached_and_the_bound_enclose_the_best(
    sheet: tuple[int, int], rows: Kinds, effort: int
) -> None:
    joins = joins_of(sheet, rows, [0] * len(rows), ANY_LEVELS)
    found = [0]
    hunt = Hunt(joins, taken(sheet, rows, found), effort, 0, joins.most, exact=True)
    hunt.begin()
    hunt.finish()
    best = any_way(sheet, rows)
    assert hunt.reached == max(found) <= best <= hunt.most


def test_a_layout_that_cannot_be_carried_out_still_counts_in_the_bound() -> None:
    rows = [(2, 2, 1, 10), (1, 1, 1, 3)]
    joins = joins_of((3, 3), rows, [0, 0], ANY_LEVELS)

    def accept(shape: Shape) -> int:
        worth = sum(rows[v.kind][3] for v in variants_in(shape))
        return worth if worth < 13 else 0

    hunt = Hunt(joins, accept, ENOUGH, 0, joins.most, exact=True)
    hunt.begin()
    hunt.finish()
    assert (hunt.reached, hunt.most) == (10, 13)


def test_the_search_ends_when_the_effort_is_spent_or_the_caller_says_stop() -> None:
    rows = [(2, 3, 2, 10), (1, 2, 2, 3), (3, 1, 2, 5)]
    joins = joins_of((6, 6), rows, [0, 0, 0], ANY_LEVELS)
    assert joins.search(1, 0, lambda _: 0) is None
    counts = [n for _, _, n, _ in rows]
    stopped = Joins(joins.grid, counts, [v for *_, v in rows], [0, 0, 0], lambda _: False)
    assert stopped.search(1, ENOUGH, lambda _: 0) is None
    assert stopped.stopped


@given(st.data(), st.integers(2, 5), st.integers(2, 5))
def test_beyond_a_corner_lies_what_growing_it_step_by_step_gains(
    data: st.DataObject, nx: int, ny: int
) -> None:
    numbers = st.lists(st.integers(0, 9), min_size=nx * ny, max_size=nx * ny)
    worth = np.array(data.draw(numbers), dtype=np.int64).reshape(nx, ny)
    worth[0], worth[:, 0] = 0, 0
    worth = np.maximum.accumulate(np.maximum.accumulate(worth, axis=0), axis=1)

    @cache
    def gain(i: int, j: int) -> int:
        further = [0]
        further += [gain(i + k, j) + int(worth[k, j]) for k in range(1, nx - i)]
        further += [gain(i, j + k) + int(worth[i, k]) for k in range(1, ny - j)]
        return max(further)

    places_x, places_y = np.arange(nx), np.arange(ny)
    table = beyond(worth, sums_of(places_x, nx - 1), sums_of(places_y, ny - 1))
    assert table[:nx, :ny].tolist() == [[gain(i, j) for j in range(ny)] for i in range(nx)]
    assert (table[nx] <= OUTSIDE).all()
    assert (table[:, ny] <= OUTSIDE).all()


@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9), st.integers(1, 9)), min_size=1, max_size=40))
def test_two_uses_are_over_when_any_kind_is_taken_oftener_than_it_may(
    rows: list[tuple[int, int, int]],
) -> None:
    counts = Counts({kind: most for kind, (_, _, most) in enumerate(rows)})
    one, two = (
        sum((counts.one(kind) * min(row[side], row[2]) for kind, row in enumerate(rows)), 0 * counts.one(0))
        for side in (0, 1)
    )
    over = any(min(a, most) + min(b, most) > most for a, b, most in rows)
    assert bool(counts.over(one + two)) is over


def test_a_search_that_would_remember_too_many_layouts_ends_without_a_bound(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rows = [(2, 3, 2, 10), (1, 2, 2, 3), (3, 1, 2, 5)]
    assert joins_of((6, 6), rows, [0, 0, 0], ANY_LEVELS).search(1, ENOUGH, lambda _: 0) is not None
    monkeypatch.setattr(joins_module, "_MOST_NUMBERED", 5)
    assert joins_of((6, 6), rows, [0, 0, 0], ANY_LEVELS).search(1, ENOUGH, lambda _: 0) is None


def test_no_more_than_nine_bytes_are_remembered_of_a_layout() -> None:
    origins = joins_module._Origins()
    joins = joins_of((6, 6), [(1, 1, 2, 3)], [0], ANY_LEVELS)
    joins.search(1, ENOUGH, lambda _: 0)
    rows = joins._parts(0)
    many = joins_module._Rows.together([rows] * 50_000)
    tracemalloc.start()
    before = tracemalloc.get_traced_memory()[0]
    origins.add(replace(many, one=many.one.copy(), two=many.two.copy()))
    kept = tracemalloc.get_traced_memory()[0] - before
    tracemalloc.stop()
    assert kept < 10 * len(many)
    assert origins.of(len(many) - 1) == (0, -1, False)
