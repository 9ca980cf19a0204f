"""The choices at the top of the panel: block, season, bands and units."""

import ipywidgets as widgets

from cropload import clock, handbook
from cropload.beliefs.history import estate_before_season
from cropload.beliefs.meant import next_season
from cropload.errors import CroploadError
from cropload.pruning.compare import load_notes
from cropload.show import wording
from cropload.show.panels import parts
from cropload.show.panels.fields import asked_plan, carried_plan, choice, units_choice
from cropload.units import METRIC, unit_system
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
        self.start(self.band_keys[0])
        for each in (self.choice, self.low, self.high):
            each.observe(self._tell, "value")

    @staticmethod
    def _box(label):
        return widgets.FloatText(
            description=label, style=parts.LABELLED, layout=widgets.Layout(width="24em")
        )

    def _options(self):
        found = []
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

    def start(self, key):
        """Choose a band of the handbook without telling anybody."""
        self._quiet = True
        self.choice.options = self._options()
        self.choice.value = key
        entry = handbook.entry(key)
        self.low.value, self.high.value = self._shown(entry.low), self._shown(entry.high)
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


class Choices(widgets.VBox):
    """Block, season, bands and units of a panel.

    Parameters
    ----------
    records : Records
        Records to choose from.
    block, season, units : optional
        First choices; the first block, the coming season and metric when not given.
    block_changed : callable
        Called without arguments after another block, season or reference plan is chosen.
    changed : callable
        Called without arguments after another band or unit system is chosen.
    """

    def __init__(self, records, block, season, units, block_changed, changed):
        self.records, self._block_changed, self._changed = records, block_changed, changed
        names = [str(name) for name in records.blocks["block"]]
        coming = next_season(records)
        first = min([int(s) for s in records.pruning["season"]] or [coming])
        # Records that end in the past must not keep anybody from planning the winter to come.
        last = max(coming, clock.today().year + 1)
        seasons = list(range(last, min(first, coming) - 1, -1))
        if season is not None and int(season) not in seasons:
            raise CroploadError(
                f"Season {season} is not one of {seasons[-1]} to {last}, the seasons on record and "
                "the coming one."
            )
        self.block = choice("Block", names, block or names[0], "24em")
        self.season = choice("Season (year of harvest)", seasons, int(season or coming), "18em")
        self.unit_choice = units_choice(units)
        self.reference, self.meant = carried_plan(), parts.html()
        self.load = parts.html()
        self.density = BandChoice("Shoot density band", "band.shoots_per_m.", "per_m", changed)
        self.balance = BandChoice("Yield to pruning weight band", "band.ravaz.", None, changed)
        self.start_block()
        self.density.use_units(self.units)
        self.balance.use_units(self.units)
        for each in (self.block, self.season, self.reference):
            each.observe(self._other_block, "value")
        self.unit_choice.observe(self._other_units, "value")
        super().__init__(
            [
                self.load,
                parts.row(self.reference),
                parts.row(self.block, self.season, self.unit_choice),
                self.meant,
                parts.row(self.density, self.balance),
            ]
        )

    def start_block(self):
        """Set what depends on the block: bands, and whether its plan must be asked for."""
        estate = estate_before_season(self.records, self.season.value, {})
        at = estate.facts.place(self.block.value)
        kind = estate.facts.kind(at)
        self.density.start(bands.density_band(None, **kind).key)
        self.balance.start(bands.ravaz_band(None, **kind).key)
        self._unknown = load_notes(estate, [self.block.value])
        self.reference.layout.display = None if self._unknown else "none"
        self.tell_load()
        self.meant.value = parts.note(
            season_meant(self.records, self.block.value, self.season.value)
        )

    def tell_load(self):
        """Say in one line that the load is unknown, until the plan is told."""
        told = self.reference.layout.display == "none" or self.reference_plan is not None
        self.load.value = "" if told else "".join(map(parts.note, self._unknown))

    def _other_block(self, change):
        if change["owner"] is not self.reference:
            self.start_block()
        self.tell_load()
        self._block_changed()

    def _other_units(self, _):
        self.density.use_units(self.units)
        self.balance.use_units(self.units)
        self._changed()

    @property
    def units(self):
        """The unit system chosen."""
        return unit_system(self.unit_choice.value)

    @property
    def facts(self):
        """The row of table ``blocks`` of the chosen block, as a dict."""
        blocks = self.records.blocks
        return blocks[blocks["block"] == self.block.value].iloc[0].to_dict()

    @property
    def canopies(self):
        """Canopy walls a vine of the block fills [1]."""
        return int(self.facts["canopies"])

    @property
    def reference_plan(self):
        """The plan the user says the block has carried; None when not asked for or blank."""
        return asked_plan(self.reference)
