"""Daily weather files of a service, taken into the records from the frost page."""

from pathlib import Path

import ipywidgets as widgets

from cropload.frost.take_weather import take_weather
from cropload.records.reading.weather_layouts import DEGREES
from cropload.records.records import read_records
from cropload.show.page_part import PagePart
from cropload.show.panels import parts, saving
from cropload.show.panels.fields import choice, field
from cropload.vine.weather.station_offset import station_of_block


class DailyFiles(PagePart):
    """Choose daily files; their new days are added to table weather, and the springs follow.

    Parameters
    ----------
    page : FrostCover
        The page it stands on.
    """

    needs = ("block",)

    def build(self):
        """Make the fields and the upload."""
        self.station = field("Station in your records", "as column station of blocks", "26em")
        self.code = field("Its code in the file", "where one holds several", "24em")
        told = [("as the file tells", None), *((words, name) for name, words in DEGREES.items())]
        self.degrees = choice("Its temperatures", told, width="24em")
        self.upload = widgets.FileUpload(
            accept=".csv,.txt,.dly", multiple=True, description="choose daily files",
            layout=widgets.Layout(width="auto"),
        )  # fmt: skip
        self.upload.observe(self._uploaded, "value")
        self.answer = parts.html()
        self.told = (self.answer,)
        self.body.children = (
            parts.html(
                parts.head("Daily files of a weather service or logger")
                + parts.note(
                    "As published by Environment and Climate Change Canada, NOAA, DWD or "
                    "Meteo-France, or any table with a date and both temperatures. New days are "
                    "added to table weather; a day on record stays."
                )
            ),
            parts.row(self.station, self.code, self.degrees, self.upload),
            self.answer,
        )

    def show(self):
        """Start from the block's own station."""
        self.station.value = station_of_block(self.desk.records, self.desk.block)[0] or ""

    def _uploaded(self, _):
        if self.upload.value:
            files = {each["name"]: bytes(each["content"]) for each in self.upload.value}
            self.take(files)
            self.upload.value = ()

    def take(self, files):
        """Take the days of files, and say what came of it.

        Parameters
        ----------
        files : mapping
            Name -> bytes.
        """
        parts.tell(self.answer, lambda: self._taken(files), "Nothing was added")

    def _taken(self, files):
        path = saving.own_folder(self.desk.records, "keep weather")
        code = self.code.value.strip() or None
        found = take_weather(files, self.station.value, path, code=code, degrees=self.degrees.value)
        if not isinstance(self.desk.given, (str, Path)):
            self.desk.given = read_records(path)
        self.desk.read()
        return " ".join([found.heading(), *found.notes])
