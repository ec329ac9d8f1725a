"""Corrections beside their originals, settled discrepancies, heats, a horizon of the feed, versions, jobs."""

from __future__ import annotations

STATEMENTS = (
    "ALTER TABLE event ADD COLUMN corrected_payload TEXT",
    "ALTER TABLE event ADD COLUMN machine TEXT",
    "ALTER TABLE event ADD COLUMN heat TEXT",
    "ALTER TABLE event ADD COLUMN dismissed_at {moment}",
    # Only what was applied has a payload that keeps the contract.
    "UPDATE event SET machine = {payload_machine}, heat = {payload_heat} WHERE state = 'applied'",
    "CREATE INDEX event_of_heat ON event (heat, id) WHERE heat IS NOT NULL",
    "CREATE INDEX event_of_machine ON event (machine, corrected_at) WHERE state = 'applied'",
    "CREATE TABLE correction (id {serial}, event {bigint} NOT NULL REFERENCES event (id),"
    " payload TEXT, happened_at TEXT, words TEXT NOT NULL, made_by TEXT NOT NULL,"
    " made_at {moment} NOT NULL, outcome TEXT NOT NULL"
    " CHECK (outcome IN ('applied', 'quarantined', 'kept', 'dismissed')))",
    "CREATE INDEX correction_of_event ON correction (event, id)",
    "ALTER TABLE discrepancy ADD COLUMN settled_at {moment}",
    "ALTER TABLE discrepancy ADD COLUMN settled_by TEXT",
    "ALTER TABLE discrepancy ADD COLUMN words TEXT",
    "ALTER TABLE discrepancy ADD COLUMN counted INTEGER",
    "CREATE INDEX discrepancy_open ON discrepancy (id) WHERE settled_at IS NULL",
    "ALTER TABLE centre ADD COLUMN horizon {bigint} NOT NULL DEFAULT 0",
    "ALTER TABLE departure ADD COLUMN moved_at {moment}",
    "UPDATE departure SET moved_at = (SELECT record.changed_at FROM record"
    " WHERE record.kind = departure.kind AND record.key = departure.key)",
    "CREATE INDEX record_gone ON record (changed_at) WHERE deleted",
    "CREATE TABLE version (id {serial}, kind TEXT NOT NULL, key {bytewise} NOT NULL,"
    " revision INTEGER NOT NULL, document TEXT NOT NULL, written_by TEXT NOT NULL,"
    " written_at {moment} NOT NULL, stale {boolean} NOT NULL)",
    "INSERT INTO version (kind, key, revision, document, written_by, written_at, stale)"
    " SELECT kind, key, revision, document, changed_by, changed_at, deleted FROM record"
    " WHERE kind IN ('machine', 'program') AND NOT deleted ORDER BY position",
    "CREATE INDEX version_of_record ON version (kind, key, id)",
    "CREATE TABLE pulled (station TEXT NOT NULL PRIMARY KEY, site TEXT NOT NULL,"
    " heard_at {moment} NOT NULL, position {bigint} NOT NULL, clock_ahead_ms {bigint})",
    "CREATE TABLE job (name TEXT NOT NULL PRIMARY KEY, started_at {moment} NOT NULL, ended_at {moment},"
    " outcome TEXT CHECK (outcome IN ('done', 'attention', 'failed')), words TEXT, done_at {moment})",
    "CREATE TABLE lease (name TEXT NOT NULL PRIMARY KEY, holder TEXT NOT NULL, held_to {moment} NOT NULL)",
)
