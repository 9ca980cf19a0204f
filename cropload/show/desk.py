"""One desk for every page: what its controls choose, and the parts that follow it.

A part says what it depends on.  When that changes the part is greyed at once and worked out again,
alone with its faults; what lies in a closed fold waits until it is opened.
"""

import ipywidgets as widgets
import traitlets

from cropload.beliefs.meant import check_block, next_season
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.errors import CroploadError
from cropload.records.stamp import stamp
from cropload.show.panels import parts, saving
from cropload.show.panels.later import Later
from cropload.show.panels.opening import given_records
from cropload.units import METRIC, unit_system

#: A result that no longer fits is greyed at once, and says so when it takes over half a second.
STYLE = """<style>
.cl-page { max-width: 1280px; width: 100%; margin: 0 auto; overflow: visible;
  font-size: 14px; line-height: 1.35; }
.cl-page .widget-html-content { min-width: 0; width: 100%; line-height: 1.35; }
.cl-page .cl-question { font-size: 1.35em; font-weight: bold; margin: 2px 0; }
.cl-bar { gap: 2px 14px; }
.cl-bar .widget-dropdown, .cl-bar .widget-datepicker { width: auto; margin: 0; }
.cl-estate { font-weight: bold; }
.cl-page a { color: #004b7a; text-decoration: underline; }
.cl-links a { margin-right: 14px; }
.cl-page .widget-button { width: auto; padding: 0 12px; }
.cl-page .cl-fold > .widget-button { background: none; padding: 0 4px; text-align: left;
  color: #004b7a; }
.cl-page .cl-fold > .widget-button:hover, .cl-page .cl-fold > .widget-button:focus {
  text-decoration: underline; }
.cl-folds { gap: 0 18px; align-items: flex-start; }
.cl-folds > .cl-open { flex: 1 1 100%; border-left: 3px solid #0072B2; padding-left: 10px; }
.cl-part { max-width: 100%; overflow: visible; }
.cl-stale > .widget-box, .cl-stale .cl-answer { opacity: 0.35; transition: opacity 0.1s; }
.cl-stale::before { content: "working ..."; position: absolute; right: 0; top: 0; z-index: 2;
  background: #fff; border: 1px solid #666; padding: 0 8px; opacity: 0;
  animation: cl-working 0s 0.5s forwards; }
.cl-stale { position: relative; }
.cl-matters { font-size: 1.1em; margin: 6px 0; max-width: 62em; }
/* On a phone what matters stands before the controls. */
@media (max-width: 899px) {
  .cl-page > .cl-bar-part { order: -4; }
  .cl-page > .cl-first { order: -3; }
  .cl-page > .cl-answer-first { order: -2; }
}
@keyframes cl-working { to { opacity: 1; } }
</style>"""


class Desk(traitlets.HasTraits):
    """What the controls of a page choose, as observable state.

    Parameters
    ----------
    given : Records, str or path, optional
        Records, or the folder or workbook to read; the invented sample estate when left out.
    draws, seed : int
        Draws of every answer and their seed [1].

    Attributes
    ----------
    records : Records or None
        What was read; None when it could not be, and ``fault`` then says why.
    block : str
        Name of the block chosen.
    season : int
        Year of harvest chosen.
    as_of : Timestamp or None
        The day looked at; None for everything on record.
    units : UnitSystem
        Units shown; those the records are written in at first.
    """

    records = traitlets.Any(None)
    block = traitlets.Unicode()
    season = traitlets.Int()
    as_of = traitlets.Any(None)
    units = traitlets.Any(METRIC)

    def __init__(self, given=None, *, draws=DEFAULT_DRAWS, seed=0):
        super().__init__()
        self.given, self.draws, self.seed = given, draws, seed
        self.parts, self.fault = [], ""
        self._later, self._made, self._quiet = Later(), {}, False
        self._read_as = None
        self.read()
        self.observe(self._changed, list(self.class_trait_names()))

    def read(self):
        """Read the records; what is wrong with them is kept as ``fault``.

        Returns
        -------
        bool
            Whether they could be read.
        """
        try:
            found, self.fault = given_records(self.given), ""
        except CroploadError as fault:
            self.records, self.fault = None, str(fault)
            return False
        names = [str(name) for name in found.blocks["block"]]
        self._read_as = stamp(found.path)
        first = self.records is None
        self.set(
            records=found,
            block=self.block if self.block in names else names[0],
            season=self.season or next_season(found),
            **({"units": unit_system("us" if found.us else "metric")} if first else {}),
        )
        return True

    def read_again(self):
        """Read the records again when their files changed since, or could not be read before."""
        if self.records is None or stamp(self.records.path) != self._read_as:
            self.read()

    def open_with(self, block=None, season=None, as_of=None, units=None):
        """Choose what a caller or an address asks for.

        Raises
        ------
        CroploadError
            For a block, day or unit system that there is none of.
        """
        from cropload.clock import day

        values = {}
        if block is not None:
            values["block"] = check_block(self.records, block)
        if season is not None:
            values["season"] = int(season)
        if as_of is not None:
            values["as_of"] = day(as_of)
        if units is not None:
            values["units"] = unit_system(units)
        self.set(**values)

    @property
    def is_sample(self):
        """Whether the records are the invented ones that ship with the package."""
        return self.records is not None and saving.is_sample(self.records)

    @property
    def invented(self):
        """Whether the records are those of the invented estate, or a copy that says so."""
        regions = self.records.blocks["region"].astype(str)
        return self.is_sample or bool(regions.str.endswith("(invented)").all())

    @property
    def blocks(self):
        """Names of the blocks, in the order of the records."""
        return [str(name) for name in self.records.blocks["block"]]

    @property
    def facts(self):
        """The row of table blocks of the block chosen."""

        def look_up():
            table = self.records.blocks
            return table[table["block"] == self.block].iloc[0]

        return self.once("facts", ("block",), look_up)

    def set(self, **values):
        """Change several choices at once: the parts follow once."""
        changed = {name for name, value in values.items() if getattr(self, name) is not value}
        self._quiet = True
        try:
            for name, value in values.items():
                setattr(self, name, value)
        finally:
            self._quiet = False
        self.follow(*changed)

    def _changed(self, change):
        if change["name"] == "records":
            self._made.clear()
        if not self._quiet:
            self.follow(change["name"])

    def once(self, name, needs, make):
        """Return an answer that several parts show, worked out once for what it depends on.

        Parameters
        ----------
        name : str
            What it is called.
        needs : tuple of str
            Choices of the desk that it depends on, beside the records.
        make : callable
            Works it out.  A fault is kept too, so that it is found once.

        Raises
        ------
        CroploadError
            As ``make`` did.
        """
        key = (name, *(getattr(self, each) for each in needs))
        if key not in self._made:
            try:
                self._made[key] = make()
            except CroploadError as fault:
                self._made[key] = fault
        if isinstance(self._made[key], CroploadError):
            raise self._made[key]
        return self._made[key]

    def forget(self, name):
        """Forget the answers of a name, for what they were worked out from has changed."""
        self._made = {key: held for key, held in self._made.items() if key[0] != name}

    def join(self, part):
        """Have a part follow the desk."""
        self.parts.append(part)

    def follow(self, *names):
        """Grey the parts that depend on what changed, and work each out when there is a moment."""
        if self.records is None and "records" not in names:
            return
        for part in self.parts:
            if part.depends_on(names):
                part.grey()
                self._later.call(str(id(part)), part.follow)

    def settle(self):
        """Work out at once what still waits, so that what is kept is what is shown."""
        self._later.now()


class Part(widgets.VBox):
    """One answer of a page: drawn when what it depends on changes, alone with its faults.

    Parameters
    ----------
    desk : Desk
        What it follows.

    Notes
    -----
    A part fills ``body`` in ``build`` and shows the answer in ``show``; both may raise a
    CroploadError, which is told in its place.
    """

    #: Choices of the desk, or names given to ``Desk.follow``, that it depends on.
    needs = ("records", "block", "season", "units")
    #: Whether it has nothing to show while the records cannot be read.
    needs_records = True

    def __init__(self, desk):
        self.desk = desk
        self.message, self.body = parts.html(), widgets.VBox([])
        self.body.add_class("cl-answer")
        super().__init__([self.message, self.body])
        self.add_class("cl-part")
        self.built = self.hidden = False
        self.due = True
        desk.join(self)

    def depends_on(self, names):
        """Return whether it depends on one of the names; the records are what all depend on."""
        return not {"records", *self.needs}.isdisjoint(names)

    def build(self):
        """Make the widgets of ``body``; called once, before they are first shown."""

    def show(self):
        """Show the answer as the desk stands."""

    def grey(self):
        """Mark what is shown as no longer fitting."""
        self.due = True
        self.add_class("cl-stale")

    def follow(self):
        """Show the answer, unless it lies in a closed fold."""
        if not self.hidden:
            self._show()

    @parts.guarded
    def _show(self):
        self.due = False
        if self.desk.records is None and self.needs_records:
            self.body.layout.display = "none"
            return
        try:
            if not self.built:
                self.build()
                self.built = True
            self.message.value = ""
            self.show()
            self.body.layout.display = None
        finally:
            self.remove_class("cl-stale")

    def fail(self, text):
        """Show what is wrong in place of an answer that no longer belongs."""
        if not self.built:
            self.body.layout.display = "none"
        self.clear()
        self.message.value = parts.error(text)

    def clear(self):
        """Take an answer away that no longer belongs; for a part to fill in."""


class Fold(widgets.VBox):
    """Something under a line that opens it; what it holds is made when it is first opened.

    Parameters
    ----------
    words : str
        The line.
    make : callable
        Returns the widgets under it; a part among them follows the desk only while it is open.
    """

    def __init__(self, words, make):
        self.words, self._make = words, make
        self.button = widgets.Button()
        self.button.on_click(lambda _: self.turn())
        self.inside = widgets.VBox([])
        self.is_open = False
        super().__init__([self.button])
        self.add_class("cl-fold")
        self._tell()

    def _tell(self):
        self.button.description = f"{'▾' if self.is_open else '▸'} {self.words}"

    def turn(self):
        """Open it, or close it again."""
        self.is_open = not self.is_open
        if self.is_open and not self.inside.children:
            self.inside.children = tuple(self._make())
        for part in self.inside.children:
            if isinstance(part, Part):
                part.hidden = not self.is_open
                if self.is_open and part.due:
                    part.follow()
        self.children = (self.button, self.inside) if self.is_open else (self.button,)
        (self.add_class if self.is_open else self.remove_class)("cl-open")
        self._tell()


def folds(*each):
    """Return folds side by side; one that is open takes the whole width."""
    row = parts.row(*each)
    row.add_class("cl-folds")
    return row


class Said(Part):
    """HTML that follows the desk.

    Parameters
    ----------
    desk : Desk
    say : callable
        Returns the HTML.
    needs : tuple of str
        As for ``Part``.
    """

    def __init__(self, desk, say, needs=Part.needs):
        self.needs, self._say = needs, say
        super().__init__(desk)

    def build(self):
        """Make the text."""
        self.text = parts.html()
        self.body.children = (self.text,)

    def show(self):
        """Say it as the desk stands."""
        self.text.value = self._say()

    def clear(self):
        """Take the text away."""
        if self.built:
            self.text.value = ""
