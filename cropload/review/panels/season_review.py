"""The desk that the panels after harvest share: the season, others beside it, and the reviews."""

import ipywidgets as widgets

from cropload.beliefs.calendar import forecast_days
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.errors import CroploadError
from cropload.review.review import review_season
from cropload.show.panels import parts
from cropload.show.panels.desk_panel import Desk, DeskPanel
from cropload.show.panels.fields import choice, units_choice
from cropload.show.panels.opening import given_records, opening_html
from cropload.units import unit_system

#: How many seasons are scored together, the chosen one being the last.
ALONE, THREE, ALL = 1, 3, 10_000
_NO_SEASON = 0


class ReviewDesk(Desk):
    """Choose the season that is looked back on, and the units that the panels share.

    Parameters
    ----------
    records_or_path : Records, str or path, optional
        Records, or the folder or workbook to read; the invented sample estate when not given.
    season : int, optional
        Year of harvest to open with; the latest one picked when not given.
    units : str
        ``"metric"`` or ``"us"``.
    draws, seed : int
        As in ``review_season`` [1].

    Attributes
    ----------
    base : Records or None
        What was read; None when it could not be read.
    reviews : dict
        {season: SeasonReview} of the seasons looked at so far.
    left_out : list of str
        Why an earlier season could not be scored with the chosen one.

    Notes
    -----
    Faults are shown as a message; nothing is raised after the desk is made. The reviews are made
    by ``compute``, which ``start`` calls once the desk is on the screen.
    """

    def __init__(
        self, records_or_path=None, *, season=None, units="metric", draws=DEFAULT_DRAWS, seed=0
    ):
        self.draws, self.seed = draws, seed
        self.base, self.reviews, self.left_out, self._watchers = None, {}, [], {}
        self.message = parts.html()
        super().__init__([parts.html(parts.STYLE), self.message])
        self._build(records_or_path, season, units)

    @parts.guarded
    def _build(self, given, season, units):
        unit_system(units)
        base = given_records(given)
        picked = sorted({int(year) for year in base.harvest["season"]}, reverse=True)
        if season is not None and int(season) not in picked:
            known = f"choose from {picked[-1]} to {picked[0]}" if picked else "none is yet"
            raise CroploadError(f"No harvest of {int(season)} is on record; {known}.")
        self.picked = picked
        seasons = [(str(year), year) for year in picked] or [("none picked yet", _NO_SEASON)]
        first = seasons[0][1] if season is None else int(season)
        self.season_choice = choice("Season (year of harvest)", seasons, first, "20em")
        spans = [
            ("this season alone", ALONE),
            ("with the two before", THREE),
            ("with all before", ALL),
        ]
        self.together = choice("Scored", spans, ALONE, "17em")
        self.unit_choice = units_choice(units, "t, kg/m, g", "short ton, lb/ft, lb", "21em")
        self.progress = widgets.IntProgress(
            0, 0, 1, description="Forecasts", style=parts.LABELLED, layout={"display": "none"}
        )
        self.progress_words = parts.html()
        self.season_choice.observe(lambda _: self.compute(), "value")
        self.together.observe(lambda _: self.compute(), "value")
        self.unit_choice.observe(lambda _: self._tell_watchers(False), "value")
        self.base = base
        self.children = [
            parts.html(parts.STYLE + opening_html("After harvest", base)),
            parts.row(self.season_choice, self.together, self.unit_choice),
            parts.row(self.progress, self.progress_words),
            self.message,
        ]

    @property
    def review(self):
        """The review of the chosen season, or None where there is none."""
        return None if self.base is None else self.reviews.get(self.season)

    def seasons_together(self):
        """Return the seasons that are scored together, latest first."""
        earlier = [year for year in self.picked if year <= self.season]
        return earlier[: self.together.value]

    def reviews_together(self):
        """Return the reviews that are scored together, earliest first."""
        found = [self.reviews[year] for year in self.seasons_together() if year in self.reviews]
        return found[::-1]

    def start(self):
        """Display the desk, then make the review, so that its progress is seen; for a notebook."""
        from IPython.display import display

        display(self)
        self.compute()

    def compute(self):
        """Review the chosen season, and those scored with it, unless that has been done."""
        self.message.value = ""
        if self.base is not None:
            self._compute()
        self._tell_watchers(True)

    @parts.guarded
    def _compute(self):
        if not self.picked:
            raise CroploadError(
                "No harvest is on record yet, so there is no forecast to score and no miss to "
                "learn from. Fill table harvest with the tonnes of each block."
            )
        self.left_out = []
        wanted = [year for year in self.seasons_together() if year not in self.reviews]
        steps = {year: len(forecast_days(self.base, year)) for year in wanted}
        every, before = sum(steps.values()), 0
        self.progress.value, self.progress.max = 0, max(every, 1)
        self.progress.layout.display = None if wanted else "none"
        try:
            for year in wanted:

                def told(number, _, start=before):
                    self.progress.value = start + number
                    self.progress_words.value = (
                        f'<span role="status">{start + number} of {every}</span>'
                    )

                try:
                    self.reviews[year] = review_season(
                        self.base, year, draws=self.draws, seed=self.seed, progress=told
                    )
                except CroploadError as fault:
                    if year == self.season:
                        raise
                    self.left_out.append(f"{year} is not scored: {fault}")
                before += steps[year]
        finally:
            self.progress.layout.display = "none"
            self.progress_words.value = ""

    def forget(self, after):
        """Make the reviews of seasons later than one again: what is in force there has changed."""
        old = [year for year in self.reviews if year > after]
        for year in old:
            del self.reviews[year]
        if old:
            self.compute()

    def fail(self, text):
        """Show what is wrong."""
        self.message.value = parts.error(text)

    def watch(self, name, call, follows_season):
        """Have ``call()`` called when the units change, and the season where it follows that."""
        self._watchers[name] = (call, follows_season)

    def _tell_watchers(self, season_only):
        for call, follows_season in list(self._watchers.values()):
            if follows_season or not season_only:
                call()


class ReviewPanel(DeskPanel):
    """A panel after harvest.

    Parameters
    ----------
    desk : ReviewDesk
        The desk of the notebook.
    """

    #: Whether the panel shows the season chosen at the desk.
    follows_season = False

    #: Told to the desk as what it follows.
    @property
    def prompt(self):
        """What ``watch`` of the desk is told: whether the panel follows the season."""
        return self.follows_season

    @parts.guarded
    def refresh(self):
        """Show what there is, or where to look when there is nothing."""
        wanted = self.desk.review if self.follows_season else self.desk.base
        usable = self.ready and wanted is not None
        self.body.layout.display = None if usable else "none"
        self.message.value = ""
        if not usable:
            self.where.value = parts.note("Nothing to show: see the message at the season above.")
            return
        self.where.value = parts.note(f"Season {self.desk.season}.") if self.follows_season else ""
        self.show()

    def fail(self, text):
        """Show what is wrong, in place of results that no longer belong."""
        self.message.value = parts.error(text)
        self.body.layout.display = "none"
