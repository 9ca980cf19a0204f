"""Parts that know their page, those whose answer takes a while, and how an answer is laid out."""

from cropload.show.desk import Part
from cropload.show.panels import parts
from cropload.show.panels.later import Later

#: Style of an answer in large figures, and of a picture beside what moves it.
ANSWER_STYLE = """<style>
.cl-two { align-items: flex-start !important; gap: 0 24px; }
.cl-two > * { min-width: 0; margin: 0; }
.cl-two > .cl-left-side { flex: 1 1 560px; max-width: 720px; }
.cl-two > .cl-right-side { flex: 1 1 340px; }
.cl-number { font-size: 1.9em; font-weight: bold; margin: 0; line-height: 1.2; }
.cl-number span { display: inline-block; }
.cl-number small { font-size: 0.55em; font-weight: normal; }
</style>"""


def side_by_side(left, right):
    """Return a picture and what stands beside it, one under the other on a narrow screen."""
    left.add_class("cl-left-side")
    right.add_class("cl-right-side")
    both = parts.row(left, right)
    both.add_class("cl-two")
    return both


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
