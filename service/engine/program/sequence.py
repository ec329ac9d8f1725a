"""In which order the steps of a program are made.

The order is looked for that costs least, where the cost of an order is the sum over its steps of

* what it takes to come from one gauging and value to the next, and to another blade gap or rake;
* what it takes to bring pieces back to the blade that could have stayed there;
* a little for each stack of pieces that waits meanwhile, as it stands in the way.

How pieces are turned does not depend on the order: a piece lies as the cut that made it left it.

Against the search of :mod:`.beam` stand the plain rules of :mod:`.by_rule`; the best of all is taken. None
is proved least; the tests measure how near they come on small cases. With a limit on stacks, at most so
many others wait while a step is made.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from service.engine.program.beam import in_beam
from service.engine.program.by_rule import by_level, deepest_first
from service.engine.program.tasks import Stand, Task, Weights, cost_of, most_waiting


class NoRoomError(ValueError):
    """No order was found in which so few stacks wait."""


def in_order(
    tasks: Sequence[Task],
    weights: Weights | None = None,
    before: Stand | None = None,
    open_stacks: int | None = None,
    stop: Callable[[], bool] | None = None,
) -> tuple[int, ...]:
    """Indices of `tasks` in the order they are made.

    Parameters
    ----------
    tasks
        All the steps, in the order of the layouts.
    weights
        What changes cost.
    before
        What the machine stands at beforehand.
    open_stacks
        How many stacks may wait while a step is made; None: any number.
    stop
        Asked now and then; once it says so, only one beginning is followed, or none where stacks are limited.

    Raises
    ------
    NoRoomError
        When no order is found that keeps `open_stacks`.
    ValueError
        When tasks wait for one another in a ring.

    Both trims at one setting, that of the other sheet first, so that less waits:

    >>> trim = Task((), 0, "back gauge", 500, True, 0)
    >>> first = Task((0,), 0, "back gauge", 30000, False, 0)
    >>> in_order([trim, first, Task((), 0, "back gauge", 500, True, 1)])
    (2, 0, 1)
    """
    weights = weights or Weights()
    plain = by_level(tasks, before)
    found = [in_beam(tasks, weights, before, open_stacks, stop), plain, deepest_first(tasks)]
    fitting = [
        order
        for order in found
        if order is not None and (open_stacks is None or most_waiting(tasks, order) <= open_stacks)
    ]
    if not fitting:
        raise NoRoomError(f"no order was found in which at most {open_stacks} stacks wait")
    return min(fitting, key=lambda order: cost_of(tasks, order, weights, before))
