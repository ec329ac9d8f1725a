"""Sums of months, and of machines by day, beside those of each day: what most reports ask for."""

from __future__ import annotations

_MEASURES = (
    "events", "parts", "parts_mg", "parts_timed", "scrap_pieces", "scrap_mg", "taken_pieces", "taken_mg",
    "offcut_pieces", "offcut_mg", "strokes", "cut_hundredths", "equivalent_mm", "milliseconds",
)  # fmt: skip


def _table(name: str) -> str:
    sums = ", ".join(f"{measure} {{bigint}} NOT NULL" for measure in _MEASURES)
    return (
        f"CREATE TABLE {name} (id {{serial}}, site TEXT NOT NULL, machine TEXT NOT NULL,"
        " material TEXT NOT NULL, thickness INTEGER NOT NULL, reason TEXT NOT NULL, day TEXT NOT NULL,"
        f" {sums}, UNIQUE (site, machine, material, thickness, reason, day))"
    )


def _filled(name: str, key: str, groups: str) -> str:
    names, sums = ", ".join(_MEASURES), ", ".join(f"sum({measure})" for measure in _MEASURES)
    return (
        f"INSERT INTO {name} (site, machine, material, thickness, reason, day, {names})"  # noqa: S608 - ours
        f" SELECT {key}, {sums} FROM tally GROUP BY {groups}"
    )


STATEMENTS = (
    _table("tally_of_month"),
    _filled(
        "tally_of_month",
        "site, machine, material, thickness, reason, substr(day, 1, 7)",
        "site, machine, material, thickness, reason, substr(day, 1, 7)",
    ),
    _table("tally_of_machine"),
    _filled("tally_of_machine", "site, machine, '', 0, '', day", "site, machine, day"),
    "CREATE INDEX tally_of_machine_by_day ON tally_of_machine (day)",
)
