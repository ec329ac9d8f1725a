"""Whatever happens, and in whatever order: nothing is lost, nothing counts twice, all end up agreeing.

SHEARWRIGHT_FAULT_RUNS tells how many stories (100 unless given), SHEARWRIGHT_FAULT_FIRST from which
number. A story that fails tells its number; the same number tells the same story again.
"""

from __future__ import annotations

import functools
import os
import uuid
from collections.abc import Iterator
from typing import Any

import pytest

from client.cache.outbox import Outbox, Written
from tests.faults import world

RUNS = int(os.environ.get("SHEARWRIGHT_FAULT_RUNS", "100"))
FIRST = int(os.environ.get("SHEARWRIGHT_FAULT_FIRST", "0"))
BUNDLE = 10


@functools.cache
def story(seed: int) -> str:
    """A story that ended well, told once for all tests that listen."""
    return "\n".join(world.tell_a_story(seed).story)


@pytest.fixture(scope="module", autouse=True)
def _templates() -> Iterator[None]:
    yield
    world.forget_templates()


@pytest.mark.timeout(0)
@pytest.mark.parametrize("first", range(FIRST, FIRST + RUNS, BUNDLE))
def test_no_story_loses_or_doubles_anything(first: int) -> None:
    for seed in range(first, min(first + BUNDLE, FIRST + RUNS)):
        story(seed)


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
        "holds other events",
        "put back to an earlier state",
        "the centre is put back",
        "POST twice",
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


@pytest.mark.parametrize(
    ("name", "wrong"),
    [("_offer_again", _keeps_back), ("_write_again", _with_another_id)],
    ids=["a centre put back is not offered what it lacks", "an event gets another id when it is sent again"],
)
def test_the_reckoning_finds_a_mistake(monkeypatch: pytest.MonkeyPatch, name: str, wrong: Any) -> None:
    """A reckoning that could not fail would prove nothing."""
    monkeypatch.setattr(Outbox, name, wrong)

    def stories() -> None:
        for seed in range(120):
            world.tell_a_story(seed)

    with pytest.raises(AssertionError, match="seed"):
        stories()
