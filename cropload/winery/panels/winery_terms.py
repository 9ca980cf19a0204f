"""Panels of the winery: contracts, and what moved since the last forecast in the log."""

from cropload.records.writing.gate import private_folder
from cropload.season.change_figure import plot_change
from cropload.season.forecast_log import read_log
from cropload.season.log_writing import log_forecast
from cropload.season.what_moved import what_moved
from cropload.season.words import short, signed
from cropload.show import wording
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
        told = parts.points([*notes, *found.attrs["notes"]])
        if found.empty:
            self.answer.value = told
            return
        units, about = self.desk.units, found.attrs
        text = parts.note(
            f"Since {about['since']} ({about['since_stage']}) the middle of the estate's crop went "
            f"from {wording.amount('tonnes', about['was_t'], units)} to "
            f"{wording.amount('tonnes', about['now_t'], units)}: "
            f"{signed('tonnes', about['change_t'], units, places=2)}."
        )
        drawn = plot_change(found, about["was_t"], units)
        wide = found.pivot_table("change_t", "block", "component", "sum", sort=False).fillna(0.0)
        small = wide.abs().max() < 0.005
        rest = wide.loc[:, small].sum(axis=1)
        wide = wide.loc[:, ~small]
        if small.any():
            wide["the rest"] = rest
        sums = wide.sum()
        words = "; ".join(
            f"{short(name)} {signed('tonnes', value, units, places=2)}"
            for name, value in sums.items()
        )
        text += parts.picture(drawn, f"Steps of the change: {words}.")
        every = found.groupby("block", sort=False)["change_t"].sum()

        def cell(value):
            shown = units.convert("tonnes", value)
            return "0" if abs(shown) < 0.005 else f"{shown:+.2f}"

        rows = [
            [block, *(cell(v) for v in wide.loc[block]), cell(every[block])] for block in wide.index
        ]
        rows.append(["all blocks", *(cell(v) for v in sums), cell(about["change_t"])])
        heads = ["block", *(short(name) for name in wide.columns), "in all"]
        caption = f"Change of the middle by block and component [{units.label('tonnes')}]"
        self.answer.value = told + text + parts.table(heads, rows, caption)
