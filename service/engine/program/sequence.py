"""In which order the steps of a program are made.

The order is looked for that costs least, where the cost of an order is the sum over its steps of

* what it takes to come from one gauging and value to the next, and to another blade gap or rake;
* what it takes to bring pieces back to the blade that could have stayed there;
* a little for each stack of pieces that waits meanwhile, as it stands in the way.

How pieces are turned does not depend on the order: a piece lies as the cut that made it left it.

The search keeps the best few beginnings of each length (a beam) and looks ahead by what is certain:
each value that is still wanted asks for one more setting, and one that must be left before all its
steps are there asks for another. Against it stands the plain rule of :func:`by_level`; the better of
both is taken. Neither is proved least; the tests measure how near they come on small cases.

A *stack* is the pieces of one name, which wait from the first cut that makes one of them to the step
that takes them up. With a limit on stacks, at most so many others wait while a step is made.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final, TypeAlias

import numpy as np

from service.engine.machine import Machine
from service.engine.plan import Gauging
from service.engine.program.straight import Row, Steps, straight_on
from service.engine.quantities import Length

_WIDEST: Final = 16
"""Beginnings kept of one length at most."""
_WORK: Final = 100_000
"""Steps looked at, over all beginnings, at most (about); many steps are ordered with a narrower beam."""
_BRANCHES: Final = 5
"""Next steps tried from one beginning, one for each setting; of few steps all are tried."""
_ASK_EVERY: Final = 16
"""Lengths of beginnings after which the caller is asked again whether to go on."""
_SMALL: Final = 24
"""So many steps are few."""


class NoRoomError(ValueError):
    """No order was found in which so few stacks wait."""


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
    found = [_beam(tasks, weights, before, open_stacks, stop), plain, deepest_first(tasks)]
    fitting = [
        order
        for order in found
        if order is not None and (open_stacks is None or most_waiting(tasks, order) <= open_stacks)
    ]
    if not fitting:
        raise NoRoomError(f"no order was found in which at most {open_stacks} stacks wait")
    return min(fitting, key=lambda order: cost_of(tasks, order, weights, before))


def cost_of(
    tasks: Sequence[Task], order: Sequence[int], weights: Weights, before: Stand | None = None
) -> int:
    """What an order costs: the sum that :func:`in_order` keeps small."""
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
    followers = _followers(tasks)
    for index in order:
        opened.discard(index)
        yield len(opened)
        done.add(index)
        opened.update(one for one in followers[index] if one not in done)


def most_waiting(tasks: Sequence[Task], order: Sequence[int]) -> int:
    """The most stacks that wait while a step is made."""
    return max(waiting_stacks(tasks, order), default=0)


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
    followers = _followers(tasks)
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


def _followers(tasks: Sequence[Task]) -> list[list[int]]:
    followers: list[list[int]] = [[] for _ in tasks]
    for index, task in enumerate(tasks):
        for need in dict.fromkeys(task.needs):
            followers[need].append(index)
    return followers


@dataclass(slots=True)
class _Begun:
    """A beginning: what is done, what it cost, and what may be done next.

    `cost` leaves out what is the same in every order, and counts the bringing back of a piece as soon
    as the blade has been given to another. `left` counts the steps that are still to be made at each
    stand of the machine, `to_set` the stands that still have some.
    """

    guess: int
    cost: int
    done: int
    last: int
    stacks: int
    ready: list[int]
    left: list[int] = field(repr=False)
    to_set: int
    came_from: _Begun | None = None


def _beam(
    tasks: Sequence[Task],
    weights: Weights,
    before: Stand | None,
    limit: int | None,
    stop: Callable[[], bool] | None = None,
) -> tuple[int, ...] | None:
    """The best order found; None when every beginning ends with more stacks than may wait, or it is ended."""
    count = len(tasks)
    if count == 0:
        return ()
    if limit is None and 4 * _WORK // count**2 <= 1:
        return _straight(tasks, weights, before)
    search = _Search(tasks, weights, before, limit)
    # The work of a beginning grows with the steps that are ready, at times with all of them.
    width = max(1, min(_WIDEST, 4 * _WORK // count**2), min(16 * _WIDEST, 4 * _WORK // count**3))
    level = [search.start()]
    for place in range(count):
        if stop is not None and place % _ASK_EVERY == 0 and stop():
            return _straight(tasks, weights, before) if limit is None else None
        met: dict[tuple[int, int], _Begun] = {}
        for begun in level:
            for following in search.next_of(begun):
                key = (following.done, following.last)
                old = met.get(key)
                if old is None or following.cost < old.cost:
                    met[key] = following
        level = sorted(met.values(), key=lambda one: (one.guess, one.cost))[:width]
        if not level:
            return None
    order: list[int] = []
    at: _Begun | None = level[0]
    while at is not None and at.last >= 0:
        order.append(at.last)
        at = at.came_from
    return tuple(reversed(order))


def _straight(tasks: Sequence[Task], weights: Weights, before: Stand | None) -> tuple[int, ...]:
    """The order that one beginning comes to, for many steps."""
    number = {stand: place for place, stand in enumerate(dict.fromkeys(task.stand for task in tasks))}
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

    ranked = sorted(range(len(tasks)), key=lambda one: (tasks[one].level, not tasks[one].trim, one))
    rank = [0] * len(tasks)
    for place, index in enumerate(ranked):
        rank[index] = place
    stay: list[set[int]] = [set() for _ in tasks]
    for index, task in enumerate(tasks):
        for maker in task.stays_after:
            stay[maker].add(index)
    steps = Steps(
        needs=[len(set(task.needs)) for task in tasks],
        followers=_followers(tasks),
        stands=[number[task.stand] for task in tasks],
        rank=rank,
        bring=[task.bring for task in tasks],
        stay=stay,
    )
    return tuple(straight_on(steps, change, len(number), weights.move, weights.stack, _BRANCHES))


class _Search:
    """What all beginnings of one search have in common; stands of the machine go by number."""

    def __init__(
        self, tasks: Sequence[Task], weights: Weights, before: Stand | None, limit: int | None
    ) -> None:
        self.weights, self.limit = weights, limit
        self.followers = _followers(tasks)
        self.needs = [sum(1 << need for need in set(task.needs)) for task in tasks]
        self.small = len(tasks) <= _SMALL
        ranked = sorted(range(len(tasks)), key=lambda one: (tasks[one].level, not tasks[one].trim, one))
        self.by_rank = ranked
        self.rank = [0] * len(tasks)
        for place, index in enumerate(ranked):
            self.rank[index] = place
        self.bring = [task.bring for task in tasks]
        self.stay: list[set[int]] = [set() for _ in tasks]
        for index, task in enumerate(tasks):
            for maker in task.stays_after:
                self.stay[maker].add(index)
        self.lost_with_all = [sum(self.bring[one] for one in staying) for staying in self.stay]
        number = {stand: place for place, stand in enumerate(dict.fromkeys(task.stand for task in tasks))}
        self.stands = [number[task.stand] for task in tasks]
        # The last row is for the beginning, when the machine stands as it was left.
        self.changes = [[weights.change(one, other) for other in number] for one in (*number, before)]
        self.kinds = len(number)

    def start(self) -> _Begun:
        left = [0] * self.kinds
        for stand in self.stands:
            left[stand] += 1
        ready = [index for index, needs in enumerate(self.needs) if needs == 0]
        return _Begun(0, 0, 0, -1, 0, ready, left, self.kinds)

    def next_of(self, begun: _Begun) -> Iterator[_Begun]:
        """For each value that ready steps ask for, the likeliest at it; the cheapest few of all."""
        last = begun.last
        change = self.changes[-1 if last < 0 else self.stands[last]]
        stands, rank = self.stands, self.rank
        lost, staying = self.lost_at(last)
        ready = begun.ready
        if self.limit is not None and begun.stacks > self.limit:
            waits = begun.stacks - 1 > self.limit
            ready = [index for index in ready if self.needs[index] != 0 and not waits]
        # At each value: how many steps are ready, and the likeliest of them by its rank.
        counts: dict[int, int] = {}
        likeliest: dict[int, int] = {}
        for index in ready:
            wanted, place = stands[index], rank[index]
            if wanted in counts:
                counts[wanted] += 1
                likeliest[wanted] = min(likeliest[wanted], place)
            else:
                counts[wanted] = 1
                likeliest[wanted] = place
        # A value left before all its steps are there must be set once more.
        again = {
            wanted: self.weights.move if begun.left[wanted] > count else 0 for wanted, count in counts.items()
        }
        choices: list[tuple[int, int]] = []
        if self.small:
            for index in ready:
                gain = self.bring[index] if index in staying else 0
                wanted = stands[index]
                choices.append((change[wanted] + lost - gain + again[wanted], rank[index]))
        else:
            nearest = {wanted: (lost, place) for wanted, place in likeliest.items()}
            # What lies at the blade need not be brought back.
            for index in (one for one in ready if one in staying) if staying else ():
                wanted = stands[index]
                nearest[wanted] = min(nearest[wanted], (lost - self.bring[index], rank[index]))
            choices = [
                (change[wanted] + left + again[wanted], place) for wanted, (left, place) in nearest.items()
            ]
        choices.sort()
        for _, place in choices if self.small else choices[:_BRANCHES]:
            index = self.by_rank[place]
            following = self._after(begun, change, index, counts[stands[index]] - 1)
            if following is not None:
                yield following

    def lost_at(self, last: int) -> tuple[int, set[int]]:
        """What it costs to bring back all that lies at the blade after a step, and which steps need it."""
        return (self.lost_with_all[last], self.stay[last]) if last >= 0 else (0, set())

    def _after(self, begun: _Begun, change: Sequence[int], index: int, others: int) -> _Begun | None:
        """What follows with that step; `others` are ready at the same value."""
        wanted = self.stands[index]
        waiting = begun.stacks - (self.needs[index] != 0)
        done = begun.done | 1 << index
        stacks = waiting
        ready = begun.ready.copy()
        ready.remove(index)
        for follower in self.followers[index]:
            stacks += self.needs[follower] & begun.done == 0
            if self.needs[follower] & ~done == 0:
                ready.append(follower)
                others += self.stands[follower] == wanted
        if self.limit is not None and stacks - 1 > self.limit:
            return None
        lost, staying = self.lost_at(begun.last)
        cost = begun.cost + change[wanted] + self.weights.stack * waiting
        cost += lost - self.bring[index] if index in staying else lost
        left = begun.left.copy()
        left[wanted] -= 1
        to_set = begun.to_set - (left[wanted] == 0)
        stays = left[wanted] > 0 and others > 0
        guess = cost + self.weights.move * (to_set - stays)
        return _Begun(guess, cost, done, index, stacks, ready, left, to_set, begun)
