"""The command about the wear of the edge at work, offline."""

from __future__ import annotations

from datetime import UTC, timedelta
from typing import Final

import click

from client.cli_tools import WHY, as_of, in_home, lines, machine_for, say
from client.edge_story import edge_story
from client.home import Home
from client.show import finding_lines
from service.engine.quantities import show_mm
from service.engine.wear.edge import WORK_SHARE, WearEstimate, estimate
from service.engine.wear.history import beyond_blade
from service.engine.wear.learn import governing
from service.engine.wear.spread import best_spread, spread_finding


@click.command("edge-check")
@click.option("--machine", help="Id of the machine; shearwright machines lists them.")
@click.option(
    "--days",
    type=click.IntRange(1, 1000),
    default=20,
    show_default=True,
    help="Working days of the past that the present rate is taken from.",
)
@WHY
@click.pass_obj
def edge_check(home: Home, machine: str | None, days: int, why: bool) -> None:
    """Tell how worn the edge at work is, and when it wants turning.

    By the cuts and measurements logged at this station, and what the record of the blade has besides.
    """
    with in_home(home) as station:
        known = edge_story(station, machine_for(station, machine))
        now = station.outbox.now()
        begin = now - timedelta(days=days / WORK_SHARE)
        logged = known.story.cuts.get(known.story.edge, [])
        started = max(begin, min((one.at for one in logged), default=begin))
        life = known.blade.life_m if known.blade is not None else None
        found = estimate(
            known.machine,
            known.cuts,
            days=max(1.0, (now - started) / timedelta(days=1) * WORK_SHARE),
            recent=known.since(begin),
            edges_unused=known.unused,
            edge_life_m=life,
            today=now.astimezone(UTC).date(),
            rate=governing(known.story.measures),
        )
        name = known.blade.id if known.blade is not None else "no record of the blade"
        say(f"{known.machine.name}, {name}, edge {known.story.edge}")
        lines(_wear_lines(found))
        if known.elsewhere_m:
            say(
                f"note: {known.elsewhere_m:.0f} m of this use are in the record of the blade and not in the "
                "log of this station; where along the blade is not known here, and they are spread over it"
            )
        if known.left_out:
            say(f"note: {known.left_out} entries are of grades that are not known here, and are left out")
        advice = spread_finding(best_spread(known.machine, found.use))
        beyond = beyond_blade(known.machine.cutting_length, known.beyond)
        said = [*known.story.findings, *beyond, *found.findings, *([advice] if advice else [])]
        lines(finding_lines(said, why=why))
        as_of(station)


MOST_DAYS_TOLD: Final = 500
"""Working days, about two years: a day further off says that hardly anything was logged. A shop default."""


def _wear_lines(found: WearEstimate) -> list[str]:
    place = f"{show_mm(found.worst_start)} to {show_mm(found.worst_end)} mm from the squaring arm"
    told = [
        f"cut              {found.use.metres:.1f} m, which count as {found.use.equivalent_metres:.1f} m "
        "of the rated plate",
        f"used             {found.share_used:.1%} of its life at the worst place, {place}; "
        f"{found.mean_share:.1%} on average",
    ]
    if found.days_left is None:
        return [*told, "days left        not known: nothing was logged here in the days looked at"]
    low = found.days_left if found.days_left_low is None else found.days_left_low
    high = "no end" if found.days_left_high is None else f"{found.days_left_high:.0f}"
    on = "" if found.turn_on is None else f"; turn it about {found.turn_on.isoformat()}"
    if found.days_left > MOST_DAYS_TOLD:
        on = "; so little was logged in the days looked at that no day to turn it is told"
    return [*told, f"days left        {found.days_left:.0f} working days ({low:.0f} to {high}){on}"]
