"""What a shop keeps: sites, machines, materials, stock, blades, programs."""

from __future__ import annotations

from functools import cache
from typing import Any

from schemas.problems import FieldError
from schemas.programs import ProgramSchema
from schemas.records import MachineSchema, MaterialSchema
from schemas.shop import BladeSchema, SiteSchema, StockRecordSchema, stock_item
from schemas.slips import slip_of_certificate, slips_of_machine, slips_of_material
from service.api.parsed import own_materials
from service.api.shelf import Shelf
from service.engine.materials_table import BUILT_IN, UnknownMaterial, material_named
from service.engine.plausible import material_findings
from service.engine.plausible_machine import machine_findings
from service.store import records
from service.store.effects import stock_key


@cache
def _built_in() -> dict[str, dict[str, Any]]:
    return {material.grade: MaterialSchema().dump(material) for material in BUILT_IN}


def _known_site(document: dict[str, Any]) -> list[FieldError]:
    site = document["site"]
    if site is None or records.find("site", site) is not None:
        return []
    return [FieldError("/site", f"no site is known by the id {site!r}")]


def _machine_faults(document: dict[str, Any]) -> list[FieldError]:
    return [*_known_site(document), *slips_of_machine(MachineSchema().load(document))]


def _material_faults(document: dict[str, Any]) -> list[FieldError]:
    return list(slips_of_material(MaterialSchema().load(document)))


def _stock_faults(document: dict[str, Any]) -> list[FieldError]:
    faults = [*_known_site(document), *_known_material(document)]
    if faults or document["tensile_strength_n_mm2"] is None:
        return faults
    said = slip_of_certificate(material_named(document["material"], own_materials()), stock_item(document))
    return [] if said is None else [FieldError("/tensile_strength_n_mm2", said)]


def _known_material(document: dict[str, Any]) -> list[FieldError]:
    if document["material"] in _built_in() or records.find("material", document["material"]) is not None:
        return []
    try:
        # Only to say which names are near: a shop that is loaded asks this of every sheet.
        material_named(document["material"], own_materials())
    except UnknownMaterial as error:
        return [FieldError("/material", str(error))]
    return []


def _known_machine(document: dict[str, Any]) -> list[FieldError]:
    name = document["machine"]
    if name is None or records.find("machine", name) is not None:
        return []
    return [FieldError("/machine", f"no machine is known by the id {name!r}")]


def _site_of_machine(document: dict[str, Any]) -> str | None:
    kept = records.find("machine", document["machine"], deleted_too=True) if document["machine"] else None
    return kept.site if kept else None


def _at_site(site: str) -> str | None:
    for kind in ("machine", "stock"):
        for kept in records.listed(kind, site=site, limit=1):
            return f"{kind} {kept.key!r}"
    return None


def _of_grade(grade: str) -> str | None:
    if grade in _built_in():
        return None
    users = (kept for kept in records.listed("stock") if kept.document["material"] == grade)
    return next((f"stock {kept.key!r}" for kept in users), None)


def _on_machine(machine: str) -> str | None:
    for kind in ("blade", "program"):
        for kept in records.listed(kind):
            if kept.document["machine"] == machine:
                return f"{kind} {kept.key!r}"
    return None


def _one_blade(document: dict[str, Any]) -> list[FieldError]:
    machine = document["machine"]
    for kept in records.listed("blade"):
        if machine is not None and kept.document["machine"] == machine and kept.key != document["id"]:
            return [FieldError("/machine", f"the blade {kept.key!r} is on this machine")]
    return _known_machine(document)


SITES = Shelf(
    kind="site",
    path="sites",
    noun="site",
    schema=SiteSchema,
    read=("plan", "report"),
    write=("admin",),
    key_of=lambda document: document["id"],
    key_field="id",
    site_of=lambda document: document["id"],
    used_by=_at_site,
)
MACHINES = Shelf(
    kind="machine",
    path="machines",
    noun="machine",
    schema=MachineSchema,
    read=("plan", "report"),
    write=("admin",),
    key_of=lambda document: document["id"],
    key_field="id",
    site_of=lambda document: document["site"],
    faults=_machine_faults,
    told=lambda document: machine_findings(MachineSchema().load(document)),
    used_by=_on_machine,
    followers=("blade", "program"),
)
MATERIALS = Shelf(
    kind="material",
    path="materials",
    noun="material",
    schema=MaterialSchema,
    read=("plan", "report"),
    write=("admin",),
    key_of=lambda document: document["grade"],
    key_field="grade",
    site_of=lambda _: None,
    faults=_material_faults,
    told=lambda document: material_findings(MaterialSchema().load(document)),
    used_by=_of_grade,
    built_in=_built_in,
)
STOCK = Shelf(
    kind="stock",
    path="stock",
    noun="stock item",
    schema=StockRecordSchema,
    read=("plan", "report"),
    write=("plan",),
    key_of=lambda document: stock_key(document["site"], document["ref"]),
    key_field="ref",
    address="site/ref",
    site_of=lambda document: document["site"],
    faults=_stock_faults,
)
BLADES = Shelf(
    kind="blade",
    path="blades",
    noun="blade",
    schema=BladeSchema,
    read=("plan", "report"),
    write=("admin",),
    key_of=lambda document: document["id"],
    key_field="id",
    site_of=_site_of_machine,
    faults=_one_blade,
)
PROGRAMS = Shelf(
    kind="program",
    path="programs",
    noun="program",
    schema=ProgramSchema,
    read=("plan",),
    write=("plan",),
    key_of=lambda document: document["id"],
    key_field="id",
    site_of=_site_of_machine,
    faults=lambda document: [*_known_machine(document), *_known_material(document)],
)
SHELVES = (SITES, MACHINES, MATERIALS, STOCK, BLADES, PROGRAMS)
