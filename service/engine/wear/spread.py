"""Spreading the wear along the blade: how much longer an edge lasts when the squaring arm is moved.

Short pieces are cut against the squaring arm, so that the blade is dull there while the rest of it is
fresh. When half of the work is done with the arm, or the working position, moved along the blade, the
worst place sees less. Cuts that would then reach beyond the blade stay where they were.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, TypeAlias

from service.engine.findings import Finding
from service.engine.machine import Machine
from service.engine.quantities import Length, show_mm
from service.engine.wear.edge import Band, EdgeUse
from service.engine.wear.exact import layered

WORTH_IT: Final = 1.1
"""Gain in life from which the advice is given: a shop default."""

MOST_BANDS: Final = 64
"""Stretches of a blade that are moved one by one; with more, the advice is reckoned on this many."""

Run: TypeAlias = tuple[Length, Length, float]
"""A stretch of the blade, from and to, and the passes over the whole of it."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Half of the work moved by `shift` along the blade, and how many times as long a fresh edge lasts."""

    shift: Length
    gain: float


def runs_of(bands: Sequence[Band]) -> tuple[Run, ...]:
    """A profile of wear taken apart into stretches that were passed over as a whole.

    The longest stretches come first. Cuts that met end to end are taken for one, so what is said of
    moving them is on the careful side.

    >>> runs_of([Band(0, 100, 3.0), Band(100, 300, 1.0)])
    ((0, 300, 1.0), (0, 100, 2.0))
    """
    found: list[Run] = []
    waiting: list[tuple[Sequence[Band], float]] = [(bands, 0.0)]
    while waiting:
        some, taken = waiting.pop()
        if not some:
            continue
        least = min(band.passes for band in some)
        if least > taken:
            found.append((some[0].start, some[-1].end, least - taken))
        start = 0
        for place in [*(i for i, band in enumerate(some) if band.passes == least), len(some)]:
            waiting.append((some[start:place], least))
            start = place + 1
    return tuple(sorted(found, key=lambda run: (run[0] - run[1], run[0])))


def best_spread(machine: Machine, use: EdgeUse) -> Spread:
    """Where to move half of the work so that the worst place is worn least.

    Returns
    -------
    The smallest shift among equally good ones; a shift of 0 and a gain of 1 when nothing is won.

    >>> from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
    >>> machine = Machine("m", "m", 300000, Rating(600), Rake(1.5, 1.5), GapRange(5, 60),
    ...                   BackGauge(500, 100000), HoldDown(4500))
    >>> best_spread(machine, EdgeUse(1, 1, (Band(0, 100000, 8.0), Band(100000, 300000, 0.0))))
    Spread(shift=100000, gain=2.0)
    """
    blade = machine.cutting_length
    runs = runs_of(_coarse(blade, use.bands))
    peak = use.worst.passes
    best = Spread(0, 1.0)
    shifts = {blade - end for _, end, _ in runs} | {end - start for start, end, _ in runs}
    for shift in sorted(shift for shift in shifts if 0 < shift < blade):
        moved = [
            run
            for start, end, passes in runs
            for run in (
                ((start, end, passes / 2), (start + shift, end + shift, passes / 2))
                if end + shift <= blade
                else ((start, end, passes),)
            )
        ]
        gain = peak / _peak(moved)
        if gain > best.gain * (1 + 1e-9):
            best = Spread(shift, gain)
    return best


def _peak(runs: Sequence[Run]) -> float:
    return max(passes for _, _, passes in layered(runs))


def _coarse(blade: Length, bands: Sequence[Band]) -> Sequence[Band]:
    """A profile in few stretches, each as worn as its worst place: what is gained comes out no greater.

    >>> _coarse(100, [Band(0, 100, 8.0)])
    [Band(start=0, end=100, passes=8.0)]
    """
    if len(bands) <= MOST_BANDS:
        return bands
    ends = [blade * number // MOST_BANDS for number in range(MOST_BANDS + 1)]
    found, first = [], 0
    for start, end in pairwise(ends):
        while bands[first].end <= start:
            first += 1
        last = first
        while bands[last].end < end:
            last += 1
        found.append(Band(start, end, max(band.passes for band in bands[first : last + 1])))
    return found


def spread_finding(spread: Spread) -> Finding | None:
    """The advice in words; None when it is not worth the trouble."""
    if spread.gain < WORTH_IT:
        return None
    return Finding(
        "note",
        "spread-wear",
        f"with half of the work moved {show_mm(spread.shift)} mm along the blade (squaring arm or working "
        f"position; where the pieces still lie under the hold-downs) a fresh edge would last "
        f"{spread.gain:.2f} times as long",
        "the worst place of the cuts counted, half of them moved",
    )
