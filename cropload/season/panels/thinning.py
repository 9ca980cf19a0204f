"""The fold of thinning: clusters to keep for a target crop or balance, with cautions."""

from cropload import handbook
from cropload.season.charts import plot_thinning, thinning_text
from cropload.season.panels.count_entry import read_numbers
from cropload.season.panels.season_part import SeasonPart
from cropload.season.thinning import CAUTIONS, thin_to
from cropload.show import wording
from cropload.show.panels import parts
from cropload.show.panels.fields import choice, field
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
        self.target = field("Target", "a crop to aim at", "20em")
        self._units = self.desk.units
        self._label()
        self.follows(self.block, self.aim, self.target)
        self.result, self.figure, self.table = self.told = [parts.html() for _ in range(3)]
        self.body.children = (parts.row(self.block, self.aim, self.target), *self.told)

    @staticmethod
    def _band_words(key):
        return wording.band_text(bands.resolve(key, key, "this figure"))

    def _label(self):
        self.target.description = f"Target [{self.desk.units.label('t_ha')}]"
        self.target.layout.display = None if self.aim.value == _CROP else "none"

    def _follow_units(self):
        if self.desk.units is not self._units:
            old, self._units = self._units, self.desk.units
            if self.target.value.strip():
                metric = old.to_metric("t_ha", read_numbers(self.target.value)[0])
                self.target.value = f"{self._units.convert('t_ha', metric):.2f}"

    def _missing(self, now):
        """Return what has to be there before thinning can be advised, in a sentence, or nothing."""
        counted = now.estate.measured
        counted = counted[(counted["season"] == now.season) & (counted["stage"] == "clusters")]
        if self.block.value not in set(counted["block"]):
            return f"Count clusters in {self.block.value} first: how many to leave hangs on them."
        if self.aim.value == _CROP and not self.target.value.strip():
            return "Give a target."
        return ""

    def show(self):
        """Say what to leave on each vine of the chosen block."""
        self._follow_units()
        self._label()
        self.clear()
        self.found, units, now = None, self.desk.units, self.page.forecast()
        missing = self._missing(now)
        if missing:
            self.result.value = parts.note(missing)
            return
        if self.aim.value == _CROP:
            (target,) = read_numbers(self.target.value)[:1]
            target = float(f"{units.to_metric('t_ha', target):.6g}")
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
