"""Slips of unit and contradictions in a shop's own grades, in words.

Two kinds of answer. A *slip* is refused: the figure cannot be meant, and another unit explains it. A
*finding* is told: the figure is unusual for the family, and may be right. The ranges are wide on
purpose; they are our own reading of the product standards of the built-in table, not limits of any.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from service.engine.findings import Finding
from service.engine.materials import Material
from service.engine.own_grades import instead_of_built_in
from service.engine.quantities import Length, show_mm

KGF: Final = 9.80665
PSI: Final = 0.006894757
KSI: Final = 6.894757
LB_FT3: Final = 16.018463

STRENGTHS: Final = (5.0, 5000.0)
DENSITIES: Final = (500.0, 25_000.0)
MODULI: Final = (1_000.0, 1_000_000.0)

_BASIS: Final = "wide ranges of the family, from the standards of the built-in table"


class Slip(NamedTuple):
    """What cannot be meant: where (attribute names) and what is wanted."""

    path: tuple[str | int, ...]
    message: str


class Family(NamedTuple):
    """What is found within a family: strength and modulus [N/mm²], density [kg/m³], elongation."""

    rm: tuple[float, float]
    modulus: tuple[float, float]
    density: tuple[float, float]
    elongation: tuple[float, float]


FAMILIES: Final = {
    "carbon steel": Family((200, 1500), (180_000, 230_000), (7600, 8000), (0.03, 0.5)),
    "stainless steel": Family((350, 1900), (180_000, 230_000), (7500, 8200), (0.05, 0.7)),
    "aluminium": Family((50, 750), (60_000, 82_000), (2500, 2950), (0.01, 0.5)),
    "copper": Family((150, 700), (100_000, 140_000), (8600, 9000), (0.01, 0.7)),
    "brass": Family((180, 900), (85_000, 130_000), (8100, 8900), (0.01, 0.7)),
    "wear plate": Family((700, 2500), (180_000, 230_000), (7600, 8000), (0.02, 0.25)),
}
"""Families whose usual figures are known here; a shop's own word for a family is not judged."""


def strength_slip(value: float) -> str | None:
    """Why a number is no tensile strength in N/mm²; None when it may be one.

    >>> strength_slip(65000)
    '65000 is no tensile strength in N/mm²; if it is in psi, write 448'
    """
    if STRENGTHS[0] <= value <= STRENGTHS[1]:
        return None
    said = f"{value:g} is no tensile strength in N/mm²"
    if STRENGTHS[0] <= value * PSI <= STRENGTHS[1]:
        return f"{said}; if it is in psi, write {value * PSI:.0f}"
    return f"{said}; {STRENGTHS[0]:g} to {STRENGTHS[1]:g} are possible"


def density_slip(value: float) -> str | None:
    """Why a number is no density in kg/m³; None when it may be one.

    >>> density_slip(7.85)
    '7.85 is no density in kg/m³; if it is in g/cm³, write 7850'
    """
    if DENSITIES[0] <= value <= DENSITIES[1]:
        return None
    said = f"{value:g} is no density in kg/m³"
    if DENSITIES[0] <= value * 1000 <= DENSITIES[1]:
        return f"{said}; if it is in g/cm³, write {value * 1000:g}"
    if 60 <= value < DENSITIES[0]:
        return f"{said} of a metal; if it is in lb/ft³, write {value * LB_FT3:.0f}"
    return f"{said}; {DENSITIES[0]:g} to {DENSITIES[1]:g} are possible"


def modulus_slip(value: float) -> str | None:
    """Why a number is no modulus of elasticity in N/mm²; None when it may be one.

    >>> modulus_slip(210)
    '210 is no modulus in N/mm²; if it is in GPa, write 210000'
    """
    if MODULI[0] <= value <= MODULI[1]:
        return None
    said = f"{value:g} is no modulus in N/mm²"
    if MODULI[0] <= value * 1000 <= MODULI[1]:
        return f"{said}; if it is in GPa, write {value * 1000:g}"
    if MODULI[0] <= value * PSI <= MODULI[1]:
        return f"{said}; if it is in psi, write {value * PSI:.0f}"
    return f"{said}; {MODULI[0]:.10g} to {MODULI[1]:.10g} are possible"


def share_slip(value: float, least: float, what: str) -> str | None:
    """Why a number is no share; None when it may be one.

    >>> share_slip(26, 0.005, "elongation")
    '26 is no elongation as a share; if it is in percent, write 0.26'
    """
    if least <= value <= 1:
        return None
    said = f"{value:g} is no {what} as a share"
    if least <= value / 100 <= 1:
        return f"{said}; if it is in percent, write {value / 100:g}"
    return f"{said}; {least:g} to 1 are possible"


FAR_OUTSIDE: Final = 0.25
"""A certificate's strength this far outside its grade's range is looked at for a slip of unit: our choice."""


def certificate_slip(material: Material, thickness: Length, strength: float) -> str | None:
    """Why a strength [N/mm²] cannot be a certificate's for sheet of a grade; None when it may be.

    >>> from service.engine.materials_table import material_named
    >>> certificate_slip(material_named("S235JR"), 300, 62)
    '62 N/mm² is far from the 360 to 510 of 3 mm S235JR; if it is in ksi, write 427'
    """
    low, high = material.strength_at(thickness)
    if low * (1 - FAR_OUTSIDE) <= strength <= high * (1 + FAR_OUTSIDE):
        return None
    said = (
        f"{strength:g} N/mm² is far from the {low:g} to {high:g} of {show_mm(thickness)} mm {material.grade}"
    )
    others = [
        f"if it is in {unit}, write {strength * factor:.0f}"
        for unit, factor in (("kgf/mm²", KGF), ("ksi", KSI), ("psi", PSI))
        if low <= round(strength * factor) <= high
    ]
    return f"{said}; {' or '.join(others) or 'it is no certificate of this grade'}"


def certificate_findings(material: Material, thickness: Length, strength: float) -> tuple[Finding, ...]:
    """What is to be said of a certificate's strength [N/mm²] that is possible, but not of this grade."""
    low, high = material.strength_at(thickness)
    if low <= strength <= high or (strength > high and material.strength_basis == "minimum"):
        return ()
    return (
        Finding(
            "caution",
            "certificate-outside-grade",
            f"the certificate's {strength:g} N/mm² lie outside the {low:g} to {high:g} of "
            f"{show_mm(thickness)} mm {material.grade}: look whether it is the certificate of this sheet",
            material.source,
        ),
    )


def material_slips(material: Material) -> tuple[Slip, ...]:
    """What of a grade cannot be meant, though each figure is possible by itself."""
    slips: list[Slip] = []
    family = FAMILIES.get(material.family) or _like(material)
    for name, value in (("rm_low", material.rm_low), ("rm_high", material.rm_high)):
        if family is None or value >= family.rm[0]:
            continue
        low, high = family.rm
        others = [
            f"{value * factor:.0f} if it is in {unit}"
            for unit, factor in (("kgf/mm²", KGF), ("ksi", KSI))
            if low <= value * factor <= high
        ]
        if others:
            slips.append(
                Slip(
                    (name,),
                    f"{value:g} N/mm² is less than any {_called(material)} has ({low:g} at least); "
                    f"write {' or '.join(others)}",
                )
            )
    return tuple(slips)


def _like(material: Material) -> Family | None:
    """What a shop's own word for a family must be, by density and modulus: steel, or not known."""
    steel = FAMILIES["carbon steel"]
    heavy = steel.density[0] <= material.density <= steel.density[1]
    stiff = steel.modulus[0] <= material.youngs_modulus <= steel.modulus[1]
    return steel if heavy and stiff else None


def _called(material: Material) -> str:
    return material.family if material.family in FAMILIES else "steel"


def material_findings(material: Material) -> tuple[Finding, ...]:
    """What of a grade is unusual for its family, and whether it stands for a built-in one."""
    found: list[Finding] = []
    if (instead := instead_of_built_in(material)) is not None:
        words = f"{instead}; orders of every site that name it are reckoned with these figures"
        found.append(Finding("caution", "instead-of-built-in", words, "built-in table of grades"))
    family = FAMILIES.get(material.family)
    if family is None:
        return (
            *found,
            Finding(
                "note",
                "family-not-known",
                f"nothing is known here of the family {material.family!r}, so its figures are not judged; "
                f"known are {', '.join(FAMILIES)}",
                _BASIS,
            ),
        )
    for what, value, (low, high), unit in (
        ("lower tensile strength", material.rm_low, family.rm, " N/mm²"),
        ("upper tensile strength", material.rm_high, family.rm, " N/mm²"),
        ("modulus", material.youngs_modulus, family.modulus, " N/mm²"),
        ("density", material.density, family.density, " kg/m³"),
        ("elongation", material.elongation, family.elongation, ""),
    ):
        if not low <= value <= high:
            found.append(
                Finding(
                    "caution",
                    "unusual-figure",
                    f"{what} {value:g}{unit}: {material.family} usually has {low:g} to {high:g}; look at "
                    "the unit",
                    _BASIS,
                )
            )
    if material.rm_high > 2 * material.rm_low:
        found.append(
            Finding(
                "caution",
                "wide-strength",
                f"{material.rm_low:g} to {material.rm_high:g} N/mm² is a wide range; force is counted "
                "with the "
                "upper end",
                _BASIS,
            )
        )
    low, high = material.gap_share
    if high > 0.25 or (low == 0 and high == 0):
        found.append(
            Finding(
                "caution",
                "unusual-figure",
                f"a blade gap of {low:.0%} to {high:.0%} of the thickness; textbooks say 4 to 10 %, to 18 % "
                "for hard plate",
                "textbooks on shearing",
            )
        )
    return tuple(found)
