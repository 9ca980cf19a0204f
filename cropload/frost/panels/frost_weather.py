"""The choices of a block's weather: station, logger, offset at night, and when buds burst."""

import ipywidgets as widgets
import numpy as np

from cropload.errors import CroploadError
from cropload.frost.years import block_weather
from cropload.show.panels import parts
from cropload.show.panels.fields import choice, field
from cropload.vine.weather.station_offset import station_of_block

OWN_LOGGER = "none: offset as entered"


class FrostWeather(widgets.VBox):
    """Choose where a block's nights come from.

    Parameters
    ----------
    records : Records
        Records with a table ``weather``.
    units : UnitSystem
        Units of the offset.
    changed : callable
        Called without arguments after a change by the user.
    """

    def __init__(self, records, units, changed):
        self.records, self.units, self._quiet = records, units, False
        stations = sorted(set(records.weather["station"].dropna().astype(str)) - {""})
        self.station = choice("Weather station", stations, width="24em")
        self.logger = choice("Offset from a logger in the block", [OWN_LOGGER], width="34em")
        self.offset = parts.number_box("Block less station at night [°C]", 0.0, 0.1)
        self.spread = parts.number_box("its spread [°C]", 0.0, 0.1)
        self.sum = field("Budburst heat sum [°C d above 5 °C]", "blank: from dates", "30em")

        def tell(_):
            if not self._quiet:
                changed()

        for each in (self.station, self.logger, self.offset, self.spread, self.sum):
            each.observe(tell, "value")
        super().__init__(
            [parts.row(self.station, self.logger, self.offset, self.spread), parts.row(self.sum)]
        )

    def open_block(self, block):
        """Start from a block's own station and offset."""
        named, offset = station_of_block(self.records, block)
        known = list(self.station.options)
        self._quiet = True
        if named in known:
            self.station.value = named
        self._show_offset(offset)
        self.logger.options = [OWN_LOGGER, *(name for name in known if name != self.station.value)]
        self.logger.value = OWN_LOGGER
        self._quiet = False

    def _show_offset(self, offset):
        degree = self.units.show("temperature_c")[1]
        self.offset.value = round(offset.mean_c * degree, 2)
        self.spread.value = round(offset.spread_c * degree, 2)

    def _given_sum(self):
        text = self.sum.value.strip()
        if not text:
            return None
        try:
            return float(text.replace(",", "."))
        except ValueError:
            raise CroploadError(
                f"The budburst heat sum is a number of degree days or blank, not '{text}'."
            ) from None

    def read(self, block):
        """Return the weather of a block as chosen; an offset learnt from a logger is shown.

        Raises
        ------
        CroploadError
            For an offset or a sum that is no number, or weather that does not do.
        """
        degree = self.units.show("temperature_c")[1]
        own = self.logger.value == OWN_LOGGER
        for label, box in (("Block less station", self.offset), ("its spread", self.spread)):
            if own and not np.isfinite(box.value):
                raise CroploadError(f"{label} is a number of degrees, not {box.value:g}.")
        found = block_weather(
            self.records,
            block,
            station=self.station.value,
            offset=self.offset.value / degree if own else None,
            offset_spread=self.spread.value / degree if own else None,
            logger=None if own else self.logger.value,
            budburst_sum=self._given_sum(),
        )
        if not own:
            self._quiet = True
            self._show_offset(found.offset)
            self._quiet = False
        self.offset.disabled = self.spread.disabled = not own
        return found

    def use_units(self, units):
        """Show the offset in other units, the same difference."""
        factor = units.show("temperature_c")[1] / self.units.show("temperature_c")[1]
        unit = units.label("temperature_c")
        self.units, self._quiet = units, True
        self.offset.value = round(self.offset.value * factor, 2)
        self.spread.value = round(self.spread.value * factor, 2)
        self.offset.description = f"Block less station at night [{unit}]"
        self.spread.description = f"its spread [{unit}]"
        self._quiet = False
