"""The first tables."""

from __future__ import annotations

STATEMENTS = (
    "CREATE TABLE centre (id INTEGER PRIMARY KEY CHECK (id = 1), epoch TEXT NOT NULL,"
    " position {bigint} NOT NULL CHECK (position >= 0))",
    "CREATE TABLE record ("
    " kind TEXT NOT NULL CHECK (kind IN"
    " ('site', 'machine', 'material', 'stock', 'program', 'plan', 'blade')),"
    " key {bytewise} NOT NULL, site TEXT, revision INTEGER NOT NULL CHECK (revision > 0),"
    " position {bigint} NOT NULL UNIQUE, deleted {boolean} NOT NULL, document TEXT NOT NULL,"
    " changed_at {moment} NOT NULL, changed_by TEXT NOT NULL, run_from INTEGER NOT NULL,"
    " PRIMARY KEY (kind, key))",
    "CREATE INDEX record_of_site ON record (kind, site, key)",
    "CREATE TABLE departure (id {serial}, kind TEXT NOT NULL, key TEXT NOT NULL, site TEXT,"
    " revision INTEGER NOT NULL, position {bigint} NOT NULL)",
    "CREATE INDEX departure_by_position ON departure (position)",
    "CREATE INDEX departure_of_record ON departure (kind, key)",
    "CREATE TABLE chain (station TEXT NOT NULL, epoch TEXT NOT NULL, site TEXT NOT NULL,"
    " has_to_seq {bigint} NOT NULL CHECK (has_to_seq >= 0), last_hash TEXT NOT NULL,"
    " started_at {moment} NOT NULL, heard_at {moment} NOT NULL, clock_ahead_ms {bigint} NOT NULL,"
    " PRIMARY KEY (station, epoch))",
    "CREATE TABLE event (id {serial}, station TEXT NOT NULL, site TEXT NOT NULL, epoch TEXT NOT NULL,"
    " seq {bigint} NOT NULL CHECK (seq > 0), event_id TEXT NOT NULL, type TEXT NOT NULL,"
    " document TEXT NOT NULL, hash TEXT NOT NULL, received_at {moment} NOT NULL,"
    " clock_ahead_ms {bigint} NOT NULL, corrected_at {moment}, day TEXT,"
    " state TEXT NOT NULL CHECK (state IN ('applied', 'kept', 'quarantined', 'again')), errors TEXT,"
    " UNIQUE (station, epoch, seq))",
    "CREATE UNIQUE INDEX event_applied_once ON event (event_id) WHERE state = 'applied'",
    "CREATE INDEX event_by_event_id ON event (event_id)",
    "CREATE INDEX event_not_applied ON event (state, id) WHERE state IN ('kept', 'quarantined')",
    "CREATE TABLE tally (id {serial}, site TEXT NOT NULL, machine TEXT NOT NULL, material TEXT NOT NULL,"
    " thickness INTEGER NOT NULL, reason TEXT NOT NULL, day TEXT NOT NULL, events {bigint} NOT NULL,"
    " parts {bigint} NOT NULL, parts_mg {bigint} NOT NULL, scrap_pieces {bigint} NOT NULL,"
    " scrap_mg {bigint} NOT NULL, taken_pieces {bigint} NOT NULL, taken_mg {bigint} NOT NULL,"
    " offcut_pieces {bigint} NOT NULL, offcut_mg {bigint} NOT NULL, strokes {bigint} NOT NULL,"
    " cut_hundredths {bigint} NOT NULL, equivalent_mm {bigint} NOT NULL, milliseconds {bigint} NOT NULL,"
    " UNIQUE (site, machine, material, thickness, reason, day))",
    "CREATE INDEX tally_by_day ON tally (day)",
    "CREATE TABLE discrepancy (id {serial}, event_id TEXT NOT NULL UNIQUE, site TEXT NOT NULL,"
    " ref TEXT NOT NULL, material TEXT NOT NULL, taken INTEGER NOT NULL,"
    " on_the_books INTEGER NOT NULL, noted_at {moment} NOT NULL)",
    "CREATE TABLE token (id {bytewise} NOT NULL PRIMARY KEY, secret_hash TEXT NOT NULL UNIQUE,"
    " name TEXT NOT NULL,"
    " scopes TEXT NOT NULL, site TEXT, station TEXT, created_at {moment} NOT NULL, expires_at {moment},"
    " revoked_at {moment}, last_used_at {moment})",
    "CREATE TABLE kept_answer (id {serial}, token TEXT NOT NULL, key TEXT NOT NULL,"
    " request_hash TEXT NOT NULL, status INTEGER NOT NULL, headers TEXT NOT NULL,"
    " document TEXT NOT NULL, kept_at {moment} NOT NULL, UNIQUE (token, key))",
)
