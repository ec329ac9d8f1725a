"""The layouts kept are the same on every processor."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]

KEPT = """
import hashlib
import numpy as np
from service.engine.layout.limited import _kept
numbers = np.random.default_rng(1)
gains, uses = numbers.integers(0, 6, size=(200, 50)), numbers.integers(0, 5, size=(200, 50, 1))
print(hashlib.sha256(b"".join(np.ascontiguousarray(a).tobytes() for a in _kept(gains, uses, 4))).hexdigest())
"""


@pytest.mark.parametrize("lacks", ["AVX512_SKX X86_V4", "AVX2 AVX512F AVX512_SKX X86_V3 X86_V4"])
def test_which_of_equal_layouts_are_kept_does_not_depend_on_the_processor(lacks: str) -> None:
    """NumPy picks its loops by the processor: a partition of equal worths fell differently by them."""
    told = [
        subprocess.run(
            [sys.executable, "-c", KEPT],
            capture_output=True,
            text=True,
            check=True,
            cwd=ROOT,
            env={**os.environ, "NPY_DISABLE_CPU_FEATURES": names},
        ).stdout
        for names in ("", lacks)
    ]
    assert told[0] == told[1]
