"""Panels of a season's forecast: the fan, the blocks, and what changed since an earlier day."""

import ipywidgets as widgets

from cropload.beliefs import ranges
from cropload.beliefs.origins import MOST_SHOWN
from cropload.errors import CroploadError
from cropload.season import charts
from cropload.season.season_days import fan_table, harvest_words, harvested
from cropload.season.words import (
    change_sentence,
    change_table,
    contribution_sentence,
    short,
    signed,
)
from cropload.show import wording
from cropload.show.panels import parts
from cropload.show.panels.desk_panel import DeskPanel
from cropload.show.panels.fields import button, choice

_NO_DAY = "no earlier day on record"


def range_cells(row, name, quantity, units):
    """Return middle and range of a quantity as two cells of text."""
    low, middle, high = (row[f"{name}_{end}"] for end in ranges.ENDINGS)
    return [
        wording.amount(quantity, middle, units, unit=False),
        wording.span(quantity, low, high, units),
    ]


class SeasonFan(DeskPanel):
    """The range that narrows over the dates of the season, against the harvest when known."""

    title = "How the forecast narrows"

    def build(self):
        """Make the chooser, the progress bar and the figure."""
        self.made, self._drawn_for = [], None
        self.total = choice("Total", self.desk.totals(), width="24em")
        self.draw_button = button("Draw the season", self.draw)
        self.progress = widgets.IntProgress(
            0, 0, 1, description="Forecasts", style=parts.LABELLED, layout={"display": "none"}
        )
        self.progress_words = parts.html()
        self.figure, self.table = parts.html(), parts.html()
        self.total.observe(lambda _: self.refresh(), "value")
        self.body.children = [
            parts.row(self.total, self.draw_button, self.progress, self.progress_words),
            self.figure,
            self.table,
        ]

    def start(self):
        """Display the panel, then draw, so that the progress bar is seen; for a notebook."""
        from IPython.display import display

        display(self)
        self.draw()

    def _state(self):
        return (self.desk.season, len(self.desk.entered), id(self.desk.records))

    def _tell(self, number, wanted):
        self.progress.max, self.progress.value = wanted, number
        self.progress_words.value = f'<span role="status">{number} of {wanted}</span>'

    @parts.guarded
    def draw(self):
        """Make the forecast of every date and draw them."""
        if not self.ready or self.desk.forecast is None:
            raise CroploadError("There is no forecast to draw: see the message at the season.")
        self.progress.value, self.progress.layout.display = 0, None
        try:
            made = []
            days = self.desk.days()
            for number, each in enumerate(days, start=1):
                made.append((each, self.desk.forecast_on(each.day)))
                self._tell(number, len(days))
            self.made, self._drawn_for = made, self._state()
        finally:
            self.progress.layout.display = "none"
            self.progress_words.value = ""
        self.refresh()

    def show(self):
        """Draw the chosen total from the forecasts made."""
        if not self.made or self._drawn_for[0] != self.desk.season:
            self.figure.value = self.table.value = ""
            if self.desk.days():
                told = "Press “Draw the season” to forecast every date."
            else:
                told = (
                    f"Season {self.desk.season} has no plan, count or weight on record yet, so "
                    "there are no dates to draw. A pruning plan is the first."
                )
            self.message.value = parts.note(told)
            return
        if self._drawn_for != self._state():
            self.message.value = parts.note(
                "Counts have been entered since this was drawn. Press “Draw the season” again."
            )
        by, name = self.total.value
        units, records = self.desk.units, self.desk.records
        fan = fan_table(self.made, by, name)
        known = harvested(records, self.desk.season, self.made[0][1], by, name)
        self.figure.value = parts.picture(charts.fan_panel(fan, known, units))
        label = units.label("tonnes")
        words = ["not known yet"] * len(fan) if known is None else harvest_words(self.made, known)
        rows = [
            [
                f"{row['words']}, {row['day']:%Y-%m-%d}",
                *range_cells(row, "tonnes", "tonnes", units),
                wording.amount("tonnes", row["range_t"], units, unit=False),
                word,
            ]
            for row, word in zip(fan.to_dict("records"), words, strict=True)
        ]
        heads = ["date", f"middle [{label}]", fan.attrs["interval"], f"width [{label}]"]
        text = parts.table([*heads, "harvest against the range"], rows, "The same in numbers", {4})
        if known is not None:
            text += parts.note(
                f"Harvest on record: {wording.amount('tonnes', known.tonnes, units)}."
                + (
                    f" Not in it, for want of a harvest on record: {', '.join(known.missing)}; "
                    "the harvest is held against the range of the other blocks."
                    if known.missing
                    else ""
                )
            )
        self.table.value = text


class BlocksNow(DeskPanel):
    """Blocks ranked by tonnes or by range, what the range comes from, and where parts come from."""

    title = "Blocks by tonnes and by range"

    def build(self):
        """Make the choosers, the figures and the tables."""
        self.by = choice(
            "Rows", [("blocks", "block"), ("varieties", "variety"), ("the estate", "estate")]
        )
        self.order = choice("Order", [("by tonnes", "tonnes"), ("by width of range", "range")])
        self.parts_of = choice(
            "Show every part of",
            [("no block", ""), *((name, name) for name in self.desk.blocks)],
            width="26em",
        )
        self.figure, self.table, self.split, self.origins = (parts.html() for _ in range(4))
        for each in (self.by, self.order):
            each.observe(lambda _: self.refresh(), "value")
        self.parts_of.observe(lambda _: self.refresh(), "value")
        self.body.children = [
            parts.row(self.by, self.order),
            self.figure,
            self.table,
            self.split,
            self.parts_of,
            self.origins,
        ]

    def show(self):
        """Show the desk's forecast."""
        found, units, by = self.desk.forecast, self.desk.units, self.by.value
        table = charts.ranked(found.table(by), self.order.value)
        self.figure.value = parts.picture(charts.ranking_rows(table, by, units))
        self.table.value = self._table(table, by, units)
        contributions = found.contributions(by)
        total = found.contributions("estate")
        self.split.value = (
            parts.head("What the range comes from")
            + parts.note(contribution_sentence(total))
            + parts.picture(charts.contribution_rows(contributions, by))
        )
        self.origins.value = self._origins(found) if self.parts_of.value else ""

    @staticmethod
    def _table(table, by, units):
        tonnes, area = units.label("tonnes"), units.label("t_ha")
        interval = table.attrs["interval"]
        rows = []
        for row in table.to_dict("records"):
            rows.append(
                [
                    row[by],
                    *([row["plan"] or "none on record"] if by == "block" else []),
                    *range_cells(row, "tonnes", "tonnes", units),
                    wording.amount("tonnes", row["range_t"], units, unit=False),
                    *range_cells(row, "t_ha", "t_ha", units),
                ]
            )
        heads = [by, *(["plan"] if by == "block" else []), f"crop [{tonnes}]", interval]
        heads += [f"width [{tonnes}]", f"crop [{area}]", interval]
        return parts.table(heads, rows, "Crop at the scale", {1} if by == "block" else ())

    def _origins(self, found):
        mine = found.components
        mine = mine[mine["block"] == self.parts_of.value]
        rows = []
        for row in mine.to_dict("records"):
            # No more than all of the fruit reaches the scale.
            most = MOST_SHOWN.get(row["component"], float("inf"))
            low, centre, high = (min(row[part], most) for part in ("low", "centre", "high"))
            about = "; cannot exceed 1" if row["high"] > most else ""
            cells = [
                row["words"],
                f"{centre:.3g} {'' if row['unit'] == '1' else row['unit']}".strip(),
                f"{low:.3g} to {high:.3g}{about}",
                f"{row['came_from']}: {row['detail']}",
            ]
            rows.append(cells)
        heads = ["component", "middle (metric)", found.attrs()["interval"], "came from"]
        return parts.table(heads, rows, f"Every part of {self.parts_of.value}", {3})


class WhatChanged(DeskPanel):
    """What moved the forecast since an earlier day, by component and by block, adding up."""

    title = "What changed since"

    def build(self):
        """Make the chooser, the figure and the tables."""
        self.since = choice("Since", [(_NO_DAY, _NO_DAY)], width="28em")
        self.figure, self.table = parts.html(), parts.html()
        self.since.observe(lambda _: self._other_day(), "value")
        self._quiet = False
        self.body.children = [self.since, self.figure, self.table]

    def _other_day(self):
        if not self._quiet:
            self.refresh()

    def _fill(self):
        now = self.desk.forecast.as_of
        days = [
            (each.label(), each.day) for each in self.desk.days() if now is None or each.day < now
        ]
        # The option the user chose stays when it still stands.
        before = self.since.value
        self._quiet = True
        self.since.options = days or [(_NO_DAY, _NO_DAY)]
        kept = [day for _, day in days]
        if before in kept:
            self.since.value = before
        self._quiet = False

    def show(self):
        """Show the change since the chosen day."""
        self._fill()
        if self.since.value == _NO_DAY:
            self.figure.value = self.table.value = ""
            self.message.value = parts.note(
                "There is no earlier day of this season to compare with yet."
            )
            return
        found, units = self.desk.forecast, self.desk.units
        earlier = self.desk.forecast_on(self.since.value)
        change = found.explain(earlier)
        before = float(earlier.centre_tonnes().sum())
        steps = charts.change_rows(change, before, units)
        self.figure.value = parts.note(change_sentence(change, earlier, units)) + parts.picture(
            steps
        )
        self.table.value = "" if steps.empty else self._table(change, before, units)

    @staticmethod
    def _table(change, before, units):
        wide = change.pivot(index="block", columns="component", values="change_t")
        order = [c for c in change_table(change)["component"] if wide[c].abs().max() >= 0.005]
        wide = wide.reindex(index=list(dict.fromkeys(change["block"])))

        def text(value):
            return wording.figure(units.convert("tonnes", value), 2)

        rows = [
            [block, *(text(v) for v in row[order]), text(row.sum())]
            for block, row in wide.iterrows()
        ]
        total = wide.sum()
        rows.append(["estate", *(text(v) for v in total[order]), text(change.attrs["change_t"])])
        label = units.label("tonnes")
        heads = ["block", *(short(c) for c in order), f"all together [{label}]"]
        return parts.table(
            heads, rows, f"Change of the middle by block and component [{label}]"
        ) + parts.note(
            "The middle here is the sum of the blocks' own middles "
            f"({wording.amount('tonnes', before, units)} before, "
            f"{signed('tonnes', change.attrs['change_t'], units)}). The middle of the total lies a "
            "little higher, because blocks that share a season swing together."
        )
