"""Formulae for the force of a shear blade, each with its source.

All published formulae for an inclined blade say the same thing with another constant. Advancing
the blade by dz shears dL = dz / tan φ, so a steady cut takes F = w / tan φ, where w is the
shearing work for one unit of length, w = κ·Rm·t². They differ in κ only, by more than twice between
the mildest and the strictest. A cut is checked by each of them (:mod:`service.engine.force`).

=====================  ===========================================  ==============================
method                 κ, sharp blades                              source
=====================  ===========================================  ==============================
raked triangle         0.5·τ/Rm, τ = 0.8·Rm                         German textbooks
penetration            τ/Rm·P·(1 − P/2), P of ε and a table         ASM Handbook vol. 14B
mill shear             K·ε·(2 − ε)/2, K = 1.2675, ε of A            rolling-mill handbooks
bending and holding    0.6·A·(1 + bending + holding)                Nosal', rolling-mill textbooks
parallel               no rake: F = τ·L·t                           the cap for all of them
=====================  ===========================================  ==============================

Dulled edges take more; press-tool courses say 15 to 30 %. The allowance a is the shop's
(``dulled_allowance`` of the machine profile). Its default, a quarter, makes of τ = 0.8·Rm the full
Rm: F = 0.5·Rm·t²/tan φ and F = Rm·L·t, as trade handbooks have it. The mill shears' K1 is a blade
condition of its own, 1.3 to 1.5: it is 1.3, or 1 + a where the shop allows for more.

A cut shorter than the engaged length never reaches the full wedge. Under the blade the uncut
ligament falls linearly from t, so a cut of length L carries at most F = S·(t·L − L²·tan φ/2), which
joins the steady force at the engaged length and the parallel force as φ → 0.

Valid for: a straight cut, one layer, the usual gap, rakes up to about 6°, blade moving straight
down, the nominal thickness. Not included, but in the fourth: bending of the drop and hold-down.
Friction and sheets thicker than nominal are in none.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from service.engine.materials import Material
from service.engine.quantities import PER_MM

SHEAR_SHARE: Final = 0.8
"""Shear strength over tensile strength, τ = 0.8·Rm: the usual rule of German textbooks."""

MILL_CONDITION: Final = 1.3
"""K1 of the mill shears, the blade condition: the lower end of the handbook's 1.3 to 1.5."""

MILL_REST: Final = 0.75 * 1.3
"""K2 (τ/σ 0.70 to 0.75) · K3 (gap, 1.1 to 1.3), as in the handbook's worked example."""

MILL_FACTOR: Final = 1.3 * 0.75 * 1.3
"""K1 · K2 · K3 of the handbook's worked example."""

MILL_PENETRATION: Final = 1.4
"""Relative penetration of a cold cut over elongation: the middle of the handbook's 1.2 to 1.6."""

OF_A_MINIMUM: Final = 1.6
"""The same where the elongation is a standard's minimum: the upper end, since force rises with it."""

PENETRATIONS: Final = {
    "carbon steel": (0.22, 0.50),  # 0.30 C cold worked to 0.10 C annealed
    "copper": (0.30, 0.55),  # cold worked, annealed
    "brass": (0.30, 0.50),  # cold worked, annealed
    "aluminium": (0.60, 0.60),  # soft; none is printed for hard tempers, which part earlier
}
"""Penetration before fracture by family, least and most, of US tool engineers' handbooks (from memory)."""

MILL_RAKES: Final = (2.0, 6.0)
"""Rakes for which the handbook gives its K3 [degrees]."""

STRIP_BENDING: Final = 0.95
"""Z of the bending-and-holding formula, its limit for a wide drop (from memory)."""

HOLD_RATIO: Final = 10.0
"""X of the bending-and-holding formula, distance to the hold-down over thickness: the first
estimate of the textbooks (from memory)."""

NOSAL_CONSTANT: Final = 10 * 9.80665
"""The 10 kgf/mm² in the holding term, in N/mm²."""


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
    Shear strength times area. Groover, Fundamentals of Modern Manufacturing, chapter on sheet
    metalworking: F = S·t·L. Straight cut, sharp blades, usual gap; no hold-down or friction.

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
    strength: float,
    thickness_mm: float,
    rake_deg: float,
    penetrated: float,
    factor: float = MILL_FACTOR,
    length_mm: float = math.inf,
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
    length_mm
        [mm]; left out, the cut is longer than ε·t/tan φ, as the handbook takes it. A shorter one
        follows from the same wedge.

    Notes
    -----
    Rolling-mill handbooks, in tonnes-force and kgf/mm² there.

    >>> round(mill_shear(82.7, 30, 2.5, 1.4 * 0.21) / 1000, 2)
    541.88
    """
    slope = slope_of(rake_deg)
    if slope == 0 and length_mm == math.inf:
        raise ValueError("mill_shear wants a rake above 0 or a length; for parallel blades use parallel()")
    return wedge(factor * strength, thickness_mm, length_mm, slope, penetrated)


def bending_and_holding(
    strength: float,
    thickness_mm: float,
    length_mm: float,
    rake_deg: float,
    elongation: float,
    gap_share: float,
    hold_ratio: float = HOLD_RATIO,
    strip: float = STRIP_BENDING,
) -> float:
    """Force of an inclined blade with bending of the drop and of the held sheet [N].

    F = P1·(1 + Z·tan φ/(0.6·δ) + 1/(1 + 10·δ/(Rm·y²·X))),  P1 = 0.6·Rm·δ·t²/tan φ

    P1 is pure shear, the second term the bending of the drop, the third that of the sheet between
    blade and hold-down.

    Parameters
    ----------
    strength
        Tensile strength Rm [N/mm²]. The formula's own constant 10 is in kgf/mm²; it is converted
        here, since N/mm² put in bare would raise the force by a quarter.
    thickness_mm, length_mm
        t, L [mm]
    rake_deg
        φ [degrees], 0 to about 6.
    elongation
        δ [fraction, above 0].
    gap_share
        y, blade gap over thickness [fraction], about 0.07 to 0.083 for thin sheet.
    hold_ratio
        X, distance from the blade to the hold-down over thickness; 10 for a first estimate.
    strip
        Z, from a chart over the width of the drop; towards 0.95 for a wide one.

    Notes
    -----
    V. V. Nosal', in Soviet and Chinese textbooks on rolling machinery. The form is known; the
    coefficients 0.6, 10, Z and X are from memory and want a look into the book, so the sum stands
    beside the other methods and does not rule. A cut shorter than the engaged length follows from a
    wedge that has P1 as its steady force (our reasoning, not published).

    >>> round(bending_and_holding(400, 6, 1000, 1.5, 0.25, 0.083, hold_ratio=7.7) / 1000, 1)
    134.4
    """
    return _bent(
        strength, thickness_mm, length_mm, slope_of(rake_deg), elongation, gap_share, hold_ratio, strip
    )


def _bent(
    strength: float,
    t: float,
    length: float,
    slope: float,
    elongation: float,
    gap_share: float,
    hold_ratio: float = HOLD_RATIO,
    strip: float = STRIP_BENDING,
) -> float:
    if elongation <= 0:
        raise ValueError(f"elongation: a fraction above 0 is wanted, not {elongation:g}")
    deep = min(1.0, MILL_PENETRATION * elongation)
    pure = wedge(0.6 * elongation * strength / (deep * (1 - deep / 2)), t, length, slope, deep)
    squeezed = strength * gap_share**2 * hold_ratio
    holding = squeezed / (squeezed + NOSAL_CONSTANT * elongation)
    return pure * (1 + strip * slope / (0.6 * elongation) + holding)


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


def penetration_ratio(material: Material) -> float:
    """ε/A: 1.4 of a typical elongation, 1.6 of a minimum."""
    return MILL_PENETRATION if material.strength_basis == "typical" else OF_A_MINIMUM


def relative_penetration(material: Material) -> float:
    """ε = 1.4·A or 1.6·A, at most 1: how deep the blade goes before the sheet parts [fraction].

    From the elongation, by the rolling-mill handbooks (1.2 to 1.6 for a cold cut). Elongations are
    measured over different gauge lengths; `material.source` says on which.
    """
    return min(1.0, penetration_ratio(material) * material.elongation)


def percent_penetration(material: Material) -> float:
    """P: ε within what is printed for the family, since hard tempers go deeper than ε says [fraction].

    >>> from service.engine.materials_table import material_named
    >>> percent_penetration(material_named("Cu-DHP R360")), material_named("Cu-DHP R360").elongation
    (0.3, 0.02)
    """
    by_elongation = relative_penetration(material)
    least, most = PENETRATIONS.get(material.family, (by_elongation, by_elongation))
    return min(max(by_elongation, least), most)


def elongation_tells(material: Material) -> bool:
    """Whether ε of the elongation is of the printed penetrations; of hard tempers it is far below them.

    Where it is, the methods that rest on the elongation mean something.
    """
    least, _ = PENETRATIONS.get(material.family, (0.0, 1.0))
    return relative_penetration(material) >= least


def strongest(material: Material, thickness_mm: float) -> float:
    """The upper end of a material's tensile strength at a thickness [mm], with which force counts [N/mm²]."""
    return material.strength_at(round(thickness_mm * PER_MM))[1]


class Forces(NamedTuple):
    """The force of one cut by every method [N], none above that of parallel blades."""

    triangle: float
    penetration: float
    mill: float
    bending: float
    parallel: float


def forces(material: Material, thickness_mm: float, length_mm: float, slope: float, dulled: float) -> Forces:
    """The force of one cut by every method.

    Parameters
    ----------
    material
        With the upper end of its strength at this thickness, and its elongation.
    thickness_mm, length_mm
        [mm], above 0.
    slope
        tan φ.
    dulled
        Allowance for dulled edges [fraction]; 0: sharp blades.
    """
    t, length = thickness_mm, length_mm
    rm = strongest(material, t)
    blunt = 1 + dulled
    shear = SHEAR_SHARE * blunt * rm
    cap = shear * length * t
    triangle, mill = ruling(material, t, length, slope, dulled)
    bent = blunt * _bent(rm, t, length, slope, material.elongation, material.gap_share[1])
    parted = wedge(shear, t, length, slope, percent_penetration(material))
    return Forces(triangle, min(parted, cap), mill, min(bent, cap), cap)


def ruling(material: Material, t: float, length: float, slope: float, dulled: float) -> tuple[float, float]:
    """Raked triangle and mill shear, as :func:`forces` has them [N]: one of them always rules."""
    rm = strongest(material, t)
    shear = SHEAR_SHARE * (1 + dulled) * rm
    cap = shear * length * t
    deep = relative_penetration(material)
    return (
        min(wedge(shear, t, length, slope, 1.0), cap),
        min(wedge(mill_factor(dulled) * rm, t, length, slope, deep), cap),
    )


def sharp_mill(material: Material, t: float, length: float, slope: float) -> float:
    """Mill shear with sharp edges, K1 = 1, none above that of parallel blades [N]."""
    rm = strongest(material, t)
    deep = relative_penetration(material)
    return min(wedge(MILL_REST * rm, t, length, slope, deep), SHEAR_SHARE * rm * length * t)


def mill_factor(dulled: float) -> float:
    """K1·K2·K3 of the mill shears: K1 is 1.3, or 1 + the shop's allowance where that is more.

    >>> mill_factor(0.25) == 1.3 * 0.75 * 1.3
    True
    """
    return max(MILL_CONDITION, 1 + dulled) * MILL_REST


def work_per_mm(material: Material, thickness_mm: float, dulled: float) -> float:
    """Shearing work for one millimetre of cut, w = κ·Rm·t², by the greatest κ of those that rule [J/mm].

    Together with F = w/tan φ it makes the whole work of a cut independent of the rake. The bending
    of the drop, which does depend on it, is not in it.
    """
    deep = relative_penetration(material)
    kappa = max(SHEAR_SHARE * (1 + dulled) / 2, mill_factor(dulled) * deep * (2 - deep) / 2)
    return kappa * strongest(material, thickness_mm) * thickness_mm**2 / 1000
