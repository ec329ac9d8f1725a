"""What is kept as text on the disk: JSON objects, which a damaged disk may make into anything."""

from __future__ import annotations

import json
from typing import Any


def json_object(body: str | bytes) -> dict[str, Any] | None:
    """The object that a body is; None: it is none any more."""
    try:
        found = json.loads(body)
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None
