"""The fold of thinning: clusters to keep for a target crop or balance, with cautions."""

import ipywidgets as widgets

from cropload import handbook
from cropload.season.charts import plot_thinning, thinning_text
from cropload.season.panels.season_part import SeasonPart
from cropload.season.thinning import CAUTIONS, thin_to
from cropload.show import wording
from cropload.show.panels import parts
from cropload.show.panels.fields import choice
from cropload.vine import bands

_CROP = "a crop per area"


class ThinningPart(SeasonPart):
    """How many clusters to leave on a vine, the chance before and after, labour, and cautions."""

    def build(self):
        """Make the choosers and the result."""
        self.found = None
        self.block = choice("Block to thin", self.desk.blocks, self.desk.block, "20em")
        keys = handbook.keys("band.ravaz.")
        self.aim = choice(
            "Aim",
            [
                (_CROP, _CROP),
                *((f"yield / prunings {self._band_words(key)}", key) for key in keys),
            ],
            width="34em",
        )
        self.target = widgets.FloatText(
            self._first_target(),
            step=0.5,
            style=parts.LABELLED,
            layout=widgets.Layout(width="18em"),
        )
        self._units = self.desk.units
        self._label()
        self.block.observe(self._other_block, "value")
        self.follows(self.aim, self.target)
        self.result, self.figure, self.table = self.told = [parts.html() for _ in range(3)]
        self.body.children = (parts.row(self.block, self.aim, self.target), *self.told)

    @staticmethod
    def _band_words(key):
        return wording.band_text(bands.resolve(key, key, "this figure"))

    def _first_target(self):
        """Open a fifth under the crop that hangs, so that there is something to see."""
        rows = self.page.forecast().frame
        mine = rows[rows["block"] == self.block.value].iloc[0]
        return round(self.desk.units.convert("t_ha", 0.8 * mine["t_ha_p50"]), 1)

    def _label(self):
        self.target.description = f"Target [{self.desk.units.label('t_ha')}]"
        self.target.layout.display = None if self.aim.value == _CROP else "none"

    def _other_block(self, _):
        before = self.target.value
        self.target.value = self._first_target()
        if self.target.value == before:
            self.follow()

    def _follow_units(self):
        if self.desk.units is not self._units:
            metric = self._units.to_metric("t_ha", self.target.value)
            self._units = self.desk.units
            self.target.value = round(self._units.convert("t_ha", metric), 2)

    def show(self):
        """Say what to leave on each vine of the chosen block."""
        self._follow_units()
        self._label()
        self.clear()
        self.found, units, now = None, self.desk.units, self.page.forecast()
        if self.aim.value == _CROP:
            target = float(f"{units.to_metric('t_ha', self.target.value):.6g}")
            found = thin_to(now, self.block.value, target_t_ha=target)
        else:
            found = thin_to(now, self.block.value, ravaz=self.aim.value)
        self.found = found
        self.result.value = (
            '<div class="cl-level" role="status"><p>'
            f"{parts.escape(found.heading(units))}</p></div>"
            '<div class="cl-care"><strong>Before anyone cuts</strong>'
            f"{parts.points(CAUTIONS)}{parts.note(wording.SUPPORT)}</div>"
            f"{parts.points(now.estate.accepted_notes)}"
        )
        self.figure.value = parts.readable_picture(
            plot_thinning(found, units), thinning_text(found, units)
        )
        table = found.table(units)
        self.table.value = table.html(units) if table else ""
