"""Folds that look back: the log of forecasts kept, and errors by stage beside published ones."""

import ipywidgets as widgets

from cropload.season.forecast_log import log_forecast, read_log
from cropload.season.panels.season_part import SeasonPart
from cropload.season.stage_errors import published_sources, stage_errors
from cropload.season.tables import kept_table
from cropload.show.panels import parts, saving
from cropload.show.panels.fields import button


class KeptForecasts(SeasonPart):
    """Keep the forecast as it stands, and see what was kept before."""

    def build(self):
        """Make the button and the log."""
        self.keep_button = button("Keep this forecast", self.keep)
        self.kept, self.table = parts.html(), parts.html()
        self.told = (self.table,)
        self.body.children = (self.keep_button, self.kept, self.table)

    def keep(self):
        """Append the forecast to the log of the user's folder."""

        def action():
            path = saving.own_folder(self.desk.records, "keep a forecast")
            path = log_forecast(self.page.forecast(), path)
            self.show()
            return f"one line a block was added to {path}."

        parts.tell(self.kept, action, "The forecast was not kept")

    def show(self):
        """Show the log."""
        if self.desk.is_sample:
            self.table.value = parts.note(
                "A line a block goes to forecasts.csv in your own folder each time you press the "
                "button; nothing in it is ever rewritten, so that a season can be reviewed after."
            )
            return
        log, faults = read_log(self.desk.records.path)
        text = parts.points(str(fault) for fault in faults)
        if log.empty:
            self.table.value = text + parts.note("No forecast has been kept yet.")
            return
        self.table.value = text + kept_table(log).html(self.desk.units)


class StageErrors(SeasonPart):
    """Errors of forecasts by stage on the seasons picked, beside published ones."""

    needs = ("units",)

    def build(self):
        """Make the button, the progress bar and the table."""
        self.errors = None
        self.start_button = button("Forecast past seasons again", self.compute, "22em")
        self.progress = widgets.IntProgress(
            0, 0, 1, description="Forecasts", style=parts.LABELLED, layout={"display": "none"}
        )
        self.progress_words, self.table = parts.html(), parts.html()
        sources = parts.points(published_sources())
        self.body.children = (
            parts.row(self.start_button, self.progress, self.progress_words),
            self.table,
            parts.html(parts.head("Errors published") + sources),
        )

    def _tell(self, number, wanted):
        self.progress.max, self.progress.value = wanted, number
        self.progress_words.value = f'<span role="status">{number} of {wanted}</span>'

    @parts.guarded
    def compute(self):
        """Forecast past seasons at each stage, and show how far off they were."""
        self.progress.value, self.progress.layout.display = 0, None
        try:
            self.errors = stage_errors(
                self.desk.records, draws=min(self.desk.draws, 2000), progress=self._tell
            )
        finally:
            self.progress.layout.display = "none"
            self.progress_words.value = ""
        self.follow()

    def show(self):
        """Show the table when it has been computed."""
        if self.errors is None:
            self.table.value = parts.note(
                "Each past season is forecast again from what was known on the day; it takes some "
                "seconds. Errors that were published stand below."
            )
            return
        text = self.errors.table().html()
        if self.desk.is_sample:
            text += parts.note(
                "The errors here are of the invented sample estate, which was made by the same "
                "kind of model that forecasts it. They show how the table reads, and prove nothing "
                "about a vineyard that exists."
            )
        self.table.value = text + "".join(map(parts.note, self.errors.notes))
