"""Indexes for what waits, what was dismissed, and what persons settled lately: stations ask at every sync."""

from __future__ import annotations

STATEMENTS = (
    "DROP INDEX event_not_applied",
    # By the number alone: few wait, and lists go by the number. The words are those of `models.WAITS` and
    # `models.DISMISSED`, as SQLite takes an index of some rows only for a question in its own words.
    "CREATE INDEX event_waiting ON event (id)"
    " WHERE state IN ('kept', 'quarantined') AND dismissed_at IS NULL",
    "CREATE INDEX event_dismissed ON event (id)"
    " WHERE state IN ('kept', 'quarantined') AND dismissed_at IS NOT NULL",
    "CREATE INDEX discrepancy_by_person ON discrepancy (settled_at) WHERE settled_how = 'person'",
)
