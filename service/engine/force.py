"""Whether a machine can push the blade through: shearing force by several methods, and the rating.

The formulae, and why they all are of one family, are in :mod:`service.engine.shearing`. This module
lets the greatest of them rule, names it, and says how far the methods differ. The
bending-and-holding formula does not rule, since its coefficients are from memory; where it alone is
over the limit that is a caution.

The rating plate is a second, separate limit. A machine rated for t₀ of plain steel of Rm₀ is rated
for t·√(Rm/Rm₀) ≤ t₀ of another material. Strength always counts with the *upper end* of its range:
6 mm of ``plain steel`` (450 N/mm²) is inside a 6 mm rating without margin, 6 mm of S235JR (up to
510) counts as 6.39 mm and is not, unless a certificate for that very sheet says 450 or less (see
:func:`service.engine.materials.certified`). Where the standard's range depends on thickness, the
upper end is that of the thickness.

A third limit is what fits under blade and feet, where the profile states it (``max_thickness``).

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, NamedTuple

from service.engine.findings import Finding
from service.engine.force_findings import NOSAL, force_findings
from service.engine.force_limits import (
    choose_rake,
    counting,
    fits_force,
    fits_maximum,
    fits_rating,
    force_limit,
    largest_thickness,
    longest_cut,
    permitted,
    rakes,
)
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.quantities import PER_MM, Length, show_mm
from service.engine.shearing import (
    MILL_CONDITION,
    MILL_RAKES,
    OF_A_MINIMUM,
    bending_and_holding,
    elongation_tells,
    forces,
    mill_shear,
    parallel,
    penetration,
    penetration_ratio,
    raked_triangle,
    relative_penetration,
    ruling,
    sharp_mill,
    slope_of,
    work_per_mm,
)
from service.engine.stroke import stroke_for, stroke_seconds

__all__ = [
    "ForceCheck",
    "MethodForce",
    "bending_and_holding",
    "check_force",
    "choose_rake",
    "fits_force",
    "fits_maximum",
    "fits_rating",
    "largest_thickness",
    "longest_cut",
    "mill_shear",
    "parallel",
    "penetration",
    "permitted",
    "raked_triangle",
    "rakes",
    "relative_penetration",
    "work_per_mm",
]

_TEXTBOOK: Final = (
    "German textbooks (from memory): F = 0.5·τ·t²/tan φ, τ = 0.8·Rm; trade handbooks take Rm for τ"
)
_ASM: Final = "ASM Handbook vol. 14B (from memory): F = τ·P·t²·(12/R)·(1 − P/2), P of A within a table"
_MILL: Final = (
    "rolling-mill handbooks: F = K1·K2·K3·ε·(2 − ε)·Rm·t²/(2·tan φ), ε = 1.2 to 1.6·A; 1.6 of a minimum "
    "elongation, 1.4 of a typical one"
)
_HARD_TEMPER: Final = (
    "means little here: by elongation such sheet would part far earlier than is printed for its family"
)
_PARALLEL: Final = "textbooks: F = τ·L·t, τ = 0.8·Rm; with a quarter for dulled edges the full Rm"


class MethodForce(NamedTuple):
    """The force by one method: with the allowance for dulled edges, and with sharp ones [kN].

    `rules` says whether the method may rule, `source` where it comes from, and `remark` what is to
    be known of it for this very cut (empty: nothing).
    """

    name: str
    force_kn: float
    source: str
    sharp_kn: float
    rules: bool
    remark: str


@dataclass(frozen=True, slots=True)
class ForceCheck:
    """What a cut asks of the machine, and what the machine gives.

    Attributes
    ----------
    force_kn
        The force that rules: the greatest of the methods for an inclined blade, with the allowance
        for dulled edges [kN].
    method, why
        The method it comes from, and in words why it rules.
    sharp_kn
        By the same method with sharp edges [kN].
    dulled_allowance
        What was allowed for dulled edges [fraction].
    by_method
        The force by every method, the parallel blade (the cap) last.
    spread
        Highest over lowest of the methods for this blade that tell something of this material [ratio].
    rake_deg
        The rake it was worked out for [degrees].
    engaged_mm
        Length of blade in the material at one time, t/tan φ, at most the cut length [mm].
    strength, strength_basis
        The tensile strength that was counted with [N/mm²], and what it is.
    equivalent_thickness_mm
        Thickness of the rating's steel that counts as much [mm].
    rating_share
        Equivalent thickness over rated thickness; above 1 the cut is over the rating.
    limit_kn, force_share
        The force limit [kN], and the force that counts against it as a share of it.
    limit_basis
        Whether the limit is the machine profile's or follows from its rating.
    work_j
        Work of the whole cut [J]; it does not depend on the rake.
    stroke_s, mean_power_kw
        Time of the stroke down and up [s], and the work over it [kW].
    findings
        ``stop`` for what is over a limit, ``caution`` for what is close to one.
    """

    force_kn: float
    method: str
    why: str
    sharp_kn: float
    dulled_allowance: float
    by_method: tuple[MethodForce, ...]
    spread: float
    rake_deg: float
    engaged_mm: float
    strength: float
    strength_basis: str
    equivalent_thickness_mm: float
    rating_share: float
    limit_kn: float
    force_share: float
    limit_basis: str
    work_j: float
    stroke_s: float
    mean_power_kw: float
    findings: tuple[Finding, ...]


def check_force(
    machine: Machine,
    material: Material,
    thickness: Length,
    cut_length: Length,
    rake_deg: float | None = None,
    dulled_allowance: float | None = None,
) -> ForceCheck:
    """Force, work and rating of one cut.

    Parameters
    ----------
    machine, material
        Force takes the upper end of the material's strength.
    thickness, cut_length
        [0.01 mm], above 0.
    rake_deg
        [degrees]; None: as :func:`service.engine.force_limits.choose_rake` has it.
    dulled_allowance
        Allowance for dulled edges [fraction]; None: the machine profile's; 0: sharp blades.

    Returns
    -------
    ForceCheck
        Over a limit is a finding of level ``stop`` (``force-over-limit``, ``thickness-over-rating``,
        ``thickness-over-maximum``, ``not-shearable``), not an exception.

    Raises
    ------
    ValueError
        When thickness or cut length is not above 0, the rake is none, or the allowance below 0.
    """
    if thickness <= 0 or cut_length <= 0:
        raise ValueError("thickness and cut length: lengths greater than zero are wanted")
    dulled = machine.dulled_allowance if dulled_allowance is None else dulled_allowance
    if not 0 <= dulled < math.inf:
        raise ValueError(f"allowance for dulled edges: a share from 0 up is wanted, not {dulled}")
    rake = choose_rake(machine, material, thickness, cut_length, dulled) if rake_deg is None else rake_deg
    slope = slope_of(rake)
    t, length = thickness / PER_MM, cut_length / PER_MM
    rm = material.strength_at(thickness)[1]
    by_method = _by_method(material, t, length, rake, dulled)
    # Of hard tempers those methods tell nothing that rest on the elongation.
    inclined = by_method[:-1] if elongation_tells(material) else by_method[:2]
    force, why = _ruling(by_method, inclined, slope, short=slope > 0 and length * slope < t)
    if force.name == "mill shear" and penetration_ratio(material) == OF_A_MINIMUM:
        why += (
            f"; its penetration is {OF_A_MINIMUM:g} times the elongation of {material.elongation:.0%}, the "
            "upper end of its handbook, since that is a minimum and force rises with it"
        )
    taken = [one.force_kn for one in (inclined if slope else (*inclined, by_method[-1]))]
    equivalent = t * math.sqrt(rm / machine.rating.rm)
    share = equivalent * PER_MM / machine.rating.thickness
    limit, limit_basis = force_limit(machine, dulled)
    triangle, mill = ruling(material, t, length, slope, dulled)
    counted = counting(machine, triangle, mill)
    engaged = min(length, t / slope) if slope else length
    work = work_per_mm(material, t, dulled) * length
    seconds = stroke_seconds(machine, stroke_for(machine, thickness, cut_length, rake))
    return ForceCheck(
        force_kn=force.force_kn,
        method=force.name,
        why=why,
        sharp_kn=force.sharp_kn,
        dulled_allowance=dulled,
        by_method=by_method,
        spread=_settled(max(taken) / min(taken)) if min(taken) else 1.0,
        rake_deg=rake,
        engaged_mm=_settled(engaged),
        strength=rm,
        strength_basis=_strength_basis(material, thickness),
        equivalent_thickness_mm=_settled(equivalent),
        rating_share=_settled(share),
        limit_kn=_settled(limit / 1000),
        force_share=_settled(counted / limit),
        limit_basis=limit_basis,
        work_j=_settled(work),
        stroke_s=_settled(seconds),
        mean_power_kw=_settled(work / seconds / 1000),
        findings=force_findings(
            machine,
            material,
            thickness,
            cut_length=cut_length,
            rake=rake,
            dulled=dulled,
            share=share,
            force_kn=counted / 1000,
            limit_kn=limit / 1000,
            limit_basis=limit_basis,
            mill_kn=by_method[2].force_kn,
            recalled_kn=by_method[3].force_kn,
        ),
    )


def _by_method(
    material: Material, t: float, length: float, rake: float, dulled: float
) -> tuple[MethodForce, ...]:
    slope = slope_of(rake)
    blunt = forces(material, t, length, slope, dulled)
    sharp = forces(material, t, length, slope, 0.0) if dulled else blunt
    low, high = MILL_RAKES
    about_mill = []
    if not low <= rake <= high:
        about_mill.append(f"the handbook gives its K3 for {low:g} to {high:g}° of rake")
    if 1 + dulled < MILL_CONDITION:
        about_mill.append(f"it counts edges as {MILL_CONDITION:g} times sharp ones at least")
    hard = [] if elongation_tells(material) else [_HARD_TEMPER]
    keen_mill = sharp_mill(material, t, length, slope)
    return tuple(
        MethodForce(name, _settled(force / 1000), source, _settled(keen / 1000), rules, remark)
        for name, force, keen, source, rules, remark in (
            ("raked triangle", blunt.triangle, sharp.triangle, _TEXTBOOK, True, ""),
            ("penetration", blunt.penetration, sharp.penetration, _ASM, True, ""),
            ("mill shear", blunt.mill, keen_mill, _MILL, True, "; ".join(hard + about_mill)),
            (
                "bending and holding",
                blunt.bending,
                sharp.bending,
                NOSAL,
                False,
                "; ".join([*hard, "coefficients from memory"]),
            ),
            ("parallel", blunt.parallel, sharp.parallel, _PARALLEL, True, ""),
        )
    )


def _ruling(
    by_method: tuple[MethodForce, ...], compared: tuple[MethodForce, ...], slope: float, *, short: bool
) -> tuple[MethodForce, str]:
    triangle, _, mill, _, cap = by_method
    if slope == 0:
        return cap, "parallel blades shear the whole length at once: shear strength times area"
    rules, other = (mill, triangle) if mill.force_kn > triangle.force_kn else (triangle, mill)
    inclined = sorted(compared, key=lambda one: one.force_kn)
    why = f"{rules.name} asks for most of the methods that rule ({other.name}: {other.force_kn:.1f} kN)"
    if rules.force_kn >= cap.force_kn:
        why += "; no inclined blade takes more than parallel ones, and that is where it is held"
    elif short:
        why += "; the cut is shorter than the length engaged in a long one"
    why += (
        f"; the methods for an inclined blade go from {inclined[0].force_kn:.1f} kN ({inclined[0].name}) "
        f"to {inclined[-1].force_kn:.1f} kN ({inclined[-1].name})"
    )
    return rules, why


def _strength_basis(material: Material, thickness: Length) -> str:
    low, high = material.strength_at(thickness)
    if low == high:
        counted = "one figure"
    else:
        counted = f"upper end of {low:g} to {high:g} N/mm²"
        if material.bands:
            counted += f" at {show_mm(thickness)} mm"
    return f"{counted}, {material.strength_basis}; {material.source}"


def _settled(value: float) -> float:
    # The last digits of a tangent differ between mathematical libraries; a plan must not.
    return round(value, 6)
