"""What lies folded on the winery page: picking dates, tables, moves, contracts, what moved."""

import ipywidgets as widgets

from cropload import handbook
from cropload.beliefs.dates.picking_dates import parse
from cropload.errors import CroploadError
from cropload.records.writing.gate import private_folder
from cropload.records.writing.results import frame_result
from cropload.season.charts import change_rows
from cropload.season.forecast_log import log_forecast, read_log
from cropload.season.season_days import season_days
from cropload.season.tables import change_blocks
from cropload.season.what_moved import change_notes, what_moved
from cropload.season.words import change_sentence
from cropload.show.hand_out import HandOut
from cropload.show.page_part import PagePart
from cropload.show.panels import parts, saving
from cropload.show.panels.fields import button, choice, day_field, field
from cropload.winery import tables
from cropload.winery.cellar import cellar_of
from cropload.winery.contracts import contract_book, contract_table
from cropload.winery.fit import fit_of
from cropload.winery.panels.winery_intake import NEEDS, WEEK
from cropload.winery.relief import relieve
from cropload.winery.sheets import intake_book, intake_sheets
from cropload.winery.words import (
    CAUTION,
    NO_CAPACITY,
    NO_PRICES,
    TERMS,
    book_title,
    cellar_sentence,
    contract_words,
    export,
    fit_sentence,
    intake_sentence,
)


class PickingDates(PagePart):
    """When each block is picked: from its own days between stages, or as entered."""

    needs = NEEDS

    def build(self):
        """Make the choices, the buttons and the table."""
        self.block = choice("Block", self.desk.blocks, width="24em")
        self.day = day_field("Picking date")
        self.text = field("or dates with shares", "2027-09-20 60 %, 2027-09-27 40 %", "36em")
        self.use_button = button("use as picking date", self._use, "auto")
        self.back_button = button("back to the forecast date", self._back, "auto")
        self.kept, self.table = parts.html(), parts.html()
        self.body.children = (
            parts.html(
                parts.note(
                    "Dates come from the days between each block's own stages, season by season, "
                    "and narrow with every stage reached. A date you enter is taken as known; it "
                    "stays on this page and changes no records."
                )
            ),
            parts.row(self.block, self.day, self.text, self.use_button, self.back_button),
            self.kept,
            self.table,
        )

    def _use(self):
        def action():
            written = self.text.value.strip()
            if not written and self.day.value is None:
                raise CroploadError("Choose a picking date, or write dates with shares.")
            if not written:
                written = f"{self.day.value:%Y-%m-%d}"
            self.page.enter_pick(self.block.value, parse(written))
            return f"{self.block.value} is picked on {written}."

        parts.tell(self.kept, action)

    def _back(self):
        def action():
            self.page.enter_pick(self.block.value, None)
            return f"{self.block.value} goes by its forecast date."

        parts.tell(self.kept, action)

    def show(self):
        """Show the dates as they are now."""
        table = tables.date_table(self.page.dates(), self.page.forecast)
        self.table.value = table.html(self.desk.units)


class IntakeTables(PagePart):
    """The intake in figures: by period, by variety or block, and against each limit."""

    needs = NEEDS

    def build(self):
        """Make the choice, the tables and the buttons."""
        blocks = self.desk.records.blocks
        named = [by for by in ("grower", "site") if (blocks[by] != "").any()]
        self.by = choice("Table by", ["variety", "block", *named], width="14em")
        self.by.observe(lambda _: self._show(), "value")
        self.answer = parts.html()
        self.files = [
            HandOut(f"intake as {words}", lambda end=end: self.file(end), self._tell)
            for end, words in ((".csv", "CSV"), (".xlsx", "Excel"))
        ]
        self.body.children = (parts.row(self.by, *self.files), self.answer)

    def _tell(self, text):
        self.message.value = parts.error(text) if text else ""

    @property
    def schedule(self):
        """The intake by the period chosen beside the picture."""
        return self.page.schedule(self.page.intake.period.value)

    def show(self):
        """Show the tables."""
        units, schedule = self.desk.units, self.schedule
        limits = self.page.limits(self.page.intake.period.value)
        text = parts.note(intake_sentence(schedule, limits, units))
        if not schedule.empty:
            text += tables.totals_table(schedule, self.by.value, None, units).html(units)
            text += tables.group_table(schedule, self.by.value, units).html(units)
            text += tables.intake_table(schedule, "estate", limits, units).html(units)
        if limits is not None and len(limits):
            text += tables.limit_table(limits).html(units)
        self.answer.value = text

    def file(self, ending):
        """Return the name and the bytes of the intake as a file."""
        if self.schedule.empty:
            raise CroploadError(self.schedule.heading())
        by = self.by.value
        name = f"{saving.file_stem('intake', by, self.desk.season)}{ending}"
        return name, frame_result(name, export(self.schedule, by, self.desk.units)).data


class BlocksToMove(PagePart):
    """Which blocks could be picked on other days, so that no period is likely too full."""

    needs = NEEDS

    def __init__(self, page):
        self.found = None
        super().__init__(page)

    def build(self):
        """Make the choices and the button."""
        days = int(handbook.value("intake.move_days"))
        self.earlier = parts.number_box("Days earlier at most", days)
        self.later = parts.number_box("Days later at most", days)
        self.held = widgets.SelectMultiple(
            options=self.desk.blocks,
            description="Blocks that must stay",
            rows=min(max(len(self.desk.blocks), 2), 6),
            style=parts.LABELLED,
            layout=widgets.Layout(width="26em", max_width="100%"),
        )
        self.costs = {
            "move": parts.number_box("A tonne moved by a day costs"),
            "outside": parts.number_box("A tonne of room booked elsewhere costs"),
            "short": parts.number_box("A tonne without room costs"),
            "wait": parts.number_box("A tonne that waits a night costs"),
        }
        self.find_button = button("find blocks to move", self.find, "auto")
        self.progress = widgets.IntProgress(
            0, 0, 1, description="Blocks", style=parts.LABELLED, layout={"display": "none"}
        )
        self.answer = parts.html()
        told = "With your prices it looks for what costs least; with none, for the fewest tonnes."
        self.body.children = (
            parts.row(self.earlier, self.later),
            parts.html(parts.note(told)),
            parts.row(*self.costs.values()),
            parts.row(self.held, self.find_button, self.progress),
            self.answer,
        )

    def _tell(self, done, total):
        self.progress.max, self.progress.value = total, done

    def _prices(self):
        """Return the prices that are given, or None where none is."""
        given = {name: box.value for name, box in self.costs.items() if box.value}
        return given or None

    def show(self):
        """Take an answer away that belongs to another forecast or other dates."""
        self.find_button.disabled = self.desk.records.capacity.empty
        self.clear()

    def clear(self):
        """Take the answer away."""
        self.found = None
        if self.built:
            missing = self.desk.records.capacity.empty
            self.answer.value = parts.note(NO_CAPACITY) if missing else ""

    @parts.guarded
    def find(self):
        """Search, and show the moves with what they leave."""
        self.message.value = ""
        window = (-abs(self.earlier.value), abs(self.later.value))
        windows = dict.fromkeys(self.desk.blocks, window)
        windows |= dict.fromkeys(self.held.value, (0, 0))
        schedule = self.page.schedule(WEEK)
        if schedule.empty:
            raise CroploadError(schedule.heading())
        records = self.desk.records
        self.progress.value, self.progress.layout.display = 0, None
        try:
            found = relieve(
                schedule,
                records.capacity,
                windows=windows,
                costs=self._prices(),
                progress=self._tell,
                **{name: getattr(records, name) for name in ("tanks", "presses", "pickers")},
            )
        finally:
            self.progress.layout.display = "none"
        self.found = found
        said = f'<div role="status">{parts.note(found.heading(self.desk.units))}</div>'
        shown = "".join(table.html(self.desk.units) for table in found.tables(self.desk.units))
        self.answer.value = said + shown + "".join(map(parts.note, found.notes))


def growers_html(page):
    """Return each grower's crop and busiest period, and how the grower's contracts stand."""
    records, units, schedule = page.desk.records, page.desk.units, page.schedule()
    if schedule.empty:
        return parts.note(schedule.heading())
    text = tables.totals_table(schedule, "grower", None, units).html(units)
    book = contract_book(records)
    if len(book):
        told = contract_words(contract_table(page.forecast, book, records.blocks), book, units)
        text += parts.points([f"{grower}: {line}" for grower in told for line in told[grower]])
    return text


def contracts_html(page):
    """Return room left under contracts and excess over them, and what they pay, as HTML."""
    records = page.desk.records
    book = contract_book(records)
    if book.empty:
        return parts.note(NO_PRICES)
    room = contract_table(page.forecast, book, records.blocks)
    title = book_title(records)
    found = tables.room_table(room, title), tables.pay_table(room)
    text = "".join(table.html(page.desk.units) for table in found)
    return text + parts.points(room.notes) + parts.note(TERMS)


class DayByDay(PagePart):
    """The picks to come by day, and sheets of them to print; tanks and presses."""

    needs = NEEDS

    def build(self):
        """Make the tables and the button."""
        self.answer = parts.html()
        words = "plan by day and sheets of growers to print"
        self.sheets = HandOut(words, self.page_of, self._tell, opens=True)
        self.book = HandOut("every table as an Excel workbook", self.book_of, self._tell)
        self.body.children = (parts.row(self.sheets, self.book), self.answer)

    def _tell(self, text):
        self.message.value = parts.error(text) if text else ""

    def show(self):
        """Show the picks, and the days of tanks and presses where there are some."""
        units, records, schedule = self.desk.units, self.desk.records, self.page.schedule()
        self.answer.value = ""
        if schedule.empty:
            return
        text = tables.deliveries_table(schedule).html(units)
        cellar = cellar_of(schedule, records)
        if cellar is not None:
            text += parts.note(cellar_sentence(cellar, units)) + parts.points(cellar.notes)
            text += tables.cellar_table(cellar, units).html(units)
        self.answer.value = text

    def page_of(self):
        """Return the name and the bytes of the sheets to print."""
        fit, room, book = self._held()
        terms = contract_words(room, book, self.desk.units)
        sheets = intake_sheets(self.page.schedule(), fit, terms, units=self.desk.units)
        return f"intake_sheets_{self.desk.season}.html", sheets.encode("utf-8")

    def book_of(self):
        """Return the name and the bytes of the workbook."""
        fit, room, _ = self._held()
        page, records, units = self.page, self.desk.records, self.desk.units
        cellar = cellar_of(page.schedule(), records)
        given = {"limits": page.limits(), "room": room, "cellar": cellar, "units": units}
        found = tables.book_tables(page.schedule(), "variety", **given)
        notes = [fit, *page.schedule().notes, *room.notes, CAUTION]
        return f"intake_{self.desk.season}.xlsx", intake_book(found, notes, units)

    def _held(self):
        """Return the fit in words, the contracts held against the crop, and their book."""
        page, records = self.page, self.desk.records
        if page.schedule().empty:
            raise CroploadError(page.schedule().heading())
        book, limits, fit = contract_book(records), page.limits(), ""
        if limits is not None and len(limits):
            fit = fit_sentence(fit_of(page.schedule(), records.capacity), limits, self.desk.units)
        return fit, contract_table(page.forecast, book, records.blocks), book


def sources_html(page):
    """Return what the intake rests on, as HTML."""
    limits = page.limits()
    notes = page.schedule().notes if limits is None else limits.notes
    told = "Tank volume: grapes for a hectolitre, published"
    return parts.points(notes) + parts.source("intake.kg_per_hl", told)


def since_last_html(page):
    """Return what moved since the last forecast in the log, adding up, as HTML."""
    log, notes = _log(page)
    found = what_moved(page.forecast, log)
    told = parts.points([*notes, *change_notes(found)])
    if not len(found):
        return told
    units = page.desk.units
    return (
        told
        + parts.note(change_sentence(found, units))
        + parts.fitting_picture(change_rows(found, units))
        + change_blocks(found).html(units)
    )


def _log(page):
    """Return the log; for the sample, one made of an earlier day, and the words for it."""
    desk, now = page.desk, page.forecast.as_of
    if not desk.is_sample:
        log, faults = read_log(desk.records.path)
        return log, [str(fault) for fault in faults]
    listed = season_days(desk.records, desk.season)
    # The last day listed is what is looked at, so the one before it is compared.
    days = [each.day for each in listed if now is None or each.day <= now][:-1]
    with private_folder({}) as folder:
        if days:
            log_forecast(page.forecast_on(days[-1]), folder)
        log = read_log(folder)[0]
    if not days:
        return log, []
    return log, [
        f"The sample estate keeps no log; as an example, the forecast of {days[-1]:%Y-%m-%d} "
        "stands for the one kept last."
    ]
