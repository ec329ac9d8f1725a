"""Questions about the shear itself: its gauge, its profile, and a shop's own grades."""

from __future__ import annotations

from typing import Any

from schemas.problems import pointer
from schemas.shear import (
    GaugeAnswerSchema,
    GaugeQuestionSchema,
    ProfileAnswerSchema,
    ProfileQuestionSchema,
)
from schemas.slips import slips_of_machine, slips_of_material
from service.api.checks import machine_of, material_of
from service.api.operations import Answer, Given, Operations
from service.engine.gauge_correction import Measured, gauge_correction
from service.engine.plausible import material_findings
from service.engine.plausible_machine import machine_findings
from service.engine.provenance import properties_of

shear = Operations("shear")
_SCOPES = ("plan",)


@shear(
    "POST",
    "/checks/gauge",
    scopes=_SCOPES,
    summary="Whether to correct the back gauge, by measured parts",
    body=GaugeQuestionSchema,
    answers={200: GaugeAnswerSchema},
)
def check_gauge(given: Given) -> Answer:
    """What measured parts say of the back gauge."""
    body = given.body
    said = gauge_correction(
        machine_of(body).back_gauge,
        [Measured(part["gauge"], part["measured"]) for part in body["parts"]],
        minus=body["minus"],
        plus=body["plus"],
        confidence=body["confidence"],
        inches=body["units"] == "in",
    )
    document: dict[str, Any] = GaugeAnswerSchema().dump(said)
    return Answer(document)


@shear(
    "POST",
    "/checks/profile",
    scopes=_SCOPES,
    summary="Look a machine profile or grades over: contradictions, doubtful figures, sources",
    body=ProfileQuestionSchema,
    answers={200: ProfileAnswerSchema},
)
def check_profile(given: Given) -> Answer:
    """Look a profile over."""
    body = given.body
    machine = None if body["machine"] is None else machine_of(body, as_it_is=True)
    told_of_machine = None
    if machine is not None:
        told_of_machine = {
            "name": machine.id,
            "refusals": list(slips_of_machine(machine, "machine")),
            "findings": machine_findings(machine),
            "properties": [],
        }
    looked = [(("materials", index), material) for index, material in enumerate(body["materials"])] + [
        (("grades", index), material_of(body, grade, pointer("grades", index), as_it_is=True))
        for index, grade in enumerate(body["grades"])
    ]
    told = [
        {
            "name": material.grade,
            "refusals": list(slips_of_material(material, *at)),
            "findings": material_findings(material),
            "properties": properties_of(material),
        }
        for at, material in looked
    ]
    ok = not any(one["refusals"] for one in [*told, *([told_of_machine] if told_of_machine else [])])
    document: dict[str, Any] = ProfileAnswerSchema().dump(
        {"ok": ok, "machine": told_of_machine, "materials": told}
    )
    return Answer(document)
