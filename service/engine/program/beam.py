"""The best few beginnings of an order of steps, carried on step by step (a beam search).

It looks ahead by what is certain: each value that is still wanted asks for one more setting, and one
that must be left before all its steps are there asks for another.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

from service.engine.program.straight import BRANCHES, straight
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

_WIDEST: Final = 16
"""Beginnings kept of one length at most."""
_WORK: Final = 100_000
"""Steps looked at, over all beginnings, at most (about); many steps are ordered with a narrower beam."""
_ASK_EVERY: Final = 16
"""Lengths of beginnings after which the caller is asked again whether to go on."""
_SMALL: Final = 24
"""So many steps are few."""


def in_beam(
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
        return straight(tasks, weights, before)
    search = Search(tasks, weights, before, limit)
    # The work of a beginning grows with the steps that are ready, at times with all of them.
    width = max(1, min(_WIDEST, 4 * _WORK // count**2), min(16 * _WIDEST, 4 * _WORK // count**3))
    level = [search.start()]
    for place in range(count):
        if stop is not None and place % _ASK_EVERY == 0 and stop():
            return straight(tasks, weights, before) if limit is None else None
        met: dict[tuple[int, int], Begun] = {}
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
    at: Begun | None = level[0]
    while at is not None and at.last >= 0:
        order.append(at.last)
        at = at.came_from
    return tuple(reversed(order))


@dataclass(slots=True)
class Begun:
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
    came_from: Begun | None = None


class Search:
    """What all beginnings of one search have in common; stands of the machine go by number."""

    def __init__(
        self, tasks: Sequence[Task], weights: Weights, before: Stand | None, limit: int | None
    ) -> None:
        self.weights, self.limit = weights, limit
        self.followers = followers_of(tasks)
        self.needs = [sum(1 << need for need in set(task.needs)) for task in tasks]
        self.small = len(tasks) <= _SMALL
        self.by_rank = ranked(tasks)
        self.rank = places_of(self.by_rank)
        self.bring = [task.bring for task in tasks]
        self.stay = lying_after(tasks)
        self.lost_with_all = [sum(self.bring[one] for one in staying) for staying in self.stay]
        number = numbered_stands(tasks)
        self.stands = [number[task.stand] for task in tasks]
        # The last row is for the beginning, when the machine stands as it was left.
        self.changes = [[weights.change(one, other) for other in number] for one in (*number, before)]
        self.kinds = len(number)

    def start(self) -> Begun:
        """Nothing is done yet."""
        left = [0] * self.kinds
        for stand in self.stands:
            left[stand] += 1
        ready = [index for index, needs in enumerate(self.needs) if needs == 0]
        return Begun(0, 0, 0, -1, 0, ready, left, self.kinds)

    def next_of(self, begun: Begun) -> Iterator[Begun]:
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
        for _, place in choices if self.small else choices[:BRANCHES]:
            index = self.by_rank[place]
            following = self._after(begun, change, index, counts[stands[index]] - 1)
            if following is not None:
                yield following

    def lost_at(self, last: int) -> tuple[int, set[int]]:
        """What it costs to bring back all that lies at the blade after a step, and which steps need it."""
        return (self.lost_with_all[last], self.stay[last]) if last >= 0 else (0, set())

    def _after(self, begun: Begun, change: Sequence[int], index: int, others: int) -> Begun | None:
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
        return Begun(guess, cost, done, index, stacks, ready, left, to_set, begun)
