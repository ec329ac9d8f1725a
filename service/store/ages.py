"""How long the centre keeps what may go. Raw events never go: no setting deletes one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import timedelta
from typing import Self


@dataclass(frozen=True, slots=True)
class Ages:
    """Ages in days.

    Attributes
    ----------
    first_pull_plans
        A station that begins gets plans that were made or changed within this; older ones stay at the
        centre and can be read there by their id.
    deletions
        How long the feed tells of deletions and moves. A station that was away for longer is told so
        (410) and reads all records anew.
    plans
        When a plan that nobody changed goes from the centre; 0: never.
    """

    first_pull_plans: int = 60
    deletions: int = 180
    plans: int = 0

    @classmethod
    def from_environment(cls, environment: Mapping[str, str]) -> Self:
        """Read SHEARWRIGHT_DAYS_FIRST_PULL_PLANS, _DAYS_DELETIONS and _DAYS_PLANS.

        Raises
        ------
        ValueError
            Naming the variable and what is wanted.
        """
        given: dict[str, int] = {}
        for field in fields(cls):
            variable = f"SHEARWRIGHT_DAYS_{field.name.upper()}"
            least = 0 if field.name == "plans" else 1
            if text := environment.get(variable):
                if not text.isascii() or not text.isdigit() or not least <= int(text) <= 36_500:
                    raise ValueError(
                        f"{variable}: a whole number of days from {least} to 36500 is wanted, not {text!r}"
                    )
                given[field.name] = int(text)
        return cls(**given)

    def days(self, name: str) -> timedelta:
        """One of them as a span of time."""
        return timedelta(days=getattr(self, name))
