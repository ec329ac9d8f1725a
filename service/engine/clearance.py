"""The gap between the blades: by textbooks, by the shop's share of thickness, by the machine's range.

Too small a gap costs force and blades, too large a gap bends the edge and leaves burr. The gap that
is set comes from the material's own share of thickness (a shop default that each material carries);
the textbook formulae stand beside it for comparison. It depends on material and thickness only, not
on the gauge, so a series at several gauges keeps one gap.

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

import math
from typing import Final, Literal, TypeAlias

from service.engine.findings import Finding
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.quantities import PER_MM, Length, show_mm

GrooverGroup: TypeAlias = Literal["soft aluminium", "soft", "half hard"]

GROOVER_ALLOWANCE: Final[dict[GrooverGroup, float]] = {
    # Groover, Fundamentals of Modern Manufacturing, table of clearance allowances for three groups.
    "soft aluminium": 0.045,  # 1100S and 5052S, all tempers
    "soft": 0.060,  # 2024ST and 6061ST; brass; soft cold-rolled steel; soft stainless
    "half hard": 0.075,  # cold-rolled steel half hard; stainless half and full hard
}

SQRT_KGF: Final = 1 / math.sqrt(9.80665)
"""Turns √(N/mm²) into √(kgf/mm²), 0.319; handbooks print 0.316 or 0.32."""

FOLDING_SHARE: Final = 0.5
"""A gap above this share of the thickness draws the sheet in between the blades: a shop default."""

CRAMPED_SHARE: Final = 0.25
"""A gap below this share of the material's usual least gap overloads the edges: a shop default."""

_SHARE_BASIS: Final = "share of thickness by material (shop default), set to the machine's steps"


def groover(thickness_mm: float, group: GrooverGroup) -> float:
    """Gap by Groover, c = Ac·t [mm].

    Parameters
    ----------
    thickness_mm
        [mm]
    group
        Of :data:`GROOVER_ALLOWANCE`.

    Notes
    -----
    Groover, Fundamentals of Modern Manufacturing, sheet-metal cutting; per side, for presses and
    shears alike.

    >>> round(groover(4.75, "soft"), 3)
    0.285
    """
    return GROOVER_ALLOWANCE[group] * thickness_mm


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


def gap_for(machine: Machine, material: Material, thickness: Length) -> tuple[Length, tuple[Finding, ...]]:
    """The gap to set: the middle of the material's usual range, as near as the machine can set it.

    Parameters
    ----------
    thickness
        [0.01 mm], above 0.

    Returns
    -------
    The gap, and findings: a ``note`` with the basis; a ``caution`` (``gap-unusual``) when it lies
    outside the usual range; a ``stop`` (``gap-too-wide``, ``gap-too-narrow``) when the sheet would
    be drawn in between the blades, or the edges be overloaded.
    """
    if thickness <= 0:
        raise ValueError("thickness: a length greater than zero is wanted")
    low, high = usual_gap(material, thickness)
    gap = _settable(machine, (low + high) / 2)
    what = f"{show_mm(thickness)} mm {material.grade}"
    usual = f"{low / PER_MM:.2f} to {high / PER_MM:.2f} mm"
    if gap > FOLDING_SHARE * thickness and gap > high:
        return gap, (
            Finding(
                "stop",
                "gap-too-wide",
                f"the smallest gap of this machine, {show_mm(gap)} mm, is more than half of {what}: "
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
    note = Finding(
        "note", "gap", f"gap {show_mm(gap)} mm for {what} ({gap / thickness:.1%} of t)", _SHARE_BASIS
    )
    # Half a step of rounding is no reason to warn.
    play = machine.gap.step / 2
    if low - play <= gap <= high + play:
        return gap, (note,)
    side = "above" if gap > high else "below"
    effect = "more burr and a bent edge" if gap > high else "more force and wear"
    return gap, (
        note,
        Finding(
            "caution",
            "gap-unusual",
            f"this machine's gap of {show_mm(gap)} mm is {side} the usual {usual} for {what}: {effect}",
            _SHARE_BASIS,
        ),
    )


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
    low_share = material.gap_share[0]
    highest = _settable(machine, math.inf)
    if low_share <= 0:
        return 1 << 40
    limit = math.ceil(highest / (CRAMPED_SHARE * low_share)) + 1
    while highest < CRAMPED_SHARE * (low_share * limit):  # the very comparison of gap_for
        limit -= 1
    return limit
