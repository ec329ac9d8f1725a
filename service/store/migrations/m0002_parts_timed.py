"""Parts that were written down with the time they took: only these say how many an hour makes."""

from __future__ import annotations

STATEMENTS = ("ALTER TABLE tally ADD COLUMN parts_timed {bigint} NOT NULL DEFAULT 0",)
RECOUNT = True
