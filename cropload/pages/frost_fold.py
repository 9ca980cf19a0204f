"""The frost of past springs on the pruning page: what each level would have kept."""

from cropload.errors import CroploadError
from cropload.frost import words as frost_words
from cropload.frost.cover import frost_cover
from cropload.show.page_part import PagePart
from cropload.show.panels import parts


class FrostFold(PagePart):
    """What past springs would have left of each level, where weather is on record.

    Parameters
    ----------
    page : PruningLevels
        The page it stands on.
    """

    needs = ("comparison",)

    def build(self):
        """Make the place of the answer."""
        self.answer = parts.html()
        self.body.children = (self.answer,)

    def show(self):
        """Replay the springs for the levels as they stand."""
        page, desk = self.page, self.desk
        if not page.plans:
            self.clear()
            return
        link = '<a href="frost_cover.ipynb">the frost page</a>'
        try:
            replay = frost_cover(
                desk.records,
                desk.block,
                page.plans,
                desk.season,
                reference_plan=page.reference_plan,
                draws=desk.draws,
                seed=desk.seed,
            )
        except CroploadError as fault:
            self.answer.value = parts.note(str(fault)) + f"<p>More on {link}.</p>"
            return
        told = frost_words.year_sentences(replay, desk.units)
        told += [doubt.words(desk.units) for doubt in replay.doubts]
        self.answer.value = parts.points(told) + f"<p>Nights, late cuts and costs: {link}.</p>"

    def clear(self):
        """Take the answer away."""
        if self.built:
            self.answer.value = ""
