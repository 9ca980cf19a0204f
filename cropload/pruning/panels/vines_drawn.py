"""The vines of all levels, drawn."""

from cropload.pruning.vine_sketch import sketch_svg
from cropload.show import wording
from cropload.show.desk import Part
from cropload.show.panels import parts


def canopies_of(facts):
    """Return the canopy walls of a row of table blocks [1]; one where none are told."""
    told = facts["canopies"]
    return int(told) if told == told else 1


class VinesDrawn(Part):
    """One vine of each level.

    Parameters
    ----------
    page : PruningLevels
        The page it stands on.
    """

    needs = ("comparison",)

    def __init__(self, page):
        self.page = page
        super().__init__(page.desk)

    def build(self):
        """Make the place of the drawings."""
        self.drawn = parts.html()
        self.body.children = (self.drawn,)

    def show(self):
        """Draw the levels as they stand."""
        page, desk = self.page, self.desk
        if page.comparison is None:
            self.clear()
            return
        pictures = ""
        rows = wording.levels(page.comparison.frame)
        for place, (row, plan, name) in enumerate(
            zip(rows, page.plans, page.names, strict=True), start=1
        ):
            picture = sketch_svg(
                plan,
                row["canopy_length_m"],
                row["shoots_per_m_p50"],
                canopies_of(desk.facts),
                desk.units,
                title=name or f"Level {place}",
            )
            pictures += f"<div>{picture}</div>"
        told = parts.note("Lengths to scale; how much is left, not where to cut.")
        self.drawn.value = f'<div class="cl-sketches">{pictures}</div>' + told

    def clear(self):
        """Take the drawings away."""
        if self.built:
            self.drawn.value = ""
