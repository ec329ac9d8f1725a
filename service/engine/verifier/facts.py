"""The verifier's own picture of a plan document. Lengths are whole hundredths of a millimetre."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple


@dataclass(frozen=True, slots=True)
class Range:
    """From `low` to `high`, both included; `step` 0: any value."""

    low: int
    high: int
    step: int = 0
    accuracy: int = 0


@dataclass(frozen=True, slots=True)
class Shear:
    """The machine, as far as a cut depends on it."""

    cutting_length: int
    rated_thickness: int
    rated_rm: Decimal
    force_limit_kn: Decimal | None
    max_thickness: int | None
    rake: tuple[Decimal, Decimal]
    gap: Range
    back_gauge: Range
    front_stops: Range | None
    marked_line_accuracy: int | None
    clamping_depth: int
    feet: tuple[int, ...]
    foot_width: int
    squaring_arm: int
    smallest_drop: int
    sheet_support: bool
    relief: bool
    gauge_clears: bool
    one_person_kg: Decimal
    two_people_kg: Decimal
    crane_kg: Decimal | None
    one_person_length: int
    one_person_width: int


@dataclass(frozen=True, slots=True)
class Grade:
    """A material."""

    rm_high: Decimal
    density: Decimal
    shearable: bool
    youngs_modulus: Decimal = Decimal(210_000)
    bands: tuple[tuple[int, Decimal], ...] = ()

    def strongest(self, thickness: int) -> Decimal:
        """The highest strength that sheet of a thickness may have: that of the last band it reaches."""
        reached = [rm_high for begins, rm_high in sorted(self.bands) if begins <= thickness]
        return reached[-1] if reached else self.rm_high


@dataclass(frozen=True, slots=True)
class Wanted:
    """A line of the order."""

    ref: str
    length: int
    width: int
    quantity: int
    material: str
    thickness: int
    grain: str
    tolerance_class: str
    limits: tuple[int | None, int | None]
    value: Decimal


@dataclass(frozen=True, slots=True)
class Stock:
    """A line of the stock."""

    ref: str
    length: int
    width: int
    quantity: int
    material: str
    thickness: int
    kind: str
    edges: str
    oversize: int
    price: Decimal | None
    certified: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Wishes:
    """The options that a plan must keep."""

    max_stages: int
    trim: int
    offcut_min: tuple[int, int]
    open_stacks: int | None = None


class Box(NamedTuple):
    """A leaf of a layout or an entry of its placements."""

    kind: str
    ref: str | None
    x: int
    y: int
    dx: int
    dy: int
    rotated: bool


@dataclass(frozen=True, slots=True)
class Tree:
    """A node of a layout: a leaf when `axis` is None."""

    where: str
    box: Box
    axis: str | None
    children: tuple[Tree, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A layout: `repeat` pieces of one line of stock, divided alike."""

    number: int
    stock_ref: str
    material: str
    thickness: int
    repeat: int
    tree: Tree
    placements: tuple[Box, ...] | None


@dataclass(frozen=True, slots=True)
class Goes:
    """Where pieces go after a cut."""

    kind: str
    ref: str | None
    dx: int
    dy: int
    count: int


@dataclass(frozen=True, slots=True)
class Cut:
    """A step of the program."""

    number: int
    layout: int
    piece: str
    pieces: int
    along_blade: int
    depth: int
    axis: str
    edge_end: str
    edge_state: str
    turn: str
    squared: bool
    gauging: str
    gauge: int
    measured: str
    repeat: int
    gang: int
    strokes: int
    gap: int
    rake_deg: Decimal
    relief: bool
    sheet_support: bool
    force_kn: Decimal
    rating_share: Decimal
    piece_kg: Decimal
    lift: str
    drops: tuple[Goes, ...]
    remainders: tuple[Goes, ...]
    stops: tuple[str, ...]
    remarks: frozenset[str]


@dataclass(frozen=True, slots=True)
class Missing:
    """Parts that were not placed."""

    ref: str
    quantity: int
    code: str
    reason: str


@dataclass(frozen=True, slots=True)
class Stated:
    """How far off a part may come out in one dimension, as the plan claims."""

    ref: str
    dimension: str
    size: int
    aim: int
    accuracy: int
    minus: int
    plus: int
    inside: Decimal | None
    count: int | None
    outside: Decimal | None
    all_inside: Decimal | None


@dataclass(frozen=True, slots=True)
class Least:
    """The bound that the plan claims; `value` is the most that parts could be worth, where that counts."""

    pieces: int
    area_mm2: Decimal
    cost: Decimal | None
    gap_pieces: int
    gap_share: Decimal
    value: Decimal | None
    gap_value: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Figures:
    """The summary that the plan claims, by name."""

    counts: dict[str, int]
    amounts: dict[str, Decimal]
    material_cost: Decimal | None
    handling: int | None = None
    most_waiting: int | None = None
    worth: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan document, read."""

    order_ref: str
    ordered_as: str
    machine_id: str
    ordered_machine: str
    fingerprint: str
    shear: Shear
    grades: dict[str, Grade]
    wanted: dict[str, Wanted]
    stock: dict[str, Stock]
    wishes: Wishes
    sheets: dict[int, Sheet]
    program: tuple[Cut, ...]
    missing: tuple[Missing, ...]
    least: Least
    figures: Figures
    quality: tuple[Stated, ...]
    stops: tuple[str, ...]
