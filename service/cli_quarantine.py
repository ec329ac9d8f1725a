"""``shearwright-service quarantine``: what was not applied, and what a person does about it."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import click
from marshmallow import Schema, ValidationError

from schemas.held import CorrectEventSchema, WordsSchema
from schemas.problems import FieldError, field_errors
from service.app import Config
from service.opening import opened
from service.store import again, held
from service.store.chains import sent_as
from service.store.database import connected
from service.store.events import Result

_MOST: Final = 1_000_000
_NUMBER: Final = click.IntRange(1, 2**62)


@click.group()
def quarantine() -> None:
    """List entries that were not applied, and try, correct or dismiss them."""


@quarantine.command("list")
@click.option(
    "--show", type=click.Choice(("waiting", "dismissed", "corrected")), default="waiting", show_default=True
)
@click.option("--full", is_flag=True, help="With each its payload, as JSON that can be put right.")
@click.pass_obj
def list_events(config: Config, show: str, full: bool) -> None:
    """List entries that wait, or that a person dismissed or corrected.

    Each begins with the number by which retry, correct and dismiss take it.
    """
    opened(config)
    with connected():
        found = held.not_applied(0, _MOST, show)
        if not found:
            click.echo("none that waits" if show == "waiting" else f"none that was {show}")
        for one in found:
            event = one.event
            click.echo(
                f"{one.id}  {one.state}  {one.site}/{one.station} {sent_as(event['epoch'], event['seq'])}  "
                f"{event['type']}  {held.moment(datetime.fromisoformat(event['happened_at']))}  "
                f"{_errors(one.errors)}"
            )
            for made in one.corrections:
                click.echo(f"    {held.moment(made.made_at)}  {made.made_by}: {made.words} ({made.outcome})")
            if full:
                shown = event["payload"] if one.corrected_payload is None else one.corrected_payload
                click.echo(json.dumps(shown, indent=2, ensure_ascii=False))


@quarantine.command("retry")
@click.argument("number", type=_NUMBER)
@click.pass_obj
def retry(config: Config, number: int) -> None:
    """Try again to apply an entry, once what it lacked is there."""
    opened(config)
    with connected(), _told():
        _tell(number, again.retry(number, datetime.now(UTC)))


@quarantine.command("correct")
@click.argument("number", type=_NUMBER)
@click.option("--words", required=True, help="What was wrong, and how you know.")
@click.option(
    "--payload",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="A JSON file of the payload as it should have been.",
)
@click.option("--happened-at", help="The time as it should have been, with its offset.")
@click.option("--as-new", is_flag=True, help="It happened beside the other entry of that event_id.")
@click.option("--by", default="command line", show_default=True, help="Who corrects it.")
@click.pass_obj
def correct(
    config: Config,
    number: int,
    words: str,
    payload: Path | None,
    happened_at: str | None,
    as_new: bool,
    by: str,
) -> None:
    """Apply an entry as it should have been; the original stays beside it."""
    given = None if payload is None else _read(payload)
    asked = _asked(
        CorrectEventSchema, payload=given, happened_at=happened_at, words=words, as_new=as_new or None
    )
    opened(config)
    with connected(), _told():
        result = again.correct(
            number,
            payload=asked["payload"],
            happened_at=asked["happened_at"],
            words=asked["words"],
            by=by,
            now=datetime.now(UTC),
            as_new=asked["as_new"],
        )
        _tell(number, result)


@quarantine.command("dismiss")
@click.argument("number", type=_NUMBER)
@click.option("--words", required=True, help="Why it is not to be applied.")
@click.option("--by", default="command line", show_default=True, help="Who dismisses it.")
@click.pass_obj
def dismiss(config: Config, number: int, words: str, by: str) -> None:
    """Say that an entry is not to be applied; it is kept all the same."""
    said = _asked(WordsSchema, words=words)["words"]
    opened(config)
    with connected(), _told():
        if not again.dismiss(number, words=said, by=by, now=datetime.now(UTC)):
            raise _none_waits(number)
    click.echo(f"dismissed: {number}")


@contextmanager
def _told() -> Iterator[None]:
    try:
        yield
    except again.WasWithdrawn as withdrawn:
        raise click.ClickException(str(withdrawn)) from None
    except again.CorrectionRefused as refused:
        raise click.ClickException(f"nothing was saved.\n{_plain(refused.errors)}") from None


def _tell(number: int, result: Result | None) -> None:
    if result is None:
        raise _none_waits(number)
    for note in result.notes:
        click.echo(f"note: {note}")
    if result.state != "applied":
        raise click.ClickException(
            f"still {result.state}: {_plain(result.errors) or 'its type is not known'}"
        )
    click.echo(f"applied: {number}")


def _none_waits(number: int) -> click.ClickException:
    return click.ClickException(f"nothing waits under {number} in the list; see: quarantine list")


def _asked(schema: type[Schema], **given: Any) -> Any:
    """What was asked for, as the contract has it; what was left out is not given."""
    try:
        return schema().load({name: value for name, value in given.items() if value is not None})
    except ValidationError as error:
        raise click.ClickException(f"nothing was saved.\n{_plain(field_errors(error.messages))}") from None


def _read(file: Path) -> dict[str, Any]:
    try:
        found = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise click.ClickException(f"{file}: {error}") from None
    if not isinstance(found, dict):
        raise click.ClickException(f"{file}: an object is wanted, the payload alone")
    return found


def _plain(errors: Iterable[FieldError]) -> str:
    return "\n".join(f"{error.pointer or '/'}: {error.message}" for error in errors)


def _errors(errors: Sequence[Any]) -> str:
    told = "; ".join(f"{error['pointer']} {error['message']}".strip() for error in errors)
    return told or "its type is not known here yet"
