"""What a sheet is made of, as far as shearing it is concerned."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple, TypeAlias

from service.engine.quantities import Length

StrengthBasis: TypeAlias = Literal["range", "minimum", "typical"]


class StrengthBand(NamedTuple):
    """Tensile strength [N/mm²] of sheet of a thickness `begins` and above, up to the next band."""

    begins: Length
    rm_low: float
    rm_high: float


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
        Tensile strength [N/mm²]: the range of the standard, for every thickness. Force always takes
        the upper end.
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
    bands
        Where the standard's range depends on thickness: narrower ranges inside that of `rm_low` and
        `rm_high`, by ascending thickness. Below the first, and without any, the whole range holds.
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
    bands: tuple[StrengthBand, ...] = ()

    @property
    def leave_needed(self) -> bool:
        """Whether it is sheared only where the makers of the plate and of the machine allow it."""
        return self.family == "wear plate" and self.shearable

    def strength_at(self, thickness: Length) -> tuple[float, float]:
        """The range of tensile strength of sheet of a thickness [N/mm²], from low to high.

        >>> from service.engine.materials_table import material_named
        >>> material_named("S355JR").strength_at(299), material_named("S355JR").strength_at(300)
        ((510.0, 680.0), (470.0, 630.0))
        """
        held = (self.rm_low, self.rm_high)
        for band in self.bands:
            if thickness < band.begins:
                break
            held = (band.rm_low, band.rm_high)
        return held


def certified(material: Material, tensile_strength: float, certificate: str) -> Material:
    """The same grade with the tensile strength that an inspection certificate states for this stock.

    A standard's range is wide, and force takes its upper end. When the certificate of the very
    sheet (EN 10204 type 3.1, for example) gives its strength, that may be used in its place.

    Parameters
    ----------
    material
        The grade as the standard has it.
    tensile_strength
        Rm by the certificate [N/mm²]; must lie above 0.
    certificate
        By what the certificate is known, for example its number.

    Raises
    ------
    ValueError
        When the strength is not a number above 0.
    """
    if not 0 < tensile_strength < math.inf:
        raise ValueError(f"tensile strength: {tensile_strength} is not a number above 0 [N/mm²]")
    return replace(
        material,
        grade=f"{material.grade} ({certificate})",
        rm_low=tensile_strength,
        rm_high=tensile_strength,
        strength_basis="range",
        bands=(),
        source=f"strength by inspection certificate {certificate}; the rest: {material.source}",
    )
