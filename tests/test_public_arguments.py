"""A public function given something wrong says so in one message, and never in a raw error."""

import inspect
import re

import numpy as np
import pandas as pd
import pytest

import cropload
from cropload.errors import CroploadError
from cropload.records.writing.append import append_rows
from cropload.season import crew_check, sampling, vine_picking

RECORDS = cropload.example_records()
BLOCK, PLAN = "Long Acre", "3x8+3x2"
FORECAST = cropload.forecast(RECORDS, 2026, "2026-03-01", draws=100)
DAY = cropload.season_days(RECORDS, 2026)[0]
WEATHER = RECORDS.weather[RECORDS.weather["station"] == RECORDS.weather["station"].iloc[0]]
COMPARISON = cropload.compare_plans(RECORDS, "Mill Meadow", PLAN, draws=100)
DRAWN = {"draws": 100, "seed": 0}
SCHEDULE = cropload.intake_schedule(FORECAST, dict.fromkeys(FORECAST.blocks, "2026-09-20"))
TWO = {"today": {BLOCK: PLAN}, "longer": {BLOCK: "3x10+3x2"}}
SCENARIOS = cropload.compare_scenarios(RECORDS, TWO, 2027, **DRAWN, frost=False)

#: Function -> arguments that it takes gladly; each of them is then made wrong, one at a time.
CASES = {
    cropload.accept: {
        "records": RECORDS,
        "lessons": None,
        "only": None,
        "day": None,
        "older": False,
    },
    cropload.after_frost: {
        "forecast": FORECAST,
        "block": BLOCK,
        "shoots_killed": 10,
        "shoots_seen": 50,
        "frost_date": "2026-02-20",
        "counted_on": "2026-02-28",
        "share_of_primary": 0.3,
    },
    cropload.balanced_buds: {
        "pruning_weight_kg": 1.0,
        "first": 30,
        "further": 10,
        "unit_kg": 0.45,
    },
    cropload.balanced_table: {
        "formula": "30+10",
        "units": "us",
        "start": 1,
        "stop": 3,
        "step": 1,
        "vine_spacing_m": 2.0,
        "cap": (13, 20),
    },
    cropload.bud_fertility: {"records": RECORDS, "by": "variety"},
    cropload.compare_blocks: {
        "records": RECORDS,
        "plans": PLAN,
        "season": 2027,
        **DRAWN,
        "blocks": [BLOCK],
        "density_band": (12, 15),
        "ravaz_band": (4, 10),
        "reference_plans": None,
    },
    cropload.capacity_table: {"schedule": SCHEDULE, "capacity": RECORDS.capacity},
    cropload.compare_scenarios: {
        "records": RECORDS,
        "scenarios": TWO,
        "season": 2027,
        "costs": None,
        **DRAWN,
        "density_band": (12, 15),
        "ravaz_band": (4, 10),
        "reference_plans": None,
        "frost": False,
        "limits": None,
        "discount": 0.0,
    },
    cropload.contract_table: {
        "forecast": FORECAST,
        "contracts": RECORDS.contracts,
        "blocks": RECORDS.blocks,
    },
    cropload.relieve: {
        "schedule": SCHEDULE,
        "capacity": RECORDS.capacity,
        "windows": 0,
        "worth": 0.1,
        "tanks": RECORDS.tanks,
        "presses": RECORDS.presses,
        "pickers": RECORDS.pickers,
        "costs": None,
        "progress": None,
    },
    cropload.report: {
        "records": RECORDS,
        "scenarios": SCENARIOS,
        "units": "metric",
        "made_on": None,
        "settings": None,
    },
    cropload.pocket_page: {
        "records": RECORDS,
        "season": 2027,
        "blocks": [BLOCK],
        "language": "en",
        "units": "metric",
        **DRAWN,
    },
    cropload.compare_plans: {
        "records": RECORDS,
        "block": BLOCK,
        "plans": PLAN,
        "season": 2027,
        **DRAWN,
        "density_band": (12, 15),
        "ravaz_band": (4, 10),
        "reference_plan": None,
    },
    cropload.find_plans: {
        "records": RECORDS,
        "block": BLOCK,
        "target_t_ha": 8,
        "season": 2027,
        "shoots_per_m": (1, 30),
        "ravaz": (1, 20),
        "canes": (3, 3),
        "buds_per_cane": (8, 8),
        "spurs": (3, 3),
        "buds_per_spur": 2,
        "renewal_spur": True,
        "suitable_canes": 4,
        "dead_buds": 0.1,
        "tolerance": 0.1,
        "settled": False,
        **DRAWN,
        "keep": 2,
        "units": "metric",
        "reference_plan": None,
    },
    cropload.forecast: {
        "records": RECORDS,
        "season": 2026,
        "as_of": "2026-06-20",
        "plans": {BLOCK: PLAN},
        **DRAWN,
        "reference_plans": {BLOCK: PLAN},
        "learned": None,
    },
    cropload.frost_cover: {
        "records": RECORDS,
        "block": "Mill Meadow",
        "plans": PLAN,
        "season": 2027,
        "case": "laid_down",
        "settled": True,
        "heavy_loss": 0.3,
        "reference_plan": None,
        "years": None,
        **DRAWN,
        "station": None,
        "offset": None,
        "offset_spread": None,
        "logger": None,
        "budburst_sum": None,
        "hemisphere": None,
        "seasons": [2025],
    },
    cropload.frost_survival: {
        "plans": [PLAN],
        "weather": WEATHER,
        "burst": "2025-04-15",
        "cases": "laid_down",
        "settings": None,
        "variety": None,
        "offset": None,
        "profile": None,
        "season": 2025,
        "hemisphere": "north",
        **DRAWN,
        "block": "",
    },
    cropload.harvest_dates: {
        "records": RECORDS,
        "season": 2026,
        "as_of": "2026-06-20",
        "picks": None,
        **DRAWN,
        "hemisphere": None,
    },
    cropload.import_workbook: {
        "files": ["nowhere.xlsx"],
        "into": None,
        "answers": None,
        "progress": None,
    },
    cropload.intake_schedule: {
        "forecast": FORECAST,
        "dates": {},
        "period": "week",
        "week_starts": "Monday",
        "independent": False,
        "blocks": None,
        "capacity": RECORDS.capacity,
    },
    cropload.learn: {"records": RECORDS, "through": 2025},
    cropload.mean_from_sample: {
        "values": [1, 2, 3, 4],
        "population": 10,
        "design": "simple",
        "strata": None,
        "clusters": None,
        "weights": None,
        "confidence": 0.95,
    },
    cropload.forecast_fan: {
        "made": [(DAY, FORECAST)],
        "by": "block",
        "name": BLOCK,
        "records": RECORDS,
    },
    cropload.lesson_effect: {
        "records": RECORDS,
        "lessons": None,
        "only": None,
        "season": 2027,
        **DRAWN,
        "older": False,
    },
    cropload.level_scores: {"reviews": None, "level": "block"},
    cropload.read_log: {"path": "nowhere"},
    cropload.season_days: {"records": RECORDS, "season": 2026},
    cropload.stage_errors: {"records": RECORDS, **DRAWN, "progress": None},
    cropload.what_moved: {"forecast": FORECAST, "log": pd.DataFrame()},
    cropload.ravaz_index: {"yield_kg": [3, 4], "pruning_weight_kg": [0.5, 0.6], "axis": None},
    cropload.read_records: {"path": "nowhere"},
    cropload.replacement_buds: {"target_live_buds": 30, "dead_fraction": 0.3},
    cropload.replay_frost: {
        "weather": WEATHER,
        "plans": [PLAN],
        "budburst": 300.0,
        "crop": [8.0],
        "unit": "t/ha",
        "cases": "laid_down",
        "heavy_loss": 0.3,
        "profile": None,
        **DRAWN,
        "seasons": [2025],
    },
    cropload.review_season: {
        "records": RECORDS,
        "season": 2026,
        "moments": ["pruning"],
        "as_of": None,
        **DRAWN,
        "progress": None,
    },
    cropload.split_miss: {"records": RECORDS, "season": 2026, "forecast": FORECAST},
    cropload.sample_size: {
        "cv": 0.4,
        "error": 0.1,
        "confidence": 0.95,
        "population": 100,
        "quantile": "t",
    },
    cropload.sample_vines: {
        "records": RECORDS,
        "block": BLOCK,
        "measure": "clusters",
        "beside": (),
        "error": 0.1,
        "season": 2026,
        "vines": None,
        "rows": None,
        "rows_to_walk": None,
        "date": "2026-07-01",
        "seed": 0,
        "units": None,
        "two_step": False,
    },
    cropload.two_step_plan: {
        "error": 0.1,
        "confidence": 0.95,
        "population": 600,
        "cv_clusters": 0.4,
        "cv_weight": 0.2,
        "cv_weight_within": 0.4,
        "clusters_a_vine": 4,
        "minutes_count": 1.0,
        "minutes_weigh": 6.0,
    },
    cropload.vine_trend: {"records": RECORDS},
    cropload.vines_per_hectare: {"row_spacing_m": 2.0, "vine_spacing_m": 1.0},
    cropload.with_frost: {
        "comparison": COMPARISON,
        "records": RECORDS,
        "block": "Mill Meadow",
        "case": "laid_down",
    },
    cropload.write_template: {"path": "nowhere", "xlsx": False, "units": "metric"},
    cropload.PruningPlan: {"canes": 3, "buds_per_cane": 8, "spurs": 3, "buds_per_spur": 2},
    cropload.PruningPlan.parse: {"text": PLAN},
    cropload.Forecast.frame_by: {"self": FORECAST, "by": "block"},
    cropload.Forecast.contributions: {"self": FORECAST, "by": "block"},
    cropload.Forecast.explain: {"self": FORECAST, "earlier": FORECAST},
    cropload.record_event: {
        "records": RECORDS,
        "block": BLOCK,
        "day": "2026-06-20",
        "kind": "hail",
        "share_pct": 35.0,
        "of": "crop",
        "dead": None,
        "alive": None,
        "counts_that_day": "before",
        "note": "a remark",
    },
    cropload.answer_doubt: {
        "path": "nowhere",
        "rule": "harvest-low-crop",
        "why": "a remark",
        "block": None,
        "season": 2026,
        "who": "",
        "every": False,
        "day": None,
    },
    cropload.correct: {
        "path": "nowhere",
        "table": "counts",
        "key": "2026",
        "column": "buds",
        "new": 3,
        "old": "",
        "why": "",
        "day": None,
    },
    append_rows: {"path": "nowhere", "table": "counts", "rows": [{}]},
    cropload.crew_check: {
        "records": RECORDS,
        "block": BLOCK,
        "season": 2026,
        "plan": PLAN,
        "date": "2026-12-01",
        "confidence": 0.9,
        "t_ha_per_bud": 0.1,
        "history": None,
        **DRAWN,
    },
    cropload.strip_trial: {
        "records": RECORDS,
        "block": BLOCK,
        "season": 2026,
        "price_per_t": 1250.0,
        "hour_price": 22.0,
    },
    cropload.due: {
        "records": RECORDS,
        "day": "2027-05-20",
        "hours": 2.0,
        "season": 2027,
        "of": "estate",
        "made": None,
    },
    crew_check.crop_of_extra_buds: {
        "records": RECORDS,
        "block": BLOCK,
        "plan": PLAN,
        "season": 2026,
        **DRAWN,
    },
    cropload.next_counts: {"forecast": FORECAST, "hours": 1.0, "of": "estate", "what": None},
    sampling.cv_of_counts: {"records": RECORDS, "block": BLOCK, "column": "clusters"},
    sampling.sample_size_for_proportion: {
        "margin": 0.05,
        "proportion": 0.5,
        "confidence": 0.95,
        "population": 800,
    },
    cropload.take_sheets: {"files": ["nowhere.csv"], "into": "nowhere"},
    cropload.take_weather: {
        "files": {"day.csv": b"date,tmin_c,tmax_c\n2024-04-23,1,9\n"},
        "station": "Hill",
        "into": "nowhere",
        "code": None,
        "degrees": None,
    },
    cropload.thin_to: {
        "forecast": FORECAST,
        "block": BLOCK,
        "target_t_ha": 6,
        "ravaz": None,
        "tolerance": 0.1,
        "cv_vines": 0.3,
    },
    vine_picking.pick_vines: {
        "records": RECORDS,
        "block": BLOCK,
        "count": 10,
        "rows": None,
        "rows_to_walk": None,
        "headland_vines": None,
        "missing": [(1, 1)],
        "seed": 0,
    },
}

WRONG = {
    "None": None,
    "an empty list": [],
    "an empty text": "",
    "a word": "x",
    "a number as text": "8",
    "a NUL byte": "\0",
    "bytes": b"x",
    "nan": float("nan"),
    "inf": float("inf"),
    "minus one": -1,
    "True": True,
    "a broken number": 2026.5,
    "a huge number": 10**400,
    "an object": object(),
    "a list of None": [None],
    "a dict": {"a": 1},
    "NA": pd.NA,
    "NaT": pd.NaT,
    "an array": np.array([1.0, np.nan]),
    "a table": pd.DataFrame(),
}
TEXTS = {"an empty text", "a word", "a number as text", "a NUL byte"}
#: What is not wrong for an argument: a missing value in a list passes through arithmetic, a
#: word may name a variety, a temperature may be below zero, and so on.
FINE = {
    ("balanced_buds", "pruning_weight_kg"): {
        "an empty list", "nan", "a broken number", "a list of None", "an array", "a table",
    },
    ("balanced_buds", "*"): {"a broken number"},
    ("balanced_table", "*"): {"a broken number"},
    ("replacement_buds", "target_live_buds"): {
        "an empty list", "nan", "a broken number", "a list of None", "an array", "a table",
    },
    ("replacement_buds", "dead_fraction"): {
        "an empty list", "nan", "a list of None", "a table",
    },
    ("ravaz_index", "*"): {"a broken number", "an array"},
    ("ravaz_index", "axis"): {"minus one"},
    ("vines_per_hectare", "*"): {"a broken number"},
    ("sample_size", "*"): {"a broken number"},
    ("sample_size_for_proportion", "*"): {"a broken number"},
    ("mean_from_sample", "values"): {"a broken number", "an array", "a number as text"},
    ("mean_from_sample", "population"): {"a broken number"},
    # Only read by the designs that use them.
    ("mean_from_sample", "strata"): set(WRONG),
    ("mean_from_sample", "clusters"): set(WRONG),
    ("frost_survival", "variety"): TEXTS,
    ("frost_survival", "block"): TEXTS,
    ("frost_survival", "offset"): {"minus one"},
    ("frost_cover", "offset"): {"minus one"},
    ("frost_cover", "offset_spread"): {"a broken number"},
    ("frost_cover", "budburst_sum"): {"a broken number"},
    ("replay_frost", "budburst"): {"a broken number"},
    ("replay_frost", "unit"): TEXTS - {"an empty text", "a NUL byte"},
    ("intake_schedule", "period"): {"an empty list"},
    ("contract_table", "contracts"): {"a table"},
    ("relieve", "worth"): {"a broken number"},
    # No tanks are no fault.
    ("relieve", "tanks"): {"a table"},
    ("relieve", "presses"): {"a table"},
    ("relieve", "pickers"): {"a table"},
    ("next_counts", "hours"): {"a broken number"},
    ("due", "hours"): {"a broken number"},
    ("strip_trial", "price_per_t"): {"a broken number"},
    ("strip_trial", "hour_price"): {"a broken number"},
    ("crew_check", "plan"): {"a broken number"},
    ("crew_check", "t_ha_per_bud"): {"minus one", "a broken number"},
    ("pick_vines", "missing"): {"an empty list", "a table"},
    ("sample_vines", "beside"): {"an empty list", "a table"},
    ("sample_vines", "error"): {"a broken number"},
    ("two_step_plan", "*"): {"a broken number"},
    ("find_plans", "suitable_canes"): {"None"},
    ("write_template", "path"): {"a word", "a number as text"},
    # Where nothing was logged, the log is empty.
    ("read_log", "path"): {"a word", "a number as text"},
    ("what_moved", "log"): {"a table"},
}  # fmt: skip


def name_of(function):
    return function.__name__


def is_fine(function, argument, wrong):
    """Whether a value is right for an argument: every other one must be refused."""
    if isinstance(CASES[function][argument], bool) and wrong == "True":
        return True
    default = inspect.signature(function).parameters.get(argument)
    optional = default is None or default.default is None
    if WRONG[wrong] is None and optional:
        return True
    own = FINE.get((name_of(function), argument))
    return wrong in (FINE.get((name_of(function), "*"), ()) if own is None else own)


ASKED = [
    pytest.param(function, argument, id=f"{name_of(function)}-{argument}")
    for function, gladly in CASES.items()
    for argument in gladly
    if argument != "self"
]


@pytest.fixture(autouse=True)
def elsewhere(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize(("function", "argument"), ASKED)
@pytest.mark.filterwarnings("error")
def test_a_wrong_argument_gets_one_clear_message(function, argument, tmp_path):
    for wrong, value in WRONG.items():
        if is_fine(function, argument, wrong):
            continue
        try:
            function(**{**CASES[function], argument: value})
        except CroploadError as fault:
            message = str(fault)
        else:
            pytest.fail(f"{wrong} was taken")
        assert 20 < len(message) < 1500, wrong
        assert not re.search(r"object at 0x|Traceback|<class|NoneType", message), wrong
    assert not list(tmp_path.iterdir())


def test_every_public_function_and_argument_is_asked():
    public = [getattr(cropload, name) for name in cropload.__all__]
    functions = {f for f in public if inspect.isfunction(f)}
    functions -= {cropload.example_records, cropload.evidence}  # neither takes anything
    assert functions <= set(CASES)
    for function in functions:
        known = inspect.signature(function).parameters
        named = {n for n, p in known.items() if p.kind is not p.VAR_KEYWORD}
        assert named <= set(CASES[function]), name_of(function)


def test_a_path_in_place_of_records_is_told_how_to_read_it():
    with pytest.raises(CroploadError, match=r"read_records\('my season'\)"):
        cropload.compare_plans("my season", BLOCK, PLAN)


def test_numbers_of_numpy_and_pandas_are_as_good_as_plain_ones():
    plain = cropload.sample_size(0.4, 0.1, population=120)
    assert cropload.sample_size(np.float32(0.4), np.float64(0.1), population=np.int64(120)) == plain
    asked = {"target_t_ha": pd.Series([8]).iloc[0], "draws": 100}
    found = cropload.find_plans(
        RECORDS, BLOCK, **asked, keep=np.int64(2), renewal_spur=np.bool_(True)
    )
    assert len(found) == 2


def test_an_unknown_argument_is_a_plain_python_error():
    with pytest.raises(TypeError, match="unexpected keyword"):
        cropload.sample_size(0.4, 0.1, colour="red")
