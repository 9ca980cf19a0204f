"""Folds of the review page: scores at every moment of the season, and what missed by block."""

from cropload.beliefs import ranges
from cropload.beliefs.calendar import MOMENTS
from cropload.errors import CroploadError
from cropload.review import charts, tables, words
from cropload.review.panels.season_review import largest
from cropload.review.scores import inside_counts, level_scores
from cropload.show.hand_out import HandOut
from cropload.show.page_part import PagePart, SlowPart
from cropload.show.panels import parts
from cropload.show.panels.fields import choice

#: How many seasons are scored together, the chosen one being the last.
ALONE, THREE, ALL = 1, 3, 10_000


def scored(page, years):
    """Return the reviews of some seasons, earliest first, and why some are not scored.

    Raises
    ------
    CroploadError
        When the first of them cannot be.
    """
    found, left_out = [page.season_review(years[0])], []
    for year in years[1:]:
        try:
            found.append(page.season_review(year))
        except CroploadError as fault:
            left_out.append(f"{year} is not scored: {fault}")
    return found[::-1], left_out


class RangesHeld(SlowPart):
    """Whether ranges held as often as they say, over all scored seasons."""

    needs = ("accepted",)

    def build(self):
        """Make the place of the answer."""
        self.answer = parts.html()
        self.told = (self.answer,)
        self.body.children = (self.answer,)

    def show(self):
        """Show how many crops came inside, by season and stage."""
        self.page.days()
        reviews, left_out = scored(self.page, self.page.picked)
        counts = inside_counts(reviews)
        text = parts.note(words.inside_sentence(counts))
        text += parts.readable_picture(charts.inside_rows(counts))
        text += tables.inside_table(counts).html() + parts.points(left_out)
        self.answer.value = text + parts.source("interval.level", f"Why an {ranges.short_label()}")


class ForecastScores(SlowPart):
    """Scores of every moment's forecast beside a grower's guesses, and the crops in numbers."""

    needs = ("season", "units", "moment", "accepted")

    def build(self):
        """Make the choosers, the tables and what is handed out."""
        levels = [("blocks", "block"), ("varieties", "variety"), ("the estate", "estate")]
        if (self.desk.records.blocks["grower"] != "").any():
            levels.insert(2, ("growers", "grower"))
        self.level = choice("Scored by", levels, width="18em")
        spans = [("this season alone", ALONE), ("with the two before", THREE), ("with all", ALL)]
        self.together = choice("Scored", spans, ALONE, "17em")
        self.follows(self.level, self.together)
        self.answer, self.scores = self.told = [parts.html(), parts.html()]
        self.kept = parts.html()
        self.files = [
            HandOut(f"the review as {name}", lambda end=end: self._file(end), self._tell)
            for end, name in ((".csv", "CSV"), (".xlsx", "Excel"))
        ]
        self.body.children = (
            parts.row(self.level, self.together),
            self.answer,
            self.scores,
            parts.row(*self.files),
            self.kept,
        )

    def reviews(self):
        """Return the reviews that are scored together, earliest first, and why some are not."""
        season = self.desk.season
        years = [year for year in self.page.picked if year <= season][: self.together.value]
        return scored(self.page, years)

    def show(self):
        """Show the scores."""
        page, units, level = self.page, self.desk.units, self.level.value
        page.review()
        reviews, left_out = self.reviews()
        review, moment = reviews[-1], page.moment
        scores = level_scores(reviews, level)
        crops = review.frame_by(level)
        crops = crops[crops["moment"] == moment].reset_index(drop=True)
        row = scores[scores["moment"] == moment].iloc[0]
        text = parts.note(words.score_sentence(row, scores.seasons))
        if self.desk.is_sample:
            text += parts.note(words.INVENTED_NOTE)
        self.answer.value = text + tables.crops_table(crops, level).html(units)
        text = parts.head(f"Every moment of the season, {words.season_span(scores.seasons)}")
        text += parts.readable_picture(charts.misses_panel(scores.frame))
        text += "".join(table.html(units) for table in scores.tables(units))
        if len(reviews) > 1:
            each = [level_scores([one], level) for one in reviews]
            named = MOMENTS.get(moment, moment)
            text += tables.season_scores_table(each, moment, named).html(units)
        text += parts.points(left_out)
        if len(review.logged):
            text += tables.logged_table(review.logged).html(units)
        text += parts.points(review.notes)
        self.scores.value = text + parts.source("interval.level", f"Why an {ranges.short_label()}")
        self.kept.value = ""

    def _file(self, ending):
        from cropload.records.writing.results import frame_result

        season = self.desk.season
        frame = words.export_crops(self.page.season_review(season), self.desk.units)
        name = f"review_{season}{ending}"
        return name, frame_result(name, frame).data

    def _tell(self, text):
        self.kept.value = parts.error(text) if text else ""


class WhatMissed(PagePart):
    """What made each block's forecast miss, by component, adding up."""

    needs = ("season", "units", "moment", "accepted")

    def build(self):
        """Make the place of the answer."""
        self.answer = parts.html()
        self.told = (self.answer,)
        self.body.children = (self.answer,)

    def show(self):
        """Show the split of the chosen forecast."""
        split, review = self.page.split(), self.page.review()
        if not len(split):
            raise CroploadError(" ".join([split.heading(), *split.notes]))
        crops = review.blocks.drop_duplicates("name").set_index("name")["picked_t"].to_dict()
        kept, note = largest(split.blocks, crops)
        shown = split[split["block"].isin(kept)]
        text = parts.note(split.heading()) + note
        text += parts.readable_picture(charts.split_rows(shown))
        text += parts.points(words.block_sentence(split, block) for block in kept)
        text += split.table().html()
        text += parts.points([*split.notes, words.SPLIT_NOTE])
        found = review.forecasts[self.page.moment]
        text += parts.head("Where the forecast's figures came from")
        text += parts.points([words.ORIGIN_NOTE, *found.estate.accepted_notes])
        text += (
            '<details class="cl-source"><summary>Block by block</summary>'
            f"{tables.origins_table(found, split.blocks).html()}</details>"
        )
        self.answer.value = text + "".join(map(parts.source, split.sources))
