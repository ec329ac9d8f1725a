"""How far a part may lie from its size: the general tolerances of ISO 2768-1, or the order's own.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from service.engine.order import Part, Tolerance, ToleranceClass
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

CLASSES: Final[tuple[ToleranceClass, ...]] = ("f", "m", "c", "v")
"""Fine, medium, coarse, very coarse."""


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

    A limit alone counts both ways: orders are refused with one, and plans made before that hold such.

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


def aim_of(tolerance: Tolerance, size: Length) -> Length:
    """The size that is cut for: the nominal one, or one further inside limits that differ.

    Where the finer of the two is finer than class f of ISO 2768-1 for that size, the aim moves away from
    it, just so far that it is so no longer, and at most to the middle of the band. How far is a shop default:
    drawings leave it to the shop.

    >>> aim_of(Tolerance(minus=50, plus=0), 50000), aim_of(Tolerance(minus=0, plus=500), 50000)
    (49975, 50030)
    >>> aim_of(Tolerance(minus=30, plus=30), 50000), aim_of(Tolerance(minus=60, plus=80), 50000)
    (50000, 50000)
    """
    minus, plus = limits_of(tolerance, size)
    wanted = min((minus + plus) // 2, class_deviation("f", size))
    if minus < wanted:
        return size + wanted - minus
    return size - max(wanted - plus, 0)


def aimed_limits(tolerance: Tolerance, size: Length) -> tuple[Length, Length]:
    """How far the size that is cut for may be missed, under and over, for the part to be within its limits.

    >>> aimed_limits(Tolerance(minus=50, plus=0), 50000), aimed_limits(Tolerance(minus=0, plus=500), 50000)
    ((25, 25), (30, 470))
    """
    minus, plus = limits_of(tolerance, size)
    moved = aim_of(tolerance, size) - size
    return minus + moved, plus - moved


def aimed_size(part: Part) -> tuple[Length, Length]:
    """Length and width that a part is cut for."""
    return aim_of(part.tolerance, part.length), aim_of(part.tolerance, part.width)


@lru_cache(maxsize=4096)
def allowed_deviation(tolerance: Tolerance, size: Length) -> Length:
    """The ± that a cut has to hold about the size that is cut for; `size` is nominal."""
    return min(aimed_limits(tolerance, size))
