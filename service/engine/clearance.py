"""The gap between the blades: by the machine's own table, else by the material's share of thickness.

Too small a gap costs force and blades, too large a gap bends the edge and leaves burr. Where the
profile holds a table of gaps (:mod:`service.engine.gap_table`) that is what counts. Else the gap
comes from the material's share of thickness, a shop default inside the 4 to 10 % of textbooks, and
Oehler's formula stands beside it for comparison. It depends on material and thickness only, not on
the gauge, so a series at several gauges keeps one gap.

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from service.engine.findings import Finding
from service.engine.force_limits import last_thickness
from service.engine.gap_table import table_gap
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.quantities import PER_MM, Length, show_mm
from service.engine.shearing import SHEAR_SHARE

SQRT_KGF: Final = 1 / math.sqrt(9.80665)
"""Turns √(N/mm²) into √(kgf/mm²), 0.319; handbooks print 0.316 or 0.32."""

FOLDING_SHARE: Final = 0.5
"""A gap above this share of the thickness draws the sheet in between the blades: a shop default."""

CRAMPED_SHARE: Final = 0.25
"""A gap below this share of the material's usual least gap overloads the edges: a shop default."""

NEVER: Final[Length] = 1 << 40
"""A thickness beyond everything: the gap sets no limit."""


def oehler(thickness_mm: float, shear_strength: float, c: float = 0.01) -> float:
    """Gap by Oehler, u = c·t·√τ up to 3 mm, (1.5·c·t − 0.015)·√τ above, τ in kgf/mm² [mm].

    Parameters
    ----------
    thickness_mm
        [mm]
    shear_strength
        τ [N/mm²]. The formula's own τ is in kgf/mm²; it is converted here, since N/mm² put in bare
        would triple the gap.
    c
        0.005 for a clean edge to 0.035 for little force, often 0.01.

    Notes
    -----
    Oehler and Kaiser, press-tool handbook; VDI 3368 (from memory). The two branches meet at 3 mm
    only for c = 0.01; this function switches at 3 mm whatever c is.

    >>> round(oehler(3, 32 * 9.80665), 4)
    0.1697
    """
    if not 0.005 <= c <= 0.035:
        raise ValueError(f"c: {c} is outside Oehler's 0.005 to 0.035")
    root = math.sqrt(shear_strength) * SQRT_KGF
    if thickness_mm <= 3:
        return c * thickness_mm * root
    return max(0.0, 1.5 * c * thickness_mm - 0.015) * root


def usual_gap(material: Material, thickness: Length) -> tuple[float, float]:
    """The material's usual gap from low to high, shares of the thickness [0.01 mm, not rounded].

    >>> from service.engine.materials_table import material_named
    >>> usual_gap(material_named("S235JR"), 300)
    (15.0, 24.0)
    """
    low, high = material.gap_share
    return low * thickness, high * thickness


TABLE_SPREAD: Final = 2.0
"""A gap by the machine's table that lies this many times outside the usual range: a shop default."""


class WantedGap(NamedTuple):
    """The gap that is wanted, the range about it [0.01 mm, not rounded], and its basis.

    Of a material's share of thickness the range is the usual one; of a machine's own table it is the
    one figure. `beyond`: in words, where that table was left; empty: it was not.
    """

    low: float
    middle: float
    high: float
    basis: str
    beyond: str


def wanted_gap(machine: Machine, material: Material, thickness: Length) -> WantedGap:
    """The gap wanted for a material and thickness, by the machine's table or by the material.

    The table is read at the middle of the material's range of strength; a sheet with a certificate
    (:func:`service.engine.materials.certified`) has one figure.
    """
    rm = sum(material.strength_at(thickness)) / 2
    if machine.gap_table:
        gap, beyond = table_gap(machine.gap_table, rm, thickness)
        return WantedGap(gap, gap, gap, f"machine's own gap table, read at {rm:g} N/mm²", beyond)
    low, high = usual_gap(material, thickness)
    compared = oehler(thickness / PER_MM, SHEAR_SHARE * rm)
    basis = (
        "share of thickness by material (shop default; textbooks: 4 to 10 %), set to the machine's steps; "
        f"Oehler with c = 0.01: {compared:.2f} mm"
    )
    return WantedGap(low, (low + high) / 2, high, basis, "")


def gap_for(machine: Machine, material: Material, thickness: Length) -> tuple[Length, tuple[Finding, ...]]:
    """The gap to set: the one wanted, as near as the machine can set it.

    Parameters
    ----------
    thickness
        [0.01 mm], above 0.

    Returns
    -------
    The gap, and findings: a ``note`` with the basis; a ``caution`` where the machine's table was
    left (``gap-beyond-table``), where it is far from the material's usual share of thickness
    (``gap-table-unusual``), or the gap lies outside the wanted range (``gap-unusual``); a ``stop``
    (``gap-too-wide``, ``gap-too-narrow``) when the sheet would be drawn in between the blades, or
    the edges be overloaded. What is usual is the material's share, whatever a table says.
    """
    if thickness <= 0:
        raise ValueError("thickness: a length greater than zero is wanted")
    low, middle, high, basis, beyond = wanted_gap(machine, material, thickness)
    gap = _settable(machine, middle)
    what = f"{show_mm(thickness)} mm {material.grade}"
    usual_low, usual_high = usual_gap(material, thickness)
    usual = f"{usual_low / PER_MM:.2f} to {usual_high / PER_MM:.2f} mm"
    if gap > FOLDING_SHARE * thickness and gap > usual_high:
        return gap, (
            Finding(
                "stop",
                "gap-too-wide",
                f"{_named_gap(machine, gap)}, {show_mm(gap)} mm, is more than half of {what}: "
                f"the sheet would be drawn in between the blades (usual gap {usual})",
                "shop default: half the thickness",
            ),
        )
    if gap < CRAMPED_SHARE * low:
        return gap, (
            Finding(
                "stop",
                "gap-too-narrow",
                f"the largest gap of this machine, {show_mm(gap)} mm, is less than a quarter of what "
                f"{what} wants at least (usual gap {usual})",
                "shop default: a quarter of the usual least gap",
            ),
        )
    found = [Finding("note", "gap", f"gap {show_mm(gap)} mm for {what} ({gap / thickness:.1%} of t)", basis)]
    if beyond:
        found.append(
            Finding(
                "caution",
                "gap-beyond-table",
                f"the machine's gap table does not reach {what}: {beyond}; the nearest row's share of "
                "thickness was kept: look at the first edge",
                basis,
            )
        )
    if machine.gap_table and not usual_low / TABLE_SPREAD <= middle <= usual_high * TABLE_SPREAD:
        found.append(
            Finding(
                "caution",
                "gap-table-unusual",
                f"the machine's own gap table says {middle / PER_MM:.2f} mm for {what}; usual are {usual}: "
                "look at the table, and at the first edge",
                f"{basis}; usual: share of thickness by material (shop default)",
            )
        )
    # Half a step of rounding is no reason to warn.
    play = machine.gap.step / 2
    if not low - play <= gap <= high + play:
        side = "above" if gap > high else "below"
        wanted = f"{middle / PER_MM:.2f} mm of its table" if machine.gap_table else f"usual {usual}"
        effect = "more burr and a bent edge" if gap > high else "more force and wear"
        found.append(
            Finding(
                "caution",
                "gap-unusual",
                f"this machine's gap of {show_mm(gap)} mm is {side} the {wanted} for {what}: {effect}",
                basis,
            )
        )
    return gap, tuple(found)


def _named_gap(machine: Machine, gap: Length) -> str:
    return "the smallest gap of this machine" if gap <= machine.gap.low else "the gap of this machine's table"


def _settable(machine: Machine, wanted: float) -> Length:
    span = machine.gap
    if wanted <= span.low or span.high <= span.low:
        return span.low
    step = max(1, span.step)
    steps = round((min(wanted, span.high) - span.low) / step)
    gap = span.low + steps * step
    return gap if gap <= span.high else gap - step


def thickest_by_gap(machine: Machine, material: Material) -> Length:
    """The largest thickness whose gap this machine can set without a stop [0.01 mm].

    >>> from service.engine.materials_table import material_named
    >>> from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
    >>> machine = Machine("m", "m", 300000, Rating(600), Rake(1.5, 1.5), GapRange(5, 60),
    ...                   BackGauge(500, 100000), HoldDown(4500))
    >>> thickest_by_gap(machine, material_named("S235JR"))
    4800
    """
    highest = _settable(machine, math.inf)

    def holds(thickness: Length) -> bool:  # the very comparison of gap_for
        return highest >= CRAMPED_SHARE * wanted_gap(machine, material, thickness).low

    return NEVER if holds(NEVER) else last_thickness(material, holds, NEVER)
