"""Work of a panel that can wait: words answer at once, pictures follow when the kernel is free."""

import asyncio

#: How long a picture waits for a further change [s].
_WAIT_S = 0.05


class Later:
    """Call something when the kernel has a moment; a newer call takes the place of one waiting.

    Without a running kernel (a script, a test) it is called at once.
    """

    def __init__(self):
        self._waiting = {}

    def call(self, name, action):
        """Have ``action()`` called; an earlier one of the same name that still waits is dropped."""
        waiting = self._waiting.pop(name, None)
        if waiting is not None:
            waiting.cancel()
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            action()
            return
        self._waiting[name] = loop.call_later(_WAIT_S, self._run, name, action)

    def _run(self, name, action):
        self._waiting.pop(name, None)
        action()

    def drop(self):
        """Drop everything that waits."""
        for waiting in self._waiting.values():
            waiting.cancel()
        self._waiting = {}
