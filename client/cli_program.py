"""The command `shearwright program-check`: a program written by hand, checked, set and timed offline."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

import click

from client.cli_tools import LENGTH, WHY, end_on_stops, in_home, lines, machine_for, say
from client.errors import InputWrong
from client.home import Home
from client.orders.table import read_json
from client.show import finding_lines
from client.workstation import Workstation
from schemas.payloads import ProgramSavedSchema
from schemas.problems import field_errors
from service.engine.handling import usual_cautions
from service.engine.program.check import CheckedStep, GaugeStep, ProgramCheck, check_program
from service.engine.quantities import Length, show_mm

_NOT_OF_THE_CUTS: Final = {"program_id", "based_on_revision", "operator", "copy_of", "id", "name"}


@click.command("program-check")
@click.argument("file", required=False, type=click.Path(dir_okay=False, path_type=Path))
@click.option("--program", "program_id", help="Id of a program that is kept, instead of FILE.")
@click.option("--depth", type=LENGTH, help="Depth of the piece before the first step, where it is known.")
@click.option("--machine", help="Id of the machine, in place of the one that the program names.")
@WHY
@click.pass_obj
def program_check(
    home: Home,
    file: Path | None,
    program_id: str | None,
    depth: Length | None,
    machine: str | None,
    why: bool,
) -> None:
    """Check a program written by hand, with what to set at each step; exit 1 when a step must not be made.

    FILE is JSON, as for log program. Without --depth what is left in front is not looked at, and who
    lifts the piece is told for the least depth that the program needs.

    \b
    {"name": "Shelf blanks", "material": "S235JR", "thickness_mm": 2, "cut_length_mm": 1250,
     "steps": [{"gauge_mm": 300, "repeat": 4, "note": "strips"}]}
    """  # noqa: D301 - the sign itself is wanted: it keeps the lines as they are
    if (file is None) == (program_id is None):
        raise InputWrong("what to check? give a FILE, or --program with the id of a program that is kept")
    with in_home(home) as station:
        found = _of_file(file) if file is not None else _kept(station, str(program_id))
        named = found.get("machine")
        shear = machine_for(station, machine or (named if isinstance(named, str) else None))
        read = _read(str(file or program_id), {**found, "machine": shear.id})
        steel = station.material(read["material"])
    steps = [
        GaugeStep(step["gauge"], step["repeat"], step["gauging"], step["note"] or "")
        for step in read["steps"]
    ]
    checked = check_program(shear, steel, read["thickness"], read["cut_length"], depth, steps)
    say(f"{shear.name}, {show_mm(read['thickness'])} mm {steel.grade}, {show_mm(read['cut_length'])} mm long")
    for one in checked.steps:
        lines(_step_lines(one))
        lines(f"  {line}" for line in finding_lines(one.findings, why=why))
    lines(_sums(checked, depth))
    told = [finding for one in checked.steps for finding in one.findings]
    say("usual cautions:")
    codes = (finding.code for finding in told)
    lines(f"  - {words}" for words in usual_cautions(shear, [steel], [checked.lift], codes))
    end_on_stops(told, "this program must not be cut on this machine")


def _of_file(file: Path) -> dict[str, Any]:
    found = read_json(file)
    if not isinstance(found, dict):
        raise InputWrong(
            f"{file}: a JSON object with material, thickness_mm, cut_length_mm and steps is wanted"
        )
    return found


def _kept(station: Workstation, program_id: str) -> dict[str, Any]:
    found = station.records.record("program", program_id)
    if found is None:
        known = ", ".join(known_id for known_id, _ in station.records.records("program")[:20])
        raise InputWrong(f"no program is known here by the id {program_id!r}; known are {known or 'none'}")
    return found


def _read(name: str, found: Mapping[str, Any]) -> dict[str, Any]:
    """The program as the contract has it; what does not bear on the cuts is left out of it."""
    of_the_cuts = {key: value for key, value in found.items() if key not in _NOT_OF_THE_CUTS}
    document = {"name": "checked", "program_id": "checked", "based_on_revision": 0, **of_the_cuts}
    schema = ProgramSavedSchema()
    if messages := schema.validate(document):
        told = "; ".join(f"{one.pointer}: {one.message}" for one in field_errors(messages))
        raise InputWrong(f"{name}: {told}")
    read: dict[str, Any] = schema.load(document)
    return read


def _step_lines(one: CheckedStep) -> Iterator[str]:
    made, step = one.settings, one.step
    times = f" × {step.repeat}" if step.repeat > 1 else ""
    note = f"   {step.note}" if step.note else ""
    yield f"step {one.number}   {step.gauging} {show_mm(step.gauge)} mm{times}{note}"
    held = "" if made.hold_down_kn is None else f"  hold-down {made.hold_down_kn:g} kN"
    yield (
        f"  set     gap {show_mm(made.gap)} mm  rake {made.rake_deg:g}°  stroke {show_mm(made.stroke)} mm"
        f"{held}  relief {'on' if made.relief else 'off'}  support {'on' if made.sheet_support else 'off'}"
    )
    yield f"  force   {one.force.force_kn:.0f} of {one.force.limit_kn:.0f} kN ({one.force.force_share:.0%})"
    if one.depth_before is not None:
        after = "not enough" if one.depth_after is None else f"{show_mm(one.depth_after)} mm"
        yield f"  front   {show_mm(one.depth_before)} mm before, {after} after"


def _sums(checked: ProgramCheck, depth: Length | None) -> Iterator[str]:
    gauged = "1 gauge setting" if checked.gauge_moves == 1 else f"{checked.gauge_moves} gauge settings"
    strokes = "1 stroke" if checked.strokes == 1 else f"{checked.strokes} strokes"
    yield f"{strokes}, {gauged}, about {checked.minutes:.1f} min for one piece"
    yield f"the piece must be at least {show_mm(checked.needed_depth)} mm deep to be held at every cut"
    at_least = "" if depth is not None else ", if it is no deeper than that"
    shop = " by the shop's limits, ask lift-check" if checked.lift == "one person" else ""
    yield f"lifted by {checked.lift}{shop}: {checked.piece_kg:.1f} kg{at_least}"
