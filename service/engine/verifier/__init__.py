"""A second opinion on a cut plan: an independent replay of its program, cut by cut.

This package shares no code with the search, the rules, the program writer or the estimate, and
imports only the standard library. It reads a plan document (parsed JSON, which carries its order),
turns millimetres into whole hundredths by itself, takes the stock up piece by piece and makes every
cut on paper. What cannot be cut so, or does not add up, is a :class:`Fault`. A document that is not
a plan gives faults too, never an exception.

What is not judged: times and their cost, blade wear, and whether the bound is the best one.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from service.engine.verifier.books import check_books
from service.engine.verifier.faults import Counts, Fault, Faults, Verdict
from service.engine.verifier.reading import read_document
from service.engine.verifier.replay import Replay
from service.engine.verifier.trees import check_layouts

__all__ = ["Counts", "Fault", "Verdict", "verify"]


def verify(document: Mapping[str, Any]) -> Verdict:
    """Replay a plan document on its own order.

    Parameters
    ----------
    document
        Parsed JSON as the wire contract writes a plan, with its order under ``order``; lengths in mm.

    Returns
    -------
    Verdict
        ``ok`` when not one fault was found.

    >>> verify({}).faults[0].code
    'malformed'
    """
    faults = Faults()
    plan = read_document(document, faults)
    if plan is None:
        return Verdict(False, faults.found(), Counts())
    replay = Replay(plan, faults)
    for index, step in enumerate(plan.program):
        replay.take_step(index, step)
    replay.close()
    check_layouts(plan, replay.ended, faults)
    check_books(plan, replay, faults)
    counts = Counts(
        steps=len(plan.program),
        strokes=sum(step.strokes for step in plan.program),
        pieces_used=sum(replay.taken.values()),
        parts=sum(replay.parts.values()),
    )
    return Verdict(not faults.found(), faults.found(), counts)
