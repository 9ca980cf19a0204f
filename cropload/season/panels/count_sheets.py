"""The fold of count sheets: how many vines, which, the sheet to print, and the sheet come back."""

import ipywidgets as widgets
import numpy as np
import pandas as pd

from cropload.errors import CroploadError
from cropload.records.reading.faults import Fault, RecordsError
from cropload.season.count_plan import sample_vines
from cropload.season.count_sheet import LABELS
from cropload.season.panels.season_part import SeasonPart
from cropload.season.take import new_rows, read_sheets
from cropload.season.vine_picking import block_of
from cropload.season.words import forecast_sentence
from cropload.show.hand_out import HandOut
from cropload.show.panels import parts, saving
from cropload.show.panels.fields import button, choice, day_field, field

#: Doubts of a sheet that are shown [1].
_DOUBTS = 3


def _whole_rows(box):
    """Return the number in a box of rows; None when it is blank."""
    text = box.value.strip()
    if text and not text.isdecimal():
        raise CroploadError(f"{box.description} must be a whole number or blank, not '{text}'.")
    return int(text) if text else None


class CountSheets(SeasonPart):
    """Plan a count in one block, print its sheet, and read the sheets that come back."""

    def build(self):
        """Make the form and the reader."""
        self.planned = self.rows_back = None
        self.block = choice("Block to sample", self.desk.blocks, self.desk.block, "20em")
        measures = [(words.lower(), column) for column, words in LABELS.items()]
        self.measure = choice("To count", measures, "clusters", "18em")
        beside = [("nothing else", ()), *((words, (column,)) for words, column in measures)]
        beside.append(("buds, shoots and clusters", ("buds", "shoots", "clusters")))
        self.beside = choice("and beside it", beside, (), "20em")
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
            accept=".csv,.xlsx", multiple=True,
            description="choose filled-in sheets (.csv, .xlsx)",
            layout=widgets.Layout(width="auto"),
        )  # fmt: skip
        self.upload.observe(lambda _: self._uploaded(), "value")
        self.use_button = button("use these counts", self.use, "auto")
        self.use_button.disabled = True
        self.save_button = button("save to my records", self.save, "auto")
        self.waiting, self.wrong = parts.html(), parts.html()
        self.body.children = (
            parts.row(self.block, self.measure, self.beside),
            parts.row(self.error, self.block_rows, self.rows, self.day, self.seed),
            self.words,
            parts.row(self.page_button, self.csv_button),
            self.kept,
            parts.html(parts.head("Sheets that came back")),
            parts.row(self.upload, self.use_button, self.save_button),
            self.returned,
            self.waiting,
            self.wrong,
        )

    def show(self):
        """Plan the count, and say what waits to be saved."""
        told = self.page.entered.waiting()
        self.save_button.layout.display = None if told else "none"
        self.waiting.value = parts.note(told) if told else ""
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
            beside=self.beside.value,
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
            self.read([(each["name"], bytes(each["content"])) for each in self.upload.value])

    def read(self, files):
        """Read filled-in sheets of any blocks, and say everything that is wrong with them.

        Parameters
        ----------
        files : list of (str, bytes)
            Their names, and their contents.
        """
        self.rows_back, self.use_button.disabled = None, True
        self.wrong.value = ""
        self.returned.value = "".join(self._read(files))

    def _read(self, files):
        try:
            sheets, faults = read_sheets(files, self.page.now)
        except Exception as fault:
            yield parts.error(f"The sheets cannot be read ({type(fault).__name__}: {fault}).")
            return
        season, mine = self.desk.season, []
        for sheet in sheets:
            others = set(sheet.frame["season"]) - {season}
            if others:
                rule = f"season {season} is chosen above"
                mend = "Choose the season of the sheet, or correct it."
                faults.append(Fault(sheet.file, None, "season", str(min(others)), rule, mend))
                continue
            mine.append(sheet)
            yield parts.note(sheet.words("read"))
            yield parts.points([str(doubt) for doubt in sheet.doubts[:_DOUBTS]])
        if faults:
            self.wrong.value = parts.error(str(RecordsError(faults, "These sheets are not taken")))
        rows = new_rows(mine)
        if len(rows):
            self.rows_back, self.use_button.disabled = rows, False
            yield parts.done("Press “use these counts” to let them speak.")

    def use(self):
        """Let the counts of the sheets that came back speak in the forecast."""
        if self.rows_back is None:
            return
        table, units = self.rows_back, self.desk.units
        self.rows_back, self.use_button.disabled = None, True
        rows = [
            {name: value for name, value in row.items() if value == value}
            for row in table.to_dict("records")
        ]
        blocks = list(dict.fromkeys(table["block"]))

        def action():
            self.page.entered.add("counts", rows, table["date"].max())
            self.upload.value = ()
            found = self.page.forecast()
            told = [forecast_sentence(found, "block", block, units) for block in blocks]
            return " ".join([f"{_listed(table)} in the forecast.", *told])

        parts.tell(
            self.returned, action, "The counts cannot be used; your records are as they were"
        )

    def save(self):
        """Add what was entered to the user's own tables."""
        parts.tell(self.returned, self.page.entered.save)


def _listed(table):
    vines = table["block"].value_counts(sort=False)
    each = (
        f"{number} {'vine' if number == 1 else 'vines'} of {block}"
        for block, number in vines.items()
    )
    return " and ".join(each) + (" is" if len(table) == 1 else " are")
