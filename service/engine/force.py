"""Whether a machine can push the blade through: shearing force by several methods, and the rating.

All published formulae for an inclined blade say the same thing with another constant. Advancing
the blade by dz shears dL = dz / tan φ, so a steady cut takes F = w / tan φ, where w is the
shearing work for one unit of length, w = κ·Rm·t². They differ in κ only, by more than twice between
the mildest and the strictest. This module works out each, names each, and lets the greatest rule.

=====================  ===========================================  ==============================
method                 κ                                            source
=====================  ===========================================  ==============================
raked triangle         0.5 (shear strength taken as Rm)             trade handbooks
penetration            0.8·P·(1 − P/2)                              ASM Handbook vol. 14B
mill shear             K·ε·(2 − ε)/2, K = 1.2675, ε = 1.4·A         rolling-mill handbooks
parallel               no rake: F = Rm·L·t                          the cap for all of them
=====================  ===========================================  ==============================

A cut shorter than the engaged length never reaches the full wedge. Under the blade the uncut
ligament falls linearly from t, so a cut of length L carries at most F = S·(t·L − L²·tan φ/2), which
joins the steady force at the engaged length and the parallel force as φ → 0.

The rating plate is a second, separate limit. A machine rated for t₀ of plain steel of Rm₀ is rated
for t·√(Rm/Rm₀) ≤ t₀ of another material. Strength always counts with the *upper end* of its range:
6 mm of ``plain steel`` (450 N/mm²) is inside a 6 mm rating without margin, 6 mm of S235JR (up to
510) counts as 6.39 mm and is not, unless a certificate for that very sheet says 450 or less (see
:func:`service.engine.materials.certified`).

Valid for: a straight cut, one layer, sharp blades with the usual gap, rakes up to about 6°, blade
moving straight down, the nominal thickness. Not included: bending of the drop, hold-down, friction,
sheets thicker than nominal. Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, NamedTuple

from service.engine.findings import Finding
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.quantities import PER_MM, Length, show_mm

SHEAR_SHARE: Final = 0.8
"""Shear strength over tensile strength, τ = 0.8·Rm: the usual rule of German textbooks."""

MILL_FACTOR: Final = 1.3 * 0.75 * 1.3
"""K1 (blade condition 1.3 to 1.5) · K2 (τ/σ 0.70 to 0.75) · K3 (gap, 1.1 to 1.3): as in the handbook's
worked example."""

MILL_PENETRATION: Final = 1.4
"""Relative penetration of a cold cut over elongation: the middle of the handbook's 1.2 to 1.6."""

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


def parallel(strength: float, thickness_mm: float, length_mm: float) -> float:
    """Force of two parallel blades, F = S·L·t [N].

    Parameters
    ----------
    strength
        Shear strength, or the tensile strength Rm where blunt edges and friction are to be covered
        [N/mm²].
    thickness_mm, length_mm
        [mm]

    Notes
    -----
    Groover, Fundamentals of Modern Manufacturing, chapter on sheet metalworking: F = S·t·L. Straight
    cut, sharp blades, usual gap; no hold-down or friction.

    >>> parallel(420, 8, 1000) / 1000
    3360.0
    """
    return strength * length_mm * thickness_mm


def raked_triangle(strength: float, thickness_mm: float, length_mm: float, rake_deg: float) -> float:
    """Force of an inclined blade, F = 0.5·S·t²/tan φ, less for a cut shorter than t/tan φ [N].

    Parameters
    ----------
    strength
        Tensile strength Rm (shear strength taken as Rm), or a shear strength [N/mm²].
    thickness_mm, length_mm
        [mm]
    rake_deg
        φ, the slope between the blades [degrees], 0 to about 6.

    Notes
    -----
    The full wedge is the trade handbooks' formula; German and French textbooks print it with τ.
    The short cut follows from the same wedge: ∫ S·(t − x·tan φ) dx over the cut.

    >>> round(raked_triangle(420, 8, 1000, 2.5) / 1000, 1)
    307.8
    >>> raked_triangle(420, 8, 1000, 0) == parallel(420, 8, 1000)
    True
    """
    return _wedge(strength, thickness_mm, length_mm, _slope(rake_deg), 1.0)


def penetration(
    strength: float, thickness_mm: float, length_mm: float, rake_deg: float, penetrated: float
) -> float:
    """Force of an inclined blade when the sheet parts before it is cut through [N].

    F = S·P·t²·(12/R)·(1 − P/2) with the rake R in inches per foot, tan φ = R/12.

    Parameters
    ----------
    strength
        Shear strength S [N/mm²].
    thickness_mm, length_mm
        [mm]
    rake_deg
        φ [degrees], 0 to about 6.
    penetrated
        P, the share of the thickness at which the sheet parts [fraction, above 0 to 1].

    Notes
    -----
    ASM Handbook volume 14B, shearing of plate and flat sheet (from memory). At P = 1 it is the full
    wedge. A cut shorter than P·t/tan φ follows from the same profile.

    >>> round(penetration(320, 6, 1000, 1.5, 0.4) / 1000, 2)
    140.78
    """
    return _wedge(strength, thickness_mm, length_mm, _slope(rake_deg), penetrated)


def mill_shear(
    strength: float, thickness_mm: float, rake_deg: float, penetrated: float, factor: float = MILL_FACTOR
) -> float:
    """Force of an inclined blade by the plate shears of rolling mills [N].

    F = K1·K2·K3·ε·(2 − ε)·Rm·t²/(2·tan φ)

    Parameters
    ----------
    strength
        Tensile strength Rm [N/mm²].
    thickness_mm
        [mm]
    rake_deg
        φ [degrees]; the handbook's K3 is for 2 to 6.
    penetrated
        ε, relative penetration: 1.2 to 1.6 times the elongation for a cold cut [fraction, to 1].
    factor
        K1·K2·K3.

    Notes
    -----
    Rolling-mill handbooks, in tonnes-force and kgf/mm² there. A long cut: longer than ε·t/tan φ.

    >>> round(mill_shear(82.7, 30, 2.5, 1.4 * 0.21) / 1000, 2)
    541.88
    """
    slope = _slope(rake_deg)
    if slope == 0:
        raise ValueError("mill_shear wants a rake above 0; for parallel blades use parallel()")
    return factor * strength * penetrated * (2 - penetrated) * thickness_mm**2 / (2 * slope)


def _slope(rake_deg: float) -> float:
    if not 0 <= rake_deg < 45:
        raise ValueError(f"rake: {rake_deg}° is not a rake; 0 to about 6 degrees are usual")
    return math.tan(math.radians(rake_deg))


def _wedge(strength: float, t: float, length: float, slope: float, penetrated: float) -> float:
    # The greatest sum over a window of `length` on the ligament t − x·slope, x from 0 to P·t/slope.
    if length * slope >= penetrated * t:
        return strength * penetrated * (1 - penetrated / 2) * t * t / slope
    return strength * length * (t - length * slope / 2)


def relative_penetration(material: Material) -> float:
    """ε = 1.4·A, at most 1: how deep the blade goes before the sheet parts [fraction].

    From the elongation, by the rolling-mill handbooks (1.2 to 1.6 for a cold cut). Elongations are
    measured over different gauge lengths; `material.source` says on which.
    """
    return min(1.0, MILL_PENETRATION * material.elongation)


def work_per_mm(material: Material, thickness_mm: float) -> float:
    """Shearing work for one millimetre of cut, w = κ·Rm·t², by the greatest κ of the methods [J/mm].

    Together with F = w/tan φ it makes the whole work of a cut independent of the rake.
    """
    return _kappa(material) * material.rm_high * thickness_mm**2 / 1000


def _kappa(material: Material) -> float:
    deep = relative_penetration(material)
    return max(0.5, MILL_FACTOR * deep * (2 - deep) / 2)


def _ruling(material: Material, t: float, length: float, slope: float) -> tuple[float, float, float]:
    """Triangle, mill shear and the cap [N]; the penetration method never exceeds the triangle."""
    rm = material.rm_high
    cap = rm * length * t
    deep = relative_penetration(material)
    return (
        min(_wedge(rm, t, length, slope, 1.0), cap),
        min(_wedge(MILL_FACTOR * rm, t, length, slope, deep), cap),
        cap,
    )


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
    slope = _slope(machine.rake.high_deg)
    t = machine.rating.thickness / PER_MM
    return _wedge(machine.rating.rm, t, machine.cutting_length / PER_MM, slope, 1.0)


def _limit(machine: Machine) -> tuple[float, str]:
    if machine.force_limit_kn is not None:
        return machine.force_limit_kn * 1000, "machine profile"
    return _rating_force(machine), "follows from the rating plate at the highest rake (raked triangle)"


def _counts(machine: Machine, triangle: float, mill: float) -> float:
    # A limit that was itself worked out by the triangle can only be compared with the triangle.
    return triangle if machine.force_limit_kn is None else max(triangle, mill)


def _force_fits(machine: Machine, material: Material, t: float, length: float, rake_deg: float) -> bool:
    triangle, mill, _ = _ruling(material, t, length, _slope(rake_deg))
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
    slope = _slope(rake)
    t, length = thickness / PER_MM, cut_length / PER_MM
    rm = material.rm_high
    deep = relative_penetration(material)
    triangle, mill, cap = _ruling(material, t, length, slope)
    parted = min(_wedge(SHEAR_SHARE * rm, t, length, slope, deep), cap)
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
