"""What entries of the log say of an edge: cuts at their places, turns, measurements.

The workstation and the centre both read them here, so that they tell the same story of a blade.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from functools import lru_cache
from typing import Any

from service.engine.materials import Material
from service.engine.quantities import Length, mm
from service.engine.wear.edge import WearCut
from service.engine.wear.history import Measuring, Turning


@lru_cache(10_000)
def hundredths(length: float) -> Length:
    """A length of the wire; the same few come again and again."""
    return mm(length)


def cut_place(payload: Mapping[str, Any]) -> tuple[Length, Length]:
    """Where a cut begins along the blade, and how long it is, as it was written down.

    Where nothing is said of the place, pieces lie against the squaring arm.

    >>> cut_place({"cut_length_mm": 600.5}), cut_place({"start_mm": 20, "cut_length_mm": 1})
    ((0, 60050), (2000, 100))
    """
    return hundredths(payload.get("start_mm") or 0), hundredths(payload["cut_length_mm"])


def cut_in_log(payload: Mapping[str, Any], material: Material) -> WearCut:
    """A cut as it was written down, be it that it reaches beyond the blade."""
    start, length = cut_place(payload)
    return WearCut(material, hundredths(payload["thickness_mm"]), length, payload["strokes"], start)


def turning_in_log(at: datetime, payload: Mapping[str, Any]) -> Turning:
    """Another edge put to work."""
    return Turning(at, payload["edge"], payload["work"])


def measuring_in_log(at: datetime, payload: Mapping[str, Any]) -> Measuring:
    """An edge measured."""
    thickness, place = payload.get("thickness_mm"), payload.get("place_mm")
    return Measuring(
        at,
        edge=payload.get("edge"),
        radius_um=payload.get("radius_um"),
        burr_mm=payload.get("burr_mm"),
        thickness=None if thickness is None else mm(thickness),
        place=None if place is None else mm(place),
        half=payload.get("blade"),
    )
