"""The command `shearwright init`: which service this workstation belongs to, and by which tokens."""

from __future__ import annotations

import sys
from urllib.parse import urlsplit

import click

from client.cache.outbox import Outbox
from client.cli_tools import say
from client.errors import InputWrong
from client.greet import greet_planning, greet_station
from client.home import Home, StationSettings, checked_server
from client.workstation import workstation_at


@click.command()
@click.option("--server", required=True, help="Address of the service, for example https://shear.example.")
@click.option(
    "--token", help="Token of this station. Asked for when left out; - reads it from standard input."
)
@click.option("--station", required=True, help="Name of this station, as the token was made for.")
@click.option("--site", required=True, help="Site this station belongs to.")
@click.option("--plan-token", help="Token of the scope plan, for plan --online; - reads it as above.")
@click.pass_obj
def init(home: Home, server: str, token: str | None, station: str, site: str, plan_token: str | None) -> None:
    """Set this workstation up. Run it again to change the address or the token.

    The service is asked at once whether the tokens fit. Where it is not reached they are kept, and
    the next sync tells.
    """
    address = checked_server(server)
    if token is None:
        token = click.prompt("Token", hide_input=True)
    secret = _one_word(token)
    plan_secret = None if plan_token is None else _one_word(plan_token)
    for name, value in (("station", station), ("site", site)):
        if not value.strip() or len(value) > 60 or not value.isprintable():
            raise InputWrong(f"{name}: 1 to 60 letters are wanted")
    named = _station_of_the_log(home, station)
    if named not in {None, station}:
        raise InputWrong(
            f"{home.folder} belongs to station {named!r}, and its log bears that name; "
            "set another station up in another folder with --home"
        )
    settings = StationSettings(address, station, site)
    unproved = greet_station(settings, secret)
    if unproved is None and plan_secret is not None:
        unproved = greet_planning(settings, plan_secret)
    home.write_settings(settings, secret, plan_secret)
    with workstation_at(home) as opened:
        if opened.outbox.notice is not None:
            say(f"note: {opened.outbox.notice}", err=True)
    say(f"station {station} at {site} is set up in {home.folder}")
    if unproved is None:
        say(f"the service knows it: the {'tokens fit' if plan_secret is not None else 'token fits'}")
    else:
        say(f"note: whether the token fits is not proved: {unproved}; the first sync will tell", err=True)
    parts = urlsplit(address)
    if parts.scheme == "http" and parts.hostname not in {"localhost", "127.0.0.1", "::1"}:
        say("note: over http anyone on the way can read the token; https is wanted", err=True)
    say("next: shearwright pull")


def _station_of_the_log(home: Home, station: str) -> str | None:
    """Whose entries are written down here; None where none are, and a mistyped name can be put right."""
    if not home.store_file.exists():
        return None
    outbox = Outbox(home, station)
    try:
        return next((str(one.event["station"]) for one in outbox.latest(1)), None)
    finally:
        outbox.close()


def _one_word(given: str) -> str:
    token = (sys.stdin.readline() if given == "-" else given).strip()
    if not token or not token.isascii() or any(not sign.isprintable() or sign == " " for sign in token):
        raise InputWrong("a token is one word of letters, digits and signs")
    return token
