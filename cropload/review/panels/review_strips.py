"""Fold of the review page: what plans brought in strips of a block."""

from cropload.review.strip_words import strip_rows
from cropload.review.strips import strip_trial, trial_blocks
from cropload.show.page_part import SlowPart
from cropload.show.panels import parts
from cropload.show.panels.fields import choice


class StripsTried(SlowPart):
    """Did this pruning pay: plans beside each other in strips of rows, over all their seasons."""

    needs = ("units",)

    def build(self):
        """Make the choice of the block, the hour's price and the place of the answer."""
        blocks = trial_blocks(self.desk.records)
        self.block = choice("Block", [(name, name) for name in blocks] or [("none tried", "")])
        self.hour = parts.number_box("An hour of work costs", 0.0, step=1.0)
        self.follows(self.block, self.hour)
        self.answer = parts.html()
        self.told = (self.answer,)
        self.body.children = (parts.row(self.block, self.hour), self.answer)

    def show(self):
        """Compare the plans in the block chosen."""
        desk = self.desk
        if not self.block.value:
            self.answer.value = parts.note(
                "No block has strips with different plans yet. Leave some rows another plan, best "
                "in pairs side by side, weigh each strip apart, and fill table strips."
            )
            return
        hour = self.hour.value or None
        trial = strip_trial(desk.records, self.block.value, hour_price=hour)
        text = f'<p class="cl-matters" role="status">{parts.escape(trial.heading(desk.units))}</p>'
        text += parts.readable_picture(strip_rows(trial, desk.units))
        text += "".join(table.html(desk.units) for table in trial.tables(desk.units))
        text += parts.points(trial.notes)
        self.answer.value = text + "".join(map(parts.source, trial.sources))
