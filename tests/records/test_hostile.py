"""Whatever a file holds, it is read, or refused in words: no input ends in a traceback."""

import pytest

from tests.records.hostile import run

#: Four parts, so that two workers share them [1].
PARTS, COUNT = 4, 2000


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("part", range(PARTS))
def test_hostile_inputs_are_read_or_refused(part):
    assert run(f"18 {part}", COUNT // PARTS) == {}
