"""A page: one question, the choices it depends on, its answer first, the rest folded."""

import ipywidgets as widgets
import pandas as pd

from cropload.beliefs.meant import next_season
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.clock import today
from cropload.show.desk import STYLE, Desk, Part
from cropload.show.panels import parts, saving
from cropload.units import unit_system


class Page(widgets.VBox):
    """A page: one question, the choices it depends on, its answer first, the rest folded.

    Parameters
    ----------
    given : Records, str or path, optional
        As for ``Desk``.
    block, season, as_of, units : optional
        What it opens with.
    results_folder : str or path, optional
        Where results go; ``results`` beside the records when left out.
    draws, seed : int
        As for ``Desk`` [1].

    Notes
    -----
    Faults are shown as messages; nothing is raised after a page is made.
    """

    question = ""
    #: The choices in its first line, of ``block``, ``season``, ``day`` and ``units``.
    choices = ("block", "season", "units")
    #: Whether it has nothing to show while the records cannot be read.
    needs_records = True

    def __init__(
        self,
        given=None,
        *,
        block=None,
        season=None,
        as_of=None,
        units=None,
        results_folder=None,
        draws=DEFAULT_DRAWS,
        seed=0,
    ):
        from cropload.show.address import Address

        super().__init__([])
        self.add_class("cl-page")
        self.given_folder = results_folder
        self.message = parts.html()
        self.desk = Desk(given, draws=draws, seed=seed)
        self.address = Address()
        self._asked = {"block": block, "season": season, "as_of": as_of, "units": units}
        self._made = False
        self._make()
        self.address.on_open(self._opened)

    @property
    def records(self):
        """The records shown; None when they could not be read."""
        return self.desk.records

    def folder(self):
        """Return the folder that results go to."""
        return saving.results_folder(self.records, self.given_folder)

    def fail(self, text):
        """Show what is wrong with the page as a whole."""
        self.message.value = parts.error(text)

    def _make(self):
        """Lay the page out, once there are records to show."""
        heading = f'<h1 class="cl-question">{parts.escape(self.question)}</h1>'
        self.heading = parts.html(parts.STYLE + STYLE + heading)
        self.heading.add_class("cl-first")
        self.message.add_class("cl-first")
        if self.records is None and self.needs_records:
            self.children = [self.heading, self.address, self.message]
            self.fail(self.desk.fault)
            return
        self._made = True
        self.message.value = ""
        self._choose()
        self.bar = Bar(self.desk, self.choices, self.address)
        self.children = [self.bar, self.heading, self.message, *self.build()]
        for part in list(self.desk.parts):
            part.follow()

    @parts.guarded
    def _choose(self):
        self.desk.open_with(**{k: v for k, v in self._asked.items() if v is not None})

    def build(self):
        """Return the widgets of the page, its answer first."""
        return []

    @parts.guarded
    def _opened(self, query):
        """Answer a browser that shows the page: records changed since, and what its address asks.

        A page may have been made ahead, before the address was known.
        """
        self.desk.read_again()
        if not self._made:
            self._make()
        if self.records is None:
            if self.needs_records:
                self.fail(self.desk.fault)
            return
        asked = {name: query[name] for name in ("block", "units") if query.get(name)}
        if query.get("harvest", "").isdigit():
            asked["season"] = int(query["harvest"])
        if query.get("day"):
            asked["as_of"] = query["day"]
        self.desk.open_with(**asked)


class Bar(Part):
    """The first line of a page: whose records, the choices, and the way to the other pages."""

    needs = ("block", "season", "as_of", "units")

    def __init__(self, desk, choices, address):
        self.names, self.address = choices, address
        super().__init__(desk)
        self.add_class("cl-bar-part")

    def build(self):
        """Make a control for each choice."""
        from cropload.show.panels.fields import choice

        self.estate = parts.html()
        made = {
            "block": lambda: choice("Block", [""], width="auto"),
            "season": lambda: choice("Harvest", [0], width="auto"),
            "units": lambda: choice("Units", [("metric", "metric"), ("US", "us")], width="auto"),
            "day": lambda: widgets.DatePicker(description="Day", style=parts.LABELLED),
        }
        self.fields = {name: made[name]() for name in self.names}
        for name, field in self.fields.items():
            field.observe(lambda change, name=name: self._chosen(name, change["new"]), "value")
        self._filling = False
        self.body.children = (parts.row(self.estate, *self.fields.values(), self.address),)
        self.body.children[0].add_class("cl-bar")

    @parts.guarded
    def _chosen(self, name, value):
        if self._filling or (value is None and name != "day"):
            return
        if name == "day":
            self.desk.as_of = None if value is None else pd.Timestamp(value)
        else:
            setattr(self.desk, name, unit_system(value) if name == "units" else value)
        self._say()

    def _say(self):
        desk = self.desk
        told = {"block": desk.block, "harvest": desk.season, "units": desk.units.name}
        if "block" not in self.names:
            del told["block"]
        if desk.as_of is not None and "day" in self.names:
            told["day"] = f"{desk.as_of:%Y-%m-%d}"
        self.address.say(**told)

    def show(self):
        """Show the choices as the desk has them."""
        desk = self.desk
        name = "Quillfoot" if desk.is_sample else saving.shown_path(desk.records)
        name += " (invented)" * desk.invented
        self.estate.value = f'<span class="cl-estate">{parts.escape(name)}</span>'
        self._filling = True
        try:
            for each, field in self.fields.items():
                if each == "day":
                    field.value = None if desk.as_of is None else desk.as_of.date()
                    continue
                if each != "units":
                    options = desk.blocks if each == "block" else seasons(desk)
                    if list(field.options) != options:
                        field.options = options
                field.value = desk.units.name if each == "units" else getattr(desk, each)
        finally:
            self._filling = False


def seasons(desk):
    """Return the years of harvest a desk can choose from, the latest first."""
    records = desk.records
    on_record = [int(s) for t in (records.pruning, records.harvest) for s in t["season"]]
    coming = next_season(records)
    last = max(coming, today().year + 1, desk.season)
    return list(range(last, min([*on_record, coming, desk.season]) - 1, -1))
