"""The worked plan of the trade primer as a plan document, typed by hand.

One sheet 2500 × 1250 × 3 with mill edges, trim 5; eight parts 600 × 300, class m; cutting length 3000,
back gauge 5 … 1000, clamping depth 45, rated 6 mm at 450 N/mm². General trade knowledge, own example;
every figure below was worked out by hand (mass at 7850 kg/m³: 1 mm of a square metre is 7.85 kg).
"""

import copy
from typing import Any

MACHINE = {
    "id": "bench-3m",
    "name": "Bench shear, 3 m",
    "site": "Northgate",
    "cutting_length_mm": 3000.0,
    "rating": {"thickness_mm": 6.0, "rm_n_mm2": 450.0},
    "force_limit_kn": None,
    "rake": {"low_deg": 1.5, "high_deg": 1.5, "step_deg": 0.1},
    "gap": {"low_mm": 0.05, "high_mm": 1.0, "step_mm": 0.01},
    "back_gauge": {
        "low_mm": 5.0,
        "high_mm": 1000.0,
        "step_mm": 0.01,
        "accuracy_mm": 0.1,
        "speed_mm_s": 100.0,
    },
    "front_stops": None,
    "marked_line_accuracy_mm": None,
    "hold_down": {"clamping_depth_mm": 45.0, "feet_mm": [], "foot_width_mm": 0.0, "force_kn": None},
    "squaring_arm_mm": 1000.0,
    "smallest_drop_mm": 0.0,
    "strokes_per_minute": 20.0,
    "table_depth_mm": 0.0,
    "sheet_support": True,
    "gauge_clears": False,
    "relief": True,
    "lifting": {"one_person_kg": 25.0, "two_people_kg": 80.0, "crane_kg": None},
    "times": {},
    "blade_edges": 4,
    "edge_life_m": 60000.0,
}

MATERIAL = {
    "grade": "S235JR",
    "family": "carbon steel",
    "rm_low_n_mm2": 360.0,
    "rm_high_n_mm2": 510.0,
    "strength_basis": "range",
    "elongation": 0.26,
    "density_kg_m3": 7850.0,
    "youngs_modulus_n_mm2": 210000.0,
    "gap_share": [0.05, 0.1],
    "abrasiveness": 1.0,
    "shearable": True,
    "source": "EN 10025-2",
}


def goes(kind: str, ref: str | None, length: float, width: float, count: int) -> dict[str, Any]:
    """Where pieces go."""
    return {"kind": kind, "ref": ref, "length_mm": length, "width_mm": width, "count": count}


def step(
    number: int, piece: str, pieces: int, along: float, depth: float, axis: str, gauge: float, **more: Any
) -> dict[str, Any]:
    """A step at the back gauge, from the near edge."""
    return {
        "step": number,
        "layout": 1,
        "piece": piece,
        "pieces": pieces,
        "along_blade_mm": along,
        "depth_mm": depth,
        "axis": axis,
        "edge_end": "near",
        "edge_state": "cut",
        "turn": "none",
        "squared": False,
        "gauging": "back gauge",
        "gauge_mm": gauge,
        "measured": "drop",
        "repeat": 1,
        "gang": 1,
        "strokes": 1,
        "settings": {
            "gap_mm": 0.2,
            "rake_deg": 1.5,
            "stroke_mm": 90.0,
            "hold_down_kn": None,
            "relief": False,
            "sheet_support": False,
            "findings": [],
        },
        "force_kn": 90.0,
        "rating_share": 0.5,
        "findings": [],
        **more,
    }


def quality(dimension: str, size: float, limit: float) -> dict[str, Any]:
    """What is said of one dimension of P1."""
    return {
        "ref": "P1",
        "dimension": dimension,
        "size_mm": size,
        "gauged": "back gauge",
        "accuracy_mm": 0.1,
        "minus_mm": limit,
        "plus_mm": limit,
        "inside": 1.0,
        "findings": [],
    }


def leaf(
    kind: str, x: float, y: float, length: float, width: float, ref: str | None = None
) -> dict[str, Any]:
    """A leaf of the layout."""
    place = {"kind": kind, "x_mm": x, "y_mm": y, "length_mm": length, "width_mm": width}
    return {**place, "ref": ref, "rotated": False} if kind == "part" else place


def split(
    axis: str, x: float, y: float, length: float, width: float, children: list[dict[str, Any]]
) -> dict[str, Any]:
    """A split of the layout."""
    place = {"x_mm": x, "y_mm": y, "length_mm": length, "width_mm": width}
    return {"kind": "split", "axis": axis, **place, "children": children}


def leaves(node: dict[str, Any]) -> list[dict[str, Any]]:
    """The leaves under a node."""
    if node["kind"] != "split":
        return [node]
    return [one for child in node["children"] for one in leaves(child)]


def strip(y: float) -> dict[str, Any]:
    """A strip with its trim, four parts and the scrap at its end."""
    return split(
        "x",
        0.0,
        y,
        2500.0,
        300.0,
        [
            leaf("trim", 0.0, y, 5.0, 300.0),
            *(leaf("part", 5.0 + 600.0 * i, y, 600.0, 300.0, "P1") for i in range(4)),
            leaf("scrap", 2405.0, y, 95.0, 300.0),
        ],
    )


def worked_plan() -> dict[str, Any]:
    """A fresh copy of the document."""
    tree = split(
        "y",
        0.0,
        0.0,
        2500.0,
        1250.0,
        [
            leaf("trim", 0.0, 0.0, 2500.0, 5.0),
            strip(5.0),
            strip(305.0),
            leaf("offcut", 0.0, 605.0, 2500.0, 645.0),
        ],
    )
    relief = {"relief": True}
    program = [
        step(
            1, "1", 1, 2500.0, 1250.0, "y", 5.0,
            edge_state="mill", piece_kg=73.59375, lift="two people",
            drop_to=[goes("trim", None, 2500.0, 5.0, 1)],
            remainder_to=[goes("piece", "1a", 2500.0, 1245.0, 1)],
        ),
        step(
            2, "1a", 1, 2500.0, 1245.0, "y", 300.0,
            repeat=2, strokes=2, piece_kg=73.299375, lift="two people",
            drop_to=[goes("piece", "1b", 2500.0, 300.0, 2)],
            remainder_to=[goes("offcut", None, 2500.0, 645.0, 1)],
        ),
        step(
            3, "1b", 2, 300.0, 2500.0, "x", 5.0,
            edge_state="mill", turn="quarter", squared=True, gang=2, piece_kg=17.6625, lift="one person",
            drop_to=[goes("trim", None, 5.0, 300.0, 2)],
            remainder_to=[goes("piece", "1c", 2495.0, 300.0, 2)],
        ),
        step(
            4, "1c", 2, 300.0, 2495.0, "x", 600.0,
            repeat=4, squared=True, gang=2, strokes=4, piece_kg=17.627175, lift="one person",
            drop_to=[goes("part", "P1", 600.0, 300.0, 8)],
            remainder_to=[goes("scrap", None, 95.0, 300.0, 2)],
        ),
    ]  # fmt: skip
    for one in (program[0], program[2]):
        one["settings"].update(relief)
    # 600 mm of 3 mm steel hang 7.9 mm down where nothing carries them.
    program[3]["settings"].update(sheet_support=True)
    return copy.deepcopy(
        {
            "order_ref": "W-1042",
            "machine_id": "bench-3m",
            "fingerprint": "0123456789abcdef" * 4,
            "engine_version": "0.1.0",
            "summary": {
                "sheets": 1,
                "offcuts_used": 0,
                "parts": 8,
                "stock_area_mm2": 3125000.0,
                "parts_area_mm2": 1440000.0,
                "offcut_area_mm2": 1612500.0,
                # two scraps 95 × 300, trims 2500 × 5 and 2 × 300 × 5
                "scrap_area_mm2": 72500.0,
                "utilisation": 1440000.0 / 1512500.0,
                "parts_kg": 33.912,
                "scrap_kg": 1.707375,
                # 3 × 2500 along the sheet, 5 × 300 on each of two strips
                "cut_metres": 10.5,
                "strokes": 8,
                "gauge_moves": 4,
                "settings_changes": 1,
                "turns": 1,
                "minutes": 12.0,
                "material_cost": None,
                "time_cost": 12.0,
            },
            "bound": {
                "pieces": 1,
                "area_mm2": 3125000.0,
                "cost": None,
                "gap_pieces": 0,
                "gap_share": 0.0,
                "method": "one piece at least",
            },
            "layouts": [
                {
                    "number": 1,
                    "stock_ref": "SH-A",
                    "material": "S235JR",
                    "thickness_mm": 3.0,
                    "repeat": 1,
                    "tree": tree,
                    "placements": leaves(tree),
                }
            ],
            "program": program,
            "findings": [],
            "unplaced": [],
            "cautions": ["Keep hands away from the blade and the hold-downs."],
            "stopped_early": False,
            # Each side is cut by the back gauge, ±0.1; ISO 2768-1 class m gives 0.8 and 0.5.
            "quality": [quality("length", 600.0, 0.8), quality("width", 300.0, 0.5)],
            "order": {
                "order_ref": "W-1042",
                "units": "mm",
                "machine": MACHINE,
                "materials": [MATERIAL],
                "parts": [
                    {
                        "ref": "P1",
                        "length": 600.0,
                        "width": 300.0,
                        "quantity": 8,
                        "material": "S235JR",
                        "thickness": 3.0,
                        "grain": "any",
                        "tolerance": {"class": "m", "minus": None, "plus": None},
                    }
                ],
                "stock": [
                    {
                        "ref": "SH-A",
                        "length": 2500.0,
                        "width": 1250.0,
                        "quantity": 1,
                        "material": "S235JR",
                        "thickness": 3.0,
                        "kind": "sheet",
                        "edges": "mill",
                        "oversize": 20.0,
                        "price": None,
                        "heat": "H123",
                    }
                ],
                "options": {
                    "objective": "material",
                    "effort": "standard",
                    "max_stages": 3,
                    "trim_mm": 5.0,
                    "offcut_min": [300.0, 200.0],
                    "batch": True,
                },
            },
        }
    )
