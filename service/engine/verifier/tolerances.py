"""Whether a part may be as far off as its cuts can leave it.

The general tolerances are typed here a second time, apart from the engine's own table: ISO
2768-1:1989, table 1, permissible deviations for linear dimensions. The ranges read "over … up to and
including"; where a class gives none, the nearest range that it does give is taken.
"""

from __future__ import annotations

from typing import Final

from service.engine.verifier.facts import Wanted

# up to and including, mm:      3     6     30    120   400   1000  2000  4000
_ENDS: Final = tuple(100 * mm for mm in (3, 6, 30, 120, 400, 1000, 2000, 4000))
_FINE: Final = (0.05, 0.05, 0.1, 0.15, 0.2, 0.3, 0.5)
_MEDIUM: Final = (0.1, 0.1, 0.2, 0.3, 0.5, 0.8, 1.2, 2)
_COARSE: Final = (0.2, 0.3, 0.5, 0.8, 1.2, 2, 3, 4)
_VERY_COARSE: Final = (0.5, 0.5, 1, 1.5, 2.5, 4, 6, 8)
"""The first range is blank in the standard; the nearest stands in for it."""

_ROWS: Final = {"f": _FINE, "m": _MEDIUM, "c": _COARSE, "v": _VERY_COARSE}


def limits(part: Wanted, size: int) -> tuple[int, int]:
    """How far a size of this part may be under and over; one limit alone holds both ways."""
    given = [limit for limit in part.limits if limit is not None]
    if given:
        minus, plus = (given[0] if limit is None else limit for limit in part.limits)
        return minus, plus
    row = _ROWS[part.tolerance_class]
    place = sum(size > end for end in _ENDS)
    deviation = round(100 * row[min(place, len(row) - 1)])
    return deviation, deviation


def aim(part: Wanted, size: int) -> int:
    """The size that is cut for.

    With limits that differ, one that is finer than class f gets as wide as that, if half of the band is
    so wide, and else half of the band.
    """
    minus, plus = limits(part, size)
    if minus == plus:
        return size
    fine = round(100 * _FINE[min(sum(size > end for end in _ENDS), len(_FINE) - 1)])
    low, high = size - minus, size + plus
    margin = min((high - low) // 2, fine)
    return min(max(size, low + margin), high - margin)


def aimed(part: Wanted) -> tuple[int, int]:
    """Length and width that a part is cut for."""
    return aim(part, part.length), aim(part, part.width)


def allowed_at(part: Wanted, cut_for: int) -> int:
    """As :func:`allowed`, of the side of the part that is cut for that size."""
    sides = [
        side
        for side, aimed_at in zip((part.length, part.width), aimed(part), strict=True)
        if aimed_at == cut_for
    ]
    return min((allowed(part, side) for side in sides), default=allowed(part, cut_for))


def allowed(part: Wanted, size: int) -> int:
    """The ± that a size of this part may be off what it is cut for."""
    minus, plus = limits(part, size)
    target = aim(part, size)
    return min(target - (size - minus), size + plus - target)
