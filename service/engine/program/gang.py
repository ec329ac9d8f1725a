"""How pieces lie along the blade: under how many feet, and how many side by side.

Pieces side by side begin at the squaring arm and touch one another. Lengths are whole hundredths
of a millimetre.
"""

from __future__ import annotations

from service.engine.machine import HoldDown, Machine
from service.engine.quantities import Length


def feet_on(hold_down: HoldDown, start: Length, end: Length) -> int:
    """Feet whose whole width lies on a piece from `start` to `end` along the blade.

    >>> feet_on(HoldDown(4500, feet=(5000, 20000, 35000), foot_width=6000), 0, 30000)
    2
    """
    width = hold_down.foot_width
    return sum(2 * foot - width >= 2 * start and 2 * foot + width <= 2 * end for foot in hold_down.feet)


def gripped(hold_down: HoldDown, start: Length, end: Length) -> bool:
    """Whether a piece there is held: by a whole foot, or anywhere when the bar has no single feet."""
    return not hold_down.feet or feet_on(hold_down, start, end) > 0


def gang_for(machine: Machine, along: Length, pieces: int, longest: Length) -> int:
    """Pieces side by side in one stroke.

    As many as fit the blade (and `longest`, the longest cut there is force for), each gripped, and as
    the shop lets its people hold at once (``machine.side_by_side``); but no more than are needed to keep
    the number of strokes: 4 pieces of which 3 fit go two and two.

    >>> from service.engine.machine import BackGauge, GapRange, Rake, Rating
    >>> shear = Machine("a", "A", 300000, Rating(600), Rake(1.5, 1.5), GapRange(5, 100),
    ...                 BackGauge(500, 100000), HoldDown(4500))
    >>> gang_for(shear, 30000, 2, 300000), gang_for(shear, 100000, 4, 300000)
    (2, 2)
    """
    most = max(1, min(pieces, machine.side_by_side, min(longest, machine.cutting_length) // along))
    fit = 1
    while fit < most and gripped(machine.hold_down, fit * along, (fit + 1) * along):
        fit += 1
    if fit > 1 and not gripped(machine.hold_down, 0, along):
        # The first piece would have to be shifted under a foot, and the others with it.
        fit = 1
    strokes = -(-pieces // fit)
    return -(-pieces // strokes)
