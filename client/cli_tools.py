"""What all commands share: opening the workstation, saying things, reading lengths."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import Any, Final

import click

from client import show
from client.cache.clock import offset_now
from client.errors import FaultsFound, InputWrong
from client.home import Home
from client.log.batch import Logged
from client.workstation import Workstation, workstation_at
from service.engine.findings import Finding
from service.engine.machine import Machine
from service.engine.quantities import Length, QuantityError, parse_length, parse_thickness


def say(text: str, *, err: bool = False) -> None:
    """Print a line."""
    click.echo(text, err=err)


def tell(logged: Logged) -> None:
    """Say that it is written, under which numbers, and what else there is to know."""
    numbers = [one.row for one in logged.events]
    first, last = min(numbers), max(numbers)
    say(f"written: entry {first}" if first == last else f"written: entries {first} to {last}")
    for note in logged.notes:
        say(f"note: {note}")


_SURE: Final = "shearwright.sure"


def _keep(context: click.Context, _: click.Parameter, value: bool) -> None:
    context.meta[_SURE] = value


SURE = click.option(
    "--sure",
    is_flag=True,
    expose_value=False,
    callback=_keep,
    help="Write it down although the figures look wrong.",
)
"""For commands that write down: it is known to the workstation that they open."""


WHY = click.option("--why", is_flag=True, help="Tell with each sentence what it rests on.")
"""For commands that answer with findings."""


def end_on_stops(findings: Iterable[Finding], what: str) -> None:
    """Nothing where none of the findings is a stop.

    Raises
    ------
    FaultsFound
        Saying that `what` must not be, by how many of them.
    """
    stops = sum(one.level == "stop" for one in findings)
    if stops:
        count = "what is said above" if stops == 1 else f"{stops} things said above"
        raise FaultsFound(f"STOP: {what}, for {count}")


@contextmanager
def in_home(home: Home, *, reading: bool = False) -> Iterator[Workstation]:
    """Open the workstation, for one who only reads also on a full disk; tell what had to be done for it."""
    context = click.get_current_context(silent=True)
    sure = context is not None and bool(context.meta.get(_SURE))
    with workstation_at(home, sure=sure, reading=reading) as station:
        if station.full is not None:
            say(
                "note: the disk is full: this can be read, and nothing can be written down; make room",
                err=True,
            )
        if station.outbox.notice is not None:
            say(f"note: {station.outbox.notice}", err=True)
        yield station


def lines(told: Iterable[str]) -> None:
    """Print lines."""
    for line in told:
        say(line)


def as_of(station: Workstation, *, err: bool = False) -> None:
    """Say how old the records are that an answer rests on."""
    # That time is the centre's, so its age goes by the centre's clock.
    now = datetime.now(station.zone()) + (offset_now(station.outbox.sql) or timedelta())
    say(f"data as of {show.moment(station.records.as_of, now)}", err=err)


class LengthType(click.ParamType[Length]):
    """A length such as 118.5, 118,5 mm or 2 1/2"; bare numbers are mm."""

    name = "length"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Length:
        """Read it."""
        if isinstance(value, int):
            return value
        try:
            return parse_length(str(value))
        except QuantityError as error:
            self.fail(str(error), param, ctx)


class ThicknessType(click.ParamType[Length]):
    """A thickness: a length, or a sheet gauge number with its table, such as "16 ga steel"."""

    name = "thickness"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Length:
        """Read it."""
        if isinstance(value, int):
            return value
        try:
            return parse_thickness(str(value))
        except QuantityError as error:
            self.fail(str(error), param, ctx)


LENGTH = LengthType()
THICKNESS = ThicknessType()


def machine_for(station: Workstation, machine_id: str | None) -> Machine:
    """The machine named, or the only one at this site.

    Raises
    ------
    InputWrong
        When none is named and there are several.
    NotSetUp
        When there are none.
    """
    if machine_id is not None:
        return station.machine(machine_id)
    here = [one for one in station.records.machines() if one.site in {None, station.settings.site}]
    if len(here) == 1:
        say(f"machine {here[0].id}, the only one at {station.settings.site}", err=True)
        return here[0]
    known = ", ".join(one.id for one in here)
    if not known:
        raise station.lacking(f"machines at {station.settings.site}")
    raise InputWrong(f"which machine? give --machine, one of {known}")
