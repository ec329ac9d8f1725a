"""Wear of an edge: by the cuts that are told, or by all that was written down of a blade."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any, Final

from schemas.problems import FieldError, pointer
from schemas.shop import Blade, BladeSchema
from schemas.wear import BladeWearQuerySchema, WearAnswerSchema, WearQuestionSchema
from service.api.checks import machine_of, material_of
from service.api.operations import Answer, Given, Operations
from service.api.parsed import machine_named, own_materials
from service.api.problems import not_found, not_valid
from service.engine.clearance import gap_for, wanted_gap
from service.engine.findings import Finding
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.materials_table import UnknownMaterial, material_named
from service.engine.quality.burr import Burr, burr_on
from service.engine.quantities import PER_MM, Length, mm
from service.engine.wear.edge import WORK_SHARE, WearCut, WearEstimate, edge_use, estimate, life_passes
from service.engine.wear.history import (
    BladeStory,
    Cutting,
    Happening,
    Measuring,
    Turning,
    beyond_blade,
    on_blade,
    told,
)
from service.engine.wear.learn import governing
from service.engine.wear.measure import cost_per_metre
from service.engine.wear.metres import severity
from service.engine.wear.seen import Seen, seen_burr, seen_radius
from service.engine.wear.spread import best_spread, spread_finding
from service.store import held, records

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
    happenings, doubtful = _happenings(machine, blade)
    story, elsewhere = _with_unknown_places(machine, blade, happenings)
    begin = given.now - timedelta(days=given.query["days"] / WORK_SHARE)
    at_work = story.cuts.get(blade.edge, [])
    written = [one for one in at_work if one.at > _BEFORE]
    started = max(begin, min((one.at for one in written), default=begin))
    observed = max(1.0, (given.now - started) / timedelta(days=1) * WORK_SHARE)
    cuts = [one.cut for one in at_work]
    found = estimate(
        machine,
        cuts,
        days=observed,
        recent=[one.cut for one in written if one.at >= begin],
        edges_unused=sum(used == 0 for number, used in enumerate(blade.used_m, 1) if number != blade.edge),
        edge_life_m=blade.life_m,
        today=given.now.date(),
        rate=governing(story.measures),
    )
    found = replace(found, findings=(*story.findings, *elsewhere, *doubtful, *found.findings))
    prices = None
    if blade.set_price is not None:
        prices = {
            "set_price": blade.set_price,
            "regrind_price": blade.regrind_price,
            "regrinds": blade.regrinds_planned,
        }
    return _answer(machine, cuts, found, blade.life_m, prices)


_BEFORE: Final = datetime(1, 1, 1, tzinfo=UTC)
"""Stands for a time that nobody wrote down."""


def _happenings(machine: Machine, blade: Blade) -> tuple[list[Happening], tuple[Finding, ...]]:
    """What was written down of the blade on this machine, and what is to be said of cuts in it."""
    read = _Reader(machine)
    found: list[Happening] = []
    unknown = 0
    for one in held.story_of(machine.id):
        payload = one.payload
        if one.type == "blade.turned":
            found.append(Turning(one.at, payload["edge"], payload["work"]))
        elif one.type == "edge.measured":
            found.append(_measuring(one.at, payload))
        elif (cut := read.cut(payload)) is not None:
            found.append(Cutting(one.at, cut, payload.get("blade_edge"), payload["equivalent_m"]))
        else:
            unknown += 1
    since = blade.edge_since
    if since is not None and not any(isinstance(one, Turning) and one.at == since for one in found):
        # Nobody at the machine wrote that down: the record was made or changed here, for a blade put on then.
        place = sum(one.at < since for one in found)
        found.insert(place, Turning(since, blade.edge, "replaced"))
    said = beyond_blade(machine.cutting_length, read.beyond)
    if unknown:
        words = f"{unknown} cuts are of grades that are not known here, and are left out"
        said = (*said, Finding("caution", "grades-unknown", words, "cutting log"))
    return found, said


def _with_unknown_places(
    machine: Machine, blade: Blade, happenings: list[Happening]
) -> tuple[BladeStory, tuple[Finding, ...]]:
    """The story; use that the record knows of and no cut accounts for is spread evenly over the blade."""
    turns = [one for one in happenings if isinstance(one, Turning)]
    first = 1 if turns else blade.edge
    story = told(machine, first, happenings, blade.life_m)
    counted = math.fsum(one.equivalent_m for one in story.cuts.get(blade.edge, []))
    steel = material_named("plain steel")
    whole = machine.cutting_length / (PER_MM * 1000) * severity(machine, steel, machine.rating.thickness)
    strokes = round((blade.used_m[blade.edge - 1] - counted) / whole)
    if strokes < 1 or blade.used_m[blade.edge - 1] < 1.05 * counted:
        return story, ()
    resets = [place for place, one in enumerate(happenings, 1) if _resets(one)]
    cut = WearCut(steel, machine.rating.thickness, machine.cutting_length, strokes)
    whole_story = list(happenings)
    whole_story.insert(resets[-1] if resets else 0, Cutting(_BEFORE, cut, blade.edge))
    words = (
        f"the record of the blade says {blade.used_m[blade.edge - 1]:.0f} m, of which {counted:.0f} m were "
        "written down as cuts; where the rest was cut is not known, and it is spread over the blade"
    )
    finding = Finding("caution", "place-unknown", words, "record of the blade")
    return told(machine, first, whole_story, blade.life_m), (finding,)


def _resets(one: Happening) -> bool:
    return isinstance(one, Turning) and one.work != "turned"


def _measuring(at: datetime, payload: Mapping[str, Any]) -> Measuring:
    thickness, place = payload.get("thickness_mm"), payload.get("place_mm")
    return Measuring(
        at,
        edge=payload.get("edge"),
        radius_um=payload.get("radius_um"),
        burr_mm=payload.get("burr_mm"),
        thickness=None if thickness is None else mm(thickness),
        place=None if place is None else mm(place),
        half=payload.get("blade"),
    )


class _Reader:
    """Cuts from the log; what many of them say alike is looked up once.

    `beyond` counts the entries whose cuts reached beyond the blade.
    """

    def __init__(self, machine: Machine) -> None:
        self._blade = machine.cutting_length
        self.beyond = 0
        self._own = own_materials()
        self._named = cache(self._material)
        self._mm = cache(mm)

    def _material(self, grade: str) -> Material | None:
        try:
            return material_named(grade, self._own)
        except UnknownMaterial:
            return None

    def cut(self, payload: Mapping[str, Any]) -> WearCut | None:
        """A cut on the blade; None when its grade is not known here."""
        material = self._named(payload["material"])
        if material is None:
            return None
        # Where nothing is said of the place, pieces lie against the squaring arm.
        start, length = self._mm(payload.get("start_mm") or 0), self._mm(payload["cut_length_mm"])
        cut = WearCut(material, self._mm(payload["thickness_mm"]), length, payload["strokes"], start)
        self.beyond += start + length > self._blade
        return on_blade(self._blade, cut)


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
