"""The frost page: what longer wood and a late final cut are worth over the springs on record."""

from cropload.beliefs.meant import load_first
from cropload.frost import words as frost_words
from cropload.frost.cover import frost_cover, one_case
from cropload.frost.panels import frost_results
from cropload.frost.panels.late_cut import LateCut
from cropload.frost.spring_rows import springs_axis, springs_svg
from cropload.frost.tables import late_cut_table
from cropload.frost.worth import wood_worth
from cropload.frost.years import block_frost_years, block_weather
from cropload.pages.pruning_levels import LevelsPart
from cropload.pruning.compare import estate_for
from cropload.show import wording
from cropload.show.desk import Fold, Said, folds
from cropload.show.hand_out import HandOut
from cropload.show.page import Page
from cropload.show.panels import parts, saving
from cropload.vine.plan import PlanError, PruningPlan
from cropload.vine.training import first_levels
from cropload.vine.weather.settings import CASES

#: Buds by which the longer canes differ from last winter's.
_LONGER = (2, 4)

STYLE = """<style>
.cl-frost .cl-lv-row { grid-template-columns: minmax(114px, 1.1fr) repeat(4, minmax(54px, 66px))
  38px 122px minmax(200px, 2.6fr) 136px 24px; }
.cl-frost .cl-lv-text { width: auto; }
.cl-frost .cl-lv-crop .cl-lv-text { width: 82px; }
.cl-frost .cl-lv-balance .cl-lv-text { white-space: normal; flex: 1; }
.cl-frost .cl-lv-shoots .cl-lv-line > :first-child,
.cl-frost .cl-lv-balance .cl-lv-line > :first-child { display: none; }
@container (max-width: 899px) {
  .cl-frost .cl-lv-row { grid-template-columns: repeat(4, 1fr); }
  .cl-frost .cl-lv-crop .cl-lv-text { min-width: 0; }
}
</style>"""


def coldest_block(records):
    """Return the block that lies furthest below its station, where frost matters most."""
    offsets = records.blocks["frost_offset_c"].fillna(0.0).to_numpy()
    return str(records.blocks["block"].iloc[int(offsets.argmin())])


def longer_levels(last_plan, usual_buds, training, longest):
    """Return the levels the page opens with: last winter's, and longer canes beside it.

    The parameters are those of ``first_levels``.
    """
    plans, names = first_levels(last_plan, usual_buds, training, longest)
    first = plans[0]
    if not first.canes:
        return plans, names
    plans, names = plans[:1], names[:1]
    for more, name in zip(_LONGER, ("longer canes", "longer still"), strict=True):
        if first.buds_per_cane + more > longest:
            continue
        try:
            longer = PruningPlan(
                first.canes, first.buds_per_cane + more, first.spurs, first.buds_per_spur or 2
            )
        except PlanError:
            continue
        plans.append(longer)
        names.append(name)
    return plans, names


class FrostCover(Page):
    """See what longer canes or a late final cut are worth against spring frost in a block.

    Parameters
    ----------
    given : Records, str or path, optional
        Records, or the folder or workbook to read; the invented sample estate when not given.
    block : str, optional
        Block to open with; when not given, the one furthest below its station at night.
    season, units, draws, seed
        As for ``PruningLevels``; draws and seed as in ``frost_cover``, so that they agree [1].

    Attributes
    ----------
    comparison : FrostReplay or None
        The springs as last replayed, in both cases; None when that is not possible.
    plans, names : list of PruningPlan, list of str
        The levels as last compared.

    Notes
    -----
    Faults are shown as a message in their place; nothing is raised after the page is made.
    Valid as ``frost_cover``.
    """

    question = "What is longer wood worth here?"

    def _choose(self):
        if self._asked["block"] is None:
            self._asked["block"] = coldest_block(self.records)
        super()._choose()

    def build(self):
        """Return the levels with their springs, one sentence, the late cut, and the folds."""
        self.comparison, self.plans, self.names = None, [], []
        self.given, self.settled, self.heavy_loss = {}, True, None
        self.levels = FrostRows(self)
        self.levels.add_class("cl-frost")
        self.sentence = Said(self.desk, self._sentence, ("comparison",))
        self.sentence.add_class("cl-answer-first")
        self.late = LateCut(self)
        return [parts.html(STYLE), self.sentence, self.levels, self.late, folds(*self._folds())]

    def _folds(self):
        said = self._said
        return [
            Fold("a late cut of each plan", lambda: [said(self._late_cuts)]),
            Fold("spring by spring", lambda: [said(self._springs)]),
            Fold("one night", self._night),
            Fold("after a frost", self._after),
            Fold("weather and station offset", self._weather),
            Fold("what is known and what not", lambda: [parts.html(frost_results.evidence_html())]),
            Fold("where the numbers come from", lambda: [said(self._sources)]),
            Fold("hand out", self._hand_out),
            Fold("taking care", lambda: [parts.html(frost_results.cautions_html())]),
        ]

    def _said(self, say):
        return Said(self.desk, lambda: say() if self.comparison else "", ("comparison", "weighed"))

    # What lies in a fold is loaded when it is opened.
    def _night(self):
        from cropload.frost.panels.frost_night import NightPart

        return [NightPart(self)]

    def _after(self):
        from cropload.frost.panels.frost_after import AfterPart

        return [AfterPart(self)]

    def _weather(self):
        from cropload.frost.panels.daily_files import DailyFiles
        from cropload.frost.panels.frost_weather import FrostWeather

        return [FrostWeather(self), DailyFiles(self)]

    def _hand_out(self):
        told = parts.html()
        return [
            HandOut(
                "all springs as CSV",
                self.springs_file,
                lambda text: setattr(told, "value", parts.error(text) if text else ""),
            ),
            told,
        ]

    def weather(self):
        """Return the weather of the block as chosen, worked out once."""
        desk, given = self.desk, self.given.get(self.desk.block, {})
        return desk.once(
            f"weather {given}", ("block",), lambda: block_weather(desk.records, desk.block, **given)
        )

    def years(self):
        """Return the nights of every spring, worked out once for all plans."""
        desk, given = self.desk, self.given.get(self.desk.block, {})

        def make():
            return block_frost_years(self.weather(), case=CASES, draws=desk.draws, seed=desk.seed)

        return desk.once(f"years {given}", ("block",), make)

    def profile(self):
        """Return how shoots and clusters change along the canes of the block's variety."""
        desk = self.desk
        estate = estate_for(desk.records, desk.block, desk.season, self.reference_plan)
        return estate.profiles[estate.facts.varieties[estate.facts.place(desk.block)]]

    @property
    def reference_plan(self):
        """The plan that a block without any on record has carried, as told; else None."""
        return self.levels.reference_plan

    def set_number(self, place, **numbers):
        """Set numbers of the level at a place among those that are plans."""
        self.levels.set_number(place, **numbers)

    def _sentence(self):
        if self.comparison is None:
            return ""
        units, one = self.desk.units, one_case(self.comparison, CASES[0])
        told = frost_words.worth_sentence(wood_worth(one), units)
        text = f'<p class="cl-matters" role="status">{parts.escape(told)}</p>'
        doubts = [doubt.words(units) for doubt in one.doubts]
        return text + "".join(map(parts.note, [*load_first(self.comparison.notes)[0], *doubts]))

    def _late_cuts(self):
        found = self.late.found
        return "" if found is None else late_cut_table(found).html(self.desk.units)

    def _springs(self):
        return frost_results.springs_html(self.comparison, self.desk.units)

    def _sources(self):
        doubts = [doubt.words() for doubt in self.comparison.doubts]
        notes = [*self.weather().notes, *load_first(self.comparison.notes)[1]]
        notes = [note for note in notes if note not in doubts]
        further = frost_words.worth_sentences(self.comparison)
        return parts.points(further) + parts.points(dict.fromkeys(notes))

    def springs_file(self):
        """Return the name and the bytes of all springs as CSV, in the units shown."""
        from cropload.errors import CroploadError
        from cropload.records.writing.results import frame_result

        if self.comparison is None:
            raise CroploadError("No level above is a plan; mend one first.")
        name = f"{saving.file_stem('frost', self.desk.block, self.desk.season)}.csv"
        frame = frost_words.export(self.comparison, self.desk.units)
        return name, frame_result(name, frame).data


class FrostRows(LevelsPart):
    """The rows of levels, each with its springs and what they add up to."""

    needs = ("block", "season", "units", "reference", "weather", "counted")
    first = staticmethod(longer_levels)

    def answers(self, plans):
        """Return what stands above the answers, and the answers of each plan, as HTML."""
        page, desk = self.page, self.desk
        own = list(dict.fromkeys(plans))
        replay = page.comparison = frost_cover(
            desk.records,
            desk.block,
            own,
            desk.season,
            case=CASES,
            settled=page.settled,
            heavy_loss=page.heavy_loss,
            reference_plan=self.reference_plan,
            years=page.years(),
            seed=desk.seed,
        )
        worth = wood_worth(one_case(replay, CASES[0]))
        often = frost_words.percent(replay.heavy_loss)
        count = len(replay.seasons)
        head = {
            "buds": "buds",
            "shoots": f"{parts.escape(desk.units.label('t_ha'))} a year, frost in it (8 in 10)",
            "crop": _line(
                springs_axis(replay),
                "left",
                f"crop left by {count} springs; red: over {often} lost",
            ),
            "balance": "beside the first",
        }
        return head, [self._answer(replay, worth, own.index(plan)) for plan in plans]

    def _answer(self, replay, worth, at):
        units = self.desk.units
        row = replay.frame.iloc[at].to_dict()
        middle, _, ends = wording.range_of(row, "mean_crop", "t_ha", units).partition(" ")
        label = parts.escape(units.label("t_ha"))
        narrow = f'<span class="cl-lv-only-narrow"> {label}</span>'
        beside = "the plan to beat"
        if at:
            change, kept = (
                wording.amount("t_ha", worth[f"{name}_p50"][at], units, unit=False, signed=True)
                for name in ("change", "kept")
            )
            beside = f"<b>{change}</b> {label}, of it {kept} from frost"
        mean = wording.percent(row["mean_share_p50"])
        worst = wording.percent(row["worst_share_p50"])
        return {
            "buds": f"{PruningPlan.parse(row['plan']).buds}",
            "shoots": _text(f"<b>{middle}</b>{narrow} {ends}"),
            "crop": _line(springs_svg(replay, at), f"{mean}<br>worst {worst}"),
            "balance": _text(beside),
        }


def _text(text):
    return _line("", text)


def _line(picture, text, above=""):
    line = f'<div>{picture}</div><div class="cl-lv-text">{text}</div>'
    return f'{above}<div class="cl-lv-line">{line}</div>'
