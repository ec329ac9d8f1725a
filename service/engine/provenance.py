"""Where each figure of a grade comes from, and whether it is a range, a minimum or typical.

The built-in table (:mod:`service.engine.materials_table`) keeps one line of sources a grade; here they
are told property by property. What was written from memory of a standard is marked (m).
"""

from __future__ import annotations

from typing import Final, Literal, NamedTuple, TypeAlias

from service.engine.materials import Material
from service.engine.materials_table import BUILT_IN
from service.engine.quantities import show_mm
from service.engine.shearing import penetration_ratio

Basis: TypeAlias = Literal["range", "minimum", "typical", "shop default"]


class Property(NamedTuple):
    """A figure of a grade: its name, the figure in words, what it is, and where it comes from."""

    name: str
    value: str
    basis: Basis
    source: str


_DENSITY: Final = {
    "carbon steel": "EN 10025-2 and EN 1991-1-1, nominal",
    "stainless steel": "EN 10088-1, nominal (m)",
    "copper": "copper data sheets, nominal (m)",
    "brass": "EN 1652 alloys, nominal (m)",
    "wear plate": "as carbon steel",
    "aluminium": "EN 485-2 alloys, nominal (m)",
}
_MODULUS: Final = {
    "carbon steel": "EN 1993-1-1",
    "stainless steel": "EN 10088-1, nominal (m)",
    "copper": "copper data sheets",
    "brass": "brass data sheets (m)",
    "wear plate": "as carbon steel",
    "aluminium": "EN 1999-1-1",
}
_GAP: Final = (
    "shop default by family, inside the 4 to 10 % of textbooks (hard plate: its producer's 16 to 18 %)"
)
_WEAR: Final = "shop default by family; no published table was found"
_BUILT_IN: Final = frozenset(BUILT_IN)


def properties_of(material: Material) -> tuple[Property, ...]:
    """Every figure of a grade with its basis and source.

    >>> from service.engine.materials_table import material_named
    >>> properties_of(material_named("S235JR"))[0].value
    '360 to 510 N/mm², force counts with 510'
    >>> properties_of(material_named("1.4301"))[0].value
    '520 to 750 N/mm², force counts with 750; from 8.01 mm 520 to 720'
    """
    built_in = material in _BUILT_IN
    low, high = material.gap_share
    strength = (
        f"{material.rm_high:g} N/mm²"
        if material.rm_low == material.rm_high
        else f"{material.rm_low:g} to {material.rm_high:g} N/mm², force counts with {material.rm_high:g}"
    )
    strength += "".join(
        f"; from {show_mm(band.begins)} mm {band.rm_low:g} to {band.rm_high:g}" for band in material.bands
    )
    own = material.source

    def source_of(table: dict[str, str]) -> str:
        return table[material.family] if built_in else own

    return (
        Property("tensile strength", strength, material.strength_basis, own),
        # Standards state the least elongation; typical grades have a typical one.
        Property(
            "elongation",
            f"{material.elongation:.0%}, of which force counts {penetration_ratio(material):g} times",
            "typical" if material.strength_basis == "typical" else "minimum",
            own,
        ),
        Property("density", f"{material.density:g} kg/m³", "typical", source_of(_DENSITY)),
        Property("modulus", f"{material.youngs_modulus:g} N/mm²", "typical", source_of(_MODULUS)),
        Property(
            "blade gap",
            f"{low:.0%} to {high:.0%} of the thickness",
            "shop default",
            _GAP if built_in else own,
        ),
        Property("abrasiveness", f"{material.abrasiveness:g}", "shop default", _WEAR if built_in else own),
    )
