"""What a machine can cut at most: the inverse of the checks, to the last hundredth.

Each limit is turned round by itself; the smallest of those that count governs, and is named. A check
of one hundredth more brings the finding of that limit.

The hold-down counts only where the profile states how much is wanted (``wanted_share``): the default
share has no published source and takes no thickness from a machine. What it would say is told beside.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple, TypeAlias

from service.engine.clearance import NEVER, gap_for, thickest_by_gap
from service.engine.force import check_force
from service.engine.force_limits import beyond_rating, fits_force, fits_rating, held_at, last_thickness
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.quantities import Length

GoverningLimit: TypeAlias = Literal[
    "rating",
    "force",
    "blade gap",
    "mechanical maximum",
    "hold-down",
    "not for a shear",
    "cutting length",
    "clamping foot",
]


class LimitThickness(NamedTuple):
    """The largest thickness by one limit; None: it sets none. `counts`: whether it may govern."""

    name: GoverningLimit
    thickness: Length | None
    counts: bool


@dataclass(frozen=True, slots=True)
class Capacity:
    """The largest thickness of a material at a cut length, and the limit that says so.

    Attributes
    ----------
    thickness
        0 where the material or the length cannot be cut at all.
    governed_by
        The limit that one hundredth more would pass; of a length that cannot be cut at all, what it
        passes or, narrower than a clamping foot, falls short of.
    equivalent_thickness_mm
        Thickness of the rating's steel that counts as much [mm].
    force_kn, rake_deg
        What that cut takes, and at which rake [kN, degrees]; 0 without a thickness.
    limits
        What each limit says by itself.
    leave_needed
        Whether the grade is sheared only where the makers of the plate and of the machine allow it.
    """

    grade: str
    cut_length: Length
    thickness: Length
    governed_by: GoverningLimit
    equivalent_thickness_mm: float
    force_kn: float
    rake_deg: float
    limits: tuple[LimitThickness, ...]
    leave_needed: bool = False


_USUAL_SHARES: Final = (10, 4, 2, 1)


def capacity(
    machine: Machine, materials: Iterable[Material], cut_lengths: Sequence[Length] = ()
) -> tuple[Capacity, ...]:
    """What the machine can cut: the largest thickness of each material at several cut lengths.

    Parameters
    ----------
    cut_lengths
        [0.01 mm], above 0; none: a tenth, a quarter, a half and the whole of the cutting length.

    Returns
    -------
    One row a material and length, in the order given.
    """
    full = machine.cutting_length
    lengths = tuple(cut_lengths) or tuple(full // share for share in _USUAL_SHARES)
    if min(lengths) <= 0:
        raise ValueError("cut lengths: lengths greater than zero are wanted")
    return tuple(_capacity(machine, material, length) for material in materials for length in lengths)


def _capacity(machine: Machine, material: Material, cut_length: Length) -> Capacity:
    if not material.shearable:
        return Capacity(material.grade, cut_length, 0, "not for a shear", 0.0, 0.0, 0.0, ())
    if cut_length > machine.cutting_length:
        return Capacity(
            material.grade, cut_length, 0, "cutting length", 0.0, 0.0, 0.0, (), material.leave_needed
        )
    if cut_length < machine.hold_down.foot_width:
        return Capacity(
            material.grade, cut_length, 0, "clamping foot", 0.0, 0.0, 0.0, (), material.leave_needed
        )
    limits = _limits(machine, material, cut_length)
    thickness, name = NEVER, limits[0].name
    for limit in limits:
        # Of limits that agree the first governs: the rating stands on the machine.
        if limit.counts and limit.thickness is not None and limit.thickness < thickness:
            thickness, name = limit.thickness, limit.name
    # Where even that sheet is too thin for the smallest gap, every thinner one is.
    if thickness and any(one.code == "gap-too-wide" for one in gap_for(machine, material, thickness)[1]):
        thickness, name = 0, "blade gap"
    if thickness == 0:
        return Capacity(material.grade, cut_length, 0, name, 0.0, 0.0, 0.0, limits, material.leave_needed)
    check = check_force(machine, material, thickness, cut_length)
    return Capacity(
        material.grade,
        cut_length,
        thickness,
        name,
        check.equivalent_thickness_mm,
        check.force_kn,
        check.rake_deg,
        limits,
        material.leave_needed,
    )


def _limits(machine: Machine, material: Material, cut_length: Length) -> tuple[LimitThickness, ...]:
    rated = beyond_rating(machine, material)
    by_gap = thickest_by_gap(machine, material)
    return (
        LimitThickness(
            "rating", last_thickness(material, lambda t: fits_rating(machine, material, t), rated), True
        ),
        LimitThickness("force", thickest_by_force(machine, material, cut_length), True),
        LimitThickness("blade gap", None if by_gap == NEVER else by_gap, True),
        LimitThickness("mechanical maximum", machine.max_thickness, True),
        LimitThickness(
            "hold-down",
            thickest_by_hold_down(machine, material, cut_length),
            machine.hold_down.wanted_share is not None,
        ),
    )


def thickest_by_force(
    machine: Machine, material: Material, cut_length: Length, rake_deg: float | None = None
) -> Length:
    """The largest thickness that the force limit alone allows, at a rake or (None) at the highest."""
    return last_thickness(material, lambda t: fits_force(machine, material, t, cut_length, rake_deg), NEVER)


def thickest_by_hold_down(machine: Machine, material: Material, cut_length: Length) -> Length | None:
    """The largest thickness up to which every sheet is held with what is wanted; None: force unknown.

    At the highest rake, which is the one chosen where no smaller one holds the piece.
    """
    if machine.hold_down.force_kn is None:
        return None
    highest = machine.rake.high_deg
    return last_thickness(material, lambda t: held_at(machine, material, t, cut_length, highest), NEVER)
