"""Which pieces to lay side by side in a given room: a bounded knapsack with exact sums.

Where all sizes are multiples of a unit of which the room has few, one array holds the best value for every
room at once. With finer sizes sums stay exact too, but only one state is kept for each cell of the room.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from operator import itemgetter
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

Option: TypeAlias = tuple[int, int, int]
"""Size, value, and how many copies there may be."""

State: TypeAlias = tuple[int, int, dict[int, int]]
"""Sum of sizes, sum of values, and how many of each option, by rising index."""

_Link: TypeAlias = "tuple[_Link | None, int, int]"
"""What was taken before, the option's index, and how many of it."""

_Linked: TypeAlias = "tuple[int, int, _Link | None]"

_UNITS: Final = 6000
"""Units of the room up to which an array of all of them is the quicker way."""
_LARGEST: Final = 1 << 62
_A_TAKE: Final = 8
"""Steps that one sum of arrays takes at least; for each :data:`_UNITS_A_STEP` units one more."""
_UNITS_A_STEP: Final = 500
_AT_ONCE: Final = 32

_first = itemgetter(0)


class Knapsack:
    """Packs one room after another."""

    def __init__(self) -> None:
        self._scratch: NDArray[np.int64] = np.empty(0, dtype=np.int64)

    def packed(self, room: int, options: Sequence[Option], cells: int) -> tuple[Iterator[State], int]:
        """The worthwhile sums of options within `room`, the most valuable first, and the steps spent.

        No sum is given when another is no larger and no less valuable. With fine sizes, of the sums in one of
        the `cells` equal parts of the room only the most valuable is given. What is given holds until the
        next room is packed.

        >>> states, _ = Knapsack().packed(10, [(3, 4, 2), (5, 6, 1)], 100)
        >>> [(s, v) for s, v, _ in states]
        [(8, 10), (6, 8), (5, 6), (3, 4), (0, 0)]
        """
        return next(self.packed_each((room,), options, cells))

    def packed_each(
        self, rooms: Sequence[int], options: Sequence[Option], cells: int
    ) -> Iterator[tuple[Iterator[State], int]]:
        """As :meth:`packed` for each of several rooms; one array tells it of all of them.

        >>> packed = Knapsack().packed_each((5, 3), [(3, 4, 2), (5, 6, 1)], 9)
        >>> [[value for _, value, _ in states] for states, _ in packed]
        [[6, 4, 0], [4, 0]]
        """
        takes = _takes(max(rooms), options)
        unit = math.gcd(*[take[0] for take in takes]) or 1
        units = max(rooms) // unit
        if units > _UNITS or sum([take[1] for take in takes]) > _LARGEST:
            for room in rooms:
                yield _in_cells(room, _takes(room, options), cells)
            return
        count = units + 1
        if len(self._scratch) < count * (len(takes) + 1):
            self._scratch = np.empty(2 * count * (len(takes) + 1), dtype=np.int64)
        rows = self._scratch[: count * (len(takes) + 1)].reshape(len(takes) + 1, count)
        row = rows[0]
        row[:] = 0
        for place, (width, worth, _, _) in enumerate(takes, start=1):
            at = width // unit
            after = rows[place]
            after[:at] = row[:at]
            with_it = after[at:]
            np.add(row[:-at], worth, out=with_it)
            np.maximum(with_it, row[at:], out=with_it)
            row = after
        for room in rooms:
            steps = len(takes) * (_A_TAKE + room // unit // _UNITS_A_STEP)
            yield _found(rows[:, : room // unit + 1], takes, unit), steps


_Take: TypeAlias = tuple[int, int, int, int]
"""Size and value of some copies of an option together, its index, how many copies."""


def _takes(room: int, options: Sequence[Option]) -> list[_Take]:
    """Copies of the options in ones, twos, fours …, so that any number of them is a sum."""
    takes: list[_Take] = []
    for index, (size, value, copies) in enumerate(options):
        if value <= 0 or size > room:
            continue
        left = room // size
        left = min(left, copies)
        take = 1
        while left > 0:
            take = min(take, left)
            left -= take
            takes.append((size * take, value * take, index, take))
            take *= 2
    return takes


def _found(rows: NDArray[np.int64], takes: Sequence[_Take], unit: int) -> Iterator[State]:
    last = rows[-1]
    # Where the value rises the sum is just so long.
    sums = (last[1:] > last[:-1]).nonzero()[0] + 1
    for total in _falling(sums):
        value = int(last[total])
        counts: dict[int, int] = {}
        at, rest, place = total, value, len(takes)
        while rest > 0:
            # The first row that is worth so much is the one that took something.
            place = int(rows[: place + 1, at].searchsorted(rest))
            width, worth, index, count = takes[place - 1]
            counts[index] = counts.get(index, 0) + count
            at, rest, place = at - width // unit, rest - worth, place - 1
        yield total * unit, value, dict(sorted(counts.items()))


def _falling(sums: NDArray[np.int64]) -> Iterator[int]:
    """The sums from the largest to 0; the first few are mostly all that is asked for."""
    for end in range(len(sums), 0, -_AT_ONCE):
        yield from sums[max(end - _AT_ONCE, 0) : end][::-1].tolist()
    yield 0


def _in_cells(room: int, takes: Sequence[_Take], cells: int) -> tuple[Iterator[State], int]:
    """As :meth:`Knapsack.packed`, state by state."""
    states: list[_Linked] = [(0, 0, None)]
    steps = 0
    for width, worth, index, take in takes:
        limit = room - width
        shifted: list[_Linked] = [
            (total + width, gain + worth, (link, index, take))
            for total, gain, link in states
            if total <= limit
        ]
        merged = states + shifted
        merged.sort(key=_first)
        steps += len(merged)
        states = _thin(merged, room, cells)
    return ((total, value, _taken(link)) for total, value, link in reversed(states)), steps


def _thin(merged: list[_Linked], room: int, cells: int) -> list[_Linked]:
    kept: list[_Linked] = []
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


def _taken(link: _Link | None) -> dict[int, int]:
    counts: dict[int, int] = {}
    while link is not None:
        link, index, count = link
        counts[index] = counts.get(index, 0) + count
    return dict(sorted(counts.items()))
