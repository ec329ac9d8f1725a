"""The verifier agrees with a plan that was worked out by hand."""

import json

from service.engine.verifier import verify
from tests.engine.verifier.worked import worked_plan


def test_plan_worked_by_hand_has_no_fault() -> None:
    """The worked example of the trade (own example, general trade knowledge)."""
    verdict = verify(json.loads(json.dumps(worked_plan())))

    assert verdict.faults == ()
    assert verdict.ok
    assert verdict.counts.strokes == 8
    assert verdict.counts.parts == 8
    assert verdict.counts.pieces_used == 1
