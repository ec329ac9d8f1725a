"""What is written down of a machine: its gauge and edges measured, its blade turned, programs made for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from client.errors import InputWrong
from client.log.batch import Logged, write_one
from client.workstation import Workstation
from service.engine.machine import Machine
from service.engine.quantities import Length, show_mm, to_mm


def log_gauge(
    station: Workstation, machine: Machine, gauge: Length, measured: Length, *, operator: str | None = None
) -> Logged:
    """Write down a drop measured after it was cut at a gauge value."""
    return write_one(
        station,
        "gauge.measured",
        {
            "machine": machine.id,
            "gauge_mm": to_mm(gauge),
            "measured_mm": to_mm(measured),
            "operator": operator,
        },
    )


def log_blade(
    station: Workstation,
    machine: Machine,
    edge: int,
    work: str,
    *,
    operator: str | None = None,
    remark: str | None = None,
) -> Logged:
    """Write down that another edge was put to work."""
    if edge > machine.blade_edges:
        raise InputWrong(f"edge {edge}: the blades of {machine.name} have {machine.blade_edges} edges")
    return write_one(
        station,
        "blade.turned",
        {"machine": machine.id, "edge": edge, "work": work, "operator": operator, "remark": remark},
    )


@dataclass(frozen=True, slots=True)
class EdgeMeasured:
    """An edge measured: its radius [µm], or the burr [mm] it leaves on sheet of a thickness, or both.

    `edge` None: the one at work; `place` None: the most worn one.
    """

    edge: int | None = None
    blade: str | None = None
    radius_um: float | None = None
    burr_mm: float | None = None
    thickness: Length | None = None
    material: str | None = None
    place: Length | None = None


def log_edge(
    station: Workstation,
    machine: Machine,
    measured: EdgeMeasured,
    *,
    operator: str | None = None,
    remark: str | None = None,
) -> Logged:
    """Write down a measurement of an edge of the blade.

    Raises
    ------
    InputWrong
        When nothing was measured, a burr comes without the thickness, or there is no such edge or place.
    """
    if measured.radius_um is None and measured.burr_mm is None:
        raise InputWrong("--radius or --burr is wanted: the edge radius in µm, or the burr in mm")
    if measured.burr_mm is not None and measured.thickness is None:
        raise InputWrong("--thickness of the sheet that has the burr is wanted")
    if measured.edge is not None and measured.edge > machine.blade_edges:
        raise InputWrong(
            f"edge {measured.edge}: the blades of {machine.name} have {machine.blade_edges} edges"
        )
    if measured.place is not None and measured.place > machine.cutting_length:
        raise InputWrong(
            f"--place {show_mm(measured.place)}: the blade of {machine.name} is "
            f"{show_mm(machine.cutting_length)} mm long"
        )
    return write_one(
        station,
        "edge.measured",
        {
            "machine": machine.id,
            "edge": measured.edge,
            "blade": measured.blade,
            "radius_um": measured.radius_um,
            "burr_mm": measured.burr_mm,
            "thickness_mm": None if measured.thickness is None else to_mm(measured.thickness),
            "material": measured.material,
            "place_mm": None if measured.place is None else to_mm(measured.place),
            "operator": operator,
            "remark": remark,
        },
    )


def log_program(station: Workstation, payload: Mapping[str, Any]) -> Logged:
    """Write down a program made by hand; the payload as the contract has it."""
    return write_one(station, "program.saved", payload)
