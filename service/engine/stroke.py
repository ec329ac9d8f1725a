"""How far the blade travels for a cut, and how long that takes.

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

import math
from typing import Final

from service.engine.machine import Machine
from service.engine.quantities import Length

OPENING: Final[Length] = 500
"""Room between blade and sheet before the stroke: a shop default, 5 mm."""

OVERLAP: Final[Length] = 300
"""How far the blade passes the lower one at the end of the cut: a shop default, 3 mm."""

STROKE_STEP: Final[Length] = 100
"""A stroke is rounded up to whole millimetres."""


def stroke_for(machine: Machine, thickness: Length, cut_length: Length, rake_deg: float) -> Length:
    """Travel of the blade for a cut length, at most the full stroke, in whole millimetres upwards.

    stroke = cut length · tan φ + thickness + opening + overlap

    >>> from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
    >>> machine = Machine("m", "m", 300000, Rating(600), Rake(1.5, 1.5), GapRange(5, 60),
    ...                   BackGauge(500, 100000), HoldDown(4500))
    >>> stroke_for(machine, 300, 100000, 1.5)  # 26.19 + 3 + 5 + 3 mm
    3800
    """
    return min(_travel(thickness, cut_length, rake_deg), full_stroke(machine))


def full_stroke(machine: Machine) -> Length:
    """The longest travel: the thickest sheet over the whole cutting length at the highest rake.

    The thickest is what fits under blade and feet where the profile states it, else what the rating
    plate names; soft sheet may be thicker than that.
    """
    thickest = max(machine.rating.thickness, machine.max_thickness or 0)
    return _travel(thickest, machine.cutting_length, machine.rake.high_deg)


def stroke_lacking(machine: Machine, thickness: Length, cut_length: Length, rake_deg: float) -> Length:
    """By how much the full stroke falls short of what a cut wants; 0 where it does not.

    >>> from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
    >>> machine = Machine("m", "m", 300000, Rating(600), Rake(1.5, 1.5), GapRange(5, 60),
    ...                   BackGauge(500, 100000), HoldDown(4500))
    >>> stroke_lacking(machine, 600, 300000, 1.5), stroke_lacking(machine, 900, 300000, 1.5)
    (0, 300)
    """
    return max(0, _travel(thickness, cut_length, rake_deg) - full_stroke(machine))


def stroke_share(machine: Machine, stroke: Length) -> float:
    """Travel of the blade as a share of the full travel [fraction]; above 1 at a higher rake.

    Full is the travel for the rated thickness over the whole cutting length at the lowest rake, at
    which the machine makes its ``strokes_per_minute``.

    >>> from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
    >>> machine = Machine("m", "m", 300000, Rating(600), Rake(1.5, 1.5), GapRange(5, 60),
    ...                   BackGauge(500, 100000), HoldDown(4500))
    >>> stroke_share(machine, 4650)  # half of the full 93 mm
    0.5
    """
    return stroke / stroke_for(
        machine, machine.rating.thickness, machine.cutting_length, machine.rake.low_deg
    )


def stroke_seconds(machine: Machine, stroke: Length) -> float:
    """Time of one stroke, down and up [s].

    60/strokes per minute · travel/full travel: the blade is taken to move as fast in a short stroke.

    >>> from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
    >>> machine = Machine("m", "m", 300000, Rating(600), Rake(1.5, 1.5), GapRange(5, 60),
    ...                   BackGauge(500, 100000), HoldDown(4500), strokes_per_minute=20)
    >>> round(stroke_seconds(machine, 4650), 3)  # half of the full 93 mm
    1.5
    """
    return 60 / machine.strokes_per_minute * stroke_share(machine, stroke)


def _travel(thickness: Length, cut_length: Length, rake_deg: float) -> Length:
    rise = cut_length * math.tan(math.radians(rake_deg))
    travel = math.ceil(round(rise, 6)) + thickness + OPENING + OVERLAP
    return -(-travel // STROKE_STEP) * STROKE_STEP
