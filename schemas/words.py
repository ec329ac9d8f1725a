"""What each field of the contract means, in words with its unit, for whoever reads the contract.

A schema declares them with :func:`says`; a name that means the same everywhere has its words here. The
unit follows from the kind of field and from the ending of its name, so that it cannot be forgotten.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, TypeVar

from marshmallow import Schema, fields

from schemas.fields import Millimetres

S = TypeVar("S", bound=type[Schema])

USUAL: Final = {
    "basis": "what it rests on: a source, the machine profile, or a shop default",
    "batch": "whether each gauge setting runs over all sheets that are divided alike",
    "cautions": "the usual cautions of the work at this machine, in words",
    "centre_epoch": "names the books of the centre; another after they were put back from a copy",
    "cursor": "`next` of the page before; left out: the first page",
    "cut_length": "the whole length sheared in a stroke, along the blade",
    "dx": "size along x, the rolling direction of the sheet",
    "dy": "size along y, across the rolling direction of the sheet",
    "edges": "mill: as rolled, and trimmed before it bounds a part; cut: straight and square",
    "epoch": "names a run of numbers of a station; a new one when its store is made or put back",
    "event_id": "a UUID, given by the station that wrote the event down",
    "events": "events, in the order of their numbers",
    "expires_at": "from when on it opens nothing; null: never",
    "findings": "what there is to say, each with its level and basis",
    "force_kn": "shearing force that counts",
    "gap_share": "how far it lies above the bound, as a share of the bound",
    "gauge_table": "table for thicknesses that are given as sheet gauge numbers",
    "gauging": "what the cut is measured by: back gauge, front stop or marked line",
    "grade": "name of the grade, letter by letter as orders and stock write it",
    "grades": "names of grades that are known here",
    "happened_at": "by the clock of the station, RFC 3339",
    "has_to_seq": "number of the last event of the epoch that the centre has; 0: none",
    "heat": "heat number of the material",
    "items": "the entries of this page",
    "kind": "what it is",
    "last_hash": "hash of that event",
    "length": "length; of stock, and of parts with a grain, see `grain`: along the rolling direction",
    "level": "stop: the cut must not be made so; caution: look before you cut; note: for information",
    "limit": "most entries of a page",
    "machine": "id of the machine",
    "machine_id": "id of the machine",
    "mass_kg": "mass",
    "material": "grade of the material",
    "materials": "grades that are not known here, or that win over those that are",
    "message": "in plain words, for the person at the machine",
    "more": "whether there is more to be asked for at once",
    "name": "name, for people",
    "next": "cursor of the next page; absent on the last one",
    "operator": "initials or code of the operator",
    "options": "how to plan; left out: the usual way",
    "order_ref": "name of the order",
    "parts": "lines of parts",
    "payload": "what is told, by the schema of the event's type",
    "plan_id": "id of the plan that it belongs to",
    "quantity": "how many",
    "rake_deg": "rake, the slope between the blades",
    "record": "the record as it is now; null: it is gone",
    "ref": "name of the part or piece",
    "remark": "in one's own words",
    "revision": "counts the changes of the record, from 1",
    "scopes": "what it may do: plan, station, report, admin",
    "seq": "number of the event in its epoch, from 1 without holes",
    "server_time": "clock of the centre, RFC 3339",
    "site": "id of the site",
    "state": "how it stands",
    "station": "name of the workstation",
    "stock": "sheets and offcuts",
    "step": "number of the step in the program, from 1",
    "steps": "steps, in their order",
    "strokes": "strokes",
    "thickness": "thickness",
    "thickness_mm": "thickness",
    "type": "kind of event, such as cuts.made",
    "units": "unit of lengths without a unit of their own; mm unless given",
    "width": "width, across the length",
    "words": "why, in words of the person",
}
"""Words for names that mean the same everywhere."""

_UNITS: Final = (
    ("_mm_s", "mm/s"),
    ("_n_mm2", "N/mm²"),
    ("_kg_m3", "kg/m³"),
    ("_mm2", "mm²"),
    ("_mm", "mm"),
    ("_cm", "cm"),
    ("_um", "µm"),
    ("_m", "m"),
    ("_kn", "kN"),
    ("_kw", "kW"),
    ("_kg", "kg"),
    ("_deg", "degrees"),
    ("_ms", "ms"),
    ("_j", "J"),
    ("_s", "s"),
    ("minutes", "min"),
    ("metres", "m"),
)
"""Endings of names, the longer ones first, and the unit that they stand for."""


def unit_of(name: str, field: fields.Field[Any]) -> str | None:
    """The unit of a field by its name on the wire and its kind; None where it has none.

    >>> unit_of("force_kn", fields.Float()), unit_of("edge_life_m", fields.Float())
    ('kN', 'm')
    """
    inner = field.inner if isinstance(field, fields.List) else field
    if isinstance(inner, Millimetres):
        return "mm" if inner.fixed_units else "in the units of the request"
    if not isinstance(inner, fields.Number | fields.Function):
        return None
    return next((unit for ending, unit in _UNITS if name.endswith(ending)), None)


def says(**words: str) -> Callable[[S], S]:
    """Put words to the fields of a schema; those left out have theirs in :data:`USUAL`, or have some already.

    Raises
    ------
    KeyError
        When there are words for a field that the schema has not.
    """

    def put(schema: S) -> S:
        declared: dict[str, fields.Field[Any]] = schema._declared_fields
        for name in words:
            if name not in declared:
                raise KeyError(f"{schema.__name__} has no field {name}")
        for name, field in declared.items():
            told = words.get(name) or field.metadata.get("description") or USUAL.get(name)
            if told is None:
                continue
            unit = unit_of(field.data_key or name, field)
            if unit is not None and "[" not in told:
                meaning, *rest = told.split(";", 1)
                told = ";".join([f"{meaning} [{unit}]", *rest])
            field.metadata = {**field.metadata, "description": told}
        return schema

    return put
