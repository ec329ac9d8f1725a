"""What no choice of parts from some stock is worth more than, where only so many pieces are wanted of each.

The exact table (:mod:`.grid`) tells the most that a piece holds when copies are not limited. Prices on the
counts (Lagrange multipliers, found by the subgradient method) lower that: for any m ≥ 0 layouts with no more
than the counts in all are worth at most what they are worth at ``v − m`` plus ``Σ m · count``, so that the
most of the former, over all pieces of stock, plus the latter bounds them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from service.engine.layout.grid import Grid, Shape, variants_in
from service.engine.layout.kinds import Kind
from service.engine.layout.prices import grids
from service.engine.layout.values import prices_by_area
from service.engine.quantities import Length


@dataclass(frozen=True, slots=True)
class Wanted:
    """Parts by kind: what a piece is worth, and how many are wanted."""

    values: Sequence[int]
    counts: Sequence[int]

    @property
    def all(self) -> int:
        """What all of them are worth."""
        return sum(n * v for n, v in zip(self.counts, self.values, strict=True))


def held_to_counts(
    grid: Grid,
    pieces: Sequence[int],
    wanted: Wanted,
    rounds: int,
    go_on: Callable[[int], bool],
    start: Sequence[int] = (),
    met: Callable[[int, Shape], None] | None = None,
) -> tuple[int, list[int]]:
    """The least bound found by prices on the counts, and those prices.

    `pieces` are there of each room of the grid; a bound only where its places are exact or measured so
    that they tell too much. `start` are prices to begin from. `met` is told the layouts met, with their
    rooms.
    """
    values, counts = wanted.values, wanted.counts
    multipliers = [float(m) for m in start] or [0.0] * len(counts)
    best, at_best = wanted.all, [0] * len(counts)
    least: int | None = None
    for turn in range(rounds):
        whole = [int(m) for m in multipliers]
        before = grid.work
        tops = grid.price([max(v - m, 0) for v, m in zip(values, whole, strict=True)])
        top = sum(n * t for n, t in zip(pieces, tops, strict=True))
        bound = top + sum(m * n for m, n in zip(whole, counts, strict=True))
        if least is None or bound < least:
            least, at_best = bound, whole
        used = [0] * len(counts)
        for place, n in enumerate(pieces):
            shape = next(iter(grid.shapes(place, 1, 0)), None)
            if shape is None:
                continue
            if met is not None:
                met(place, shape)
            for v in variants_in(shape):
                used[v.kind] += n
        over = [u - n if n else 0 for u, n in zip(used, counts, strict=True)]
        step = [o if o > 0 or m > 0 else 0 for o, m in zip(over, multipliers, strict=True)]
        size = sum(o * o for o in step)
        if not go_on((grid.work - before) // 100 + 20 * len(grid.xs)) or size == 0:
            break
        length = max(top, 1) * 0.1 / (1 + turn / 4) / size
        multipliers = [
            min(max(m + length * o, 0.0), float(v)) for m, o, v in zip(multipliers, step, values, strict=True)
        ]
    return best if least is None else min(best, least), at_best


def most_of(
    kinds: Sequence[Kind],
    rooms: Sequence[tuple[Length, Length]],
    pieces: Sequence[int],
    wanted: Wanted,
    levels: int,
    rounds: int,
    go_on: Callable[[int], bool],
) -> int:
    """A bound where cuts may lie at any number of places: sizes are measured in units if they are many.

    What fits a room fits its measure (:func:`.prices.grids`), so the table then tells too much.
    """
    room = sum(n * w * h for n, (w, h) in zip(pieces, rooms, strict=True))
    most, start = wanted.all, prices_by_area(wanted.values, [k.area for k in kinds], wanted.counts, room)
    turns = rounds
    for grid in grids(kinds, wanted.counts, rooms, wanted.values, levels):
        bound, start = held_to_counts(grid, pieces, wanted, turns, go_on, start)
        most = min(most, bound)
        turns = max(rounds // 4, 1)
        if not go_on(0):
            break
    return most
