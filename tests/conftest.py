"""For all tests: Hypothesis runs repeatably where ``CI`` is set, and every plan made is replayed."""

import functools
import json
import os
from collections.abc import Callable
from typing import Any

from hypothesis import HealthCheck, settings

from schemas.plans import write_plan
from service.engine import planner
from service.engine.order import Order
from service.engine.plan import CutPlan
from service.engine.verifier import verify

settings.register_profile(
    "shearwright",
    deadline=None,
    derandomize=bool(os.environ.get("CI")),
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("shearwright")


def _replayed(finish: Callable[..., CutPlan]) -> Callable[..., CutPlan]:
    """Every plan that is made in a test process is replayed cut by cut before the test sees it."""

    @functools.wraps(finish)
    def replayed(order: Order, *given: Any, **named: Any) -> CutPlan:
        made = finish(order, *given, **named)
        verdict = verify(json.loads(json.dumps(write_plan(made, order))))
        assert verdict.ok, verdict.faults[:5]
        return made

    return replayed


planner._finished = _replayed(planner._finished)
