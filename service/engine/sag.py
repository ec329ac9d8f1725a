"""How far a drop sags before it is cut off, and what that does to the gauge.

The piece behind the blade hangs from the blade line like a cantilever under its own weight. An edge
that sags is also pulled back from the gauge, so the drop is cut too long.

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from math import floor
from typing import Final

from service.engine.machine import Machine
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


@lru_cache(maxsize=512)
def deepest_met(material: Material, thickness: Length) -> Length:
    """The deepest drop that sags at most a tenth of its depth, and so is taken to meet the gauge [0.01 mm].

    Parameters
    ----------
    material
        Density ρ and modulus E.
    thickness
        t [0.01 mm], above 0.

    Notes
    -----
    The largest whole L with 3·ρ·g·L³/(2·E·t²) ≤ 0.1, in whole numbers so that every processor says the
    same. A drop that sags further is beyond small bending: no formula here says where its edge is, and it
    hangs below the face of a gauge. That this limit is the one of gauging is a shop default.

    >>> from service.engine.materials_table import material_named
    >>> deepest_met(material_named("S235JR"), 80)
    48824
    """
    if thickness <= 0:
        raise ValueError("thickness: a length greater than zero is wanted")
    # 0.1 = 3·(ρ·10⁻⁹)·g·(L/100)³/(2·E·(t/100)²), all the decimals taken as the exact numbers they are.
    most = (
        Fraction(SMALL_SAG_SHARE).limit_denominator(1000)
        * 2
        * Fraction(material.youngs_modulus)
        * thickness**2
        * PER_MM
        / (3 * Fraction(material.density) / 10**9 * Fraction(str(GRAVITY)))
    )
    low, high = 0, 1
    while high**3 <= most:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if middle**3 <= most else (low, middle)
    return low


@lru_cache(maxsize=512)
def draw_back(material: Material, thickness: Length) -> Fraction:
    """By how much the edge of a drop is drawn back from the gauge, over the seventh power of its depth.

    Parameters
    ----------
    material
        Density ρ and modulus E.
    thickness
        t [0.01 mm], above 0.

    Notes
    -----
    :func:`pull_back_mm` of :func:`sag_mm`, (4/7)·(c·L⁴)²/L with c = 3·ρ·g/(2·E·t²), so (4/7)·c²·L⁷, and
    exact: all the decimals are taken as they are written. L and what comes out are in hundredths of a
    millimetre.

    >>> from service.engine.materials_table import material_named
    >>> round(float(draw_back(material_named("S235JR"), 100) * 50000**7), 1)
    135.0
    """
    if thickness <= 0:
        raise ValueError("thickness: a length greater than zero is wanted")
    weight = Fraction(str(material.density)) / 10**9 * Fraction(str(GRAVITY))
    bent = 3 * weight / (2 * Fraction(str(material.youngs_modulus)) * thickness**2 * PER_MM**2)
    return Fraction(4, 7) * bent**2 * PER_MM**2


def with_sheet(machine: Machine, material: Material, thickness: Length) -> Machine:
    """The machine with a sheet on it: its back gauge misses what sags too far and is not carried.

    What sags less is drawn back from the gauge, and its cut is the less accurate for it.

    >>> from service.engine.machine import BackGauge, GapRange, HoldDown, Rake, Rating
    >>> from service.engine.materials_table import material_named
    >>> shear = Machine("a", "A", 300000, Rating(600), Rake(1.5, 1.5), GapRange(5, 100),
    ...                 BackGauge(500, 100000), HoldDown(4500))
    >>> with_sheet(shear, material_named("S235JR"), 80).back_gauge.deepest
    48824
    >>> with_sheet(shear, material_named("S235JR"), 300).back_gauge.deepest
    100000
    """
    if machine.sheet_support:
        return machine
    gauge = replace(
        machine.back_gauge,
        meets=deepest_met(material, thickness),
        draws_back=draw_back(material, thickness),
    )
    return replace(machine, back_gauge=gauge)


def length_gained(
    material: Material,
    thickness: Length,
    overhang: Length,
    supported_from: tuple[float, float] | None = None,
) -> Length:
    """By how much a drop is cut too long because it sags away from the gauge [0.01 mm].

    Parameters
    ----------
    thickness, overhang
        [0.01 mm], above 0; the overhang is the depth of the drop.
    supported_from
        With a sheet support: the sag and the pull-back from which it is used [mm]. None: no support.

    Raises
    ------
    ValueError
        When nothing carries it and it is deeper than :func:`deepest_met`, where the formulae do not hold.

    >>> from service.engine.materials_table import material_named
    >>> steel = material_named("S235JR")
    >>> length_gained(steel, 100, 50000), length_gained(steel, 100, 50000, (5.0, 0.1))
    (135, 0)
    """
    sag = sag_mm(material, thickness, overhang)
    reach = overhang / PER_MM
    back = pull_back_mm(sag, reach)
    if supported_from is not None and (sag > supported_from[0] or back > supported_from[1]):
        return 0
    if overhang > deepest_met(material, thickness):
        raise ValueError(f"a drop of {reach:g} mm sags more than a tenth of its depth: it misses the gauge")
    return floor(draw_back(material, thickness) * overhang**7 + Fraction(1, 2))
