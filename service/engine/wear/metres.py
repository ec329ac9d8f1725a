"""What a metre of cutting does to an edge, against a metre of the rated plate.

No published figure for shear blades was found: neither a wear coefficient nor a number of strokes.
The exponents here and `Machine.edge_life_m` are shop defaults, to be corrected by measurements (see
:mod:`service.engine.wear.learn`). Archard's law of wear (volume = K·force·slide/hardness) supports
the strength to the first power, and the thickness to between one (the load on a point of the edge)
and two (the slide grows with thickness too). One is taken: it lets thin sheet, which most shops cut
most, count for more.

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

from typing import Final

from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.quantities import Length

THICKNESS_EXPONENT: Final = 1.0
"""Wear goes with (t/t rated) to this power: a shop default."""

STRENGTH_EXPONENT: Final = 1.0
"""Wear goes with (Rm/Rm rated) to this power: a shop default."""

WEAR_BASIS: Final = (
    "shop default: (t/t rated)·(Rm/Rm rated)·abrasiveness of the material; no published figure was found"
)


def severity(machine: Machine, material: Material, thickness: Length) -> float:
    """What a metre of this cutting counts in metres of the rated plate [ratio].

    (t/t₀)^a · (Rm/Rm₀)^b · abrasiveness, with t₀ and Rm₀ of the rating plate; Rm at the upper end of
    the material's range.

    Parameters
    ----------
    thickness
        [0.01 mm], above 0. Valid for what the machine may cut; nothing is checked here.

    >>> from service.engine.machine import BackGauge, GapRange, HoldDown, Machine, Rake, Rating
    >>> from service.engine.materials_table import material_named
    >>> machine = Machine("m", "m", 300000, Rating(600), Rake(1.5, 1.5), GapRange(5, 60),
    ...                   BackGauge(500, 100000), HoldDown(4500))
    >>> severity(machine, material_named("plain steel"), 300)
    0.5
    """
    if thickness <= 0:
        raise ValueError("thickness: a length greater than zero is wanted")
    thick = thickness / machine.rating.thickness
    strong = material.strength_at(thickness)[1] / machine.rating.rm
    return float(thick**THICKNESS_EXPONENT * strong**STRENGTH_EXPONENT * material.abrasiveness)


def equivalent_metres(machine: Machine, material: Material, thickness: Length, metres: float) -> float:
    """Metres of the rated plate that wear the edge as much as these metres do [m].

    Additive: the equivalent metres of several jobs add up in any order.
    """
    if not 0 <= metres < float("inf"):
        raise ValueError(f"metres cut: {metres} is not a number of 0 or more")
    return severity(machine, material, thickness) * metres
