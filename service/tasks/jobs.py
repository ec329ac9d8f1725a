"""The jobs: what each does, how often, and what it says about it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, Literal, TypeAlias

from service.store import again, answers, audits, feed, makers
from service.store.ages import Ages

Outcome: TypeAlias = Literal["done", "attention", "failed"]

_SHOWN: Final = 10
"""Differences that are named one by one."""


@dataclass(frozen=True, slots=True)
class Job:
    """A job; `work` returns its outcome and words for a person."""

    name: str
    every: timedelta
    work: Callable[[Ages, datetime], tuple[Outcome, str]]
    says: str


def _audit(ages: Ages, now: datetime) -> tuple[Outcome, str]:
    differences = audits.audit()
    if not differences:
        return "done", "the roll-ups are equal to a recount of the entries"
    named = "; ".join(audits.told(one) for one in differences[:_SHOWN])
    more = f"; and {len(differences) - _SHOWN} more" if len(differences) > _SHOWN else ""
    return "attention", f"{len(differences)} figures differ from the entries: {named}{more}"


def _reapply(ages: Ages, now: datetime) -> tuple[Outcome, str]:
    done = again.reapply(now)
    return "done", f"{done.applied} kept entries applied, {done.quarantined} quarantined"


def _makers(ages: Ages, now: datetime) -> tuple[Outcome, str]:
    found = makers.look(now)
    return "done", (
        f"{found.noted} steps noted whose pieces nobody logged as made; "
        f"{found.settled} settled, as they were since"
    )


def _retention(ages: Ages, now: datetime) -> tuple[Outcome, str]:
    plans = _all(lambda: feed.remove_old_plans(ages, now))
    deletions = _all(lambda: feed.forget_deletions(ages, now))
    kept_answers = answers.forget(now)
    return "done", (
        f"{kept_answers} kept answers forgotten, {deletions} deletions forgotten, {plans} old plans removed; "
        "entries are never deleted"
    )


def _all(step: Callable[[], int]) -> int:
    # In bounded steps, so that stations do not wait for long.
    done = 0
    while step_done := step():
        done += step_done
    return done


JOBS: Final = (
    Job("reapply", timedelta(days=1), _reapply, "applies kept entries whose type is known by now"),
    Job("audit", timedelta(days=1), _audit, "compares the roll-ups with a recount of the raw entries"),
    Job("makers", timedelta(days=1), _makers, "looks for steps cut of pieces that nobody logged as made"),
    Job("retention", timedelta(days=1), _retention, "lets go what has its age; never an entry"),
)
