"""The command about a lift by hand, offline."""

from __future__ import annotations

from typing import Final

import click

from client.cli_tools import LENGTH, THICKNESS, WHY, end_on_stops, in_home, lines, say
from client.errors import InputWrong
from client.home import Home
from client.show import finding_lines
from service.engine.handling import piece_kg
from service.engine.lifting import Coupling, Duration, Lifted, check_lift, reach_cm
from service.engine.quantities import Length

_CM = click.FloatRange(0, 1000)
_PIECE: Final = "--material, --thickness, --length and --width"


@click.command("lift-check")
@click.option("--mass", type=click.FloatRange(0, 1e6, min_open=True), help="Kilograms; or give a piece.")
@click.option("--material", help="Grade of the piece.")
@click.option("--thickness", type=THICKNESS, help='Of the piece: in mm, or such as "16 ga steel".')
@click.option("--length", type=LENGTH, help="Of the piece.")
@click.option("--width", type=LENGTH, help="Of the piece; its smaller side is held before the body.")
@click.option("--reach", type=_CM, help="Hands before the ankles [cm]; by the width of a piece else.")
@click.option("--height", type=_CM, default=75.0, show_default=True, help="Hands above the floor [cm].")
@click.option("--way", type=_CM, default=25.0, show_default=True, help="Lifted up or down by so much [cm].")
@click.option(
    "--turned", type=click.FloatRange(0, 180), default=0.0, show_default=True, help="To the side [degrees]."
)
@click.option(
    "--each-minute", type=click.FloatRange(0, 1000), default=0.2, show_default=True, help="Lifts a minute."
)
@click.option(
    "--over",
    type=click.Choice(["1 hour", "2 hours", "8 hours"]),
    default="1 hour",
    show_default=True,
    help="How long at a time.",
)
@click.option(
    "--hold",
    type=click.Choice(["good", "fair", "poor"]),
    default="poor",
    show_default=True,
    help="How well it can be held; a bare sheet edge is poor.",
)
@WHY
@click.pass_obj
def lift_check(
    home: Home,
    mass: float | None,
    material: str | None,
    thickness: Length | None,
    length: Length | None,
    width: Length | None,
    reach: float | None,
    height: float,
    way: float,
    turned: float,
    each_minute: float,
    over: Duration,
    hold: Coupling,
    why: bool,
) -> None:
    """Hold one person's lift by hand against the recommended limit of the NIOSH equation.

    The exit code is 1 when it must not be lifted so. It is guidance for one person with two hands; the
    local rules decide, and it permits nothing.
    """
    sizes = (material, thickness, length, width)
    if mass is not None and any(one is not None for one in sizes):
        raise InputWrong(f"either --mass, or a piece by {_PIECE}")
    if mass is None:
        if material is None or thickness is None or length is None or width is None:
            raise InputWrong(f"the mass is wanted: --mass, or a piece by {_PIECE}")
        with in_home(home) as station:
            steel = station.material(material)
        mass = piece_kg(steel, length, width, thickness)
        if reach is None:
            reach = reach_cm(min(length, width), height)
    if reach is None:
        raise InputWrong("--reach: how far the hands are before the ankles is wanted [cm]")
    found = check_lift(mass, Lifted(reach, height, way, turned, each_minute, over, hold))
    say(f"mass             {found.told.load} kg, hands {reach:.0f} cm before the ankles")
    say(f"limit            {found.told.limit} kg recommended for one person")
    index = (
        "none: the equation does not allow for such a lift" if found.index is None else f"{found.index:.2f}"
    )
    say(f"index            {index}")
    factors = ", ".join(f"{name} {value:.2f}" for name, value in found.multipliers.items())
    say(f"multipliers      {factors}")
    lines(finding_lines([found.finding], why=why))
    end_on_stops([found.finding], "one person must not lift this so")
