"""The vines of all levels, drawn as they are pruned."""

from cropload.pruning.panels.vine_drawing import VineDrawing
from cropload.show.page_part import PagePart


class VinesDrawn(PagePart):
    """One vine of each level, on one scale; a click on a bud sets the number of its level.

    Parameters
    ----------
    page : PruningLevels
        The page it stands on.
    """

    needs = ("comparison",)

    def build(self):
        """Make the drawing."""
        self.drawing = VineDrawing()
        self.drawing.observe(self._clicked, "chosen")
        self.body.children = (self.drawing,)

    def show(self):
        """Draw the levels as they stand."""
        if self.page.comparison is None:
            self.clear()
            return
        self.drawing.show(self.page.comparison, self.page.plans, self.page.names, self.desk)

    def clear(self):
        """Take the drawing away."""
        if self.built:
            self.drawing.html = ""

    def _clicked(self, change):
        chosen = dict(change["new"])
        place = chosen.pop("level", None)
        if place is not None and chosen:
            self.page.set_number(place, **chosen)
