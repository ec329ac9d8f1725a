"""Functions that make parts look larger without any set of them outgrowing the sheet.

A function ``f`` is *superadditive* when ``f(a) + f(b) ≤ f(a + b)``. With two of them, f along x and g
along y, the sum of ``f(dx) · g(dy)`` over the parts of a guillotine layout of a piece ``l × w`` is at
most ``f(l) · g(w)``. Proof by induction over the cuts: a cut at p gives
``f(p)·g(w) + f(l − p)·g(w) ≤ f(l)·g(w)``, and a region never holds less for being larger.
So stock must be taken until the sum of its ``f(l) · g(w)`` reaches that of the parts; the plain areas
are the case f(x) = x. The families below are those of Fekete & Schepers (Mathematical Programming 91,
2001) and of Carlier, Clautiaux & Moukrim (Computers & Operations Research 34, 2007), in whole numbers.
Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TypeAlias

from service.engine.quantities import Length

Measure: TypeAlias = Callable[[Length], int]


def plain(size: Length) -> int:
    """The length itself."""
    return size


def without_small(whole: Length, smallest: Length) -> Measure:
    """Lengths below `smallest` count nothing, those that leave less than that count as the whole.

    Superadditive for ``smallest ≤ whole / 2``: two lengths that both count leave at least `smallest`.

    >>> f = without_small(10, 3)
    >>> [f(x) for x in (2, 3, 7, 8, 10)]
    [0, 3, 7, 10, 10]
    """

    def measure(size: Length) -> int:
        if size < smallest:
            return 0
        return whole if size > whole - smallest else size

    return measure


def in_parts(whole: Length, parts: int) -> Measure:
    """How many of ``parts + 1`` equal shares a length reaches, each worth one of ``parts`` shares.

    A length that reaches a share exactly keeps its own measure. The whole measures ``whole · parts``.

    >>> f = in_parts(10, 1)          # one share: what is longer than half counts as the whole
    >>> [f(x) for x in (4, 5, 6, 10)]
    [0, 5, 10, 10]
    """

    def measure(size: Length) -> int:
        shares = (parts + 1) * size
        # Scaled by whole · parts, so that x stays x and floor((k + 1) x / L) / k stays whole.
        return parts * size if shares % whole == 0 else whole * (shares // whole)

    return measure


def by_unit(whole: Length, unit: Length) -> Measure:
    """A length in units rounded down; above half of `whole`, the units that its complement leaves.

    >>> f = by_unit(10, 3)
    >>> [f(x) for x in (2, 3, 5, 7, 8, 10)]
    [0, 2, 3, 4, 6, 6]
    """
    units = whole // unit

    def measure(size: Length) -> int:
        if 2 * size == whole:
            return units
        if 2 * size > whole:
            return 2 * (units - (whole - size) // unit)
        return 2 * (size // unit)

    return measure


def measures(whole: Length, sizes: Iterable[Length], most: int) -> list[Measure]:
    """The plain measure and up to `most` others whose steps lie at the sizes that occur."""
    found: list[Measure] = [plain]
    if whole <= 0:
        return found
    half = sorted({s if 2 * s <= whole else whole - s for s in sizes if 0 < s < whole})
    half = [s for s in half if 0 < 2 * s <= whole]
    found.extend(in_parts(whole, k) for k in range(1, 1 + min(most // 4, 6)))
    picked = half if 2 * len(half) <= most else half[:: max(1, 2 * len(half) // most)]
    for size in picked:
        found.append(without_small(whole, size))
        found.append(by_unit(whole, size))
    just_over = whole // 2 + 1
    found.append(by_unit(whole, max(whole - just_over, 1)))
    return found
