"""What is made of a measurement of an edge: what it teaches of wear, and what is to be said of it.

A burr is judged by itself, whatever the estimate says of the edge: the part has it. And a burr that wear
cannot explain, as on a fresh edge, comes from the gap, a chipped edge or a blade that is loose; averaged
into the wear it would only hide that, so it teaches nothing.

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from service.engine.findings import Finding
from service.engine.quantities import PER_MM, Length, show_mm
from service.engine.wear.learn import BURR_SIGMA, PRIOR_SIGMA, BladeHalf, Measure, by_burr, by_radius
from service.engine.wear.measure import judge_burr

LEAST_RADIUS_UM: Final = 1.0
"""No edge of a shear blade is ground sharper: a shop default."""

MOST_RADIUS_UM: Final = 1000.0
"""An edge worn by a millimetre cuts nothing any more: a shop default."""

_NOT_MEANT: Final = "limits of what can be measured at a blade (shop default)"
_NOT_WEAR: Final = (
    "shop default: beyond the wear estimated and the interval of it, two standard deviations of a burr's own"
)


@dataclass(frozen=True, slots=True)
class Seen:
    """What measurements teach, and what is to be said of them."""

    measures: tuple[Measure, ...] = ()
    findings: tuple[Finding, ...] = ()

    def plus(self, other: Seen) -> Seen:
        """Both; each finding once."""
        findings = tuple(dict.fromkeys((*self.findings, *other.findings)))
        return Seen((*self.measures, *other.measures), findings)


def seen_radius(estimated: float, radius_um: float, half: BladeHalf | None = None) -> Seen:
    """A measured edge radius [µm] where the estimate stands at that share of the life.

    >>> seen_radius(0.5, 0.12).findings[0].code
    'radius-not-meant'
    """
    if LEAST_RADIUS_UM <= radius_um <= MOST_RADIUS_UM:
        return Seen((by_radius(estimated, radius_um, half),))
    words = (
        f"an edge radius of {radius_um:g} µm is left out: between {LEAST_RADIUS_UM:g} and "
        f"{MOST_RADIUS_UM:g} µm is possible; was it given in another unit?"
    )
    return Seen((), (Finding("caution", "radius-not-meant", words, _NOT_MEANT),))


def seen_burr(estimated: float, thickness: Length, burr_mm: float) -> Seen:
    """A measured burr [mm] on sheet of a thickness where the estimate stands at that share of the life.

    >>> seen_burr(0.01, 300, 0.3).measures
    ()
    >>> [one.code for one in seen_burr(0.9, 300, 0.4).findings]
    ['burr-high']
    """
    if burr_mm * PER_MM > thickness:
        words = (
            f"a burr of {burr_mm:g} mm on {show_mm(thickness)} mm is left out: it is higher than the sheet "
            "is thick"
        )
        return Seen((), (Finding("caution", "burr-not-meant", words, _NOT_MEANT),))
    measure = by_burr(estimated, thickness, burr_mm)
    judged = judge_burr(thickness, burr_mm)
    said = [judged] if judged.level != "note" else []
    if measure.measured <= estimated * (1 + 2 * PRIOR_SIGMA) + 2 * BURR_SIGMA:
        return Seen((measure,), tuple(said))
    words = (
        f"a burr of {burr_mm:g} mm on {show_mm(thickness)} mm is more than wear explains, with "
        f"{estimated:.0%} of the edge's life used: look at the blade gap, for a chipped edge and for a loose "
        "blade, before the blade is turned; it is not counted as wear"
    )
    return Seen((), (*said, Finding("caution", "burr-not-wear", words, _NOT_WEAR)))
