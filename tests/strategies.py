"""Random machines, materials, stock and orders for Hypothesis; small and medium, easy and hard.

All sizes are whole hundredths of a millimetre. An *ideal* shear clamps everywhere, gauges far and has
every aid; a *hard* one has single feet, a deep clamp, a short and coarse gauge, poor accuracy, and may
lack front stops, light line, squaring arm, relief, support or crane.
"""

from __future__ import annotations

from collections.abc import Sequence

from hypothesis import strategies as st

from service.engine.machine import (
    BackGauge,
    FrontStops,
    GapRange,
    HoldDown,
    Lifting,
    Machine,
    Rake,
    Rating,
)
from service.engine.materials import Material
from service.engine.order import Grain, Options, Order, Part, StockItem, Tolerance

MM = 100

THICKNESSES = (80, 100, 150, 200, 300, 500)


def lengths(low_mm: int, high_mm: int) -> st.SearchStrategy[int]:
    """Mostly whole millimetres, now and then hundredths or a round number."""
    whole = st.integers(low_mm, high_mm).map(lambda mm: mm * MM)
    fine = st.integers(low_mm * MM, high_mm * MM)
    coarse = st.integers(-(-low_mm // 50), high_mm // 50).map(lambda n: n * 50 * MM)
    if high_mm // 50 < -(-low_mm // 50):
        return st.one_of(whole, fine)
    return st.one_of(whole, coarse, fine)


@st.composite
def materials(draw: st.DrawFn, grade: str = "shop steel") -> Material:
    """A shop's own grade, soft or strong."""
    rm_low = draw(st.one_of(st.integers(60, 360), st.integers(60, 600)))
    return Material(
        grade=grade,
        family=draw(st.sampled_from(("carbon steel", "stainless steel", "aluminium", "brass"))),
        rm_low=float(rm_low),
        rm_high=float(rm_low + draw(st.integers(0, 200))),
        strength_basis="range",
        elongation=draw(st.sampled_from((0.05, 0.2, 0.26, 0.45))),
        density=draw(st.sampled_from((2700.0, 7850.0, 8500.0))),
        youngs_modulus=draw(st.sampled_from((70_000.0, 210_000.0))),
        gap_share=draw(st.sampled_from(((0.05, 0.1), (0.02, 0.06), (0.0, 0.15)))),
        abrasiveness=draw(st.sampled_from((0.5, 1.0, 2.5))),
        shearable=draw(st.sampled_from((*[True] * 80, False))),
        source="invented for a test",
    )


@st.composite
def ideal_machines(draw: st.DrawFn) -> Machine:
    """A shear that can do nearly everything."""
    return Machine(
        id="ideal",
        name="Ideal shear",
        cutting_length=draw(st.sampled_from((3000, 4000, 6000))) * MM,
        rating=Rating(draw(st.sampled_from((600, 1000, 1600)))),
        rake=Rake(0.5, 3.0),
        gap=GapRange(1, 200),
        back_gauge=BackGauge(
            draw(st.sampled_from((1, 500))), 300_000, accuracy=draw(st.sampled_from((0, 5, 10)))
        ),
        hold_down=HoldDown(draw(st.sampled_from((0, 1000, 4500)))),
        front_stops=FrontStops(0, 400_000, 30),
        marked_line_accuracy=50,
        squaring_arm=300_000,
        sheet_support=True,
        relief=True,
        lifting=Lifting(25.0, 50.0, 5000.0),
    )


@st.composite
def hard_machines(draw: st.DrawFn) -> Machine:
    """A shear with limits wherever one can have them."""
    cutting_length = draw(st.one_of(lengths(1500, 3200), lengths(600, 3200)))
    foot_width = draw(st.sampled_from((0, 2000, 4000, 8000)))
    pitch = draw(st.integers(80, 300)) * MM
    first = draw(st.integers(0, 200)) * MM
    feet = tuple(range(first, cutting_length, pitch)) if foot_width else ()
    gauge_low = draw(st.sampled_from((1, 200, 500, 1000, 2500)))
    rake = draw(st.sampled_from((Rake(1.5, 1.5), Rake(0.5, 2.5, 0.25), Rake(2.0, 2.0))))
    stops_low = draw(st.integers(0, 300)) * MM
    return Machine(
        id="hard",
        name="Hard shear",
        cutting_length=cutting_length,
        rating=Rating(draw(st.sampled_from((300, 400, 600, 150))), draw(st.sampled_from((400.0, 450.0)))),
        rake=rake,
        gap=draw(st.sampled_from((GapRange(2, 100), GapRange(5, 60, 5), GapRange(10, 10)))),
        back_gauge=BackGauge(
            low=gauge_low,
            high=draw(lengths(100, 1200)),
            step=draw(st.sampled_from((1, 1, 5, 10, 50))),
            accuracy=draw(st.sampled_from((10, 5, 10, 10, 20, 0, 50))),
        ),
        hold_down=HoldDown(
            draw(lengths(1, 90)), feet, foot_width if feet else 0, draw(st.sampled_from((None, 30.0)))
        ),
        force_limit_kn=draw(st.sampled_from((None, None, 40.0, 150.0))),
        front_stops=draw(
            st.sampled_from(
                (None, FrontStops(stops_low, stops_low + 100_000, 50), FrontStops(20_000, 250_000, 30))
            )
        ),
        marked_line_accuracy=draw(st.sampled_from((None, None, 50, 100))),
        squaring_arm=draw(st.sampled_from((0, 100_000))),
        smallest_drop=draw(st.sampled_from((0, 300, 1000, 3000))),
        sheet_support=draw(st.booleans()),
        gauge_clears=draw(st.booleans()),
        side_by_side=draw(st.sampled_from((1, 2, 4, 20))),
        relief=draw(st.booleans()),
        lifting=Lifting(25.0, 50.0, draw(st.sampled_from((None, 100.0, 3000.0)))),
    )


def machines() -> st.SearchStrategy[Machine]:
    """Ideal and hard ones."""
    return st.one_of(ideal_machines(), hard_machines())


@st.composite
def tolerances(draw: st.DrawFn) -> Tolerance:
    """Classes, and now and then own limits, tight and wide."""
    if draw(st.integers(0, 9)) < 8:
        return Tolerance(draw(st.sampled_from(("m", "c", "m", "c", "v", "f"))))
    limit = st.sampled_from((None, 0, 5, 10, 25, 50, 200, 3000))
    return Tolerance("m", draw(limit), draw(limit))


@st.composite
def stock_items(draw: st.DrawFn, ref: str, material: str, thickness: int) -> StockItem:
    """Sheets with mill edges and offcuts with cut ones, and the other way round."""
    kind = draw(st.sampled_from(("sheet", "sheet", "offcut")))
    edges = draw(st.sampled_from(("mill", "cut")))
    small = kind == "offcut"
    return StockItem(
        ref=ref,
        length=draw(lengths(150, 1200) if small else lengths(400, 3000)),
        width=draw(lengths(100, 800) if small else lengths(300, 1600)),
        quantity=draw(st.sampled_from((1, 2, 3, 4, 8, 0))),
        material=material,
        thickness=thickness,
        kind=kind,
        edges=edges,
        oversize=draw(st.sampled_from((0, 50, 500, 2000))),
        price=draw(st.sampled_from((None, 0.0, 12.5, 80.0))),
        heat=draw(st.sampled_from((None, "H123"))),
    )


def _sizes(stock: Sequence[StockItem], trim: int, low_mm: int, high_mm: int) -> st.SearchStrategy[int]:
    """Random sizes, and sizes that just fill the stock: there the rules pinch."""
    pinching = sorted(
        {
            (side - trims * trim) // share
            for item in stock
            for side in (item.length, item.width)
            for trims in (0, 1, 2)
            for share in (1, 2, 3)
            if side - trims * trim >= share * low_mm * MM
        }
    )
    if not pinching:
        return lengths(low_mm, high_mm)
    # Mostly what fits: sizes beyond every piece of stock are refused at once and teach little.
    fits = max(low_mm, min(high_mm, min(min(item.length, item.width) for item in stock) // MM))
    return st.one_of(
        lengths(low_mm, fits), lengths(low_mm, fits), lengths(low_mm, high_mm), st.sampled_from(pinching)
    )


@st.composite
def orders(
    draw: st.DrawFn,
    machine: st.SearchStrategy[Machine] | None = None,
    *,
    most_parts: int = 4,
    most_stock: int = 3,
    most_quantity: int = 6,
    low_mm: int = 20,
    high_mm: int = 900,
) -> Order:
    """An order that may be easy, pinched, or in part impossible."""
    groups = [
        (f"shop steel {number}", draw(st.sampled_from(THICKNESSES)))
        for number in range(1, draw(st.sampled_from((1, 1, 1, 2))) + 1)
    ]
    trim = draw(st.sampled_from((0, 300, 500, 1000)))
    stock = []
    for index in range(draw(st.integers(1, most_stock))):
        grade, thickness = groups[index % len(groups)]
        stock.append(draw(stock_items(f"S{index + 1}", grade, thickness)))
    sizes = _sizes(stock, trim, low_mm, high_mm)
    grains: tuple[Grain, ...] = ("any", "any", "along", "across")
    parts = []
    for index in range(draw(st.integers(1, most_parts))):
        grade, thickness = draw(st.sampled_from(groups))
        parts.append(
            Part(
                ref=f"P{index + 1}",
                length=draw(sizes),
                width=draw(sizes),
                quantity=draw(st.integers(1, most_quantity)),
                material=grade,
                thickness=thickness,
                grain=draw(st.sampled_from(grains)),
                tolerance=draw(tolerances()),
            )
        )
    smaller = draw(st.sampled_from((100, 200, 300))) * MM
    used = {line.material for line in (*parts, *stock)}
    return Order(
        order_ref="W-1",
        machine=draw(machine if machine is not None else machines()),
        materials=tuple(draw(materials(grade)) for grade in sorted(used)),
        parts=tuple(parts),
        stock=tuple(stock),
        options=Options(
            effort="quick",
            max_stages=draw(st.sampled_from((3, 2, 3, 4, 3, 1))),
            trim=trim,
            offcut_min=(smaller + draw(st.sampled_from((0, 10_000))), smaller),
            batch=draw(st.booleans()),
        ),
    )


def small_orders(machine: st.SearchStrategy[Machine] | None = None) -> st.SearchStrategy[Order]:
    """A few parts, a few pieces of stock."""
    return orders(machine)


def medium_orders(machine: st.SearchStrategy[Machine] | None = None) -> st.SearchStrategy[Order]:
    """A dozen lines and more pieces."""
    return orders(machine, most_parts=12, most_stock=5, most_quantity=25, low_mm=30, high_mm=700)
