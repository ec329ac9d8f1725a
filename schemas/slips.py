"""What cannot be meant in a machine profile or a grade, told by the fields of the wire."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from marshmallow import Schema, fields

from schemas.problems import FieldError, pointer
from schemas.records import MachineSchema, MaterialSchema
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.plausible import Slip, material_slips
from service.engine.plausible_machine import machine_slips


def slips_of_machine(machine: Machine, *at: str | int) -> Iterator[FieldError]:
    """What of a profile contradicts itself, by the fields of the wire; `at`: where the profile stands."""
    for slip in machine_slips(machine):
        yield FieldError(pointer(*at, *_on_the_wire(MachineSchema(), slip)), slip.message)


def slips_of_material(material: Material, *at: str | int) -> Iterator[FieldError]:
    """What of a grade cannot be meant, by the fields of the wire; `at`: where the grade stands."""
    for slip in material_slips(material):
        yield FieldError(pointer(*at, *_on_the_wire(MaterialSchema(), slip)), slip.message)


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
