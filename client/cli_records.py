"""Commands that read the records of the shop: machines, and what lies on the rack."""

from __future__ import annotations

from typing import Final

import click

from client import show
from client.cli_tools import as_of, in_home, lines
from client.home import Home


@click.command()
@click.pass_obj
def machines(home: Home) -> None:
    """List the machines."""
    with in_home(home) as station:
        if station.records.as_of is None:
            raise station.lacking("machines")
        lines(show.machine_lines(station.records.machines()))
        as_of(station)


@click.command()
@click.option("--site", help="Another site than this station's own.")
@click.option("--material", help="Only this grade.")
@click.option("--all", "everything", is_flag=True, help="Also what is used up.")
@click.pass_obj
def stock(home: Home, site: str | None, material: str | None, everything: bool) -> None:
    """List sheets and offcuts on the rack, with what was logged here since the last pull."""
    with in_home(home) as station:
        if station.records.as_of is None:
            raise station.lacking("stock")
        rack = [
            item
            for item in station.rack(site)
            if (everything or item.quantity > 0) and material in {None, item.material}
        ]
        lines(show.stock_lines(rack))
        as_of(station)


record_commands: Final = (machines, stock)
