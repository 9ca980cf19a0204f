"""Panels of a season in review: how good the forecasts were, and what missed."""

from cropload.beliefs import ranges
from cropload.beliefs.calendar import MOMENTS
from cropload.errors import CroploadError
from cropload.review import charts, tables, words
from cropload.review.panels.season_review import ReviewPanel
from cropload.review.scores import level_scores
from cropload.review.split_miss import split_miss
from cropload.show.panels import parts, saving
from cropload.show.panels.fields import button, choice

#: Moment that a panel opens with: counted, and time left to act.
_FIRST = "clusters"
#: Crops that a figure draws at most: those that weighed most; the table has them all.
MOST_CROPS = 40


def _largest(names, picked):
    """Return the crops to draw, in their own order, and a note where some are not.

    Parameters
    ----------
    names : sequence of str
        Crops.
    picked : mapping
        {name: tonnes} [t].
    """
    names = list(names)
    if len(names) <= MOST_CROPS:
        return names, ""
    kept = set(sorted(names, key=lambda name: -picked[name])[:MOST_CROPS])
    note = parts.note(
        f"The {MOST_CROPS} largest of {len(names)} crops are drawn; the table has them all."
    )
    return [name for name in names if name in kept], note


class MomentPanel(ReviewPanel):
    """A panel that shows one of the moments of the season that can be looked back on."""

    follows_season = True

    def moment_choice(self):
        """Return the dropdown of moments, filled for each season by ``fill_moments``."""
        self._quiet = False
        self.moment = choice("Forecast made", [("before picking", "picking")], width="26em")
        self.moment.observe(lambda _: None if self._quiet else self.refresh(), "value")
        return self.moment

    def fill_moments(self):
        """Give the dropdown the season's moments; the one chosen stays where there is one."""
        days = self.desk.review.days
        options = [(f"{MOMENTS.get(key, key)}, {day:%Y-%m-%d}", key) for key, day in days.items()]
        if list(self.moment.options) == options:
            return
        wanted = self.moment.value if getattr(self, "_filled", False) else _FIRST
        self._quiet = True
        try:
            self.moment.options = options
            self.moment.value = wanted if wanted in days else next(iter(days))
        finally:
            self._quiet = False
        self._filled = True


class ForecastScores(MomentPanel):
    """Scores of every moment's forecast beside a grower's guesses, and the ranges on the scale."""

    title = "How good were the forecasts?"

    def build(self):
        """Make the choosers, the figures and the tables."""
        levels = [("blocks", "block"), ("varieties", "variety"), ("the estate", "estate")]
        self.level = choice("Scored by", levels, width="18em")
        self.level.observe(lambda _: self.refresh(), "value")
        self.answer, self.scores, self.kept = parts.html(), parts.html(), parts.html()
        self.csv_button = button("Export as CSV", lambda: self._export(".csv"), "11em")
        self.excel_button = button("Export as Excel", lambda: self._export(".xlsx"), "11em")
        self.body.children = [
            parts.row(self.level, self.moment_choice()),
            self.answer,
            self.scores,
            parts.row(self.csv_button, self.excel_button),
            self.kept,
        ]

    def show(self):
        """Show the scores and the ranges."""
        self.fill_moments()
        desk, units, level = self.desk, self.desk.units, self.level.value
        reviews = desk.reviews_together()
        scores = level_scores(reviews, level)
        crops = desk.review.frame_by(level)
        crops = crops[crops["moment"] == self.moment.value].reset_index(drop=True)
        row = scores[scores["moment"] == self.moment.value].iloc[0]
        text = '<div role="status">'
        text += parts.note(words.score_sentence(row, scores.seasons)) + "</div>"
        if desk.is_sample:
            text += parts.note(words.INVENTED_NOTE)
        text += parts.head(f"Ranges against the scale, {desk.season}")
        kept, note = _largest(crops["name"], crops.set_index("name")["picked_t"])
        shown = crops[crops["name"].isin(kept)].reset_index(drop=True)
        text += note
        text += parts.picture(charts.scale_rows(shown, units))
        text += tables.crops_table(crops, level).html(units)
        self.answer.value = text
        self.scores.value = self._scores(scores, reviews, units)
        self.kept.value = ""

    def _scores(self, scores, reviews, units):
        seasons = words.season_span(scores.seasons)
        text = parts.head(f"Every moment of the season, {seasons}")
        text += parts.picture(charts.misses_panel(scores.frame))
        text += "".join(table.html(units) for table in scores.tables(units))
        moment = self.moment.value
        if len(reviews) > 1:
            each = [level_scores([review], self.level.value) for review in reviews]
            named = MOMENTS.get(moment, moment)
            text += tables.season_scores_table(each, moment, named).html(units)
        text += parts.points(self.desk.left_out)
        review = self.desk.review
        if len(review.logged):
            text += tables.logged_table(review.logged).html(units)
        text += parts.points(review.notes)
        return text + parts.source("interval.level", f"Why an {ranges.short_label()}")

    def _export(self, suffix):
        def export():
            desk = self.desk
            folder = saving.results_folder(desk.base)
            frame = words.export_crops(desk.review, desk.units)
            stem = f"review_{desk.season}"
            return f"the review is in {saving.save_frame(frame, folder, stem, suffix, 'metric')}."

        parts.tell(self.kept, export)


class WhatMissed(MomentPanel):
    """What made each block's forecast miss, by component, adding up."""

    title = "What missed?"

    def build(self):
        """Make the chooser, the figure and the tables."""
        self._splits = {}
        self.answer = parts.html()
        self.body.children = [self.moment_choice(), self.answer]

    def split(self):
        """Return the split of the chosen moment's miss, made once for each review."""
        review, moment = self.desk.review, self.moment.value
        key = (id(review), moment)
        if key not in self._splits:
            found = split_miss(self.desk.base, review.season, review.forecasts[moment])
            # The review is kept beside it, so that no other one can take its identity.
            self._splits[key] = (found, review)
        return self._splits[key][0]

    def show(self):
        """Show the split of the chosen forecast."""
        self.fill_moments()
        split, review = self.split(), self.desk.review
        if not len(split):
            raise CroploadError(" ".join([split.heading(), *split.notes]))
        crops = review.blocks.drop_duplicates("name").set_index("name")["picked_t"].to_dict()
        text = '<div role="status">'
        text += parts.note(split.heading()) + "</div>"
        kept, note = _largest(split.blocks, crops)
        shown = split[split["block"].isin(kept)]
        text += note + parts.picture(charts.split_rows(shown))
        text += parts.points(words.block_sentence(split, block) for block in kept)
        text += split.table().html()
        text += parts.points([*split.notes, words.SPLIT_NOTE])
        found = review.forecasts[self.moment.value]
        text += parts.head("Where the forecast's figures came from")
        text += parts.points([words.ORIGIN_NOTE, *found.estate.accepted_notes])
        text += (
            '<details class="cl-source"><summary>Block by block</summary>'
            f"{tables.origins_table(found, split.blocks).html()}</details>"
        )
        text += "".join(map(parts.source, split.sources))
        self.answer.value = text
