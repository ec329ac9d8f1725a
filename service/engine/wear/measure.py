"""What a measurement at the machine says of an edge, and what a metre of cutting costs in blades.

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

import math
from typing import Final

from service.engine.findings import Finding
from service.engine.quantities import PER_MM, Length, show_mm

BURR_SHARE: Final = 0.10
"""Burr is held below this share of the thickness, as manufacturing handbooks have it."""

END_RADIUS_UM: Final = 150.0
"""Edge radius at which an edge is called worn: a shop default [µm]."""


def judge_burr(thickness: Length, burr_mm: float) -> Finding:
    """What a burr height says of edge and gap.

    Parameters
    ----------
    thickness
        [0.01 mm], above 0. The rule is for sheet from about 0.25 mm.
    burr_mm
        Height of the burr [mm], 0 or more.

    >>> judge_burr(300, 0.4).code
    'burr-high'
    """
    if thickness <= 0:
        raise ValueError("thickness: a length greater than zero is wanted")
    if not 0 <= burr_mm < math.inf:
        raise ValueError(f"burr: {burr_mm} is not a height of 0 or more [mm]")
    limit = BURR_SHARE * thickness / PER_MM
    basis = "manufacturing handbooks: burr below about 10 % of the thickness is attainable"
    if burr_mm > limit:
        return Finding(
            "caution",
            "burr-high",
            f"a burr of {burr_mm:g} mm on {show_mm(thickness)} mm is above {limit:.2f} mm: the edge is worn "
            "or the gap too wide",
            basis,
        )
    return Finding(
        "note",
        "burr",
        f"a burr of {burr_mm:g} mm on {show_mm(thickness)} mm is within {limit:.2f} mm",
        basis,
    )


def cost_per_metre(
    edge_life_m: float, edges: int, set_price: float, regrinds: int, regrind_price: float
) -> float:
    """What a metre of the rated plate costs in blades [the shop's money per m].

    (price of a set + regrinds · price of a regrind) / (edge life · edges · (regrinds + 1))

    Parameters
    ----------
    edge_life_m
        [m], above 0.
    edges
        Cutting edges of one blade; all are fresh again after a regrind.
    set_price, regrind_price
        Of upper and lower blade together, work included [the shop's money].
    regrinds
        How often a set can be reground.

    >>> cost_per_metre(60000, 4, 3000, 3, 600)
    0.005
    """
    if not 0 < edge_life_m < math.inf or edges < 1 or regrinds < 0:
        raise ValueError("edge life above 0, at least one edge and 0 or more regrinds are wanted")
    if not (0 <= set_price < math.inf and 0 <= regrind_price < math.inf):
        raise ValueError("prices of 0 or more are wanted")
    return (set_price + regrinds * regrind_price) / (edge_life_m * edges * (regrinds + 1))
