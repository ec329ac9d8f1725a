"""What measurements of an edge teach about how fast it wears.

The edge's life in the machine profile is a guess, and so is the wear by it: the true wear is *rate* times
that. Before anything is measured the rate is taken as 1, give or take. A measurement taken when the
estimate stood at a share e of the life, and which shows a share m, says rate·e = m, give or take its own
error. With normal errors the answer has a closed form, which is a Kalman filter of one unknown that stands
still: weights add up, and the mean is the weighted one,

1/σ² = 1/σ₀² + Σ (e/s)²,  rate = σ²·(μ₀/σ₀² + Σ e·m/s²).

So the order of measurements makes no difference, each one narrows the interval, and one of a fresh edge
hardly counts. Where they contradict each other, or what was thought before, by more than their errors
allow, the interval is widened by Birge's ratio, √(χ²/ν) with as many degrees of freedom as measurements
(R. T. Birge, The calculation of errors by the method of least squares, Physical Review 40, 1932). All the
deviations here are shop defaults; no published scatter was found.

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final, Literal, TypeAlias

from service.engine.quality.burr import FRESH_SHARE, WORN_SHARE
from service.engine.quantities import PER_MM, Length
from service.engine.wear.measure import END_RADIUS_UM

BladeHalf: TypeAlias = Literal["upper", "lower"]

PRIOR_SIGMA: Final = 0.3
"""Standard deviation of the rate before anything was measured: a shop default."""

RADIUS_SIGMA: Final = 0.10
"""Standard deviation of a share told by an edge radius: a shop default (15 of 150 µm)."""

BURR_SIGMA: Final = 0.25
"""Standard deviation of a share told by a burr, which gap and material sway too: a shop default."""

INTERVAL_SIGMAS: Final = 2
"""The interval reaches so many standard deviations to either side (about 95 %)."""

LEARN_BASIS: Final = (
    "shop default: wear rate 1 ± 0.6 before measurements, a radius tells the share used within ± 0.2, a burr "
    "within ± 0.5 (two standard deviations); worn at "
    f"{END_RADIUS_UM:g} µm, or a burr of {WORN_SHARE:.0%} of the thickness"
)


@dataclass(frozen=True, slots=True)
class Measure:
    """A measurement against the estimate at that time and place.

    Attributes
    ----------
    estimated
        Share of life used, by the estimate with a rate of 1.
    measured
        Share of life used, by what was measured.
    sigma
        Standard deviation of `measured`.
    half
        The blade that was measured; None: not said, or seen on the piece, and so it tells of both.
    """

    estimated: float
    measured: float
    sigma: float
    half: BladeHalf | None = None


@dataclass(frozen=True, slots=True)
class WearRate:
    """True wear over estimated wear: mean and standard deviation, and how many measurements it rests on.

    `stretch` says by what `sigma` was widened because they contradict each other; 1: they do not.
    """

    mean: float = 1.0
    sigma: float = PRIOR_SIGMA
    measurements: int = 0
    half: BladeHalf | None = None
    stretch: float = 1.0

    @property
    def low(self) -> float:
        """Lower end of the interval; 0 when it cannot be told from no wear at all."""
        return max(0.0, self.mean - INTERVAL_SIGMAS * self.sigma)

    @property
    def high(self) -> float:
        """Upper end of the interval."""
        return self.mean + INTERVAL_SIGMAS * self.sigma


def by_radius(
    estimated: float,
    radius_um: float,
    half: BladeHalf | None = None,
    end_radius_um: float = END_RADIUS_UM,
) -> Measure:
    """A measured edge radius [µm]; it is taken to grow evenly to the one of a worn edge.

    >>> by_radius(0.5, 60.0).measured
    0.4
    """
    if not 0 < radius_um < math.inf or not 0 < end_radius_um < math.inf:
        raise ValueError("edge radius: numbers above 0 are wanted [µm]")
    return Measure(_share(estimated), radius_um / end_radius_um, RADIUS_SIGMA, half)


def by_burr(estimated: float, thickness: Length, burr_mm: float, half: BladeHalf | None = None) -> Measure:
    """A measured burr height [mm] on sheet of a thickness; a usual gap is taken for granted.

    >>> by_burr(0.5, 300, 0.3).measured
    1.0
    """
    if thickness <= 0:
        raise ValueError("thickness: a length greater than zero is wanted")
    if not 0 <= burr_mm < math.inf:
        raise ValueError(f"burr: {burr_mm} is not a height of 0 or more [mm]")
    grown = burr_mm / (thickness / PER_MM) - FRESH_SHARE
    measured = round(max(0.0, grown / (WORN_SHARE - FRESH_SHARE)), 12)
    return Measure(_share(estimated), measured, BURR_SIGMA, half)


def _share(estimated: float) -> float:
    if not 0 <= estimated < math.inf:
        raise ValueError(f"share used: {estimated} is not a number of 0 or more")
    return estimated


def learn(measures: Iterable[Measure], prior: WearRate = WearRate()) -> WearRate:
    """The rate of wear after measurements, of one blade.

    >>> found = learn([by_radius(0.5, 60.0)])
    >>> round(found.mean, 4), round(found.sigma, 4)
    (0.8615, 0.1664)
    """
    taken = list(measures)
    weight = math.fsum([prior.sigma**-2, *((one.estimated / one.sigma) ** 2 for one in taken)])
    pulled = math.fsum(
        [prior.mean * prior.sigma**-2, *(one.estimated * one.measured / one.sigma**2 for one in taken)]
    )
    return WearRate(pulled / weight, weight**-0.5, prior.measurements + len(taken), prior.half)


def widened(rate: WearRate, measures: Iterable[Measure], prior: WearRate = WearRate()) -> WearRate:
    """The rate, its interval widened where measurements contradict each other or what was thought before.

    >>> log = [by_radius(0.6, 400.0)]
    >>> found = widened(learn(log), log)
    >>> round(found.stretch, 1), round(found.low, 1), round(found.high, 1)
    (10.0, 0.7, 6.6)
    """
    taken = list(measures)
    if not taken:
        return rate
    off = [((rate.mean - prior.mean) / prior.sigma) ** 2]
    off += [((rate.mean * one.estimated - one.measured) / one.sigma) ** 2 for one in taken]
    stretch = max(1.0, math.sqrt(math.fsum(off) / len(taken)))
    return replace(rate, sigma=rate.sigma * stretch, stretch=stretch)


def governing(measures: Iterable[Measure]) -> WearRate:
    """The rate of the blade that wears faster, upper or lower: both are turned together.

    What was measured without saying on which blade tells of both, and so does the one blade that was
    measured when the other was not; then none is named. With the interval :func:`widened`.

    >>> governing([Measure(0.5, 0.4, 0.1, "upper"), Measure(0.5, 0.6, 0.1, "lower")]).half
    'lower'
    """
    taken = list(measures)
    halves: tuple[BladeHalf, BladeHalf] = ("upper", "lower")
    if not all(any(one.half == half for one in taken) for half in halves):
        return widened(learn(taken), taken)
    of_half = {half: [one for one in taken if one.half in {None, half}] for half in halves}
    rates = [widened(learn(some, WearRate(half=half)), some) for half, some in of_half.items()]
    return max(rates, key=lambda rate: rate.mean)
