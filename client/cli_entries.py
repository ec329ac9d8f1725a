"""The commands `shearwright log list`, `log withdraw` and `decisions`: an entry, and what becomes of it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime

import click

from client import show
from client.cache import decided
from client.cache.decided import verdicts
from client.cache.lost import sent_as
from client.cache.outbox import Outbox
from client.cache.written import Written
from client.cli_tools import in_home, say, tell
from client.entry_words import STANDINGS, name_of, words_of
from client.errors import InputWrong
from client.home import Home
from client.log.withdraw import TYPE, log_withdrawn, row_of, withdrawn_ids

_MOST_AT_ONCE = 200


@click.command("list")
@click.option(
    "--last", type=click.IntRange(1, 10_000), default=20, show_default=True, help="How many entries."
)
@click.option(
    "--as-sent", is_flag=True, help="With each its epoch and number there, by which the centre names it."
)
@click.pass_obj
def list_entries(home: Home, last: int, as_sent: bool) -> None:
    """List the last entries with their numbers, the newest at the end.

    The last column says where an entry is: to be sent, or counted at the centre, in quarantine there, kept
    there for later, put aside here; and what became of it where it was withdrawn, corrected or dismissed.
    """
    with in_home(home, reading=True) as station:
        zone = station.zone()
        became = verdicts(station.outbox.sql) | dict.fromkeys(withdrawn_ids(station.outbox), "withdrawn")
        entries = [one for one in station.outbox.latest(last) if one.state != "reissued"]
        rows = [
            (
                str(one.row),
                f"{datetime.fromisoformat(one.happened_at).astimezone(zone):%Y-%m-%d %H:%M %Z}",
                name_of(one.type),
                _words(station.outbox, one),
                _standing(one, became),
                *([sent_as(one.epoch, one.seq, one.seq)] if as_sent else []),
            )
            for one in reversed(entries)
        ]
        head = ("entry", "at", "what", "", "where it is", *(["sent as"] if as_sent else []))
        for line in show.table(head, rows):
            say(line)
        for one in entries:
            if not one.sound:
                say(f"note: {one.damage}", err=True)


def _words(outbox: Outbox, one: Written) -> str:
    if not one.sound:
        return "changed on the disk"
    payload = one.event["payload"]
    of_it = row_of(outbox, payload["event_id"]) if one.type == TYPE else None
    return (f"of entry {of_it}: " if of_it is not None else "") + words_of(one.type, payload)


def _standing(one: Written, became: Mapping[str, str]) -> str:
    return became.get(one.event_id, STANDINGS.get(one.state, one.state)) if one.sound else "damaged"


@click.command()
@click.option(
    "--last", type=click.IntRange(1, 10_000), default=20, show_default=True, help="How many decisions."
)
@click.pass_obj
def decisions(home: Home, last: int) -> None:
    """List what persons at the centre decided about entries of this station, the newest at the end.

    An entry that was not applied may be corrected or dismissed there; what does not add up with one,
    such as a sheet taken that the books do not have, is settled in words.
    """
    with in_home(home, reading=True) as station:
        sql, zone = station.outbox.sql, station.zone()
        found = decided.decisions(sql, last)
        for one in reversed(found):
            at = f"{datetime.fromisoformat(one.at).astimezone(zone):%Y-%m-%d %H:%M %Z}"
            say(f"{at}  {decided.decision_words(one, decided.entry_of(sql, one))}")
        if not found:
            say("none that this station was told of")


@click.command()
@click.argument("entries", nargs=-1, required=True, metavar="ENTRY…")
@click.option("--reason", required=True, help="Why, in your own words.")
@click.option("--operator", help="Initials or code of the operator.")
@click.pass_obj
def withdraw(home: Home, entries: tuple[str, ...], reason: str, operator: str | None) -> None:
    """Withdraw wrong entries, by their numbers: 12, or 12-14 for several.

    They stay in the log, and no longer count in the stock, the reports and the wear of the blade. Of
    several, those that were withdrawn before are passed over. A sheet that went back to the rack uncut
    is on the rack again when the entry that says it was taken is withdrawn.
    """
    spans = [_numbers(text) for text in entries]
    numbers = [number for span in spans for number in span]
    singly = {span[0] for span in spans if len(span) == 1}
    spanned = set(numbers) - singly
    if not reason.strip():
        raise InputWrong("--reason: a few words are wanted")
    with in_home(home) as station:
        tell(log_withdrawn(station, numbers, reason.strip(), operator=operator, pass_over=spanned))


def _numbers(text: str) -> list[int]:
    found = re.fullmatch(r"(\d{1,15})(?:-(\d{1,15}))?", text, re.ASCII)
    if found is None:
        raise InputWrong(f"{text!r} is not the number of an entry; write for example 12, or 12-14")
    first, last = int(found[1]), int(found[2] or found[1])
    if not first <= last < first + _MOST_AT_ONCE:
        raise InputWrong(f"{text!r}: the first number comes first, and at most {_MOST_AT_ONCE} at once")
    return list(range(first, last + 1))
