"""The order of many steps: always on to the step that costs least next.

It is what :mod:`.beam` comes to with one beginning, with the costs of all values looked at at once, so
that an order of thousands of steps takes no longer than its steps and values call for.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.engine.program.tasks import (
    Stand,
    Task,
    Weights,
    followers_of,
    lying_after,
    numbered_stands,
    places_of,
    ranked,
)

Row = NDArray[np.int64]

BRANCHES: Final = 5
"""Next steps tried from one beginning, one for each setting; of few steps all are tried."""

_NEVER: Final = 1 << 60


def straight(tasks: Sequence[Task], weights: Weights, before: Stand | None) -> tuple[int, ...]:
    """The order that one beginning comes to, for many steps."""
    number = numbered_stands(tasks)
    kinds = [*number, before]
    gauges = np.array([stand[1] for stand in number], dtype=np.int64)
    ways = [stand[0] for stand in number]
    measured = np.array([way == "back gauge" for way in ways])
    starts = np.array([weights.stop if way == "front stop" else weights.move for way in ways], dtype=np.int64)
    by_way = {way: np.array([one == way for one in ways]) for way in dict.fromkeys(ways)}
    settings = {stand[2]: place for place, stand in enumerate(number)}
    set_to = np.array([settings[stand[2]] for stand in number], dtype=np.int64)

    def change(value: int) -> Row:
        """As :meth:`Weights.change`, to all stands at once."""
        stand = kinds[value]
        if stand is None:
            return starts
        same = by_way[stand[0]] & (gauges == stand[1]) if stand[0] in by_way else np.zeros(len(ways), bool)
        cost = np.where(same, 0, starts)
        if stand[0] == "back gauge":
            cost += np.where(measured, (weights.travel * np.abs(gauges - stand[1])).astype(np.int64), 0)
        cost += np.where(set_to == settings.get(stand[2], -1), 0, weights.setting)
        return cost

    steps = _Steps(
        needs=[len(set(task.needs)) for task in tasks],
        followers=followers_of(tasks),
        stands=[number[task.stand] for task in tasks],
        rank=places_of(ranked(tasks)),
        bring=[task.bring for task in tasks],
        stay=lying_after(tasks),
    )
    return tuple(_straight_on(steps, change, len(number), weights.move, weights.stack, BRANCHES))


@dataclass(frozen=True, slots=True)
class _Steps:
    """The steps by number, and what follows from what.

    Attributes
    ----------
    needs, followers
        Of each step: how many others make its pieces, and which take up what it makes.
    stands
        The value of the machine at each step, by number.
    rank
        Place of each step where values cost alike; no two have the same.
    bring
        Cost of bringing the pieces of each step back, unless it is made at once after a step that lets
        them lie at the blade: one that has it in `stay`.
    """

    needs: Sequence[int]
    followers: Sequence[Sequence[int]]
    stands: Sequence[int]
    rank: Sequence[int]
    bring: Sequence[int]
    stay: Sequence[set[int]]


def _straight_on(
    steps: _Steps, change: Callable[[int], Row], values: int, move: int, stack: int, branches: int
) -> list[int]:
    """The steps in the order they are made.

    Parameters
    ----------
    steps
        All of them.
    change
        What it costs to come from a value to each of all; -1 for how the machine stands beforehand.
    values
        How many values there are.
    move, stack
        Cost of a move of the gauge, and of a stack that waits during a step.
    branches
        Of so many next steps the one is taken that leaves least to set.
    """
    count = len(steps.needs)
    stands, rank, bring = steps.stands, steps.rank, steps.bring
    by_rank = sorted(range(count), key=lambda one: rank[one])
    lacking = list(steps.needs)
    started = [False] * count
    done = [False] * count
    left = [0] * values
    for wanted in stands:
        left[wanted] += 1
    ready: list[list[int]] = [[] for _ in range(values)]
    """Ranks of the ready steps at each value, as heaps; a step that was made goes when it comes up."""
    here = [0] * values
    # For all values at once: the likeliest step, and what a value costs that must be set once more.
    likeliest: Row = np.full(values, _NEVER, dtype=np.int64)
    again: Row = np.zeros(values, dtype=np.int64)

    def now_ready(index: int) -> None:
        wanted = stands[index]
        heapq.heappush(ready[wanted], rank[index])
        here[wanted] += 1

    def looked_at(wanted: int) -> None:
        heap = ready[wanted]
        while heap and done[by_rank[heap[0]]]:
            heapq.heappop(heap)
        likeliest[wanted] = heap[0] if heap else _NEVER
        again[wanted] = move if left[wanted] > here[wanted] else 0

    for index in range(count):
        if lacking[index] == 0:
            now_ready(index)
    for wanted in range(values):
        looked_at(wanted)
    order: list[int] = []
    stacks = 0
    last = -1
    for _ in range(count):
        staying = (
            [one for one in steps.stay[last] if lacking[one] == 0 and not done[one]] if last >= 0 else []
        )
        changes = change(-1 if last < 0 else stands[last])
        costs = changes + again
        open_values = np.flatnonzero(likeliest < _NEVER)
        if not len(open_values):
            break
        nearest = {int(one): int(likeliest[one]) for one in _least(costs, likeliest, open_values, branches)}
        gains = dict.fromkeys(nearest, 0)
        for one in sorted(staying, key=lambda one: (-bring[one], rank[one])):
            wanted = stands[one]
            best = (-gains.get(wanted, 0), nearest.get(wanted, int(likeliest[wanted])))
            if (-bring[one], rank[one]) < best:
                nearest[wanted], gains[wanted] = rank[one], bring[one]
        choices = sorted((int(costs[one]) - gains.get(one, 0), place) for one, place in nearest.items())
        best_guess: tuple[int, int] | None = None
        chosen = -1
        for cost, place in choices[:branches]:
            index = by_rank[place]
            wanted = stands[index]
            waiting = stacks - (steps.needs[index] != 0)
            plain = cost - int(again[wanted]) + stack * waiting
            others = (
                here[wanted]
                - 1
                + sum(1 for one in steps.followers[index] if lacking[one] == 1 and stands[one] == wanted)
            )
            stays = left[wanted] > 1 and others > 0
            guess = (plain - move * ((left[wanted] == 1) + stays), plain)
            if best_guess is None or guess < best_guess:
                best_guess, chosen = guess, index
        wanted = stands[chosen]
        done[chosen] = True
        order.append(chosen)
        stacks -= steps.needs[chosen] != 0
        left[wanted] -= 1
        here[wanted] -= 1
        touched = {wanted}
        for one in steps.followers[chosen]:
            stacks += not started[one]
            started[one] = True
            lacking[one] -= 1
            if lacking[one] == 0:
                now_ready(one)
                touched.add(stands[one])
        for one in touched:
            looked_at(one)
        last = chosen
    return order


def _least(costs: Row, likeliest: Row, open_values: NDArray[np.intp], most: int) -> NDArray[np.intp]:
    """The open values of least cost, of equal ones those whose step comes first."""
    if len(open_values) <= most:
        return open_values
    # Ranks are below the number of steps, so that the two make one number.
    keys = (costs[open_values] << 24) + likeliest[open_values]
    return open_values[np.argpartition(keys, most)[:most]]
