"""What measured parts say about the back gauge: correct it, or leave it alone.

Parts come out a little off, each by another amount. Their mean says how far the gauge is off, their
spread how far that mean can be trusted. A gauge that is turned after every single part only wanders;
it is corrected when the offset is proven and is at least half a step of the gauge. An error that grows
with the gauge value, or parts that spread more than the gauge ever does, are no matter of its zero: then
something else is looked at first.

A spread of few parts is itself uncertain: a caution about it is given where even its lower bound, by χ²,
is too wide; a note where the bound leaves it open.

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple, TypeAlias

from service.engine.chi_square import chi_square_quantile
from service.engine.findings import Finding
from service.engine.machine import BackGauge
from service.engine.quantities import PER_MM, Length
from service.engine.student import student_quantile

CONFIDENCE: Final = 0.95
"""Confidence of the interval about the mean: usual, not a law."""

FEW: Final = 5
"""Below so many measured parts the interval is wide and capability says little: a shop default."""

FEWEST_OF_A_LINE: Final = 3
"""Measured parts from which the error of a slope can be told: two always lie on a line."""

CAPABLE: Final = 1.33
"""Cpk from which a process is usually called capable (4 sigma): common practice."""

_WIDE: Final = (
    "they spread more than the gauge does: look at sag, pieces not touching the gauge, twist and the "
    "measuring before its zero"
)
_STUDENT: Final = "mean and spread of the measured parts, Student's t (Abramowitz and Stegun 26.7)"
_CAPABILITY: Final = (
    "Cp = (upper − lower)/(6·s), Cpk = least distance of the mean to a limit/(3·s); bounds of s by χ² "
    "(Abramowitz and Stegun 26.4)"
)
_BOUND: Final = (
    "lower bound of the standard deviation of the measured parts, by χ² (Abramowitz and Stegun 26.4)"
)

_SLOPE: Final = "straight line through the offsets by least squares, Student's t for its slope"

Advice: TypeAlias = Literal["correct", "leave", "measure more", "look first"]


class Measured(NamedTuple):
    """What the gauge was set to and what the part measured [0.01 mm]."""

    gauge: Length
    size: Length


@dataclass(frozen=True, slots=True)
class GaugeCorrection:
    """What the measured parts say.

    Attributes
    ----------
    count
        Measured parts.
    mean_mm, spread_mm
        Mean offset, positive when parts come out too deep, and standard deviation [mm]; the spread
        is None for one part.
    confidence, low_mm, high_mm
        The interval that holds the true offset with that confidence [mm]; None for one part.
    correction
        What to add to the gauge's zero, in whole steps of the gauge [0.01 mm, either sign]; 0 unless
        the advice is to correct.
    advice, why
        ``correct``, ``leave``, ``measure more``, or ``look first`` where it is not the zero, and the reason
        in words.
    slope_mm_m, slope_half_mm_m
        By how much the offset grows with the gauge value, and the ± of that with the same confidence [mm
        a metre]; None where fewer than three parts, or one gauge value, were measured.
    cp, cpk, cpk_after
        Capability against the tolerance, as it is, and with the correction made; None without a
        tolerance or a spread.
    findings
        ``caution`` where something else than the gauge's zero wants a look.
    """

    count: int
    mean_mm: float
    spread_mm: float | None
    confidence: float
    low_mm: float | None
    high_mm: float | None
    correction: int
    advice: Advice
    why: str
    slope_mm_m: float | None
    slope_half_mm_m: float | None
    cp: float | None
    cpk: float | None
    cpk_after: float | None
    findings: tuple[Finding, ...]


def gauge_correction(
    gauge: BackGauge,
    parts: Sequence[Measured],
    *,
    minus: Length | None = None,
    plus: Length | None = None,
    confidence: float = CONFIDENCE,
    inches: bool = False,
) -> GaugeCorrection:
    """Whether to correct the gauge, by measured parts.

    Parameters
    ----------
    gauge
        Its step and accuracy.
    parts
        At least one; each may have a gauge value of its own.
    minus, plus
        Tolerance of the parts about the gauge value [0.01 mm, both 0 or more]; None: no capability.
    confidence
        Of the interval, above 0 and below 1.
    inches
        Whether the words give lengths in inches as well.

    Raises
    ------
    ValueError
        When there is no part, a size is not above 0, only one limit is given, or the limits leave
        nothing.

    >>> gauge = BackGauge(500, 100000, step=1)
    >>> said = gauge_correction(gauge, [Measured(30000, 30000 + off) for off in (11, 13, 12, 14, 10)])
    >>> said.advice, said.correction, round(said.low_mm, 3), round(said.high_mm, 3)
    ('correct', -12, 0.1, 0.14)
    """
    if not parts:
        raise ValueError("measured: at least one measured part is wanted")
    if any(part.gauge <= 0 or part.size <= 0 for part in parts):
        raise ValueError("gauge and measured: lengths greater than zero are wanted")
    if (minus is None) != (plus is None):
        raise ValueError("tolerance: minus and plus go together")
    if minus is not None and plus is not None and (min(minus, plus) < 0 or minus + plus == 0):
        raise ValueError("tolerance: minus and plus are 0 or more, and not both 0")
    offs = [part.size - part.gauge for part in parts]
    count = len(offs)
    mean = sum(offs) / count
    limits = None if minus is None or plus is None else (-minus, plus)
    if count == 1:
        return GaugeCorrection(
            1,
            mean / PER_MM,
            None,
            confidence,
            None,
            None,
            0,
            "measure more",
            "one part does not tell an offset from chance: measure at least two, better five",
            None,
            None,
            None,
            None,
            None,
            tuple(_outside(offs, limits)),
        )
    # From whole numbers, so that equal offsets give a spread of exactly nothing.
    squares = count * sum(off * off for off in offs) - sum(offs) ** 2
    spread = math.sqrt(squares / (count * (count - 1)))
    half = student_quantile(confidence, count - 1) * spread / math.sqrt(count)
    step = max(1, gauge.step)
    steps = _nearest(-sum(offs), count * step)
    shown = _Shown(inches)
    line = _line(parts, confidence)
    scale = line is not None and abs(line.slope) > line.half and abs(line.slope) * line.span >= step
    scatter = line.spread if line is not None and scale else spread
    narrowest = scatter * _least_share(confidence, count - 1 - scale)
    wide = 2 * narrowest > gauge.accuracy
    if scale and line is not None:
        advice, why = _scale(line, shown, confidence)
    else:
        advice, why = _advice(mean, half, steps, step, confidence, count, shown)
        if advice == "correct" and wide:
            advice, why = "look first", f"{_off(mean, half, confidence, shown)}; {_WIDE}"
    correction = steps * step if advice == "correct" else 0
    cp, cpk = _capability(mean, spread, limits)
    _, after = _capability(mean + correction, spread, limits)
    return GaugeCorrection(
        count,
        mean / PER_MM,
        spread / PER_MM,
        confidence,
        (mean - half) / PER_MM,
        (mean + half) / PER_MM,
        correction,
        advice,
        why,
        None if line is None else line.slope * 1000,
        None if line is None else line.half * 1000,
        cp,
        cpk,
        after,
        (
            *([Finding("caution", "gauge-scale", why, _SLOPE)] if scale else []),
            *_few(count),
            *(_spread(gauge, narrowest, confidence, shown) if wide else ()),
            *_outside(offs, limits),
            *_capable(_Told(mean + correction, half, spread, confidence, count), limits, advice),
        ),
    )


def _least_share(confidence: float, freedom: int) -> float:
    """What the true standard deviation is at least, with that confidence, over the one of the parts."""
    return math.sqrt(freedom / chi_square_quantile(confidence, freedom))


@dataclass(frozen=True, slots=True)
class _Shown:
    """How lengths in hundredths of a millimetre are put in words."""

    inches: bool

    def __call__(self, length: float) -> str:
        words = f"{length / PER_MM:.3f}".rstrip("0").rstrip(".") + " mm"
        return f"{words} ({length / PER_MM / 25.4:.4f} in)" if self.inches else words


@dataclass(frozen=True, slots=True)
class _Line:
    """The offsets against the gauge values: slope, its ±, what is left of the spread, and the span of values.

    `slope` and `half` are hundredths of a millimetre a hundredth; `spread` is a standard deviation about the
    line [0.01 mm].
    """

    slope: float
    half: float
    spread: float
    span: Length


def _line(parts: Sequence[Measured], confidence: float) -> _Line | None:
    """A straight line through the offsets; None where three parts and two gauge values are not there.

    Sums are whole numbers, so that offsets on a line leave exactly nothing.
    """
    count = len(parts)
    values = [part.gauge for part in parts]
    if count < FEWEST_OF_A_LINE or len(set(values)) == 1:
        return None
    offs = [part.size - part.gauge for part in parts]
    across = count * sum(x * x for x in values) - sum(values) ** 2
    both = count * sum(x * y for x, y in zip(values, offs, strict=True)) - sum(values) * sum(offs)
    down = count * sum(y * y for y in offs) - sum(offs) ** 2
    left = (down * across - both * both) / (across * count)
    spread = math.sqrt(left / (count - 2))
    error = spread / math.sqrt(across / count)
    half = student_quantile(confidence, count - 2) * error
    return _Line(both / across, half, spread, max(values) - min(values))


def _scale(line: _Line, shown: _Shown, confidence: float) -> tuple[Advice, str]:
    metre = PER_MM * 1000
    grows = "grows" if line.slope > 0 else "falls"
    return "look first", (
        f"the offset {grows} with the gauge value by {shown(abs(line.slope) * metre)} a metre, "
        f"{confidence:.0%} sure within ±{shown(line.half * metre)}: that is not the zero. Look at the scale, "
        "spindle or belt of the gauge, sag, and what was measured with"
    )


def _nearest(top: int, bottom: int) -> int:
    """top/bottom to the nearest whole number; of a half nothing, or corrections would swing for ever."""
    steps = (2 * abs(top) + bottom - 1) // (2 * bottom)
    return steps if top > 0 else -steps


def _off(mean: float, half: float, confidence: float, shown: _Shown) -> str:
    side = f" too {'deep' if mean > 0 else 'short'}" if mean else " off"
    return f"parts come out {shown(abs(mean))}{side} on average, {confidence:.0%} sure within ±{shown(half)}"


def _advice(
    mean: float, half: float, steps: int, step: Length, confidence: float, count: int, shown: _Shown
) -> tuple[Advice, str]:
    off = _off(mean, half, confidence, shown)
    if steps == 0:
        return "leave", (
            f"{off}: less than half a step of the gauge ({shown(step)}), there is nothing to set"
        )
    if abs(mean) <= half:
        if count < FEW:
            return "measure more", (
                f"{off}: with {count} parts that may be chance; measure {FEW} or more before it is moved"
            )
        return "leave", f"{off}: that may be chance, and a gauge that follows chance wanders"
    return "correct", (
        f"{off}: the offset is proven; set the gauge {shown(abs(steps * step))} "
        f"{'lower' if steps < 0 else 'higher'}"
    )


def _capability(
    mean: float, spread: float, limits: tuple[int, int] | None
) -> tuple[float | None, float | None]:
    if limits is None or spread == 0:
        return None, None
    low, high = limits
    return (high - low) / (6 * spread), min(high - mean, mean - low) / (3 * spread)


def _few(count: int) -> Iterator[Finding]:
    if count < FEW:
        words = f"{count} parts only: mean and spread are rough; {FEW} or more tell"
        yield Finding("note", "few-parts", words, _STUDENT)


def _spread(gauge: BackGauge, least: float, confidence: float, shown: _Shown) -> Iterator[Finding]:
    yield Finding(
        "caution",
        "gauge-spread",
        f"two standard deviations of the parts, {confidence:.0%} sure {shown(2 * least)} or more, are more "
        f"than the gauge's accuracy of ±{shown(gauge.accuracy)}: {_WIDE}",
        _BOUND,
    )


def _outside(offs: Sequence[int], limits: tuple[int, int] | None) -> Iterator[Finding]:
    if limits is None:
        return
    outside = sum(not limits[0] <= off <= limits[1] for off in offs)
    if outside:
        words = (
            "the measured part is outside the tolerance"
            if len(offs) == 1
            else f"{outside} of {len(offs)} measured parts are outside the tolerance"
        )
        yield Finding("caution", "parts-outside", words, "tolerance as given")


@dataclass(frozen=True, slots=True)
class _Told:
    """Mean with the advice followed, its ±, and the spread [0.01 mm], of so many parts."""

    mean: float
    half: float
    spread: float
    confidence: float
    count: int


def _capable(told: _Told, limits: tuple[int, int] | None, advice: Advice) -> Iterator[Finding]:
    cp, after = _capability(told.mean, told.spread, limits)
    if limits is None or cp is None or after is None:
        return
    least = told.spread * _least_share(told.confidence, told.count - 1)
    # The most favourable that the parts allow: least spread, and the mean as near to the middle as it may be.
    off = sum(limits) / 2 - told.mean
    likely = told.mean + math.copysign(min(abs(off), told.half), off)
    cp_most, after_most = _capability(likely, least, limits)
    if cp_most is not None and cp_most < CAPABLE:
        yield Finding(
            "caution",
            "not-capable",
            f"Cp {cp:.2f}, {told.confidence:.0%} sure not above {cp_most:.2f}: the parts spread too widely "
            f"for this tolerance, whatever the gauge is set to ({CAPABLE:g} is usually asked for)",
            _CAPABILITY,
        )
    elif advice not in {"correct", "leave"}:
        return
    elif after_most is not None and after_most < CAPABLE:
        yield Finding(
            "caution",
            "off-centre",
            f"Cpk {after:.2f} even with the advice followed: the tolerance does not lie about the gauge "
            "value; set the gauge to the middle of the tolerance",
            _CAPABILITY,
        )
    elif after < CAPABLE:
        yield Finding(
            "note",
            "capability-open",
            f"Cpk {after:.2f} with the advice followed, where {CAPABLE:g} is usually asked for: with "
            f"{told.count} parts that may be chance; measure more",
            _CAPABILITY,
        )
