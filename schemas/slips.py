"""What cannot be meant in a machine profile or a grade, told by the fields of the wire."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from marshmallow import Schema, fields

from schemas.problems import FieldError, pointer
from schemas.records import MachineSchema, MaterialSchema
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.order import StockItem
from service.engine.plausible import Slip, certificate_findings, certificate_slip, material_slips
from service.engine.plausible_machine import machine_slips


def slips_of_machine(machine: Machine, *at: str | int) -> Iterator[FieldError]:
    """What of a profile contradicts itself, by the fields of the wire; `at`: where the profile stands."""
    for slip in machine_slips(machine):
        yield FieldError(pointer(*at, *_on_the_wire(MachineSchema(), slip)), slip.message)


def slips_of_material(material: Material, *at: str | int) -> Iterator[FieldError]:
    """What of a grade cannot be meant, by the fields of the wire; `at`: where the grade stands."""
    for slip in material_slips(material):
        yield FieldError(pointer(*at, *_on_the_wire(MaterialSchema(), slip)), slip.message)


def slip_of_certificate(material: Material, item: StockItem) -> str | None:
    """Why what stands for a stock item's strength by certificate cannot be meant; None when it may be."""
    if item.tensile_strength is None:
        return None
    slip = certificate_slip(material, item.thickness, item.tensile_strength)
    if slip is None and material.strength_basis == "range":
        # Stock is planned with it, so what cannot be of this grade is not taken on trust.
        for finding in certificate_findings(material, item.thickness, item.tensile_strength):
            slip = f"{finding.message}; if it is, it is not this grade: keep it as a grade of its own"
    return slip


def _on_the_wire(schema: Schema, slip: Slip) -> Iterator[str | int]:
    """The path of a slip in the names of the wire."""
    inside: Any = schema
    for step in slip.path:
        if isinstance(step, int):
            yield step
            continue
        field = inside.fields[step]
        yield field.data_key or step
        if isinstance(field, fields.List):
            field = field.inner
        inside = field.schema if isinstance(field, fields.Nested) else None
