"""The desk that the panels of a season share: records, season, day, units, and the forecast."""

from dataclasses import replace

import pandas as pd

from cropload.beliefs.forecast import forecast
from cropload.beliefs.history import learned_before
from cropload.beliefs.meant import load_first
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.clock import day as read_day
from cropload.errors import CroploadError
from cropload.season.panels.entered_rows import added
from cropload.season.season_days import opening_day, opening_season, season_days, seasons_on_record
from cropload.season.words import forecast_sentence
from cropload.show.panels import parts, saving
from cropload.show.panels.desk_panel import Desk
from cropload.show.panels.fields import choice, field, units_choice
from cropload.show.panels.later import Later
from cropload.show.panels.opening import given_records, opening_html

EVERYTHING = "everything on record"


class SeasonDesk(Desk):
    """Choose the season, the day and the units that the panels of a notebook share.

    Parameters
    ----------
    records_or_path : Records, str or path, optional
        Records, or the folder or workbook to read; the invented sample estate when not given.
    season : int, optional
        Year of harvest to open with; the latest one counted in when not given.
    as_of : str or date, optional
        Day to open with; in a season already picked the day its clusters had been counted.
    units : str
        ``"metric"`` or ``"us"``.
    draws, seed : int
        As in ``forecast`` [1].

    Attributes
    ----------
    records : Records or None
        What was read, with what has been entered since; None when it could not be read.
    forecast : Forecast or None
        The forecast of the season as of the day; None when it cannot be made.
    entered : list of (str, dict)
        Rows entered in the panels, each with its table; saved only on request.

    Notes
    -----
    Faults are shown as a message; nothing is raised after the desk is made.
    """

    def __init__(
        self,
        records_or_path=None,
        *,
        season=None,
        as_of=None,
        units="metric",
        draws=DEFAULT_DRAWS,
        seed=0,
    ):
        self.draws, self.seed = draws, seed
        self.base = self.records = self.forecast = None
        self.entered, self.unsaved, self._made, self._watchers = [], [], {}, {}
        self._later = Later()
        self._quiet = False
        self.message = parts.html()
        super().__init__([parts.html(parts.STYLE), self.message])
        self._build(records_or_path, season, as_of, units)

    @parts.guarded
    def _build(self, given, season, as_of, units):
        self.base = given_records(given)
        seasons = seasons_on_record(self.base)
        season = opening_season(self.base) if season is None else int(season)
        if season not in seasons:
            raise CroploadError(
                f"Season {season} is not on record; choose from {seasons[-1]} to {seasons[0]}."
            )
        self.season_choice = choice("Season (year of harvest)", seasons, season, "18em")
        self.day_choice = choice("Records up to", [EVERYTHING], width="26em")
        self.other_day = field("or another day", "like 2026-07-15", "17em")
        self.unit_choice = units_choice(units, "t, t/ha", "short ton, ton/ac", "18em")
        self.sentence = parts.html()
        self.records = self.base
        self._fill_days()
        if as_of is not None:
            self.other_day.value = f"{read_day(as_of):%Y-%m-%d}"
        self.season_choice.observe(self._other_season, "value")
        self.day_choice.observe(self._listed_day, "value")
        self.other_day.observe(self._changed, "value")
        self.unit_choice.observe(self._changed, "value")
        self.children = [
            parts.html(parts.STYLE + opening_html("The season", self.base)),
            parts.row(self.season_choice, self.day_choice, self.other_day, self.unit_choice),
            self.message,
            self.sentence,
        ]
        self.refresh()

    @property
    def blocks(self):
        """Names of the blocks, in the order of the records."""
        return [str(name) for name in self.base.blocks["block"]]

    @property
    def as_of(self):
        """The day chosen, or None for everything on record."""
        if self.other_day.value.strip():
            return read_day(self.other_day.value.strip())
        return None if self.day_choice.value == EVERYTHING else self.day_choice.value

    def days(self):
        """Return the days of the season that its records tell apart."""
        return season_days(self.records, self.season)

    def totals(self):
        """Return (words, (by, name)) of everything a forecast can be summed to."""
        varieties = dict.fromkeys(str(v) for v in self.base.blocks["variety"])
        return [
            ("the estate", ("estate", "estate")),
            *((f"variety {name}", ("variety", name)) for name in varieties),
            *((f"block {name}", ("block", name)) for name in self.blocks),
        ]

    def _fill_days(self):
        self._quiet = True
        listed = [(each.label(), each.day) for each in self.days()]
        # A dropdown takes the value None for nothing chosen, so everything is a word.
        self.day_choice.options = [*listed, (EVERYTHING, EVERYTHING)]
        opening = opening_day(self.records, self.season)
        self.day_choice.value = opening if opening in [d for _, d in listed] else EVERYTHING
        self.other_day.value = ""
        self._quiet = False

    @parts.guarded
    def _other_season(self, _):
        self._fill_days()
        self.refresh()

    def _listed_day(self, _):
        if not self._quiet:
            # A day from the list is meant now, not the one written before.
            self._quiet = True
            self.other_day.value = ""
            self._quiet = False
            self.refresh()

    def _changed(self, _):
        if not self._quiet:
            self.refresh()

    def fail(self, text):
        """Show what is wrong; the panels then show nothing that no longer belongs."""
        self.message.value = parts.error(text)
        self.forecast = None
        if hasattr(self, "sentence"):
            self.sentence.value = ""

    def watch(self, name, call, prompt=False):
        """Have ``call()`` called after every change; a panel made again replaces its name's.

        A ``prompt`` call answers at once; the others follow when the kernel has a moment, so that
        entering a count is answered before every figure of the notebook is drawn again.
        """
        self._watchers[name] = (call, prompt)

    def _tell_watchers(self):
        self._later.drop()
        watchers = list(self._watchers.items())
        for _, (call, prompt) in watchers:
            if prompt:
                call()
        for name, (call, prompt) in watchers:
            if not prompt:
                self._later.call(name, call)

    @parts.guarded
    def _forecast(self):
        self.forecast = self.forecast_on(self.as_of)
        self.message.value = ""
        load, notes = load_first(self.forecast.notes)
        self.sentence.value = (
            '<div role="status">'
            + "".join(map(parts.note, load))
            + parts.note(forecast_sentence(self.forecast, units=self.units))
            + "</div>"
            + parts.points(notes)
        )

    def refresh(self):
        """Make the forecast again and let every panel show it."""
        self._forecast()
        self._tell_watchers()

    def learned(self):
        """Return the spreads learnt from earlier seasons; what is entered does not speak there."""
        return learned_before(self.base, self.season)

    def forecast_on(self, day):
        """Return the forecast of the season as of a day, made once for what is on record now."""
        key = (self.season, None if day is None else pd.Timestamp(day))
        if key not in self._made:
            # A day before the year of harvest saw less of the seasons before.
            early = day is not None and pd.Timestamp(day) < pd.Timestamp(self.season, 1, 1)
            self._made[key] = forecast(
                self.records,
                self.season,
                day,
                draws=self.draws,
                seed=self.seed,
                learned=None if early else self.learned(),
            )
        return self._made[key]

    def enter(self, table, rows, day=None):
        """Add rows to the records in memory, and forecast again.

        Parameters
        ----------
        table : str
            ``"counts"`` or ``"weights"``.
        rows : list of dict
            Canonical columns, metric.
        day : Timestamp, optional
            The latest day of the rows; the day looked at moves there when it lies before.
        """
        self.records = replace(self.records, **{table: added(getattr(self.records, table), rows)})
        self.entered += [(table, row) for row in rows]
        self.unsaved += [(table, row) for row in rows]
        self._made.clear()
        if day is not None and self.as_of is not None and self.as_of < day:
            self._quiet = True
            self.other_day.value = f"{day:%Y-%m-%d}"
            self._quiet = False
        self.refresh()

    def forget(self):
        """Take away what was entered and not saved."""
        gone = len(self.unsaved)
        kept = self.entered[: len(self.entered) - gone]
        self.records, self.entered, self.unsaved = self.base, kept, []
        for name in ("counts", "weights"):
            rows = [row for table, row in kept if table == name]
            if rows:
                table = added(getattr(self.records, name), rows)
                self.records = replace(self.records, **{name: table})
        self._made.clear()
        self.refresh()
        return gone

    def save(self):
        """Add what was entered to the user's own tables, and return the files.

        Raises
        ------
        CroploadError
            For the sample records, when there is nothing to save, or when a file cannot be
            written; what was saved before that stays marked as saved.
        """
        if not self.unsaved:
            raise CroploadError("Nothing has been entered that is not saved yet.")
        self.own_folder("keep counts")
        from cropload.records.writing.append import append_rows

        files = []
        for name in ("counts", "weights"):
            rows = [row for table, row in self.unsaved if table == name]
            if rows:
                files.append(append_rows(self.base.path, name, rows))
                self.unsaved = [each for each in self.unsaved if each[0] != name]
        return files

    def own_folder(self, purpose):
        """Return the user's folder or workbook.

        Raises
        ------
        CroploadError
            For the sample records, which stay as they are.
        """
        return saving.own_folder(self.base, purpose)
