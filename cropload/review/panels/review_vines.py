"""Panels of the vines: whether they get weaker over the seasons, and fertility by node."""

from cropload import handbook
from cropload.review import learned_words as words
from cropload.review import vine_charts as drawing
from cropload.review.bud_fertility import bud_fertility
from cropload.review.panels.season_review import ReviewPanel
from cropload.review.vine_trend import FIGURES, ravaz_of, season_figures, vine_trend
from cropload.review.words import joined
from cropload.show import wording
from cropload.show.panels import parts
from cropload.show.panels.fields import choice
from cropload.show.wording import whole

#: Figure of a trend -> handbook bands to read it beside.
_BANDS = {
    "pruning_weight": (
        "band.pruning_weight_kg_per_m.single",
        "band.pruning_weight_kg_per_m.memory_metric",
    ),
    "ravaz": ("band.ravaz.general", "band.ravaz.single"),
    "cane_weight": ("band.cane_weight_g.cool_uk", "band.cane_weight_g.oregon_pinot_noir"),
}


class VineTrend(ReviewPanel):
    """Pruning weight, Ravaz index and cane weight over the seasons, each block with its trend."""

    title = "Are the vines getting weaker?"

    def build(self):
        """Make the choosers, the figure and the tables."""
        self.trend = self.figures = None
        options = [(text[0], key) for key, text in FIGURES.items()]
        self.figure_choice = choice("Figure", options, width="30em")
        varieties = dict.fromkeys(str(v) for v in self.desk.base.blocks["variety"])
        self.variety = choice("Blocks of", [("every variety", ""), *((v, v) for v in varieties)])
        for each in (self.figure_choice, self.variety):
            each.observe(lambda _: self.refresh(), "value")
        self.answer = parts.html()
        self.body.children = [parts.row(self.figure_choice, self.variety), self.answer]

    def show(self):
        """Show the trend of the chosen figure."""
        if self.trend is None:
            self.figures = season_figures(self.desk.base)
            self.trend = vine_trend(self.desk.base)
        units, figure, trend = self.desk.units, self.figure_choice.value, self.trend
        mine = trend[trend["figure"] == figure].reset_index(drop=True)
        if mine.empty:
            needs = {"ravaz": "harvest", "cane_weight": "counts (shoots)"}.get(figure, "pruning")
            self.answer.value = parts.note(
                f"The {FIGURES[figure][0]} is not known in any season: fill table {needs} for "
                "seasons whose prunings were weighed in the winter after."
            )
            return
        blocks = [str(name) for name in self.desk.base.blocks["block"]]
        if self.variety.value:
            table = self.desk.base.blocks
            blocks = [str(n) for n in table.loc[table["variety"] == self.variety.value, "block"]]
        drawn = [name for name in blocks if (mine["block"] == name).any()]
        text = '<div role="status">'
        text += parts.note(words.trend_sentence(trend, figure)) + "</div>"
        if drawn:
            # The weakest first, so that a long list is cut where it matters least.
            order = mine.set_index("block")["chance_weaker"]
            if len(drawn) > drawing.MOST_BLOCKS:
                drawn = sorted(drawn, key=lambda name: -order[name])
                text += parts.note(
                    f"The {drawing.MOST_BLOCKS} blocks most likely to get weaker are drawn; all "
                    "stand in the table."
                )
            text += parts.picture(
                drawing.plot_trend(self.figures, trend, figure, drawn, units),
                drawing.trend_text(self.figures, trend, figure, drawn, units),
            )
        else:
            text += parts.note(f"Nothing of {self.variety.value} has been measured for this.")
        text += self._table(mine, blocks)
        text += self._seasons(figure, blocks, units)
        text += parts.points([words.trend_note(trend), words.WOOD_NOTE])
        if self.desk.is_sample:
            text += parts.note("The vines are invented, like everything of Quillfoot.")
        keys = [
            "trend.holding",
            "trend.chance",
            "trend.least_seasons",
            "trend.block",
            *_BANDS[figure],
        ]
        text += parts.head("Where the figures come from")
        text += parts.points([words.TREND_ORIGIN])
        text += "".join(parts.source(key) for key in keys)
        self.answer.value = text

    def _table(self, mine, blocks):
        rows = [
            [
                row["block"],
                row["label"],
                f"{row['seasons']}, {joined('{first} to {last}'.format(**row))}",
                f"{100 * row['change_p50'] + 0.0:+.1f} "
                + joined(f"({100 * row['change_p10']:+.1f} to {100 * row['change_p90']:+.1f})"),
                *(joined(f"{100 * row[f'chance_{word}']:.0f} %") for word in words.CHANCES),
            ]
            for row in mine.to_dict("records")
            if row["block"] in blocks or (row["block"] == "estate" and not self.variety.value)
        ]
        heads = ["block", "it is", "seasons", "a year [%]", *words.CHANCES]
        caption = (
            f"Yearly change of the {mine['words'].iloc[0]} ({mine.attrs['interval']}), with chances"
        )
        return parts.table(heads, rows, caption, {1, 2})

    def _seasons(self, figure, blocks, units):
        rows = self.figures[(self.figures[figure] > 0) & self.figures["block"].isin(blocks)]
        wide = rows.pivot_table(index="block", columns="season", values=figure, sort=True)
        wide = wide.reindex([name for name in blocks if name in wide.index])
        cells = [
            [name, *("-" if v != v else drawing.trend_number(figure, v, units) for v in row)]
            for name, row in zip(wide.index, wide.to_numpy(float), strict=True)
        ]
        text = ""
        if figure == "ravaz":
            for by in ("variety", "estate"):
                sums = ravaz_of(self.figures[self.figures["block"].isin(blocks)], by)
                total = sums.pivot_table(index=by, columns="season", values="ravaz", sort=True)
                total = total.reindex(columns=wide.columns)
                for name, row in zip(total.index, total.to_numpy(float), strict=True):
                    label = f"all {name}" if by == "variety" else "all together"
                    cells.append([label, *("-" if v != v else f"{v:.1f}" for v in row)])
            text = parts.note(
                "The index of several blocks is the ratio of sums: all their crop over all their "
                "prunings, of the blocks in which both were weighed. A mean of the blocks' own "
                "indices can exceed it by a quarter."
            )
        label = drawing.trend_label(figure, units)
        title = FIGURES[figure][0]
        caption = f"{title[0].upper()}{title[1:]} by season of growth [{label}]"
        heads = ["block", *(str(season) for season in wide.columns)]
        return parts.table(heads, cells, caption) + text


class BudFertility(ReviewPanel):
    """Burst and fertility by node as fitted, against the handbook's shape; how many are enough."""

    title = "Bud fertility"

    def build(self):
        """Make the choosers, the figure and the tables."""
        self._fitted = {}
        self._quiet = False
        self.by = choice("By", [("variety", "variety"), ("block", "block")], width="13em")
        self.name = choice("Of", [("none", "")], width="22em")
        self.what = choice(
            "Figure", [("clusters per shoot", "fertility"), ("shoots per bud", "burst")]
        )
        self.by.observe(lambda _: self.refresh(), "value")
        for each in (self.name, self.what):
            each.observe(lambda _: None if self._quiet else self.refresh(), "value")
        self.answer = parts.html()
        self.body.children = [parts.row(self.by, self.name, self.what), self.answer]

    def _table_by(self, by):
        if by not in self._fitted:
            self._fitted[by] = bud_fertility(self.desk.base, by)
        return self._fitted[by]

    def show(self):
        """Show the fitted profile of the chosen variety or block."""
        by, what = self.by.value, self.what.value
        table = self._table_by(by)
        names = list(dict.fromkeys(table[by])) if len(table) else []
        if not names:
            self.answer.value = parts.note(
                "Table fertility holds no shoots or clusters yet, so there is nothing to fit."
            )
            return
        self._quiet = True
        try:
            if list(self.name.options) != names:
                parts.choose_from(self.name, names)
        finally:
            self._quiet = False
        name = self.name.value
        mine = table[(table[by] == name) & (table["what"] == what)]
        if mine.empty:
            self.answer.value = parts.note(f"No such figure of {name} can be fitted.")
            return
        woods = list(dict.fromkeys(mine["wood"]))
        text = '<div role="status">'
        text += (
            parts.points(words.enough_sentence(table, name, wood, what) for wood in woods)
            + "</div>"
        )
        text += parts.note(words.differs_sentence(mine, name))
        text += parts.picture(
            drawing.plot_fertility(table, name, what), drawing.fertility_text(table, name, what)
        )
        rows = [
            [
                joined(f"{row['wood']}, node {row['node']}"),
                f"{row['value_p50']:.2f}",
                joined(f"{row['value_p10']:.2f} to {row['value_p90']:.2f}"),
                whole(
                    f"{row['relative_p50']:.2f} ({row['relative_p10']:.2f} to "
                    f"{row['relative_p90']:.2f})"
                ),
                f"{row['handbook']:.2f}",
                "differs" if row["differs"] else "agrees",
                wording.figure(row["buds_seen"], 0),
                wording.figure(row["buds_enough"], 0),
            ]
            for row in mine.to_dict("records")
        ]
        figure = "clusters per shoot" if what == "fertility" else "shoots per bud"
        heads = ["node", f"{figure} [1]", table.attrs["interval"], "relative (range)"]
        heads += ["handbook", "against it", "buds examined", "buds enough"]
        text += parts.table(heads, rows, f"{name}: fitted by node", {5})
        text += parts.points([words.FERTILITY_NOTE])
        if self.desk.is_sample:
            text += parts.note("The buds are invented, like everything of Quillfoot.")
        text += parts.head("Where the figures come from")
        keys = [f"profile.{wood}.{what}" for wood in woods]
        keys += ["fertility.node", "fertility.error", "fertility.between_years"]
        known = set(handbook.keys())
        text += "".join(parts.source(key) for key in keys if key in known)
        self.answer.value = text
