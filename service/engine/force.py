"""Whether a machine can push the blade through: shearing force by several methods, and the rating.

The formulae, and why they all are of one family, are in :mod:`service.engine.shearing`. This module
lets the greatest of them rule, and names it.

The rating plate is a second, separate limit. A machine rated for t₀ of plain steel of Rm₀ is rated
for t·√(Rm/Rm₀) ≤ t₀ of another material. Strength always counts with the *upper end* of its range:
6 mm of ``plain steel`` (450 N/mm²) is inside a 6 mm rating without margin, 6 mm of S235JR (up to
510) counts as 6.39 mm and is not, unless a certificate for that very sheet says 450 or less (see
:func:`service.engine.materials.certified`).

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, NamedTuple

from service.engine.findings import Finding
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.quantities import PER_MM, Length, show_mm
from service.engine.shearing import (
    SHEAR_SHARE,
    mill_shear,
    parallel,
    penetration,
    raked_triangle,
    relative_penetration,
    ruling,
    slope_of,
    wedge,
    work_per_mm,
)

__all__ = [
    "ForceCheck",
    "MethodForce",
    "check_force",
    "choose_rake",
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

TIGHT_SHARE: Final = 0.9
"""Share of a limit above which a caution is given: a shop default."""

_SLACK: Final = 1 + 1e-9
"""Rounding of floats must not push a cut that lies on the limit over it."""

_TRADE: Final = "trade handbooks: F = 0.5·Rm·t²/tan φ, shear strength taken as Rm"
_ASM: Final = "ASM Handbook vol. 14B (from memory): F = S·P·t²·(12/R)·(1 − P/2), S = 0.8·Rm"
_MILL: Final = "rolling-mill handbooks: F = K·ε·(2 − ε)·Rm·t²/(2·tan φ), K = 1.3·0.75·1.3, ε = 1.4·A"
_PARALLEL: Final = "textbooks: F = Rm·L·t, shear strength taken as Rm to cover blunt edges and friction"
_RATING: Final = "rating plate: t·√(Rm/Rm rated), Rm at the upper end of the material's range"
_SHOP: Final = "shop default"


class MethodForce(NamedTuple):
    """The force by one method [kN], and the method's source."""

    name: str
    force_kn: float
    source: str


@dataclass(frozen=True, slots=True)
class ForceCheck:
    """What a cut asks of the machine, and what the machine gives.

    Attributes
    ----------
    force_kn
        The force that rules: the greatest of the methods for an inclined blade [kN].
    method
        The method it comes from.
    by_method
        The force by every method, the parallel blade (the cap) last.
    rake_deg
        The rake it was worked out for [degrees].
    engaged_mm
        Length of blade in the material at one time, t/tan φ, at most the cut length [mm].
    equivalent_thickness_mm
        Thickness of the rating's steel that counts as much [mm].
    rating_share
        Equivalent thickness over rated thickness; above 1 the cut is over the rating.
    limit_kn
        The force limit [kN].
    limit_basis
        Whether the limit is the machine profile's or follows from its rating.
    work_j
        Work of the whole cut [J]; it does not depend on the rake.
    findings
        ``stop`` for what is over a limit, ``caution`` for what is close to one.
    """

    force_kn: float
    method: str
    by_method: tuple[MethodForce, ...]
    rake_deg: float
    engaged_mm: float
    equivalent_thickness_mm: float
    rating_share: float
    limit_kn: float
    limit_basis: str
    work_j: float
    findings: tuple[Finding, ...]


def rakes(machine: Machine) -> tuple[float, ...]:
    """Every rake that the machine can be set to [degrees], from low to high."""
    rake = machine.rake
    if rake.fixed or rake.step_deg <= 0:
        return (rake.low_deg,) if rake.fixed else (rake.low_deg, rake.high_deg)
    steps = math.floor((rake.high_deg - rake.low_deg) / rake.step_deg + 1e-9)
    values = [round(rake.low_deg + i * rake.step_deg, 6) for i in range(steps + 1)]
    if values[-1] < rake.high_deg - 1e-9:
        values.append(rake.high_deg)
    return tuple(values)


def _rating_force(machine: Machine) -> float:
    """What the rated plate takes at the highest rake [N], by the triangle, on the full length."""
    slope = slope_of(machine.rake.high_deg)
    t = machine.rating.thickness / PER_MM
    return wedge(machine.rating.rm, t, machine.cutting_length / PER_MM, slope, 1.0)


def _limit(machine: Machine) -> tuple[float, str]:
    if machine.force_limit_kn is not None:
        return machine.force_limit_kn * 1000, "machine profile"
    return _rating_force(machine), "follows from the rating plate at the highest rake (raked triangle)"


def _counts(machine: Machine, triangle: float, mill: float) -> float:
    # A limit that was itself worked out by the triangle can only be compared with the triangle.
    return triangle if machine.force_limit_kn is None else max(triangle, mill)


def _force_fits(machine: Machine, material: Material, t: float, length: float, rake_deg: float) -> bool:
    triangle, mill, _ = ruling(material, t, length, slope_of(rake_deg))
    return _counts(machine, triangle, mill) <= _limit(machine)[0] * _SLACK


def _rating_fits(machine: Machine, material: Material, thickness: Length) -> bool:
    return thickness * math.sqrt(material.rm_high / machine.rating.rm) <= machine.rating.thickness * _SLACK


def permitted(machine: Machine, material: Material, thickness: Length, cut_length: Length) -> bool:
    """Whether neither force nor rating stops a cut of that length at the best rake.

    It says nothing of the other limits of a cut (see :mod:`service.engine.checks`).
    """
    return (
        material.shearable
        and _rating_fits(machine, material, thickness)
        and _force_fits(machine, material, thickness / PER_MM, cut_length / PER_MM, machine.rake.high_deg)
    )


def choose_rake(machine: Machine, material: Material, thickness: Length, cut_length: Length) -> float:
    """The smallest rake within the force limit [degrees]; the highest when none is.

    A small rake bends and twists the drop least, a large one asks for less force.
    """
    if machine.rake.fixed:
        return machine.rake.low_deg
    choices = rakes(machine)
    t, length = thickness / PER_MM, cut_length / PER_MM
    low, high = 0, len(choices) - 1
    while low < high:
        middle = (low + high) // 2
        if _force_fits(machine, material, t, length, choices[middle]):
            high = middle
        else:
            low = middle + 1
    return choices[low]


def check_force(
    machine: Machine,
    material: Material,
    thickness: Length,
    cut_length: Length,
    rake_deg: float | None = None,
) -> ForceCheck:
    """Force, work and rating of one cut.

    Parameters
    ----------
    machine, material
        Force takes the upper end of the material's strength.
    thickness, cut_length
        [0.01 mm], above 0.
    rake_deg
        [degrees]; None: the smallest that this machine can set within its force limit.

    Returns
    -------
    ForceCheck
        Over a limit is a finding of level ``stop`` (``force-over-limit``, ``thickness-over-rating``,
        ``not-shearable``), not an exception.

    Raises
    ------
    ValueError
        When thickness or cut length is not above 0, or the rake is none.
    """
    if thickness <= 0 or cut_length <= 0:
        raise ValueError("thickness and cut length: lengths greater than zero are wanted")
    rake = choose_rake(machine, material, thickness, cut_length) if rake_deg is None else rake_deg
    slope = slope_of(rake)
    t, length = thickness / PER_MM, cut_length / PER_MM
    rm = material.rm_high
    deep = relative_penetration(material)
    triangle, mill, cap = ruling(material, t, length, slope)
    parted = min(wedge(SHEAR_SHARE * rm, t, length, slope, deep), cap)
    by_method = (
        MethodForce("raked triangle", _settled(triangle / 1000), _TRADE),
        MethodForce("penetration", _settled(parted / 1000), _ASM),
        MethodForce("mill shear", _settled(mill / 1000), _MILL),
        MethodForce("parallel", _settled(cap / 1000), _PARALLEL),
    )
    method, force = ("mill shear", mill) if mill > triangle else ("raked triangle", triangle)
    if slope == 0:
        method = "parallel"
    equivalent = t * math.sqrt(rm / machine.rating.rm)
    share = equivalent * PER_MM / machine.rating.thickness
    limit, limit_basis = _limit(machine)
    counted = _counts(machine, triangle, mill)
    engaged = min(length, t / slope) if slope else length
    return ForceCheck(
        force_kn=_settled(force / 1000),
        method=method,
        by_method=by_method,
        rake_deg=rake,
        engaged_mm=_settled(engaged),
        equivalent_thickness_mm=_settled(equivalent),
        rating_share=_settled(share),
        limit_kn=_settled(limit / 1000),
        limit_basis=limit_basis,
        work_j=_settled(work_per_mm(material, t) * length),
        findings=_findings(
            machine,
            material,
            thickness,
            rake=rake,
            share=share,
            force_kn=counted / 1000,
            limit_kn=limit / 1000,
        ),
    )


def _settled(value: float) -> float:
    # The last digits of a tangent differ between mathematical libraries; a plan must not.
    return round(value, 6)


def _findings(
    machine: Machine,
    material: Material,
    thickness: Length,
    *,
    rake: float,
    share: float,
    force_kn: float,
    limit_kn: float,
) -> tuple[Finding, ...]:
    found: list[Finding] = []
    rating = machine.rating
    plate = f"{show_mm(rating.thickness)} mm of {rating.rm:g} N/mm²"
    counts = f"{show_mm(thickness)} mm of {material.grade} with up to {material.rm_high:g} N/mm²"
    if not material.shearable:
        found.append(
            Finding(
                "stop",
                "not-shearable",
                f"{material.grade} is hardened or otherwise not for a shear",
                material.source,
            )
        )
    if share > _SLACK:
        within = material.rm_low * (thickness / rating.thickness) ** 2 <= rating.rm * _SLACK
        way_out = (
            f"; only a sheet whose certificate says {rating.rm * (rating.thickness / thickness) ** 2:.0f} "
            "N/mm² or less is inside"
            if within and material.rm_low < material.rm_high
            else ""
        )
        found.append(
            Finding(
                "stop",
                "thickness-over-rating",
                f"{counts} counts as {share * rating.thickness / PER_MM:.2f} mm; "
                f"the machine is rated for {plate}{way_out}",
                _RATING,
            )
        )
    elif share > TIGHT_SHARE:
        found.append(
            Finding(
                "caution",
                "rating-margin",
                f"{counts} uses {share:.0%} of the rated thickness ({plate}): little or no margin",
                _RATING,
            )
        )
    if force_kn > limit_kn * _SLACK:
        found.append(
            Finding(
                "stop",
                "force-over-limit",
                f"the cut takes {force_kn:.0f} kN at {rake:g}° rake; the limit is {limit_kn:.0f} kN",
                _limit(machine)[1],
            )
        )
    elif (
        machine.force_limit_kn is not None
        and force_kn > limit_kn * TIGHT_SHARE
        # Where a higher rake is to be had, the smallest that fits lies close to the limit on purpose.
        and rake >= machine.rake.high_deg
    ):
        found.append(
            Finding(
                "caution",
                "force-margin",
                f"the cut takes {force_kn:.0f} kN, {force_kn / limit_kn:.0%} of the limit",
                _limit(machine)[1],
            )
        )
    if share <= _SLACK and thickness > rating.thickness:
        found.append(
            Finding(
                "caution",
                "thicker-than-plate",
                f"{show_mm(thickness)} mm is thicker than the {show_mm(rating.thickness)} mm of the rating "
                "plate, though soft; whether it fits under the blade and feet, the maker's manual says",
                "machine profile",
            )
        )
    if material.family == "wear plate" and material.shearable:
        found.append(
            Finding(
                "caution",
                "hard-plate",
                f"{material.grade} is hard on blades and may throw chips: only where the makers of the plate "
                "and of the machine allow it to be sheared",
                _SHOP,
            )
        )
    if material.strength_basis == "minimum":
        found.append(
            Finding(
                "note",
                "strength-open-ended",
                f"the standard sets no upper strength for {material.grade}; "
                f"counted at {material.rm_high:g} N/mm²",
                material.source,
            )
        )
    return tuple(found)


def longest_cut(machine: Machine, material: Material, thickness: Length) -> Length:
    """The longest cut that force and rating permit, at most the cutting length; 0 when none is.

    The exact inverse of :func:`check_force`: one hundredth more is stopped by it, or is longer than
    the blade.
    """
    if thickness <= 0:
        raise ValueError("thickness: a length greater than zero is wanted")
    if permitted(machine, material, thickness, machine.cutting_length):
        return machine.cutting_length
    if not permitted(machine, material, thickness, 1):
        return 0
    low, high = 1, machine.cutting_length
    while high - low > 1:
        middle = (low + high) // 2
        if permitted(machine, material, thickness, middle):
            low = middle
        else:
            high = middle
    return low


def largest_thickness(machine: Machine, material: Material, cut_length: Length) -> Length:
    """The largest thickness that force and rating permit at a cut length; 0 when none is.

    The exact inverse of :func:`check_force`: one hundredth more is stopped by it.
    """
    if cut_length <= 0:
        raise ValueError("cut length: a length greater than zero is wanted")
    if cut_length > machine.cutting_length or not permitted(machine, material, 1, cut_length):
        return 0
    low = 1
    high = 2 + math.ceil(machine.rating.thickness * math.sqrt(machine.rating.rm / material.rm_high))
    while high - low > 1:
        middle = (low + high) // 2
        if permitted(machine, material, middle, cut_length):
            low = middle
        else:
            high = middle
    return low
