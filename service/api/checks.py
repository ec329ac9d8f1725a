"""Questions about single cuts: force, capacity, settings, hand-written programs, wear."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Any

from schemas.checks import (
    BladeWearQuerySchema,
    CapacityAnswerSchema,
    CapacityQuestionSchema,
    ForceAnswerSchema,
    ForceQuestionSchema,
    ProgramAnswerSchema,
    ProgramQuestionSchema,
    SettingsAnswerSchema,
    SettingsQuestionSchema,
    WearAnswerSchema,
    WearQuestionSchema,
)
from schemas.problems import FieldError, pointer
from schemas.shop import BladeSchema
from service.api.operations import Answer, Given, Operations
from service.api.plans import machine_named
from service.api.problems import field_problem, not_found, not_valid
from service.api.shop import own_materials
from service.engine.checks import capacity, check_cut
from service.engine.findings import Finding
from service.engine.force import check_force
from service.engine.handling import usual_cautions
from service.engine.machine import Machine
from service.engine.materials import Material, certified
from service.engine.materials_table import BUILT_IN, UnknownMaterial, material_named
from service.engine.program.check import GaugeStep, check_program
from service.engine.quantities import mm
from service.engine.settings import settings_for
from service.engine.wear.edge import WearCut, estimate
from service.store import held, records

WORK_SHARE = 5 / 7
"""Working days in a calendar day: a shop default."""

checks = Operations("checks")
_SCOPES = ("plan",)


def _machine(body: dict[str, Any]) -> Machine:
    machine: Machine | str | None = body["machine"]
    if isinstance(machine, str):
        name = machine
        machine = machine_named(name)
        if machine is None:
            raise field_problem("/machine", f"no machine is known by the id {name!r}")
    assert isinstance(machine, Machine)
    return machine


def _material(body: dict[str, Any], grade: str, where: str) -> Material:
    try:
        return material_named(grade, [*body["materials"], *own_materials()])
    except UnknownMaterial as error:
        raise field_problem(where, str(error)) from None


@checks(
    "POST",
    "/checks/force",
    scopes=_SCOPES,
    summary="Check force, rating and limits of one cut",
    body=ForceQuestionSchema,
    answers={200: ForceAnswerSchema},
    slow=True,
)
def check_one_force(given: Given) -> Answer:
    """Check one cut."""
    body = given.body
    machine, material = _machine(body), _material(body, body["material"], "/material")
    if (body["tensile_strength_n_mm2"] is None) != (body["certificate"] is None):
        lacking = "/certificate" if body["certificate"] is None else "/tensile_strength_n_mm2"
        raise field_problem(lacking, "a strength and the certificate that states it go together")
    if body["certificate"] is not None:
        material = certified(material, body["tensile_strength_n_mm2"], body["certificate"])
    thickness, cut_length = body["thickness"], body["cut_length"]
    rake = body["rake_deg"]
    if rake is not None and not machine.rake.low_deg <= rake <= machine.rake.high_deg:
        raise field_problem(
            "/rake_deg", f"this machine sets {machine.rake.low_deg:g} to {machine.rake.high_deg:g} degrees"
        )
    if cut_length % body["pieces_side_by_side"] and body["pieces_side_by_side"] > cut_length:
        raise field_problem("/pieces_side_by_side", "so many pieces do not fit side by side")
    force = check_force(machine, material, thickness, cut_length, rake, body["dulled_allowance"])
    document: dict[str, Any] = ForceAnswerSchema(exclude=("cautions",)).dump(force)
    if body["drop_depth"] is not None:
        found = check_cut(
            machine,
            material,
            thickness,
            cut_length=cut_length,
            drop_depth=body["drop_depth"],
            remainder_depth=body["remainder_depth"],
            gauging=body["gauging"],
            pieces_side_by_side=body["pieces_side_by_side"],
        )
        more = [finding for finding in found if finding not in force.findings]
        document["findings"] = ForceAnswerSchema(only=("findings",)).dump(
            {"findings": [*force.findings, *more]}
        )["findings"]
    document["cautions"] = list(usual_cautions(machine, [material]))
    return Answer(document)


@checks(
    "POST",
    "/checks/capacity",
    scopes=_SCOPES,
    summary="What a machine can cut: the largest thickness of each material",
    body=CapacityQuestionSchema,
    answers={200: CapacityAnswerSchema},
    slow=True,
)
def check_capacity(given: Given) -> Answer:
    """What a machine can cut."""
    body = given.body
    machine = _machine(body)
    own = {material.grade: material for material in (*own_materials(), *body["materials"])}
    grades: Sequence[str] = body["grades"] or sorted({*own, *(built.grade for built in BUILT_IN)})
    materials = [_material(body, grade, pointer("grades", index)) for index, grade in enumerate(grades)]
    rows = capacity(machine, materials, body["cut_lengths"])
    document: dict[str, Any] = CapacityAnswerSchema().dump(
        {"rows": rows, "cautions": usual_cautions(machine, materials)}
    )
    return Answer(document)


@checks(
    "POST",
    "/settings",
    scopes=_SCOPES,
    summary="Gap, rake, stroke, hold-down, relief and support for one cut",
    body=SettingsQuestionSchema,
    answers={200: SettingsAnswerSchema},
    slow=True,
)
def settings_of_cut(given: Given) -> Answer:
    """Settings of one cut."""
    body = given.body
    machine, material = _machine(body), _material(body, body["material"], "/material")
    offset = body["measured_offset_mm"]
    settings = settings_for(
        machine,
        material,
        body["thickness"],
        cut_length=body["cut_length"],
        drop_depth=body["drop_depth"],
        measured_offset=mm(offset),
        trim=body["trim"],
        gauging=body["gauging"],
    )
    document: dict[str, Any] = SettingsAnswerSchema(exclude=("cautions",)).dump(settings)
    return Answer({**document, "cautions": list(usual_cautions(machine, [material]))})


@checks(
    "POST",
    "/programs/check",
    scopes=_SCOPES,
    summary="Check and time a hand-written list of gauge steps",
    body=ProgramQuestionSchema,
    answers={200: ProgramAnswerSchema},
    slow=True,
)
def check_hand_program(given: Given) -> Answer:
    """Check a program."""
    body = given.body
    machine, material = _machine(body), _material(body, body["material"], "/material")
    steps = [
        GaugeStep(step["gauge"], step["repeat"], step["gauging"], step["note"] or "")
        for step in body["steps"]
    ]
    checked = check_program(machine, material, body["thickness"], body["cut_length"], body["depth"], steps)
    document: dict[str, Any] = ProgramAnswerSchema(exclude=("cautions", "steps")).dump(checked)
    step_schema = ProgramAnswerSchema(only=("steps",))
    document["steps"] = step_schema.dump(
        {
            "steps": [
                {
                    "number": one.number,
                    "gauge": one.step.gauge,
                    "repeat": one.step.repeat,
                    "gauging": one.step.gauging,
                    "depth_before": one.depth_before,
                    "depth_after": one.depth_after,
                    "force_kn": one.force.force_kn,
                    "settings": one.settings,
                    "findings": one.findings,
                }
                for one in checked.steps
            ]
        }
    )["steps"]
    return Answer({**document, "cautions": list(usual_cautions(machine, [material]))})


@checks(
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
    machine = _machine(body)
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
                grades[grade] = _material(body, grade, pointer(name, index, "material"))
            made.append(
                WearCut(grades[grade], cut["thickness"], cut["cut_length"], cut["strokes"], cut["start"])
            )
        return made

    cuts = cuts_of("cuts")
    recent = None if body["recent"] is None else cuts_of("recent")
    unused = body["edges_unused"]
    if unused is not None and unused >= machine.blade_edges:
        errors.append(FieldError("/edges_unused", f"0 to {machine.blade_edges - 1} are possible"))
    if errors:
        raise not_valid(errors)
    found = estimate(
        machine,
        cuts,
        days=body["days"],
        recent=recent,
        edges_unused=unused,
        edge_life_m=body["edge_life_m"],
        today=body["today"],
    )
    document: dict[str, Any] = WearAnswerSchema().dump(found)
    return Answer(document)


@checks(
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
    blade = BladeSchema().load(kept.document)
    machine = machine_named(blade.machine) if blade.machine else None
    if machine is None:
        raise not_found(f"the blade {key!r} is on no machine, so nothing is cut with it")
    begin = given.now - timedelta(days=given.query["days"] / WORK_SHARE)
    made = held.cuts_on(machine.id, blade.edge, blade.edge_since)
    own = own_materials()
    cuts = [(cut.at, _wear_cut(cut.payload, machine, own)) for cut in made]
    known = [(at, cut) for at, cut in cuts if cut is not None]
    started = max(begin, min((at for at, _ in known), default=begin))
    observed = max(1.0, (given.now - started) / timedelta(days=1) * WORK_SHARE)
    unused = sum(1 for number, used in enumerate(blade.used_m, 1) if number != blade.edge and used == 0)
    found = estimate(
        replace(machine, blade_edges=blade.edges),
        [cut for _, cut in known],
        days=observed,
        recent=[cut for at, cut in known if at >= begin],
        edges_unused=unused,
        edge_life_m=blade.life_m,
        today=given.now.date(),
    )
    if len(known) < len(cuts):
        words = f"{len(cuts) - len(known)} cuts are of grades that are not known here, and are left out"
        found = replace(
            found, findings=(Finding("caution", "grades-unknown", words, "cutting log"), *found.findings)
        )
    document: dict[str, Any] = WearAnswerSchema().dump(found)
    return Answer(document)


def _wear_cut(payload: Mapping[str, Any], machine: Machine, own: Sequence[Material]) -> WearCut | None:
    try:
        material = material_named(payload["material"], own)
    except UnknownMaterial:
        return None
    # Where along the blade it was cut is not written down: pieces lie against the squaring arm.
    length = min(mm(payload["cut_length_mm"]), machine.cutting_length)
    return WearCut(material, mm(payload["thickness_mm"]), length, payload["strokes"])
