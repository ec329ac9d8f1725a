"""What the centre keeps: records, events, roll-ups, tokens; on SQLite or PostgreSQL by the same code."""
