"""The desk of the winery: season, day and units, and the picking dates that its panels share."""

from cropload.beliefs.dates.harvest_dates import harvest_dates
from cropload.beliefs.dates.picking_dates import parse
from cropload.errors import CroploadError
from cropload.season.panels.season_desk import SeasonDesk
from cropload.season.season_days import seasons_on_record
from cropload.show.panels import parts
from cropload.show.panels.desk_panel import DeskPanel
from cropload.show.panels.fields import button, choice, field
from cropload.show.panels.opening import given_records
from cropload.winery.intake import intake_schedule
from cropload.winery.tables import date_table

#: Choices of the period.
LIMITS, WEEK, DAY = "the periods of table capacity", "weeks from Monday", "days"


class WineryDesk(SeasonDesk):
    """Choose season, day and units for the panels of the winery, and hold the picking dates.

    Parameters
    ----------
    records_or_path, as_of, units, draws, seed
        As for ``SeasonDesk``.
    season : int, optional
        Year of harvest to open with; that of the latest limits of intake when left out.

    Attributes
    ----------
    picks : dict
        {season: {block: date or [(date, share), ...]}} as entered.
    """

    def __init__(self, records_or_path=None, *, season=None, **more):
        self.picks, self._dates = {}, {}
        super().__init__(records_or_path, season=season, **more)

    def _build(self, given, season, as_of, units):
        # Guarded in the parent; what cannot be read is said there.
        try:
            given = given_records(given)
            season = self._season_of_limits(given) if season is None else season
        except CroploadError as fault:
            self.fail(str(fault))
            return
        super()._build(given, season, as_of, units)

    @staticmethod
    def _season_of_limits(records):
        if records.capacity.empty:
            return None
        year = int(records.capacity["period_start"].dt.year.max())
        return year if year in seasons_on_record(records) else None

    def dates(self):
        """Return the picking dates of the forecast's season and day, entered ones included."""
        key = (self.season, self.forecast.as_of)
        if key not in self._dates:
            self._dates[key] = harvest_dates(
                self.records, self.season, self.forecast.as_of, draws=self.draws, seed=self.seed
            )
        return self._dates[key].with_picks(self.picks.get(self.season, {}))

    def schedule(self, period):
        """Return the intake by one of the choices of the period."""
        own = self.records.capacity
        own = own[own["period_end"].dt.year == self.season]
        # Where the table has no limits of this season, weeks stand in for its periods.
        period = {LIMITS: own if len(own) else "week", WEEK: "week", DAY: "day"}[period]
        return intake_schedule(self.forecast, self.dates(), period=period)

    def enter_pick(self, block, dates):
        """Take picking dates of a block as known, or with None the forecast's again."""
        given = {**self.picks.get(self.season, {}), block: dates}
        given = {name: value for name, value in given.items() if value is not None}
        if dates is not None:
            self.dates().with_picks({block: dates})
        self.picks[self.season] = given
        self._tell_watchers()


class PickingDates(DeskPanel):
    """When each block is picked: from its own days between stages, or as entered."""

    title = "Picking dates"
    prompt = True

    def build(self):
        """Make the choices, the buttons and the table."""
        self.block = choice("Block", self.desk.blocks, width="24em")
        self.text = field(
            "Picking date, or dates with shares", "2027-09-20 60 %, 2027-09-27 40 %", "36em"
        )
        self.use_button = button("Use as picking date", self._use, "15em")
        self.back_button = button("Back to the forecast date", self._back, "17em")
        self.kept, self.table = parts.html(), parts.html()
        self.body.children = [
            parts.html(
                parts.note(
                    "Dates come from the days between each block's own stages, season by season, "
                    "and narrow with every stage reached. A date you enter is taken as known; it "
                    "stays in this notebook and changes no records."
                )
            ),
            parts.row(self.block, self.text, self.use_button, self.back_button),
            self.kept,
            self.table,
        ]

    def _enter(self, dates, words):
        try:
            self.desk.enter_pick(self.block.value, dates)
            self.kept.value = parts.done(words)
        except CroploadError as fault:
            self.kept.value = parts.error(str(fault))

    def _use(self):
        try:
            dates = parse(self.text.value)
        except CroploadError as fault:
            self.kept.value = parts.error(str(fault))
            return
        self._enter(dates, f"{self.block.value} is picked on {self.text.value.strip()}.")

    def _back(self):
        self._enter(None, f"{self.block.value} goes by its forecast date.")

    def show(self):
        """Show the dates as they are now."""
        table = date_table(self.desk.dates(), self.desk.forecast)
        self.table.value = table.html(self.desk.units)
