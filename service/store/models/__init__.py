"""The tables, by subject. They are made by the migrations, never from these classes."""

from __future__ import annotations

from service.store.models.base import Base, JsonField, UtcDateTimeField, Written
from service.store.models.received import (
    DISMISSED,
    WAITS,
    Chain,
    Correction,
    Discrepancy,
    Event,
    Pulled,
)
from service.store.models.reckoned import BladeSet, CutSum, MachineTally, MonthTally, StepCut, Tally
from service.store.models.recorded import Centre, Departure, Record, Version
from service.store.models.running import Job, KeptAnswer, Lease, Token

__all__ = [
    "DISMISSED",
    "TABLES",
    "WAITS",
    "Base",
    "BladeSet",
    "Centre",
    "Chain",
    "Correction",
    "CutSum",
    "Departure",
    "Discrepancy",
    "Event",
    "Job",
    "JsonField",
    "KeptAnswer",
    "Lease",
    "MachineTally",
    "MonthTally",
    "Pulled",
    "Record",
    "StepCut",
    "Tally",
    "Token",
    "UtcDateTimeField",
    "Version",
    "Written",
]

TABLES: tuple[type[Base], ...] = (
    Centre,
    Record,
    Departure,
    Chain,
    Event,
    Correction,
    Tally,
    MonthTally,
    MachineTally,
    StepCut,
    CutSum,
    BladeSet,
    Discrepancy,
    Token,
    KeptAnswer,
    Version,
    Pulled,
    Job,
    Lease,
)
