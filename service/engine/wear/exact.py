"""Weights that lie over each other along the blade, added up place by place without rounding on the way.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import TypeAlias

from service.engine.quantities import Length

Span: TypeAlias = tuple[Length, Length, float]
"""A stretch of the blade, from and to, and what weighs on the whole of it."""


def layered(spans: Sequence[Span], also: Iterable[Length] = ()) -> list[Span]:
    """The blade between all ends of the spans (and `also` these), each stretch with the sum of its weights.

    Each sum is the exact one, rounded once, as if the weights that lie there had been added up by
    themselves: they are whole numbers while they are added, so what comes and goes leaves nothing behind.

    >>> layered([(0, 100, 0.1), (0, 300, 0.2)], also=[400])
    [(0, 100, 0.30000000000000004), (100, 300, 0.2), (300, 400, 0.0)]
    """
    ratios = [weight.as_integer_ratio() for _, _, weight in spans]
    # The denominators are powers of two, so the greatest is a multiple of all.
    scale = max((below for _, below in ratios), default=1)
    comes: dict[Length, int] = dict.fromkeys(also, 0)
    for (start, end, _), (above, below) in zip(spans, ratios, strict=True):
        whole = above * (scale // below)
        comes[start] = comes.get(start, 0) + whole
        comes[end] = comes.get(end, 0) - whole
    found, here = [], 0
    for start, end in pairwise(sorted(comes)):
        here += comes[start]
        # To divide whole numbers rounds once, to the nearest.
        found.append((start, end, here / scale))
    return found
