"""The bound over all layouts: against counts by hand, and against every plan that is found."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.layout.columns import Steady
from service.engine.layout.context import Context, Pattern
from service.engine.layout.job import Job
from service.engine.layout.proof import proved
from service.engine.layout.search import find_layouts
from service.engine.layout.task import Task
from service.engine.order import Options, Part, StockItem
from tests.benchmarks.layouts import ANY_STAGES, IDEAL

Rows = list[tuple[int, int, int]]


def job(sheet: tuple[int, int], rows: Rows, *, turn: bool = False, stages: int = ANY_STAGES) -> Job:
    parts = tuple(
        Part(f"P{i}", length * 100, width * 100, n, "S235JR", 100, "any" if turn else "along")
        for i, (length, width, n) in enumerate(rows)
    )
    stock = StockItem("S", sheet[0] * 100, sheet[1] * 100, 9999, "S235JR", 100, edges="cut", oversize=0)
    return Job(IDEAL, parts, (stock,), Options(max_stages=stages, trim=0), 10**7)


def proof_of(one: Job) -> float:
    """Pieces of stock proved, in fractions."""
    context = Context(one)
    rooms = [(t.length, t.width) for t in context.types]
    kinds = [kind for kind, n in enumerate(context.demand) if n]
    task: Task[Pattern] = Task(context.types, kinds, context.demand, [t.quantity for t in context.types])
    cost = context.types[0].cost
    return float(proved(context, task, rooms, 1, 10**18, 10**10).cost / cost)


def test_five_of_half_a_sheet_prove_three_whole_ones() -> None:
    assert proof_of(job((100, 60), [(50, 60, 5)])) == pytest.approx(3.0, abs=1e-3)


def test_parts_that_exclude_each_other_prove_a_sheet_each() -> None:
    """Two of 60 × 35 never lie on one sheet of 100 × 60, though the area asks for 1.4 sheets only."""
    assert proof_of(job((100, 60), [(60, 35, 4)])) == pytest.approx(4.0, abs=1e-3)


@settings(max_examples=25, deadline=None)
@given(
    st.tuples(st.integers(10, 40), st.integers(10, 40)),
    st.lists(st.tuples(st.integers(3, 40), st.integers(3, 40), st.integers(1, 6)), min_size=1, max_size=4),
    st.booleans(),
    st.sampled_from([2, 3, ANY_STAGES]),
)
def test_nothing_is_proved_beyond_a_plan_that_was_found(
    sheet: tuple[int, int], rows: Rows, turn: bool, stages: int
) -> None:
    fits = [r for r in rows if r[0] <= sheet[0] and r[1] <= sheet[1]]
    if not fits:
        return
    one = job(sheet, fits, turn=turn, stages=stages)
    found = find_layouts(one)
    assert not found.unplaced
    assert proof_of(one) <= sum(d.repeat for d in found.divisions) + 1e-6
    assert found.bound.gap_pieces >= 0


ODD: Rows = [(331, 309, 12), (924, 525, 9), (386, 639, 12), (823, 217, 8), (1456, 417, 6)]
"""Sizes with so many sums that tables of levels that are limited take too few places to prove much."""


def test_what_any_levels_of_cuts_need_is_proved_where_they_are_limited() -> None:
    """By the table of all places: areas and sizes say five sheets, and no plan of five was found."""
    with_any = find_layouts(job((2500, 1250), ODD))
    limited = find_layouts(job((2500, 1250), ODD, stages=3))
    assert limited.bound.pieces == with_any.bound.pieces == sum(d.repeat for d in limited.divisions) == 6
    assert limited.bound.method == "prices of the parts"


SMALL: Rows = [
    (298, 51, 3), (190, 84, 4), (111, 119, 7), (83, 132, 10), (220, 94, 14), (77, 79, 9), (120, 42, 18),
    (145, 68, 5), (175, 36, 14), (151, 45, 6),
]  # fmt: skip
"""Parts for which thousands of rounds with the table of all places are allowed."""


@pytest.mark.parametrize("stages", [3, ANY_STAGES])
def test_a_proof_ends_where_thousands_of_tables_are_allowed(stages: int) -> None:
    found = find_layouts(job((600, 200), SMALL, turn=True, stages=stages))
    assert not found.unplaced
    assert found.bound.gap_pieces >= 0


def test_a_table_beyond_the_work_allowed_is_not_begun_where_levels_are_limited() -> None:
    context = Context(job((2500, 1250), ODD, stages=3))
    rooms = [(t.length, t.width) for t in context.types]
    kinds = list(range(len(ODD)))
    task: Task[Pattern] = Task(context.types, kinds, context.demand, [9999])
    before = context.steps
    found = proved(context, task, rooms, 1, 10**18, 1000)
    assert (found.cost, context.steps) == (0, before)


def test_prices_are_kept_by_what_they_prove() -> None:
    context = Context(job((100, 60), [(50, 60, 4)]))
    steady = Steady([4], context.types)
    steady.learn([100], [200])
    assert steady.proved == 2 * context.types[0].cost
    steady.learn([100], [400])
    assert steady.best == [100]
    assert steady.proved == 2 * context.types[0].cost
