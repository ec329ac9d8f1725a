"""Figures in words that do not contradict the sentence they stand in.

A load that is over a limit must not read as the limit itself, as rounding both to the nearest would
have it: limits are rounded down, and a load up where it would not read as the greater.
"""

from __future__ import annotations

import math
from typing import NamedTuple


class Told(NamedTuple):
    """A load and a limit in words, without their unit."""

    load: str
    limit: str


def told_over(load: float, limit: float, decimals: int = 0) -> Told:
    """A load above a limit, so that the load reads as the greater.

    >>> told_over(200.3, 200.0), told_over(26.68, 26.67, 1), told_over(333.4, 309.27)
    (Told(load='201', limit='200'), Told(load='26.7', limit='26.6'), Told(load='333', limit='309'))
    """
    scale = 10**decimals
    # What is below six more decimals is the rounding of floats: a whole limit stays what it is.
    below = math.floor(round(limit * scale, 6))
    near = round(load * scale)
    if near <= below:
        near = math.ceil(round(load * scale, 6))
    return Told(f"{near / scale:.{decimals}f}", f"{below / scale:.{decimals}f}")
