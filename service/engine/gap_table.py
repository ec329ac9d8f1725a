"""The machine's own table of blade gaps, read between its lines.

A row says which gap the maker or the shop sets for steel of a tensile strength and a thickness.
Between rows the gap is interpolated in thickness, then in strength. Outside the table the nearest
row's share of thickness, and the nearest strength, are kept, and that is said; of a strength it is said
only beyond :data:`NEAR` of the table's, since a table for one steel is meant for the usual ones.

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from typing import Final, NamedTuple

from service.engine.machine import GapRow
from service.engine.quantities import Length, show_mm

NEAR: Final = 0.25
"""A strength that lies this far outside the table's is still read by its nearest column: a shop default."""


class TableGap(NamedTuple):
    """A gap by the table [0.01 mm, not rounded]; `beyond`: in words, where the table was left."""

    gap: float
    beyond: str


def table_gap(rows: Sequence[GapRow], rm: float, thickness: Length) -> TableGap:
    """The gap for a tensile strength [N/mm²] and a thickness [0.01 mm].

    Parameters
    ----------
    rows
        At least one; no strength and thickness twice.
    rm
        [N/mm²]
    thickness
        [0.01 mm], above 0.

    >>> rows = [GapRow(400, 200, 12), GapRow(400, 400, 28), GapRow(600, 200, 16), GapRow(600, 400, 36)]
    >>> table_gap(rows, 500, 300)
    TableGap(gap=23.0, beyond='')
    >>> table_gap(rows, 400, 600).beyond
    'its rows for 400 N/mm² end at 4 mm'
    """
    if not rows:
        raise ValueError("a gap table has at least one row")
    strengths = sorted({row.rm for row in rows})
    at = bisect_left(strengths, rm)
    above = min(at, len(strengths) - 1)
    below = above if strengths[above] <= rm else max(0, above - 1)
    said: list[str] = []
    if rm < strengths[0] * (1 - NEAR):
        said.append(f"it begins at {strengths[0]:g} N/mm²")
    elif rm > strengths[-1] * (1 + NEAR):
        said.append(f"it ends at {strengths[-1]:g} N/mm²")
    low, left = column_gap(rows, strengths[below], thickness)
    said += left
    if above == below:
        return TableGap(low, "; ".join(said))
    high, left = column_gap(rows, strengths[above], thickness)
    said += left
    part = (rm - strengths[below]) / (strengths[above] - strengths[below])
    return TableGap(low + part * (high - low), "; ".join(said))


def column_gap(rows: Sequence[GapRow], rm: float, thickness: Length) -> tuple[float, list[str]]:
    """The gap by the rows of one strength [0.01 mm, not rounded], and in words where they were left."""
    column = sorted((row.thickness, row.gap) for row in rows if row.rm == rm)
    first, last = column[0], column[-1]
    if thickness <= first[0]:
        left = [f"its rows for {rm:g} N/mm² begin at {show_mm(first[0])} mm"] if thickness < first[0] else []
        return first[1] * thickness / first[0], left
    if thickness >= last[0]:
        left = [f"its rows for {rm:g} N/mm² end at {show_mm(last[0])} mm"] if thickness > last[0] else []
        return last[1] * thickness / last[0], left
    place = bisect_left(column, (thickness, -1))
    (t1, gap1), (t2, gap2) = column[place - 1], column[place]
    return gap1 + (gap2 - gap1) * (thickness - t1) / (t2 - t1), []
