"""Student's t for whole degrees of freedom, by its closed sums.

How far a mean of few measurements can be trusted. For whole ν the distribution is a finite sum of
sines and cosines, so no numerical integration and no library is needed.
"""

from __future__ import annotations

import math

from service.engine.halving import reaches


def student_probability(t: float, freedom: int) -> float:
    """Probability A(t|ν) that |T| ≤ t.

    Parameters
    ----------
    t
        0 or more.
    freedom
        ν, 1 or more.

    Notes
    -----
    Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.3 and 26.7.4, with
    θ = arctan(t/√ν).

    >>> round(student_probability(12.706, 1), 5)
    0.95
    """
    if freedom < 1:
        raise ValueError("degrees of freedom: 1 or more are wanted")
    angle = math.atan(t / math.sqrt(freedom))
    cosine = math.cos(angle)
    odd = freedom % 2
    term = cosine if odd else 1.0
    total = term if freedom > 1 else 0.0
    # odd ν: cos θ + ⅔ cos³ θ + …; even ν: 1 + ½ cos² θ + …, up to the power ν − 2
    for power in range(3 if odd else 2, freedom - 1, 2):
        term *= cosine * cosine * (power - 1) / power
        total += term
    if odd:
        return 2 / math.pi * (angle + math.sin(angle) * total)
    return math.sin(angle) * total


def student_quantile(confidence: float, freedom: int) -> float:
    """The t that |T| stays below with that confidence (two-sided).

    Parameters
    ----------
    confidence
        Above 0, below 1; 0.95 is usual.
    freedom
        ν, 1 or more: measurements less one.

    Notes
    -----
    The inverse of :func:`student_probability`, by halving.

    >>> round(student_quantile(0.95, 9), 3), round(student_quantile(0.95, 1), 3)
    (2.262, 12.706)
    """
    if not 0 < confidence < 1:
        raise ValueError(f"confidence: {confidence} is not between 0 and 1")
    return reaches(lambda x: student_probability(x, freedom), confidence)
