"""Hypothesis without its clock: no test times anything. HYPOTHESIS_PROFILE=long looks further."""

import os

from hypothesis import HealthCheck, settings

SLOW = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much]
settings.register_profile("short", deadline=None, max_examples=100, suppress_health_check=SLOW)
settings.register_profile("long", deadline=None, max_examples=3000, suppress_health_check=SLOW)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "short"))
