"""The limits of force, rating and thickness of a machine, and what is the most within them.

They answer quickly, without words: :func:`service.engine.force.check_force` says the same with
findings, and a test holds them together to the last hundredth.

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

from service.engine.hold_down import held
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.quantities import PER_MM, Length
from service.engine.shearing import SHEAR_SHARE, ruling, slope_of, wedge

SLACK: Final = 1 + 1e-9
"""Rounding of floats must not push a cut that lies on the limit over it."""

_SAME_RAKE: Final = 1e-6
"""Nobody sets a rake so finely [degrees]."""


def rakes(machine: Machine) -> tuple[float, ...]:
    """Every rake that the machine can be set to [degrees], from low to high."""
    rake = machine.rake
    if rake.fixed or rake.step_deg <= 0:
        return (rake.low_deg,) if rake.fixed else (rake.low_deg, rake.high_deg)
    steps = math.floor((rake.high_deg - rake.low_deg) / rake.step_deg + 1e-9)
    values = [round(rake.low_deg + i * rake.step_deg, 6) for i in range(steps + 1)]
    if values[-1] < rake.high_deg - 1e-9:
        values.append(rake.high_deg)
    return tuple(values)


def rake_slip(machine: Machine, rake_deg: float) -> str | None:
    """Why a rake cannot be set on the machine, in words; None when it can.

    >>> from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
    >>> machine = Machine("m", "m", 300000, Rating(600), Rake(1.5, 2), GapRange(5, 60),
    ...                   BackGauge(500, 100000), HoldDown(4500))
    >>> rake_slip(machine, 1.73)
    'this machine sets 1.5 to 2 degrees in steps of 0.1'
    """
    if any(abs(rake_deg - one) < _SAME_RAKE for one in rakes(machine)):
        return None
    rake = machine.rake
    if rake.fixed:
        return f"the rake of this machine is fixed at {rake.low_deg:g} degrees"
    return f"this machine sets {rake.low_deg:g} to {rake.high_deg:g} degrees in steps of {rake.step_deg:g}"


def _rating_force(machine: Machine, dulled: float) -> float:
    """What the rated plate takes at the highest rake [N], by the triangle, on the full length."""
    slope = slope_of(machine.rake.high_deg)
    t = machine.rating.thickness / PER_MM
    strength = SHEAR_SHARE * (1 + dulled) * machine.rating.rm
    return wedge(strength, t, machine.cutting_length / PER_MM, slope, 1.0)


def force_limit(machine: Machine, dulled: float) -> tuple[float, str]:
    """The force limit [N] and what it rests on."""
    if machine.force_limit_kn is not None:
        return machine.force_limit_kn * 1000, "machine profile"
    return (
        _rating_force(machine, dulled),
        "follows from the rating plate at the highest rake (raked triangle)",
    )


def counting(machine: Machine, triangle: float, mill: float) -> float:
    """The force that counts against the limit [N]."""
    # A limit that was itself worked out by the triangle can only be compared with the triangle.
    return triangle if machine.force_limit_kn is None else max(triangle, mill)


def fits_force(
    machine: Machine,
    material: Material,
    thickness: Length,
    cut_length: Length,
    rake_deg: float | None = None,
    dulled: float | None = None,
    margin: float = 0.0,
) -> bool:
    """Whether the force limit less a margin [fraction] allows the cut, at a rake or (None) at the highest."""
    allowed = machine.dulled_allowance if dulled is None else dulled
    slope = slope_of(machine.rake.high_deg if rake_deg is None else rake_deg)
    triangle, mill = ruling(material, thickness / PER_MM, cut_length / PER_MM, slope, allowed)
    return counting(machine, triangle, mill) <= force_limit(machine, allowed)[0] * (1 - margin) * SLACK


def held_at(
    machine: Machine,
    material: Material,
    thickness: Length,
    cut_length: Length,
    rake_deg: float,
    dulled: float | None = None,
) -> bool:
    """Whether the hold-down that is wanted at a rake is to be had on the piece, as far as it is known."""
    allowed = machine.dulled_allowance if dulled is None else dulled
    most = max(ruling(material, thickness / PER_MM, cut_length / PER_MM, slope_of(rake_deg), allowed))
    # Rounded as the force that is told, or the last digits of a tangent would decide.
    return held(machine, cut_length, round(most / 1000, 6))


def fits_rating(machine: Machine, material: Material, thickness: Length) -> bool:
    """Whether the rating plate allows the thickness."""
    strength = material.strength_at(thickness)[1]
    return thickness * math.sqrt(strength / machine.rating.rm) <= machine.rating.thickness * SLACK


def fits_maximum(machine: Machine, thickness: Length) -> bool:
    """Whether the sheet fits under blade and feet, as far as the profile states it."""
    return machine.max_thickness is None or thickness <= machine.max_thickness


def permitted(machine: Machine, material: Material, thickness: Length, cut_length: Length) -> bool:
    """Whether neither force, rating nor the mechanical maximum stops a cut of that length at the best rake.

    It says nothing of the other limits of a cut (see :mod:`service.engine.checks`).
    """
    return (
        material.shearable
        and fits_maximum(machine, thickness)
        and fits_rating(machine, material, thickness)
        and fits_force(machine, material, thickness, cut_length)
    )


def choose_rake(
    machine: Machine,
    material: Material,
    thickness: Length,
    cut_length: Length,
    dulled: float | None = None,
) -> float:
    """The smallest rake that keeps the force its margin below the limit and the piece held [degrees].

    The highest when none does: nothing asks for less. Twist is weighed against force so: the drop
    bends and twists the more the higher the rake, while force well within the limit does no harm; so
    the rake is as small as limit, margin and hold-down let it be. The margin is for sheet thicker
    than its nominal size (EN 10029 and EN 10051 say how much thicker it may be delivered).
    """
    if machine.rake.fixed:
        return machine.rake.low_deg
    choices = rakes(machine)
    low, high = 0, len(choices) - 1
    while low < high:
        middle = (low + high) // 2
        about = (machine, material, thickness, cut_length, choices[middle], dulled)
        if fits_force(*about, margin=machine.force_margin) and held_at(*about):
            high = middle
        else:
            low = middle + 1
    return choices[low]


def longest_cut(machine: Machine, material: Material, thickness: Length) -> Length:
    """The longest cut that force and rating permit, at most the cutting length; 0 when none is.

    The exact inverse of :func:`check_force`: one hundredth more is stopped by it, or is longer than
    the blade.
    """
    if thickness <= 0:
        raise ValueError("thickness: a length greater than zero is wanted")
    if permitted(machine, material, thickness, machine.cutting_length):
        return machine.cutting_length
    return last_that(lambda length: permitted(machine, material, thickness, length), machine.cutting_length)


def largest_thickness(machine: Machine, material: Material, cut_length: Length) -> Length:
    """The largest thickness up to which force, rating and maximum permit all; 0 when none is.

    The exact inverse of :func:`check_force`: one hundredth more is stopped by it. Where a grade is
    strong in thin sheet and weaker above, thicker sheet may be permitted again; it is not counted.
    """
    if cut_length <= 0:
        raise ValueError("cut length: a length greater than zero is wanted")
    if cut_length > machine.cutting_length or not material.shearable:
        return 0
    return last_thickness(
        material,
        lambda t: permitted(machine, material, t, cut_length),
        beyond_rating(machine, material),
    )


def beyond_rating(machine: Machine, material: Material) -> Length:
    """A thickness that the rating plate does not allow, and none above it."""
    weakest = min(material.rm_high, *(band.rm_high for band in material.bands), math.inf)
    return 2 + math.ceil(machine.rating.thickness * math.sqrt(machine.rating.rm / weakest))


def last_thickness(material: Material, holds: Callable[[Length], bool], beyond: Length) -> Length:
    """The last thickness below `beyond` up to which it holds for every one; 0 when it does for none.

    What holds for a thickness must hold for every smaller one of the same strength.
    """
    begin = 1
    for end in (*(band.begins for band in material.bands if 1 < band.begins < beyond), beyond):
        if not holds(begin):
            return begin - 1
        last = begin + last_that(lambda more, begin=begin: holds(begin + more), end - begin)  # type: ignore[misc]
        if last < end - 1:
            return last
        begin = end
    return beyond - 1


def last_that(holds: Callable[[Length], bool], beyond: Length) -> Length:
    """The last of 1, 2, 3 … below `beyond` for which it holds; 0 when it does for none.

    What holds for a length must hold for every shorter one.

    >>> last_that(lambda t: t * t <= 50, 100)
    7
    """
    low, high = 0, beyond
    while high - low > 1:
        middle = (low + high) // 2
        if holds(middle):
            low = middle
        else:
            high = middle
    return low
