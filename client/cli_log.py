"""The commands `shearwright log …`: writing down what was done at the shear."""

from __future__ import annotations

import re
import uuid
from pathlib import Path
from typing import Any

import click

from client.cli_entries import list_entries, withdraw
from client.cli_tools import LENGTH, SURE, THICKNESS, in_home, machine_for, say, tell
from client.errors import InputWrong
from client.home import Home
from client.log.batch import Sheet
from client.log.machine import EdgeMeasured, log_blade, log_edge, log_gauge, log_program
from client.log.spoiled import log_spoiled
from client.log.step import log_step
from client.log.whole import log_whole
from client.log.without_plan import PartMade, log_cuts, log_offcut, log_scrap, log_taken
from client.opened import opened_plan
from client.orders.table import read_json
from client.workstation import Workstation
from schemas.payloads import SCRAP_REASONS
from service.engine.quantities import Length, QuantityError, parse_length

_QUANTITY = click.IntRange(1, 1_000_000)
_MACHINE = click.option("--machine", help="Id of the machine; needed when the site has several.")


def _operator(command: Any) -> Any:
    named = click.option("--operator", help="Initials or code of the operator.")
    return named(SURE(command))


@click.group(name="log")
def log_group() -> None:
    """Write down what was done at the shear. It says "written" only when it is on the disk."""


log_group.add_command(list_entries)
log_group.add_command(withdraw)


@log_group.command()
@click.argument("plan_id")
@click.argument("step", type=click.IntRange(1))
@click.option("--pieces", type=_QUANTITY, help="Pieces that went through; all that are left unless given.")
@click.option("--again", is_flag=True, help="Log more pieces than the step has.")
@click.option("--minutes", type=click.FloatRange(0, 1e6), help="Minutes it took.")
@click.option("--edge", type=click.IntRange(1, 4), help="Edge of the blade in use.")
@_operator
@click.pass_obj
def step(
    home: Home,
    plan_id: str,
    step: int,
    pieces: int | None,
    again: bool,
    minutes: float | None,
    edge: int | None,
    operator: str | None,
) -> None:
    """Log that STEP of plan PLAN_ID is done, or a part of it.

    Sheets taken, cuts, parts, trims, leftovers and offcuts of the step are written together.
    """
    with in_home(home) as station:
        logged = log_step(
            station,
            station.plan_named(plan_id),
            step,
            pieces=pieces,
            operator=operator,
            again=again,
            minutes=minutes,
            blade_edge=edge,
        )
        tell(logged)


@log_group.command()
@click.argument("plan_id")
@click.argument("layout", type=click.IntRange(1))
@click.option("--sheets", type=_QUANTITY, help="Sheets taken; all that are left unless given.")
@click.option("--again", is_flag=True, help="Log more sheets than the layout has.")
@_operator
@click.pass_obj
def layout(
    home: Home, plan_id: str, layout: int, sheets: int | None, again: bool, operator: str | None
) -> None:
    """Log sheets of LAYOUT of plan PLAN_ID that are parts as they are, so that no step cuts them."""
    with in_home(home) as station:
        whole = station.plan_named(plan_id)
        tell(log_whole(station, whole, layout, sheets=sheets, operator=operator, again=again))


@log_group.command()
@click.argument("ref")
@click.option("--quantity", type=_QUANTITY, default=1, show_default=True, help="How many.")
@_MACHINE
@_operator
@click.pass_obj
def taken(home: Home, ref: str, quantity: int, machine: str | None, operator: str | None) -> None:
    """Log sheets or offcuts REF taken from the rack to be cut without a plan."""
    with in_home(home) as station:
        tell(log_taken(station, ref, quantity, machine_for(station, machine), operator=operator))


@log_group.command()
@click.option("--material", required=True, help="Grade.")
@click.option("--thickness", required=True, type=THICKNESS, help='In mm, or such as "16 ga steel".')
@click.option("--cut-length", required=True, type=LENGTH, help="Length of one stroke's cut along the blade.")
@click.option("--strokes", type=_QUANTITY, default=1, show_default=True, help="Strokes made.")
@click.option("--part", "parts", multiple=True, help="A part that came off, as REF:LENGTHxWIDTHxQUANTITY.")
@click.option("--order-ref", help="Order the parts belong to.")
@click.option("--heat", help="Heat number.")
@click.option("--minutes", type=click.FloatRange(0, 1e6), help="Minutes it took.")
@click.option("--edge", type=click.IntRange(1, 4), help="Edge of the blade in use.")
@click.option("--start", type=LENGTH, help="Where the cuts begin along the blade; at the arm unless given.")
@_MACHINE
@_operator
@click.pass_obj
def cuts(
    home: Home,
    material: str,
    thickness: Length,
    cut_length: Length,
    strokes: int,
    parts: tuple[str, ...],
    order_ref: str | None,
    heat: str | None,
    minutes: float | None,
    edge: int | None,
    start: Length | None,
    machine: str | None,
    operator: str | None,
) -> None:
    """Log strokes made without a plan."""
    made = [_part(text) for text in parts]
    with in_home(home) as station:
        logged = log_cuts(
            station,
            machine_for(station, machine),
            station.material(material),
            thickness,
            cut_length,
            strokes,
            parts=made,
            order_ref=order_ref,
            heat=heat,
            operator=operator,
            minutes=minutes,
            blade_edge=edge,
            start=start or 0,
        )
        tell(logged)


def _part(text: str) -> PartMade:
    ref, _, size = text.rpartition(":")
    sides = re.split(r"\s*[x×]\s*", size)
    try:
        length, width, quantity = sides
        if not ref or not quantity.isdigit() or int(quantity) < 1:
            raise ValueError
        return PartMade(ref, parse_length(length), parse_length(width), int(quantity))
    except QuantityError as error:
        raise InputWrong(f"--part {text!r}: {error}") from error
    except ValueError:
        raise InputWrong(f"--part {text!r} is not as wanted; write for example P1:640x118.5x24") from None


@log_group.command()
@click.option("--reason", required=True, type=click.Choice(SCRAP_REASONS), help="Why it is scrap.")
@click.option("--quantity", type=_QUANTITY, default=1, show_default=True, help="How many.")
@click.option("--plan", "plan_id", help="Plan it belongs to; with --part its sizes are taken from there.")
@click.option("--part", help="Ref of the part that was spoiled.")
@click.option("--material", help="Grade; needed without --plan and --part.")
@click.option("--thickness", type=THICKNESS, help='In mm, or such as "16 ga steel".')
@click.option("--length", type=LENGTH, help="In mm, or with its unit.")
@click.option("--width", type=LENGTH, help="In mm, or with its unit.")
@click.option("--heat", help="Heat number.")
@click.option("--remark", help="In your own words.")
@click.option(
    "--made/--not-made",
    default=None,
    help="Whether it was logged as a part before; found out for a plan's part unless given.",
)
@_MACHINE
@_operator
@click.pass_obj
def scrap(
    home: Home,
    reason: str,
    quantity: int,
    plan_id: str | None,
    part: str | None,
    material: str | None,
    thickness: Length | None,
    length: Length | None,
    width: Length | None,
    heat: str | None,
    remark: str | None,
    made: bool | None,
    machine: str | None,
    operator: str | None,
) -> None:
    """Log scrap with its reason: a spoiled part of a plan, or any piece by its size."""
    with in_home(home) as station:
        plan_id = None if plan_id is None else station.plan_named(plan_id)
        if plan_id is not None and part is not None:
            plan, order = opened_plan(station, plan_id)
            at = None if machine is None else station.machine(machine).id
            logged = log_spoiled(
                station,
                plan_id,
                plan,
                order,
                part,
                quantity,
                reason,
                machine=at,
                remark=remark,
                was_made=made,
                operator=operator,
            )
        else:
            logged = log_scrap(
                station,
                _sheet(station, material, thickness, length, width, quantity, heat),
                machine_for(station, machine),
                reason,
                remark=remark,
                plan_id=plan_id,
                part_ref=part,
                was_made=bool(made),
                operator=operator,
            )
        tell(logged)


def _sheet(
    station: Workstation,
    material: str | None,
    thickness: Length | None,
    length: Length | None,
    width: Length | None,
    quantity: int,
    heat: str | None,
) -> Sheet:
    given = {"material": material, "thickness": thickness, "length": length, "width": width}
    missing = [f"--{name}" for name, value in given.items() if value is None]
    if missing or material is None or thickness is None or length is None or width is None:
        raise InputWrong(f"{', '.join(missing)} wanted, or a plan's part by --plan and --part")
    return Sheet(station.material(material), thickness, length, width, quantity, heat)


@log_group.command()
@click.option("--material", required=True, help="Grade.")
@click.option("--thickness", required=True, type=THICKNESS, help='In mm, or such as "16 ga steel".')
@click.option("--length", required=True, type=LENGTH, help="Along the rolling direction.")
@click.option("--width", required=True, type=LENGTH, help="Across the rolling direction.")
@click.option("--quantity", type=_QUANTITY, default=1, show_default=True, help="How many.")
@click.option("--ref", help="A name of its own; made up unless given.")
@click.option("--from-stock", help="Ref of the sheet it was cut from.")
@click.option("--heat", help="Heat number; that of --from-stock unless given.")
@_MACHINE
@_operator
@click.pass_obj
def offcut(
    home: Home,
    material: str,
    thickness: Length,
    length: Length,
    width: Length,
    quantity: int,
    ref: str | None,
    from_stock: str | None,
    heat: str | None,
    machine: str | None,
    operator: str | None,
) -> None:
    """Log an offcut put on the rack, and tell the name to write on it."""
    with in_home(home) as station:
        sheet = _sheet(station, material, thickness, length, width, quantity, heat)
        at = machine_for(station, machine)
        tell(log_offcut(station, sheet, at, ref=ref, from_stock=from_stock, operator=operator))


@log_group.command()
@click.option("--gauge", required=True, type=LENGTH, help="Value the back gauge was set to.")
@click.option("--measured", required=True, type=LENGTH, help="Drop as it was measured.")
@_MACHINE
@_operator
@click.pass_obj
def gauge(home: Home, gauge: Length, measured: Length, machine: str | None, operator: str | None) -> None:
    """Log a drop that was measured after it was cut."""
    with in_home(home) as station:
        tell(log_gauge(station, machine_for(station, machine), gauge, measured, operator=operator))


@log_group.command()
@click.argument("edge", type=click.IntRange(1, 4))
@click.option(
    "--work",
    type=click.Choice(["turned", "reground", "replaced"]),
    default="turned",
    show_default=True,
    help="What was done to the blade.",
)
@click.option("--remark", help="In your own words.")
@_MACHINE
@_operator
@click.pass_obj
def blade(
    home: Home, edge: int, work: str, remark: str | None, machine: str | None, operator: str | None
) -> None:
    """Log that EDGE of the blade was put to work."""
    with in_home(home) as station:
        at = machine_for(station, machine)
        tell(log_blade(station, at, edge, work, operator=operator, remark=remark))


@log_group.command()
@click.option("--radius", type=click.FloatRange(0, 1e5, min_open=True), help="Edge radius in µm.")
@click.option("--burr", type=click.FloatRange(0, 100), help="Height of the burr in mm; with --thickness.")
@click.option("--thickness", type=THICKNESS, help="Of the sheet that has the burr.")
@click.option("--material", help="Grade of that sheet.")
@click.option("--edge", type=click.IntRange(1, 4), help="Edge measured; the one at work unless given.")
@click.option("--blade", "half", type=click.Choice(["upper", "lower"]), help="Which of the two blades.")
@click.option("--place", type=LENGTH, help="From the squaring arm; the most worn place unless given.")
@click.option("--remark", help="In your own words.")
@_MACHINE
@_operator
@click.pass_obj
def edge(
    home: Home,
    radius: float | None,
    burr: float | None,
    thickness: Length | None,
    material: str | None,
    edge: int | None,
    half: str | None,
    place: Length | None,
    remark: str | None,
    machine: str | None,
    operator: str | None,
) -> None:
    """Log a measured edge: its radius, or the burr it leaves."""
    with in_home(home) as station:
        at = machine_for(station, machine)
        grade = None if material is None else station.material(material).grade
        measured = EdgeMeasured(edge, half, radius, burr, thickness, grade, place)
        tell(log_edge(station, at, measured, operator=operator, remark=remark))


@log_group.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--change", "program_id", help="Id of the program that this changes; a new one unless given.")
@_MACHINE
@_operator
@click.pass_obj
def program(
    home: Home, file: Path, program_id: str | None, machine: str | None, operator: str | None
) -> None:
    """Save a program written by hand: FILE is JSON.

    \b
    {"name": "Shelf blanks", "material": "S235JR", "thickness_mm": 2, "cut_length_mm": 1250,
     "steps": [{"gauge_mm": 300, "repeat": 4, "note": "strips"}]}
    """  # noqa: D301 - the sign itself is wanted: it keeps the lines as they are
    found = read_json(file)
    if not isinstance(found, dict):
        raise InputWrong(
            f"{file}: a JSON object with name, material, thickness_mm, cut_length_mm and steps is wanted"
        )
    with in_home(home) as station:
        logged = log_program(station, _program(station, found, program_id, machine, operator))
        tell(logged)
        say(f"program {logged.events[0].event['payload']['program_id']}")


def _program(
    station: Workstation,
    found: dict[str, Any],
    program_id: str | None,
    machine: str | None,
    operator: str | None,
) -> dict[str, Any]:
    named = found.get("machine")
    at = machine_for(station, machine or (named if isinstance(named, str) else None))
    if isinstance(found.get("material"), str):
        station.material(found["material"])
    based_on = 0
    if program_id is not None:
        known = station.records.record("program", program_id)
        if known is None:
            raise InputWrong(
                f"no program is known here by the id {program_id!r}; pull first, or leave --change out"
            )
        based_on = station.records.revision("program", program_id)
    made = {
        "program_id": program_id or str(uuid.uuid4()),
        "machine": at.id,
        "based_on_revision": based_on,
        **({} if operator is None else {"operator": operator}),
    }
    return {**found, **made}
