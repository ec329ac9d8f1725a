"""Dives cut what is wanted, no more and no less, and end with no worse a plan than they began with."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.layout.bound import usable
from service.engine.layout.columns import Columns
from service.engine.layout.context import AXES, Context, Pattern, Solution
from service.engine.layout.dives import Dives
from service.engine.layout.fixed import Fixed
from service.engine.layout.grid import Cuts, Grid
from service.engine.layout.linear import Master
from service.engine.layout.passes import Passes
from service.engine.layout.search import find_layouts
from service.engine.layout.sketch import Sketch, carved, sketch
from service.engine.layout.task import Task
from service.engine.order import Effort
from service.engine.plan import leaves
from tests.engine.layout.test_proof import Rows, job

SHEET = (40, 30)
ROWS = st.lists(
    st.tuples(st.integers(6, 40), st.integers(6, 30), st.integers(1, 9)), min_size=1, max_size=6, unique=True
)


def singly(context: Context) -> Solution:
    """Every part on a sheet of its own."""
    rows: list[tuple[Pattern, int]] = []
    for kind, n in enumerate(context.demand):
        pattern = context.single(kind, context.types[0])
        assert pattern is not None
        rows.append((pattern, n))
    return context.solution(rows, [0] * len(context.demand))


def by_passes(context: Context) -> Solution:
    """What one pass places, where there may be too little stock for all."""
    stock = [t.quantity for t in context.types]
    rows, left = Passes(context).one_pass(list(context.areas), context.demand, stock, AXES)
    return context.solution(rows, left)


def dives_of(context: Context, known: list[Pattern | Sketch] | None = None) -> Dives:
    """Dives from the layouts known, or those of the parts alone and what tables bring."""
    rooms = [usable(t, context.trim) for t in context.types]
    columns = Columns(context, rooms, context.budget)
    kinds = list(range(len(context.demand)))
    stock = [t.quantity for t in context.types]
    task: Task[Pattern | Sketch] = Task(context.types, kinds, context.demand, stock)
    for one in list(context.pool.values()) if known is None else known:
        task.offer(one)
    root = columns.held(task, context.demand, stock, 0, 0, 2)
    unit = math.gcd(*(t.cost for t in context.types))
    return Dives(context, Passes(context), columns, task, root, unit, root.least)


def used(solution: Solution) -> list[int]:
    """How many of each kind the patterns of a plan give."""
    found: Counter[int] = Counter()
    for pattern, repeat in solution.rows:
        for kind, n in pattern.use:
            found[kind] += n * repeat
    return [found[kind] for kind in range(len(solution.left))]


@settings(max_examples=40, deadline=None)
@given(ROWS, st.booleans())
def test_a_dive_cuts_what_is_wanted_from_no_more_stock(rows: Rows, turn: bool) -> None:
    context = Context(job(SHEET, rows, turn=turn))
    begun = singly(context)
    found = dives_of(context).best(begun, 0)
    assert found.rank <= begun.rank
    assert not any(found.left)
    assert used(found) == context.demand
    area = sum(a * n for a, n in zip(context.areas, context.demand, strict=True))
    assert sum(n for _, n in found.rows) * context.types[0].area >= area


@settings(max_examples=25, deadline=None)
@given(ROWS, st.integers(1, 400), st.integers(1, 400))
def test_dives_end_whatever_costs_have_in_common(rows: Rows, longer: int, wider: int) -> None:
    """Two sizes of sheet whose areas have next to no measure in common: no aim is raised in such steps."""
    plain = job(SHEET, rows)
    other = replace(plain.stock[0], ref="T", length=4000 + longer, width=3000 + wider)
    context = Context(replace(plain, stock=(*plain.stock, other)))
    begun = singly(context)
    found = dives_of(context).best(begun, 0)
    assert found.rank <= begun.rank
    assert used(found) == context.demand


SIZES = st.lists(
    st.tuples(st.integers(20, 60), st.integers(20, 45), st.sampled_from([1, 2, 3, 9999])),
    min_size=1,
    max_size=3,
    unique_by=lambda size: size[:2],
)


@settings(max_examples=60, deadline=None)
@given(ROWS, st.booleans(), SIZES, st.sampled_from(["quick", "standard"]))
def test_a_dive_takes_no_more_stock_than_there_is(
    rows: Rows, turn: bool, sizes: list[tuple[int, int, int]], effort: Effort
) -> None:
    plain = job(SHEET, rows, turn=turn)
    stock = tuple(
        replace(plain.stock[0], ref=f"S{i}", length=length * 100, width=width * 100, quantity=n)
        for i, (length, width, n) in enumerate(sizes)
    )
    context = Context(replace(plain, stock=stock, options=replace(plain.options, effort=effort)))
    if not any(context.demand):
        return
    begun = by_passes(context)
    found = dives_of(context).best(begun, 0)
    assert found.rank <= begun.rank
    pairs = zip(used(found), found.left, strict=True)
    assert [cut + left for cut, left in pairs] == context.demand
    for t in context.types:
        assert sum(n for pattern, n in found.rows if pattern.stock == t.index) <= t.quantity


def test_a_dive_ends_where_all_stock_is_used_up() -> None:
    """Three sheets hold few of these 109 parts, whose area takes up more than eleven."""
    rows = [(248, 46, 25), (277, 72, 1), (402, 112, 7), (561, 42, 30), (214, 47, 18), (344, 82, 28)]
    plain = job((1000, 200), rows)
    three = replace(
        plain,
        stock=(replace(plain.stock[0], quantity=3),),
        options=replace(plain.options, effort="quick"),
    )
    found = find_layouts(three)
    assert sum(d.repeat for d in found.divisions) == 3
    placed = Counter(
        leaf.ref for d in found.divisions for leaf in leaves(d.tree) if leaf.ref for _ in range(d.repeat)
    )
    unplaced = {one.ref: one.quantity for one in found.unplaced}
    assert {ref: placed[ref] + unplaced.get(ref, 0) for ref in placed.keys() | unplaced.keys()} == {
        f"P{i}": n for i, (_, _, n) in enumerate(rows)
    }


@settings(max_examples=15, deadline=None)
@given(ROWS, st.booleans())
def test_the_same_order_is_divided_alike(rows: Rows, turn: bool) -> None:
    def found() -> Solution:
        context = Context(job(SHEET, rows, turn=turn))
        return dives_of(context).best(singly(context), 0)

    assert found() == found()


@settings(max_examples=25, deadline=None)
@given(ROWS)
def test_a_machine_that_cuts_less_than_the_sizes_allow_gets_what_it_can_cut(rows: Rows) -> None:
    """The feet hold remainders of 10 mm and more: many layouts of the tables cannot be cut as they are."""
    ideal = job(SHEET, rows)
    feet = replace(ideal.machine.hold_down, depth=1000)
    context = Context(replace(ideal, machine=replace(ideal.machine, hold_down=feet)))
    if not all(context.demand):
        return
    begun = singly(context)
    found = dives_of(context).best(begun, 0)
    assert found.rank <= begun.rank
    assert not any(found.left)
    assert used(found) == context.demand


def test_a_layout_goes_on_without_the_parts_that_are_used_up() -> None:
    """Each of 20 large parts takes a sheet, five of them with a small one beside it: 20 sheets do.

    The only layout known holds one of each.
    """
    context = Context(job((100, 60), [(60, 60, 20), (40, 60, 5)]))
    grid = Grid(context.filler.variants, context.demand, [(10000, 6000)], context.stages, 99)
    grid.price(context.areas)
    both = sketch(context.types[0], grid.shapes(0, 1, 0)[0], context.areas)
    assert both.use == ((0, 1), (1, 1))
    dives = dives_of(context, [both])
    fixed = Fixed.nothing(context)
    assert dives._fixes(fixed, both, 5)
    assert fixed.room_for(both) == 0
    assert dives._options(fixed, dives.root, frozenset()) == [both]
    assert dives._fixes(fixed, both, 1)
    assert fixed.demand == [14, 0]
    assert sum(n for _, n in dives.best(singly(context), 0).rows) == 20


@given(ROWS, st.booleans())
def test_an_ideal_shear_cuts_a_sketch_as_it_is(rows: Rows, turn: bool) -> None:
    context = Context(job(SHEET, rows, turn=turn))
    room = (SHEET[0] * 100, SHEET[1] * 100)
    grid = Grid(context.filler.variants, context.demand, [room], context.stages, 99)
    grid.price(context.areas)
    for shape in grid.shapes(0, 5, 0):
        made = sketch(context.types[0], shape, context.areas)
        if all(n <= context.demand[kind] for kind, n in made.use):
            pattern = carved(context, context.types[0], shape, dict(made.use), context.demand)
            assert pattern is not None
            assert pattern.use == made.use
            assert pattern.parts_area == made.parts_area


@given(
    st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3)), min_size=2, max_size=6),
    st.integers(0, 5),
)
def test_a_barred_pattern_costs_what_it_costs_without_it(uses: list[tuple[int, int]], out: int) -> None:
    def master(kept: list[tuple[int, int]]) -> Master:
        made = Master([5, 4], [], 7.0)
        for use in kept:
            made.add(tuple((row, n) for row, n in enumerate(use) if n), 1.0)
        return made

    out %= len(uses)
    barred = master(uses)
    barred.solve()
    barred.bar(out)
    barred.solve()
    without = master(uses[:out] + uses[out + 1 :])
    without.solve()
    assert abs(barred.objective - without.objective) < 1e-6
    assert out not in {number for number, _ in barred.weights()}


def test_what_one_table_brings_is_found_again_in_any_order() -> None:
    """Layouts that share a part of the sheet are worth what the table says, each on its own."""
    context = Context(job(SHEET, [(9, 7, 9), (13, 11, 9), (20, 6, 9)], turn=True))
    grid = Grid(context.filler.variants, context.demand, [(4000, 3000)], context.stages, 99)
    top = grid.price(context.areas)[0]
    for shape in (grid.shapes(0, 9, 0)[0], grid.shapes(0, 1, 0)[0]):
        assert isinstance(shape, Cuts)
        assert sum(n * context.areas[k] for k, n in sketch(context.types[0], shape, context.areas).use) == top
