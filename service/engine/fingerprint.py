"""One name for one input: the hash that tells whether two plans answer the same question."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, is_dataclass
from typing import Any, Final

from service.engine import ENGINE_VERSION
from service.engine.order import Order
from service.engine.plan import CutPlan

ID_LENGTH: Final = 16
"""Hexadecimal digits of a plan's id."""


def canonical_json(value: Any) -> bytes:
    """JSON with sorted keys and no spaces, in ASCII: the same bytes for equal values everywhere.

    >>> canonical_json({"b": 1.5, "a": [True, None]})
    b'{"a":[true,null],"b":1.5}'
    """
    plain = asdict(value) if is_dataclass(value) and not isinstance(value, type) else value
    return canonical_text(plain).encode("ascii")


# Made once: every event that comes in is written by it.
canonical_text: Final = json.JSONEncoder(sort_keys=True, separators=(",", ":"), allow_nan=False).encode
"""The same as text, of what JSON is read into."""


def fingerprint(order: Order) -> str:
    """SHA-256 over the engine version and the canonical input, in hexadecimal."""
    digest = hashlib.sha256(f"shearwright engine {ENGINE_VERSION}\n".encode("ascii"))
    digest.update(canonical_json(order))
    return digest.hexdigest()


def id_of(plan: CutPlan) -> str:
    """The id under which a plan is kept and printed.

    It is the beginning of the fingerprint, by which anybody finds the plan of an order. One that was cut
    short is not that plan: another run may give another. It goes by the hash of what it says.
    """
    if not plan.cut_short:
        return plan.fingerprint[:ID_LENGTH]
    return hashlib.sha256(canonical_json(plan)).hexdigest()[:ID_LENGTH]
