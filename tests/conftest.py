"""What all tests share: property tests that give the same result on every machine and day."""

import gc
import os
import tempfile

# Matrices here are small: threads that wait for each other cost more than they bring on a busy
# machine. Set before numpy is loaded.
for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")
# Programs that tests start compile the package once, and not each anew.
if os.environ.pop("PYTHONDONTWRITEBYTECODE", None):
    os.environ["PYTHONPYCACHEPREFIX"] = os.path.join(tempfile.gettempdir(), "cropload_bytecode")

import length  # noqa: E402
from hypothesis import settings  # noqa: E402

# No deadline, because a busy machine is not a fault; the same examples in every run.
settings.register_profile("repeatable", deadline=None, derandomize=True)
settings.load_profile("repeatable")


#: Rooms whose tests are quick, and the modules of them that are not.
FAST_ROOMS = {"beliefs", "vine", "show", "published", "records"}
NOT_FAST = {"test_kills.py", "test_theirs.py"}


def pytest_addoption(parser):
    parser.addoption("--long", action="store_true", help="run tests marked long in whole")


def pytest_configure(config):
    """Say how long the long tests are, and have workers take files in the order given below."""
    length.whole = config.getoption("--long")
    config.option.loadscopereorder = False


def pytest_collection_modifyitems(items):
    """Mark the quick tests; simulations go first, that no worker ends on one.

    Browser tests go last: their loop runs on.
    """
    for item in items:
        rooms = FAST_ROOMS & set(item.path.parts)
        slow = any(map(item.get_closest_marker, ("long", "simulation", "browser")))
        if rooms and "tests" in item.path.parts and not slow and item.path.name not in NOT_FAST:
            item.add_marker("fast")

    def turn(item):
        browser, simulation = map(item.get_closest_marker, ("browser", "simulation"))
        return browser is not None, simulation is None

    items.sort(key=turn)


def pytest_collection_finish():
    """Leave out of every later search for garbage what was collected, which stays to the end."""
    gc.freeze()
