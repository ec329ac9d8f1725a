"""The grades that are known from the start, each with its source.

How to read it:

* Tensile strengths are those of the product standard named. Where a standard's range depends on
  thickness or on the way of rolling, the table holds the envelope: the lowest and the highest of
  its figures, and beside it the range of each thickness (`bands`). Force takes the upper end.
* Where a standard states a minimum only, the upper end is that minimum plus a shop allowance of
  15 % (:data:`OVER_MINIMUM`), and `strength_basis` says ``minimum``.
* ``plain steel`` is not a grade but the steel of a machine's rating plate: 450 N/mm². That is
  common practice, no source. The grades of plain steel have a *range* that may reach above it: a
  sheet of S235JR may have up to 510 N/mm². Which it has, its inspection certificate says.
* Blade gap shares and abrasiveness are shop defaults. The gap shares lie inside the 4 to 10 % of
  thickness found in textbooks, but hard plate's, which are a producer's; no published table of
  abrasiveness was found.

A standard's figure marked (m) in the source was written from memory of the standard and wants a
look into the book before anything depends on it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from difflib import get_close_matches
from typing import Final, TypeAlias

from service.engine.materials import Material, StrengthBand, StrengthBasis
from service.engine.quantities import mm

PLAIN_STEEL_RM: Final = 450.0
"""Tensile strength at which plain steel is counted on rating plates [N/mm²]; common practice."""

OVER_MINIMUM: Final = 1.15
"""Upper end of strength over a standard's minimum, where no upper limit is set: a shop default."""

_STEEL_GAP: Final = (0.05, 0.08)
_STRONG_STEEL_GAP: Final = (0.06, 0.10)
_STAINLESS_GAP: Final = (0.04, 0.07)
_SOFT_ALUMINIUM_GAP: Final = (0.03, 0.05)
_HARD_ALUMINIUM_GAP: Final = (0.05, 0.08)
_COPPER_GAP: Final = (0.04, 0.06)
_WEAR_PLATE_GAP: Final = (0.16, 0.18)


class UnknownMaterial(ValueError):  # noqa: N818 - reads as what it says: an unknown material
    """No material is known by that grade; the message lists names that are near."""


_Range: TypeAlias = tuple[float, float]
_Bands: TypeAlias = tuple[tuple[float, float, float], ...]
"""Thickness from which it holds [mm], lowest and highest strength [N/mm²]."""


def _banded(bands: _Bands) -> tuple[StrengthBand, ...]:
    return tuple(StrengthBand(mm(begins), float(low), float(high)) for begins, low, high in bands)


def _steel(
    grade: str,
    rm: _Range,
    elongation: float,
    source: str,
    *,
    gap: _Range = _STEEL_GAP,
    basis: StrengthBasis = "range",
    bands: _Bands = (),
) -> Material:
    return Material(
        grade,
        "carbon steel",
        *rm,
        basis,
        elongation,
        7850,
        210_000,
        gap,
        1.0,
        True,
        source,
        _banded(bands),
    )


def _stainless(
    grade: str,
    rm: _Range,
    elongation: float,
    source: str,
    *,
    density: float,
    modulus: float = 200_000,
    wear: float = 1.5,
    bands: _Bands = (),
) -> Material:
    return Material(
        grade,
        "stainless steel",
        *rm,
        "range",
        elongation,
        density,
        modulus,
        _STAINLESS_GAP,
        wear,
        True,
        source,
        _banded(bands),
    )


def _aluminium(
    grade: str,
    rm: _Range,
    elongation: float,
    source: str,
    *,
    density: float = 2660,
    gap: _Range = _SOFT_ALUMINIUM_GAP,
    basis: StrengthBasis = "range",
    bands: _Bands = (),
) -> Material:
    return Material(
        grade,
        "aluminium",
        *rm,
        basis,
        elongation,
        density,
        70_000,
        gap,
        0.8,
        True,
        source,
        _banded(bands),
    )


def _copper(
    grade: str, rm: _Range, elongation: float, source: str, *, basis: StrengthBasis = "range"
) -> Material:
    return Material(grade, "copper", *rm, basis, elongation, 8940, 117_000, _COPPER_GAP, 0.8, True, source)


def _brass(grade: str, rm: _Range, elongation: float) -> Material:
    source = "EN 1652, CuZn37 (m); A50; density and modulus (m)"
    return Material(grade, "brass", *rm, "range", elongation, 8440, 110_000, _COPPER_GAP, 0.8, True, source)


def _wear_plate(hardness: int, rm: _Range, elongation: float, source: str) -> Material:
    return Material(
        f"wear plate {hardness} HBW",
        "wear plate",
        *rm,
        "typical",
        elongation,
        7850,
        210_000,
        _WEAR_PLATE_GAP,
        2.0,
        hardness <= 400,
        source,
    )


_S355: Final = "EN 10025-2: 510 to 680 below 3 mm, 470 to 630 from 3 to 100 mm; A (m)"
_S355_BANDS: Final = ((0.01, 510, 680), (3, 470, 630))
_S275_BANDS: Final = ((0.01, 430, 580), (3, 410, 560))
_HARDENED: Final = "typical, scaled by hardness from 400 HBW; producers advise against shearing"
_EN_1652: Final = "EN 1652, Cu-DHP; A50; density (m)"

_ROWS: Final[tuple[Material, ...]] = (
    _steel(
        "plain steel",
        (PLAIN_STEEL_RM, PLAIN_STEEL_RM),
        0.26,
        "the steel of rating plates, counted at 450 N/mm²: common practice, no source; elongation as S235",
        basis="typical",
    ),
    _steel("S235JR", (360, 510), 0.26, "EN 10025-2, below 3 mm and 3 to 100 mm; A along, from 3 mm (m)"),
    _steel(
        "S275JR",
        (410, 580),
        0.23,
        "EN 10025-2: 430 to 580 below 3 mm, 410 to 560 from 3 to 100 mm; A (m)",
        bands=_S275_BANDS,
    ),
    _steel("S355JR", (470, 680), 0.22, _S355, gap=_STRONG_STEEL_GAP, bands=_S355_BANDS),
    _steel("S355J2", (470, 680), 0.22, _S355, gap=_STRONG_STEEL_GAP, bands=_S355_BANDS),
    _steel("DC01", (270, 410), 0.28, "EN 10130; A80"),
    _steel("DX51D+Z", (270, 500), 0.22, "EN 10346 (m); A80 (m)"),
    _steel("A36", (400, 550), 0.23, "ASTM A36 plate, 58 to 80 ksi; elongation in 50 mm"),
    _steel(
        "A1011 CS B",
        (310, 380),
        0.25,
        "ASTM A1011 sets no tensile strength for CS type B; typical figures (m)",
        basis="typical",
    ),
    _stainless(
        "1.4301",
        (520, 750),
        0.45,
        "EN 10088-2 (m): 540 to 750 cold rolled, which ends at 8 mm; 520 to 720 hot strip and plate, the "
        "envelope of both up to 8 mm; A80; density and modulus EN 10088-1",
        density=7900,
        bands=((8.01, 520, 720),),
    ),
    _stainless(
        "1.4404",
        (530, 680),
        0.40,
        "EN 10088-2 (m), cold rolled and hot strip; A80; density and modulus EN 10088-1 (m)",
        density=8000,
    ),
    _stainless(
        "1.4016",
        (430, 630),
        0.20,
        "EN 10088-2: 450 to 600 strip, 430 to 630 plate, the envelope of both; "
        "density and modulus EN 10088-1",
        density=7700,
        modulus=220_000,
        wear=1.2,
    ),
    _aluminium("1050A H14", (105, 145), 0.04, "EN 485-2; A50 2 to 6 % by thickness (m)", density=2710),
    _aluminium("5754 H111", (190, 240), 0.16, "EN 485-2, O and H111; A50 12 to 18 % by thickness"),
    _aluminium("5754 H22", (220, 270), 0.10, "EN 485-2, H22 and H32; A50 10 to 11 % by thickness"),
    _aluminium(
        "5083 H111",
        (270, 350),
        0.13,
        "EN 485-2, O and H111: 275 to 350 up to 50 mm, 270 to 345 above; A50 11 to 16 % by thickness",
        gap=_HARD_ALUMINIUM_GAP,
    ),
    _aluminium(
        "6082 T6",
        (300, round(310 * OVER_MINIMUM, 1)),
        0.07,
        "EN 485-2 (m): at least 310 up to 6 mm, 300 up to 12.5 mm, no upper limit: "
        "plus a shop allowance of 15 %; A50 (m)",
        density=2700,
        gap=_HARD_ALUMINIUM_GAP,
        basis="minimum",
        bands=((0.01, 310, round(310 * OVER_MINIMUM, 1)), (6.01, 300, round(300 * OVER_MINIMUM, 1))),
    ),
    _copper("Cu-DHP R220", (220, 260), 0.33, _EN_1652),
    _copper("Cu-DHP R240", (240, 300), 0.08, _EN_1652),
    _copper("Cu-DHP R290", (290, 360), 0.04, _EN_1652),
    _copper(
        "Cu-DHP R360",
        (360, round(360 * OVER_MINIMUM, 1)),
        0.02,
        f"{_EN_1652}; at least 360, no upper limit: plus a shop allowance of 15 %",
        basis="minimum",
    ),
    _brass("CuZn37 R300", (300, 370), 0.38),
    _brass("CuZn37 R350", (350, 440), 0.19),
    _brass("CuZn37 R410", (410, 490), 0.08),
    _wear_plate(
        400,
        (1250, 1400),
        0.10,
        "producers' data for 400 HBW: 1250 to 1300 typical; upper end scaled to the 430 HBW of the range",
    ),
    _wear_plate(450, (1400, 1560), 0.08, _HARDENED),
    _wear_plate(500, (1560, 1740), 0.07, _HARDENED),
)

BUILT_IN: Final[tuple[Material, ...]] = tuple(
    # As floats throughout, so that a grade reads back from a record as the same value and text.
    replace(
        row,
        rm_low=float(row.rm_low),
        rm_high=float(row.rm_high),
        density=float(row.density),
        youngs_modulus=float(row.youngs_modulus),
    )
    for row in _ROWS
)
"""Every grade known from the start."""

_BY_GRADE: Final = {material.grade: material for material in BUILT_IN}

_ALSO_CALLED: Final = {
    "mild steel": "S235JR",
    "s235": "S235JR",
    "s275": "S275JR",
    "s355": "S355JR",
    "304": "1.4301",
    "316l": "1.4404",
    "430": "1.4016",
    "1.0038": "S235JR",
    "1.0330": "DC01",
    "stainless": "1.4301",
    "galvanised": "DX51D+Z",
    "aluminium": "5754 H111",
    "copper": "Cu-DHP R240",
    "brass": "CuZn37 R350",
}
"""Names people use, for the hint in an error only: a grade is never guessed."""


def material_named(grade: str, own: Iterable[Material] = ()) -> Material:
    """The material of that grade: one of the shop's own first, else a built-in one.

    Grades are matched letter by letter, since a near grade may have another strength.

    Parameters
    ----------
    grade
        As orders and stock write it.
    own
        The shop's own materials; one with the name of a built-in grade takes its place.

    Raises
    ------
    UnknownMaterial
        With names that are near.

    >>> material_named("S235JR").rm_high
    510.0
    """
    owned = {material.grade: material for material in own}
    if grade in owned:
        return owned[grade]
    if grade in _BY_GRADE:
        return _BY_GRADE[grade]
    raise UnknownMaterial(_unknown(grade, [*owned, *(name for name in _BY_GRADE if name not in owned)]))


def _unknown(grade: str, known: list[str]) -> str:
    shown = grade if len(grade) <= 60 else grade[:57] + "…"
    folded = {name.casefold(): name for name in reversed(known)}
    wanted = " ".join(grade.split()).casefold()[:60]
    near: list[str] = []
    if wanted in _ALSO_CALLED:
        near.append(_ALSO_CALLED[wanted])
    near += [folded[name] for name in get_close_matches(wanted, sorted(folded), n=3, cutoff=0.5)]
    if wanted:
        near += [name for name in known if wanted in name.casefold() or name.casefold() in wanted][:3]
    near = list(dict.fromkeys(near))[:4]
    hint = f"did you mean {' or '.join(near)}?" if near else f"known grades: {', '.join(known)}"
    return f"no material is known as {shown!r}; {hint}"
