"""The panel of longer wood against spring frost: past springs, one night, and after a frost."""

from dataclasses import replace

import ipywidgets as widgets
import numpy as np

from cropload import handbook
from cropload.beliefs.history import estate_before_season
from cropload.beliefs.meant import check_block, next_season
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.frost.cover import frost_cover
from cropload.frost.panels import frost_results
from cropload.frost.panels.frost_weather import FrostWeather
from cropload.frost.words import CASE_WORDS, export
from cropload.frost.years import block_frost_years
from cropload.pruning.compare import estate_for
from cropload.show.panels import parts, saving
from cropload.show.panels.fields import asked_plan, button, carried_plan, choice, units_choice
from cropload.show.panels.later import Later
from cropload.show.panels.level_rows import LevelRows
from cropload.show.panels.opening import RecordsPanel, given_records
from cropload.units import unit_system
from cropload.vine.plan import PlanError, PruningPlan
from cropload.vine.training import first_levels, longest_cane
from cropload.vine.weather.settings import CASES

#: Buds by which the longer canes differ from last winter's.
_LONGER = (2, 4)


def longer_levels(last_plan, usual_buds, training, longest):
    """Return the levels the panel opens with: last winter's, and longer canes beside it.

    The parameters are those of ``first_levels``.
    """
    plans, names = first_levels(last_plan, usual_buds, training, longest)
    first = plans[0]
    if not first.canes:
        return plans, names
    plans, names = plans[:1], names[:1]
    for more, name in zip(_LONGER, ("longer canes", "longer canes still"), strict=True):
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


class FrostCover(RecordsPanel):
    """See what longer canes or a late final cut are worth against spring frost in a block.

    Parameters
    ----------
    records_or_path : Records, str or path, optional
        Records, or the folder or workbook to read; the invented sample estate when not given.
    block : str, optional
        Block to open with; when not given, the one furthest below its station at night.
    units : str
        ``"metric"`` or ``"us"``.
    results_folder : str or path, optional
        Where results go; ``results`` beside the records when not given.
    draws, seed : int
        Draws and their seed, as in ``frost_cover`` so that panel and command agree [1].

    Attributes
    ----------
    replay : FrostReplay or None
        The springs as last replayed; None when that is not possible, and the panel says why.
    plans : list of PruningPlan
        The levels as last compared.

    Notes
    -----
    Faults are shown as a message in the panel; nothing is raised after it is made.
    Valid as ``frost_cover``.
    """

    title = "Longer wood against spring frost"

    def __init__(
        self,
        records_or_path=None,
        *,
        block=None,
        units="metric",
        results_folder=None,
        draws=DEFAULT_DRAWS,
        seed=0,
    ):
        super().__init__(results_folder, draws, seed)
        self.replay, self.years, self.plans, self._quiet = None, None, [], True
        self._build(records_or_path, block, units)

    @parts.guarded
    def _build(self, given, block, units):
        self.records = given_records(given)
        self.season = next_season(self.records)
        names = [str(name) for name in self.records.blocks["block"]]
        first = check_block(self.records, block) if block is not None else self._coldest(names)
        self.block_choice = choice("Block", names, first, "22em")
        self.case_choice = choice(
            "How the wood stands in spring",
            [
                (CASE_WORDS["laid_down"], CASES[:1]),
                (CASE_WORDS["upright_until_final_cut"], CASES[1:]),
                ("both, each by itself", CASES),
            ],
            CASES[:1],
            "34em",
        )
        self.crop_choice = choice(
            "Crop",
            [("settled (third season on)", True), ("first season", False)],
            True,
            "20em",
        )
        self.unit_choice = units_choice(units, "t/ha, °C", "short ton/ac, °F", "17em")
        self.units = unit_system(units)
        self.heavy = parts.number_box(
            "A frost year loses more than [%]", 100 * handbook.value("frost.heavy_loss"), 5
        )
        self.nights = FrostWeather(self.records, self.units, self._start_years)
        self.reference = carried_plan()
        self.levels = LevelRows(self._refresh)
        self.words, self.springs, self.kept = parts.html(), parts.html(), parts.html()
        self._later = Later()
        # Loaded here because each tab knows the panel it stands in.
        from cropload.frost.panels.frost_after import AfterTab
        from cropload.frost.panels.frost_night import NightTab

        self.night, self.after = NightTab(self), AfterTab(self)
        self.csv_button = button("Export the years as CSV", self._export, "17em")
        keep = [parts.row(self.csv_button), self.kept]
        self.results.children = [self.words, self.springs, *keep]
        self.tabs = widgets.Tab(children=[self.results, self.night, self.after])
        self.tabs.titles = ("Plans over the years", "One night", "After a frost")
        self.tabs.observe(lambda _: self.night.look(), "selected_index")
        for each, action in (
            (self.block_choice, self._start_block),
            (self.case_choice, self._refresh),
            (self.crop_choice, self._refresh),
            (self.heavy, self._refresh),
            (self.unit_choice, self._other_units),
            (self.reference, self._start_block),
        ):
            each.observe(self._unless_quiet(action), "value")
        self.children = [
            self.opening(frost_results.STYLE),
            parts.row(self.block_choice, self.case_choice, self.crop_choice, self.unit_choice),
            self.nights,
            parts.row(self.heavy, self.reference),
            self.levels,
            self.message,
            self.tabs,
            parts.html(frost_results.evidence_html()),
            parts.html(frost_results.cautions_html()),
        ]
        self._quiet = False
        self._start_block()

    def _coldest(self, names):
        """Return the block that lies furthest below its station, where frost matters most."""
        offsets = self.records.blocks["frost_offset_c"].fillna(0.0).to_numpy()
        return names[int(offsets.argmin())]

    def _unless_quiet(self, action):
        def run(_):
            if not self._quiet:
                action()

        return run

    def forget(self):
        """Drop springs that no longer belong to the choices."""
        self.replay = None
        if hasattr(self, "night"):
            self.night.layout.display = "none"

    def looking_at(self, tab):
        """Return whether a tab is the open one."""
        return self.tabs.children[self.tabs.selected_index or 0] is tab

    @property
    def block(self):
        """Name of the chosen block."""
        return self.block_choice.value

    @property
    def case(self):
        """The case shown for one night; the first one when both are compared over the years."""
        return self.case_choice.value[0]

    @property
    def reference_plan(self):
        """The plan the user says the block has carried; None when not asked for or blank."""
        return asked_plan(self.reference)

    @parts.guarded
    def _start_block(self):
        """Open a block: its station and offset, last winter's plan and longer canes."""
        self.years, self.kept.value = None, ""
        self.after.clear()
        self._quiet = True
        try:
            self.nights.open_block(self.block)
            known = load_known(self.records, self.block, self.season)
            self.reference.layout.display = "none" if known else None
            estate = estate_for(self.records, self.block, self.season, self.reference_plan)
            at = estate.facts.place(self.block)
            self.profile = estate.profiles[estate.facts.varieties[at]]
            last = estate.last_plan[at] or None
            usual = float(np.exp(estate.log_reference[at]))
            longest = longest_cane(estate.facts.vine_spacing_m(at))
            self.levels.set(*longer_levels(last, usual, estate.facts.training[at], longest))
        finally:
            self._quiet = False
        self._start_years()

    @parts.guarded
    def _start_years(self):
        """Work out the nights of every spring, once for all plans."""
        self.years = None
        self.weather = self.nights.read(self.block)
        self.years = block_frost_years(self.weather, case=CASES, draws=self.draws, seed=self.seed)
        self.night.open_years()
        self._refresh()

    @parts.guarded
    def _refresh(self):
        """Replay the springs for the levels as they stand and show the result."""
        if self._quiet or self.years is None:
            # Without springs the message says why; nothing else may take its place.
            return
        plans = self.levels.plans()
        replay = frost_cover(
            self.records,
            self.block,
            list(dict.fromkeys(plans)),
            self.season,
            case=self.case_choice.value,
            settled=self.crop_choice.value,
            heavy_loss=self.heavy.value / 100,
            reference_plan=self.reference_plan,
            years=self.years,
            seed=self.seed,
        )
        notes = (*self.weather.notes, *replay.notes)
        self.replay = replace(replay, notes=tuple(dict.fromkeys(notes)))
        self.plans = list(dict.fromkeys(plans))
        self.words.value = frost_results.words_html(self.replay, self.units)
        self.night.show()
        self.after.show_units()
        self.night.layout.display = None
        self.succeed()
        # Drawing takes far longer than the words, which need not wait for it.
        self._later.call("springs", self._draw)

    @parts.guarded
    def _draw(self):
        if self.replay is not None:
            self.springs.value = frost_results.springs_html(self.replay, self.units)

    @parts.guarded
    def _other_units(self):
        self.units = unit_system(self.unit_choice.value)
        self.nights.use_units(self.units)
        self._refresh()

    def _export(self):
        def action():
            self.levels.settle()
            stem = saving.file_stem("frost", self.block, self.season)
            path = saving.save_frame(
                export(self.replay, "metric"), self.folder(), stem, ".csv", self.units
            )
            return f"all springs are in {path}."

        parts.tell(self.kept, action)


def load_known(records, block, season):
    """Return whether the load a block has carried is known from its records."""
    estate = estate_before_season(records, season, {})
    return bool(estate.load_known[estate.facts.place(block)])
