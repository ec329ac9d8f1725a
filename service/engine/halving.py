"""Where a function that rises from zero reaches a value, by halving."""

from __future__ import annotations

from collections.abc import Callable

_HALVINGS = 200


def reaches(rising: Callable[[float], float], value: float) -> float:
    """The least argument from 0 up, to the last binary digit, at which `rising` is at least `value`.

    Parameters
    ----------
    rising
        Never falls as its argument grows, is below `value` at 0 and at least `value` somewhere.
    value
        What is to be reached.

    >>> reaches(lambda x: x * x, 2.0)
    1.4142135623730951
    """
    low, high = 0.0, 1.0
    while rising(high) < value:
        low, high = high, 2 * high
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if not low < middle < high:
            break
        if rising(middle) < value:
            low = middle
        else:
            high = middle
    return high
