"""Settings for all tests: Hypothesis runs without a deadline, and repeatably where ``CI`` is set."""

import os

from hypothesis import HealthCheck, settings

settings.register_profile(
    "shearwright",
    deadline=None,
    derandomize=bool(os.environ.get("CI")),
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("shearwright")
