"""A shop's own grade under the name of a built-in one: who reads the name must hear what is meant by it."""

from __future__ import annotations

from service.engine.certificates import ABOUT
from service.engine.materials import Material
from service.engine.materials_table import BUILT_IN

_BUILT_IN = {built.grade: built for built in BUILT_IN}


def instead_of_built_in(material: Material) -> str | None:
    """What to say of a grade that has the name of a built-in one and another strength; None: nothing.

    >>> from dataclasses import replace
    >>> from service.engine.materials_table import material_named
    >>> steel = material_named("S235JR")
    >>> instead_of_built_in(steel) is None
    True
    >>> instead_of_built_in(replace(steel, rm_low=360, rm_high=370))
    "S235JR here is the shop's own grade with 360 to 370 N/mm²; the built-in grade has 360 to 510"
    """
    built = _BUILT_IN.get(material.grade)
    if built is None or (built.rm_low, built.rm_high) == (material.rm_low, material.rm_high):
        return None
    if material.source == built.source + ABOUT:
        return None  # the built-in grade, as the certificates of the stock have it
    return (
        f"{material.grade} here is the shop's own grade with {material.rm_low:g} to {material.rm_high:g} "
        f"N/mm²; the built-in grade has {built.rm_low:g} to {built.rm_high:g}"
    )
