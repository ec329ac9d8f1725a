"""What the service does by itself: audits, retention, trying again; in exactly one process."""
