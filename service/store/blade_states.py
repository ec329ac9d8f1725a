"""A blade at one moment, and how a change of the past is carried to what came of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any


def thousandths(metres: float) -> int:
    """Metres in the unit of the roll-ups, in which they add up in any order."""
    return round(metres * 1000)


def with_more(used: float, metres: float) -> float:
    """Metres that an edge was used with some more, or less [m]."""
    return (thousandths(used) + thousandths(metres)) / 1000


@dataclass(frozen=True, slots=True)
class State:
    """A blade at one moment: the edge at work and since when, equivalent metres by edge, regrinds."""

    edge: int
    since: str | None
    used: tuple[float, ...]
    regrinds: int

    @classmethod
    def fresh(cls, edges: int, edge: int = 1) -> State:
        """The state of a blade that nothing was cut with."""
        return cls(edge, None, (0.0,) * edges, 0)

    @classmethod
    def of(cls, kept: Mapping[str, Any]) -> State:
        """The state that a record of a blade tells of, or a turn of what was before it."""
        used = tuple(thousandths(metres) / 1000 for metres in kept["used_m"])
        return cls(kept["edge"], kept["edge_since"], used, kept["regrinds"])

    def as_kept(self) -> dict[str, Any]:
        """The state in the words of the record."""
        return {
            "edge": self.edge,
            "edge_since": self.since,
            "used_m": list(self.used),
            "regrinds": self.regrinds,
        }

    def turned(self, edge: int, work: str, since: str | None) -> State:
        """The state after an edge was put to work, as it was or with the whole blade fresh.

        >>> State(1, None, (3.0, 0.0), 2).turned(2, "turned", None)
        State(edge=2, since=None, used=(3.0, 0.0), regrinds=2)
        >>> State(1, None, (3.0, 0.0), 2).turned(1, "reground", None)
        State(edge=1, since=None, used=(0.0, 0.0), regrinds=3)
        """
        if work == "turned":
            return replace(self, edge=edge, since=since)
        fresh = (0.0,) * len(self.used)
        return State(edge, since, fresh, self.regrinds + 1 if work == "reground" else 0)

    def with_use(self, edge: int, metres: float) -> State:
        """The state with metres more, or less, on an edge; one that the blade does not have is left out."""
        used = tuple(
            with_more(was, metres) if number == edge else was for number, was in enumerate(self.used, 1)
        )
        return replace(self, used=used)


def carried(old: State, new: State, then: State) -> State:
    """What came of a blade that stood at `new`, where it is known that of `old` came `then`.

    Edge and time are those of `new` as long as nothing else was said of them since.

    >>> carried(State(2, None, (1.0, 0.0), 0), State(1, None, (0.0, 0.0), 0), State(2, None, (1.0, 4.0), 0))
    State(edge=1, since=None, used=(0.0, 4.0), regrinds=0)
    """
    more = [after - before for before, after in zip(old.used, new.used, strict=True)]
    # A blade may have been given more edges since, or fewer.
    more += [0.0] * (len(then.used) - len(more))
    return State(
        new.edge if then.edge == old.edge else then.edge,
        new.since if then.since == old.since else then.since,
        tuple(round(max(0.0, used + by), 3) for used, by in zip(then.used, more, strict=False)),
        max(0, then.regrinds + new.regrinds - old.regrinds),
    )


def set_by_hand(
    blade: str, revision: int, before: Mapping[str, Any] | None, after: Mapping[str, Any]
) -> dict[str, Any] | None:
    """The row that keeps that a record of a blade was written other than by cuts and turns.

    None when nothing changed of what they change. `before` None: it was entered anew.
    """
    was, now = None if before is None else State.of(before), State.of(after)
    if was == now:
        return None
    return {
        "blade": blade,
        "revision": revision,
        "before": None if was is None else was.as_kept(),
        "after": now.as_kept(),
    }
