"""Panels of the winery: contracts, and what moved since the last forecast in the log."""

from cropload.records.writing.gate import private_folder
from cropload.season.charts import change_rows
from cropload.season.forecast_log import log_forecast, read_log
from cropload.season.tables import change_blocks
from cropload.season.what_moved import change_notes, what_moved
from cropload.season.words import change_sentence
from cropload.show.panels import parts
from cropload.show.panels.desk_panel import DeskPanel
from cropload.winery.contracts import contract_table
from cropload.winery.words import NO_PRICES, TERMS


class Contracts(DeskPanel):
    """Room left under contracts and excess over them, each with its chance, and what they pay."""

    title = "Contracts"

    def build(self):
        """Make the table."""
        self.answer = parts.html()
        self.body.children = [self.answer]

    def show(self):
        """Hold the forecast against table prices."""
        prices = self.desk.records.prices
        if prices.empty:
            self.answer.value = parts.note(NO_PRICES)
            return
        contracts = contract_table(self.desk.forecast, prices)
        text = "".join(table.html(self.desk.units) for table in contracts.tables())
        self.answer.value = text + parts.points(contracts.notes) + parts.note(TERMS)


class SinceLast(DeskPanel):
    """What moved since the last forecast in the log, by block and component."""

    title = "What moved since the last forecast kept"

    def build(self):
        """Make the answer."""
        self.answer = parts.html()
        self.body.children = [self.answer]

    def _log(self):
        """Return the log; for the sample, one made of an earlier day, and the words for it."""
        if not self.desk.is_sample:
            log, faults = read_log(self.desk.base.path)
            return log, [str(fault) for fault in faults]
        now = self.desk.forecast.as_of
        # The last day listed is what is looked at, so the one before it is compared.
        days = [each.day for each in self.desk.days() if now is None or each.day <= now][:-1]
        with private_folder({}) as folder:
            if days:
                log_forecast(self.desk.forecast_on(days[-1]), folder)
            log = read_log(folder)[0]
        if not days:
            return log, []
        return log, [
            f"The sample estate keeps no log; as an example, the forecast of {days[-1]:%Y-%m-%d} "
            "stands for the one kept last."
        ]

    def show(self):
        """Show the change, adding up."""
        log, notes = self._log()
        found = what_moved(self.desk.forecast, log)
        self.found = found
        notes = parts.points([*notes, *change_notes(found)])
        if not len(found):
            self.answer.value = notes
            return
        units = self.desk.units
        self.answer.value = (
            notes
            + parts.note(change_sentence(found, units))
            + parts.picture(change_rows(found, units))
            + change_blocks(found).html(units)
        )
