"""The public face of the package, typed; a test holds it to the functions themselves."""

from collections.abc import Callable, Iterable, Mapping
from datetime import date
from os import PathLike
from pathlib import Path
from typing import Any

from numpy.typing import ArrayLike
from pandas import DataFrame, Timestamp

from cropload.beliefs.dates.harvest_dates import HarvestDates as HarvestDates
from cropload.beliefs.result import Change as Change
from cropload.beliefs.result import Forecast as Forecast
from cropload.frost.after_frost import AfterFrost as AfterFrost
from cropload.frost.replay import FrostReplay as FrostReplay
from cropload.frost.take_weather import TakenWeather as TakenWeather
from cropload.outside.evidence import Evidence as Evidence
from cropload.owner.costs import Costs as Costs
from cropload.owner.mix import Limits as Limits
from cropload.owner.report import OwnerReport as OwnerReport
from cropload.owner.report_settings import ReportSettings as ReportSettings
from cropload.owner.scenarios import Scenarios as Scenarios
from cropload.pruning.compare import Comparison as Comparison
from cropload.pruning.compare_blocks import BlockComparison as BlockComparison
from cropload.pruning.find_plan import PlanSearch as PlanSearch
from cropload.records.importing.importing import Import as Import
from cropload.records.reading.faults import RecordsError as RecordsError
from cropload.records.records import Records as Records
from cropload.review.accepting import Acceptance as Acceptance
from cropload.review.accepting import LessonEffect as LessonEffect
from cropload.review.bud_fertility import BudFertility as BudFertility
from cropload.review.learning import Lessons as Lessons
from cropload.review.review import SeasonReview as SeasonReview
from cropload.review.scores import Scores as Scores
from cropload.review.split_miss import MissSplit as MissSplit
from cropload.review.strips import StripTrial as StripTrial
from cropload.review.vine_trend import VineTrend as VineTrend
from cropload.season.count_plan import CountPlan as CountPlan
from cropload.season.crew_check import CrewCheck as CrewCheck
from cropload.season.due import Due as Due
from cropload.season.next_counts import NextCounts as NextCounts
from cropload.season.season_days import Fan as Fan
from cropload.season.season_days import SeasonDay as SeasonDay
from cropload.season.stage_errors import ErrorsByStage as ErrorsByStage
from cropload.season.take import TakenSheet as TakenSheet
from cropload.season.thinning import Thinning as Thinning
from cropload.season.two_step import TwoStepPlan as TwoStepPlan
from cropload.units import UnitSystem as UnitSystem
from cropload.vine.balanced_pruning import BalancedLookup as BalancedLookup
from cropload.vine.plan import PruningPlan as PruningPlan
from cropload.winery.capacity import Capacity as Capacity
from cropload.winery.contracts import ContractRoom as ContractRoom
from cropload.winery.relief import Relief as Relief
from cropload.winery.schedule import IntakeSchedule as IntakeSchedule

Band = str | tuple[float, float]
Day = str | date | Timestamp
Plans = str | PruningPlan | Iterable[str | PruningPlan]
Span = int | tuple[int, int]

__version__: str
__all__: list[str]

def accept(
    records: Records, lessons: Lessons, only: Any = ..., *, day: Day | None = ..., older: bool = ...
) -> Acceptance: ...
def after_frost(
    forecast: Forecast,
    block: str,
    shoots_killed: Any,
    shoots_seen: Any,
    *,
    frost_date: Any = ...,
    counted_on: Any = ...,
    share_of_primary: Any = ...,
) -> AfterFrost: ...
def balanced_buds(
    pruning_weight_kg: ArrayLike, first: float, further: float, unit_kg: float
) -> Any: ...
def balanced_table(
    formula: Any,
    units: str | UnitSystem = ...,
    start: float | None = ...,
    stop: float | None = ...,
    step: float | None = ...,
    *,
    vine_spacing_m: float | None = ...,
    cap: float | tuple[float, float] | None = ...,
) -> BalancedLookup: ...
def bud_fertility(records: Records, by: str = ...) -> BudFertility: ...
def capacity_table(schedule: IntakeSchedule, capacity: DataFrame) -> Capacity: ...
def compare_blocks(
    records: Records,
    plans: Plans | None = ...,
    season: int | None = ...,
    *,
    blocks: Iterable[str] | None = ...,
    draws: int = ...,
    seed: int = ...,
    density_band: Band | None = ...,
    ravaz_band: Band | None = ...,
    reference_plans: Mapping[str, str | PruningPlan] | None = ...,
) -> BlockComparison: ...
def compare_plans(
    records: Records,
    block: str,
    plans: Plans,
    season: int | None = ...,
    *,
    draws: int = ...,
    seed: int = ...,
    density_band: Band | None = ...,
    ravaz_band: Band | None = ...,
    reference_plan: str | PruningPlan | None = ...,
) -> Comparison: ...
def compare_scenarios(
    records: Records,
    scenarios: Mapping[str, Mapping[str, str | PruningPlan]],
    season: int | None = ...,
    *,
    costs: Costs | None = ...,
    draws: int = ...,
    seed: int = ...,
    density_band: Band | None = ...,
    ravaz_band: Band | None = ...,
    reference_plans: Mapping[str, str | PruningPlan] | None = ...,
    frost: bool = ...,
    limits: Limits | None = ...,
    discount: float = ...,
) -> Scenarios: ...
def answer_doubt(
    path: str | PathLike[str],
    rule: str,
    why: str,
    *,
    block: str | None = ...,
    season: int | None = ...,
    who: str = ...,
    every: bool = ...,
    day: Day | None = ...,
) -> str: ...
def contract_table(
    forecast: Forecast, contracts: DataFrame, blocks: DataFrame | None = ...
) -> ContractRoom: ...
def correct(
    path: str | PathLike[str],
    table: str,
    key: str | Iterable[str | float],
    column: str,
    new: str | float | None,
    *,
    old: str = ...,
    why: str = ...,
    day: Day | None = ...,
) -> str: ...
def crew_check(
    records: Records,
    block: str,
    season: int | None = ...,
    *,
    plan: str | PruningPlan | None = ...,
    date: Day | None = ...,
    confidence: float | None = ...,
    t_ha_per_bud: Any = ...,
    history: Records | None = ...,
    draws: int = ...,
    seed: int = ...,
) -> CrewCheck: ...
def due(
    records: Records,
    day: Day | None = ...,
    *,
    hours: float | None = ...,
    season: int | None = ...,
    of: str = ...,
    made: Forecast | None = ...,
) -> Due: ...
def example_records() -> Records: ...
def evidence() -> Evidence: ...
def find_plans(
    records: Records,
    block: str,
    *,
    target_t_ha: float,
    season: int | None = ...,
    shoots_per_m: Band | None = ...,
    ravaz: Band | None = ...,
    canes: Span | None = ...,
    buds_per_cane: Span | None = ...,
    spurs: Span | None = ...,
    buds_per_spur: int | None = ...,
    renewal_spur: bool = ...,
    suitable_canes: str | int | None = ...,
    dead_buds: float = ...,
    tolerance: float | None = ...,
    settled: bool = ...,
    draws: int = ...,
    seed: int = ...,
    keep: int = ...,
    reference_plan: str | PruningPlan | None = ...,
    units: str | UnitSystem | None = ...,
) -> PlanSearch: ...
def forecast(
    records: Records,
    season: int | None = ...,
    as_of: Day | None = ...,
    *,
    plans: Mapping[str, str | PruningPlan] | None = ...,
    draws: int = ...,
    seed: int = ...,
    reference_plans: Mapping[str, str | PruningPlan] | None = ...,
    learned: Any = ...,
) -> Forecast: ...
def forecast_fan(
    made: Iterable[tuple[SeasonDay, Forecast]],
    by: str = ...,
    name: str = ...,
    records: Records | None = ...,
) -> Fan: ...
def frost_cover(
    records: Records,
    block: str,
    plans: Plans,
    season: int | None = ...,
    *,
    case: str = ...,
    settled: bool = ...,
    heavy_loss: float | None = ...,
    reference_plan: str | PruningPlan | None = ...,
    years: Any = ...,
    draws: int = ...,
    seed: int = ...,
    **weather: Any,
) -> FrostReplay: ...
def frost_survival(
    plans: Plans,
    weather: Any,
    burst: Any,
    *,
    cases: str | Iterable[str] = ...,
    settings: Any = ...,
    variety: Any = ...,
    offset: Any = ...,
    profile: Any = ...,
    season: int | None = ...,
    hemisphere: str | None = ...,
    draws: int = ...,
    seed: int = ...,
    block: str = ...,
) -> Any: ...
def harvest_dates(
    records: Records,
    season: int | None = ...,
    as_of: Day | None = ...,
    *,
    picks: Mapping[str, Any] | None = ...,
    draws: int = ...,
    seed: int = ...,
    hemisphere: str | None = ...,
) -> HarvestDates: ...
def import_workbook(
    files: str | PathLike[str] | Iterable[str | PathLike[str]],
    into: str | PathLike[str] | None = ...,
    answers: str | PathLike[str] | Mapping[str, Any] | None = ...,
    *,
    progress: Callable[..., object] | None = ...,
) -> Import: ...
def intake_schedule(
    forecast: Forecast,
    dates: Any = ...,
    *,
    period: str | DataFrame = ...,
    week_starts: str = ...,
    independent: bool = ...,
    blocks: DataFrame | None = ...,
    capacity: DataFrame | None = ...,
) -> IntakeSchedule: ...
def learn(records: Records, through: int | None = ...) -> Lessons: ...
def lesson_effect(
    records: Records,
    lessons: Lessons,
    only: Any = ...,
    season: int | None = ...,
    *,
    draws: int = ...,
    seed: int = ...,
    older: bool = ...,
) -> LessonEffect: ...
def level_scores(reviews: Iterable[SeasonReview], level: str = ...) -> Scores: ...
def mean_from_sample(
    values: ArrayLike,
    population: float | None = ...,
    *,
    design: str = ...,
    strata: Any = ...,
    clusters: Any = ...,
    weights: Any = ...,
    confidence: float = ...,
) -> Any: ...
def next_counts(
    forecast: Forecast, *, hours: float = ..., of: str = ..., what: Any = ...
) -> NextCounts: ...
def pocket_page(
    records: Records,
    season: int | None = ...,
    *,
    blocks: Iterable[str] | None = ...,
    language: str = ...,
    units: str | UnitSystem = ...,
    draws: int = ...,
    seed: int = ...,
) -> str: ...
def ravaz_index(
    yield_kg: ArrayLike, pruning_weight_kg: ArrayLike, axis: int | None = ...
) -> Any: ...
def read_log(path: str | PathLike[str]) -> tuple[DataFrame, tuple[Any, ...]]: ...
def record_event(
    records: Records,
    block: str,
    day: Day,
    kind: str,
    *,
    share_pct: float | None = ...,
    of: str | None = ...,
    dead: int | None = ...,
    alive: int | None = ...,
    counts_that_day: str | None = ...,
    note: str | None = ...,
) -> Path: ...
def read_records(path: str | PathLike[str]) -> Records: ...
def relieve(
    schedule: IntakeSchedule,
    capacity: DataFrame,
    *,
    windows: Any = ...,
    worth: float | None = ...,
    tanks: DataFrame | None = ...,
    presses: DataFrame | None = ...,
    pickers: DataFrame | None = ...,
    costs: dict[str, float] | None = ...,
    progress: Callable[[int, int], object] | None = ...,
) -> Relief: ...
def replacement_buds(target_live_buds: ArrayLike, dead_fraction: ArrayLike) -> Any: ...
def replay_frost(
    weather: Any,
    plans: Plans,
    budburst: Any = ...,
    *,
    crop: Any = ...,
    unit: Any = ...,
    cases: str | Iterable[str] = ...,
    heavy_loss: float | None = ...,
    profile: Any = ...,
    **options: Any,
) -> FrostReplay: ...
def report(
    records: Records,
    scenarios: Scenarios,
    units: str | UnitSystem = ...,
    made_on: Day | None = ...,
    settings: ReportSettings | None = ...,
) -> OwnerReport: ...
def review_season(
    records: Records,
    season: int,
    *,
    moments: Iterable[str] | None = ...,
    as_of: Day | None = ...,
    draws: int = ...,
    seed: int = ...,
    progress: Callable[..., object] | None = ...,
) -> SeasonReview: ...
def sample_size(
    cv: float,
    error: float,
    confidence: float = ...,
    population: float | None = ...,
    *,
    quantile: str = ...,
) -> Any: ...
def sample_vines(
    records: Records,
    block: str,
    measure: str = ...,
    *,
    beside: Iterable[str] = ...,
    error: float = ...,
    season: int | None = ...,
    vines: int | None = ...,
    rows: int | None = ...,
    rows_to_walk: int | None = ...,
    date: Day | None = ...,
    seed: int = ...,
    units: str | UnitSystem | None = ...,
    two_step: bool = ...,
) -> CountPlan: ...
def season_days(records: Records, season: int) -> list[SeasonDay]: ...
def split_miss(records: Records, season: int, forecast: Forecast) -> MissSplit: ...
def stage_errors(
    records: Records,
    *,
    draws: int = ...,
    seed: int = ...,
    progress: Callable[..., object] | None = ...,
) -> ErrorsByStage: ...
def strip_trial(
    records: Records,
    block: str,
    season: int | None = ...,
    *,
    price_per_t: float | None = ...,
    hour_price: float | None = ...,
) -> StripTrial: ...
def take_sheets(
    files: str | PathLike[str] | Iterable[str | PathLike[str]], into: str | PathLike[str]
) -> list[TakenSheet]: ...
def take_weather(
    files: str | PathLike[str] | Iterable[str | PathLike[str]] | Mapping[str, bytes],
    station: str,
    into: str | PathLike[str],
    *,
    code: str | None = ...,
    degrees: str | None = ...,
) -> TakenWeather: ...
def thin_to(
    forecast: Forecast,
    block: str,
    *,
    target_t_ha: float | None = ...,
    ravaz: Band | None = ...,
    tolerance: float | None = ...,
    cv_vines: float | None = ...,
) -> Thinning: ...
def two_step_plan(
    error: float,
    confidence: float = ...,
    population: float | None = ...,
    *,
    cv_clusters: Any = ...,
    cv_weight: Any = ...,
    cv_weight_within: Any = ...,
    clusters_a_vine: Any = ...,
    minutes_count: Any = ...,
    minutes_weigh: Any = ...,
) -> TwoStepPlan: ...
def vine_trend(records: Records) -> VineTrend: ...
def vines_per_hectare(row_spacing_m: ArrayLike, vine_spacing_m: ArrayLike) -> Any: ...
def what_moved(forecast: Forecast, log: DataFrame) -> Change: ...
def with_frost(
    comparison: Comparison, records: Records, block: str, *, case: str = ..., **options: Any
) -> Comparison: ...
def write_template(
    path: str | PathLike[str], xlsx: bool = ..., units: str | UnitSystem | None = ...
) -> Path: ...
