"""Folds of the vines: whether they get weaker over the seasons, and fertility by node."""

from cropload import handbook
from cropload.review import lesson_words as words
from cropload.review import tables
from cropload.review import vine_charts as drawing
from cropload.review.bud_fertility import bud_fertility
from cropload.review.vine_trend import FIGURES, vine_trend
from cropload.show.page_part import PagePart
from cropload.show.panels import parts
from cropload.show.panels.fields import choice

#: Figure of a trend -> handbook bands to read it beside.
_BANDS = {
    "pruning_weight": (
        "band.pruning_weight_kg_per_m.single",
        "band.pruning_weight_kg_per_m.memory_metric",
    ),
    "ravaz": ("band.ravaz.general", "band.ravaz.single"),
    "cane_weight": ("band.cane_weight_g.cool_uk", "band.cane_weight_g.oregon_pinot_noir"),
}


class VineTrend(PagePart):
    """Pruning weight, Ravaz index and cane weight over the seasons, each block with its trend."""

    needs = ("units",)

    def build(self):
        """Make the choosers, the figure and the tables."""
        options = [(text[0], key) for key, text in FIGURES.items()]
        self.figure_choice = choice("Figure", options, width="30em")
        varieties = dict.fromkeys(str(v) for v in self.desk.records.blocks["variety"])
        self.variety = choice("Blocks of", [("every variety", ""), *((v, v) for v in varieties)])
        self.follows(self.figure_choice, self.variety)
        self.answer = parts.html()
        self.told = (self.answer,)
        self.body.children = (parts.row(self.figure_choice, self.variety), self.answer)

    def show(self):
        """Show the trend of the chosen figure."""
        desk, figure = self.desk, self.figure_choice.value
        units, trend = desk.units, desk.once("trend", (), lambda: vine_trend(desk.records))
        mine = trend.of(figure)
        if mine.empty:
            needs = {"ravaz": "harvest", "crop": "harvest", "cane_weight": "counts (shoots)"}.get(
                figure, "pruning"
            )
            self.answer.value = parts.note(
                f"The {FIGURES[figure][0]} is not known in any season: fill table {needs} for "
                "seasons whose prunings were weighed in the winter after."
            )
            return
        blocks = [str(name) for name in self.desk.records.blocks["block"]]
        if self.variety.value:
            table = self.desk.records.blocks
            blocks = [str(n) for n in table.loc[table["variety"] == self.variety.value, "block"]]
        drawn = [name for name in blocks if (mine["block"] == name).any()]
        text = '<div role="status">'
        text += parts.note(words.trend_sentence(trend.frame, figure)) + "</div>"
        if drawn:
            # The weakest first, so that a long list is cut where it matters least.
            order = mine.set_index("block")["chance_weaker"]
            if len(drawn) > drawing.MOST_BLOCKS:
                drawn = sorted(drawn, key=lambda name: -order[name])
                text += parts.note(
                    f"The {drawing.MOST_BLOCKS} blocks most likely to get weaker are drawn; all "
                    "stand in the table."
                )
            text += parts.readable_picture(
                drawing.plot_trend(trend.figures, trend.frame, figure, drawn, units),
                drawing.trend_text(trend.figures, trend.frame, figure, drawn, units),
            )
        else:
            text += parts.note(f"Nothing of {self.variety.value} has been measured for this.")
        together = [] if self.variety.value else ["estate"]
        text += tables.change_table(trend, figure, [*blocks, *together]).html()
        text += tables.seasons_table(trend, figure, blocks, units).html(units)
        if figure == "ravaz":
            text += parts.note(words.RAVAZ_NOTE)
        text += parts.points([*trend.notes, words.WOOD_NOTE])
        if self.desk.is_sample:
            text += parts.note("The vines are invented, like everything of Quillfoot.")
        text += parts.head("Where the figures come from")
        text += parts.points([words.TREND_ORIGIN])
        text += "".join(map(parts.source, (*trend.sources, *_BANDS.get(figure, ()))))
        self.answer.value = text


class BudFertility(PagePart):
    """Burst and fertility by node as fitted, against the handbook's shape; how many are enough."""

    needs = ()

    def build(self):
        """Make the choosers, the figure and the tables."""
        self._quiet = False
        self.by = choice("By", [("variety", "variety"), ("block", "block")], width="13em")
        self.name = choice("Of", [("none", "")], width="22em")
        self.what = choice(
            "Figure", [("clusters per shoot", "fertility"), ("shoots per bud", "burst")]
        )
        for each in (self.by, self.name, self.what):
            each.observe(lambda _: None if self._quiet else self.follow(), "value")
        self.answer = parts.html()
        self.told = (self.answer,)
        self.body.children = (parts.row(self.by, self.name, self.what), self.answer)

    def show(self):
        """Show the fitted profile of the chosen variety or block."""
        by, what = self.by.value, self.what.value
        desk = self.desk
        found = desk.once(("fertility", by), (), lambda: bud_fertility(desk.records, by))
        names = found.names
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
        mine = found.of(name, what)
        if mine.empty:
            self.answer.value = parts.note(f"No such figure of {name} can be fitted.")
            return
        woods = list(dict.fromkeys(mine["wood"]))
        text = '<div role="status">'
        text += (
            parts.points(words.enough_sentence(found, name, wood, what) for wood in woods)
            + "</div>"
        )
        text += parts.note(words.differs_sentence(mine, name))
        text += parts.readable_picture(
            drawing.plot_fertility(found, name, what), drawing.fertility_text(found, name, what)
        )
        text += tables.fertility_table(found, name, what).html()
        text += parts.points([words.FERTILITY_NOTE])
        if self.desk.is_sample:
            text += parts.note("The buds are invented, like everything of Quillfoot.")
        text += parts.head("Where the figures come from")
        keys = [*(f"profile.{wood}.{what}" for wood in woods), *found.sources]
        known = set(handbook.keys())
        text += "".join(parts.source(key) for key in keys if key in known)
        self.answer.value = text
