"""What an offcut is worth to the shop: the part of its area that is likely to find a use.

No published measure was found; the formula is our own and a shop default. A leftover of length l and
width w (l ≥ w) counts

    V = l · w · (1 − m / 2w) · (1 − M / 2l)

where (M, m) are the sides from which the shop keeps a leftover, and nothing when it is smaller. One
that is just kept counts a quarter of its area, a very large one nearly all of it. Both factors grow
with the sides, so that a piece is always worth more whole than in parts: one large offcut beats three
slivers of the same area.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from service.engine.plan import Node, leaves
from service.engine.quantities import Length


def offcut_value(sides: tuple[Length, Length], offcut_min: tuple[Length, Length]) -> int:
    """Useful area of one leftover, rounded down [(0.01 mm)²].

    Parameters
    ----------
    sides
        Of the leftover, in any order.
    offcut_min
        The sides from which a leftover is kept, in any order.

    One of 1200 × 600 against three of 1200 × 200, kept from 300 × 200:

    >>> keep = (30000, 20000)
    >>> offcut_value((120000, 60000), keep), 3 * offcut_value((120000, 20000), keep)
    (5250000000, 3150000000)
    >>> offcut_value((120000, 19999), keep)
    0
    """
    length, width = max(sides), min(sides)
    keep_length, keep_width = max(offcut_min), min(offcut_min)
    if length < keep_length or width < keep_width or width == 0:
        return 0
    return (2 * width - keep_width) * (2 * length - keep_length) // 4


def tree_value(tree: Node, offcut_min: tuple[Length, Length]) -> int:
    """Useful area of all the offcuts of a layout [(0.01 mm)²]."""
    return sum(offcut_value((leaf.dx, leaf.dy), offcut_min) for leaf in leaves(tree) if leaf.kind == "offcut")
