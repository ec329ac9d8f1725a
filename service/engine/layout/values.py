"""What parts are worth as whole numbers that tables can add up, and back again without telling too little."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from typing import Final

from service.engine.layout.kinds import Kind
from service.engine.quantities import Length

_MOST: Final = 1 << 57
"""What the worth of a full piece comes to at most, for each kind and a few more: numbers have 63 bits."""
_BESIDE: Final = 8


def whole_values(kinds: Sequence[Kind], room: tuple[Length, Length]) -> tuple[list[int], Fraction]:
    """The value of a piece of each kind as a whole number, and what the values were multiplied by.

    `room` is no smaller than any piece of stock. Decimals are taken as they are written. Where so many
    places would make numbers that a full piece of stock, its parts taken as often as they fit, lifts out
    of range, fewer are kept and every value is rounded up: the worth of a layout is then told by a very
    little too high and never too low, so that a bound in these numbers holds.

    Returns
    -------
    The whole values, and the scale.
    """
    exact = [Fraction(str(kind.value or 0)) for kind in kinds]
    scale = Fraction(math.lcm(*(value.denominator for value in exact)))
    area = room[0] * room[1]
    full = max((value * (area // kind.area) for value, kind in zip(exact, kinds, strict=True)), default=0)
    most = Fraction(_MOST, len(kinds) + _BESIDE)
    if full * scale > most:
        scale = Fraction(1)
        while full * scale > most:
            scale /= 2
        while full * scale * 2 <= most:
            scale *= 2
    return [math.ceil(value * scale) for value in exact], scale


def not_below(amount: Fraction) -> float:
    """The nearest number that, written in decimals, is no less than `amount`.

    >>> not_below(Fraction("0.7") + Fraction("0.1")), not_below(Fraction(1, 3)) > Fraction(1, 3)
    (0.8, True)
    """
    found = float(amount)
    while Fraction(str(found)) < amount:
        found = math.nextafter(found, math.inf)
    return found


def sum_not_below(amounts: Sequence[float]) -> float:
    """The sum of decimals, as :func:`not_below`.

    >>> sum_not_below([0.7, 0.1]), 0.7 + 0.1
    (0.8, 0.7999999999999999)
    """
    return not_below(sum((Fraction(str(amount)) for amount in amounts), Fraction(0)))


def most_by_area(values: Sequence[int], areas: Sequence[int], counts: Sequence[int], room: int) -> int:
    """The most that so many parts can be worth within an area: parts taken in fractions, the best first.

    Proof: parts do not overlap, and a knapsack of fractions is filled best by falling worth for area.

    >>> most_by_area([30, 55], [16, 40], [2, 1], 45)
    77
    """
    ranked = sorted(
        (Fraction(-value, area), value, area, n)
        for value, area, n in zip(values, areas, counts, strict=True)
        if value and n
    )
    worth = 0
    for _, value, area, n in ranked:
        if room <= n * area:
            return worth + value * room // area
        worth += n * value
        room -= n * area
    return worth


def prices_by_area(
    values: Sequence[int], areas: Sequence[int], counts: Sequence[int], room: int
) -> list[int]:
    """Prices on the counts that leave every part worth as much for its area as the last that has room.

    >>> prices_by_area([30, 55], [16, 40], [2, 1], 45)
    [8, 0]
    """
    ranked = sorted(
        (Fraction(-value, area), area * n)
        for value, area, n in zip(values, areas, counts, strict=True)
        if value and n
    )
    for dense, takes in ranked:
        room -= takes
        if room < 0:
            return [
                max(math.floor(value + dense * area), 0) for value, area in zip(values, areas, strict=True)
            ]
    return list(values)
