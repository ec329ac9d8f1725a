"""Commands that read the records of the shop: machines and their profiles, and what lies on the rack."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import click
from marshmallow import Schema, ValidationError

from client import show
from client.cli_tools import WHY, as_of, in_home, lines, say
from client.errors import FaultsFound, InputWrong
from client.home import Home
from client.orders.table import read_json
from client.profile_words import profile_lines
from schemas.problems import FieldError, field_errors
from schemas.records import MachineSchema, MaterialSchema
from schemas.slips import slips_of_machine, slips_of_material
from service.engine.findings import Finding
from service.engine.plausible import material_findings
from service.engine.plausible_machine import machine_findings


@click.command()
@click.argument("machine", required=False)
@click.pass_obj
def machines(home: Home, machine: str | None) -> None:
    """List the machines; of MACHINE, its profile in words: limits, rake, feet, gauges, lifting."""
    with in_home(home, reading=True) as station:
        if station.records.as_of is None:
            raise station.lacking("machines")
        if machine is None:
            lines(show.machine_lines(station.records.machines()))
        else:
            lines(profile_lines(station.machine(machine)))
        as_of(station)


@click.command("profile-check")
@click.argument("machine", required=False)
@click.option(
    "--file",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Look over the profile, or the grade, in this JSON file instead.",
)
@click.option("--grade", "grades", multiple=True, help="Look a grade over; may be repeated.")
@WHY
@click.pass_obj
def profile_check(
    home: Home, machine: str | None, file: Path | None, grades: tuple[str, ...], why: bool
) -> None:
    """Look a machine profile or grades over for contradictions and doubtful figures.

    What contradicts itself would be refused by the service; the exit code is 1 then.
    """
    if machine is None and file is None and not grades:
        raise InputWrong("what to look over? give a machine, --file or --grade")
    refused = 0
    with in_home(home) as station:
        if machine is not None:
            shear = station.machine(machine)
            refused += _tell(shear.id, list(slips_of_machine(shear)), machine_findings(shear), why)
        for grade in grades:
            steel = station.material(grade)
            refused += _tell(steel.grade, list(slips_of_material(steel)), material_findings(steel), why)
    if file is not None:
        refused += _of_file(file, why)
    if refused:
        count = "1 figure" if refused == 1 else f"{refused} figures"
        raise FaultsFound(f"{count} would be refused")


def _of_file(file: Path, why: bool) -> int:
    found = read_json(file)
    if not isinstance(found, dict):
        raise InputWrong(f"{file}: a JSON object is wanted, a machine profile or a grade")
    schema: Schema = MaterialSchema() if "grade" in found else MachineSchema()
    try:
        read: Any = schema.load(found)
    except ValidationError as error:
        return _tell(str(file), list(field_errors(error.messages)), (), why)
    if "grade" in found:
        return _tell(read.grade, list(slips_of_material(read)), material_findings(read), why)
    return _tell(read.id, list(slips_of_machine(read)), machine_findings(read), why)


def _tell(name: str, slips: list[FieldError], findings: tuple[Finding, ...], why: bool) -> int:
    """Say what there is to say; how many figures would be refused."""
    for slip in slips:
        say(f"{name}: refused: {slip.pointer.strip('/') or 'the whole'}: {slip.message}")
    lines(f"{name}: {line}" for line in show.finding_lines(findings, why=why))
    if not slips and not findings:
        say(
            f"{name}: nothing doubtful found; that does not make the figures right: "
            "the rating plate and the certificate decide"
        )
    return len(slips)


@click.command()
@click.option("--site", help="Another site than this station's own.")
@click.option("--material", help="Only this grade.")
@click.option("--all", "everything", is_flag=True, help="Also what is used up.")
@click.pass_obj
def stock(home: Home, site: str | None, material: str | None, everything: bool) -> None:
    """List sheets and offcuts on the rack, with what was logged here since the last pull."""
    with in_home(home, reading=True) as station:
        if station.records.as_of is None:
            raise station.lacking("stock")
        rack = [
            item
            for item in station.rack(site)
            if (everything or item.quantity > 0) and material in {None, item.material}
        ]
        lines(show.stock_lines(rack))
        as_of(station)


record_commands: Final = (machines, profile_check, stock)
