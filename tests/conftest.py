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


#: Rooms whose tests are quick, and the modules of them that are not.
FAST_ROOMS = {"beliefs", "vine", "show", "published", "records"}
NOT_FAST = {"test_kills.py", "test_dialects.py", "test_theirs.py"}


def pytest_collection_modifyitems(items):
    """Mark the quick tests, and leave browser tests for the end: their loop runs on."""
    for item in items:
        rooms = FAST_ROOMS & set(item.path.parts)
        slow = item.get_closest_marker("simulation") or item.get_closest_marker("browser")
        if rooms and "tests" in item.path.parts and not slow and item.path.name not in NOT_FAST:
            item.add_marker("fast")
    items.sort(key=lambda item: item.get_closest_marker("browser") is not None)
