"""Mended layouts hold no more than is wanted, fit, and are worth no less than what was left of them."""

from __future__ import annotations

from collections import Counter

from hypothesis import given
from hypothesis import strategies as st

from service.engine.layout.columns import Columns
from service.engine.layout.context import Context, Pattern
from service.engine.layout.grid import Grid, size_of, variants_in
from service.engine.layout.linear import Master
from service.engine.layout.mend import Mender
from service.engine.layout.sketch import Sketch
from service.engine.layout.task import Task
from tests.engine.layout.test_proof import Rows, job

SHEET = (40, 30)
ROWS = st.lists(
    st.tuples(st.integers(3, 40), st.integers(3, 30), st.integers(1, 4)), min_size=1, max_size=5, unique=True
)


@given(ROWS, st.booleans())
def test_a_mended_layout_fits_with_no_more_than_is_wanted(rows: Rows, turn: bool) -> None:
    context = Context(job(SHEET, rows, turn=turn))
    room = (SHEET[0] * 100, SHEET[1] * 100)
    grid = Grid(context.filler.variants, context.demand, [room], context.stages, 200)
    assert grid.price(context.areas)[0] > 0
    for shape in grid.shapes(0, 5, 0):
        mended = Mender(context.filler.variants, context.stages).mended(
            shape, room, context.areas, context.demand
        )
        assert mended is not None
        held = Counter(v.kind for v in variants_in(mended))
        asked = Counter(v.kind for v in variants_in(shape))
        assert all(n <= context.demand[kind] for kind, n in held.items())
        assert all(held[kind] >= min(n, context.demand[kind]) for kind, n in asked.items())
        assert size_of(mended, "x") <= room[0]
        assert size_of(mended, "y") <= room[1]


def test_the_room_of_parts_taken_out_goes_to_others() -> None:
    """Two of 40 × 15 fill the sheet, of which one is wanted: two of 20 × 14 go beside it."""
    context = Context(job(SHEET, [(40, 15, 1), (20, 14, 9)]))
    room = (SHEET[0] * 100, SHEET[1] * 100)
    grid = Grid(context.filler.variants, [9, 9], [room], context.stages, 200)
    grid.price(context.areas)
    full = grid.shapes(0, 1, 0)[0]
    assert Counter(v.kind for v in variants_in(full)) == {0: 2}
    mended = Mender(context.filler.variants, 9).mended(full, room, context.areas, context.demand)
    assert mended is not None
    assert Counter(v.kind for v in variants_in(mended)) == {0: 1, 1: 2}


@given(
    st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3)), min_size=2, max_size=6),
    st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), min_size=1, max_size=4),
)
def test_renewed_needs_cost_what_they_cost_alone(
    uses: list[tuple[int, int]], needs: list[tuple[int, int]]
) -> None:
    def master(need: tuple[int, int]) -> Master:
        made = Master(list(need), [], 7.0)
        for use in uses:
            made.add(tuple((row, n) for row, n in enumerate(use) if n), 1.0)
        return made

    renewed = master((5, 5))
    renewed.solve()
    for need in needs:
        renewed.renew(list(need), [])
        renewed.solve()
        alone = master(need)
        alone.solve()
        assert abs(renewed.objective - alone.objective) < 1e-6


@given(
    st.lists(st.tuples(st.integers(0, 4), st.integers(0, 4)), min_size=1, max_size=6),
    st.lists(st.tuples(st.integers(0, 5), st.integers(0, 5)), min_size=1, max_size=4),
)
def test_a_layout_counts_for_a_part_no_more_than_is_needed_of_it(
    uses: list[tuple[int, int]], needs: list[tuple[int, int]]
) -> None:
    """Against a programme made anew for each need, of layouts without what they have too many."""
    capped = Master([5, 5], [], 7.0, capped=True)
    for use in uses:
        capped.add(tuple((row, n) for row, n in enumerate(use) if n), 1.0)
    for need in needs:
        capped.renew(list(need), [])
        capped.solve()
        alone = Master(list(need), [], 7.0)
        for use in uses:
            held = [(row, min(n, most)) for row, (n, most) in enumerate(zip(use, need, strict=True))]
            alone.add(tuple((row, n) for row, n in held if n), 1.0)
        alone.solve()
        assert abs(capped.objective - alone.objective) < 1e-6


def test_half_a_layout_with_two_is_no_whole_part() -> None:
    needs = Master([2], [], 9.0), Master([2], [], 9.0, capped=True)
    for master in needs:
        master.add(((0, 2),), 1.0)
        master.renew([1], [])
        master.solve()
    assert [round(master.objective, 6) for master in needs] == [0.5, 1.0]


@given(ROWS)
def test_what_is_left_costs_no_more_with_new_patterns(rows: Rows) -> None:
    context = Context(job(SHEET, rows))
    columns = Columns(context, [(SHEET[0] * 100, SHEET[1] * 100)], 10**9)
    kinds = list(range(len(context.demand)))
    task: Task[Pattern | Sketch] = Task(context.types, kinds, context.demand, [9999])
    for kind in kinds:
        pattern = context.single(kind, context.types[0])
        assert pattern is not None
        task.offer(pattern)
    singles = sum(context.demand) * context.types[0].cost
    less = [n - 1 for n in context.demand]
    if any(less):
        first = columns.held(task, less, [9999], 10**18, 10**18, 3)
        assert first.least <= singles
        again = columns.held(task, less, [9999], 0, singles, 12)
        assert again.least <= first.least + 1e-6 * context.types[0].cost
        worth = sum(n * v for n, v in zip(less, context.areas, strict=True))
        assert again.least >= worth * context.types[0].cost / context.types[0].area - 1
