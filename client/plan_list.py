"""The plans that are known here as rows of a table: enough to tell plans of one order apart."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any, Final

from client.cache.plans import kept_plan, kept_plans, pieces_done
from client.errors import StoreFailed
from client.workstation import Workstation
from service.engine.order import ANY_STAGES

HEADS: Final = ("plan", "order", "machine", "made", "material", "minutes", "asked for", "steps begun")


def plan_rows(station: Workstation) -> Iterator[tuple[str, ...]]:
    """The plans made here, newest first, then those of the centre."""
    sql, zone = station.outbox.sql, station.zone()
    here = kept_plans(sql)
    for one in here:
        made = f"{datetime.fromisoformat(one.made_at).astimezone(zone):%Y-%m-%d %H:%M %Z}"
        yield _row(station, one.id, one.order_ref, one.machine, made, _kept(station, one.id))
    known = {one.id for one in here}
    for plan_id, body in station.records.records("plan"):
        if plan_id not in known:
            order, machine = str(body.get("order_ref", "")), str(body.get("machine_id", ""))
            yield _row(station, plan_id, order, machine, "at the centre", body)


def _kept(station: Workstation, plan_id: str) -> Mapping[str, Any] | None:
    try:
        return kept_plan(station.outbox.sql, plan_id)
    except StoreFailed:
        return None


def _row(
    station: Workstation, plan_id: str, order: str, machine: str, made: str, body: Mapping[str, Any] | None
) -> tuple[str, ...]:
    begun = str(len(pieces_done(station.outbox.sql, plan_id)))
    if body is None:
        return plan_id, order, machine, made, "damaged", "", "", begun
    summary = body.get("summary") or {}
    minutes = summary.get("minutes")
    told = "" if minutes is None else f"{minutes:.0f}"
    return plan_id, order, machine, made, _material(summary), told, asked_for(body), begun


def _material(summary: Mapping[str, Any]) -> str:
    if summary.get("material_cost") is not None:
        return f"{summary['material_cost']:.2f}"
    area = summary.get("stock_area_mm2")
    return "" if area is None else f"{area / 1e6:.2f} m²"


def asked_for(body: Mapping[str, Any]) -> str:
    """How a plan was asked for, as far as it is not the usual.

    >>> asked_for({"order": {"options": {"objective": "time", "effort": "quick", "max_stages": 3}}})
    'least time, quick'
    >>> asked_for({"order": {"options": {"objective": "material"}}, "cut_short": True})
    'cut short'
    """
    options = (body.get("order") or {}).get("options") or {}
    told = []
    objective = options.get("objective", "material")
    if objective != "material":
        told.append(_OBJECTIVES.get(objective, objective))
    if options.get("pick"):
        told.append(f"pick {options['pick']}")
    if options.get("effort", "standard") != "standard":
        told.append(options["effort"])
    stages = options.get("max_stages", 3)
    if stages != 3:
        told.append(
            "any stages" if stages >= ANY_STAGES else f"{stages} {'stage' if stages == 1 else 'stages'}"
        )
    if options.get("trim_mm", 5) != 5:
        told.append(f"trim {options['trim_mm']:g}")
    least = options.get("offcut_min")
    if least is not None and sorted(least) != [200, 300]:
        told.append(f"offcuts from {least[0]:g} × {least[1]:g}")
    if options.get("batch") is False:
        told.append("sheet by sheet")
    if options.get("open_stacks") is not None:
        told.append(f"stacks {options['open_stacks']}")
    if body.get("cut_short"):
        told.append("cut short")
    return ", ".join(told) or "the usual"


_OBJECTIVES: Final = {
    "handling": "least handling",
    "time": "least time",
    "cost": "least cost",
    "compare": "comparison",
    "value": "most value",
}
