"""What a sheet is made of, as far as shearing it is concerned."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

StrengthBasis: TypeAlias = Literal["range", "minimum", "typical"]


@dataclass(frozen=True, slots=True)
class Material:
    """A grade and its properties.

    Attributes
    ----------
    grade
        Name by which orders and stock call it, for example ``S235JR``.
    family
        Group with common shearing habits: ``carbon steel``, ``stainless steel``, ``aluminium``,
        ``copper``, ``brass``, ``wear plate``, or a shop's own word.
    rm_low, rm_high
        Tensile strength [N/mm²]: the range of the standard. Force always takes the upper end.
    strength_basis
        Whether the figures are a standard's range, a standard's minimum, or typical values.
    elongation
        At fracture [fraction, 0.26 for 26 %], and on which gauge length is said in `source`.
    density
        [kg/m³]
    youngs_modulus
        [N/mm²]
    gap_share
        Usual blade gap as a share of thickness, from low to high [fraction].
    abrasiveness
        Wear of a blade against plain carbon steel of like thickness and strength [ratio]. No
        published table was found: a shop setting with a stated default.
    shearable
        False for hardened stock that must not be put under a shear.
    source
        Where the figures come from.
    """

    grade: str
    family: str
    rm_low: float
    rm_high: float
    strength_basis: StrengthBasis
    elongation: float
    density: float
    youngs_modulus: float
    gap_share: tuple[float, float]
    abrasiveness: float
    shearable: bool
    source: str
