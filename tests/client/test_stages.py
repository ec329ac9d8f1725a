"""How often the cuts may change direction, as the command takes it."""

import click
import pytest
from click.testing import CliRunner

from client.cli_orders import _stages


@click.command()
@click.option("--stages", callback=_stages)
def told(stages: int | None) -> None:
    click.echo(stages)


@pytest.mark.parametrize(
    ("given", "taken"), [([], ""), (["--stages", "3"], "3"), (["--stages", "any"], "40")]
)
def test_stages_are_a_number_or_any(given: list[str], taken: str) -> None:
    assert CliRunner().invoke(told, given).output.strip() == taken


@pytest.mark.parametrize("given", ["0", "61", "some"])
def test_other_stages_are_refused_in_words(given: str) -> None:
    done = CliRunner().invoke(told, ["--stages", given])
    assert done.exit_code == 2
    assert "a whole number from 1 to 60, or any, is wanted" in done.output
