"""Commands about orders and plans: checking an order, planning it, showing a plan and verifying one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any, Final

import click

from client import show
from client.cli_tools import as_of, in_home, lines, say
from client.compare import Teller, comparison_lines
from client.errors import FaultsFound, InputWrong, NotAllPlanned
from client.home import Home
from client.order_check import line_faults, looks_like_inches, order_faults
from client.orders.picked_stock import with_stock
from client.orders.read import Look, OrderFile, read_order_file, resolved, told_by_line
from client.orders.table import read_json
from client.planning import KeptPlan, order_here, plan_here, plan_there, write_papers
from client.profile import profile_notes
from client.wire import Patience
from client.workstation import Workstation
from schemas.problems import FieldError
from service.engine.order import ANY_STAGES, MOST_STAGES, Order
from service.engine.quantities import show_mm


def _order_options(command: Any) -> Any:
    for option in reversed(
        [
            click.argument("orderfile", type=click.Path(dir_okay=False, path_type=Path)),
            click.option("--machine", help="Id of the machine; shearwright machines lists them."),
            click.option(
                "--stock",
                multiple=True,
                metavar="REF",
                help="A piece of the rack to cut from, and no other but those named so; may be given again.",
            ),
            click.option("--order-ref", help="Name of the order; else the name of the file."),
            click.option(
                "--units", type=click.Choice(["mm", "in"]), help="Unit of bare numbers; mm unless given."
            ),
            click.option(
                "--gauge-table",
                type=click.Choice(["steel", "galvanised", "stainless", "aluminium"]),
                help="Table for thicknesses given as sheet gauge numbers.",
            ),
            click.option(
                "--effort",
                type=click.Choice(["quick", "standard", "thorough"]),
                help="How long to search; standard unless given.",
            ),
            click.option(
                "--objective",
                type=click.Choice(["material", "handling", "time", "cost", "compare", "value"]),
                help="What to make least; compare shows several plans to choose from; value fills the stock "
                "with the parts that are worth most, by the column value. Material unless given.",
            ),
            click.option(
                "--stages",
                callback=_stages,
                help="How often the cuts may change direction, plus one, or any; 1: strips only, as "
                "long as the stock less its trims. 3 unless given.",
            ),
            click.option("--trim", help="What is cut off a mill edge at least; 5 mm unless given."),
            click.option(
                "--offcut-min",
                help="The two sides from which a leftover is kept as an offcut; 300x200 mm unless given.",
            ),
            click.option(
                "--batch/--sheet-by-sheet",
                default=None,
                help="Run each gauge setting over all equal sheets, or cut one sheet up after another. "
                "Batch unless given.",
            ),
            click.option(
                "--open-stacks",
                type=click.IntRange(1, 1000),
                help="How many stacks of pieces may wait at the machine; any number unless given.",
            ),
        ]
    ):
        command = option(command)
    return command


def _stages(context: click.Context, parameter: click.Parameter, value: str | None) -> int | None:
    if value is None:
        return None
    if value == "any":
        return ANY_STAGES
    if value.isdecimal() and 1 <= int(value) <= MOST_STAGES:
        return int(value)
    raise click.BadParameter(f"{value}: a whole number from 1 to {MOST_STAGES}, or any, is wanted")


def _read(orderfile: Path, station: Workstation, options: dict[str, Any], look: Look) -> OrderFile:
    if options["machine"] is None and orderfile.suffix.lower() != ".json":
        known = [one.id for one in station.records.machines() if one.site in {None, station.settings.site}]
        if len(known) == 1:
            options["machine"] = known[0]
            say(f"machine {known[0]}, the only one at {station.settings.site}", err=True)
    stock: tuple[str, ...] = options.pop("stock")
    read = read_order_file(orderfile, **options, look=look)
    if stock:
        read = replace(read, document=with_stock(station, read.document, stock))
    for note in read.notes:
        say(f"note: {note}", err=True)
    return read


@click.command()
@_order_options
@click.pass_obj
def check(home: Home, /, orderfile: Path, **options: Any) -> None:
    """Read an order file and tell all that is wrong with it; nothing is planned or kept.

    Beside the file itself, its grades and the limits of the machine are looked at: force, rating and
    cutting length. Exit 1 when parts cannot be made whatever they are cut from.

    ORDERFILE is a table (.csv, .xlsx) whose first line names the columns, or a plan request (.json).
    Columns: ref, length, width, quantity, material, thickness; also grain, tolerance, plus, minus, rotate,
    value (what one piece is worth).
    """
    with in_home(home) as station:
        look = partial(order_faults, station)
        read = _read(orderfile, station, options, look)
        order = resolved(read, lambda document: order_here(station, document), look)
        pieces = sum(part.quantity for part in order.parts)
        on_rack = sum(item.quantity for item in order.stock)
        say(
            f"{orderfile}: lines {len(order.parts)}, pieces {pieces}, machine {order.machine.id}; "
            f"{on_rack} sheets and offcuts to cut them from"
        )
        lines(f"note: {told}" for told in _order_notes(order))
        faults = look(read.document)
        question = looks_like_inches(read.document)
        if question is not None:
            faults = [FieldError("/units", question), *faults]
        if faults:
            raise FaultsFound(told_by_line(orderfile, read.placed(faults)))


def _order_notes(order: Order) -> Iterator[str]:
    """What an order may be planned with all the same."""
    if not order.stock:
        yield "there is no stock of these materials and thicknesses; nothing could be planned"
        return
    there = {(item.material, item.thickness) for item in order.stock if item.quantity}
    for grade, thickness in dict.fromkeys((part.material, part.thickness) for part in order.parts):
        if (grade, thickness) not in there:
            yield f"there is no stock of {grade} {show_mm(thickness)} mm; such parts could not be planned"


@click.command()
@_order_options
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for plan.json, program.txt, program.csv and a map of each sheet (SVG).",
)
@click.option("--online", is_flag=True, help="Have the service plan instead of this computer.")
@click.option(
    "--ceiling",
    type=click.FloatRange(0.1, 86400),
    help="Seconds after which the best so far is taken. Such a plan may differ from run to run.",
)
@click.pass_obj
def plan(
    home: Home,
    /,
    orderfile: Path,
    out: Path | None,
    online: bool,
    ceiling: float | None,
    **options: Any,
) -> None:
    """Plan the cuts of an order file, offline, and keep the plan.

    ORDERFILE is a table (.csv, .xlsx) whose first line names the columns, or a plan request (.json).
    Columns: ref, length, width, quantity, material, thickness; also grain, tolerance, plus, minus, rotate,
    value (what one piece is worth).

    What cannot be made is listed with its reason; the plan of the rest is kept all the same, and the
    exit code is 10.
    """
    from service.drawing.text import not_planned, program_text  # noqa: PLC0415 - loaded when used

    if online and ceiling is not None:
        raise InputWrong("--ceiling is for planning on this computer; leave it out with --online")
    with in_home(home) as station:
        # What cannot be made is planned around, so it is no fault here.
        look = partial(line_faults, station)
        read = _read(orderfile, station, options, look)
        question = looks_like_inches(read.document)
        if question is not None:
            say(f"note: {question}", err=True)
        if online:
            wire = station.plan_wire()
            try:
                there = partial(plan_there, station, wire, patience=Patience())
                kept = resolved(read, there, look)
            finally:
                wire.close()
        else:
            teller = Teller(lambda line: say(line, err=True), ceiling)
            stop = teller.over if ceiling is not None else None
            kept = resolved(read, lambda document: plan_here(station, document, teller.progress, stop), look)
        for note in profile_notes(station, kept):
            say(f"note: {note}")
        papers = write_papers(kept, out) if out is not None else []
        say(program_text(kept.plan, kept.order, named=kept.id).rstrip())
        say("")
        lines(comparison_lines(kept))
        say(f"plan {kept.id}, kept here")
        if kept.plan.cut_short:
            say("note: the time was over before the search was; it is kept as a plan, but not as the plan of")
            say("      this order: without --ceiling the same order gives the same plan everywhere")
        for paper in papers:
            say(f"written: {paper}")
        as_of(station, err=True)
        missing = not_planned(kept.plan)
        if missing is not None:
            rack, own = station.rack_of(kept.order.machine), read.document.get("stock") is not None
            lines(show.thickness_lines(kept.plan, kept.order, rack, own=own))
            raise NotAllPlanned(f"{missing}; the reasons stand above, and the rest is planned and kept")


@click.command()
@click.argument("planfile", type=click.Path(dir_okay=False, path_type=Path))
@click.pass_obj
def verify(home: Home, planfile: Path) -> None:
    """Check a plan file independently of how it was made; exit 1 when it has faults."""
    from service.engine.verifier import verify as verified  # noqa: PLC0415 - used here only

    found = read_json(planfile)
    verdict = verified(found if isinstance(found, dict) else {})
    if not verdict.ok:
        faults = verdict.faults
        told = "\n".join(f"  {one.where or '/'}: {one.message}" for one in faults[:50])
        more = f"\n  … and {len(faults) - 50} more" if len(faults) > 50 else ""
        count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        raise FaultsFound(f"{planfile}: {count}\n{told}{more}")
    counts = verdict.counts
    say(
        f"{planfile}: no fault found; {counts.steps} steps, {counts.strokes} strokes, "
        f"{'1 sheet or offcut' if counts.pieces_used == 1 else f'{counts.pieces_used} sheets and offcuts'}, "
        f"{counts.parts} parts"
    )
    say("The program was replayed on paper, cut by cut. That permits nothing at the machine.")


@click.command()
@click.pass_obj
def plans(home: Home) -> None:
    """List the plans made here and at the centre: when, of what material, how long, and as what asked for."""
    from client.plan_list import HEADS, plan_rows  # noqa: PLC0415 - used here only

    with in_home(home, reading=True) as station:
        lines(show.table(HEADS, plan_rows(station)))


@click.command("show")
@click.argument("plan_id")
@click.option("--step", "number", type=click.IntRange(1), help="That step only.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for plan.json, program.txt, program.csv and a map of each sheet (SVG).",
)
@click.pass_obj
def show_plan(home: Home, plan_id: str, number: int | None, out: Path | None) -> None:
    """Show the program of a kept plan, made here or at the centre; it needs no network.

    PLAN_ID may be cut short: its first four letters do, if no other plan begins so.
    """
    from client.cache.plans import pieces_done  # noqa: PLC0415 - used here only
    from client.opened import opened_plan  # noqa: PLC0415
    from service.drawing.text import program_text, step_text  # noqa: PLC0415

    with in_home(home, reading=True) as station:
        whole = station.plan_named(plan_id)
        plan, order = opened_plan(station, whole)
        if number is not None:
            try:
                say(step_text(plan, order, number, named=whole).rstrip())
            except ValueError as error:
                raise InputWrong(str(error)) from error
            done = pieces_done(station.outbox.sql, whole).get(number, 0)
            say("")
            say(f"logged here: {done} of {plan.program[number - 1].pieces}")
        else:
            say(program_text(plan, order, named=whole).rstrip())
            say("")
            lines(comparison_lines(KeptPlan(whole, plan, order)))
        if out is not None:
            for paper in write_papers(KeptPlan(whole, plan, order), out):
                say(f"written: {paper}")


order_commands: Final = (check, plan, verify, plans, show_plan)
