"""One person lifting by hand: the recommended weight limit of NIOSH, as an optional check.

RWL = 23 kg · HM · VM · DM · AM · FM · CM, the revised lifting equation of 1991 (US National Institute
for Occupational Safety and Health; Waters and others, publication 94-110). It is for two hands, standing,
room to move, a firm floor and a load that does not shift; not for teams, sharp edges, wind, or a sheet
that whips. It is guidance of one authority; the local rules decide, and nothing here allows a lift.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from service.engine.findings import Finding
from service.engine.quantities import PER_MM, Length
from service.engine.told import Told, told_over

LOAD_CONSTANT_KG: Final = 23.0
"""What the equation starts from, with every multiplier at 1 [kg]."""

AT_THE_TABLE_CM: Final = 75.0
"""Hands above the floor when nobody tells: near the table of a shear, where the equation is kindest."""

Coupling: TypeAlias = Literal["good", "fair", "poor"]
Duration: TypeAlias = Literal["1 hour", "2 hours", "8 hours"]

_FREQUENCIES: Final = (
    0.2,
    0.5,
    1.0,
    2.0,
    3.0,
    4.0,
    5.0,
    6.0,
    7.0,
    8.0,
    9.0,
    10.0,
    11.0,
    12.0,
    13.0,
    14.0,
    15.0,
)
_FROM_LOW: Final[dict[Duration, tuple[float, ...]]] = {
    # Table 5 of publication 94-110, hands below 75 cm; by memory.
    "1 hour": (1, .97, .94, .91, .88, .84, .80, .75, .70, .60, .52, .45, .41, .37, 0, 0, 0),
    "2 hours": (.95, .92, .88, .84, .79, .72, .60, .50, .42, .35, .30, .26, 0, 0, 0, 0, 0),
    "8 hours": (.85, .81, .75, .65, .55, .45, .35, .27, .22, .18, 0, 0, 0, 0, 0, 0, 0),
}  # fmt: skip
_FROM_HIGH: Final[dict[Duration, tuple[float, ...]]] = {
    # The same with hands at 75 cm or above: a few more of the quick lifts are left.
    "1 hour": (*_FROM_LOW["1 hour"][:14], .34, .31, .28),
    "2 hours": (*_FROM_LOW["2 hours"][:12], .23, .21, 0, 0, 0),
    "8 hours": (*_FROM_LOW["8 hours"][:10], .15, .13, 0, 0, 0, 0, 0),
}  # fmt: skip

LIFTING_BASIS: Final = (
    "revised NIOSH lifting equation (1991), guidance for one person with two hands; the local rules decide"
)


def horizontal_multiplier(horizontal_cm: float) -> float:
    """HM = 25/H: hands in front of the ankles [cm]; 1 up to 25, 0 beyond 63.

    >>> horizontal_multiplier(50)
    0.5
    """
    _not_negative("horizontal", horizontal_cm)
    return 0.0 if horizontal_cm > 63 else 25 / max(25.0, horizontal_cm)


def vertical_multiplier(vertical_cm: float) -> float:
    """VM = 1 − 0.003·|V − 75|: hands above the floor [cm]; 0 beyond 175.

    >>> round(vertical_multiplier(0), 3)
    0.775
    """
    _not_negative("vertical", vertical_cm)
    return 0.0 if vertical_cm > 175 else 1 - 0.003 * abs(vertical_cm - 75)


def distance_multiplier(distance_cm: float) -> float:
    """DM = 0.82 + 4.5/D: lifted up or down by [cm]; 1 up to 25, 0 beyond 175.

    >>> round(distance_multiplier(100), 3)
    0.865
    """
    _not_negative("distance", distance_cm)
    return 0.0 if distance_cm > 175 else 0.82 + 4.5 / max(25.0, distance_cm)


def asymmetry_multiplier(angle_deg: float) -> float:
    """AM = 1 − 0.0032·A: turned to the side by [degrees]; 0 beyond 135.

    >>> round(asymmetry_multiplier(90), 3)
    0.712
    """
    _not_negative("turned", angle_deg)
    return 0.0 if angle_deg > 135 else 1 - 0.0032 * angle_deg


def frequency_multiplier(lifts_per_minute: float, duration: Duration, vertical_cm: float) -> float:
    """FM, by table: between two of its rows the one of the more frequent lifts is taken.

    >>> frequency_multiplier(1, "1 hour", 75), frequency_multiplier(13, "1 hour", 70)
    (0.94, 0.0)
    """
    _not_negative("lifts a minute", lifts_per_minute)
    row = (_FROM_HIGH if vertical_cm >= 75 else _FROM_LOW)[duration]
    values = [value for most, value in zip(_FREQUENCIES, row, strict=True) if lifts_per_minute <= most]
    return float(values[0]) if values else 0.0


def coupling_multiplier(coupling: Coupling, vertical_cm: float) -> float:
    """CM: how well the hands hold it; a bare sheet edge is ``poor``.

    >>> coupling_multiplier("fair", 60), coupling_multiplier("poor", 90)
    (0.95, 0.9)
    """
    if coupling == "poor":
        return 0.90
    return 0.95 if coupling == "fair" and vertical_cm < 75 else 1.0


def reach_cm(width: Length, vertical_cm: float) -> float:
    """How far from the ankles the hands are with a load of that width, when nobody measured it [cm].

    20 + W/2, from a height of 25 cm; 25 + W/2 below (publication 94-110).

    >>> reach_cm(40000, 75)
    40.0
    """
    return (20.0 if vertical_cm >= 25 else 25.0) + width / PER_MM / 10 / 2


@dataclass(frozen=True, slots=True)
class Lifted:
    """How a piece is lifted by one person.

    Attributes
    ----------
    horizontal_cm, vertical_cm
        Hands before the ankles and above the floor where the lift begins.
    distance_cm
        Lifted up or down by so much.
    angle_deg
        Turned to the side.
    lifts_per_minute, duration
        How often, and over how long at a time.
    coupling
        How well it can be held.
    """

    horizontal_cm: float
    vertical_cm: float = AT_THE_TABLE_CM
    distance_cm: float = 25.0
    angle_deg: float = 0.0
    lifts_per_minute: float = 0.2
    duration: Duration = "1 hour"
    coupling: Coupling = "poor"


@dataclass(frozen=True, slots=True)
class LiftCheck:
    """The recommended weight limit, the lifting index (mass over limit) and what is to be said.

    `index` is None when the limit is 0: the lift is outside what the equation allows for. `told` has mass
    and limit as the finding tells them [kg], so that whoever shows them beside it tells the same.
    """

    limit_kg: float
    index: float | None
    multipliers: dict[str, float]
    finding: Finding
    told: Told


def check_lift(mass_kg: float, lift: Lifted) -> LiftCheck:
    """Hold a mass against the recommended weight limit of the lift.

    Parameters
    ----------
    mass_kg
        [kg], above 0.

    >>> check = check_lift(14.375, Lifted(40, coupling="good"))
    >>> check.limit_kg, check.index
    (14.375, 1.0)
    """
    if not 0 < mass_kg < math.inf:
        raise ValueError(f"mass: {mass_kg} is not a number above 0 [kg]")
    multipliers = {
        "horizontal": horizontal_multiplier(lift.horizontal_cm),
        "vertical": vertical_multiplier(lift.vertical_cm),
        "distance": distance_multiplier(lift.distance_cm),
        "asymmetry": asymmetry_multiplier(lift.angle_deg),
        "frequency": frequency_multiplier(lift.lifts_per_minute, lift.duration, lift.vertical_cm),
        "coupling": coupling_multiplier(lift.coupling, lift.vertical_cm),
    }
    limit = LOAD_CONSTANT_KG * math.prod(multipliers.values())
    index = mass_kg / limit if limit > 0 else None
    told = Told(f"{mass_kg:.1f}", f"{limit:.1f}")
    if index is not None and index > 1:
        told = told_over(mass_kg, limit, 1)
    return LiftCheck(limit, index, multipliers, _finding(told, index), told)


def within_guidance(mass_kg: float, sides: tuple[Length, Length]) -> bool:
    """Whether the equation recommends a flat piece of that mass and these sides to one person.

    With what `check_lift` is asked when nobody tells how it is lifted: the smaller side before the body,
    the hands at the height of the table, a bare sheet edge.

    >>> within_guidance(10.0, (60000, 50000)), within_guidance(20.0, (60000, 50000))
    (True, False)
    >>> within_guidance(1.0, (200000, 100000))
    False
    """
    lift = Lifted(reach_cm(min(sides), AT_THE_TABLE_CM))
    index = check_lift(mass_kg, lift).index
    return index is not None and index <= 1


def _finding(figures: Told, index: float | None) -> Finding:
    if index is None:
        words = (
            "the reach, height, way, turn or number of these lifts lies beyond what the equation allows for: "
            "use a lifting aid"
        )
        return Finding("stop", "lift-beyond-equation", words, LIFTING_BASIS)
    if index <= 1:
        told = f"{figures.load} kg against a recommended limit of {figures.limit} kg (index {index:.2f})"
        return Finding("note", "lift-index", f"{told}; this permits nothing", LIFTING_BASIS)
    shown = told_over(index, 3 if index > 3 else 1, 2).load
    told = f"{figures.load} kg against a recommended limit of {figures.limit} kg (index {shown})"
    if index <= 3:
        words = f"{told}: bring it nearer, share it, or use a lifting aid"
        return Finding("caution", "lift-index-high", words, LIFTING_BASIS)
    return Finding("stop", "lift-index-very-high", f"{told}: use a lifting aid", LIFTING_BASIS)


def _not_negative(what: str, value: float) -> None:
    if not 0 <= value < math.inf:
        raise ValueError(f"{what}: {value} is not a number of 0 or more")
