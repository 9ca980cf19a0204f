"""Parts that know their page, and those whose answer takes a while."""

from cropload.show.desk import Part
from cropload.show.panels.later import Later


class PagePart(Part):
    """A part that knows the page it stands on.

    Parameters
    ----------
    page : Page
        With its desk.

    Attributes
    ----------
    told : iterable of HTML
        What is taken away when it no longer belongs; set in ``build``.
    """

    def __init__(self, page):
        self.page, self.told = page, ()
        super().__init__(page.desk)

    def follows(self, *fields):
        """Have the answer follow fields of its own."""
        for each in fields:
            each.observe(lambda _: self.follow(), "value")

    def clear(self):
        """Take away what stands in ``told``."""
        for each in self.told:
            each.value = ""


class SlowPart(PagePart):
    """A part that is greyed and says "working ..." before it is worked out."""

    #: How long the kernel is left free first, so that the screen is there [s].
    wait_s = 0.1

    def __init__(self, page):
        self._soon = Later(self.wait_s)
        super().__init__(page)

    def follow(self):
        """Show the answer once the screen says that it is being worked out."""
        if not self.hidden:
            self.grey()
            self._soon.call("show", super().follow)
