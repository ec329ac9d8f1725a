"""The program of one material."""

from __future__ import annotations

from collections.abc import Mapping

from service.engine.machine import Machine
from service.engine.materials import Material
from service.engine.order import Options, Part, StockItem
from service.engine.plan import Layout, Step
from service.engine.program.write import Cutting, write_programs
from service.engine.quantities import Length


def write_program(
    machine: Machine,
    material: Material,
    layouts: tuple[Layout, ...],
    parts: Mapping[str, Part],
    stock: Mapping[str, StockItem],
    options: Options,
    longest: Length,
    first_number: int = 1,
) -> tuple[Step, ...]:
    """Write the steps that cut all `layouts`; `longest` is the longest cut there is force for."""
    cutting = Cutting(material, layouts, stock, longest)
    return write_programs(machine, (cutting,), parts, options, first_number)
