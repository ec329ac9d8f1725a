"""What persons at the centre decided about entries of this station, kept so that each is told once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from client.cache.lost import sent_as
from client.cache.sqlite import Sqlite
from client.entry_words import name_of

DECISION_TABLES: Final = (
    """CREATE TABLE decision (
        kind TEXT NOT NULL,
        number INTEGER NOT NULL,
        at TEXT NOT NULL,
        epoch TEXT NOT NULL,
        seq INTEGER NOT NULL,
        words TEXT NOT NULL,
        by_whom TEXT NOT NULL,
        outcome TEXT NOT NULL,
        about TEXT,
        counted INTEGER,
        PRIMARY KEY (kind, number, at)
    ) STRICT""",
)

_COLUMNS: Final = "kind, number, at, epoch, seq, words, by_whom, outcome, about, counted"


@dataclass(frozen=True, slots=True)
class Decision:
    """A person's word on an entry of this station, as the centre tells it.

    `number` is the centre's own, of a correction or of a discrepancy; after the centre was put back it
    may be given again, at another time.
    """

    kind: str
    number: int
    at: str
    epoch: str
    seq: int
    words: str
    by: str
    outcome: str
    about: str | None = None
    counted: int | None = None


def take_decisions(sql: Sqlite, told: Iterable[Decision]) -> list[Decision]:
    """Keep decisions, within the caller's transaction; those that were not known here, oldest first."""
    new = [
        one
        for one in told
        if sql.run(
            f"INSERT INTO decision ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"  # noqa: S608 - names of this module
            " ON CONFLICT DO NOTHING",
            *_row(one),
        )
    ]
    return sorted(new, key=lambda one: (one.at, one.kind, one.number))


def decisions(sql: Sqlite, most: int) -> list[Decision]:
    """The newest decisions, newest first."""
    return [
        Decision(*row)
        for row in sql.rows(
            f"SELECT {_COLUMNS} FROM decision ORDER BY at DESC, kind, number DESC LIMIT ?",  # noqa: S608 - as above
            most,
        )
    ]


def verdicts(sql: Sqlite) -> dict[str, str]:
    """By event_id, what became of entries by the last decision that settled them: corrected or dismissed."""
    return dict(
        sql.rows(
            "SELECT event.event_id, decision.kind FROM decision JOIN event"
            " ON event.epoch = decision.epoch AND event.seq = decision.seq"
            " WHERE decision.outcome IN ('applied', 'dismissed') ORDER BY decision.at, decision.number"
        )
    )


def entry_of(sql: Sqlite, one: Decision) -> tuple[int, str] | None:
    """Number in the log, and type, of the entry that a decision is about; None: it is not here any more."""
    row: Any = sql.row(
        "SELECT id, type FROM event WHERE event_id ="
        " (SELECT event_id FROM event WHERE epoch = ? AND seq = ?) ORDER BY id DESC LIMIT 1",
        one.epoch,
        one.seq,
    )
    return None if row is None else (row[0], row[1])


def decision_words(one: Decision, entry: tuple[int, str] | None) -> str:
    """A decision in words for the person who wrote the entry down.

    >>> decision_words(Decision("dismissed", 1, "", "e", 7, "logged twice", "office", "dismissed"),
    ...                (12, "scrap.made"))
    'entry 12 (scrapped) was dismissed by office and does not count: "logged twice"'
    """
    which = (
        sent_as(one.epoch, one.seq, one.seq) if entry is None else f"entry {entry[0]} ({name_of(entry[1])})"
    )
    if one.kind == "settled":
        counted = "" if one.counted is None else f"; {one.counted} counted on the rack"
        said = f"{one.about}: settled by {one.by}{counted}"
        return (
            f'{which}: {said}: "{one.words}"; what was logged stays and counts as before, and a wrong entry, '
            "this or another, is withdrawn at the station that wrote it"
        )
    if one.kind == "dismissed":
        said = f"dismissed by {one.by} and does not count"
    elif one.outcome == "applied":
        said = f"put right by {one.by} and counts as they put it"
    else:
        said = f"put right by {one.by} and still does not count ({one.outcome})"
    return f'{which} was {said}: "{one.words}"'


def _row(one: Decision) -> tuple[Any, ...]:
    return (
        one.kind,
        one.number,
        one.at,
        one.epoch,
        one.seq,
        one.words,
        one.by,
        one.outcome,
        one.about,
        one.counted,
    )
