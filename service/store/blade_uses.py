"""What each blade was used for, counted anew from its cuts, turns and changes by hand.

A change by hand is taken as it was made: from it on a blade is what was said of it, and what was cut since.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final, NamedTuple

from service.store import records
from service.store.blade_states import State, thousandths
from service.store.blades import Step, steps_of
from service.store.models import BladeSet, Event
from service.store.standing import Standing, in_order_of_record

_MEASURES: Final = ("edge", "since", "regrinds")


class BladeDifference(NamedTuple):
    """What is kept of a blade, and is not what a recount gives."""

    blade: str
    measure: str
    kept: Any
    counted: Any


class _Cuts(NamedTuple):
    """Cuts between two steps: the edge that they said (0: none), and the one that is kept beside them."""

    after_steps: int
    said: int
    kept: int


@dataclass(slots=True)
class _Story:
    """The steps of a blade, and the millimetres of the rated plate cut between them."""

    steps: list[Step]
    places: list[tuple[int, int]]
    cuts: dict[_Cuts, int] = field(default_factory=dict)

    def after_steps(self, revision: int) -> int:
        """How many steps came before what was applied at a revision."""
        return bisect_left(self.places, (revision, 0))


class Recount:
    """The use of blades, counted anew."""

    def __init__(self) -> None:
        self._stories: dict[str, _Story] = {}

    def add(self, event: Standing) -> None:
        """Count an event."""
        if event.type != "cuts.made" or event.blade is None:
            return
        story = self._story(event.blade)
        place = _Cuts(
            story.after_steps(event.record_revision or 0),
            event.payload.get("blade_edge") or 0,
            event.blade_edge or 0,
        )
        story.cuts[place] = story.cuts.get(place, 0) + thousandths(event.payload["equivalent_m"])

    def _story(self, blade: str) -> _Story:
        if blade not in self._stories:
            steps = steps_of(blade)
            self._stories[blade] = _Story(steps, [step.place for step in steps])
        return self._stories[blade]

    def differences(self) -> list[BladeDifference]:
        """Where what is kept differs, within the caller's state of the store."""
        found: list[BladeDifference] = []
        for blade, kept in sorted(_standing().items()):
            walked = _walk(self._story(blade), len(kept["used_m"]))
            is_so, should = State.of(kept), walked.state
            found += [
                BladeDifference(blade, name, getattr(is_so, name), getattr(should, name))
                for name in _MEASURES
                if getattr(is_so, name) != getattr(should, name)
            ]
            edges = max(len(is_so.used), len(should.used))
            found += [
                BladeDifference(blade, f"used on edge {edge}", was, right)
                for edge, (was, right) in enumerate(
                    zip(_padded(is_so, edges), _padded(should, edges), strict=True), 1
                )
                if was != right
            ]
            found += [
                BladeDifference(blade, f"as it was before revision {step.revision}", step.before, before)
                for step, before in walked.wrong
            ]
            found += [
                BladeDifference(blade, f"edge of cuts after step {place.after_steps}", place.kept, edge)
                for place, edge in walked.astray
            ]
        return found

    def rebuild(self, now: datetime) -> None:
        """Put a recount in the place of what is kept, within the caller's transaction."""
        for blade, document in sorted(_standing().items()):
            story = self._story(blade)
            walked = _walk(story, len(document["used_m"]))
            for step, before in walked.wrong:
                table = BladeSet if step.turn is None else Event
                column = {"before" if step.turn is None else "blade_before": before.as_kept()}
                table.update(**column).where(table.id == step.row).execute()
            if walked.astray:
                _put_on_their_edges(blade, story, walked.edges)
            right = {**document, **walked.state.as_kept()}
            if State.of(right) != State.of(document):
                kept = records.find("blade", blade)
                if kept is not None:
                    revision = kept.revision + 1
                    mended = kept._replace(
                        document=right, revision=revision, changed_by="audit", run_from=revision + 1
                    )
                    records.write_kept(kept, mended, now=now)


@dataclass(slots=True)
class _Walked:
    """A blade at the end of its story, the edge at work after each step, and what was kept wrongly."""

    state: State
    edges: list[int]
    wrong: list[tuple[Step, State]] = field(default_factory=list)
    astray: list[tuple[_Cuts, int]] = field(default_factory=list)


def _walk(story: _Story, edges: int) -> _Walked:
    walked = _Walked(State.fresh(edges), [])
    between: dict[int, list[tuple[_Cuts, int]]] = {}
    for place, used in sorted(story.cuts.items()):
        between.setdefault(place.after_steps, []).append((place, used))
    for number, step in enumerate([None, *story.steps]):
        if step is not None:
            _take(walked, step)
        walked.edges.append(walked.state.edge)
        for place, used in between.get(number, ()):
            edge = place.said or walked.state.edge
            if edge != place.kept:
                walked.astray.append((place, edge))
            walked.state = walked.state.with_use(edge, used / 1000)
    return walked


def _take(walked: _Walked, step: Step) -> None:
    if step.before is None:
        # Another blade that was given the name: what is kept of the one before counts for nothing.
        walked.wrong.clear()
        walked.astray.clear()
    elif step.before != walked.state:
        walked.wrong.append((step, walked.state))
    if step.turn is None:
        walked.state = step.after or walked.state
    else:
        walked.state = step.made_of(walked.state)


def _standing() -> dict[str, Mapping[str, Any]]:
    """The records of blades, and nothing of those that were deleted."""
    return {kept.key: kept.document for kept in records.listed("blade")}


def _padded(state: State, edges: int) -> Iterator[float]:
    yield from state.used
    yield from [0.0] * (edges - len(state.used))


def _put_on_their_edges(blade: str, story: _Story, edges: list[int]) -> None:
    for event in in_order_of_record(blade):
        if event.type == "cuts.made":
            at_work = edges[story.after_steps(event.record_revision or 0)]
            edge = event.payload.get("blade_edge") or at_work
            if edge != event.blade_edge:
                Event.update(blade_edge=edge).where(Event.id == event.id).execute()


def told(one: BladeDifference) -> str:
    """A difference in words.

    >>> told(BladeDifference("B-1", "used on edge 2", 3.5, 2.0))
    'blade B-1 used on edge 2: kept 3.5 m, counted 2 m'
    """
    unit = " m" if one.measure.startswith("used") else ""
    kept, counted = _shown(one.kept), _shown(one.counted)
    return f"blade {one.blade} {one.measure}: kept {kept}{unit}, counted {counted}{unit}"


def _shown(figure: Any) -> str:
    """A figure, or a whole state.

    >>> _shown(State(2, None, (1.0, 0.0), 0))
    'edge 2 since not said, used 1 and 0 m, 0 regrinds'
    """
    if isinstance(figure, State):
        used = " and ".join(f"{metres:g}" for metres in figure.used)
        since = figure.since or "not said"
        return f"edge {figure.edge} since {since}, used {used} m, {figure.regrinds} regrinds"
    if isinstance(figure, float):
        return f"{figure:.3f}".rstrip("0").rstrip(".")
    return "none" if figure is None else str(figure)
