"""Where cuts can lie: sums of sizes (Herz 1972), and the few of them that do.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.engine.quantities import Length

_MOST_BITS: Final = 1_000_000
"""Longest ruler on which all sums are marked; with finer sizes on longer stock they are too many anyway."""


def all_places(rows: Sequence[tuple[Length, int]], whole: Length, most: int) -> list[Length] | None:
    """Every sum within `whole` of sizes, each taken at most so often; None when there are more than `most`.

    >>> all_places([(3, 2), (5, 1)], 12, 99)
    [0, 3, 5, 6, 8, 11]
    """
    found = {0}
    for size, copies in rows:
        fresh = found
        for _ in range(min(copies, whole // size if size else 0)):
            fresh = {at + size for at in fresh if at + size <= whole} - found
            if not fresh:
                break
            found |= fresh
            if len(found) > most:
                return None
    return sorted(found)


def closed_places(sizes: Sequence[Length], whole: Length) -> NDArray[np.int64] | None:
    """Every sum within `whole` of sizes, each as often as one likes; None when they cannot be marked.

    >>> closed_places([3, 5], 12).tolist()
    [0, 3, 5, 6, 8, 9, 10, 11, 12]
    """
    step = math.gcd(*sizes)
    if step == 0:
        return np.zeros(1, dtype=np.int64)
    length = whole // step
    if length > _MOST_BITS:
        return None
    mask = (1 << (length + 1)) - 1
    reached = 1
    for size in sorted({s // step for s in sizes if s <= whole}):
        if reached >> size & 1:
            continue  # It is a sum of smaller ones already.
        shift = size
        while shift <= length:
            reached |= reached << shift & mask
            shift *= 2
    marks = np.frombuffer(reached.to_bytes(length // 8 + 1, "little"), dtype=np.uint8)
    return np.flatnonzero(np.unpackbits(marks, bitorder="little")).astype(np.int64) * step


def raster(sums: NDArray[np.int64], wholes: Sequence[Length]) -> NDArray[np.int64]:
    """The sums that are enough: for each whole the largest sum in what any sum leaves of it.

    Raster points (Scheithauer & Terno 1988). Proof that no layout is lost: let every item of a layout
    be allowed a width ``W − s`` with s a sum, the whole ``W − 0``. Of items that need a and b within
    ``W − s`` the second is allowed ``W − (s + a)``, the largest sum in it is r ≥ b, and then the first
    is allowed ``W − (s + r) ≥ a``, of which the largest sum is q; s + a and s + r are sums, since sums
    of sums are. q + r is a sum and lies within ``W − s``, so within its largest sum. So each item may
    be given a width out of these, from the whole inwards. `sums` must hold with any two their sum.

    >>> raster(np.array([0, 3, 5, 6, 8, 9, 10, 11, 12]), [12]).tolist()
    [0, 3, 6, 9, 12]
    """
    found = [sums[np.searchsorted(sums, whole - sums[sums <= whole], side="right") - 1] for whole in wholes]
    return np.unique(np.concatenate(found))


def some_places(
    rows: Sequence[tuple[Length, int]], wholes: Sequence[Length], most: int, *, thinned: bool
) -> tuple[list[Length], bool]:
    """Places for cuts, and whether none is missing: when there are too many, those nearest to the ends.

    `thinned`: no more than are enough (:func:`raster`). An item is then given more width than its
    parts fill, which a further cut takes off: so only where levels of cuts are not counted.

    The ends of the stock are places too. First come the places that single parts, then pairs, then
    threes reach from the near end or leave at the far end; with a place missing a layout loses a
    little of the piece, never its right.
    """
    whole = max(wholes)
    sizes = sorted({size for size, _ in rows if size <= whole})
    sums = closed_places(sizes, whole) if thinned else None
    enough = None if sums is None else raster(sums, wholes)
    if enough is not None and len(enough) <= most:
        return sorted({*enough.tolist(), *wholes}), True
    every = all_places(rows, whole, most)
    if every is not None:
        return sorted({*every, *wholes}), True
    known = None if enough is None else sorted({*enough.tolist(), *wholes})

    def moved(place: Length) -> Length:
        """The first place out of those that are enough that gives as much room."""
        return place if known is None else known[bisect_left(known, place)]

    chosen = {0, *map(moved, sizes), *wholes}
    layer = {0}
    for _ in range(6):
        layer = {at + size for at in layer for size in sizes if at + size <= whole}
        for at in sorted(layer, key=lambda p: (p * 2654435761 % 4294967291, p)):
            for place in (at, *(w - at for w in wholes if w - at > 0)):
                if len(chosen) < most:
                    chosen.add(moved(place))
        if len(chosen) >= most or len(layer) > 8 * most:
            break
    return sorted(chosen), False
