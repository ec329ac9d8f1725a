"""What the engine has to say about a cut, a setting or a plan, and on what grounds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

Level: TypeAlias = Literal["stop", "caution", "note"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One remark.

    Attributes
    ----------
    level
        ``stop``: the cut must not be made so; ``caution``: look before you cut; ``note``: for
        information.
    code
        Short stable word for programs, for example ``force-over-limit``.
    message
        For the person at the machine, in plain words and with figures.
    basis
        Where it comes from: name and source of a formula, ``machine profile``, or ``shop default``.
    """

    level: Level
    code: str
    message: str
    basis: str
