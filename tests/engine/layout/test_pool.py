"""The choice among sheets that were met, against trying every set of them."""

from __future__ import annotations

from itertools import combinations_with_replacement

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.engine.layout import pool as pool_module
from service.engine.layout.context import Context
from service.engine.layout.job import Job
from service.engine.layout.pool import Content, Pool
from service.engine.layout.slack import PART, Tree
from service.engine.machine import Machine
from service.engine.order import Options, Part, StockItem

KINDS = 5
SOME_TREE: Tree = (1, 1, PART, 0)


def a_pool(machine: Machine, large: int) -> Pool:
    """Five parts, one of each; a dear sheet of which there are `large`, and a cheap one."""
    parts = tuple(Part(f"P{i}", 1000 + 100 * i, 900, 1, "S235JR", 300) for i in range(KINDS))
    stock = (
        StockItem("L", 9000, 6000, large, "S235JR", 300, edges="cut", oversize=0, price=5.0),
        StockItem("S", 6000, 4000, 9, "S235JR", 300, edges="cut", oversize=0, price=3.0),
    )
    return Pool(Context(Job(machine, parts, stock, Options(trim=0), machine.cutting_length)))


CONTENTS = st.sets(
    st.tuples(
        st.integers(0, 1), st.sets(st.integers(0, KINDS - 1), min_size=1).map(lambda s: tuple(sorted(s)))
    ),
    max_size=9,
).map(sorted)


def least_cost(pool: Pool, contents: list[Content]) -> int | None:
    """The least cost at which some of the sheets hold all parts, by trying all sets of up to five."""
    best: int | None = None
    for size in range(1, KINDS + 1):
        for some in combinations_with_replacement(contents, size):
            held = {kind for _, kinds in some for kind in kinds}
            enough = all(sum(s == t.index for s, _ in some) <= t.quantity for t in pool.types)
            if len(held) == KINDS and enough:
                cost = sum(pool.types[stock].cost for stock, _ in some)
                best = cost if best is None else min(best, cost)
    return best


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(contents=CONTENTS, large=st.integers(1, 2))
def test_the_choice_is_found_where_there_is_one_and_no_other(
    contents: list[Content], large: int, ideal: Machine
) -> None:
    pool = a_pool(ideal, large)
    for content in contents:
        pool.add(content, SOME_TREE)
    best = least_cost(pool, contents)
    below = 1000 if best is None else best + pool.unit
    chosen = pool.choice(below)
    if best is None:
        assert chosen is None
        return
    assert chosen is not None
    assert sum(pool.types[stock].cost for stock, _ in chosen) == best
    assert {kind for _, kinds in chosen for kind in kinds} == set(range(KINDS))
    again = a_pool(ideal, large)
    for content in contents:
        again.add(content, SOME_TREE)
    assert again.choice(best) is None


def test_what_the_machine_refused_is_not_chosen_again(ideal: Machine) -> None:
    pool = a_pool(ideal, 2)
    every = (1, tuple(range(KINDS)))
    pool.add(every, SOME_TREE)
    assert pool.choice(1000) == [every]
    pool.refused.add(every)
    pool.add((1, (0,)), SOME_TREE)
    assert pool.choice(1000) is None


def test_of_many_sheets_the_most_promising_stay(ideal: Machine, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pool_module, "_MOST", 6)
    monkeypatch.setattr(pool_module, "_PROMISING", 3)
    pool = a_pool(ideal, 2)
    for content in [(1, (i,)) for i in range(KINDS)]:
        pool.add(content, SOME_TREE)
    pool.add((1, tuple(range(KINDS))), SOME_TREE)
    assert pool.choice(1000) == [(1, tuple(range(KINDS)))]
    assert len(pool.trees) == 3


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(contents=CONTENTS, large=st.integers(1, 2))
def test_a_dive_keeps_to_its_cost_and_leaves_the_programme_as_it_was(
    contents: list[Content], large: int, ideal: Machine
) -> None:
    pool = a_pool(ideal, large)
    for content in contents:
        pool.add(content, SOME_TREE)
    best = least_cost(pool, contents)
    if best is None:
        return
    assert not pool.too_few(best + pool.unit)
    before = pool.master.objective, pool.master.need, pool.master.have
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pool_module, "_CHOSEN_FROM", 0)
        pool.order, pool.master = [], pool._empty()
        chosen = pool.choice(best + pool.unit)
    assert chosen is not None
    assert sum(pool.types[stock].cost for stock, _ in chosen) <= best
    assert all(sum(s == t.index for s, _ in chosen) <= t.quantity for t in pool.types)
    assert (round(pool.master.objective, 9), pool.master.need, pool.master.have) == (
        round(before[0], 9),
        *before[1:],
    )


def test_a_dive_holds_all_parts_where_one_set_of_sheets_does(
    ideal: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pool_module, "_CHOSEN_FROM", 0)
    pool = a_pool(ideal, 2)
    cheap = min(pool.types, key=lambda t: t.cost)
    for kinds in ((0, 1), (2,), (3, 4)):
        pool.add((cheap.index, kinds), SOME_TREE)
    chosen = pool.choice(4 * cheap.cost)
    assert chosen is not None
    assert sorted(kind for _, kinds in chosen for kind in kinds) == list(range(KINDS))
