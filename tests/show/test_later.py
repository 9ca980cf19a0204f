"""Work of a panel that can wait: at once in a script, the newest alone in a running kernel."""

import asyncio
from concurrent.futures import ThreadPoolExecutor

from cropload.show.panels.later import Later


def apart(work):
    """Run in a thread of its own, because a browser test may have left a loop running in this."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(work).result()


def test_without_a_running_kernel_it_is_done_at_once():
    done = []
    apart(lambda: Later().call("picture", lambda: done.append(1)))
    assert done == [1]


def test_in_a_running_kernel_a_newer_call_takes_the_place_of_one_that_waits():
    done = []

    async def changes():
        later = Later()
        for number in (1, 2, 3):
            later.call("picture", lambda number=number: done.append(number))
        later.call("table", lambda: done.append("table"))
        # Nothing is done before whoever called has been answered.
        assert done == []
        while len(done) < 2:
            await asyncio.sleep(0.01)

    apart(lambda: asyncio.run(changes()))
    assert done == [3, "table"]


def test_what_waits_can_be_dropped():
    done = []

    async def changes():
        later = Later()
        later.call("picture", lambda: done.append(1))
        later.drop()
        later.call("table", lambda: done.append("table"))
        while not done:
            await asyncio.sleep(0.01)

    apart(lambda: asyncio.run(changes()))
    assert done == ["table"]
