"""The shear on the floor: what it can reach, hold, gauge, push and lift.

Lengths are whole hundredths of a millimetre unless a name says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from service.engine.quantities import Length


@dataclass(frozen=True, slots=True)
class Rating:
    """The maker's plate: the thickness of plain steel of a named tensile strength [N/mm²]."""

    thickness: Length
    rm: float = 450.0


@dataclass(frozen=True, slots=True)
class Rake:
    """The slope between the blades [degrees]; fixed when both ends are equal."""

    low_deg: float
    high_deg: float
    step_deg: float = 0.1

    @property
    def fixed(self) -> bool:
        """Whether the machine has one rake only."""
        return self.low_deg == self.high_deg


@dataclass(frozen=True, slots=True)
class GapRange:
    """Blade gap that can be set, in steps of `step`."""

    low: Length
    high: Length
    step: Length = 1


@dataclass(frozen=True, slots=True)
class GapRow:
    """One line of the machine's own table of blade gaps: for steel of `rm` [N/mm²] of a thickness."""

    rm: float
    thickness: Length
    gap: Length


@dataclass(frozen=True, slots=True)
class BackGauge:
    """The stop behind the blade. `accuracy` is the ± of a drop gauged with it.

    `meets` is no figure of the profile: for the sheet at hand it is the deepest drop that hangs near
    enough to level to be gauged, as :func:`service.engine.sag.with_sheet` sets it; None: any. Nor is
    `draws_back`: by how much the edge of a drop of that sheet is drawn back from the gauge, over the seventh
    power of its depth [0.01 mm]; None: no drop sags.
    """

    low: Length
    high: Length
    step: Length = 1
    accuracy: Length = 10
    speed_mm_s: float = 100.0
    meets: Length | None = None
    draws_back: Fraction | None = None

    def gained(self, depth: Length) -> Length:
        """By how much a drop of that depth is cut too long, since it sags away from the gauge [0.01 mm].

        In whole numbers, so that every processor says the same.
        """
        if self.draws_back is None:
            return 0
        top, bottom = self.draws_back.as_integer_ratio()
        return (2 * top * depth**7 + bottom) // (2 * bottom)

    @property
    def deepest(self) -> Length:
        """The deepest drop that it can gauge."""
        return self.high if self.meets is None else min(self.high, self.meets)


@dataclass(frozen=True, slots=True)
class FrontStops:
    """Stops on the squaring arm, which measure the piece that stays in front."""

    low: Length
    high: Length
    accuracy: Length = 50


@dataclass(frozen=True, slots=True)
class HoldDown:
    """The row of clamping feet in front of the blade.

    `depth` is the clamping depth: from the blade line to the far side of the feet, and so the
    least depth a remainder may have. `feet` are the centres of the feet along the blade, counted
    from the squaring arm; empty means that the bar clamps everywhere. `force_kn` is the force of
    all the feet together, None when it is not known. `wanted_share` is the hold-down force wanted
    over the shearing force, where the maker or the shop states it; None: a default, which then
    does not limit the capacity (:mod:`service.engine.settings`).
    """

    depth: Length
    feet: tuple[Length, ...] = ()
    foot_width: Length = 0
    force_kn: float | None = None
    wanted_share: float | None = None


@dataclass(frozen=True, slots=True)
class Lifting:
    """Masses that may be handled [kg]: by one person, by two, by crane (None: no crane).

    A piece longer than `one_person_length`, or with both sides longer than `one_person_width`, wants two
    people however light it is. Defaults follow common practice only (for two people two thirds of twice
    what one may lift, guidance of the UK's HSE; the lengths are shop defaults); the local rules decide.
    """

    one_person_kg: float = 25.0
    two_people_kg: float = 33.3
    crane_kg: float | None = None
    one_person_length: Length = 250_000
    one_person_width: Length = 100_000


@dataclass(frozen=True, slots=True)
class TimeModel:
    """Shop-set times [s] of what happens between strokes, and the rate of an hour.

    No published times for shears were found: all of these are shop settings with a default.
    """

    program_setup_s: float = 180.0
    settings_change_s: float = 45.0
    gauge_start_s: float = 2.0
    load_sheet_s: float = 60.0
    place_piece_s: float = 8.0
    turn_piece_s: float = 10.0
    two_person_factor: float = 1.5
    crane_s: float = 120.0
    mark_line_s: float = 45.0
    front_stop_s: float = 20.0
    collect_s: float = 30.0
    hour_rate: float = 60.0


@dataclass(frozen=True, slots=True)
class Machine:
    """A machine profile.

    Attributes
    ----------
    cutting_length
        Longest edge it can shear.
    rating
        Thickness at a tensile strength, by the maker.
    force_limit_kn
        Largest shearing force [kN]; None: only the rating is known.
    smallest_drop
        Narrowest piece that may fall behind the blade in any gauging.
    back_gauge, front_stops, marked_line_accuracy
        The three ways to gauge; None where the machine lacks one. Every machine has the first.
    squaring_arm
        Length of the squaring arm; 0: none.
    strokes_per_minute
        At the full stroke and the lowest rake.
    table_depth
        Depth of the table in front; 0: not stated.
    sheet_support, relief
        Whether thin drops are carried, and whether the gauge can back off before the blade.
    blade_edges
        Cutting edges of one blade.
    edge_life_m
        Metres of reference cutting (the rated thickness of plain steel) one edge lasts: a shop
        setting, corrected by measurements.
    max_thickness
        The thickest sheet that fits under blade and feet, however soft; None: not stated.
    gap_table
        The machine's own table of blade gaps; empty: gaps by the material.
    dulled_allowance
        How much more force is counted with than sharp blades take [fraction]: a shop setting. The
        default of a quarter makes of a shear strength of 0.8·Rm the full Rm that trade handbooks
        count with; press-tool courses say 0.15 to 0.30.
    gauge_clears
        Whether the back gauge can be lifted or swung out of the way. Where it cannot, nothing deeper
        than its range can fall behind the blade.
    force_margin
        How far below the force limit the rake is chosen [fraction], for sheet thicker than nominal and
        for what the formulae leave out: a shop setting. Force grows with the square of the thickness:
        a tenth covers sheet 5 % over its nominal thickness.
    side_by_side
        The most pieces that are held against the gauge in one stroke: a shop setting.
    """

    id: str
    name: str
    cutting_length: Length
    rating: Rating
    rake: Rake
    gap: GapRange
    back_gauge: BackGauge
    hold_down: HoldDown
    site: str | None = None
    force_limit_kn: float | None = None
    front_stops: FrontStops | None = None
    marked_line_accuracy: Length | None = None
    squaring_arm: Length = 0
    smallest_drop: Length = 0
    strokes_per_minute: float = 20.0
    table_depth: Length = 0
    sheet_support: bool = False
    relief: bool = False
    lifting: Lifting = field(default_factory=Lifting)
    times: TimeModel = field(default_factory=TimeModel)
    blade_edges: int = 4
    edge_life_m: float = 60_000.0
    max_thickness: Length | None = None
    gap_table: tuple[GapRow, ...] = ()
    dulled_allowance: float = 0.25
    gauge_clears: bool = False
    side_by_side: int = 4
    force_margin: float = 0.1
