"""What a plan is made of: layouts, the cut program, and what is said about them.

Lengths are whole hundredths of a millimetre. A sheet lies with its length along x and its width
along y; the origin is the corner where trimming begins. Every layout is a guillotine tree: each
split cuts a rectangle edge to edge, and its children lie side by side in the order they are cut.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, TypeAlias

from service.engine.findings import Finding
from service.engine.order import Objective
from service.engine.quantities import Length

Axis: TypeAlias = Literal["x", "y"]
LeafKind: TypeAlias = Literal["part", "offcut", "scrap", "trim"]
Gauging: TypeAlias = Literal["back gauge", "front stop", "marked line"]
Turn: TypeAlias = Literal["none", "quarter", "half"]
PartGauging: TypeAlias = Literal["back gauge", "front stop", "marked line", "remainder", "stock size"]


@dataclass(frozen=True, slots=True)
class Leaf:
    """A rectangle that is cut no further. `rotated`: the part's length lies along y."""

    kind: LeafKind
    x: Length
    y: Length
    dx: Length
    dy: Length
    ref: str | None = None
    rotated: bool = False


@dataclass(frozen=True, slots=True)
class Split:
    """A rectangle cut across `axis` into children that fill it without a gap (a shear has no kerf)."""

    axis: Axis
    x: Length
    y: Length
    dx: Length
    dy: Length
    children: tuple[Node, ...]


Node: TypeAlias = Leaf | Split


def leaves(node: Node) -> Iterator[Leaf]:
    """The rectangles under a node that are cut no further, in the order they are cut."""
    if isinstance(node, Leaf):
        yield node
        return
    for child in node.children:
        yield from leaves(child)


@dataclass(frozen=True, slots=True)
class Layout:
    """How one stock piece is divided, and how many equal pieces are divided so.

    `number` counts from 1 through the whole plan, in the order in which the sheets are taken up.
    """

    number: int
    stock_ref: str
    material: str
    thickness: Length
    repeat: int
    tree: Node


@dataclass(frozen=True, slots=True)
class Unplaced:
    """What of a part could not be planned, and why."""

    ref: str
    quantity: int
    code: str
    reason: str


@dataclass(frozen=True, slots=True)
class Bound:
    """How good the material use can be at best, for the parts that were placed.

    Attributes
    ----------
    pieces
        No plan whatever can use fewer stock pieces (sheets and offcuts together).
    area_mm2
        No plan whatever can use less stock area [mm²].
    cost
        Nor pay less for stock; None when some stock has no price that counts (:func:`.order.as_priced`).
    gap_pieces
        Pieces used less `pieces`; a plan of fewer pieces, if there is one, may cost more.
    gap_share
        How far the plan's objective lies above its bound, as a share of the bound [fraction]: cost if
        every piece has a price and a plan must pay something, else area.
    method
        The bounding argument that gave the best value.
    value
        Where the parts worth most are chosen: no choice of parts from this stock is worth more. The
        other bounds are for the parts that were chosen.
    gap_value
        How far what the chosen parts are worth lies below `value`, as a share of it [fraction]; None for
        any other objective, and in plans of earlier engines.
    """

    pieces: int
    area_mm2: float
    cost: float | None
    gap_pieces: int
    gap_share: float
    method: str
    value: float | None = None
    gap_value: float | None = None


@dataclass(frozen=True, slots=True)
class Settings:
    """What the machine is set to for a cut; each value is one that this machine can set.

    Attributes
    ----------
    gap
        Blade gap.
    rake_deg
        Rake [degrees].
    stroke
        Travel of the blade for this cut length.
    hold_down_kn
        Hold-down force wanted [kN]; None when nothing is known of the machine's.
    relief
        Whether the back gauge backs off after clamping.
    sheet_support
        Whether the drop is carried.
    findings
        With the basis of each value.
    """

    gap: Length
    rake_deg: float
    stroke: Length
    hold_down_kn: float | None
    relief: bool
    sheet_support: bool
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What becomes of the pieces on one side of a cut.

    `kind`: ``part`` (`ref` is the part's), ``piece`` (`ref` is the name under which a later step
    takes it up), ``offcut`` (to the rack, with the heat number on it), ``scrap`` or ``trim``.
    `dx`, `dy` are the sizes in the directions of the sheet; `count` is over the whole step.
    """

    kind: Literal["part", "piece", "offcut", "scrap", "trim"]
    ref: str | None
    dx: Length
    dy: Length
    count: int


@dataclass(frozen=True, slots=True)
class Step:
    """One setting of the gauge and what is cut at it.

    Attributes
    ----------
    number, layout
        Counted from 1.
    piece, pieces
        Name of the equal pieces taken up, and how many of them go through the step.
    along_blade, depth
        Size of one piece along the blade, and in depth before the first cut of the step.
    axis
        Direction of the sheet in which the depth lies.
    edge_end, edge_state
        The edge measured from: the ``near`` (towards the sheet's origin) or the ``far`` end of
        `axis`; a ``mill`` edge or a ``cut`` one.
    turn
        How the piece is turned against how it last lay at the blade.
    squared
        Whether a cut edge is held against the squaring arm.
    gauging, gauge
        How the cut is gauged, and the value: depth of the measured side.
    measured
        The side of the cut that has the measured size: ``drop`` (always, for a back gauge) or
        ``remainder`` (always, for a front stop).
    repeat
        Cuts on each piece at this setting, one drop each.
    gang
        Pieces side by side in one stroke.
    strokes
        Strokes of the whole step.
    settings, force_kn, rating_share
        For the longest stroke of the step (`along_blade` × `gang`).
    piece_kg, lift
        Mass of the piece before the first cut, and who moves it.
    drops, remainders
        Where the pieces go. Counts of `drops` add up to repeat × pieces, of `remainders` to pieces.
    """

    number: int
    layout: int
    piece: str
    pieces: int
    along_blade: Length
    depth: Length
    axis: Axis
    edge_end: Literal["near", "far"]
    edge_state: Literal["mill", "cut"]
    turn: Turn
    squared: bool
    gauging: Gauging
    gauge: Length
    measured: Literal["drop", "remainder"]
    repeat: int
    gang: int
    strokes: int
    settings: Settings
    force_kn: float
    rating_share: float
    piece_kg: float
    lift: Literal["one person", "two people", "crane"]
    drops: tuple[Outcome, ...]
    remainders: tuple[Outcome, ...]
    findings: tuple[Finding, ...]

    @property
    def fall_depth(self) -> Length:
        """Depth of one drop."""
        return self.gauge if self.measured == "drop" else self.depth - self.gauge


@dataclass(frozen=True, slots=True)
class PartQuality:
    """How near to size the parts of one line of the order come out, in one dimension.

    Attributes
    ----------
    ref, dimension, size
        Of the part; `size` is nominal.
    aim
        The size that is cut for: the nominal one, unless its limits are far from the same both ways.
    gauged
        How the worst of them is gauged: by back gauge, front stop or marked line; ``remainder``: it is
        what was left; ``stock size``: it keeps the size of the stock.
    accuracy
        The ± of the worst, all errors of its cuts added up.
    minus, plus
        How far it may be under and over, both as positive numbers.
    inside
        Chance of each of them, of the worst placed, to lie within these limits [fraction], by the error
        model of :mod:`service.engine.quality.errors`; None in plans of engines before 0.3 that gauged
        drops beyond reckoning.
    count, outside, all_inside
        How many are made, how many of them lie outside on average, and the chance that all are inside
        [fraction]; None in plans of engines before 0.3, which did not say.
    findings
        What else is to be said: twist of narrow drops, length gained by sag, a poor chance.
    """

    ref: str
    dimension: Literal["length", "width"]
    size: Length
    aim: Length
    gauged: PartGauging
    accuracy: Length
    minus: Length
    plus: Length
    inside: float | None
    findings: tuple[Finding, ...]
    count: int | None = None
    outside: float | None = None
    all_inside: float | None = None


@dataclass(frozen=True, slots=True)
class Summary:
    """The plan in figures. Areas mm², masses kg, times min, cost in the shop's money.

    `utilisation` is the area of parts over the area of stock used less the offcuts kept [fraction].
    `gauge_moves` counts changes of gauging or gauge value, the first setting included. `handling` is
    points by :mod:`service.engine.objectives`, `most_waiting` the most stacks of pieces that wait while a
    step is made, `worth` what the parts made are worth, told where the parts worth most are chosen; the
    three are None in plans of earlier engines.
    """

    sheets: int
    offcuts_used: int
    parts: int
    stock_area_mm2: float
    parts_area_mm2: float
    offcut_area_mm2: float
    scrap_area_mm2: float
    utilisation: float
    parts_kg: float
    scrap_kg: float
    cut_metres: float
    strokes: int
    gauge_moves: int
    settings_changes: int
    turns: int
    minutes: float
    material_cost: float | None
    time_cost: float
    handling: int | None = None
    most_waiting: int | None = None
    worth: float | None = None


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another plan for the same order, as the recommended plan of a comparison tells of it.

    Attributes
    ----------
    pick
        With this option the order gives the plan itself.
    fingerprint
        Of that plan.
    best_at
        By what no plan of the comparison is better.
    how
        How it was found, in words; empty for the search as asked.
    summary
        Its figures.
    handling
        Its handling in points, by :mod:`service.engine.objectives`.
    gap_share
        How far its use of material lies above the bound [fraction].
    """

    pick: int
    fingerprint: str
    best_at: tuple[Objective, ...]
    how: str
    summary: Summary
    handling: int
    gap_share: float


@dataclass(frozen=True, slots=True)
class CutPlan:
    """An order turned into cuts.

    `fingerprint` is the hash of the canonical input and the engine version: equal input gives an
    equal plan on every machine. `quality` has two lines for each part that was placed, in the order
    of the order. `alternatives` are the other plans of a comparison, of which the one recommended tells;
    `best_at` is by what none of them is better than this one, empty where nothing was compared.
    `cut_short` tells that the caller ended the search, by the clock perhaps: then another run may give
    another plan, and this one is not the plan of its fingerprint.
    """

    order_ref: str
    machine_id: str
    fingerprint: str
    engine_version: str
    summary: Summary
    bound: Bound
    layouts: tuple[Layout, ...]
    program: tuple[Step, ...]
    findings: tuple[Finding, ...]
    unplaced: tuple[Unplaced, ...]
    cautions: tuple[str, ...]
    stopped_early: bool
    quality: tuple[PartQuality, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    cut_short: bool = False
    best_at: tuple[Objective, ...] = ()
