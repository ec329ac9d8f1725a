"""What a search still does once its caller has said stop: counted in patterns built, never in seconds."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest

from service.engine.layout.bound import usable
from service.engine.layout.columns import Columns
from service.engine.layout.context import Context, Pattern
from service.engine.layout.grid import Grid
from service.engine.layout.job import Found, Job, SoFar
from service.engine.layout.joins import Joins
from service.engine.layout.kinds import Variant
from service.engine.layout.passes import Passes
from service.engine.layout.rationed import Rationed
from service.engine.layout.search import find_layouts
from service.engine.layout.sketch import Sketch
from service.engine.layout.task import Task
from service.engine.machine import Machine
from service.engine.order import Objective, Options, Part, StockItem
from service.engine.plan import leaves
from tests.benchmarks.layouts import ANY_STAGES, IDEAL
from tests.engine.layout.test_find_layouts import job, part, sheet


class Counts:
    """Patterns built, and whole passes made."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.built = self.passes = 0
        build, one_pass = Context.build, Passes.one_pass

        def counted_build(*args: object, **more: object) -> object:
            self.built += 1
            return build(*args, **more)  # type: ignore[arg-type]

        def counted_pass(*args: object, **more: object) -> object:
            made = one_pass(*args, **more)  # type: ignore[arg-type]
            self.passes += 1
            return made

        patch.setattr(Context, "build", counted_build)
        patch.setattr(Passes, "one_pass", counted_pass)


@pytest.fixture
def counts(monkeypatch: pytest.MonkeyPatch) -> Counts:
    return Counts(monkeypatch)


@pytest.fixture
def wide(bench: Machine) -> Job:
    """Thirty lines and three sizes of sheet, as many as may be wanted."""
    lines = [part(f"P{n}", 150 + 37 * n % 700, 90 + 53 * n % 500, 9) for n in range(30)]
    sheets = [sheet("A", 2500, 1250, 90), sheet("B", 3000, 1500, 90), sheet("C", 2000, 1000, 90)]
    return job(bench, lines, sheets)


def made_of(found: Found) -> Counter[str]:
    made: Counter[str] = Counter()
    for one in found.divisions:
        for leaf in leaves(one.tree):
            if leaf.kind == "part" and leaf.ref is not None:
                made[leaf.ref] += one.repeat
    return made


def test_a_first_pass_that_is_stopped_places_all_and_looks_at_one_size_of_sheet(
    wide: Job, counts: Counts
) -> None:
    found = find_layouts(wide, lambda: True)
    assert found.unplaced == ()
    assert made_of(found) == {one.ref: 9 for one in wide.parts}
    assert found.stopped_early
    # The first pattern is chosen among all sizes and both first cuts; each of the others is built once.
    assert counts.built <= 6 + len(found.divisions) + 2


def test_after_a_whole_pass_a_search_that_is_stopped_builds_no_more(wide: Job, counts: Counts) -> None:
    at_stop: list[int] = []

    def stop() -> bool:
        if counts.passes and not at_stop:
            at_stop.append(counts.built)
        return bool(counts.passes)

    found = find_layouts(wide, stop)
    assert made_of(found) == {one.ref: 9 for one in wide.parts}
    assert counts.built - at_stop[0] <= 2


def test_a_search_asks_within_its_first_pass(wide: Job, counts: Counts) -> None:
    asked: list[int] = []

    def stop() -> bool:
        asked.append(counts.built)
        return counts.passes > 0

    find_layouts(wide, stop)
    within = [built for built in asked if built > 0]
    assert len(within) > 5


def test_asking_and_telling_change_nothing(wide: Job) -> None:
    told: list[SoFar] = []
    wide = replace(wide, options=replace(wide.options, effort="quick"))
    assert find_layouts(wide, lambda: False, told.append) == find_layouts(wide)
    assert told
    assert told[-1].left_out == 0


def test_asking_is_no_part_of_telling_the_steps(wide: Job) -> None:
    asks = 0

    def stop() -> bool:
        nonlocal asks
        asks += 1
        return asks > 1

    context = Context(wide, stop)
    context.other_steps += 10**7
    spent = context.steps
    assert (context.steps, asks) == (spent, 0)
    assert not context.reached(spent + 1)
    assert context.reached(spent)
    assert asks == 1
    assert not context.ended()
    context.other_steps += 10**6
    assert context.ended()
    assert context.reached(10**12)
    assert context.steps == spent + 10**6
    assert asks == 2


FINE = [(450 + 311 * n % 509, 463 + 503 * n % 613) for n in range(14)]
"""Sizes with some five hundred places for cuts on a sheet of 6000 by 6000."""


def fine_grid(asks: list[int], after: int) -> Grid:
    """A table that takes a hundred million sums; from the ask after so many on the caller says stop."""
    rows = [Variant(i, dx, dy, False, 0, 0) for i, (dx, dy) in enumerate(FINE)]

    def stop() -> bool:
        asks.append(1)
        return len(asks) > after

    return Grid(rows, [9] * len(rows), [(6000, 6000), (5000, 6000)], 40, 3000, stop)


PRICES = [dx * dy - 1000 * (i % 3) for i, (dx, dy) in enumerate(FINE)]


def test_a_table_is_left_as_it_is_once_the_caller_says_stop_and_bounds_what_it_bounds_still() -> None:
    whole = fine_grid([], 10**9)
    tops = whole.price(PRICES)
    for table in (Grid.price, Grid.tops):
        asks: list[int] = []
        grid = fine_grid(asks, 0)
        told = table(grid, PRICES)
        assert grid.cut_short
        assert len(asks) == 1
        assert grid.work < whole.work / 3
        assert all(a >= b for a, b in zip(told, tops, strict=True))
        assert grid.shapes(0, 9, 0) == grid.layouts(PRICES, 0, 9, 0) == []
        # Nor is it begun anew.
        before = grid.work
        assert grid.tops(PRICES, grid) == grid.price(PRICES) == told
        assert grid.work == before


def test_joins_of_a_table_that_was_left_look_for_nothing_and_bound_all() -> None:
    counts = [2] * len(FINE)
    left = Joins(fine_grid([], 0), counts, PRICES, [0] * len(FINE), lambda _: True)
    assert left.stopped
    assert left.most >= fine_grid([], 10**9).price(PRICES)[0]
    assert left.search(1, 10**6, lambda _: 0) is None


ODD = [(331, 309, 12), (924, 525, 9), (386, 639, 12), (823, 217, 8), (1456, 417, 6)]
"""Parts of which only tables prove how many sheets they need."""


@pytest.mark.parametrize(("objective", "sheets"), [("material", 99), ("value", 1), ("value", 3)])
def test_no_table_is_finished_after_the_caller_has_said_stop_within_one(
    objective: Objective, sheets: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    parts = tuple(
        Part(f"P{i}", dx * 100, dy * 100, n, "S235JR", 100, "along", value=dx * dy - i)
        for i, (dx, dy, n) in enumerate(ODD)
    )
    stock = StockItem("S", 250_000, 125_000, sheets, "S235JR", 100, edges="cut", oversize=0)
    options = Options(effort="standard", max_stages=ANY_STAGES, trim=0, objective=objective)
    one = Job(IDEAL, parts, (stock,), options, 10**7)
    asks: list[bool] = []
    within = False
    ask = Grid.ask

    def noticed(grid: Grid) -> None:
        nonlocal within
        within = True
        ask(grid)

    monkeypatch.setattr("service.engine.layout.grid._ASK_EVERY", 500)
    monkeypatch.setattr(Grid, "ask", noticed)

    def stop() -> bool:
        asks.append(within)
        return within

    found = find_layouts(one, stop)
    # Asked within a table for the first time, and never after the answer.
    assert asks.count(True) == 1
    assert asks[-1]
    assert found.stopped_early
    whole = find_layouts(one)
    if objective == "value":
        assert found.bound.value is not None
        assert whole.bound.value is not None
        assert found.bound.value >= whole.bound.value
    else:
        assert made_of(found) == {f"P{i}": n for i, (_, _, n) in enumerate(ODD)}
        assert found.bound.pieces <= whole.bound.pieces == 6


def test_a_dive_leaves_a_table_within_which_the_caller_has_said_stop(
    wide: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    sweeps = 0
    swept = Rationed._swept

    def counted(*args: object) -> object:
        nonlocal sweeps
        sweeps += 1
        return swept(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(Rationed, "_swept", counted)
    context = Context(wide, lambda: sweeps > 0)
    stock = [t.quantity for t in context.types]
    kinds = list(range(len(context.demand)))
    task: Task[Pattern | Sketch] = Task(context.types, kinds, context.demand, stock, capped=True)
    columns = Columns(context, [usable(t, context.trim) for t in context.types], context.budget)
    columns.held(task, context.demand, stock, 0.0, 0.0, 1)
    assert sweeps == 1
    assert context.stopped
