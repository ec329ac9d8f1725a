"""How far a drop sags before it is cut off, and what that does to the gauge.

The piece behind the blade hangs from the blade line like a cantilever under its own weight. An edge
that sags is also pulled back from the gauge, so the drop is cut too long.

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

from typing import Final

from service.engine.materials import Material
from service.engine.quantities import PER_MM, Length

GRAVITY: Final = 9.80665
"""Standard gravity [m/s²]."""

SMALL_SAG_SHARE: Final = 0.1
"""Beam theory for small bending holds up to about this sag over overhang."""


def sag_mm(material: Material, thickness: Length, overhang: Length) -> float:
    """Sag of the free edge, δ = 3·ρ·g·L⁴/(2·E·t²) [mm].

    Parameters
    ----------
    material
        Density ρ and modulus E.
    thickness, overhang
        t and L [0.01 mm]; thickness above 0.

    Notes
    -----
    The cantilever under its own weight, w·L⁴/(8·E·I), with w = ρ·g·b·t and I = b·t³/12 (any book on
    strength of materials); the breadth b drops out. For small bending: δ below about 0.1·L. Wide
    sheet is stiffer by 1/(1 − ν²), about a tenth, which is left out: the sag comes out large.

    >>> from service.engine.materials_table import material_named
    >>> round(sag_mm(material_named("S235JR"), 100, 50000), 2)
    34.37
    """
    if thickness <= 0:
        raise ValueError("thickness: a length greater than zero is wanted")
    reach = overhang / PER_MM
    t = thickness / PER_MM
    weight = material.density * 1e-9 * GRAVITY  # [N/mm³]
    return 3 * weight * reach**4 / (2 * material.youngs_modulus * t**2)


def pull_back_mm(sag: float, overhang_mm: float) -> float:
    """How far the sagging edge is drawn back from the gauge, (4/7)·δ²/L [mm].

    Parameters
    ----------
    sag
        δ, by :func:`sag_mm` [mm].
    overhang_mm
        L, above 0 [mm].

    Notes
    -----
    Half the integral of the squared slope along the cantilever's own curve; holds for small sags.

    >>> round(pull_back_mm(34.37, 500), 2)
    1.35
    """
    return 4 / 7 * sag**2 / overhang_mm


def length_gained(
    material: Material,
    thickness: Length,
    overhang: Length,
    supported_from: tuple[float, float] | None = None,
) -> Length | None:
    """By how much a drop is cut too long because it sags away from the gauge [0.01 mm].

    Parameters
    ----------
    thickness, overhang
        [0.01 mm], above 0; the overhang is the depth of the drop.
    supported_from
        With a sheet support: the sag and the pull-back from which it is used [mm]. None: no support.

    Returns
    -------
    None beyond small bending (a sag of more than a tenth of the depth), where the formulae do not hold.

    >>> from service.engine.materials_table import material_named
    >>> steel = material_named("S235JR")
    >>> length_gained(steel, 100, 50000), length_gained(steel, 100, 50000, (5.0, 0.1))
    (135, 0)
    >>> length_gained(steel, 50, 50000) is None
    True
    """
    sag = sag_mm(material, thickness, overhang)
    reach = overhang / PER_MM
    back = pull_back_mm(sag, reach)
    if supported_from is not None and (sag > supported_from[0] or back > supported_from[1]):
        return 0
    if sag > SMALL_SAG_SHARE * reach:
        return None
    return round(back * PER_MM)
