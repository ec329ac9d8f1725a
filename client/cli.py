"""The command `shearwright`."""

from __future__ import annotations

import sys
import traceback
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, NoReturn

import click

from client import show
from client.agree import CENTRE_KNOWS, earlier_centre
from client.cache.clock import offset_now, span
from client.cache.lost import losses
from client.cli_cut import cut_check, cut_settings
from client.cli_edge import edge_check
from client.cli_entries import decisions
from client.cli_lift import lift_check
from client.cli_log import log_group
from client.cli_orders import order_commands
from client.cli_program import program_check
from client.cli_records import record_commands
from client.cli_setup import init
from client.cli_shear import curves, gauge_check
from client.cli_tools import in_home, lines, say
from client.errors import EXIT_CODES, CacheDamaged, ClientError, DiskFull, InputWrong
from client.export import check_export, export_log
from client.home import Home, home_at
from client.schedule import EVERY_S, run_until_stopped
from client.sync import SyncReport, pull_anew, sync_once
from client.wire import Patience
from client.workstation import Workstation


class _Commands(click.Group):
    """The root: every error becomes a line and an exit code here, and nowhere else."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except ClientError as error:
            self._tell(error)
        except (click.ClickException, click.Abort, click.exceptions.Exit, BrokenPipeError):
            raise
        except KeyboardInterrupt:
            raise click.Abort from None
        except Exception as error:
            self._fault(ctx, error)

    def _tell(self, error: ClientError) -> NoReturn:
        say(f"shearwright: {error}", err=True)
        raise click.exceptions.Exit(error.exit_code)

    def _fault(self, ctx: click.Context, error: Exception) -> NoReturn:
        kept = ""
        home = ctx.obj if isinstance(ctx.obj, Home) else None
        if home is not None:
            try:
                home.make()
                place = home.folder / "last-fault.txt"
                place.write_text("".join(traceback.format_exception(error)), encoding="utf-8")
                kept = f"; the details are in {place}"
            except (OSError, ClientError):
                kept = ""
        self._tell(ClientError(f"a fault in the program ({type(error).__name__}: {error}){kept}"))


@click.group(
    cls=_Commands,
    epilog="\b\nExit codes:\n" + EXIT_CODES,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.option(
    "--home",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder of this workstation (else SHEARWRIGHT_HOME, else your data folder).",
)
@click.version_option(package_name="shearwright", prog_name="shearwright")
@click.pass_context
def cli(ctx: click.Context, home: Path | None) -> None:
    """Plan cuts for a guillotine shear and write down what was cut, with or without the network.

    A plan or a check from this program is no permission to cut. The machine's maker, its guards and
    the local code decide what may be put under the blade, and how.
    """
    ctx.obj = home_at(home)


cli.add_command(log_group)
for _command in (
    init,
    curves,
    gauge_check,
    cut_check,
    cut_settings,
    lift_check,
    edge_check,
    program_check,
    decisions,
):
    cli.add_command(_command)
for _command in (*order_commands, *record_commands):
    cli.add_command(_command)


# --- records ------------------------------------------------------------------------------------


@cli.command()
@click.option("--anew", is_flag=True, help="Fetch all records anew, as when some of them are damaged here.")
@click.pass_obj
def pull(home: Home, anew: bool) -> None:
    """Fetch machines, materials, programs, stock and plans; tell what changed."""
    with in_home(home) as station:
        report = pull_anew(station) if anew else sync_once(station, push=False)
    with in_home(home) as station:
        for line in (*(f"note: {one}" for one in report.notices), *show.change_lines(report.changes)):
            say(line)
        if report.problem is not None:
            raise report.problem
        if not report.changes:
            say("all records as they were" if anew else "nothing new")
        kinds = ", ".join(show.records_text(kind, count) for kind, count in station.records.counts().items())
        say(f"here now: {kinds or 'no records'}")
        lines(
            show.backlog_lines(station.outbox.counts(), station.outbox.sql.meta, datetime.now(station.zone()))
        )


@cli.command()
@click.option("--seen", is_flag=True, help="Tell no longer of missing entries that the centre was asked for.")
@click.pass_obj
def status(home: Home, seen: bool) -> None:
    """Tell what is pending, missing or in quarantine, and how old the records are."""
    settings = home.settings()
    say(f"station          {settings.station} at {settings.site}")
    say(f"service          {settings.server}")
    with ExitStack() as opened:
        try:
            station = opened.enter_context(in_home(home, reading=True))
        except DiskFull:
            for name in ("pending", "quarantined"):
                say(f"{name:<16} unknown: the store cannot be opened; nothing in it was changed")
            raise
        _status(station, seen)
        if station.full is not None:
            raise station.full


def _status(station: Workstation, seen: bool) -> None:
    from client.log.awaited import awaited  # noqa: PLC0415 - used here only

    outbox, zone = station.outbox, station.zone()
    now = datetime.now(zone)
    outbox.sql.check()
    lines(show.sync_lines(outbox.sql.meta, now))
    offset = offset_now(outbox.sql)
    say(f"data as of       {show.moment(station.records.as_of, now + (offset or timedelta()))}")
    lines(show.counts_lines(outbox.counts(), now))
    if offset is not None:
        way = "behind" if offset > timedelta() else "ahead of"
        say(f"clock            {span(offset)} {way} the centre's")
        if abs(offset) > show.CLOCK_WARNING:
            say("note: set this computer's clock; reports use the corrected time meanwhile")
    earlier = earlier_centre(outbox.sql.meta(CENTRE_KNOWS))
    if earlier is not None:
        say(f"note: {earlier}")
    lines(f"damaged          {one.damage}" for one in outbox.unsound())
    if seen:
        outbox.lost_seen()
    broken = station.records.damaged()
    if broken:
        named = ", ".join(broken[:5]) + (f" and {len(broken) - 5} more" if len(broken) > 5 else "")
        say(f"damaged          {CacheDamaged(f'{named} not as sent any more')}")
    lines(show.lost_lines(losses(outbox.sql)))
    lines(show.quarantine_lines(outbox.quarantined(), zone))
    lines(f"note: {told}" for told in awaited(station))


# --- syncing -------------------------------------------------------------------------------------


@cli.command()
@click.option(
    "--seconds", type=click.FloatRange(1, 3600), default=120.0, show_default=True, help="Longest time."
)
@click.pass_obj
def sync(home: Home, seconds: float) -> None:
    """Send what was written down and fetch what is new, once."""
    with in_home(home) as station:
        station.outbox.sql.check()
        # One that runs in the background just now is waited for; what is left then is little.
        report = sync_once(station, patience=Patience(total_s=seconds), wait_s=min(seconds, 30.0))
        lines(show.report_lines(report))
        if report.problem is not None:
            waiting = report.counts.pending
            count = {0: "no entry waits", 1: "1 entry waits"}.get(waiting, f"{waiting} entries wait")
            say(f"{count} here; nothing is lost", err=True)
            raise report.problem


@cli.command()
@click.pass_obj
def retry(home: Home) -> None:
    """Offer again at the next sync what the service did not take in and was put aside here.

    What is in quarantine at the centre is tried again there, by an administrator.
    """
    with in_home(home) as station:
        count = station.outbox.retry_aside()
        if not count:
            say("nothing is put aside here that still counts; nothing to offer again")
        else:
            say(f"{count} {'entry' if count == 1 else 'entries'} will be offered again")


@cli.command()
@click.option(
    "--every",
    type=click.FloatRange(5, 86400),
    default=EVERY_S,
    show_default=True,
    help="Seconds between syncs.",
)
@click.pass_obj
def run(home: Home, every: float) -> None:
    """Sync now and then at intervals, until stopped with Ctrl-C or by the system."""
    with in_home(home) as station:
        station.outbox.sql.check()

    def told(outcome: SyncReport | ClientError) -> None:
        stamp = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        for line in show.outcome_lines(outcome):
            say(f"{stamp} {line}")

    say(f"syncing every {every:g} s; stop with Ctrl-C")
    run_until_stopped(home, told, every)
    say("stopped; what is pending is kept")


@cli.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--check", "checking", is_flag=True, help="Check a file that was exported before, instead.")
@click.pass_obj
def export(home: Home, file: Path, checking: bool) -> None:
    """Write the log of this workstation to FILE: one entry a line (NDJSON), with checksums."""
    if checking:
        found = check_export(file)
        say(f"{file}: {found.events} entries, as they were written (SHA-256 {found.sha256})")
        return
    with in_home(home) as station:
        done = export_log(station, file)
    say(f"{file}: {done.events} entries, SHA-256 {done.sha256}")


@cli.command()
@click.argument("file", required=False, type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--sure", is_flag=True, help="Also when no damage is found in the store in use.")
@click.pass_obj
def salvage(home: Home, file: Path | None, sure: bool) -> None:
    """Bring what can be read of a damaged store into a new one; the damaged one is put aside and kept.

    FILE is a damaged store that was put aside before; the one in use unless given.
    """
    from client.salvage import damage_of  # noqa: PLC0415 - used here only
    from client.salvage import salvage as salvaged  # noqa: PLC0415 - as above

    if file is None and not sure and damage_of(home, home.settings().station) is None:
        raise InputWrong(
            "no damage is found in the store in use, and nothing was done; --sure salvages it all the same"
        )
    done = salvaged(home, home.settings().station, file)
    say(f"brought over: {done.events} entries, {done.pending} of them to be sent; the centre tells repeats")
    if done.renumbered:
        say(
            f"under new numbers: {done.renumbered} of them, as entries before them are missing; all others "
            "keep theirs"
        )
    if done.known_already:
        say(f"here already: {done.known_already}")
    for words in done.unread:
        say(f"could not be read: {words}")
    if done.unread:
        say("what could not be read here may be at the centre: shearwright sync, then compare its reports")
    say(f"the damaged store is kept as {done.aside}; do not delete it before all is found")


# --- small helps ---------------------------------------------------------------------------------


@contextmanager
def _utf8() -> Iterator[None]:
    # A console with another code page must not stop a command in the middle of its output.
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    yield


def main() -> None:
    """Run the command."""
    with _utf8():
        cli(prog_name="shearwright")


if __name__ == "__main__":
    main()
