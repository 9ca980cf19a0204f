"""Runs killed at every step, and eight at once: nothing is lost, nothing told that is not so."""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from length import repeats

import cropload

pytestmark = pytest.mark.skipif(os.name == "nt", reason="needs processes that fork")
PROGRAM = Path(__file__).with_name("run_and_kill.py")
#: A folder in memory, where there is one: kills do not depend on the disk, and waiting on it does.
MEMORY = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None


def ran(*what):
    paths = [str(Path(cropload.__file__).parents[1]), os.environ.get("PYTHONPATH", "")]
    env = os.environ | {"PYTHONPATH": os.pathsep.join(paths), "OPENBLAS_NUM_THREADS": "1"}
    with tempfile.TemporaryDirectory(dir=MEMORY) as folder:
        done = subprocess.run(
            [sys.executable, PROGRAM, *what, folder], env=env, capture_output=True, text=True
        )
    assert done.returncode == 0, done.stderr[-3000:]
    return int(done.stdout)


@pytest.mark.parametrize("write", ["rows", "log", "replaced", "several"])
def test_a_run_killed_at_any_step_leaves_the_old_or_the_new(write):
    # Fewer kills than this would mean that the steps are no longer seen.
    assert ran(write) >= 20


@pytest.mark.long
def test_eight_runs_that_add_500_lines_each_lose_none():
    """In the short form 100 lines each: the eight still wait for one another at every line."""
    each = repeats(500, 5)
    assert ran("crowd", str(each)) == 8 * each
