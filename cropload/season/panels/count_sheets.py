"""The panel of count sheets: how many vines, which, the sheet to print, and the sheet come back."""

import base64

import ipywidgets as widgets
import numpy as np

from cropload.errors import CroploadError
from cropload.season.count_plan import sample_vines
from cropload.season.count_sheet import LABELS, read_count_sheet
from cropload.season.vine_picking import block_of
from cropload.season.words import forecast_sentence
from cropload.show.panels import parts, saving
from cropload.show.panels.desk_panel import DeskPanel
from cropload.show.panels.fields import button, choice, field


def download(text, name, kind, words):
    """Return a link that saves a text as a file from the page itself, without any server."""
    data = base64.b64encode(text.encode("utf-8-sig" if kind == "text/csv" else "utf-8")).decode()
    return (
        f'<a style="color:#0072B2;text-decoration:underline" download="{parts.escape(name)}" '
        f'href="data:{kind};base64,{data}">{parts.escape(words)}</a>'
    )


def _whole_rows(box):
    """Return the number in a box of rows; None when it is blank."""
    text = box.value.strip()
    if text and not text.isdecimal():
        raise CroploadError(f"{box.description} must be a whole number or blank, not '{text}'.")
    return int(text) if text else None


class CountSheets(DeskPanel):
    """Plan a count in one block, print its sheet, and read the sheet when it comes back."""

    title = "Count sheets"

    def build(self):
        """Make the form, the preview and the reader."""
        self.planned = None
        self.block = choice("Block to sample", self.desk.blocks, width="20em")
        measures = [(words.lower(), column) for column, words in LABELS.items()]
        self.measure = choice("To count", measures, "clusters", "18em")
        self.beside = choice("and beside it", [("nothing else", ""), *measures], width="20em")
        self.error = parts.number_box("Wanted error, % either way", 10.0, 1)
        self.block_rows = field("Rows of the block", "as recorded", "17em")
        self.rows = field("Rows to walk", "all", "13em")
        self.day = field("Day of the visit", "today", "17em")
        self.seed = widgets.IntText(
            0,
            description="Another pick of vines: number",
            style=parts.LABELLED,
            layout=widgets.Layout(width="19em"),
        )
        for each in (
            self.block, self.measure, self.beside, self.error, self.block_rows, self.rows,
            self.day, self.seed,
        ):  # fmt: skip
            each.observe(lambda _: self.refresh(), "value")
        self.words, self.links, self.preview = parts.html(), parts.html(), parts.html()
        self.write_button = button("Write both sheets beside my records", self.write, "24em")
        self.kept = parts.html()
        self.upload = widgets.FileUpload(
            accept=".csv", multiple=False, description="Choose a filled-in sheet (.csv)",
            layout=widgets.Layout(width="22em"),
        )  # fmt: skip
        self.upload.observe(lambda _: self._uploaded(), "value")
        self.use_button = button("Use these counts", self.use)
        self.use_button.disabled = True
        self.returned = parts.html()
        self.rows_back = None
        self.body.children = [
            parts.row(self.block, self.measure, self.beside),
            parts.row(self.error, self.block_rows, self.rows, self.day, self.seed),
            self.words,
            parts.row(self.links, self.write_button),
            self.kept,
            self.preview,
            parts.html(parts.head("A sheet that came back")),
            parts.row(self.upload, self.use_button),
            self.returned,
        ]

    def show(self):
        """Plan the count and show its sheet."""
        self.planned = None
        for each in (self.words, self.links, self.preview):
            each.value = ""
        known, walked = (_whole_rows(each) for each in (self.block_rows, self.rows))
        recorded = block_of(self.desk.records, self.block.value).get("rows", np.nan)
        if known is None and np.isnan(recorded):
            self.words.value = parts.note(
                f"How many rows {self.block.value} has is not on record. Write it into “Rows of "
                "the block”, or fill column rows of table blocks."
            )
            return
        self.planned = sample_vines(
            self.desk.records,
            self.block.value,
            self.measure.value,
            beside=[self.beside.value] if self.beside.value else (),
            error=self.error.value / 100,
            season=self.desk.season,
            rows=known,
            rows_to_walk=walked,
            date=self.day.value.strip() or None,
            seed=self.seed.value,
            units=self.desk.units,
        )
        plan = self.planned
        self.words.value = parts.note(plan.words) + parts.points(plan.notes)
        stem = self._stem()
        self.links.value = (
            download(plan.html, f"{stem}.html", "text/html", "Download the sheet to print")
            + " &nbsp; "
            + download(plan.csv, f"{stem}.csv", "text/csv", "Download the CSV to fill in")
        )
        page = parts.escape(plan.html)
        self.preview.value = (
            "<details class='cl-source'><summary>Look at the sheet</summary>"
            f'<iframe sandbox="" title="Count sheet of {parts.escape(plan.block)}" '
            f'style="width:100%;height:30em;border:1px solid #999" srcdoc="{page}"></iframe>'
            "</details>"
        )

    def _stem(self):
        return saving.file_stem(f"count_{self.measure.value}", self.block.value, self.desk.season)

    def write(self):
        """Write the sheets as new files into ``results`` beside the records."""

        def action():
            if self.planned is None:
                raise CroploadError("There is no sheet to write; see the message above.")
            folder = saving.results_folder(self.desk.base)
            page = saving.new_file(folder, self._stem(), ".html")
            csv = page.with_suffix(".csv")
            self.planned.write(csv, page)
            return f"the sheets are {page} and {csv.name}."

        parts.tell(self.kept, action, "The sheets were not written")

    def _uploaded(self):
        if self.upload.value:
            content = bytes(self.upload.value[0]["content"])
            self.read(content, self.upload.value[0]["name"])

    def read(self, content, name="count sheet"):
        """Read a filled-in sheet, and say everything that is wrong with it.

        Parameters
        ----------
        content : bytes
            The CSV file.
        name : str
            Its name, for messages.
        """
        self.rows_back, self.use_button.disabled = None, True
        try:
            try:
                text = content.decode("utf-8-sig")
            except UnicodeDecodeError:
                raise CroploadError(f"{name} is not UTF-8; save it as CSV UTF-8.") from None
            sheet = read_count_sheet(text + "\n", self.block.value)
            table = sheet.frame
            seasons = set(table["season"]) - {self.desk.season}
            if seasons:
                raise CroploadError(
                    f"{name} is for season {min(seasons)}, but season {self.desk.season} is "
                    "chosen above."
                )
            if table.empty:
                raise CroploadError(f"Every box of {name} is blank; there is nothing to use.")
            known = self.desk.records.counts
            keys = ["season", "date", "block", "row", "vine"]
            twice = table[keys].astype(str).merge(known[keys].astype(str), on=keys)
            if len(twice):
                raise CroploadError(
                    f"{len(twice)} vines of {name} are on record for that day already, such as "
                    f"row {twice.iloc[0]['row']}, vine {twice.iloc[0]['vine']}."
                )
        except CroploadError as fault:
            self.returned.value = parts.error(str(fault))
            return
        except Exception as fault:
            self.returned.value = parts.error(
                f"{name} cannot be read ({type(fault).__name__}: {fault}). Use the sheet as it was "
                "made."
            )
            return
        self.rows_back, self.use_button.disabled = table, False
        means = ", ".join(
            f"{LABELS[c].lower()} {table[c].mean():.1f}" for c in table if c in LABELS
        )
        blank = sheet.blank
        self.returned.value = parts.done(
            f"{len(table)} vines read from {name}, {blank} left blank. Means: {means}. Press “Use "
            "these counts” to let them speak."
        )

    def use(self):
        """Let the counts of the sheet that came back speak in the forecast."""
        if self.rows_back is None:
            return
        table, block = self.rows_back, self.block.value
        self.rows_back, self.use_button.disabled = None, True
        rows = [
            {name: value for name, value in row.items() if value == value}
            for row in table.to_dict("records")
        ]
        try:
            self.desk.enter("counts", rows, table["date"].max())
        except Exception as fault:
            self.returned.value = parts.error(
                f"The counts cannot be used ({type(fault).__name__}: {fault}). Your records are as "
                "they were."
            )
            return
        text = parts.done(
            f"{len(rows)} vines of {block} are in the forecast, not saved yet. Save them under "
            "“What to count next”."
        )
        if self.desk.forecast is not None:
            text += parts.note(
                forecast_sentence(self.desk.forecast, "block", block, self.desk.units)
            )
        self.returned.value = text
