"""Commands about one cut, offline: whether the machine can make it, and what to set for it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

import click

from client.cli_tools import LENGTH, THICKNESS, WHY, end_on_stops, in_home, lines, machine_for, say
from client.errors import InputWrong
from client.home import Home
from client.show import finding_lines
from service.engine.checks import check_cut, worst_first
from service.engine.findings import Finding
from service.engine.force import ForceCheck, check_force
from service.engine.force_limits import rake_slip
from service.engine.handling import usual_cautions
from service.engine.machine import Machine
from service.engine.materials import Material, certified
from service.engine.plan import Gauging, Settings
from service.engine.plausible import certificate_findings, certificate_slip
from service.engine.quantities import PER_MM, Length, show_mm
from service.engine.settings import settings_for

_NOT_HERE: Final = "this cut must not be made on this machine"

_GAUGING = click.option(
    "--gauging",
    type=click.Choice(["back gauge", "front stop", "marked line"]),
    default="back gauge",
    show_default=True,
    help="How the cut is measured.",
)


def _cut_options(command: Any) -> Any:
    for option in reversed(
        [
            click.option("--material", required=True, help="Grade."),
            click.option(
                "--thickness", required=True, type=THICKNESS, help='In mm, or such as "16 ga steel".'
            ),
            click.option("--cut-length", required=True, type=LENGTH, help="Length sheared in the stroke."),
            click.option("--machine", help="Id of the machine; shearwright machines lists them."),
        ]
    ):
        command = option(command)
    return command


@click.command("cut-check")
@_cut_options
@click.option("--drop", type=LENGTH, help="Depth of what falls behind the blade.")
@click.option("--remainder", type=LENGTH, help="Depth of what stays under the hold-down.")
@_GAUGING
@click.option(
    "--rake", type=click.FloatRange(0, 15), help="Degrees; the smallest within the force limit unless given."
)
@click.option(
    "--strength", type=click.FloatRange(0, 5000, min_open=True), help="N/mm², by the sheet's certificate."
)
@click.option("--certificate", help="Number of the certificate that states the strength.")
@click.option("--dulled", type=click.FloatRange(0, 2), help="Allowance for dulled edges: 0.25 for 25 %.")
@click.option("--side-by-side", type=click.IntRange(1, 1000), default=1, help="Pieces in one stroke.")
@WHY
@click.pass_obj
def cut_check(
    home: Home,
    material: str,
    thickness: Length,
    cut_length: Length,
    machine: str | None,
    drop: Length | None,
    remainder: Length | None,
    gauging: Gauging,
    rake: float | None,
    strength: float | None,
    certificate: str | None,
    dulled: float | None,
    side_by_side: int,
    why: bool,
) -> None:
    """Tell what a cut asks of the machine, and what stands against it; exit 1 when something does.

    Without --drop and --remainder what they decide is not looked at, which is said.
    No answer from here is a permission to cut.
    """
    if (strength is None) != (certificate is None):
        raise InputWrong("--strength and --certificate go together: a strength, and the paper that states it")
    with in_home(home) as station:
        shear, steel = machine_for(station, machine), station.material(material)
    doubtful: tuple[Finding, ...] = ()
    if strength is not None and certificate is not None:
        if (slip := certificate_slip(steel, thickness, strength)) is not None:
            raise InputWrong(f"--strength: {slip}")
        doubtful = certificate_findings(steel, thickness, strength)
        steel = certified(steel, strength, certificate)
    if rake is not None and (slip := rake_slip(shear, rake)) is not None:
        raise InputWrong(f"--rake: {slip}")
    if side_by_side > cut_length:
        raise InputWrong("--side-by-side: so many pieces do not fit along the cut")
    force = check_force(shear, steel, thickness, cut_length, rake, dulled)
    whole = check_cut(
        shear,
        steel,
        thickness,
        cut_length=cut_length,
        drop_depth=drop,
        remainder_depth=remainder,
        gauging=gauging,
        pieces_side_by_side=side_by_side,
        force=force,
    )
    found = worst_first((*doubtful, *whole))
    lines(_force_lines(shear, steel, thickness, force))
    lines(finding_lines(found, why=why))
    _cautions(shear, steel, found)
    end_on_stops(found, _NOT_HERE)


def _force_lines(machine: Machine, material: Material, thickness: Length, force: ForceCheck) -> list[str]:
    sharp = f"; with sharp edges {force.sharp_kn:.0f} kN" if force.dulled_allowance else ""
    return [
        f"{machine.name}, {show_mm(thickness)} mm {material.grade}",
        f"force            {force.force_kn:.0f} of {force.limit_kn:.0f} kN ({force.force_share:.0%})"
        f" at rake {force.rake_deg:g}°{sharp}",
        f"by               {force.method}; the methods differ by {force.spread:.2f} times",
        f"strength         {force.strength:g} N/mm², {force.strength_basis}",
        f"rating           counts as {force.equivalent_thickness_mm:.2f} mm of its steel, "
        f"{force.rating_share:.0%} of the rated thickness",
        f"blade engaged    {force.engaged_mm:.0f} mm",
        f"work             {force.work_j:.0f} J a stroke, {force.stroke_s:.1f} s, "
        f"{force.mean_power_kw:.1f} kW on average",
    ]


@click.command("cut-settings")
@_cut_options
@click.option("--drop", required=True, type=LENGTH, help="Depth of what falls behind the blade.")
@click.option("--remainder", type=LENGTH, help="Depth of what stays under the hold-down.")
@_GAUGING
@click.option("--trim", is_flag=True, help="What falls is a trim.")
@click.option(
    "--deeper",
    type=click.FloatRange(-10, 10),
    default=0.0,
    help="Millimetres by which drops were measured deeper than the gauge was set.",
)
@WHY
@click.pass_obj
def cut_settings(
    home: Home,
    material: str,
    thickness: Length,
    cut_length: Length,
    machine: str | None,
    drop: Length,
    remainder: Length | None,
    gauging: Gauging,
    trim: bool,
    deeper: float,
    why: bool,
) -> None:
    """Tell what to set for a cut: gap, rake, stroke, hold-down, relief and support.

    A cut that the machine cannot make gets no settings: what stands against it is told, and the exit
    code is 1.
    """
    with in_home(home) as station:
        shear, steel = machine_for(station, machine), station.material(material)
    force = check_force(shear, steel, thickness, cut_length)
    against = check_cut(
        shear,
        steel,
        thickness,
        cut_length=cut_length,
        drop_depth=drop,
        remainder_depth=remainder,
        gauging=gauging,
        force=force,
    )
    made = settings_for(
        shear,
        steel,
        thickness,
        cut_length=cut_length,
        drop_depth=drop,
        measured_offset=round(deeper * PER_MM),
        trim=trim,
        gauging=gauging,
        force=force,
    )
    found = worst_first((*against, *made.findings))
    if any(one.level == "stop" for one in found):
        lines(finding_lines((one for one in found if one.level == "stop"), why=why))
        end_on_stops(found, _NOT_HERE)
    lines(_setting_lines(made))
    lines(finding_lines(found, why=why))
    _cautions(shear, steel, found)


def _setting_lines(made: Settings) -> list[str]:
    held = "not known" if made.hold_down_kn is None else f"{made.hold_down_kn:g} kN"
    return [
        f"gap              {show_mm(made.gap)} mm",
        f"rake             {made.rake_deg:g}°",
        f"stroke           {show_mm(made.stroke)} mm",
        f"hold-down        {held}",
        f"relief           {'on' if made.relief else 'off'}",
        f"sheet support    {'on' if made.sheet_support else 'off'}",
    ]


def _cautions(machine: Machine, material: Material, found: Iterable[Finding]) -> None:
    say("usual cautions:")
    codes = (finding.code for finding in found)
    lines(f"  - {told}" for told in usual_cautions(machine, [material], found=codes))
