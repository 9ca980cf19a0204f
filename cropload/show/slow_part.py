"""A part whose answer takes a while: it says so on the screen before the work begins."""

from cropload.show.desk import Part
from cropload.show.panels.later import Later


class SlowPart(Part):
    """A part that is greyed and says "working ..." before it is worked out.

    Parameters
    ----------
    desk : Desk
        As for ``Part``.
    wait_s : float
        How long the kernel is left free first, so that the page is there [s].
    """

    def __init__(self, desk, wait_s=0.1):
        self._soon = Later(wait_s)
        super().__init__(desk)

    def follow(self):
        """Show the answer once the screen says that it is being worked out."""
        if not self.hidden:
            self.grey()
            self._soon.call("show", super().follow)
