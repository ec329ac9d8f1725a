"""Changes are told in words and figures, never as a count of what nobody sees."""

import pytest

from client.changes import changed_fields


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        ({"used_m": [60.12, 0, 0, 0]}, {"used_m": [63.4, 0, 0, 0]}, ["use of edge 1: 60.12 → 63.4 m"]),
        ({"edge": 1}, {"edge": 2}, ["edge 1 → 2"]),
        (
            {"steps": [{"gauge_mm": 300, "repeat": 1}, {"gauge_mm": 200, "repeat": 1}]},
            {"steps": [{"gauge_mm": 300, "repeat": 1}, {"gauge_mm": 210, "repeat": 2}]},
            ["step 2: gauge 200 → 210 mm", "step 2: repeat 1 → 2"],
        ),
        ({"steps": [{"gauge_mm": 1}]}, {"steps": [{"gauge_mm": 1}, {"gauge_mm": 2}]},
         ["step: 1 entry → 2 entries"]),
        ({"names": ["a", "b"]}, {"names": ["b", "c"]}, ["names: now without a and with c"]),
        ({"names": ["a", "b"]}, {"names": ["b", "a"]}, ["names: now in another order"]),
        ({"rake": {"low_deg": 1.5}}, {"rake": {"low_deg": 2}}, ["rake low 1.5 → 2°"]),
        ({"relief": True}, {"relief": False}, ["relief yes → no"]),
        ({"front_stops": None}, {"front_stops": {"low_mm": 50}}, ["front stops none → low 50"]),
        ({"table": [1, 2, 3, 4, 5, 6]}, {"table": [2, 3, 4, 5, 6, 7]}, ["table: 6 of 6 differ"]),
        ({"edge_since": None}, {"edge_since": "2026-11-25T23:57:57.962846+01:00"},
         ["edge since none → 2026-11-25 22:57 UTC"]),
        ({"edge_since": "2026-11-24T08:00:00Z"}, {"edge_since": "2026-11-25T22:57:57+00:00"},
         ["edge since 2026-11-24 08:00 UTC → 2026-11-25 22:57 UTC"]),
        ({"name": "2026-13-40T25:99:00Z x"}, {"name": "b"}, ["name 2026-13-40T25:99:00Z x → b"]),
        ({"revision": 1}, {"revision": 2}, []),
        ({"a": 1}, {"a": 1, "b": None}, []),
    ],
)  # fmt: skip
def test_what_changed_is_told_in_words(before, after, told):
    assert list(changed_fields(before, after)) == told
