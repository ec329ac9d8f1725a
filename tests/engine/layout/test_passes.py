"""Passes and their strips: what was found before changes no answer, and free offcuts are used."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.engine.layout.columns import Columns
from service.engine.layout.context import AXES, Context
from service.engine.layout.job import Job
from service.engine.layout.kinds import kinds_of
from service.engine.layout.knapsack import Knapsack, Option
from service.engine.layout.linear import Master
from service.engine.layout.passes import Passes
from service.engine.layout.patterns import Filler
from service.engine.layout.refine import Refiner
from service.engine.layout.rules import stock_piece
from service.engine.layout.search import find_layouts
from service.engine.layout.shapes import Grain, Wish
from service.engine.machine import Machine
from service.engine.plan import Axis
from tests.engine.layout.test_find_layouts import job, part, sheet
from tests.engine.layout.test_proof import job as ideal_job

LINES = st.lists(
    st.tuples(st.integers(9, 60), st.integers(9, 40), st.integers(1, 6), st.integers(1, 9)),
    min_size=1,
    max_size=8,
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(lines=LINES, axis=st.sampled_from(AXES), mill=st.booleans())
def test_strips_do_not_depend_on_what_was_filled_before(
    lines: list[tuple[int, int, int, int]], axis: Axis, mill: bool, bench: Machine
) -> None:
    """Sizes in steps of 10 mm, so that parts share breadths; sheets of two sizes, which share answers."""
    kinds = kinds_of(part(f"P{i}", 10 * a, 10 * b, n) for i, (a, b, n, _) in enumerate(lines))
    edges = "mill" if mill else "cut"
    pieces = [stock_piece(sheet("S", *size, 9, edges=edges), 500) for size in ((2000, 1000), (2500, 1250))]
    plain = [kind.area for kind in kinds]
    other = [kind.area * lines[i % len(lines)][3] for i, kind in enumerate(kinds)]
    caps = [kind.quantity for kind in kinds]

    def strips(filler: Filler, place: int, values: list[int], caps: list[int]) -> object:
        wish = Wish(values, list(caps), Grain(), sheets=True)
        return filler.strips(pieces[place], axis, 3, wish)

    used = Filler(bench, 500, 300_000, kinds, pieces)
    for place, values, left in (
        (0, plain, caps),
        (1, plain, caps),
        (0, other, caps),
        (1, other, [n // 2 for n in caps]),
        (0, plain, caps),
    ):
        fresh = Filler(bench, 500, 300_000, kinds, pieces)
        assert strips(used, place, values, left) == strips(fresh, place, values, left)


@given(
    st.lists(st.integers(1, 60), min_size=1, max_size=4),
    st.lists(st.tuples(st.integers(1, 20), st.integers(1, 20), st.integers(0, 5)), min_size=1, max_size=5),
)
def test_rooms_packed_together_hold_what_each_holds_alone(rooms: list[int], options: list[Option]) -> None:
    together = [list(states) for states, _ in Knapsack().packed_each(rooms, options, 100)]
    for room, states in zip(rooms, together, strict=True):
        alone, _ = Knapsack().packed(room, options, 100)
        assert [one[:2] for one in states] == [one[:2] for one in alone]
        for total, value, counts in states:
            assert total == sum(n * options[i][0] for i, n in counts.items()) <= room
            assert value == sum(n * options[i][1] for i, n in counts.items())
            assert all(n <= options[i][2] for i, n in counts.items())


@pytest.mark.parametrize(("price", "offcut_used"), [(0.0, True), (5.0, False)])
def test_an_offcut_that_is_free_is_used_from_a_third_on(
    bench: Machine, price: float, offcut_used: bool
) -> None:
    """Two parts of 400 × 500 mm fill two fifths of an offcut of 1000 × 1000 mm."""
    rack = sheet("OFFCUT", 1000, 1000, 1, kind="offcut", price=price, edges="cut", oversize=0)
    stock_items = [sheet("S", 2000, 1000, 9, price=30.0), rack]
    context = Context(job(bench, [part("A", 500, 400, 2)], stock_items, effort="quick"))
    stock = [t.quantity for t in context.types]
    rows, left = Passes(context).one_pass(list(context.areas), context.demand, stock, AXES)
    assert not any(left)
    assert [context.types[pattern.stock].offcut for pattern, _ in rows] == [offcut_used]


def test_a_rough_search_that_fails_leaves_no_rough_patterns_behind(bench: Machine) -> None:
    context = Context(job(bench, [part("A", 500, 400, 2)], [sheet("S", 2000, 1000, 9)], effort="standard"))
    grain = context.grain
    during: list[Grain] = []

    def fails() -> None:
        with context.rough():
            during.append(context.grain)
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fails()
    assert during != [grain]
    assert context.grain == grain


@pytest.mark.parametrize(("share", "dives"), [(Fraction(1), 1), (Fraction(1, 2), 0)])
def test_a_search_beside_that_begins_far_off_is_not_refined(
    bench: Machine, monkeypatch: pytest.MonkeyPatch, share: Fraction, dives: int
) -> None:
    """What the first passes of the plain search come to, and half of it, as the most that is of use."""
    lines = [part(f"P{n}", 150 + 37 * n % 700, 90 + 53 * n % 500, 9) for n in range(12)]
    asked = job(bench, lines, [sheet("A", 2500, 1250, 90), sheet("B", 2000, 1000, 90)], effort="quick")
    called: list[object] = []
    dive = Refiner.dive

    def counted(*args: object, **more: object) -> object:
        called.append(args)
        return dive(*args, **more)  # type: ignore[arg-type]

    area = sum(2500 * 1250 * d.repeat for d in find_layouts(asked).divisions)
    monkeypatch.setattr(Refiner, "dive", counted)
    beside = Job(asked.machine, asked.parts, asked.stock, asked.options, asked.longest, share * area)
    found = find_layouts(beside)
    assert not found.unplaced
    assert len(called) == dives


def test_a_dive_chooses_in_whole_numbers_only_where_two_sheets_are_left(
    bench: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The plan takes about five: with more of them left the solver takes long and gains nothing."""
    lines = [part(f"P{i}", 300 + 310 * i % 700, 200 + 170 * i % 500, 10) for i in range(6)]
    asked = job(bench, lines, [sheet("A", 2500, 1250, 90), sheet("C", 2000, 1000, 90)], effort="standard")
    at_first: list[float] = []
    in_dives: list[float] = []
    chosen = Columns.chosen

    def noticed(
        columns: Columns, master: Master, used: Sequence[int], *, root: bool = True
    ) -> list[int] | None:
        (at_first if root else in_dives).append(master.objective)
        return chosen(columns, master, used, root=root)

    monkeypatch.setattr(Columns, "chosen", noticed)
    assert not find_layouts(asked).unplaced
    assert at_first
    assert min(at_first) > 3
    assert in_dives
    assert max(in_dives) < 2


@pytest.mark.parametrize("axis", AXES)
def test_values_that_change_afterwards_do_not_change_what_is_kept_of_them(axis: Axis) -> None:
    """Strips of a small sheet are asked for, then those of a large one for the same worths of parts."""
    plain = ideal_job((150, 100), [(100, 60, 3), (40, 30, 9), (35, 25, 9), (22, 18, 9)], stages=3)
    small = replace(plain.stock[0], ref="T", length=9000, width=9000)
    asked = replace(plain, stock=(*plain.stock, small))
    fresh, again = Context(asked), Context(asked)
    one, two = fresh.types
    assert one.area < two.area
    made = fresh.build(two, axis, fresh.areas, fresh.demand)
    values = list(again.areas)
    again.build(one, axis, values, again.demand)
    values[:] = [1, 1, 1, 10**9]
    assert again.build(two, axis, again.areas, again.demand) == made
