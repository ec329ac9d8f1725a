"""Whether a narrow drop comes out flat: twist, bow and camber.

No citable limit was found, and no formula. What is known: the side under the hold-downs stays flat,
the side that falls is bent and twisted by a blade that is inclined, the more the narrower it is
against its thickness and the larger the rake. Shops ask for a width of eight to ten thicknesses and
see trouble grow below twenty; that rule of thumb stands here, and the factors are shop defaults.

Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

from typing import Final, Literal, TypeAlias

from service.engine.findings import Finding
from service.engine.quantities import Length, show_mm

FLAT_FROM: Final = 20.0
"""Width in thicknesses from which a drop is taken to come out flat: a rule of thumb, shop default."""

TWISTS_BELOW: Final = 10.0
"""Width in thicknesses below which a drop twists noticeably: a rule of thumb, shop default."""

USUAL_RAKE_DEG: Final = 1.5
"""Rake for which these hold; at a larger one the widths are raised in proportion: a shop default."""

NARROW_BASIS: Final = (
    "rule of thumb, shop default: width against thickness, raised with a rake above 1.5 degrees; no "
    "published limit was found"
)

TwistRisk: TypeAlias = Literal["low", "some", "high"]


def twist_risk(thickness: Length, width: Length, rake_deg: float) -> TwistRisk:
    """How likely a drop of that width is to twist, bow or camber.

    Parameters
    ----------
    thickness, width
        [0.01 mm], above 0.
    rake_deg
        Inclination of the blade [degrees], 0 or more.

    >>> twist_risk(300, 6000, 1.5), twist_risk(300, 3000, 1.5), twist_risk(300, 2999, 1.5)
    ('low', 'some', 'high')
    >>> twist_risk(300, 6000, 3.0), twist_risk(300, 5900, 3.0)
    ('some', 'high')
    """
    if thickness <= 0 or width <= 0:
        raise ValueError("thickness, width: lengths greater than zero are wanted")
    if rake_deg < 0:
        raise ValueError(f"rake: {rake_deg} is not an angle of 0 or more degrees")
    share = width / thickness / max(1.0, rake_deg / USUAL_RAKE_DEG)
    if share >= FLAT_FROM:
        return "low"
    return "some" if share >= TWISTS_BELOW else "high"


def narrow_drop(thickness: Length, depth: Length, rake_deg: float) -> Finding | None:
    """What is to be said at the cut of a drop of that depth; None where it is not likely to twist.

    >>> narrow_drop(300, 2999, 1.5).code, narrow_drop(300, 3000, 1.5)
    ('narrow-drop', None)
    """
    if twist_risk(thickness, depth, rake_deg) != "high":
        return None
    return Finding(
        "caution",
        "narrow-drop",
        f"the drop is {show_mm(depth)} mm deep, {depth / thickness:.1f} times the thickness at a rake of "
        f"{rake_deg:g}°: expect twist, bow and camber",
        NARROW_BASIS,
    )


def narrow_finding(thickness: Length, width: Length, rake_deg: float) -> Finding | None:
    """What is to be said of a part that falls as a drop of that width; None when it comes out flat.

    >>> narrow_finding(200, 1000, 1.5).code
    'narrow-part-twist'
    """
    risk = twist_risk(thickness, width, rake_deg)
    if risk == "low":
        return None
    times = f"{width / thickness:.1f} thicknesses at a rake of {rake_deg:g}°"
    if risk == "some":
        return Finding(
            "note",
            "narrow-part",
            f"falls as a drop {show_mm(width)} mm wide, {times}: some bow or camber; look at the first piece",
            NARROW_BASIS,
        )
    return Finding(
        "caution",
        "narrow-part-twist",
        f"falls as a drop {show_mm(width)} mm wide, {times}: expect twist, bow and camber; where it must be "
        "flat, keep it on the table side or level it afterwards",
        NARROW_BASIS,
    )
