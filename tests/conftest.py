"""Settings that every test shares."""

from __future__ import annotations

import os

from hypothesis import settings

# The width of whoever runs the tests is not the width they test.
os.environ.pop("COLUMNS", None)

# A busy machine is slow at times, which is no fault of the code: no time limit per example.
# The same examples on every run, so that a red run can be repeated.
settings.register_profile("quietcool", deadline=None, derandomize=True)
settings.load_profile("quietcool")
