"""What a layout in a corner of a piece may still gain from the rest of the piece: an upper bound, by table.

A layout that takes up a corner grows by what is cut beside it along x or along y, again and again, until
the piece is full; what is set beside it is worth no more than the table without counts (:mod:`.grid`)
tells for its size. The bound is that of Viswanathan & Bagchi (Operations Research 41, 1993) and Hifi
(Computers & Operations Research 24, 1997), here for every place of a corner at once.
"""

from __future__ import annotations

from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

Ints: TypeAlias = NDArray[np.int64]
Places: TypeAlias = NDArray[np.signedinteger[Any]]

OUTSIDE: Final = -(1 << 60)
"""The gain of a layout that does not fit the piece."""


def sums_of(places: Ints, whole: int) -> NDArray[np.intp]:
    """For two places, the first place at or beyond their sum; the number of places when past `whole`.

    >>> sums_of(np.array([0, 3, 5, 8]), 8).tolist()
    [[0, 1, 2, 3], [1, 3, 3, 4], [2, 3, 4, 4], [3, 4, 4, 4]]
    """
    total = places[:, None] + places[None, :]
    at = np.searchsorted(places, total.ravel(), side="left").reshape(total.shape)
    at[total > whole] = len(places)
    return at


def beyond(worth: Ints, sum_x: Places, sum_y: Places) -> Ints:
    """The most that may be gained beyond a corner up to each place; a further row and column are outside.

    `worth` is the table of what each size holds at most; `sum_x` and `sum_y` are of :func:`sums_of`.
    """
    nx, ny = worth.shape
    gain = np.full((nx + 1, ny + 1), OUTSIDE, dtype=np.int64)
    gain[:nx, :ny] = 0
    useful_x = 1 + np.flatnonzero((worth[1:] > worth[:-1]).any(axis=1))
    useful_y = 1 + np.flatnonzero((worth[:, 1:] > worth[:, :-1]).any(axis=0))
    while True:
        before = gain.copy()
        _grown(gain[:, :ny], worth, sum_x, useful_x)
        _grown(gain.T[:, :nx], np.ascontiguousarray(worth.T), sum_y, useful_y)
        if np.array_equal(gain, before):
            return gain


def _grown(gain: Ints, worth: Ints, sums: Places, useful: NDArray[np.intp]) -> None:
    """Let every corner grow along the first index, in place."""
    outside = len(worth)
    for at in range(outside - 2, -1, -1):
        row = np.maximum(gain[at], gain[at + 1])
        to = sums[at][useful]
        within = to < outside
        if within.any():
            np.maximum(row, (gain[to[within]] + worth[useful[within]]).max(axis=0), out=row)
        gain[at] = row
