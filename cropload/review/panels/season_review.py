"""The review page: forecast against scale, what made it miss, and what to change."""

import ipywidgets as widgets

from cropload.beliefs import ranges
from cropload.beliefs.calendar import MOMENTS, forecast_days
from cropload.errors import CroploadError
from cropload.review import charts, words
from cropload.review.accepting import lesson_effect, worth_accepting
from cropload.review.causes import find_causes, why_lines
from cropload.review.learning import learn
from cropload.review.review import review_season
from cropload.review.scores import level_scores
from cropload.review.split_miss import split_miss
from cropload.season.words import moved
from cropload.show import wording
from cropload.show.desk import Fold, Said, folds
from cropload.show.page import Page
from cropload.show.page_part import ANSWER_STYLE, PagePart, SlowPart, side_by_side
from cropload.show.panels import parts
from cropload.show.panels.fields import choice

#: Moment that the page opens with: counted, and time left to act.
_FIRST = "clusters"
#: Crops that a picture draws at most: those that weighed most; the table has them all [1].
MOST_CROPS = 40

_STYLE = """<style>
.cl-causes { list-style: none; padding: 0; margin: 4px 0; }
.cl-causes li { display: flex; gap: 12px; justify-content: space-between; padding: 3px 0;
  border-top: 1px solid #ccc; }
.cl-causes b { white-space: nowrap; }
</style>"""


class SeasonReview(Page):
    """Forecast against scale in a season picked, what made it miss, and what that teaches.

    Parameters
    ----------
    given : Records, str or path, optional
        As for ``Desk``.
    season, units : optional
        What it opens with; the latest season picked, and the units of the records.
    results_folder, draws, seed : optional
        As for ``Page``.

    Attributes
    ----------
    moment : str
        Key of the moment of the season whose forecast is looked at; see ``MOMENTS``.

    Notes
    -----
    Faults are shown as a message in their place; nothing is raised after the page is made.
    Valid as ``review_season`` and ``learn``.
    """

    question = "Who was right, and what should change?"
    choices = ("units",)

    @parts.guarded
    def _choose(self):
        asked, picked = self._asked, self.picked
        wanted, asked["season"] = asked["season"], picked[0] if picked else None
        self.moment, self._accepted = _FIRST, 0
        super()._choose()
        if wanted is not None and int(wanted) not in picked:
            known = f"choose from {picked[-1]} to {picked[0]}" if picked else "none is yet"
            raise CroploadError(f"No harvest of {int(wanted)} is on record; {known}.")
        if wanted is not None:
            self.desk.season = int(wanted)

    @property
    def picked(self):
        """Years of harvest on record, the latest first."""
        return sorted({int(year) for year in self.records.harvest["season"]}, reverse=True)

    def build(self):
        """Return the answer, the picture beside the causes, and the folds."""
        needs = ("season", "units", "moment")
        self.answer = Said(self.desk, self._answer, needs)
        self.answer.add_class("cl-answer-first")
        self.against = AgainstScale(self)
        self.causes, self.worth = Said(self.desk, self._causes, needs), Worth(self)
        self.why = Why(self)
        right = widgets.VBox([self.why, self.causes, self.worth])
        two = side_by_side(self.against, right)
        return [parts.html(ANSWER_STYLE + _STYLE), self.answer, two, folds(*self._folds())]

    def _folds(self):
        return [
            Fold("scores by stage", self._scores),
            Fold("were the ranges right", self._held),
            Fold("what missed by block", self._missed),
            Fold("lessons to accept", self._lessons),
            Fold("did this pruning pay", self._strips),
            Fold("are the vines getting weaker", self._trend),
            Fold("bud fertility", self._fertility),
            Fold("taking care", lambda: [parts.html(parts.note(wording.SUPPORT))]),
        ]

    # What lies in a fold is loaded when it is opened.
    def _scores(self):
        from cropload.review.panels.review_scores import ForecastScores

        return [ForecastScores(self)]

    def _held(self):
        from cropload.review.panels.review_scores import RangesHeld

        return [RangesHeld(self)]

    def _strips(self):
        from cropload.review.panels.review_strips import StripsTried

        return [StripsTried(self)]

    def _missed(self):
        from cropload.review.panels.review_scores import WhatMissed

        return [WhatMissed(self)]

    def _lessons(self):
        from cropload.review.panels.review_lessons import Lessons

        return [Lessons(self)]

    def _trend(self):
        from cropload.review.panels.review_vines import VineTrend

        return [VineTrend(self)]

    def _fertility(self):
        from cropload.review.panels.review_vines import BudFertility

        return [BudFertility(self)]

    def days(self):
        """Return {key of a moment: day} of the season.

        Raises
        ------
        CroploadError
            When no harvest is on record.
        """
        if not self.picked:
            raise CroploadError(
                "No harvest is on record yet, so there is no forecast to score and no miss to "
                "learn from. Fill table harvest with the tonnes of each block."
            )
        return forecast_days(self.records, self.desk.season)

    def _once(self, name, make):
        """Work something out once for the season and the lessons in force."""
        return self.desk.once((name, self._accepted), ("season",), make)

    def review(self):
        """Return the review of the season at the moment chosen, made once."""
        desk, days = self.desk, self.days()
        if self.moment not in days:
            self.moment = next(iter(days))

        def make():
            return review_season(
                desk.records, desk.season, moments=[self.moment], draws=desk.draws, seed=desk.seed
            )

        return self._once(("review", self.moment), make)

    def season_review(self, season):
        """Return the review of a season at every moment, made once."""
        desk = self.desk

        def make():
            return review_season(desk.records, season, draws=desk.draws, seed=desk.seed)

        return self._once(("whole review", season), make)

    def split(self):
        """Return what made the forecast of the moment chosen miss, made once."""
        desk, review = self.desk, self.review()

        def make():
            return split_miss(desk.records, desk.season, review.forecasts[self.moment])

        return self._once(("split", self.moment), make)

    def lessons(self, through):
        """Return the lessons of the seasons up to one, learned once."""
        return self.desk.once(("lessons", through), (), lambda: learn(self.records, through))

    def effect(self, lessons, keys, older=False):
        """Return what accepting some lessons changes in the next forecast, worked out once."""
        desk = self.desk

        def make():
            return lesson_effect(
                desk.records, lessons, keys, draws=desk.draws, seed=desk.seed, older=older
            )

        return self._once(("effect", lessons.through, tuple(sorted(keys)), older), make)

    def accepted(self):
        """Work out again what other lessons in force change."""
        self._accepted += 1
        self.desk.follow("season", "accepted")

    def _estate(self):
        return self.review().frame_by("estate").iloc[0]

    def _answer(self):
        review, units = self.review(), self.desk.units
        row = self._estate()
        middle = wording.amount("tonnes", row["tonnes_p50"], units)
        ends = wording.span("tonnes", row["tonnes_p10"], row["tonnes_p90"], units)
        scale = wording.amount("tonnes", row["picked_t"], units)
        scores = level_scores([review]).frame.iloc[0]
        told = words.who_was_right(row, scores, review.days[self.moment])
        return (
            '<p class="cl-number">'
            f"<span>{middle} <small>forecast ({ends}; {ranges.often()})</small></span> "
            f"<span>{scale} <small>came over the scale</small></span></p>"
            f'<p class="cl-matters" role="status">{parts.escape(told)}</p>'
        )

    def _causes(self):
        split, units = self.split(), self.desk.units
        if not len(split):
            return parts.note(" ".join([split.heading(), *split.notes]))
        lines = words.cause_lines(split, float(self._estate()["error_t"]))
        items = "".join(
            f"<li><span>{parts.escape(cause)}</span> <b>{moved(tonnes, units)}</b></li>"
            for cause, tonnes in lines
        )
        return (
            _head("What made it miss (above 0: forecast too high)")
            + f'<ul class="cl-causes">{items}</ul>'
        )


class AgainstScale(PagePart):
    """Which season and which forecast, and its ranges against the scale, crop by crop."""

    needs = ("season", "units", "moment")

    def build(self):
        """Make the choices and the picture."""
        picked = self.page.picked
        self.season = choice("Harvest", picked or [("none picked yet", 0)], width="auto")
        self.moment = choice("Forecast made", [("", "")], width="24em")
        self.picture = parts.html()
        self.told, self._filling = (self.picture,), False
        self.season.observe(self._other_season, "value")
        self.moment.observe(self._other_moment, "value")
        self.body.children = (parts.row(self.season, self.moment), self.picture)

    def _other_season(self, change):
        if not self._filling:
            self.desk.season = change["new"]

    def _other_moment(self, change):
        if not self._filling and change["new"]:
            self.page.moment = change["new"]
            self.desk.follow("moment")

    def show(self):
        """Draw the crops of the forecast chosen."""
        days, review = self.page.days(), self.page.review()
        self._filling = True
        try:
            self.season.options = self.page.picked
            self.season.value = self.desk.season
            self.moment.options = [
                (f"{MOMENTS.get(key, key)}, {day:%Y-%m-%d}", key) for key, day in days.items()
            ]
            self.moment.value = self.page.moment
        finally:
            self._filling = False
        crops = review.frame_by("block")
        kept, note = largest(crops["name"], crops.set_index("name")["picked_t"])
        drawn = charts.scale_rows(crops[crops["name"].isin(kept)], self.desk.units)
        self.picture.value = parts.fitting_picture(drawn) + note


class Why(SlowPart):
    """What caused the season's misses, by all seasons: a line a cause."""

    needs = ("season",)
    wait_s = 0.5

    def build(self):
        """Make the place of the lines."""
        self.lines = parts.html()
        self.told = (self.lines,)
        self.body.children = (self.lines,)

    def grey(self):
        """Take the lines away at once: beside another season's figures they would be wrong."""
        super().grey()
        self.clear()

    def show(self):
        """Say what was found."""
        self.page.days()
        desk = self.desk

        def make():
            return find_causes(desk.records, desk.season)

        found = desk.once(("causes", desk.season), ("season",), make)
        self.lines.value = _head("Why") + parts.points(why_lines(found, desk.season))


class Worth(SlowPart):
    """What accepting the new lessons would change, worked out once the page is there."""

    needs = ("accepted",)
    wait_s = 1.5

    def build(self):
        """Make the place of the line."""
        self.line = parts.html()
        self.told = (self.line,)
        self.body.children = (self.line,)

    def show(self):
        """Say what the new lessons of all seasons are worth."""
        self.page.days()
        lessons = self.page.lessons(None)
        keys = worth_accepting(lessons)
        text = _head("What should change")
        if keys:
            effect = self.page.effect(lessons, keys)
            text += parts.note(effect.heading())
        else:
            text += parts.note("No lesson is new: what the seasons taught is in force already.")
        self.line.value = text


def _head(text):
    """Return a heading under the page's question as HTML."""
    return f'<h2 class="cl-head">{parts.escape(text)}</h2>'


def largest(names, picked):
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
