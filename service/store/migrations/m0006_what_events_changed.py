"""Beside each event the record that it changed: revision, blade and edge; and which stock was set by hand."""

from __future__ import annotations

STATEMENTS = (
    "ALTER TABLE event ADD COLUMN record_revision {bigint}",
    "ALTER TABLE event ADD COLUMN blade TEXT",
    "ALTER TABLE event ADD COLUMN blade_edge INTEGER",
    "ALTER TABLE event ADD COLUMN blade_before TEXT",
    "CREATE INDEX event_of_blade ON event (blade, record_revision) WHERE blade IS NOT NULL",
    "ALTER TABLE record ADD COLUMN by_hand INTEGER",
    "ALTER TABLE record ADD COLUMN counted_at {moment}",
)
FILL_BLADES = True
