"""Pieces cut by plan and step, kinds of discrepancy, events under an id of their own, withdrawals by name."""

from __future__ import annotations

STATEMENTS = (
    "ALTER TABLE event ADD COLUMN plan_id TEXT",
    "ALTER TABLE event ADD COLUMN step {bigint}",
    "ALTER TABLE event ADD COLUMN pieces {bigint}",
    "ALTER TABLE event ADD COLUMN came_as TEXT",
    "ALTER TABLE event ADD COLUMN withdrawn_by TEXT",
    "CREATE INDEX event_of_step ON event (plan_id, step) WHERE plan_id IS NOT NULL",
    "CREATE INDEX event_came_as ON event (came_as) WHERE came_as IS NOT NULL",
    # With a key, so that no dismissed event is looked for among all the withdrawals. A station takes
    # back only what it wrote itself; and what a person dismissed under the same id has other words.
    "CREATE TEMPORARY TABLE gone (by_station TEXT NOT NULL, gone_id TEXT NOT NULL, by_id TEXT NOT NULL,"
    " PRIMARY KEY (by_station, gone_id))",
    "INSERT INTO gone (by_station, gone_id, by_id) SELECT station, {withdrawn_event_id}, min(event_id)"
    " FROM event WHERE type = 'log.withdrawn' AND state = 'applied' GROUP BY 1, 2",
    "UPDATE event SET withdrawn_by ="
    " (SELECT by_id FROM gone WHERE by_station = event.station AND gone_id = event.event_id)"
    " WHERE dismissed_at IS NOT NULL AND {place_in}(errors, 'withdrawn by its station: ') > 0",
    "DROP TABLE gone",
    "CREATE TABLE step_cut (plan_id TEXT NOT NULL, step {bigint} NOT NULL, pieces {bigint} NOT NULL,"
    " planned {bigint}, made_by TEXT, by_plan {boolean} NOT NULL, PRIMARY KEY (plan_id, step))",
    # An event may differ from the books in more than one way; and not every kind is about the rack.
    "DROP INDEX discrepancy_open",
    "ALTER TABLE discrepancy RENAME TO discrepancy_before",
    "CREATE TABLE discrepancy_of_kind (id {serial}, event_id TEXT NOT NULL,"
    " kind TEXT NOT NULL CHECK (kind IN ('stock short', 'size differs', 'no record', 'counted since',"
    " 'step over', 'maker missing')),"
    " site TEXT NOT NULL, ref TEXT, material TEXT NOT NULL, taken {bigint}, on_the_books {bigint},"
    " plan_id TEXT, step {bigint}, pieces_cut {bigint}, pieces_planned {bigint}, differs TEXT, makers TEXT,"
    " noted_at {moment} NOT NULL, settled_at {moment}, settled_by TEXT, words TEXT, counted {bigint},"
    " settled_how TEXT CHECK (settled_how IN ('person', 'station', 'service')))",
    "INSERT INTO discrepancy_of_kind (id, event_id, kind, site, ref, material, taken, on_the_books,"
    " noted_at, settled_at, settled_by, words, counted, settled_how) SELECT id, event_id, 'stock short',"
    " site, ref, material, taken, on_the_books, noted_at, settled_at, settled_by, words, counted,"
    " CASE WHEN settled_at IS NULL THEN NULL WHEN {place_in}(words, 'the entry was withdrawn: ') = 1"
    " THEN 'station' ELSE 'person' END FROM discrepancy_before ORDER BY id",
    "DROP TABLE discrepancy_before",
    "ALTER TABLE discrepancy_of_kind RENAME TO discrepancy",
    "{serial_after_discrepancy}",
    "CREATE INDEX discrepancy_open ON discrepancy (id) WHERE settled_at IS NULL",
    "CREATE INDEX discrepancy_of_event ON discrepancy (event_id)",
    # One that was settled may come up anew: that is another one, and the first stays as it was settled.
    "CREATE UNIQUE INDEX discrepancy_once ON discrepancy (event_id, kind) WHERE settled_at IS NULL",
    "CREATE INDEX discrepancy_of_step ON discrepancy (plan_id, step) WHERE plan_id IS NOT NULL",
)
FILL_STEPS = True
