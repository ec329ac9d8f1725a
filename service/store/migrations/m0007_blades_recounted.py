"""What blades were set to by hand, cuts that are alike by the hour, and one more kind of discrepancy."""

from __future__ import annotations

_COLUMNS = (
    "id, event_id, kind, site, ref, material, taken, on_the_books, plan_id, step, pieces_cut, pieces_planned,"
    " differs, makers, noted_at, settled_at, settled_by, words, counted, settled_how"
)

STATEMENTS = (
    "CREATE TABLE blade_set (id {serial}, blade {bytewise} NOT NULL, revision {bigint} NOT NULL,"
    " before TEXT, after TEXT NOT NULL)",
    "CREATE INDEX blade_set_of_blade ON blade_set (blade, revision)",
    "CREATE TABLE cut_sum (machine {bytewise} NOT NULL, hour INTEGER NOT NULL, edge INTEGER NOT NULL,"
    " material {bytewise} NOT NULL, thickness {bigint} NOT NULL, start_at {bigint} NOT NULL,"
    " cut_length {bigint} NOT NULL, events {bigint} NOT NULL, strokes {bigint} NOT NULL,"
    " equivalent_mm {bigint} NOT NULL,"
    " PRIMARY KEY (machine, hour, edge, material, thickness, start_at, cut_length)){by_its_key}",
    "CREATE INDEX event_of_edge ON event (machine, corrected_at, id)"
    " WHERE state = 'applied' AND type IN ('blade.turned', 'edge.measured')",
    # The kinds are a rule of the table, which SQLite changes only with the table.
    "DROP INDEX discrepancy_open",
    "DROP INDEX discrepancy_of_event",
    "DROP INDEX discrepancy_once",
    "DROP INDEX discrepancy_of_step",
    "ALTER TABLE discrepancy RENAME TO discrepancy_before",
    "CREATE TABLE discrepancy_of_kinds (id {serial}, event_id TEXT NOT NULL,"
    " kind TEXT NOT NULL CHECK (kind IN ('stock short', 'size differs', 'no record', 'counted since',"
    " 'step over', 'maker missing', 'plan differs')),"
    " site TEXT NOT NULL, ref TEXT, material TEXT NOT NULL, taken {bigint}, on_the_books {bigint},"
    " plan_id TEXT, step {bigint}, pieces_cut {bigint}, pieces_planned {bigint}, differs TEXT, makers TEXT,"
    " noted_at {moment} NOT NULL, settled_at {moment}, settled_by TEXT, words TEXT, counted {bigint},"
    " settled_how TEXT CHECK (settled_how IN ('person', 'station', 'service')))",
    f"INSERT INTO discrepancy_of_kinds ({_COLUMNS}) SELECT {_COLUMNS} FROM discrepancy_before ORDER BY id",  # noqa: S608 - names of ours
    "DROP TABLE discrepancy_before",
    "ALTER TABLE discrepancy_of_kinds RENAME TO discrepancy",
    "{serial_after_discrepancy}",
    "CREATE INDEX discrepancy_open ON discrepancy (id) WHERE settled_at IS NULL",
    "CREATE INDEX discrepancy_of_event ON discrepancy (event_id)",
    "CREATE UNIQUE INDEX discrepancy_once ON discrepancy (event_id, kind) WHERE settled_at IS NULL",
    "CREATE INDEX discrepancy_of_step ON discrepancy (plan_id, step) WHERE plan_id IS NOT NULL",
)
FILL_USES = True
