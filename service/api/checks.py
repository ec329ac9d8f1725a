"""Questions about single cuts: force, capacity, settings, hand-written programs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from schemas.checks import (
    CapacityAnswerSchema,
    CapacityQuestionSchema,
    ForceAnswerSchema,
    ForceQuestionSchema,
    ProgramAnswerSchema,
    ProgramQuestionSchema,
    SettingsAnswerSchema,
    SettingsQuestionSchema,
)
from schemas.findings import FindingSchema
from schemas.problems import NOT_TO_BE_CUT, pointer
from schemas.slips import slips_of_machine, slips_of_material
from service.api.operations import Answer, Given, Operations
from service.api.parsed import machine_named, own_materials
from service.api.problems import ProblemError, field_problem, not_valid
from service.engine.checks import capacity, check_cut, worst_first
from service.engine.findings import Finding
from service.engine.force import check_force
from service.engine.force_limits import rake_slip
from service.engine.handling import Lift, usual_cautions
from service.engine.machine import Machine
from service.engine.materials import Material, certified
from service.engine.materials_table import BUILT_IN, UnknownMaterial, material_named
from service.engine.plausible import certificate_findings, certificate_slip
from service.engine.program.check import GaugeStep, check_program
from service.engine.quantities import mm
from service.engine.settings import settings_for

checks = Operations("checks")
_SCOPES = ("plan",)


def machine_of(body: dict[str, Any], *, as_it_is: bool = False) -> Machine:
    """The machine of a question, by its id or as a whole profile.

    422 when none is known by the id, or when the profile contradicts itself; `as_it_is`: that is what
    is asked, and not refused.
    """
    machine: Machine | str | None = body["machine"]
    if isinstance(machine, str):
        name = machine
        machine = machine_named(name)
        if machine is None:
            raise field_problem("/machine", f"no machine is known by the id {name!r}")
    elif machine is not None and not as_it_is and (faults := list(slips_of_machine(machine, "machine"))):
        raise not_valid(faults)
    assert isinstance(machine, Machine)
    return machine


def material_of(body: dict[str, Any], grade: str, where: str, *, as_it_is: bool = False) -> Material:
    """The material of a grade that stands at `where` in a question.

    422 when it is not known, or when a grade of the question has figures that cannot be meant;
    `as_it_is`: that is what is asked, and not refused.
    """
    if not as_it_is:
        faults = [
            fault
            for index, own in enumerate(body["materials"])
            for fault in slips_of_material(own, "materials", index)
        ]
        if faults:
            raise not_valid(faults)
    try:
        return material_named(grade, [*body["materials"], *own_materials()])
    except UnknownMaterial as error:
        raise field_problem(where, str(error)) from None


def _cautions(
    machine: Machine, material: Material, found: Iterable[Finding], lifts: Iterable[Lift] = ()
) -> list[str]:
    return list(usual_cautions(machine, [material], lifts, (finding.code for finding in found)))


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
    machine, material = machine_of(body), material_of(body, body["material"], "/material")
    if (body["tensile_strength_n_mm2"] is None) != (body["certificate"] is None):
        lacking = "/certificate" if body["certificate"] is None else "/tensile_strength_n_mm2"
        raise field_problem(lacking, "a strength and the certificate that states it go together")
    thickness, cut_length = body["thickness"], body["cut_length"]
    doubtful: tuple[Finding, ...] = ()
    if body["certificate"] is not None:
        strength = body["tensile_strength_n_mm2"]
        if (slip := certificate_slip(material, thickness, strength)) is not None:
            raise field_problem("/tensile_strength_n_mm2", slip)
        doubtful = certificate_findings(material, thickness, strength)
        material = certified(material, strength, body["certificate"])
    rake = body["rake_deg"]
    if rake is not None and (slip := rake_slip(machine, rake)) is not None:
        raise field_problem("/rake_deg", slip)
    if cut_length % body["pieces_side_by_side"] and body["pieces_side_by_side"] > cut_length:
        raise field_problem("/pieces_side_by_side", "so many pieces do not fit side by side")
    force = check_force(machine, material, thickness, cut_length, rake, body["dulled_allowance"])
    found = check_cut(
        machine,
        material,
        thickness,
        cut_length=cut_length,
        drop_depth=body["drop_depth"],
        remainder_depth=body["remainder_depth"],
        gauging=body["gauging"],
        pieces_side_by_side=body["pieces_side_by_side"],
        force=force,
    )
    findings = worst_first((*doubtful, *found))
    document: dict[str, Any] = ForceAnswerSchema(exclude=("cautions",)).dump(
        replace(force, findings=findings)
    )
    document["cautions"] = _cautions(machine, material, findings)
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
    machine = machine_of(body)
    own = {material.grade: material for material in (*own_materials(), *body["materials"])}
    grades: Sequence[str] = body["grades"] or sorted({*own, *(built.grade for built in BUILT_IN)})
    materials = [material_of(body, grade, pointer("grades", index)) for index, grade in enumerate(grades)]
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
    """Settings of one cut; none for a cut that is stopped."""
    body = given.body
    machine, material = machine_of(body), material_of(body, body["material"], "/material")
    offset = body["measured_offset_mm"]
    force = check_force(machine, material, body["thickness"], body["cut_length"])
    found = check_cut(
        machine,
        material,
        body["thickness"],
        cut_length=body["cut_length"],
        drop_depth=body["drop_depth"],
        remainder_depth=body["remainder_depth"],
        gauging=body["gauging"],
        force=force,
    )
    settings = settings_for(
        machine,
        material,
        body["thickness"],
        cut_length=body["cut_length"],
        drop_depth=body["drop_depth"],
        measured_offset=mm(offset),
        trim=body["trim"],
        gauging=body["gauging"],
        force=force,
    )
    findings = worst_first((*found, *settings.findings))
    if stops := [finding for finding in findings if finding.level == "stop"]:
        raise ProblemError(
            422,
            "The cut is stopped",
            "; ".join(stop.message for stop in stops),
            kind=NOT_TO_BE_CUT,
            members={"findings": FindingSchema(many=True).dump(findings)},
        )
    document: dict[str, Any] = SettingsAnswerSchema(exclude=("cautions",)).dump(
        replace(settings, findings=findings)
    )
    return Answer({**document, "cautions": _cautions(machine, material, findings)})


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
    machine, material = machine_of(body), material_of(body, body["material"], "/material")
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
    told = [finding for one in checked.steps for finding in one.findings]
    return Answer({**document, "cautions": _cautions(machine, material, told, [checked.lift])})
