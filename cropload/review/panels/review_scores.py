"""Panels of a season in review: how good the forecasts were, and what missed."""

import numpy as np

from cropload.beliefs import ranges
from cropload.beliefs.calendar import MOMENTS
from cropload.errors import CroploadError
from cropload.review import charts, words
from cropload.review.panels.season_review import ReviewPanel
from cropload.review.review import BASELINES
from cropload.review.review_levels import level_crops, level_scores
from cropload.review.split_miss import split_miss
from cropload.show import wording
from cropload.show.panels import parts, saving
from cropload.show.panels.fields import button, choice
from cropload.show.wording import whole

#: Moment that a panel opens with: counted, and time left to act.
_FIRST = "clusters"
#: Crops that a figure draws at most: those that weighed most; the table has them all.
MOST_CROPS = 40


def _largest(names, picked):
    """Return the crops to draw, in their own order, and a note where some are not.

    Parameters
    ----------
    names : sequence of str
        Crops.
    picked : mapping
        {name: tonnes} [t].
    """
    names = list(names)
    if len(names) <= MOST_CROPS:
        return names, ""
    kept = set(sorted(names, key=lambda name: -picked[name])[:MOST_CROPS])
    note = parts.note(
        f"The {MOST_CROPS} largest of {len(names)} crops are drawn; the table has them all."
    )
    return [name for name in names if name in kept], note


class MomentPanel(ReviewPanel):
    """A panel that shows one of the moments of the season that can be looked back on."""

    follows_season = True

    def moment_choice(self):
        """Return the dropdown of moments, filled for each season by ``fill_moments``."""
        self._quiet = False
        self.moment = choice("Forecast made", [("before picking", "picking")], width="26em")
        self.moment.observe(lambda _: None if self._quiet else self.refresh(), "value")
        return self.moment

    def fill_moments(self):
        """Give the dropdown the season's moments; the one chosen stays where there is one."""
        days = self.desk.review.days
        options = [(f"{MOMENTS.get(key, key)}, {day:%Y-%m-%d}", key) for key, day in days.items()]
        if list(self.moment.options) == options:
            return
        wanted = self.moment.value if getattr(self, "_filled", False) else _FIRST
        self._quiet = True
        try:
            self.moment.options = options
            self.moment.value = wanted if wanted in days else next(iter(days))
        finally:
            self._quiet = False
        self._filled = True


class ForecastScores(MomentPanel):
    """Scores of every moment's forecast beside a grower's guesses, and the ranges on the scale."""

    title = "How good were the forecasts?"

    def build(self):
        """Make the choosers, the figures and the tables."""
        levels = [("blocks", "block"), ("varieties", "variety"), ("the estate", "estate")]
        self.level = choice("Scored by", levels, width="18em")
        self.level.observe(lambda _: self.refresh(), "value")
        self.answer, self.scores, self.kept = parts.html(), parts.html(), parts.html()
        self.csv_button = button("Export as CSV", lambda: self._export(".csv"), "11em")
        self.excel_button = button("Export as Excel", lambda: self._export(".xlsx"), "11em")
        self.body.children = [
            parts.row(self.level, self.moment_choice()),
            self.answer,
            self.scores,
            parts.row(self.csv_button, self.excel_button),
            self.kept,
        ]

    def show(self):
        """Show the scores and the ranges."""
        self.fill_moments()
        desk, units, level = self.desk, self.desk.units, self.level.value
        reviews = desk.reviews_together()
        self.table = table = level_scores(reviews, level)
        crops = level_crops(desk.review, level)
        crops = crops[crops["moment"] == self.moment.value].reset_index(drop=True)
        row = table[table["moment"] == self.moment.value].iloc[0]
        text = '<div role="status">'
        text += parts.note(words.score_sentence(row, table.attrs["seasons"])) + "</div>"
        if desk.is_sample:
            text += parts.note(words.INVENTED_NOTE)
        text += parts.head(f"Ranges against the scale, {desk.season}")
        kept, note = _largest(crops["name"], crops.set_index("name")["picked_t"])
        shown = crops[crops["name"].isin(kept)].reset_index(drop=True)
        text += note
        text += parts.picture(charts.scale_rows(shown, units))
        text += self._crops(crops, level, units)
        self.answer.value = text
        self.scores.value = self._scores(table, reviews, units)
        self.kept.value = ""

    @staticmethod
    def _crops(crops, level, units):
        label = units.label("tonnes")
        rows = [
            [
                row["name"],
                wording.amount("tonnes", row["tonnes_p50"], units, unit=False),
                words.joined(wording.span("tonnes", row["tonnes_p10"], row["tonnes_p90"], units)),
                wording.amount("tonnes", row["picked_t"], units, unit=False),
                words.joined(words.per_cent(row["error_share"], sign=True)),
                words.side_word(row),
                wording.figure(units.convert("tonnes", row["crps_t"]), 2),
            ]
            for row in crops.to_dict("records")
        ]
        heads = [level, f"forecast [{label}]", ranges.label(), f"scale [{label}]"]
        heads += ["forecast was off by", "scale against the range", f"score [{label}]"]
        return parts.table(heads, rows, "The same in numbers", {5})

    def _scores(self, table, reviews, units):
        label = units.label("tonnes")
        seasons = words.season_span(table.attrs["seasons"])
        text = parts.head(f"Every moment of the season, {seasons}")
        text += parts.picture(charts.misses_panel(table))
        days = self.desk.review.days if len(reviews) == 1 else {}
        rows = [
            [
                row["words"] + (f", {days[row['moment']]:%Y-%m-%d}" if days else ""),
                *words.score_cells(row, units),
            ]
            for row in table.to_dict("records")
        ]
        heads = ["forecast", "bias", "miss", "inside the range", "width", f"score [{label}]"]
        text += parts.table(heads, rows, f"Scores by moment, {seasons}")
        text += self._guesses(table, units)
        if len(reviews) > 1:
            text += self._by_season(reviews, units)
        text += parts.points(self.desk.left_out)
        if len(self.desk.review.logged):
            text += self._logged(units)
        text += parts.points([words.MISS_NOTE, words.coverage_note(), words.SCORE_NOTE,
                              words.WIDTH_NOTE, *self.desk.review.notes])  # fmt: skip
        return text + parts.source("interval.level", f"Why an {ranges.short_label()}")

    @staticmethod
    def _guesses(table, units):
        rows = []
        for row in table.to_dict("records"):
            cells = [row["words"]]
            for name in BASELINES:
                if not row[f"{name}_seen"]:
                    cells += ["-", "-"]
                    continue
                miss, ours = row[f"{name}_miss"], row[f"{name}_beside"]
                score, beside = (
                    wording.figure(units.convert("tonnes", row[f"{name}_{end}"]), 2)
                    for end in ("crps_t", "beside_crps_t")
                )
                cells.append(
                    whole(f"{words.joined(words.per_cent(miss))} ({words.per_cent(ours)})")
                )
                cells.append(whole(f"{score} ({beside})"))
            rows.append(cells)
        heads = ["forecast"]
        for text in BASELINES.values():
            heads += [f"{text}: miss", f"score [{units.label('tonnes')}]"]
        return parts.table(
            heads,
            rows,
            "A grower's own guesses; in brackets the forecast's own over the same crops",
        )

    def _by_season(self, reviews, units):
        rows = []
        for each in reviews:
            alone = level_scores([each], self.level.value)
            alone = alone[alone["moment"] == self.moment.value]
            if alone.empty:
                rows.append([str(each.season), "not on record", "-", "-", "-", "-"])
            else:
                rows.append([str(each.season), *words.score_cells(alone.iloc[0], units)])
        heads = ["season", "bias", "miss", "inside the range", "width"]
        heads += [f"score [{units.label('tonnes')}]"]
        moment = MOMENTS.get(self.moment.value, self.moment.value)
        return parts.table(heads, rows, f"Season by season, {moment}")

    def _logged(self, units):
        rows = [
            [
                f"{row['logged_at'][:10]}{' *' if row['kept_after_first_load'] else ''}",
                row["as_of"] or "all records",
                row["words"],
                *words.score_cells(row, units),
            ]
            for row in self.desk.review.logged.to_dict("records")
        ]
        heads = ["kept on", "as of", "stage", "bias", "miss", "inside the range", "width"]
        heads += [f"score [{units.label('tonnes')}]"]
        caption = "Forecasts kept in the log, scored as they were kept"
        text = parts.table(heads, rows, caption, {1, 2})
        if self.desk.review.logged["kept_after_first_load"].any():
            text += parts.note("* kept after the first load")
        return text

    def _export(self, suffix):
        def export():
            desk = self.desk
            folder = saving.results_folder(desk.base)
            frame = words.export_crops(desk.review, desk.units)
            stem = f"review_{desk.season}"
            return f"the review is in {saving.save_frame(frame, folder, stem, suffix, 'metric')}."

        parts.tell(self.kept, export)


class WhatMissed(MomentPanel):
    """What made each block's forecast miss, by component, adding up."""

    title = "What missed?"

    def build(self):
        """Make the chooser, the figure and the tables."""
        self._splits = {}
        self.answer = parts.html()
        self.body.children = [self.moment_choice(), self.answer]

    def split(self):
        """Return the split of the chosen moment's miss, made once for each review."""
        review, moment = self.desk.review, self.moment.value
        key = (id(review), moment)
        if key not in self._splits:
            found = split_miss(self.desk.base, review.season, review.forecasts[moment])
            # The review is kept beside it, so that no other one can take its identity.
            self._splits[key] = (found, review)
        return self._splits[key][0]

    def show(self):
        """Show the split of the chosen forecast."""
        self.fill_moments()
        split, review = self.split(), self.desk.review
        if split.empty:
            raise CroploadError(
                "No block's own miss can be split. " + " ".join(split.attrs["left_out"])
            )
        crops = review.blocks.drop_duplicates("name").set_index("name")["picked_t"].to_dict()
        text = '<div role="status">'
        text += parts.note(words.estate_sentence(split)) + "</div>"
        kept, note = _largest(split["block"].unique(), crops)
        shown = split[split["block"].isin(kept)]
        text += note + parts.picture(charts.split_rows(shown))
        text += parts.points(
            [*(words.block_sentence(split, block) for block in kept), *split.attrs["left_out"]]
        )
        table = 100 * words.miss_table(split)
        rows = [
            [block, *(f"{value + 0.0:+.1f}" for value in row)]
            for block, row in zip(table.index, np.round(table.to_numpy(float), 1), strict=True)
        ]
        text += parts.table(
            ["block", *table.columns],
            rows,
            "Parts of the miss in per cent of the crop picked; they add up",
        )
        measured = words.measured_sentence(self.desk.base, review.season, list(table.index))
        text += parts.points([measured, words.SPLIT_NOTE, words.COUNTED_NOTE])
        found = review.forecasts[self.moment.value]
        text += parts.head("Where the forecast's figures came from")
        text += parts.points([words.ORIGIN_NOTE, *found.estate.accepted_notes])
        text += self._origins(found, list(dict.fromkeys(split["block"])))
        for name in ("counting_bias", "cluster_weight_g", "recovery"):
            text += parts.source(f"prior.{name}")
        self.answer.value = text

    @staticmethod
    def _origins(found, blocks):
        """Return where each block's components came from as HTML that opens."""
        table = found.components
        wide = table.pivot(index="block", columns="component", values="came_from").loc[blocks]
        wide = wide[list(dict.fromkeys(table["component"]))]
        rows = [[block, *row] for block, row in zip(wide.index, wide.to_numpy(), strict=True)]
        heads = ["block", *(words.part_name(name) for name in wide.columns)]
        inside = parts.table(heads, rows, "Where it came from", set(range(1, len(heads))))
        return f'<details class="cl-source"><summary>Block by block</summary>{inside}</details>'
