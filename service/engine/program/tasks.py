"""Steps as far as their order depends on them, and what an order of them costs.

A *stack* is the pieces of one name, which wait from the first cut that makes one of them to the step
that takes them up.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from service.engine.machine import Machine
from service.engine.plan import Gauging
from service.engine.quantities import Length


@dataclass(frozen=True, slots=True)
class Task:
    """A step as far as its place in the order depends on it.

    Attributes
    ----------
    needs
        The tasks that must be done before: those that make its pieces.
    level
        Changes of the direction of cutting since the sheet.
    gauging, gauge, setting
        What the machine is set to; `setting` is blade gap and rake.
    trim
        Whether it gives a good edge and nothing else.
    group
        The pieces that it works on.
    bring
        Cost of bringing its pieces to the blade, unless they lie there.
    stays_after
        The tasks after which they lie there.
    """

    needs: tuple[int, ...]
    level: int
    gauging: Gauging
    gauge: Length
    trim: bool
    group: int
    setting: tuple[Length, float] = (0, 0.0)
    bring: int = 0
    stays_after: tuple[int, ...] = ()

    @property
    def stand(self) -> Stand:
        """What the machine stands at when it is made."""
        return self.gauging, self.gauge, self.setting


Stand: TypeAlias = tuple[Gauging, Length, tuple[Length, float]]


@dataclass(frozen=True, slots=True)
class Weights:
    """What a change costs, in hundredths of a second unless all are given otherwise.

    `move` for each new value of the back gauge or the marked line, and `travel` for each hundredth of
    a millimetre that the back gauge goes; `stop` for a new value of a front stop; `setting` for another
    gap or rake; `stack` for each stack that waits during a step.
    """

    move: int = 200
    travel: float = 0.01
    stop: int = 2000
    setting: int = 4500
    stack: int = 2

    def change(self, before: Stand | None, after: Stand) -> int:
        """From one stand to the next; the first setting of the machine is part of the set-up.

        >>> Weights().change(("back gauge", 30000, (10, 1.5)), ("back gauge", 10000, (10, 1.5)))
        400
        """
        if before == after:
            return 0
        cost = 0
        if before is not None and before[2] != after[2]:
            cost += self.setting
        if before is None or before[:2] != after[:2]:
            cost += self.stop if after[0] == "front stop" else self.move
            if before is not None and before[0] == after[0] == "back gauge":
                cost += int(self.travel * abs(before[1] - after[1]))
        return cost


def weights_for(machine: Machine, *, fewest_moves: bool = False) -> Weights:
    """The shop's own times; or, for the fewest moves, a cost of a move beside which all else is small."""
    times = machine.times
    if fewest_moves:
        return Weights(1_000_000, 0.0, 1_000_000, 1_000_000, 2)
    return Weights(
        move=int(100 * times.gauge_start_s),
        travel=1 / machine.back_gauge.speed_mm_s,
        stop=int(100 * times.front_stop_s),
        setting=int(100 * times.settings_change_s),
    )


def cost_of(
    tasks: Sequence[Task], order: Sequence[int], weights: Weights, before: Stand | None = None
) -> int:
    """What an order costs: the sum that :func:`~service.engine.program.sequence.in_order` keeps small."""
    cost = 0
    last: int | None = None
    stand = before
    for index, waiting in zip(order, waiting_stacks(tasks, order), strict=True):
        task = tasks[index]
        cost += weights.change(stand, task.stand) + weights.stack * waiting
        if last is None or last not in task.stays_after:
            cost += task.bring
        last, stand = index, task.stand
    return cost


def waiting_stacks(tasks: Sequence[Task], order: Sequence[int]) -> Iterator[int]:
    """Before each step: how many stacks wait that it does not take up.

    >>> sheet, strips = Task((), 0, "back gauge", 30000, False, 0), Task((0,), 1, "back gauge", 1, True, 1)
    >>> list(waiting_stacks([sheet, strips, strips], (0, 2, 1)))
    [0, 1, 0]
    """
    done: set[int] = set()
    opened: set[int] = set()
    followers = followers_of(tasks)
    for index in order:
        opened.discard(index)
        yield len(opened)
        done.add(index)
        opened.update(one for one in followers[index] if one not in done)


def most_waiting(tasks: Sequence[Task], order: Sequence[int]) -> int:
    """The most stacks that wait while a step is made."""
    return max(waiting_stacks(tasks, order), default=0)


def followers_of(tasks: Sequence[Task]) -> list[list[int]]:
    """Of each task: those that take up what it makes."""
    followers: list[list[int]] = [[] for _ in tasks]
    for index, task in enumerate(tasks):
        for need in dict.fromkeys(task.needs):
            followers[need].append(index)
    return followers


def lying_after(tasks: Sequence[Task]) -> list[set[int]]:
    """Of each task: those whose pieces lie at the blade after it."""
    lying: list[set[int]] = [set() for _ in tasks]
    for index, task in enumerate(tasks):
        for maker in task.stays_after:
            lying[maker].add(index)
    return lying


def ranked(tasks: Sequence[Task]) -> list[int]:
    """The tasks as they come where values cost alike: by level, trims first, in the order of the layouts."""
    return sorted(range(len(tasks)), key=lambda one: (tasks[one].level, not tasks[one].trim, one))


def places_of(order: Sequence[int]) -> list[int]:
    """Of each task its place in an order of all of them.

    >>> places_of([2, 0, 1])
    [1, 2, 0]
    """
    places = [0] * len(order)
    for place, index in enumerate(order):
        places[index] = place
    return places


def numbered_stands(tasks: Sequence[Task]) -> dict[Stand, int]:
    """The stands of the machine that tasks ask for, numbered as they come."""
    return {stand: place for place, stand in enumerate(dict.fromkeys(task.stand for task in tasks))}
