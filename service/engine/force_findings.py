"""What is to be said of the force of a cut: what is over a limit, close to one, or counted another way.

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

import math
from typing import Final

from service.engine.findings import Finding
from service.engine.force_limits import (
    SLACK,
    fits_force,
    fits_maximum,
    fits_rating,
    last_that,
    last_thickness,
)
from service.engine.machine import Machine
from service.engine.materials import Material, certified
from service.engine.quantities import PER_MM, Length, show_mm
from service.engine.told import told_over

TIGHT_SHARE: Final = 0.9
"""Share of a limit above which a caution is given: a shop default."""

NOSAL: Final = "rolling-machinery textbooks, after Nosal'; coefficients from memory: it does not rule"
_RATING: Final = "rating plate: t·√(Rm/Rm rated), Rm at the upper end of the material's range"
_PROFILE: Final = "machine profile"
_SHOP: Final = "shop default"


def _strength_within(
    machine: Machine, material: Material, thickness: Length, cut_length: Length, rake: float, dulled: float
) -> int:
    """The greatest whole strength with which neither rating nor force stops the cut [N/mm²]; 0: none."""

    def inside(strength: int) -> bool:
        sheet = certified(material, strength, "certificate")
        return fits_rating(machine, sheet, thickness) and fits_force(
            machine, sheet, thickness, cut_length, rake, dulled
        )

    return last_that(inside, math.ceil(material.strength_at(thickness)[1]) + 1)


def force_findings(
    machine: Machine,
    material: Material,
    thickness: Length,
    *,
    cut_length: Length,
    rake: float,
    dulled: float,
    share: float,
    force_kn: float,
    limit_kn: float,
    limit_basis: str,
    mill_kn: float,
    recalled_kn: float,
) -> tuple[Finding, ...]:
    """Stops, cautions and notes of one cut.

    Parameters
    ----------
    thickness, cut_length
        [0.01 mm], above 0.
    rake, dulled
        [degrees], and the allowance for dulled edges [fraction].
    share
        Equivalent thickness over rated thickness.
    force_kn, limit_kn
        The force that counts against the limit, and the limit [kN].
    limit_basis
        Whether the limit is the machine profile's or follows from its rating.
    mill_kn, recalled_kn
        By the mill shear, and by bending and holding [kN].
    """
    found: list[Finding] = []
    rating = machine.rating
    plate = f"{show_mm(rating.thickness)} mm of {rating.rm:g} N/mm²"
    rm_low, rm_high = material.strength_at(thickness)
    counts = f"{show_mm(thickness)} mm of {material.grade} with up to {rm_high:g} N/mm²"
    if not material.shearable:
        found.append(
            Finding(
                "stop",
                "not-shearable",
                f"{material.grade} is hardened or otherwise not for a shear",
                material.source,
            )
        )
    if not fits_maximum(machine, thickness):
        assert machine.max_thickness is not None
        found.append(
            Finding(
                "stop",
                "thickness-over-maximum",
                f"{show_mm(thickness)} mm is thicker than the {show_mm(machine.max_thickness)} mm that fit "
                "under blade and feet, however soft it is",
                _PROFILE,
            )
        )
    if share > SLACK:
        told = told_over(share * rating.thickness / PER_MM, rating.thickness / PER_MM, 2)
        most = _strength_within(machine, material, thickness, cut_length, rake, dulled)
        way_out = (
            f"; a sheet whose certificate says {most} N/mm² or less would be inside: write strength and "
            "certificate to the stock, of every piece of this grade and thickness, or keep such sheets as a "
            "grade of their own"
            if rm_low <= most and rm_low < rm_high
            else ""
        )
        found.append(
            Finding(
                "stop",
                "thickness-over-rating",
                f"{counts} counts as {told.load} mm; the machine is rated for {plate}{way_out}",
                _RATING,
            )
        )
    elif share > TIGHT_SHARE:
        found.append(
            Finding(
                "caution",
                "rating-margin",
                f"{counts} uses {share:.0%} of the rated thickness ({plate}): little or no margin",
                _RATING,
            )
        )
    if force_kn > limit_kn * SLACK:
        told = told_over(force_kn, limit_kn)
        found.append(
            Finding(
                "stop",
                "force-over-limit",
                f"the cut takes {told.load} kN at {rake:g}° rake; the limit is {told.limit} kN",
                limit_basis,
            )
        )
    elif machine.force_limit_kn is not None and force_kn > limit_kn * TIGHT_SHARE * SLACK:
        most_mm = show_mm(
            last_thickness(
                material,
                lambda t: fits_force(machine, material, t, cut_length, rake, dulled),
                2 * thickness,
            )
        )
        found.append(
            Finding(
                "caution",
                "force-margin",
                f"the cut takes {force_kn:.0f} of {limit_kn:.0f} kN, {force_kn / limit_kn:.0%}: little or no "
                f"margin. At {rake:g}° sheet above {most_mm} mm is over the limit, and sheet may be "
                "delivered thicker than its nominal size: measure it",
                f"{limit_basis}; thickness tolerances: EN 10029, EN 10051, EN 10131; caution from "
                f"{TIGHT_SHARE:.0%} up: shop default",
            )
        )
    if machine.force_limit_kn is None and force_kn <= limit_kn * SLACK < mill_kn:
        told = told_over(mill_kn, limit_kn)
        found.append(
            Finding(
                "note",
                "counted-by-triangle",
                f"the mill shear asks for {told.load} kN; the limit of {told.limit} kN follows from the "
                f"rating plate by the raked triangle, so only the {force_kn:.0f} kN of the triangle count "
                "against it: state the machine's own force limit, and the greater figure counts",
                limit_basis,
            )
        )
    if machine.force_limit_kn is not None and force_kn <= limit_kn * SLACK < recalled_kn:
        told = told_over(recalled_kn, limit_kn)
        found.append(
            Finding(
                "caution",
                "recalled-formula-over-limit",
                f"bending and holding alone would take {told.load} kN, over the limit of "
                f"{told.limit} kN; its coefficients are from memory, the methods that rule stay inside",
                NOSAL,
            )
        )
    if share <= SLACK and thickness > rating.thickness and machine.max_thickness is None:
        found.append(
            Finding(
                "caution",
                "thicker-than-plate",
                f"{show_mm(thickness)} mm is thicker than the {show_mm(rating.thickness)} mm of the rating "
                "plate, though soft; whether it fits under the blade and feet, the maker's manual says",
                _PROFILE,
            )
        )
    if material.leave_needed:
        found.append(
            Finding(
                "caution",
                "hard-plate",
                f"{material.grade} is hard on blades and may throw chips: only where the makers of the plate "
                "and of the machine allow it to be sheared",
                _SHOP,
            )
        )
    if material.strength_basis == "minimum":
        found.append(
            Finding(
                "note",
                "strength-open-ended",
                f"the standard sets no upper strength for {material.grade}; counted at {rm_high:g} N/mm²",
                material.source,
            )
        )
    return tuple(found)
