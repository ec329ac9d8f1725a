"""Telling the operator, with the next plan, what changed in the machine's profile since the last one."""

from __future__ import annotations

from client.cache.plans import last_plan_on
from client.changes import changed_fields
from client.errors import StoreFailed
from client.planning import KeptPlan
from client.workstation import Workstation
from schemas.plans import read_plan
from schemas.problems import WireError
from schemas.records import MachineSchema


def profile_notes(station: Workstation, kept: KeptPlan) -> list[str]:
    """What differs between the profile of this plan and that of the last one made here on its machine."""
    machine = kept.order.machine
    try:
        last = last_plan_on(station.outbox.sql, machine.id, other_than=kept.id)
    except StoreFailed as error:
        return [str(error)]  # the plan just made is none the worse for it
    if last is None:
        return []
    try:
        _, order = read_plan(last)
    except WireError:
        return []  # a plan of an earlier version says nothing of what changed
    before, after = MachineSchema().dump(order.machine), MachineSchema().dump(machine)
    told = changed_fields(before, after)
    return [f"{machine.id} changed since the last plan here ({last['id']}): {one}" for one in told]
