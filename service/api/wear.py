"""Wear of an edge: by the cuts that are told, or by all that was written down of a blade."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Any, Final

from schemas.problems import FieldError, pointer
from schemas.shop import Blade, BladeSchema
from schemas.wear import BladeWearQuerySchema, WearAnswerSchema, WearQuestionSchema
from service.api.blade_story import blade_story
from service.api.checks import machine_of, material_of
from service.api.operations import Answer, Given, Operations
from service.api.parsed import machine_named
from service.api.problems import not_found, not_valid
from service.engine.clearance import gap_for, wanted_gap
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.quality.burr import Burr, burr_on
from service.engine.quantities import Length
from service.engine.wear.edge import WORK_SHARE, WearCut, WearEstimate, edge_use, estimate, life_passes
from service.engine.wear.learn import governing
from service.engine.wear.measure import cost_per_metre
from service.engine.wear.seen import Seen, seen_burr, seen_radius
from service.engine.wear.spread import best_spread, spread_finding
from service.store import records

wear = Operations("wear")

_MOST_BURRS: Final = 20


@wear(
    "POST",
    "/wear/estimate",
    scopes=("plan", "report"),
    summary="Wear of an edge along its length, and when it wants turning",
    body=WearQuestionSchema,
    answers={200: WearAnswerSchema},
    slow=True,
)
def estimate_wear(given: Given) -> Answer:
    """Estimate the wear of an edge."""
    body = given.body
    machine = machine_of(body)
    errors: list[FieldError] = []
    grades: dict[str, Material] = {}

    def cuts_of(name: str) -> list[WearCut]:
        made = []
        for index, cut in enumerate(body[name]):
            if cut["start"] + cut["cut_length"] > machine.cutting_length:
                errors.append(
                    FieldError(pointer(name, index, "cut_length"), "the cut reaches beyond the blade")
                )
            grade = cut["material"]
            if grade not in grades:
                grades[grade] = material_of(body, grade, pointer(name, index, "material"))
            made.append(
                WearCut(grades[grade], cut["thickness"], cut["cut_length"], cut["strokes"], cut["start"])
            )
        return made

    cuts = cuts_of("cuts")
    recent = None if body["recent"] is None else cuts_of("recent")
    unused = body["edges_unused"]
    if unused is not None and unused >= machine.blade_edges:
        errors.append(FieldError("/edges_unused", f"0 to {machine.blade_edges - 1} are possible"))
    for index, one in enumerate(body["measurements"]):
        if one["place"] is not None and one["place"] > machine.cutting_length:
            errors.append(FieldError(pointer("measurements", index, "place"), "it is beyond the blade"))
    if errors:
        raise not_valid(errors)
    seen = _seen(machine, cuts, body)
    found = estimate(
        machine,
        cuts,
        days=body["days"],
        recent=recent,
        edges_unused=unused,
        edge_life_m=body["edge_life_m"],
        today=body["today"],
        rate=governing(seen.measures),
    )
    found = replace(found, findings=(*seen.findings, *found.findings))
    return _answer(machine, cuts, found, body["edge_life_m"], body["prices"])


def _seen(machine: Machine, cuts: Sequence[WearCut], body: Mapping[str, Any]) -> Seen:
    use, life = edge_use(machine, cuts), life_passes(machine, body["edge_life_m"])
    found = Seen()
    for one in body["measurements"]:
        passes = use.worst.passes if one["place"] is None else use.passes_at(one["place"])
        share = passes * one["share_of_cuts"] / life
        if one["radius_um"] is not None:
            found = found.plus(seen_radius(share, one["radius_um"], one["blade"]))
        if one["burr_mm"] is not None:
            found = found.plus(seen_burr(share, one["thickness"], one["burr_mm"]))
    return found


@wear(
    "GET",
    "/wear/blades/<key>",
    scopes=("plan", "report"),
    summary="Wear of the edge at work on a blade from the cuts that were written down, and its forecast",
    query=BladeWearQuerySchema,
    answers={200: WearAnswerSchema},
)
def wear_of_blade(given: Given, key: str) -> Answer:
    """Forecast of a blade, from the events."""
    kept = records.find("blade", key)
    if kept is None:
        raise not_found(f"there is no blade {key!r}")
    blade: Blade = BladeSchema().load(kept.document)
    machine = machine_named(blade.machine) if blade.machine else None
    if machine is None:
        raise not_found(f"the blade {key!r} is on no machine, so nothing is cut with it")
    machine = replace(machine, blade_edges=blade.edges)
    begin = given.now - timedelta(days=given.query["days"] / WORK_SHARE)
    told = blade_story(machine, blade, begin)
    written = told.written(blade.edge)
    started = max(begin, min((one.at for one in written), default=begin))
    observed = max(1.0, (given.now - started) / timedelta(days=1) * WORK_SHARE)
    # In an order of their own, as cuts that are alike come together from anywhere.
    cuts = sorted(told.story.cuts_of(blade.edge), key=lambda cut: (cut.material.grade, cut.thickness))
    found = estimate(
        machine,
        cuts,
        days=observed,
        recent=[one.cut for one in written if one.at >= begin],
        edges_unused=sum(used == 0 for number, used in enumerate(blade.used_m, 1) if number != blade.edge),
        edge_life_m=blade.life_m,
        today=given.now.date(),
        rate=governing(told.story.measures),
    )
    found = replace(found, findings=(*told.findings, *found.findings))
    prices = None
    if blade.set_price is not None:
        prices = {
            "set_price": blade.set_price,
            "regrind_price": blade.regrind_price,
            "regrinds": blade.regrinds_planned,
        }
    return _answer(machine, cuts, found, blade.life_m, prices)


def _answer(
    machine: Machine,
    cuts: Sequence[WearCut],
    found: WearEstimate,
    edge_life_m: float | None,
    prices: Mapping[str, Any] | None,
) -> Answer:
    spread = best_spread(machine, found.use)
    advice = spread_finding(spread)
    kinds = list(dict.fromkeys((cut.material, cut.thickness) for cut in cuts if cut.strokes))[:_MOST_BURRS]
    burrs = [
        (material.grade, thickness, _burr(machine, material, thickness, found.share_used))
        for material, thickness in kinds
    ]
    cautions = [burr.finding for _, _, burr in burrs if burr.finding.level == "caution"]
    life = (machine.edge_life_m if edge_life_m is None else edge_life_m) / found.rate.mean
    cost = None if prices is None else cost_per_metre(life, machine.blade_edges, **_by_name(prices))
    found = replace(found, findings=(*found.findings, *([advice] if advice else []), *cautions))
    document: dict[str, Any] = WearAnswerSchema(exclude=("burrs", "spread", "cost_per_metre")).dump(found)
    rows = [
        {
            "material": grade,
            "thickness": thickness,
            "expected_mm": burr.expected_mm,
            "limit_mm": burr.limit_mm,
        }
        for grade, thickness, burr in burrs
    ]
    more = WearAnswerSchema(only=("burrs", "spread", "cost_per_metre")).dump(
        {"spread": spread, "cost_per_metre": cost, "burrs": rows}
    )
    return Answer({**document, **more})


def _burr(machine: Machine, material: Material, thickness: Length, share: float) -> Burr:
    gap, _ = gap_for(machine, material, thickness)
    return burr_on(material, thickness, gap, share, wanted_gap(machine, material, thickness).high)


def _by_name(prices: Mapping[str, Any]) -> dict[str, Any]:
    return {name: prices[name] for name in ("set_price", "regrinds", "regrind_price")}
