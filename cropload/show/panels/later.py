"""Work of a panel that can wait: words answer at once, pictures follow when the kernel is free."""

import asyncio

#: How long a picture waits for a further change [s].
_WAIT_S = 0.05

#: How long a slider rests before its result is worked out [s].
REST_S = 0.2

#: How long a button waits, so that moves the browser still holds back come before it [s].
BUTTON_S = 0.3


class Later:
    """Call something when the kernel has a moment; a newer call takes the place of one waiting.

    Without a running kernel (a script, a test) it is called at once.

    Parameters
    ----------
    wait_s : float
        How long a call waits for a newer one [s].
    """

    def __init__(self, wait_s=_WAIT_S):
        self._wait_s, self._waiting, self._actions = wait_s, {}, {}

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
        self._actions[name] = action
        self._waiting[name] = loop.call_later(self._wait_s, self._run, name)

    def _run(self, name):
        self._waiting.pop(name, None)
        self._actions.pop(name)()

    def now(self):
        """Do at once what waits."""
        for name in list(self._waiting):
            self._waiting[name].cancel()
            self._run(name)

    def drop(self):
        """Drop everything that waits."""
        for waiting in self._waiting.values():
            waiting.cancel()
        self._waiting, self._actions = {}, {}
