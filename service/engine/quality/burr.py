"""What burr to expect, from gap and edge, and what is said of it.

Published pointers only: about 1.5 % of the thickness on thin cold-rolled steel at gaps of 5 and 9 %
with good tools (0.01 mm on 0.70 mm, a stamper's design tips), and below about 10 % of the thickness
attainable in manufacture (engineering handbooks). Between them the burr is taken to grow evenly with
the wear of the edge, and in proportion to a gap beyond the usual; both are shop defaults. Standards
for burr heights exist, but their tables were not to be had and are not quoted.

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from service.engine.findings import Finding
from service.engine.materials import Material
from service.engine.quantities import PER_MM, Length, show_mm

FRESH_SHARE: Final = 0.015
"""Burr over thickness with a fresh edge and a usual gap."""

WORN_SHARE: Final = 0.10
"""Burr over thickness that is called too much: the limit, and what a worn edge leaves."""

BURR_BASIS: Final = (
    "typical, shop default: 1.5 % of the thickness with a fresh edge to 10 % with a worn one, growing evenly"
)


@dataclass(frozen=True, slots=True)
class Burr:
    """Burr to expect against its limit [mm]."""

    expected_mm: float
    limit_mm: float
    finding: Finding


def expected_burr_mm(
    material: Material, thickness: Length, gap: Length, share_used: float, usual: float | None = None
) -> float:
    """Burr to expect [mm].

    Parameters
    ----------
    material
        With the gap that is usual for it, as a share of the thickness.
    thickness, gap
        [0.01 mm]; thickness above 0.
    share_used
        Share of the edge's life that is used, 0 or more.
    usual
        The gap from which the burr grows [0.01 mm, above 0], as where the machine's own table sets it; None:
        the upper end of what is usual for the material.

    >>> from service.engine.materials_table import material_named
    >>> round(expected_burr_mm(material_named("S235JR"), 300, 20, 0.5), 4)
    0.1725
    """
    if thickness <= 0 or gap < 0:
        raise ValueError("thickness: a length greater than zero is wanted; gap: one of 0 or more")
    if not 0 <= share_used < math.inf:
        raise ValueError(f"share used: {share_used} is not a number of 0 or more")
    if usual is None:
        usual = material.gap_share[1] * thickness
    wide = max(1.0, gap / usual) if usual > 0 else 1.0
    share = (FRESH_SHARE + (WORN_SHARE - FRESH_SHARE) * share_used) * wide
    return share * thickness / PER_MM


def burr_on(
    material: Material, thickness: Length, gap: Length, share_used: float, usual: float | None = None
) -> Burr:
    """The burr to expect and what is to be said of it: ``caution`` (``burr-likely``) above the limit.

    `usual` as in :func:`expected_burr_mm`.

    >>> from service.engine.materials_table import material_named
    >>> burr_on(material_named("S235JR"), 300, 20, 1.2).finding.code
    'burr-likely'
    """
    expected = expected_burr_mm(material, thickness, gap, share_used, usual)
    limit = WORN_SHARE * thickness / PER_MM
    told = f"on {show_mm(thickness)} mm {material.grade} a burr of about {expected:.2f} mm is typical"
    if expected > limit:
        words = f"{told}, above the {limit:.2f} mm it is judged by: measure it; turn the blade or set the gap"
        finding = Finding("caution", "burr-likely", words, BURR_BASIS)
    else:
        finding = Finding("note", "burr-typical", f"{told}; it is judged by {limit:.2f} mm", BURR_BASIS)
    return Burr(expected, limit, finding)


def burr_range(material: Material, thickness: Length, gap: Length, usual: float | None = None) -> Finding:
    """What burr is typical at that gap, from a fresh edge to a worn one.

    `usual` as in :func:`expected_burr_mm`.

    >>> from service.engine.materials_table import material_named
    >>> burr_range(material_named("S235JR"), 300, 20).message
    '3 mm S235JR at a gap of 0.2 mm: a burr of 0.04 mm (fresh edge) to 0.30 mm (worn edge) is typical; it is \
judged by 0.30 mm'
    """
    fresh, worn = (expected_burr_mm(material, thickness, gap, share, usual) for share in (0.0, 1.0))
    limit = WORN_SHARE * thickness / PER_MM
    words = (
        f"{show_mm(thickness)} mm {material.grade} at a gap of {show_mm(gap)} mm: a burr of {fresh:.2f} mm "
        f"(fresh edge) to {worn:.2f} mm (worn edge) is typical; it is judged by {limit:.2f} mm"
    )
    return Finding("caution" if fresh > limit else "note", "burr-typical", words, BURR_BASIS)
