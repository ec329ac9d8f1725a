"""How far a size comes out, as a sum of independent errors, and the chance that it is inside its limits.

The model, all of it a shop default that can be argued with:

* a stated accuracy ± of a gauge, a stop or a marked line is **two standard deviations of a normal**
  error (coverage factor 2, as measuring accuracies are commonly stated);
* a sheet delivered up to so much over size is **evenly spread** between nominal and that;
* a mill edge held against the gauge is out of straight by anything up to the trim either way,
  evenly spread;
* what is known is a **shift**: the distance to the nearest position of a gauge that moves in steps,
  and the length that a sagging drop gains;
* the errors of different cuts do not depend on each other.

The sum of these has a closed distribution, which is used as it stands: no simulation, no rounding to
a normal. Lengths are whole hundredths of a millimetre.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations
from typing import Final, TypeAlias

from service.engine.quantities import Length

SIGMAS: Final = 2
"""A stated accuracy ± is this many standard deviations: a shop default."""

ERROR_MODEL: Final = (
    "shop default: an accuracy ± is two standard deviations of a normal error, oversize of stock is evenly "
    "spread, errors are independent, step of the gauge and sag are fixed shifts"
)

_DIGITS: Final = 6

_NARROW: Final = 4
"""An even error this many times narrower than σ counts as a normal one."""

_TAIL: Final = 8
"""Nothing is left of a normal error beyond so many σ, by far more digits than are kept."""

Span: TypeAlias = tuple[Length, Length]


@dataclass(frozen=True, slots=True)
class Errors:
    """The error of a size: true size less nominal one.

    Attributes
    ----------
    shift
        What is known of it.
    squares
        Sum of the squared accuracies of its normal parts [0.01 mm, squared].
    spans
        Lowest and highest value of each evenly spread part.
    """

    shift: Length = 0
    squares: int = 0
    spans: tuple[Span, ...] = ()

    def plus(self, other: Errors) -> Errors:
        """The error of a sum of two sizes.

        >>> Errors(2, 100).plus(Errors(-1, 25))
        Errors(shift=1, squares=125, spans=())
        """
        return Errors(
            self.shift + other.shift,
            self.squares + other.squares,
            tuple(sorted((*self.spans, *other.spans))),
        )

    def less(self, other: Errors) -> Errors:
        """The error of what is left when a piece is taken off.

        >>> Errors(0, 0, ((0, 50),)).less(Errors(3, 100))
        Errors(shift=-3, squares=100, spans=((0, 50),))
        """
        turned = tuple((-high, -low) for low, high in other.spans)
        return self.plus(Errors(-other.shift, other.squares, turned))


def accurate(accuracy: Length, shift: Length = 0) -> Errors:
    """The error of a size gauged within ± `accuracy`."""
    return Errors(shift, accuracy * accuracy)


def evenly(low: Length, high: Length) -> Errors:
    """An error anywhere between two values; nothing when they are equal and 0."""
    return Errors(low) if low == high else Errors(0, 0, ((low, high),))


def chance_inside(errors: Errors, minus: Length, plus: Length) -> float:
    """The chance that the error lies from −`minus` to +`plus`, limits included [fraction].

    Notes
    -----
    For a normal error of deviation σ and n even ones of widths w, the distribution function is

    F(x) = Σ (−1)^|S| · σⁿ·Iₙ((x − Σlow − Σ_{S} w)/σ) / Πw, over all sets S of the even ones,

    with Iₙ the n-fold integral of the normal distribution function: I₀ = Φ, I₁(z) = z·Φ(z) + φ(z),
    Iₙ = (z·Iₙ₋₁ + Iₙ₋₂)/n. Rounded to six digits, so that it is the same on every machine.

    Of narrow even errors the sums are small differences of large terms. One no wider than a quarter of σ is
    therefore counted as a normal one of its mean and variance, w²/12, which is off by less than a millionth
    (the next term of Edgeworth's series, (w/σ)⁴/2880 times 0.55 at most). With no normal error at all the
    sums are exact fractions.

    >>> chance_inside(accurate(10), 10, 10)
    0.9545
    >>> chance_inside(evenly(0, 50), 0, 40)
    0.8
    """
    sigma = math.sqrt(errors.squares) / SIGMAS
    widths = [high - low for low, high in errors.spans]
    if sigma == 0 and not widths:
        return float(-minus <= errors.shift <= plus)
    start = errors.shift + sum(low for low, _ in errors.spans)
    if sigma == 0:
        exact = _exactly_below(plus - start, widths) - _exactly_below(-minus - start, widths)
        return round(float(exact), _DIGITS)
    narrow = [width for width in widths if width * _NARROW <= sigma]
    wide = [width for width in widths if width * _NARROW > sigma]
    middle = start + sum(narrow) / 2
    sigma = math.sqrt(errors.squares / SIGMAS**2 + sum(width * width for width in narrow) / 12)
    found = _below(plus - middle, sigma, wide) - _below(-minus - middle, sigma, wide)
    return round(min(1.0, max(0.0, found)), _DIGITS)


def of_many(chances: Iterable[tuple[float, int]]) -> tuple[float, float]:
    """How many lie outside on average, and the chance that none does.

    Parameters
    ----------
    chances
        The chance of one to be inside [fraction], and how many have it [0 or more].

    Notes
    -----
    The average, Σ n·(1 − p), holds however the errors hang together. The chance that all are inside, Π pⁿ,
    is that of independent errors; pieces that share a cut are right or wrong together, and then it is more
    (for normal errors about the size wanted that is Šidák's inequality of 1967).

    >>> of_many([(0.9545, 24)])
    (1.092, 0.327056)
    """
    found = list(chances)
    outside = math.fsum(count * (1 - chance) for chance, count in found)
    whole = math.prod(chance**count for chance, count in found)
    return round(outside, _DIGITS), round(whole, _DIGITS)


def _below(x: float, sigma: float, widths: list[Length]) -> float:
    """Chance that a normal error and even ones from 0 to each width add up to at most x."""
    if x <= -_TAIL * sigma:
        return 0.0
    if x >= sum(widths) + _TAIL * sigma:
        return 1.0
    terms = [
        (-1) ** size * _integral(len(widths), x - sum(some), sigma)
        for size in range(len(widths) + 1)
        for some in combinations(widths, size)
    ]
    return math.fsum(terms) / math.prod(widths)


def _exactly_below(x: Length, widths: list[Length]) -> Fraction:
    """Chance that even errors from 0 to each width, one or more, add up to at most x."""
    times = len(widths)
    terms = sum(
        (-1) ** size * max(0, x - sum(some)) ** times
        for size in range(times + 1)
        for some in combinations(widths, size)
    )
    return Fraction(terms, math.factorial(times) * math.prod(widths))


def _integral(times: int, x: float, sigma: float) -> float:
    """The `times`-fold integral of the distribution function of a normal error up to x."""
    z = x / sigma
    before, now = math.exp(-z * z / 2) / math.sqrt(2 * math.pi), math.erfc(-z / math.sqrt(2)) / 2
    for n in range(1, times + 1):
        before, now = now, (z * now + before) / n
    return now * sigma**times
