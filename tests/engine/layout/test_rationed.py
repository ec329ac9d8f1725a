"""Tables of what is wanted: layouts that fit and use no part too often, and all that a plain table finds."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.layout import rationed
from service.engine.layout.grid import Grid, Shape, size_of, variants_in
from service.engine.layout.kinds import Variant
from service.engine.layout.rationed import Rationed

Rows = list[tuple[int, int, int, int]]
"""Size along x, size along y, worth, pieces wanted."""
ROWS = st.lists(
    st.tuples(st.integers(1, 12), st.integers(1, 12), st.integers(1, 60), st.integers(1, 3)),
    min_size=1,
    max_size=6,
)
ROOM = st.tuples(st.integers(3, 24), st.integers(3, 24))


def table_of(rows: Rows, rooms: list[tuple[int, int]], *, plenty: bool = False) -> Rationed:
    parts = [Variant(i, dx, dy, False, 0, 0) for i, (dx, dy, _, _) in enumerate(rows)]
    counts = [999 if plenty else n for _, _, _, n in rows]
    table = Rationed(Grid(parts, counts, rooms, 40, 999), counts)
    table.price([worth for _, _, worth, _ in rows])
    return table


def worth_of(shape: Shape, rows: Rows) -> int:
    return sum(rows[v.kind][2] for v in variants_in(shape))


@settings(max_examples=150, deadline=None)
@given(st.lists(ROOM, min_size=1, max_size=2), ROWS, st.integers(0, 80))
def test_layouts_fit_and_use_no_part_oftener_than_it_is_wanted(
    rooms: list[tuple[int, int]], rows: Rows, least: int
) -> None:
    table = table_of(rows, rooms)
    for place, (wide, high) in enumerate(rooms):
        found = table.shapes(place, 9, least)
        worths = [worth_of(shape, rows) for shape in found]
        assert all(worth > least for worth in worths)
        assert worths == sorted(worths, reverse=True)
        for shape in found:
            assert size_of(shape, "x") <= wide
            assert size_of(shape, "y") <= high
            assert all(n <= rows[kind][3] for kind, n in Counter(v.kind for v in variants_in(shape)).items())


@settings(max_examples=100, deadline=None)
@given(ROOM, ROWS)
def test_with_plenty_of_each_it_tells_what_the_plain_table_tells(room: tuple[int, int], rows: Rows) -> None:
    """Where no count matters one layout a place is all that is needed: the two are exact then."""
    table = table_of(rows, [room], plenty=True)
    found = table.shapes(0, 1, 0)
    most = table.grid.price([worth for _, _, worth, _ in rows])[0]
    assert [worth_of(shape, rows) for shape in found] == ([most] if most else [])


def test_the_second_of_a_part_wanted_once_gives_way_to_others() -> None:
    """One of 40 × 15 is wanted; on a sheet of 40 × 29 two of 20 × 14 go beside it."""
    table = table_of([(40, 15, 600, 1), (20, 14, 280, 9)], [(40, 29)])
    best = table.shapes(0, 1, 0)[0]
    assert Counter(v.kind for v in variants_in(best)) == {0: 1, 1: 2}


def test_a_cut_that_leaves_no_part_on_one_side_makes_no_layout_of_its_own() -> None:
    """The place at 3 is that of the smaller room; the part of 4 is wanted once."""
    found = table_of([(1, 4, 1, 1)], [(3, 3), (3, 7)]).shapes(1, 9, 0)
    assert [[v.kind for v in variants_in(shape)] for shape in found] == [[0]]


@given(ROOM, ROWS)
def test_layouts_do_not_depend_on_how_many_joins_are_looked_at_together(
    room: tuple[int, int], rows: Rows
) -> None:
    with pytest.MonkeyPatch.context() as patch:
        whole = table_of(rows, [room]).shapes(0, 20, 0)
        patch.setattr(rationed, "_BLOCK", 1)
        assert table_of(rows, [room]).shapes(0, 20, 0) == whole


def test_a_table_that_is_stopped_holds_layouts_all_the_same() -> None:
    parts = [Variant(0, 4, 4, False, 0, 0)]
    asked: list[bool] = []

    def stop() -> bool:
        asked.append(True)
        return len(asked) > 1

    table = Rationed(Grid(parts, [9], [(12, 4)], 40, 99), [9], stop)
    table.price([16])
    found = table.shapes(0, 9, 0)
    assert len(asked) == 2
    assert found
    assert all(size_of(shape, "x") <= 12 for shape in found)
