"""The fold of count sheets: how many vines, which, the sheet to print, and the sheet come back."""

import ipywidgets as widgets
import numpy as np
import pandas as pd

from cropload.errors import CroploadError
from cropload.season.count_plan import sample_vines
from cropload.season.count_sheet import LABELS, read_count_sheet
from cropload.season.panels.season_part import SeasonPart
from cropload.season.vine_picking import block_of
from cropload.season.words import forecast_sentence
from cropload.show.hand_out import HandOut
from cropload.show.panels import parts, saving
from cropload.show.panels.fields import button, choice, day_field, field


def _whole_rows(box):
    """Return the number in a box of rows; None when it is blank."""
    text = box.value.strip()
    if text and not text.isdecimal():
        raise CroploadError(f"{box.description} must be a whole number or blank, not '{text}'.")
    return int(text) if text else None


class CountSheets(SeasonPart):
    """Plan a count in one block, print its sheet, and read the sheet when it comes back."""

    def build(self):
        """Make the form and the reader."""
        self.planned = self.rows_back = None
        self.block = choice("Block to sample", self.desk.blocks, self.desk.block, "20em")
        measures = [(words.lower(), column) for column, words in LABELS.items()]
        self.measure = choice("To count", measures, "clusters", "18em")
        self.beside = choice("and beside it", [("nothing else", ""), *measures], width="20em")
        self.error = parts.number_box("Wanted error, % either way", 10.0, 1)
        self.block_rows = field("Rows of the block", "as recorded", "17em")
        self.rows = field("Rows to walk", "all", "13em")
        self.day = day_field("Day of the visit")
        self.seed = widgets.IntText(
            0,
            description="Another pick of vines: number",
            style=parts.LABELLED,
            layout=widgets.Layout(width="19em"),
        )
        self.follows(
            self.block, self.measure, self.beside, self.error, self.block_rows, self.rows,
            self.day, self.seed,
        )  # fmt: skip
        self.words, self.kept, self.returned = parts.html(), parts.html(), parts.html()
        self.told = (self.words,)
        self.page_button = HandOut("the sheet to print", self._page, self._tell, opens=True)
        self.csv_button = HandOut("the sheet as CSV to fill in", self._csv, self._tell)
        self.upload = widgets.FileUpload(
            accept=".csv", multiple=False, description="choose a filled-in sheet (.csv)",
            layout=widgets.Layout(width="auto"),
        )  # fmt: skip
        self.upload.observe(lambda _: self._uploaded(), "value")
        self.use_button = button("use these counts", self.use, "auto")
        self.use_button.disabled = True
        self.body.children = (
            parts.row(self.block, self.measure, self.beside),
            parts.row(self.error, self.block_rows, self.rows, self.day, self.seed),
            self.words,
            parts.row(self.page_button, self.csv_button),
            self.kept,
            parts.html(parts.head("A sheet that came back")),
            parts.row(self.upload, self.use_button),
            self.returned,
        )

    def show(self):
        """Plan the count."""
        self.planned, self.kept.value = None, ""
        self.clear()
        self.page_button.disabled = self.csv_button.disabled = True
        known, walked = (_whole_rows(each) for each in (self.block_rows, self.rows))
        recorded = block_of(self.page.now, self.block.value).get("rows", np.nan)
        if known is None and np.isnan(recorded):
            self.words.value = parts.note(
                f"How many rows {self.block.value} has is not on record. Write it into “Rows of "
                "the block”, or fill column rows of table blocks."
            )
            return
        self.planned = plan = sample_vines(
            self.page.now,
            self.block.value,
            self.measure.value,
            beside=[self.beside.value] if self.beside.value else (),
            error=self.error.value / 100,
            season=self.desk.season,
            rows=known,
            rows_to_walk=walked,
            date=None if self.day.value is None else pd.Timestamp(self.day.value),
            seed=self.seed.value,
            units=self.desk.units,
        )
        self.words.value = parts.note(plan.words) + parts.points(plan.notes)
        self.page_button.disabled = self.csv_button.disabled = False

    def _named(self, ending, text, encoding="utf-8"):
        if self.planned is None:
            raise CroploadError("There is no sheet yet; see the message above.")
        kind = f"count_{self.measure.value}"
        stem = saving.file_stem(kind, self.block.value, self.desk.season)
        return stem + ending, text(self.planned).encode(encoding)

    def _page(self):
        return self._named(".html", lambda plan: plan.html)

    def _csv(self):
        return self._named(".csv", lambda plan: plan.csv, "utf-8-sig")

    def _tell(self, text):
        self.kept.value = parts.error(text) if text else ""

    def _uploaded(self):
        if self.upload.value:
            content = bytes(self.upload.value[0]["content"])
            self.read(content, self.upload.value[0]["name"])

    def read(self, content, name="count sheet"):
        """Read a filled-in sheet of any block, and say everything that is wrong with it.

        Parameters
        ----------
        content : bytes
            The CSV file.
        name : str
            Its name, for messages.
        """
        self.rows_back, self.use_button.disabled = None, True
        try:
            sheet = self._checked(content, name)
        except CroploadError as fault:
            self.returned.value = parts.error(str(fault))
            return
        except Exception as fault:
            self.returned.value = parts.error(
                f"{name} cannot be read ({type(fault).__name__}: {fault}). Use the sheet as it was "
                "made."
            )
            return
        table = sheet.frame
        self.rows_back, self.use_button.disabled = table, False
        means = ", ".join(
            f"{LABELS[c].lower()} {table[c].mean():.1f}" for c in table if c in LABELS
        )
        self.returned.value = parts.done(
            f"{len(table)} vines of {_blocks(table)} read from {name}, {sheet.blank} left blank. "
            f"Means: {means}. Press “use these counts” to let them speak."
        )

    def _checked(self, content, name):
        """Return the sheet; what is wrong with it is raised as CroploadError."""
        try:
            text = content.decode("utf-8-sig")
        except UnicodeDecodeError:
            raise CroploadError(f"{name} is not UTF-8; save it as CSV UTF-8.") from None
        sheet = read_count_sheet(text + "\n")
        table = sheet.frame
        if table.empty:
            raise CroploadError(f"Every box of {name} is blank; there is nothing to use.")
        unknown = [each for each in dict.fromkeys(table["block"]) if each not in self.desk.blocks]
        if unknown:
            raise CroploadError(
                f"{name} is for block {unknown[0]}, which is not in table blocks: "
                f"{', '.join(self.desk.blocks)}."
            )
        seasons = set(table["season"]) - {self.desk.season}
        if seasons:
            raise CroploadError(
                f"{name} is for season {min(seasons)}, but season {self.desk.season} is chosen "
                "above."
            )
        self.page.entered.check_new(table, name)
        return sheet

    def use(self):
        """Let the counts of the sheet that came back speak in the forecast."""
        if self.rows_back is None:
            return
        table, units = self.rows_back, self.desk.units
        self.rows_back, self.use_button.disabled = None, True
        rows = [
            {name: value for name, value in row.items() if value == value}
            for row in table.to_dict("records")
        ]
        try:
            self.page.entered.add("counts", rows, table["date"].max())
            text = parts.done(f"{len(rows)} vines of {_blocks(table)} are in the forecast.")
            for block in dict.fromkeys(table["block"]):
                told = forecast_sentence(self.page.forecast(), "block", block, units)
                text += parts.note(told)
        except Exception as fault:
            text = parts.error(
                f"The counts cannot be used ({type(fault).__name__}: {fault}). Your records are as "
                "they were."
            )
        self.returned.value = text


def _blocks(table):
    return ", ".join(dict.fromkeys(table["block"]))
