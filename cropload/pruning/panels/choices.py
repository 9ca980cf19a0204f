"""The bands that levels are held against, and which winter a season means."""

import ipywidgets as widgets

from cropload import clock, handbook
from cropload.beliefs.history import estate_before_season
from cropload.show import wording
from cropload.show.desk import Part
from cropload.show.panels import parts
from cropload.units import METRIC
from cropload.vine import bands

OWN_BAND = "your own numbers"


class BandChoice(widgets.HBox):
    """A band of the handbook by name, or two numbers of the user's own.

    Parameters
    ----------
    label : str
        Name of the choice.
    prefix : str
        Handbook keys to choose from.
    quantity : str or None
        Quantity of the unit system; None for a bare number.
    changed : callable
        Called without arguments after a change.
    """

    def __init__(self, label, prefix, quantity, changed):
        self.band_keys, self.quantity, self.changed = handbook.keys(prefix), quantity, changed
        self.units, self._quiet = METRIC, False
        self.choice = widgets.Dropdown(
            description=label, style=parts.LABELLED, layout=widgets.Layout(width="31em")
        )
        self.low = self._box(f"{label}, low end")
        self.high = self._box(f"{label}, high end")
        super().__init__(
            [self.choice, self.low, self.high],
            layout=widgets.Layout(flex_flow="row wrap", max_width="100%"),
        )
        self.start(bands.resolve(None, self.band_keys[0], label))
        for each in (self.choice, self.low, self.high):
            each.observe(self._tell, "value")

    @staticmethod
    def _box(label):
        return widgets.FloatText(
            description=label, style=parts.LABELLED, layout=widgets.Layout(width="24em")
        )

    def _options(self):
        found = [] if self.none is None else [(self.none.name, self.none.key)]
        for key in self.band_keys:
            band = bands.resolve(key, key, "this figure")
            found.append((wording.band_text(band, self.units, self.quantity), key))
        return [*found, (OWN_BAND, OWN_BAND)]

    def _show_boxes(self):
        shown = None if self.choice.value == OWN_BAND else "none"
        self.low.layout.display = self.high.layout.display = shown

    def _tell(self, _):
        if not self._quiet:
            self._show_boxes()
            self.changed()

    def start(self, band):
        """Choose a band of the handbook, or one that nobody knows, without telling anybody."""
        self._quiet = True
        self.none = None if band.known else band
        self.choice.options = self._options()
        self.choice.value = band.key
        if band.known:
            self.low.value, self.high.value = self._shown(band.low), self._shown(band.high)
        self._show_boxes()
        self._quiet = False

    def _shown(self, value):
        value = self.units.convert(self.quantity, value) if self.quantity else value
        return float(f"{value:.4g}")

    def use_units(self, units):
        """Show names and numbers in other units."""
        self._quiet = True
        if self.quantity:
            metric = [self.units.to_metric(self.quantity, b.value) for b in (self.low, self.high)]
        else:
            metric = [self.low.value, self.high.value]
        self.units = units
        key = self.choice.value
        self.choice.options = self._options()
        self.choice.value = key
        self.low.value, self.high.value = (self._shown(value) for value in metric)
        self._quiet = False

    def given(self):
        """Return what ``compare_plans`` takes: a handbook key, or (low, high) in metric units."""
        if self.none is not None and self.choice.value == self.none.key:
            return self.none
        if self.choice.value != OWN_BAND:
            return self.choice.value
        ends = (self.low.value, self.high.value)
        if self.quantity:
            ends = tuple(self.units.to_metric(self.quantity, end) for end in ends)
        return ends


def season_meant(records, block, season, today=None):
    """Return which winter's pruning a season is, and whether its crop is past, in words.

    Parameters
    ----------
    records, block : Records, str
        As read by ``read_records``, and the name of one of its blocks.
    season : int
        Year of harvest.
    today : date, optional
        The day it is.
    """
    today = clock.today() if today is None else today
    text = f"Season {season}: the pruning of the winter before the harvest of {season}."
    harvest = records.harvest
    if ((harvest["season"] == season) & (harvest["block"] == block)).any():
        return (
            f"{text} That crop is on record; what is shown is what could be said before it, from "
            "the seasons up to then."
        )
    # In both hemispheres the harvest of a year is over by November.
    if season < today.year or (season == today.year and today.month >= 11):
        return (
            f"{text} That lies in the past ({today:%Y-%m-%d} is today), and no crop of it is on "
            f"record: choose {today.year + 1} to plan the next one, and add the harvests since, "
            "which narrow its range."
        )
    return text


class Bands(Part):
    """What shoots per metre and yield to pruning weight are held against, for each block.

    Parameters
    ----------
    desk : Desk
        What it follows.
    """

    needs = ("block", "season", "units")

    def __init__(self, desk):
        self._of = None
        super().__init__(desk)
        self.hidden = True

    def build(self):
        """Make the two choices."""
        changed = lambda: self.desk.follow("bands")  # noqa: E731
        self.density = BandChoice("Shoot density band", "band.shoots_per_m.", "per_m", changed)
        self.balance = BandChoice("Yield to pruning weight band", "band.ravaz.", None, changed)
        self.body.children = (parts.row(self.density, self.balance),)

    def show(self):
        """Start from the bands of the block; what was chosen for it stays."""
        desk = self.desk
        if self._of != desk.block:
            self._of = desk.block
            estate = estate_before_season(desk.records, desk.season, {})
            kind = estate.facts.kind(estate.facts.place(desk.block))
            self.density.start(bands.density_band(None, **kind))
            self.balance.start(bands.ravaz_band(None, **kind))
        self.density.use_units(desk.units)
        self.balance.use_units(desk.units)

    def given(self):
        """Return what ``compare_plans`` takes for both bands; None for the block's own."""
        if not self.built or self._of != self.desk.block:
            return None, None
        return self.density.given(), self.balance.given()
