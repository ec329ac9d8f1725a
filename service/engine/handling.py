"""Who moves a piece, and the usual cautions at a shear.

Nothing here allows anything. Limits for lifting are the shop's; the local rules decide. Guards,
two-hand or pedal controls, rear light curtains and lock-out belong to the machine's maker, the
local code and licensed practice.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final, Literal, TypeAlias

from service.engine.findings import Finding
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.order import Order
from service.engine.own_grades import instead_of_built_in
from service.engine.plan import Layout, Step
from service.engine.quantities import PER_MM, Length, show_mm
from service.engine.told import told_over

Lift: TypeAlias = Literal["one person", "two people", "crane"]

TEAM_SHARES: Final = {1: 1.0, 2: 2 / 3, 3: 1 / 2}
"""What a team lifts, as a share of the sum of what each may lift: guidance of the UK's HSE."""

_SHOP_BASIS: Final = "machine profile (shop's limits; the local rules decide)"


def piece_kg(material: Material, length: Length, width: Length, thickness: Length) -> float:
    """Mass of a flat piece, ρ·length·width·thickness [kg].

    Parameters
    ----------
    material
        Its density ρ [kg/m³].
    length, width, thickness
        [0.01 mm]

    Notes
    -----
    Nominal thickness; sheets may be thicker by their tolerance, some trade tables allow 2 % for it.

    >>> from service.engine.materials_table import material_named
    >>> round(piece_kg(material_named("S235JR"), 125000, 250000, 200), 2)
    49.06
    """
    return material.density * length * width * thickness / (PER_MM * 1000) ** 3


def team_limit_kg(each: Sequence[float]) -> float:
    """What two or three people may lift together, by the guidance of the UK's HSE [kg].

    Parameters
    ----------
    each
        What each of them may lift alone [kg]; one to three people.

    >>> round(team_limit_kg([20, 20]), 1)
    26.7
    """
    if len(each) not in TEAM_SHARES:
        raise ValueError(f"a team of {len(each)}: one to three people are wanted")
    return sum(each) * TEAM_SHARES[len(each)]


def unwieldy(machine: Machine, sides: tuple[Length, Length]) -> bool:
    """Whether a piece of these sides is too long or too wide for one person, however light it is."""
    return max(sides) > machine.lifting.one_person_length or min(sides) > machine.lifting.one_person_width


def lift_for(machine: Machine, kg: float, sides: tuple[Length, Length]) -> Lift | None:
    """Who moves a piece of that mass [kg] and these sides [0.01 mm]; None when nobody here may lift it."""
    limits = machine.lifting
    if kg <= limits.one_person_kg and not unwieldy(machine, sides):
        return "one person"
    if kg <= limits.two_people_kg:
        return "two people"
    if limits.crane_kg is not None and kg <= limits.crane_kg:
        return "crane"
    return None


def lift_finding(machine: Machine, kg: float, sides: tuple[Length, Length]) -> Finding | None:
    """What is to be said of lifting a piece of that mass [kg]; None for what one person may lift.

    ``note`` (``two-people``, ``crane``); ``caution`` (``team-lift``) when two people would carry more
    than two thirds of what each may lift alone; ``stop`` (``too-heavy``) beyond every limit.
    """
    limits = machine.lifting
    lift = lift_for(machine, kg, sides)
    if lift == "one person":
        return None
    if lift == "two people":
        team = team_limit_kg([limits.one_person_kg] * 2)
        if kg <= team:
            size = f", {show_mm(max(sides))} × {show_mm(min(sides))} mm" if unwieldy(machine, sides) else ""
            return Finding("note", "two-people", f"{kg:.1f} kg{size}: two people", _SHOP_BASIS)
        told = told_over(kg, team, 1)
        return Finding(
            "caution",
            "team-lift",
            f"{told.load} kg is heavy for two people: guidance says {told.limit} kg for two who may lift "
            f"{limits.one_person_kg:g} kg each; use a lifting aid where there is one",
            "guidance on team lifts of the UK's HSE; limits of the machine profile",
        )
    if lift == "crane":
        return Finding("note", "crane", f"{kg:.1f} kg: crane", _SHOP_BASIS)
    told = told_over(kg, limits.two_people_kg if limits.crane_kg is None else limits.crane_kg, 1)
    if limits.crane_kg is None:
        why = (
            f"more than two people may lift ({limits.two_people_kg:g} kg), and the machine profile "
            "names no crane"
        )
    else:
        why = f"more than the crane may lift ({limits.crane_kg:g} kg)"
    return Finding("stop", "too-heavy", f"{told.load} kg is {why}", _SHOP_BASIS)


_ALWAYS: Final = (
    "Keep hands clear of the hold-downs and the blade; they crush and amputate.",
    "Cut only pieces that the hold-downs grip. A piece too small to reach under them is not "
    "for this machine.",
    "Do not reach behind the blade and do not catch falling pieces; nobody stands behind while the "
    "machine can stroke.",
    "Never cut round bar, rod or wire, several layers at once, or hardened stock; of wear plate only what "
    "the makers of the plate and of the machine allow to be sheared.",
    "Sheared edges are sharp: wear gloves and safety shoes for handling, and keep gloves away from the "
    "hold-downs.",
    "Stop, lock out and let stored energy go before any work at the blade, the gap or the gauge.",
    "Guards, two-hand or pedal controls and rear light curtains stay as the maker fitted them. The maker's "
    "manual, the local code and licensed practice (EN 13985, ISO 12100, ISO 13855, national rules) come "
    "before this program.",
)
_TWO_PEOPLE: Final = (
    "Some pieces want two people: agree on one who leads, and only that one works the control."
)
_CRANE: Final = (
    "Some pieces go by crane: keep out from under the load; slings and operators by the local rules."
)
_HARD: Final = (
    "Hard plate may throw chips and break a blade: eye protection, and only where the makers of plate "
    "and machine allow it to be sheared."
)
_NO_RELIEF: Final = (
    "This machine's back gauge does not back off: narrow drops can jam behind the blade. Clear them with the "
    "machine stopped and locked out, never by hand past the blade."
)
_NARROW: Final = (
    "Narrow pieces spring, turn and fly as they are cut off: let them fall, and never steady them by hand "
    "behind the blade."
)
_HANGS: Final = "Thin pieces that hang behind the blade are carried by a support or a stand, not by a person."
_FEET: Final = (
    "Some pieces lie under one foot or none at the squaring arm: unless the hold-downs grip them, they are "
    "not cut."
)
_OVERHANG: Final = (
    "Some pieces hang over the front of the table: support that end with a stand before the cut, and not by "
    "hand."
)
_UNSQUARE: Final = (
    "Mill edges may be out of square by more than the trim: look whether the whole edge is cut before the "
    "other cuts are made from it."
)
_NO_ARM: Final = (
    "This machine has no squaring arm: check the first piece of each step with a square before the others "
    "are cut."
)
_WHAT_IT_IS: Final = (
    "Figures here are planning figures. They do not release a cut: the operator, the rating plate and the "
    "maker's manual decide."
)


_ON_FINDING: Final = (
    (_NARROW, {"narrow-drop"}),
    (_HANGS, {"support-missing"}),
    (_OVERHANG, {"beyond-table"}),
    (_UNSQUARE, {"trim-out-of-square"}),
    (_NO_ARM, {"no-squaring-arm"}),
    (_FEET, {"few-feet", "between-feet"}),
)
"""What is said when a cut has one of these findings."""


def usual_cautions(
    machine: Machine,
    materials: Iterable[Material] = (),
    lifts: Iterable[Lift] = (),
    found: Iterable[str] = (),
) -> tuple[str, ...]:
    """The usual cautions for work at this machine, in a fixed order.

    Parameters
    ----------
    machine
        A gauge that cannot back off is worth a word.
    materials
        What is cut; a grade of the shop that stands for a built-in one is worth a word.
    lifts
        Who moves the pieces.
    found
        Codes of what was found about the cuts.
    """
    cut, moved, codes = tuple(materials), set(lifts), set(found)
    said = list(_ALWAYS)
    if "two people" in moved:
        said.append(_TWO_PEOPLE)
    if "crane" in moved:
        said.append(_CRANE)
    if any(material.family == "wear plate" for material in cut):
        said.append(_HARD)
    said += [words for one in cut if (words := instead_of_built_in(one)) is not None]
    said += [words for words, about in _ON_FINDING if about & codes]
    if not machine.relief:
        said.append(_NO_RELIEF)
    said.append(_WHAT_IT_IS)
    return tuple(said)


def cautions_for(
    order: Order, layouts: tuple[Layout, ...] = (), program: tuple[Step, ...] = ()
) -> tuple[str, ...]:
    """The usual cautions for the work of a plan, in a fixed order.

    Parameters
    ----------
    order
        Its machine.
    layouts, program
        The materials that are cut, and who moves the pieces.
    """
    cut = {layout.material for layout in layouts}
    return usual_cautions(
        order.machine,
        [material for material in order.materials if material.grade in cut],
        [step.lift for step in program],
        [finding.code for step in program for finding in step.findings],
    )
