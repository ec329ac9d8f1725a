"""Coarser sums beside those of each day: what a report adds up when it need not look at every day.

Each table has the columns of :class:`~service.store.models.Tally`; what it does not tell apart is left
empty there. They change in the same transaction as the sums of each day, and the audit compares them with
the same recount.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from operator import add
from typing import Final, TypeAlias

from service.store.database import tell
from service.store.models import MachineTally, MonthTally, Tally
from service.store.sums import MEASURES, NAMES, Figures, Key, add_to, kept_in

Sums: TypeAlias = Mapping[Key, Mapping[str, int]]


@dataclass(frozen=True, slots=True)
class Grain:
    """A table of coarser sums: the key of a day's key, and the same in SQL."""

    table: type[Tally]
    of_key: Callable[[Key], Key]
    of_row: str

    @property
    def name(self) -> str:
        """The table's name."""
        return str(self.table._meta.table_name)


GRAINS: Final = (
    Grain(
        MonthTally,
        lambda key: key._replace(day=key.day[:7]),
        "site, machine, material, thickness, reason, substr(day, 1, 7)",
    ),
    Grain(
        MachineTally,
        lambda key: Key(key.site, key.machine, "", 0, "", key.day),
        "site, machine, '', 0, '', day",
    ),
)


def add_all(sums: Sums) -> None:
    """Add to every coarser sum what is added to the sums of days, within the caller's transaction."""
    for grain in GRAINS:
        coarser: dict[Key, dict[str, int]] = {}
        for key, measures in sums.items():
            into = coarser.setdefault(grain.of_key(key), {})
            for name, value in measures.items():
                into[name] = into.get(name, 0) + value
        add_to(grain.table, coarser)


_SUMMED: Final = ", ".join(f"sum({measure}) AS {measure}" for measure in MEASURES)


def rebuild() -> None:
    """Add the sums of days up anew in the place of what is kept, within the caller's transaction."""
    for grain in GRAINS:
        tell(f"DELETE FROM {grain.name}")  # noqa: S608 - names of ours, here and below
        tell(f"INSERT INTO {grain.name} ({NAMES}) {_added_up(grain)}")


def _added_up(grain: Grain) -> str:
    return f"SELECT {grain.of_row}, {_SUMMED} FROM tally GROUP BY 1, 2, 3, 4, 5, 6"  # noqa: S608


def kept_and_counted(
    counted: Mapping[Key, Figures],
) -> Iterator[tuple[dict[Key, Figures], dict[Key, Figures]]]:
    """Of each grain the sums as they are kept, and as a recount of the days gives them."""
    for grain in GRAINS:
        coarser: dict[Key, Figures] = {}
        for key, figures in counted.items():
            own = grain.of_key(key)
            so_far = coarser.get(own)
            coarser[own] = figures if so_far is None else tuple(map(add, so_far, figures))
        yield kept_in(grain.table), coarser
