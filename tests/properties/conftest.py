"""Profiles of hypothesis: `ci` draws the same examples each time, `more` looks further by hand."""

import os
import sys
import tempfile
from pathlib import Path

from hypothesis import HealthCheck, Phase, configuration, settings

sys.path.insert(0, str(Path(__file__).parent))

# nothing is kept between runs: an example that failed belongs into a test of its own
configuration.set_hypothesis_home_dir(Path(tempfile.gettempdir()) / "dutylife-hypothesis")
_COMMON = {
    "deadline": None, "database": None,
    "suppress_health_check": [HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
}  # fmt: skip
# a smaller failing example is worth minutes by hand, not in CI
settings.register_profile(
    "ci", derandomize=True, max_examples=12, phases=(Phase.explicit, Phase.generate), **_COMMON
)
settings.register_profile("more", max_examples=400, **_COMMON)
settings.load_profile(os.environ.get("DUTYLIFE_PROPERTIES", "ci"))
