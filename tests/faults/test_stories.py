"""Whatever happens, and in whatever order: nothing is lost, nothing counts twice, all end up agreeing.

SHEARWRIGHT_FAULT_RUNS tells how many stories (100 unless given), SHEARWRIGHT_FAULT_RUNS_POSTGRESQL how
many with the centre on PostgreSQL (3 unless given), SHEARWRIGHT_FAULT_FIRST from which number. A story
that fails tells its number; the same number tells the same story again.
"""

from __future__ import annotations

import functools
import os
import uuid
from collections.abc import Iterator
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from client.cache.outbox import Outbox, Written
from service.store import blades, effects, events, withdrawn
from tests.faults import centres, world

RUNS = int(os.environ.get("SHEARWRIGHT_FAULT_RUNS", "100"))
RUNS_POSTGRESQL = int(os.environ.get("SHEARWRIGHT_FAULT_RUNS_POSTGRESQL", "3"))
FIRST = int(os.environ.get("SHEARWRIGHT_FAULT_FIRST", "0"))
BUNDLE = 10


@functools.cache
def story(seed: int) -> str:
    """A story that ended well, told once for all tests that listen."""
    return "\n".join(world.tell_a_story(seed).story)


@pytest.fixture(scope="module", autouse=True)
def _templates(request: pytest.FixtureRequest) -> Iterator[None]:
    # Asked for before, so that the server is still there when its template is dropped.
    if RUNS_POSTGRESQL:
        request.getfixturevalue("postgresql")
    yield
    centres.forget_templates()


@pytest.mark.timeout(0)
@pytest.mark.parametrize("first", range(FIRST, FIRST + RUNS, BUNDLE))
def test_no_story_loses_or_doubles_anything(first: int) -> None:
    for seed in range(first, min(first + BUNDLE, FIRST + RUNS)):
        story(seed)


@pytest.mark.timeout(0)
@pytest.mark.parametrize("seed", range(FIRST, FIRST + RUNS_POSTGRESQL))
def test_no_story_with_the_centre_on_postgresql_does(seed: int, postgresql: str) -> None:
    world.tell_a_story(seed, centre=lambda begin: centres.Postgresql(begin, postgresql))


def test_the_same_number_tells_the_same_story() -> None:
    assert "\n".join(world.tell_a_story(17).story) == story(17)


def test_the_stories_are_not_idle() -> None:
    """Forks, losses on either side and crashes do come about, so that the reckoning means something."""
    told = "\n".join(story(seed) for seed in range(60))
    for words in (
        "the centre crashes",
        "killed",
        "an old POST arrives",
        "POST body cut",
        "a new epoch was begun",
        "holds other entries",
        "put back to an earlier state",
        "the centre is put back",
        "POST twice",
        "withdrawn",
        "a discrepancy is settled",
        "and the rack counted",
        "blade.turned withdrawn",
        "cuts.made withdrawn",
        "offcut.stored withdrawn",
        "offcut.stored is dismissed",
        "a discrepancy is settled: stock short",
        "set by hand, revision 1",
        "no room for an entry",
        "the centre has no room for a POST",
        "its clock is now -1 h off",
    ):
        assert words in told, words


def _keeps_back(*_given: object) -> int:
    return 0


def _with_another_id(outbox: Outbox, written: Written) -> None:
    row = outbox.append(
        written.type, written.event["payload"], written.happened_at, str(uuid.uuid4()), written.clock
    )
    outbox.sql.run("UPDATE event SET state = 'reissued' WHERE id = ?", written.row)
    outbox.sql.run("UPDATE stock_change SET event = ? WHERE event = ?", row, written.row)


def _notes_nothing(*_given: object) -> None:
    """A step cut twice is not looked at."""


def _carries_nothing(*_given: object) -> None:
    """A blade stays as it is when an event of it is withdrawn."""


def _no_turns(*_given: object) -> list[Any]:
    return []


def _by_greenwich(*_given: object) -> ZoneInfo:
    return ZoneInfo("UTC")


def _never_fits(*_given: object) -> bool:
    return False


@pytest.mark.parametrize(
    ("of", "name", "wrong"),
    [
        (Outbox, "_offer_again", _keeps_back),
        (Outbox, "_write_again", _with_another_id),
        (effects, "_count_pieces", _notes_nothing),
        (withdrawn, "_fits", _never_fits),
        (events, "zone_in", _by_greenwich),
        (blades, "_carry", _carries_nothing),
        (blades, "_steps_after", _no_turns),
    ],
    ids=[
        "a centre put back is not offered what it lacks",
        "an event gets another id when it is sent again",
        "a step cut more than planned is not shown",
        "a step no longer cut more than planned is still shown",
        "days are not those on the wall",
        "a blade keeps what was withdrawn",
        "a withdrawal reaches over a regrind",
    ],
)
def test_the_reckoning_finds_a_mistake(
    monkeypatch: pytest.MonkeyPatch, of: Any, name: str, wrong: Any
) -> None:
    """A reckoning that could not fail would prove nothing."""
    monkeypatch.setattr(of, name, wrong)

    def stories() -> None:
        for seed in range(60):
            world.tell_a_story(seed)

    with pytest.raises(AssertionError, match="seed"):
        stories()
