"""The choices of a block's weather: station, logger, offset at night, and when buds burst."""

import numpy as np

from cropload import handbook
from cropload.errors import CroploadError
from cropload.show.page_part import PagePart
from cropload.show.panels import parts
from cropload.show.panels.fields import choice, field
from cropload.vine.weather.station_offset import station_of_block

OWN_LOGGER = "none: offset as entered"


class FrostWeather(PagePart):
    """Choose where a block's nights come from, which crop counts, and what a frost year is.

    Parameters
    ----------
    page : FrostCover
        The page it stands on.
    """

    needs = ("block", "units", "weather")

    def __init__(self, page):
        self.units, self._quiet, self._of = page.desk.units, False, None
        super().__init__(page)

    def build(self):
        """Make the boxes."""
        self.stations = []
        self.station = choice("Weather station", self.stations, width="24em")
        self.logger = choice("Offset from a logger in the block", [OWN_LOGGER], width="34em")
        self.offset = parts.number_box("Block less station at night [°C]", 0.0, 0.1)
        self.spread = parts.number_box("its spread [°C]", 0.0, 0.1)
        self.sum = field("Budburst heat sum [°C d above 5 °C]", "blank: from dates", "30em")
        self.crop = choice(
            "Crop", [("settled (third season on)", True), ("first season", False)], True, "20em"
        )
        heavy = 100 * handbook.value("frost.heavy_loss")
        self.heavy = parts.number_box("A frost year loses more than [%]", heavy, 5)
        for each in (self.station, self.logger, self.offset, self.spread, self.sum):
            each.observe(self._weather, "value")
        for each in (self.crop, self.heavy):
            each.observe(self._counted, "value")
        self.body.children = (
            parts.row(self.station, self.logger, self.offset, self.spread),
            parts.row(self.sum, self.crop, self.heavy),
        )

    def show(self):
        """Start from a block's own station and offset, or from what was chosen for it."""
        desk = self.desk
        self._quiet = True
        stations = sorted(set(desk.records.weather["station"].dropna().astype(str)) - {""})
        try:
            if self.stations != stations:
                kept, self.stations = self.station.value, stations
                self.station.options = stations
                self.station.value = kept if kept in stations else None
                self._of = None if kept is None else self._of
            if self._of != desk.block:
                self._of = desk.block
                named, _ = station_of_block(desk.records, desk.block)
                given = self.page.given.get(desk.block, {})
                station = given.get("station", named)
                if station in self.stations:
                    self.station.value = station
                others = [name for name in self.stations if name != self.station.value]
                self.logger.options = [OWN_LOGGER, *others]
                self.logger.value = given.get("logger") or OWN_LOGGER
                self.sum.value = f"{given.get('budburst_sum') or ''}"
            self.units, unit = desk.units, desk.units.label("temperature_c")
            self.offset.description = f"Block less station at night [{unit}]"
            self.spread.description = f"its spread [{unit}]"
            degree, offset = self._degree(), self.page.weather().offset
            self.offset.value = round(offset.mean_c * degree, 2)
            self.spread.value = round(offset.spread_c * degree, 2)
            self.offset.disabled = self.spread.disabled = self.logger.value != OWN_LOGGER
        finally:
            self._quiet = False

    def _degree(self):
        return self.units.show("temperature_c")[1]

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

    @parts.guarded
    def _weather(self, _):
        if self._quiet:
            return
        own = self.logger.value == OWN_LOGGER
        for label, box in (("Block less station", self.offset), ("its spread", self.spread)):
            if own and not np.isfinite(box.value):
                raise CroploadError(f"{label} is a number of degrees, not {box.value:g}.")
        self.page.given[self.desk.block] = {
            "station": self.station.value,
            "offset": self.offset.value / self._degree() if own else None,
            "offset_spread": self.spread.value / self._degree() if own else None,
            "logger": None if own else self.logger.value,
            "budburst_sum": self._given_sum(),
        }
        self.desk.follow("weather")

    def _counted(self, _):
        self.page.settled, self.page.heavy_loss = self.crop.value, self.heavy.value / 100
        self.desk.follow("counted")
