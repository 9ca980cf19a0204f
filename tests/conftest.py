"""What all tests share: property tests that give the same result on every machine and day."""

import os

# Matrices here are small: threads that wait for each other cost more than they bring on a busy
# machine. Set before numpy is loaded.
for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

from hypothesis import settings  # noqa: E402

# No deadline, because a busy machine is not a fault; the same examples in every run.
settings.register_profile("repeatable", deadline=None, derandomize=True)
settings.load_profile("repeatable")


def pytest_collection_modifyitems(items):
    """Leave browser tests for the end: the loop they start runs on in their process."""
    items.sort(key=lambda item: item.get_closest_marker("browser") is not None)
