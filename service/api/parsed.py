"""Machines and grades of the shop as the engine takes them, each text of a record read once.

What was read is kept by the text itself, not by its revision: a database that was put back, or another
one, may have other content under the same revision. The text is fetched at every request, so whatever
another process writes is seen at once.
"""

from __future__ import annotations

import json
from functools import lru_cache

from schemas.fields import units_of_request
from schemas.records import MachineSchema, MaterialSchema
from service.engine.machine import Machine
from service.engine.materials import Material
from service.store import records

_MACHINES, _MATERIALS = 64, 1024
"""How many are kept; a profile comes to some kilobytes."""


def machine_named(name: str) -> Machine | None:
    """The machine kept under that id."""
    text = records.text("machine", name)
    return None if text is None else _machine(text)


def own_materials() -> tuple[Material, ...]:
    """The shop's own grades."""
    return tuple(map(_material, records.texts("material")))


@lru_cache(_MACHINES)
def _machine(text: str) -> Machine:
    # As a record, whatever units the request that asks first is in.
    with units_of_request("mm"):
        machine: Machine = MachineSchema().load(json.loads(text))
    return machine


@lru_cache(_MATERIALS)
def _material(text: str) -> Material:
    with units_of_request("mm"):
        material: Material = MaterialSchema().load(json.loads(text))
    return material
