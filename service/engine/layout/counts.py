"""How many parts of each kind layouts use, packed so that many layouts are joined and tested at once.

A use is a few words of 62 bits with a field for each kind and a guard bit on top of every field: joining
two is one sum, and whether any kind is used too often is one mask. Kinds without a field are not counted.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

Ints: TypeAlias = NDArray[np.int64]

_WORD: Final = 62
_MOST: Final = 1 << 20


class Counts:
    """The most that may be used of each counted kind, and how uses are packed."""

    def __init__(self, most: Mapping[int, int]) -> None:
        self._place: dict[int, tuple[int, int]] = {}
        self._bits: dict[int, int] = {}
        word, shift = 0, 0
        guards, offsets = [0], [0]
        for kind, wanted in most.items():
            n = min(wanted, _MOST)
            bits = max(n, 1).bit_length() + 1
            if shift + bits > _WORD:
                word, shift = word + 1, 0
                guards.append(0)
                offsets.append(0)
            self._place[kind] = word, shift
            self._bits[kind] = bits
            guards[word] |= 1 << (shift + bits - 1)
            # With this much added, one piece too many reaches the guard.
            offsets[word] |= ((1 << (bits - 1)) - 1 - n) << shift
            shift += bits
        self.words = word + 1
        self._guards = np.array(guards, dtype=np.int64)
        self._offsets = np.array(offsets, dtype=np.int64)

    def one(self, kind: int) -> Ints:
        """The use of a single part."""
        use = np.zeros(self.words, dtype=np.int64)
        if kind in self._place:
            word, shift = self._place[kind]
            use[word] = 1 << shift
        return use

    def count(self, use: Ints, kind: int) -> int:
        """How many of a counted kind a use holds."""
        word, shift = self._place[kind]
        return int(use[word]) >> shift & ((1 << self._bits[kind]) - 1)

    def over(self, uses: Ints) -> NDArray[np.bool_]:
        """Which of these sums of two permitted uses take too many of a kind; the words lie last."""
        beyond: NDArray[np.bool_] = (((uses + self._offsets) & self._guards) != 0).any(axis=-1)
        return beyond

    def over_in(self, word: int, uses: Ints) -> NDArray[np.bool_]:
        """The same for one word of them."""
        beyond: NDArray[np.bool_] = ((uses + self._offsets[word]) & self._guards[word]) != 0
        return beyond
