"""Formulae for the force of a shear blade, each with its source.

All published formulae for an inclined blade say the same thing with another constant. Advancing
the blade by dz shears dL = dz / tan φ, so a steady cut takes F = w / tan φ, where w is the
shearing work for one unit of length, w = κ·Rm·t². They differ in κ only, by more than twice between
the mildest and the strictest. A cut is checked by each of them (:mod:`service.engine.force`).

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

Valid for: a straight cut, one layer, sharp blades with the usual gap, rakes up to about 6°, blade
moving straight down, the nominal thickness. Not included: bending of the drop, hold-down, friction,
sheets thicker than nominal.
"""

from __future__ import annotations

import math
from typing import Final

from service.engine.materials import Material

SHEAR_SHARE: Final = 0.8
"""Shear strength over tensile strength, τ = 0.8·Rm: the usual rule of German textbooks."""

MILL_FACTOR: Final = 1.3 * 0.75 * 1.3
"""K1 (blade condition 1.3 to 1.5) · K2 (τ/σ 0.70 to 0.75) · K3 (gap, 1.1 to 1.3): as in the handbook's
worked example."""

MILL_PENETRATION: Final = 1.4
"""Relative penetration of a cold cut over elongation: the middle of the handbook's 1.2 to 1.6."""


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
    return wedge(strength, thickness_mm, length_mm, slope_of(rake_deg), 1.0)


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
    return wedge(strength, thickness_mm, length_mm, slope_of(rake_deg), penetrated)


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
    slope = slope_of(rake_deg)
    if slope == 0:
        raise ValueError("mill_shear wants a rake above 0; for parallel blades use parallel()")
    return factor * strength * penetrated * (2 - penetrated) * thickness_mm**2 / (2 * slope)


def slope_of(rake_deg: float) -> float:
    """The slope tan φ of a rake [degrees]; ValueError for what is no rake."""
    if not 0 <= rake_deg < 45:
        raise ValueError(f"rake: {rake_deg}° is not a rake; 0 to about 6 degrees are usual")
    return math.tan(math.radians(rake_deg))


def wedge(strength: float, t: float, length: float, slope: float, penetrated: float) -> float:
    """Force of the wedge, S·P·(1 − P/2)·t²/tan φ, or of a cut shorter than it [N]; `slope` is tan φ."""
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


def ruling(material: Material, t: float, length: float, slope: float) -> tuple[float, float, float]:
    """Triangle, mill shear and the cap [N]; the penetration method never exceeds the triangle."""
    rm = material.rm_high
    cap = rm * length * t
    deep = relative_penetration(material)
    return (
        min(wedge(rm, t, length, slope, 1.0), cap),
        min(wedge(MILL_FACTOR * rm, t, length, slope, deep), cap),
        cap,
    )
