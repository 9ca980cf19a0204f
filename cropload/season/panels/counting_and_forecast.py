"""The season page: what will hang, its range, and what to count next to narrow it."""

from cropload import clock
from cropload.beliefs import ranges
from cropload.beliefs.forecast import forecast
from cropload.beliefs.history import learned_before
from cropload.beliefs.meant import load_first
from cropload.clock import day as read_day
from cropload.season.due import due
from cropload.season.next_counts import next_counts
from cropload.season.panels.entered_counts import EnteredCounts
from cropload.season.panels.season_fan import SeasonFan
from cropload.season.panels.what_next import WhatNext
from cropload.season.season_days import opening_day, opening_season
from cropload.season.words import matters_now, total_words
from cropload.show import wording
from cropload.show.desk import Fold, Said, folds
from cropload.show.page import Page
from cropload.show.page_part import ANSWER_STYLE, side_by_side
from cropload.show.panels import parts

_STYLE = """<style>
.cl-next .widget-button { width: 100%; height: auto; min-height: 30px; white-space: normal;
  text-align: left; line-height: 1.3; padding: 4px 10px; margin: 2px 0; }
</style>"""


class CountingAndForecast(Page):
    """What will hang in a season, with its range, and what should be counted next.

    Parameters
    ----------
    given : Records, str or path, optional
        As for ``Desk``.
    season, as_of, units : optional
        What it opens with; the latest season counted in, in one already picked the day its
        clusters had been counted, and the units of the records when left out.
    results_folder, draws, seed : optional
        As for ``Page``.

    Attributes
    ----------
    entered : EnteredCounts
        Counts entered and not saved yet.
    total : (str, str)
        What is summed: ``("estate", "estate")``, or a variety or block by name.

    Notes
    -----
    Faults are shown as a message in their place; nothing is raised after the page is made.
    Valid as ``forecast``.
    """

    question = "What will hang, and what should be counted next?"
    choices = ("season", "day", "units")

    @parts.guarded
    def _choose(self):
        records, asked = self.desk.records, self._asked
        if asked["season"] is None:
            asked["season"] = opening_season(records)
        if asked["as_of"] is None:
            asked["as_of"] = opening_day(records, int(asked["season"]))
        self.desk.observe(self._other_season, "season")
        super()._choose()

    def _other_season(self, change):
        """Look at another season from the day it opens with."""
        self.desk.as_of = opening_day(self.desk.records, change["new"])

    def build(self):
        """Return the answer, the picture beside what to count, and the folds."""
        self.entered, self.total = EnteredCounts(self.desk), ("estate", "estate")
        self.answer = Said(self.desk, self._answer, (*SeasonFan.needs, "hours"))
        self.answer.add_class("cl-answer-first")
        self.fan, self.next = SeasonFan(self), WhatNext(self)
        two = side_by_side(self.fan, self.next)
        return [parts.html(ANSWER_STYLE + _STYLE), self.answer, two, folds(*self._folds())]

    @property
    def now(self):
        """The records with what was entered."""
        return self.entered.records

    def forecast(self):
        """Return the forecast of the season as of the day chosen."""
        return self.forecast_on(self.desk.as_of)

    def forecast_on(self, day):
        """Return the forecast of the season as of a day, made once for what is known now."""
        desk = self.desk

        def make():
            # A day before the year of harvest saw less of the seasons before.
            early = day is not None and read_day(day).year < desk.season
            learned = None if early else self._learned()
            return forecast(
                self.now, desk.season, day, draws=desk.draws, seed=desk.seed, learned=learned
            )

        # A count entered leaves the forecasts of days before it as they are.
        return desk.once(("forecast", self.entered.until(read_day(day)), day), ("season",), make)

    def _learned(self):
        """Return the spreads learnt from earlier seasons; what is entered does not speak there."""
        desk = self.desk
        return desk.once("learned", ("season",), lambda: learned_before(desk.records, desk.season))

    def _whole(self):
        """Return the total that counts can narrow: of a block, that of its variety."""
        (by, name), found = self.total, self.forecast()
        return found.varieties[found.blocks.index(name)] if by == "block" else name

    def counts(self):
        """Return what to count next for the total, each of three things in a third of the hours."""
        hours = self.next.hours.value / 3 if self.next.built else WhatNext.HOURS / 3
        return next_counts(self.forecast(), hours=hours, of=self._whole())

    def due(self):
        """Return what is due on the day chosen, today when none is, for the hours there are."""
        desk, hours = self.desk, self.next.hours.value if self.next.built else WhatNext.HOURS
        day = read_day(desk.as_of or clock.today())

        def make():
            return due(self.now, day, hours=hours, of=of, made=self.forecast())

        of = self._whole()
        return desk.once(("due", self.entered.version, day, hours, of), ("season",), make)

    def _answer(self):
        found, units = self.forecast(), self.desk.units
        by, name = self.total
        totals = found.frame_by(by)
        row = totals[totals[by] == name].iloc[0]
        middle = wording.amount("tonnes", row["tonnes_p50"], units)
        low, high = (row[f"tonnes_{end}"] for end in (ranges.ENDINGS[0], ranges.ENDINGS[2]))
        ends = wording.span("tonnes", low, high, units)
        load, _ = load_first(found.notes)
        told, of = matters_now(found, by, name), wording.capital(total_words(by, name))
        return (
            f'<p class="cl-number">{middle} <small>({ends}; {ranges.often()}) '
            f"{parts.escape(of)}, harvest {found.season}</small></p>"
            f'<p class="cl-matters" role="status">{parts.escape(told)}</p>'
            + "".join(map(parts.note, load))
        )

    def _folds(self):
        return [
            Fold("blocks now", self._blocks),
            Fold("what changed since", self._changed),
            Fold("everything worth counting", self._ranking),
            Fold("count sheets", self._sheets),
            Fold("correct what was saved", self._correcting),
            Fold("crew check", self._crew),
            Fold("thinning", self._thinning),
            Fold("frost, hail and other losses", self._events),
            Fold("keep this forecast", self._kept),
            Fold("how far off at each stage", self._errors),
            Fold("where the numbers come from", self._sources),
            Fold("taking care", lambda: [parts.html(_cautions())]),
        ]

    # What lies in a fold is loaded when it is opened.
    def _blocks(self):
        from cropload.season.panels.season_forecast import BlocksNow

        return [BlocksNow(self)]

    def _changed(self):
        from cropload.season.panels.season_forecast import WhatChanged

        return [WhatChanged(self)]

    def _ranking(self):
        from cropload.season.panels.worth_counting import WorthCounting

        return [WorthCounting(self)]

    def _sheets(self):
        from cropload.season.panels.count_sheets import CountSheets

        return [CountSheets(self)]

    def _correcting(self):
        from cropload.season.panels.correcting import Correcting

        return [Correcting(self)]

    def _crew(self):
        from cropload.season.panels.crew import CrewPart

        return [CrewPart(self)]

    def _thinning(self):
        from cropload.season.panels.thinning import ThinningPart

        return [ThinningPart(self)]

    def _events(self):
        from cropload.season.panels.events import EventsPart

        return [EventsPart(self)]

    def _kept(self):
        from cropload.season.panels.season_log import KeptForecasts

        return [KeptForecasts(self)]

    def _errors(self):
        from cropload.season.panels.season_log import StageErrors

        return [StageErrors(self)]

    def _sources(self):
        from cropload.season.panels.season_forecast import WhereFrom

        return [WhereFrom(self)]


def _cautions():
    from cropload.season.count_sheet import CAUTIONS

    return f'<div class="cl-care">{parts.points(CAUTIONS)}{parts.note(wording.SUPPORT)}</div>'
