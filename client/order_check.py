"""What no plan could make good in an order: unknown grades, and sizes beyond the machine, line by line.

Every part that can be read by itself is looked at, also in an order of which other lines cannot be read,
so that one run tells everything.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from typing import Any, Final

from marshmallow import ValidationError

from client.workstation import Workstation
from schemas.fields import units_of_request
from schemas.lines import faults_of_lines
from schemas.orders import PartSchema
from schemas.problems import FieldError, pointer
from schemas.records import MachineSchema, MaterialSchema, StockSchema
from service.engine.certificates import by_certificates
from service.engine.clearance import gap_for
from service.engine.force import check_force
from service.engine.force_limits import longest_cut
from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.materials_table import UnknownMaterial, material_named
from service.engine.order import Part, StockItem
from service.engine.quantities import Length, show_mm

INCH_LONGEST: Final = 144.0
"""Twelve feet in inches: no larger bare number is hardly meant so. A shop default."""

INCH_THICKEST: Final = 0.75
"""Three quarters of an inch. Sheet thinner than this in millimetres is rare on a shear: a shop default."""

_BARE: Final = re.compile(r"\s*\d+(?:[.,]\d+)?\s*\Z")


def line_faults(station: Workstation, document: Mapping[str, Any]) -> list[FieldError]:
    """What stands against planning in lines that the contract could not read all of."""
    return faults_of_lines(document, station.records.materials())


def order_faults(station: Workstation, document: Mapping[str, Any]) -> list[FieldError]:
    """The same, and why parts cannot be made on the machine of a plan request, by its fields."""
    found = {one.pointer: one for one in (*line_faults(station, document), *_unmakeable(station, document))}
    return list(found.values())


def _unmakeable(station: Workstation, document: Mapping[str, Any]) -> list[FieldError]:
    own = [*_readable_grades(document.get("materials")), *station.records.materials()]
    machine = _machine(station, document.get("machine"))
    look = _Look(machine, own, _stock(station, machine, document))
    return [fault for index, part in _readable_parts(document) for fault in look.at(part, index)]


class _Look:
    """Looks at parts one by one; what many of them say alike is worked out once."""

    def __init__(self, machine: Machine | None, own: Sequence[Material], rack: Sequence[StockItem]) -> None:
        self._machine = machine
        self._rack = rack
        self._whole = {
            (one.material, one.thickness, *sorted((one.length, one.width))) for one in rack if one.quantity
        }
        self._own = own
        self._known: dict[tuple[str, Length], tuple[Length, str | None]] = {}

    def at(self, part: Part, index: int) -> Iterator[FieldError]:
        """What stands against a part, whatever it is cut from."""
        try:
            material = material_named(part.material, self._own)
        except UnknownMaterial as error:
            yield FieldError(pointer("parts", index, "material"), str(error))
            return
        machine = self._machine
        if machine is None:
            return
        kind = part.material, part.thickness
        if kind not in self._known:
            counted = by_certificates(material, self._rack)
            self._known[kind] = _longest(machine, counted, part.thickness)
        longest, why_not = self._known[kind]
        if why_not is not None:
            yield FieldError(pointer("parts", index, "thickness"), why_not)
            return
        if (*kind, *sorted((part.length, part.width))) in self._whole:
            return  # a sheet that is a part as it is needs no cut
        shorter, side = min(("width", part.width), ("length", part.length), key=lambda one: one[1])
        if side > machine.cutting_length:
            most = show_mm(machine.cutting_length)
            yield FieldError(
                pointer("parts", index, shorter),
                f"{show_mm(side)} mm is more than the cutting length of {most} mm",
            )
        elif side > longest:
            words = (
                f"a cut of {show_mm(side)} mm through {show_mm(part.thickness)} mm {part.material} takes "
                f"more than {machine.name} has; up to {show_mm(longest)} mm it can be made"
            )
            yield FieldError(pointer("parts", index, shorter), words)


def _longest(machine: Machine, material: Material, thickness: Length) -> tuple[Length, str | None]:
    """The longest cut that can be made of a kind of sheet; 0 and why, where there is none."""
    longest = longest_cut(machine, material, thickness)
    if material.shearable and longest:
        stops = [one.message for one in gap_for(machine, material, thickness)[1] if one.level == "stop"]
        return (0, stops[0]) if stops else (longest, None)
    # Asked with the longest cut, since that is what the figures of the machine are for.
    stops = [
        one.message
        for one in check_force(machine, material, thickness, machine.cutting_length).findings
        if one.level == "stop"
    ]
    words = f"{show_mm(thickness)} mm {material.grade} is beyond what {machine.name} can cut"
    return 0, "; ".join(stops) or words


def looks_like_inches(document: Mapping[str, Any]) -> str | None:
    """The question whether inches are meant, when nobody said which unit and the numbers look so."""
    if document.get("units") is not None:
        return None
    sizes = [
        [_bare(part.get(name)) for name in ("length", "width", "thickness")]
        for part in _parts(document)
        if isinstance(part, Mapping)
    ]
    if not sizes or any(size is None for row in sizes for size in row):
        return None
    numbers = [[size or 0.0 for size in row] for row in sizes]
    if all(max(row[:2]) <= INCH_LONGEST and 0 < row[2] <= INCH_THICKEST for row in numbers):
        length, width, thickness = max(numbers)
        return (
            f"is {length:g} × {width:g} × {thickness:g} meant in inches? All sizes of the order are so "
            "small; give --units in, or --units mm when they are millimetres"
        )
    return None


def _bare(value: Any) -> float | None:
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    if isinstance(value, str) and _BARE.match(value):
        return float(value.replace(",", "."))
    return None


def _parts(document: Mapping[str, Any]) -> Sequence[Any]:
    parts = document.get("parts")
    return parts if isinstance(parts, list) else []


def _readable_parts(document: Mapping[str, Any]) -> Iterator[tuple[int, Part]]:
    schema = PartSchema()
    with _units(document):
        for index, given in enumerate(_parts(document)):
            try:
                yield index, schema.load(_with_what_is_looked_at(given))
            except ValidationError:
                continue  # the contract says of it what is wrong


def _units(document: Mapping[str, Any]) -> AbstractContextManager[None]:
    table = document.get("gauge_table")
    inches = document.get("units") == "in"
    return units_of_request("in" if inches else "mm", table.lower() if isinstance(table, str) else None)


def _with_what_is_looked_at(given: Any) -> Any:
    """Only the fields that matter here, so that a wrong quantity does not hide a wrong grade."""
    if not isinstance(given, Mapping):
        return given
    wanted = {name: given[name] for name in ("length", "width", "material", "thickness") if name in given}
    return {"ref": "-", "quantity": 1, **wanted}


def _readable_grades(given: Any) -> Iterator[Material]:
    for one in given if isinstance(given, list) else []:
        try:
            yield MaterialSchema().load(one)
        except ValidationError:
            continue  # as above


def _machine(station: Workstation, given: Any) -> Machine | None:
    if isinstance(given, str):
        return station.records.machine(given)
    try:
        read: Machine = MachineSchema().load(given)
    except ValidationError:
        return None  # as above
    return read


def _stock(station: Workstation, machine: Machine | None, document: Mapping[str, Any]) -> list[StockItem]:
    given = document.get("stock")
    if given is None:
        return [] if machine is None else station.rack_of(machine)
    try:
        with _units(document):
            read: list[StockItem] = StockSchema(many=True).load(given)
    except ValidationError:
        return []  # as above
    return read
