"""Orders of steps by a rule: level by level, or what was cut off last first."""

from __future__ import annotations

import heapq
from collections.abc import Callable, Sequence

from service.engine.program.tasks import Stand, Task, followers_of


def by_level(tasks: Sequence[Task], before: Stand | None = None) -> tuple[int, ...]:
    """A plain rule: whole sheets into strips before any strip is turned.

    Of all the tasks whose pieces are there, the next is one of the lowest level; then one at the
    gauging and value that stand already; then a trim, since it gives the edge that later cuts are
    measured from; then one on the pieces at the blade; then the first in the order of the layouts.
    """
    values = [task.stand[:2] for task in tasks]
    # Of the ready steps of one level: all, those at one value, and those on one group of pieces, as heaps.
    heaps: dict[tuple[int, object, int | None], list[tuple[bool, int]]] = {}
    done = [False] * len(tasks)

    def first(key: tuple[int, object, int | None]) -> tuple[bool, int] | None:
        heap = heaps.get(key)
        while heap and done[heap[0][1]]:
            heapq.heappop(heap)
        return heap[0] if heap else None

    def push(index: int) -> None:
        task = tasks[index]
        for value in (None, values[index]):
            for group in (None, task.group):
                heapq.heappush(heaps.setdefault((task.level, value, group), []), (not task.trim, index))
        heapq.heappush(levels, task.level)

    def pop(last: int | None) -> int | None:
        while levels and first((levels[0], None, None)) is None:
            heapq.heappop(levels)
        if not levels:
            return None
        stand = None if before is None else before[:2]
        value = stand if last is None else values[last]
        if value is None or first((levels[0], value, None)) is None:
            value = None
        choices = [first((levels[0], value, None))]
        if last is not None:
            choices.append(first((levels[0], value, tasks[last].group)))
        ranked = [
            (one[0], last is None or tasks[last].group != tasks[one[1]].group, one[1])
            for one in choices
            if one is not None
        ]
        return min(ranked)[2]

    levels: list[int] = []
    return _by_rule(tasks, push, pop, done)


def deepest_first(tasks: Sequence[Task]) -> tuple[int, ...]:
    """The rule that keeps the floor clear: what was cut off last is finished before anything else.

    Where every stack is made by one task alone, no more stacks wait than there are levels above the
    one that is worked on.
    """
    heap: list[tuple[int, int]] = []

    def push(index: int) -> None:
        heapq.heappush(heap, (-tasks[index].level if tasks[index].needs else 1, index))

    return _by_rule(tasks, push, lambda _: heapq.heappop(heap)[1] if heap else None, [False] * len(tasks))


def _by_rule(
    tasks: Sequence[Task],
    push: Callable[[int], None],
    pop: Callable[[int | None], int | None],
    done: list[bool],
) -> tuple[int, ...]:
    """Steps as `pop` gives them after the last one; `push` is told what is ready, `done` what was made."""
    followers = followers_of(tasks)
    lacking = [len(set(task.needs)) for task in tasks]
    for index, count in enumerate(lacking):
        if count == 0:
            push(index)
    order: list[int] = []
    last = pop(None)
    while last is not None:
        done[last] = True
        order.append(last)
        for follower in followers[last]:
            lacking[follower] -= 1
            if lacking[follower] == 0:
                push(follower)
        last = pop(last)
    if len(order) < len(tasks):
        raise ValueError("the steps wait for one another; the layout is not a tree")
    return tuple(order)
