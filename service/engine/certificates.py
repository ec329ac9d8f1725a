"""Strengths by inspection certificate, as far as every piece of stock has one.

A plan counts one strength for all sheet of a grade and thickness: which piece is taken where is only
known when it is made. So certificates (EN 10204) narrow the range of the standard where every piece of
that grade and thickness has one, to the least and the most that they say. One piece without leaves the
whole range, and an offcut that goes back to the rack has none unless somebody writes it there.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Final

from service.engine.materials import Material, StrengthBand
from service.engine.order import StockItem
from service.engine.quantities import Length

ABOUT: Final = "; where every piece of stock has an inspection certificate, by these"
"""Added to the source of a grade that certificates narrowed."""


def by_certificates(material: Material, stock: Iterable[StockItem]) -> Material:
    """A grade as the certificates of its stock have it; the same where they say nothing new.

    Parameters
    ----------
    stock
        Of any grade; what there is none of does not count.

    >>> from service.engine.materials_table import material_named
    >>> plates = [StockItem("A", 300000, 150000, 4, "S355JR", 1000, tensile_strength=rm, certificate="77")
    ...           for rm in (521.0, 545.0)]
    >>> known = by_certificates(material_named("S355JR"), plates)
    >>> [known.strength_at(thickness) for thickness in (999, 1000, 1001)]
    [(470.0, 630.0), (521.0, 545.0), (470.0, 630.0)]
    >>> by_certificates(known, plates) == known
    True
    """
    told: dict[Length, list[float | None]] = {}
    for item in stock:
        if item.material == material.grade and item.quantity > 0:
            told.setdefault(item.thickness, []).append(item.tensile_strength)
    for thickness, strengths in sorted(told.items()):
        known = [strength for strength in strengths if strength is not None]
        if len(known) == len(strengths):
            material = _narrowed(material, thickness, min(known), max(known))
    return material


def _narrowed(material: Material, thickness: Length, low: float, high: float) -> Material:
    if material.strength_at(thickness) == (low, high):
        return material
    after = StrengthBand(thickness + 1, *material.strength_at(thickness + 1))
    kept = [band for band in material.bands if band.begins not in {thickness, thickness + 1}]
    return replace(
        material,
        # What a certificate says counts also where it lies outside the standard's range.
        rm_low=min(low, material.rm_low),
        rm_high=max(high, material.rm_high),
        bands=tuple(sorted([*kept, StrengthBand(thickness, low, high), after])),
        source=material.source if material.source.endswith(ABOUT) else material.source + ABOUT,
    )
