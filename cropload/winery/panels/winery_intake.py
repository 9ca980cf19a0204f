"""The winery page: weeks against limits, what has no place, contracts at risk, what to do first."""

import ipywidgets as widgets

from cropload.beliefs.dates.harvest_dates import harvest_dates
from cropload.beliefs.forecast import forecast
from cropload.show.desk import Fold, Said, folds
from cropload.show.page import Page
from cropload.show.page_part import PagePart
from cropload.show.panels import parts
from cropload.show.panels.fields import choice
from cropload.winery import words
from cropload.winery.capacity import capacity_table
from cropload.winery.charts import intake_rows
from cropload.winery.contracts import contract_book, contract_table
from cropload.winery.fit import fit_of
from cropload.winery.intake import intake_schedule
from cropload.winery.limits import own_periods
from cropload.winery.relief import relieve

#: Choices of the period.
LIMITS, WEEK, DAY = "as the limits", "weeks from Monday", "days"

STYLE = """<style>
.cl-side-by-side { flex-flow: row wrap; gap: 4px 24px; align-items: flex-start; width: 100%; }
.cl-side-by-side > .cl-wider { flex: 1 1 564px; min-width: 0; max-width: 700px; }
.cl-side-by-side > .cl-beside { flex: 1 1 300px; min-width: 0; }
</style>"""
#: Choices of the desk that the intake depends on.
NEEDS = ("season", "as_of", "units", "picks")


class WineryIntake(Page):
    """See whether the crop fits what the winery takes in, week by week, and the contracts.

    Parameters
    ----------
    given : Records, str or path, optional
        Records, or the folder or workbook to read; the invented sample estate when not given.
    season : int, optional
        Year of harvest; that of the latest limits of intake when left out.
    as_of : date, optional
        Day to look at; everything on record when left out.
    units, draws, seed
        As for ``PruningLevels``; draws and seed as in ``forecast`` [1].

    Attributes
    ----------
    picks : dict
        {season: {block: date or [(date, share), ...]}} as entered; nothing of it is saved.

    Notes
    -----
    Faults are shown as a message in their place; nothing is raised after the page is made.
    Valid as ``intake_schedule``.
    """

    question = "Does it fit?"
    choices = ("season", "day", "units")

    def _choose(self):
        capacity = self.records.capacity
        if self._asked["season"] is None and len(capacity):
            self._asked["season"] = int(capacity["period_start"].dt.year.max())
        super()._choose()

    def build(self):
        """Return the answer, weeks against limits beside what is at risk, and the folds."""
        self.picks = {}
        self.sentence = Said(self.desk, self._sentence, NEEDS)
        self.sentence.add_class("cl-answer-first")
        self.intake = IntakePart(self)
        self.risks = Said(self.desk, self._risks, NEEDS)
        self.intake.add_class("cl-wider")
        self.risks.add_class("cl-beside")
        beside = widgets.HBox([self.intake, self.risks])
        beside.add_class("cl-side-by-side")
        return [parts.html(STYLE), self.sentence, beside, folds(*self._folds())]

    def _folds(self):
        said = self._said
        return [
            Fold("picking dates", self._dates),
            Fold("by variety and block", self._tables),
            Fold("blocks to move", self._moves),
            Fold("day by day", self._days),
            *([Fold("growers", lambda: [said("growers_html")])] if self._growers() else []),
            Fold("contracts", lambda: [said("contracts_html")]),
            Fold("since last", lambda: [said("since_last_html")]),
            Fold("where the numbers come from", lambda: [said("sources_html")]),
            Fold("taking care", lambda: [parts.html(parts.note(words.CAUTION))]),
        ]

    def _growers(self):
        return (self.records.blocks["grower"] != "").any()

    def _said(self, name):
        from cropload.winery.panels import winery_folds

        return Said(self.desk, lambda: getattr(winery_folds, name)(self), NEEDS)

    # What lies in a fold is loaded when it is opened.
    def _dates(self):
        from cropload.winery.panels.winery_folds import PickingDates

        return [PickingDates(self)]

    def _tables(self):
        from cropload.winery.panels.winery_folds import IntakeTables

        return [IntakeTables(self)]

    def _moves(self):
        from cropload.winery.panels.winery_folds import BlocksToMove

        return [BlocksToMove(self)]

    def _days(self):
        from cropload.winery.panels.winery_folds import DayByDay

        return [DayByDay(self)]

    def forecast_on(self, day):
        """Return the forecast of the season as of a day, worked out once."""
        desk = self.desk

        def make():
            return forecast(desk.records, desk.season, day, draws=desk.draws, seed=desk.seed)

        return desk.once(f"forecast {day}", ("season",), make)

    @property
    def forecast(self):
        """The forecast of the season as of the day chosen."""
        return self.forecast_on(self.desk.as_of)

    def dates(self):
        """Return the picking dates of the season and day, entered ones included."""
        desk = self.desk

        def make():
            return harvest_dates(
                desk.records, desk.season, desk.as_of, draws=desk.draws, seed=desk.seed
            )

        found = desk.once("dates", ("season", "as_of"), make)
        return found.with_picks(self.picks.get(desk.season, {}))

    def schedule(self, period=LIMITS):
        """Return the intake by one of the choices of the period."""
        desk = self.desk

        def make():
            own = own_periods(desk.records.capacity, desk.season)
            # Where the table has no limits of this season, weeks stand in for its periods.
            by = {LIMITS: own if len(own) else "week", WEEK: "week", DAY: "day"}[period]
            records = desk.records
            given = {"blocks": records.blocks, "capacity": records.capacity}
            return intake_schedule(self.forecast, self.dates(), period=by, **given)

        return desk.once(f"intake {period}", ("season", "as_of"), make)

    def limits(self, period=LIMITS):
        """Return the intake against the limits; None where there are none."""
        capacity, schedule = self.desk.records.capacity, self.schedule(period)
        if capacity.empty or schedule.empty:
            return None
        return self.desk.once(
            f"limits {period}", ("season", "as_of"), lambda: capacity_table(schedule, capacity)
        )

    def enter_pick(self, block, dates):
        """Take picking dates of a block as known, or with None the forecast's again.

        Raises
        ------
        CroploadError
            For dates that cannot be; nothing is changed then.
        """
        if dates is not None:
            self.dates().with_picks({block: dates})
        given = {**self.picks.get(self.desk.season, {}), block: dates}
        self.picks[self.desk.season] = {b: d for b, d in given.items() if d is not None}
        for period in (LIMITS, WEEK, DAY):
            self.desk.forget(f"intake {period}")
            self.desk.forget(f"limits {period}")
        self.desk.follow("picks")

    def _sentence(self):
        schedule, limits = self.schedule(), self.limits()
        if schedule.empty:
            told = schedule.heading()
        elif limits is None or limits.frame.empty:
            told = words.intake_sentence(schedule, None, self.desk.units)
        else:
            fit = fit_of(schedule, self.desk.records.capacity)
            told = words.fit_sentence(fit, limits, self.desk.units)
        return f'<p class="cl-matters" role="status">{parts.escape(told)}</p>'

    def _risks(self):
        records, schedule = self.desk.records, self.schedule()
        if schedule.empty:
            return ""
        first = words.NO_CAPACITY
        if self.limits() is not None:
            # Without any move: it tells what single picks are too big for a period.
            first = words.first_step(relieve(schedule, records.capacity, windows=0))
        text = _head("What to do first") + parts.note(first)
        week, picks = words.next_picks(schedule, self.desk.units)
        if picks:
            text += _head(f"Next picks, {week}") + parts.points(picks)
        text += _head(f"{words.book_title(records)} at risk")
        book = contract_book(records)
        if book.empty:
            return text + parts.note(words.NO_PRICES)
        room = contract_table(self.forecast, book, records.blocks)
        at_risk = words.contracts_at_risk(room, self.desk.units)
        return text + (
            parts.points(at_risk) or parts.note("None is likely to be missed or overrun.")
        )


def _head(text):
    return f'<h2 class="cl-head">{parts.escape(text)}</h2>'


class IntakePart(PagePart):
    """Tonnes by period with their range, against the limits of intake."""

    needs = NEEDS

    def build(self):
        """Make the choice of the period, and the picture."""
        own = [] if self.desk.records.capacity.empty else [LIMITS]
        self.period = choice("Periods", [*own, WEEK, DAY], width="18em")
        self.period.observe(lambda _: self._show(), "value")
        self.picture = parts.html()
        self.body.children = (self.period, self.picture)

    def show(self):
        """Draw the intake of the season as it stands."""
        schedule = self.page.schedule(self.period.value)
        if schedule.empty:
            self.clear()
            return
        rows = intake_rows(schedule, self.page.limits(self.period.value), self.desk.units)
        self.picture.value = parts.fitting_picture(rows)

    def clear(self):
        """Take a picture away that no longer belongs."""
        if self.built:
            self.picture.value = ""
