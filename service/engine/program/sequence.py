"""In which order the steps of one layout are made.

A greedy rule, the same on every machine. Of all the steps whose pieces are there, the next one is

1. of the lowest level: the whole sheet is cut into strips before any strip is turned;
2. then one at the gauging and value that stand already, so that the gauge need not move;
3. then a trim, since it gives the edge that later cuts are measured from;
4. then one on the piece that is at the blade already;
5. then the first in the order of the layout.

It does not look ahead, so the number of gauge moves is low but not proved least.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.engine.plan import Gauging
from service.engine.quantities import Length


@dataclass(frozen=True, slots=True)
class Task:
    """A step as far as its place in the order depends on it.

    `needs` are the tasks that must be done before; `group` the pieces it works on.
    """

    needs: tuple[int, ...]
    level: int
    gauging: Gauging
    gauge: Length
    trim: bool
    group: int


def in_order(tasks: Sequence[Task]) -> tuple[int, ...]:
    """Indices of `tasks` in the order they are made.

    Raises
    ------
    ValueError
        When tasks wait for one another in a ring.

    >>> trim = Task((), 0, "back gauge", 500, True, 0)
    >>> first = Task((0,), 0, "back gauge", 30000, False, 0)
    >>> in_order([trim, first, Task((), 0, "back gauge", 500, True, 1)])
    (0, 2, 1)
    """
    order: list[int] = []
    done: set[int] = set()
    waiting = list(range(len(tasks)))
    last: Task | None = None
    while waiting:
        ready = [index for index in waiting if done.issuperset(tasks[index].needs)]
        if not ready:
            raise ValueError("the steps wait for one another; the layout is not a tree")
        chosen = min(ready, key=lambda index: _rank(tasks[index], last, index))
        waiting.remove(chosen)
        done.add(chosen)
        order.append(chosen)
        last = tasks[chosen]
    return tuple(order)


def _rank(task: Task, last: Task | None, index: int) -> tuple[int, bool, bool, bool, int]:
    moved = last is None or (task.gauging, task.gauge) != (last.gauging, last.gauge)
    other = last is None or task.group != last.group
    return (task.level, moved, not task.trim, other, index)
