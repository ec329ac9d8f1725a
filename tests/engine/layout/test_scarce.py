"""The bound for parts that are wanted once, against trying everything, and what may lie beside a layout."""

from __future__ import annotations

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.engine.layout.bound import least_of
from service.engine.layout.context import Context
from service.engine.layout.grid import Shape
from service.engine.layout.job import Job
from service.engine.layout.kinds import Kind, kinds_of
from service.engine.layout.pool import Pool
from service.engine.layout.scarce import Scarce
from service.engine.layout.search import find_layouts
from service.engine.layout.slack import PART, Tree
from service.engine.layout.spare import Spare
from service.engine.machine import Machine
from service.engine.order import Grain, Options, Part, StockItem
from tests.engine.layout.test_bound import PARTS, Sizes, fewest, fits, order

SOME_TREE: Tree = (1, 1, PART, 0)
CLASS05_020_01 = (
    (50, 85, 1),
    (35, 14, 1),
    (94, 54, 1),
    (47, 62, 1),
    (52, 25, 1),
    (96, 67, 1),
    (1, 43, 1),
    (24, 42, 1),
    (53, 86, 1),
    (11, 31, 1),
    (52, 65, 1),
    (66, 11, 1),
    (76, 25, 1),
    (36, 94, 1),
    (36, 42, 1),
    (97, 24, 1),
    (76, 29, 1),
    (61, 79, 1),
    (74, 29, 1),
    (71, 69, 1),
)


def a_tree(shape: Shape) -> Tree:
    """Which tree it is does not matter to the bound."""
    return SOME_TREE


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(width=st.integers(4, 8), height=st.integers(4, 8), parts=PARTS)
def test_so_many_sheets_are_proved_where_fewer_do_not_do_and_nowhere_else(
    width: int, height: int, parts: list[tuple[int, int, Grain]], ideal: Machine
) -> None:
    sizes: Sizes = tuple(parts)
    best = fewest(width, height, sizes)
    if best is None:
        return
    stock = (StockItem("A", width, height, 99, "S235JR", 300, edges="cut", oversize=0),)
    context = Context(Job(ideal, order(sizes), stock, Options(max_stages=9, trim=0), ideal.cutting_length))
    least = least_of(context.all_kinds, context.demand, context.types, 0)
    for pieces in range(1, best + 2):
        context.least = least
        pool = Pool(context)
        for kind in range(len(context.demand)):
            pool.add((0, (kind,)), SOME_TREE)
        pool.too_few(0)
        proved = Scarce(context, a_tree).prove(pool, pieces)
        if pieces > best:
            assert not proved
        if proved:
            assert pieces <= context.least.pieces <= best


def test_a_published_optimum_is_proved_that_sizes_by_themselves_do_not_prove(ideal: Machine) -> None:
    """CLASS05_020_01 (Berkey & Wang 1987) in 2DPackLib: 8 sheets, by exact guillotine runs in H. Becker's
    thesis (2022)."""
    parts = tuple(
        Part(f"P{i}", a, b, n, "S235JR", 300, "along") for i, (a, b, n) in enumerate(CLASS05_020_01)
    )
    stock = (StockItem("A", 100, 100, 99, "S235JR", 300, edges="cut", oversize=0),)
    job = Job(ideal, parts, stock, Options(max_stages=9, trim=0), ideal.cutting_length)
    context = Context(job)
    assert least_of(context.all_kinds, context.demand, context.types, 0).pieces == 7
    found = find_layouts(job)
    assert found.bound.pieces == sum(one.repeat for one in found.divisions) == 8


@settings(max_examples=60, deadline=None)
@given(
    st.integers(4, 9),
    st.integers(4, 9),
    PARTS,
    st.lists(st.integers(1, 50), min_size=5, max_size=5),
    st.integers(1, 9),
    st.integers(1, 9),
)
def test_no_parts_beside_a_layout_are_worth_more_than_is_told(
    width: int, height: int, parts: list[tuple[int, int, Grain]], worths: list[int], x: int, y: int
) -> None:
    """A layout that reaches to a place is the same as one part of that size."""
    x, y = min(x, width), min(y, height)
    kinds = kinds_of(order(tuple(parts)))
    counts = [kind.quantity for kind in kinds]
    told = Spare(kinds, counts, (width, height)).table(
        worths[: len(kinds)], np.array([0, x, width]), np.array([0, y, height])
    )[1, 1]
    pieces = [(i, part) for i, kind in enumerate(kinds) for part in _sizes_of(kind, parts)]
    for chosen in range(1 << len(pieces)):
        some = [pieces[i] for i in range(len(pieces)) if chosen >> i & 1]
        worth = sum(worths[i] for i, _ in some)
        if worth > told:
            assert not fits(width, height, ((x, y, "along"), *(part for _, part in some)))


def _sizes_of(kind: Kind, parts: list[tuple[int, int, Grain]]) -> list[tuple[int, int, Grain]]:
    return [parts[int(ref[1:])] for ref, _, _ in kind.wanted]
