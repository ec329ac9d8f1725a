"""Giving up sheets one by one, against sheets that were cut up to begin with and against the literature."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.engine.layout.context import AXES, Context, Solution
from service.engine.layout.job import Job
from service.engine.layout.passes import Passes
from service.engine.layout.quickly import NEVER, Quickly
from service.engine.layout.ruin import Ruin
from service.engine.layout.slack import PART
from service.engine.layout.walk import walk
from service.engine.machine import Machine
from service.engine.order import Options, Part, StockItem
from service.engine.plan import Axis

Sizes = list[tuple[int, int]]


def job(machine: Machine, sizes: Sizes, stock: tuple[StockItem, ...], **options: int) -> Job:
    parts = tuple(Part(f"P{i}", a, b, 1, "S235JR", 300, "along") for i, (a, b) in enumerate(sizes))
    return Job(machine, parts, stock, Options(**options), machine.cutting_length)  # type: ignore[arg-type]


def sheet(length: int, width: int, ref: str = "S", **more: object) -> StockItem:
    return StockItem(ref, length, width, 99, "S235JR", 300, **more)  # type: ignore[arg-type]


def one_pass(context: Context, axes: tuple[Axis, ...] = AXES[:1]) -> Solution:
    stock = [t.quantity for t in context.types]
    rows, left = Passes(context).one_pass(list(context.areas), context.demand, stock, axes, 500)
    return context.solution(rows, left)


def sound(context: Context, solution: Solution) -> None:
    """All parts once, no more stock than there is, and every tree passes the rules of the machine."""
    made = [0] * len(context.demand)
    used = [0] * len(context.types)
    for pattern, n in solution.rows:
        used[pattern.stock] += n
        for kind, count in context.lines.use(pattern.tree).items():
            made[kind] += count * n
        piece = context.types[pattern.stock].piece
        walked = walk(context.job.machine, pattern.tree, piece, context.parts, context.trim)
        assert not isinstance(walked, str)
    assert made == context.demand
    assert all(n <= t.quantity for n, t in zip(used, context.types, strict=True))


@st.composite
def cut_up(draw: st.DrawFn) -> Sizes:
    """Parts of three sheets of 1000 × 600 mm cut edge to edge: three sheets are enough for them."""
    pieces = [(100_000, 60_000)] * 3
    for _ in range(draw(st.integers(9, 18))):
        at = max(range(len(pieces)), key=lambda i: pieces[i][0] * pieces[i][1])
        dx, dy = pieces.pop(at)
        share = draw(st.integers(30, 70))
        if draw(st.booleans()):
            pieces += [(dx * share // 100, dy), (dx - dx * share // 100, dy)]
        else:
            pieces += [(dx, dy * share // 100), (dx, dy - dy * share // 100)]
    return pieces


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(sizes=cut_up(), real=st.booleans())
def test_never_worse_always_whole_and_the_same_again(
    sizes: Sizes, real: bool, ideal: Machine, bench: Machine
) -> None:
    answers = []
    for _ in range(2):
        stock = (sheet(100_000, 60_000, edges="cut", oversize=0),)
        context = Context(job(bench if real else ideal, sizes, stock, trim=0))
        before = one_pass(context)
        after = Ruin(context).fewer(before, 150, 0)
        assert after.rank <= before.rank
        sound(context, after)
        # The parts fill three sheets to the edge.
        assert sum(n for _, n in after.rows) >= 3
        answers.append(after)
    assert answers[0] == answers[1]


def test_a_sheet_too_many_is_given_up(ideal: Machine) -> None:
    """Four sheets of 100 × 60 cut edge to edge, put on a sheet each to begin with."""
    sizes = [(100, 25), (60, 35), (40, 35), (55, 60), (45, 30), (45, 30)] * 2
    sizes = [(a * 1000, b * 1000) for a, b in sizes]
    context = Context(
        job(ideal, sizes, (sheet(100_000, 60_000, edges="cut", oversize=0),), max_stages=9, trim=0)
    )
    alone = [context.single(kind, context.types[0]) for kind in range(len(context.demand))]
    rows = [(one, n) for one, n in zip(alone, context.demand, strict=True) if one is not None]
    after = Ruin(context).fewer(context.solution(rows, [0] * len(context.demand)), 3000, 0)
    sound(context, after)
    assert sum(n for _, n in after.rows) == 4


def test_a_cheaper_sheet_takes_the_place_of_a_dear_one(ideal: Machine) -> None:
    """One part of 900 × 500 on a sheet of 2000 × 1000 goes to one of 1000 × 600."""
    stock = (
        sheet(200_000, 100_000, "L", edges="cut", oversize=0),
        sheet(100_000, 60_000, "S", edges="cut", oversize=0),
    )
    context = Context(job(ideal, [(90_000, 50_000)], stock, trim=0))
    large = context.single(0, context.types[1])
    assert large is not None
    after = Ruin(context).fewer(context.solution([(large, 1)], [0]), 50, 0)
    assert [(context.types[p.stock].items[0][0], n) for p, n in after.rows] == [("S", 1)]
    sound(context, after)


@pytest.mark.parametrize("stages", [2, 3, 5])
def test_levels_of_cuts_and_mill_edges_are_kept_to(bench: Machine, stages: int) -> None:
    sizes = [(21_000 + 7_300 * (i % 9), 11_000 + 4_100 * (i % 7)) for i in range(30)]
    stock = (sheet(200_000, 100_000, "A"), sheet(250_000, 125_000, "B"))
    context = Context(job(bench, sizes, stock, max_stages=stages))
    before = one_pass(context)
    after = Ruin(context).fewer(before, 300, 0)
    assert after.rank <= before.rank
    sound(context, after)


def test_the_quick_look_knows_what_the_gauge_can_measure(bench: Machine, ideal: Machine) -> None:
    """What falls behind a part of 500 × 300 mm is gauged: from 5 mm on, on the bench shear."""
    stock = (sheet(100_000, 60_000, edges="cut", oversize=0),)
    part = (50_000, 30_000, PART, 0)
    for machine, rest, levels in ((bench, 500, 1), (bench, 499, NEVER), (bench, 0, 0), (ideal, 1, 1)):
        quick = Quickly(Context(job(machine, [(50_000, 30_000)], stock, trim=0)))
        assert quick.levels(part, 50_000 + rest, 30_000) == levels
