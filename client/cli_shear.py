"""Commands about the shear itself, all offline: what it can cut, and whether its gauge wants correcting."""

from __future__ import annotations

from pathlib import Path

import click

from client.cli_tools import LENGTH, in_home, machine_for, say
from client.errors import InputWrong, StoreFailed
from client.home import Home, write_whole
from schemas.checks import CapacityAnswerSchema
from service.engine.fingerprint import canonical_json
from service.engine.gauge_correction import Measured, gauge_correction
from service.engine.materials_table import BUILT_IN
from service.engine.quantities import Length, show_mm

USUAL_GRADES = (
    "plain steel",
    "S235JR",
    "S355JR",
    "1.4301",
    "5754 H111",
    "6082 T6",
    "Cu-DHP R240",
)
"""What the picture shows when no grades are named: one of each usual kind, as many as can be told apart."""


@click.command()
@click.argument("machine", required=False)
@click.option(
    "--out",
    required=True,
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for capacity.svg, capacity.txt, capacity.json and a picture of the force for each grade.",
)
@click.option(
    "--grade",
    "grades",
    multiple=True,
    help="Draw this grade; may be given up to eight times. Usual ones else.",
)
@click.option(
    "--cut-length", "cut_lengths", multiple=True, type=LENGTH, help="A column of the table; may be repeated."
)
@click.pass_obj
def curves(
    home: Home, machine: str | None, out: Path, grades: tuple[str, ...], cut_lengths: tuple[Length, ...]
) -> None:
    """Draw what a machine can cut: thickness over cut length, and force over thickness.

    The table holds every grade that is known here, the pictures those that are named.
    """
    from service.drawing.curves import (  # noqa: PLC0415 - loads the drawing only when drawn
        MOST_CURVES,
        capacity_svg,
        capacity_table,
        force_svg,
    )
    from service.engine.capacity import capacity  # noqa: PLC0415 - as above
    from service.engine.handling import usual_cautions  # noqa: PLC0415 - as above

    if len(grades) > MOST_CURVES:
        raise InputWrong(f"--grade: at most {MOST_CURVES} can be told apart in one picture")
    with in_home(home) as station:
        shear = machine_for(station, machine)
        drawn = [station.material(grade) for grade in grades or USUAL_GRADES]
        own = {material.grade: material for material in station.records.materials()}
        every = [*(built for built in BUILT_IN if built.grade not in own), *own.values()]
    try:
        picture = capacity_svg(shear, drawn)
    except ValueError as error:
        raise InputWrong(str(error)) from error
    answer = CapacityAnswerSchema().dump(
        {"rows": capacity(shear, every, cut_lengths), "cautions": usual_cautions(shear, every)}
    )
    papers = {
        "capacity.svg": picture.encode(),
        "capacity.txt": capacity_table(shear, every, cut_lengths).encode(),
        "capacity.json": canonical_json(answer) + b"\n",
    }
    for material in drawn:
        if material.shearable:
            name = "".join(letter if letter.isalnum() else "-" for letter in material.grade)
            papers[f"force-{name}.svg"] = force_svg(shear, material).encode()
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreFailed(f"cannot make the folder {out}: {error.strerror}") from error
    for name, data in papers.items():
        write_whole(out / name, data)
        say(f"written: {out / name}")


@click.command("gauge-check")
@click.option("--gauge", required=True, type=LENGTH, help="Value the back gauge was set to.")
@click.option(
    "--measured", required=True, multiple=True, type=LENGTH, help="Drop as measured; once for each part."
)
@click.option("--minus", type=LENGTH, help="Tolerance below the gauge value; with --plus.")
@click.option("--plus", type=LENGTH, help="Tolerance above the gauge value; with --minus.")
@click.option("--machine", help="Id of the machine; shearwright machines lists them.")
@click.pass_obj
def gauge_check(
    home: Home,
    gauge: Length,
    measured: tuple[Length, ...],
    minus: Length | None,
    plus: Length | None,
    machine: str | None,
) -> None:
    """Tell from measured parts whether to correct the back gauge. Nothing is logged."""
    with in_home(home) as station:
        shear = machine_for(station, machine)
    try:
        said = gauge_correction(
            shear.back_gauge, [Measured(gauge, size) for size in measured], minus=minus, plus=plus
        )
    except ValueError as error:
        raise InputWrong(str(error)) from error
    say(f"{said.advice}: {said.why}")
    if said.correction:
        say(f"gauge value for {show_mm(gauge)} mm: {show_mm(gauge + said.correction)} mm")
    if said.cp is not None and said.cpk is not None:
        say(f"Cp {said.cp:.2f}, Cpk {said.cpk:.2f}")
    for finding in said.findings:
        say(f"{finding.level}: {finding.message}")
