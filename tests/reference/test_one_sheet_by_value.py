"""One sheet filled by value with limited copies, against the literature, on an ideal shear.

Instances and values, each with its source: `tests/reference/instances/one_sheet_limited.json`.
"""

from __future__ import annotations

import pytest

from tests.benchmarks.layouts import ANY_STAGES, read, run
from tests.reference.published import HERE


@pytest.mark.parametrize(
    "name", ["cgcut1", "cgcut3", "wang20", "OF1", "2", "A2", "A3", "A5", "CHL7", "CU2", "okp2", "okp3", "A1s"]
)
def test_the_published_optimum_is_cut_and_proved(name: str) -> None:
    (instance,) = [one for one in read(HERE / "one_sheet_limited.json", rotate=False) if one.name == name]
    row = run(instance, "standard", False, ANY_STAGES)
    assert row.got == row.bound == instance.known
    assert not row.cut_short
