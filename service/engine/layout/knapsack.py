"""Which pieces to lay side by side in a given room: a bounded knapsack with exact sums.

Sums stay exact; only the number of states kept is limited, one for each cell of the room.
"""

from __future__ import annotations

from collections.abc import Sequence
from operator import itemgetter
from typing import TypeAlias

Option: TypeAlias = tuple[int, int, int]
"""Size, value, and how many copies there may be."""

Link: TypeAlias = "tuple[Link | None, int, int]"
"""What was taken before, the option's index, and how many of it."""

State: TypeAlias = "tuple[int, int, Link | None]"
"""Sum of sizes, sum of values, what was taken."""

_first = itemgetter(0)


def knapsack(room: int, options: Sequence[Option], cells: int) -> tuple[list[State], int]:
    """All worthwhile sums of options within `room`, by rising sum and rising value.

    A state is dropped when another has no larger sum and no smaller value; of the states in one of
    the `cells` equal parts of the room the most valuable is kept.

    Returns
    -------
    The states and the number of steps spent.

    >>> states, _ = knapsack(10, [(3, 4, 2), (5, 6, 1)], 100)
    >>> [(s, v) for s, v, _ in states]
    [(0, 0), (3, 4), (5, 6), (6, 8), (8, 10)]
    """
    states: list[State] = [(0, 0, None)]
    steps = 0
    for index, (size, value, copies) in enumerate(options):
        if value <= 0 or size > room:
            continue
        left = min(copies, room // size)
        take = 1
        while left > 0:
            take = min(take, left)
            left -= take
            width, worth = size * take, value * take
            limit = room - width
            shifted: list[State] = [
                (total + width, gain + worth, (link, index, take))
                for total, gain, link in states
                if total <= limit
            ]
            if not shifted:
                break
            take *= 2
            merged = states + shifted
            merged.sort(key=_first)
            steps += len(merged)
            states = _thin(merged, room, cells)
    return states, steps


def _thin(merged: list[State], room: int, cells: int) -> list[State]:
    kept: list[State] = []
    best = -1
    cell = -1
    if len(merged) <= cells:
        for state in merged:
            if state[1] > best:
                best = state[1]
                if kept and kept[-1][0] == state[0]:
                    kept[-1] = state
                else:
                    kept.append(state)
        return kept
    for state in merged:
        gain = state[1]
        if gain > best:
            best = gain
            here = state[0] * cells // room
            if here == cell:
                kept[-1] = state
            else:
                kept.append(state)
                cell = here
    return kept


def taken(link: Link | None) -> dict[int, int]:
    """How many of each option a state holds, by rising index."""
    counts: dict[int, int] = {}
    while link is not None:
        link, index, count = link
        counts[index] = counts.get(index, 0) + count
    return dict(sorted(counts.items()))
