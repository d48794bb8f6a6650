"""Settings of every test: hypothesis without deadlines, for time is measured in tests/benchmarks."""

import os

from hypothesis import HealthCheck, settings

# A slow machine is not a wrong answer; a fixed seed in CI makes a red run repeatable.
settings.register_profile("default", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("ci", parent=settings.get_profile("default"), derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "default")
