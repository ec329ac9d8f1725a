"""The parts of the search by themselves, each against the plainest possible way to the same answer."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from service.engine.layout import rules
from service.engine.layout.knapsack import Knapsack
from service.engine.layout.levels import Entry, arrange, separable
from service.engine.layout.linear import PRICE_BITS, Master
from service.engine.layout.rules import Extent
from service.engine.machine import Machine
from tests.strategies import machines

DEPTHS = st.integers(1, 200_000)


@given(
    machines(), DEPTHS, DEPTHS, st.booleans(), st.integers(0, 2000), st.integers(0, 300), st.integers(0, 1500)
)
def test_the_quick_rule_of_separation_is_the_full_rule(
    machine: Machine, item: int, rest: int, far_mill: bool, spread: int, tolerance: int, end_min: int
) -> None:
    extent = Extent(item + rest, False, far_mill, spread)
    full = rules.separate(machine, extent, item, tolerance, end_min)
    assert separable(machine, extent, item, tolerance, end_min) == (not isinstance(full, str))


@given(
    machines(),
    st.lists(st.integers(500, 60_000), min_size=1, max_size=6),
    st.integers(0, 40_000),
    st.booleans(),
)
def test_an_arranged_level_holds_every_entry_once_and_fills_the_piece(
    machine: Machine, sizes: list[int], rest: int, mill: bool
) -> None:
    start = rules.trim_depth(machine, 500) if mill else 0
    extent = Extent(start + sum(sizes) + rest, mill, mill, 2000 if mill else 0)
    arranged = arrange(machine, extent, [Entry(size, 200, True, ()) for size in sizes], 500)
    assume(not isinstance(arranged, str))
    assert not isinstance(arranged, str)
    assert sorted(arranged.order) == list(range(len(sizes)))
    assert sum(s.made.size for s in arranged.made) == extent.size


OPTIONS = st.lists(
    st.tuples(st.integers(1, 12), st.integers(1, 20), st.integers(0, 3)), min_size=1, max_size=4
)


@given(st.integers(1, 40), OPTIONS, st.sampled_from((1, 100_000)))
def test_the_knapsack_finds_what_trying_everything_finds(
    room: int, options: list[tuple[int, int, int]], scale: int
) -> None:
    """With sizes that are multiples of a unit, and with a size beside them that makes the unit too fine."""
    room *= scale
    options = [(size * scale, value, copies) for size, value, copies in options]
    if scale > 1:
        options.append((room - 1, 1, 1))
    packed, _ = Knapsack().packed(room, options, 1_000_000)
    states = list(packed)
    best = max(
        sum(n * option[1] for n, option in zip(counts, options, strict=True))
        for counts in product(*(range(option[2] + 1) for option in options))
        if sum(n * option[0] for n, option in zip(counts, options, strict=True)) <= room
    )
    assert states[0][1] == best
    assert states[-1] == (0, 0, {})
    for total, value, counts in states:
        assert total == sum(n * options[i][0] for i, n in counts.items()) <= room
        assert value == sum(n * options[i][1] for i, n in counts.items())
        assert all(n <= options[i][2] for i, n in counts.items())
    assert states == sorted(states, key=lambda one: (-one[0], -one[1]))


@given(
    st.lists(st.integers(1, 30), min_size=2, max_size=4),
    st.lists(
        st.tuples(st.lists(st.integers(0, 4), min_size=4, max_size=4), st.integers(1, 9)),
        min_size=1,
        max_size=7,
    ),
    st.integers(0, 6),
)
def test_prices_and_weights_prove_each_other(
    need: list[int], patterns: list[tuple[list[int], int]], have: int
) -> None:
    """Weak duality met with equality proves both, up to the rounding of the solver."""
    rows = len(need)
    master = Master(need, [have], 50.0)
    kept = []
    for amounts, cost in patterns:
        column = tuple((i, n) for i, n in enumerate(amounts[:rows]) if n)
        if column:
            kept.append(((*column, (rows, 1)), cost))
            master.add(kept[-1][0], float(cost))
    master.solve()
    weights = dict(master.weights())
    made = [sum(dict(kept[j][0]).get(i, 0) * x for j, x in weights.items()) for i in range(rows)]
    assert sum(weights.values()) <= have + 1e-6
    short = [max(n - m, 0.0) for n, m in zip(need, made, strict=True)]
    cost = sum(kept[j][1] * x for j, x in weights.items()) + 50 * sum(short)
    assert cost == pytest.approx(master.objective, abs=1e-5)
    prices = master.duals
    assert all(-1e-7 <= price <= 50 + 1e-7 for price in prices[:rows])
    assert prices[rows] <= 1e-7
    assert all(sum(prices[i] * n for i, n in column) <= cost + 1e-6 for column, cost in kept)
    assert sum(p * n for p, n in zip(prices, [*need, have], strict=True)) == pytest.approx(
        master.objective, abs=1e-5
    )


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.integers(1, 4), min_size=1, max_size=3),
    st.lists(st.lists(st.integers(0, 2), min_size=3, max_size=3), min_size=1, max_size=4),
)
def test_the_choice_in_whole_numbers_is_the_cheapest_of_all_choices(
    need: list[int], amounts: list[list[int]]
) -> None:
    rows = len(need)
    columns = [tuple((i, n) for i, n in enumerate(row[:rows]) if n) for row in amounts]
    columns = [column for column in columns if column] + [((i, 1),) for i in range(rows)]
    master = Master(need, [], 50.0)
    for column in columns:
        master.add(column, 1.0)
    uses = master.whole(1000)
    assert uses is not None

    def enough(choice: tuple[int, ...]) -> bool:
        return all(
            sum(dict(column).get(i, 0) * n for column, n in zip(columns, choice, strict=True)) >= need[i]
            for i in range(rows)
        )

    assert enough(tuple(uses))
    most = sum(uses) - 1
    assert not any(
        sum(choice) <= most and enough(choice) for choice in product(range(most + 1), repeat=len(columns))
    )


def test_a_price_stays_the_same_whatever_the_last_bits_of_the_solver() -> None:
    master = Master([3], [], 2.0)
    master.add(((0, 3),), 1.0)
    master.solve()
    master.duals = [1 / 3 + 1e-13]
    above = master.prices()
    master.duals = [1 / 3 - 1e-13]
    assert above == master.prices() == [round((1 << 22) / 3) << (PRICE_BITS - 22)]
