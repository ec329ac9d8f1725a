"""What a search still does once its caller has said stop: counted in patterns built, never in seconds."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest

from service.engine.layout.context import Context
from service.engine.layout.job import Found, Job, SoFar
from service.engine.layout.passes import Passes
from service.engine.layout.search import find_layouts
from service.engine.machine import Machine
from service.engine.plan import leaves
from tests.engine.layout.test_find_layouts import job, part, sheet


class Counts:
    """Patterns built, and whole passes made."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.built = self.passes = 0
        build, one_pass = Context.build, Passes.one_pass

        def counted_build(*args: object, **more: object) -> object:
            self.built += 1
            return build(*args, **more)  # type: ignore[arg-type]

        def counted_pass(*args: object, **more: object) -> object:
            made = one_pass(*args, **more)  # type: ignore[arg-type]
            self.passes += 1
            return made

        patch.setattr(Context, "build", counted_build)
        patch.setattr(Passes, "one_pass", counted_pass)


@pytest.fixture
def counts(monkeypatch: pytest.MonkeyPatch) -> Counts:
    return Counts(monkeypatch)


@pytest.fixture
def wide(bench: Machine) -> Job:
    """Thirty lines and three sizes of sheet, as many as may be wanted."""
    lines = [part(f"P{n}", 150 + 37 * n % 700, 90 + 53 * n % 500, 9) for n in range(30)]
    sheets = [sheet("A", 2500, 1250, 90), sheet("B", 3000, 1500, 90), sheet("C", 2000, 1000, 90)]
    return job(bench, lines, sheets)


def made_of(found: Found) -> Counter[str]:
    made: Counter[str] = Counter()
    for one in found.divisions:
        for leaf in leaves(one.tree):
            if leaf.kind == "part" and leaf.ref is not None:
                made[leaf.ref] += one.repeat
    return made


def test_a_first_pass_that_is_stopped_places_all_and_looks_at_one_size_of_sheet(
    wide: Job, counts: Counts
) -> None:
    found = find_layouts(wide, lambda: True)
    assert found.unplaced == ()
    assert made_of(found) == {one.ref: 9 for one in wide.parts}
    assert found.stopped_early
    # The first pattern is chosen among all sizes and both first cuts; each of the others is built once.
    assert counts.built <= 6 + len(found.divisions) + 2


def test_after_a_whole_pass_a_search_that_is_stopped_builds_no_more(wide: Job, counts: Counts) -> None:
    at_stop: list[int] = []

    def stop() -> bool:
        if counts.passes and not at_stop:
            at_stop.append(counts.built)
        return bool(counts.passes)

    found = find_layouts(wide, stop)
    assert made_of(found) == {one.ref: 9 for one in wide.parts}
    assert counts.built - at_stop[0] <= 2


def test_a_search_asks_within_its_first_pass(wide: Job, counts: Counts) -> None:
    asked: list[int] = []

    def stop() -> bool:
        asked.append(counts.built)
        return counts.passes > 0

    find_layouts(wide, stop)
    within = [built for built in asked if built > 0]
    assert len(within) > 5


def test_asking_and_telling_change_nothing(wide: Job) -> None:
    told: list[SoFar] = []
    wide = replace(wide, options=replace(wide.options, effort="quick"))
    assert find_layouts(wide, lambda: False, told.append) == find_layouts(wide)
    assert told
    assert told[-1].left_out == 0
