"""Settings that every test shares."""

import os

from hypothesis import settings

# boinor compiles each of its functions on first use, 10 to 20 s in a fresh process. Interpreted,
# the same source answers in a millisecond. numba reads this once, so it stands before any import.
os.environ.setdefault("NUMBA_DISABLE_JIT", "1")

# The same examples on every run; HYPOTHESIS_PROFILE=explore looks for new ones.
settings.register_profile("repeatable", deadline=None, derandomize=True, database=None)
settings.register_profile("explore", deadline=None, max_examples=2000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "repeatable"))

# simcheck's own pytest plugin would take the case files here for cases to be tested.
collect_ignore_glob = ["*.toml"]
