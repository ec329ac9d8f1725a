"""How far a part may lie from its size: the general tolerances of ISO 2768-1, or the order's own.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from service.engine.order import Tolerance, ToleranceClass
from service.engine.quantities import Length

_UPPER_ENDS: Final = (300, 600, 3000, 12000, 40000, 100000, 200000, 400000)
"""Ranges are over the one before, up to and including this one; the first starts at 0.5 mm."""

ISO_2768_1: Final[dict[ToleranceClass, tuple[Length | None, ...]]] = {
    # ISO 2768-1:1989, table 1: permissible deviations for linear dimensions, ±.
    "f": (5, 5, 10, 15, 20, 30, 50, None),
    "m": (10, 10, 20, 30, 50, 80, 120, 200),
    "c": (20, 30, 50, 80, 120, 200, 300, 400),
    "v": (None, 50, 100, 150, 250, 400, 600, 800),
}


def class_deviation(tolerance_class: ToleranceClass, size: Length) -> Length:
    """Permissible deviation ± of a size, ISO 2768-1:1989 table 1.

    Where the class gives none (below 0.5 mm, beyond 4000 mm, or a blank of the table) the nearest
    stated range of the same class is taken: the standard leaves these to the drawing, and the
    nearest range is the finer one for long sizes.

    >>> class_deviation("m", 50000), class_deviation("c", 150000)
    (80, 300)
    """
    row = ISO_2768_1[tolerance_class]
    place = next((i for i, end in enumerate(_UPPER_ENDS) if size <= end), len(row) - 1)
    stated = [(abs(i - place), i, value) for i, value in enumerate(row) if value is not None]
    return min(stated)[2]


@lru_cache(maxsize=4096)
def limits_of(tolerance: Tolerance, size: Length) -> tuple[Length, Length]:
    """How far a size may be under and over, both as positive numbers.

    An order that gives one limit only is taken to mean it both ways.

    >>> limits_of(Tolerance("m", minus=10, plus=30), 50000), limits_of(Tolerance(plus=20), 50000)
    ((10, 30), (20, 20))
    >>> limits_of(Tolerance("m"), 50000)
    (80, 80)
    """
    given = [limit for limit in (tolerance.minus, tolerance.plus) if limit is not None]
    if not given:
        deviation = class_deviation(tolerance.tolerance_class, size)
        return deviation, deviation
    minus = given[0] if tolerance.minus is None else tolerance.minus
    plus = given[0] if tolerance.plus is None else tolerance.plus
    return minus, plus


def allowed_deviation(tolerance: Tolerance, size: Length) -> Length:
    """The smaller of what a size may be over and under: the ± a cut has to hold."""
    return min(limits_of(tolerance, size))
