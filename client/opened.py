"""A plan known at this station, read."""

from __future__ import annotations

from client.errors import InputWrong
from client.workstation import Workstation
from schemas.plans import read_plan
from schemas.problems import WireError
from service.engine.order import Order
from service.engine.plan import CutPlan


def opened_plan(station: Workstation, plan_id: str) -> tuple[CutPlan, Order]:
    """A plan known here, read.

    Raises
    ------
    InputWrong
        When it is not known or not understood.
    """
    try:
        return read_plan(station.plan_document(plan_id))
    except WireError as error:
        raise InputWrong(f"plan {plan_id} is not understood here: {error}") from error
