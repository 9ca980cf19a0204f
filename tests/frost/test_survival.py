"""What frost nights leave of a plan: closed forms by hand, and properties that must always hold."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cropload.errors import CroploadError
from cropload.frost.survival import as_cases, as_plans, frost_survival, rung_weights, survival_map
from cropload.vine.plan import DividedPlan
from cropload.vine.plan_shape import NodeProfile, plan_shapes
from cropload.vine.weather.heat import SeasonDays
from cropload.vine.weather.kill import KillCurve
from cropload.vine.weather.nights import last_night
from cropload.vine.weather.phenology import BudburstSum
from cropload.vine.weather.settings import CASES, FrostDraws, FrostSettings, Spread, secondary_share
from cropload.vine.weather.station_offset import StationOffset

FIRST = np.datetime64("2024-01-01")
BURST = FIRST + 100
PLANS = ["3x8+3x2", "3x12+3x2", "24x2"]
FEW = {"draws": 60, "seed": 3}


def steady(nights=(), mean=12.0):
    """Mild days of one mean, with a low on each of some nights counted from burst."""
    length = 220
    days = SeasonDays(
        2024, FIRST + np.arange(length), np.full(length, mean - 6), np.full(length, mean + 6)
    )
    days = replace(days, night_c=np.full(length, 8.0))
    for after, low in nights:
        days = days.with_night(BURST + after, low)
    return days


def exact(**changes):
    """Settings without spread, so that a single draw is worked out by hand."""
    usual = {
        "lt50_spread": 0.0,
        "steepness_spread": 0.0,
        "burst_spread_days": 0.0,
        "delay_laid_down": 3.0,
        "delay_upright": 15.0,
        "leaf_interval": 40.0,
        "swell_interval": 40.0,
        "secondary_share": 0.3,
        "secondary_burst_days": 14.0,
        "late_cut_cost": 0.2,
    }
    return FrostSettings.from_handbook(**(usual | changes))


def left(days, plans=PLANS, burst=BURST, **options):
    return frost_survival(plans, days, burst, **({**FEW, **options})).crop_left


def test_no_frost_leaves_everything():
    found = frost_survival(PLANS, steady(), BURST, cases=[*CASES, "laid_down"], **FEW)
    assert found.crop_left == pytest.approx(1.0, abs=1e-12)
    assert found.nights().empty


def test_a_night_at_zero_degrees_kills_nothing():
    assert left(steady([(20, 0.0)])) == pytest.approx(1.0, abs=1e-12)


def test_one_night_by_hand():
    # No delay, so every node stands at one stage; a night of -1.7 C at burst + 20.
    fixed = exact(delay_laid_down=0.0)
    days = steady([(20, -1.7)])
    found = frost_survival(["2x8"], days, BURST, settings=fixed, draws=1)
    heat_since = 19.5 * days.sums(10.0)[1]
    stage = np.interp(heat_since / 40.0, [0, 1, 2, 4], [4, 7, 9, 11])
    dead = KillCurve.from_handbook().killed(-1.7, stage)
    assert 0.1 < dead < 0.9
    assert found.primary[0, 0] == pytest.approx(1 - dead, abs=0.005)
    assert found.crop_left[0, 0] == pytest.approx(1 - dead * 0.7, abs=0.005)


def test_nothing_dies_twice_and_secondaries_freeze_in_their_turn():
    fixed = exact(delay_laid_down=0.0)
    first, second = -1.6, -1.5
    days = steady([(20, first), (55, second)])
    found = frost_survival(["2x8"], days, BURST, settings=fixed, draws=1)
    pace = days.sums(10.0)[1]
    curve = KillCurve.from_handbook()

    def dead(low, day_of_burst, night):
        leaves = (night - day_of_burst) * pace / 40.0
        return curve.killed(low, np.interp(leaves, [0, 1, 2, 4], [4, 7, 9, 11]))

    one, two = dead(first, 0.5, 20), dead(second, 0.5, 55)
    again = dead(second, 34, 55)
    primary = (1 - one) * (1 - two)
    secondary = one * (1 - again) + (1 - one) * two
    assert found.primary[0, 0] == pytest.approx(primary, abs=0.005)
    assert found.secondary[0, 0] == pytest.approx(secondary, abs=0.005)
    assert found.crop_left[0, 0] == pytest.approx(primary + 0.3 * secondary, abs=0.005)


@settings(max_examples=40, deadline=None)
@given(
    low=st.floats(-6, 1),
    colder=st.floats(0, 3),
    after=st.integers(-15, 60),
    second=st.floats(-4, 1),
    case=st.sampled_from(CASES),
)
def test_colder_never_leaves_more(low, colder, after, second, case):
    mild = left(steady([(after, low), (after + 14, second)]), cases=case)
    cold = left(steady([(after, low - colder), (after + 14, second)]), cases=case)
    assert (cold <= mild + 1e-3).all()
    assert np.mean(cold - mild) <= 1e-4


@settings(max_examples=40, deadline=None)
@given(
    low=st.floats(-5, 0),
    earlier=st.integers(0, 25),
    after=st.integers(-5, 40),
    case=st.sampled_from(CASES),
)
def test_a_later_stage_never_leaves_more(low, earlier, after, case):
    days = steady([(after, low), (after + 10, low + 0.5)])
    late = left(days, cases=case)
    early = left(days, burst=BURST - earlier, cases=case)
    # The frost window ends 75 days after burst, which these nights stay inside.
    assert (early <= late + 1e-3).all()


@settings(max_examples=40, deadline=None)
@given(
    low=st.floats(-5, 0),
    buds=st.integers(4, 14),
    more=st.integers(1, 6),
    after=st.integers(-5, 40),
    case=st.sampled_from(CASES),
)
def test_a_longer_cane_never_leaves_less_of_its_own_basal_buds(low, buds, more, after, case):
    # Crop only on the four basal nodes, so that the plans are told apart by those alone.
    basal = np.array([1.0, 1, 1, 1, 0])
    profile = NodeProfile(np.ones(5), basal, np.ones(4), np.ones(4))
    short, long = left(
        steady([(after, low)]), [f"2x{buds}", f"2x{buds + more}"], cases=case, profile=profile
    )
    assert (long >= short - 1e-9).all()


@settings(max_examples=20, deadline=None)
@given(low=st.floats(-5, 0), after=st.integers(-5, 40))
def test_without_secondary_shoots_only_primaries_bear(low, after):
    fixed = FrostSettings.from_handbook(secondary_share=0.0)
    found = frost_survival(PLANS, steady([(after, low)]), BURST, settings=fixed, **FEW)
    assert found.crop_left == pytest.approx(found.primary, abs=1e-12)


def test_living_and_replaced_shoots_never_exceed_the_whole():
    found = frost_survival(PLANS, steady([(5, -2.5), (20, -1.5), (40, -1.0)]), BURST, **FEW)
    assert (found.primary + found.secondary <= 1 + 1e-9).all()
    assert (found.primary >= 0).all()
    assert (found.secondary >= 0).all()


def test_the_two_cases_are_kept_apart():
    # Three leaves or more at the tip when it freezes; upright wood has one or two by then.
    found = frost_survival(
        ["3x8", "3x8"], steady([(24, -1.5)], mean=16.0), BURST, cases=CASES, draws=2000
    )
    laid, upright = np.median(found.crop_left, axis=1)
    assert upright > laid + 0.2
    assert (found.late_cut_cost[0] == 0).all()
    assert 0 <= found.late_cut_cost[1].min() < found.late_cut_cost[1].max() <= 0.47
    table = found.table()
    assert table.loc[1, "crop_after_cost_p50"] < table.loc[1, "crop_left_p50"]
    assert table.loc[0, "crop_after_cost_p50"] == table.loc[0, "crop_left_p50"]


def test_the_delay_is_the_published_one():
    fixed = FrostSettings.from_handbook()
    drawn = FrostDraws.make(fixed, 5000)
    for case, low, high in (("laid_down", 0, 5), ("upright_until_final_cut", 10, 20)):
        delay = fixed.delay(case).at(drawn.delay_chance)
        assert low <= delay.min() < delay.max() <= high
    # Up to five upright nodes hold nothing back, eight do so in full (Deloire 2021).
    bare = replace(fixed, upright_extra=0)
    assert (bare.delay_shares(5, "upright_until_final_cut") == 0).all()
    assert bare.delay_shares(8, "upright_until_final_cut")[0] == 1
    assert fixed.delay_shares(8, "laid_down")[[0, -1]].tolist() == [1, 0]


def test_a_triangle_has_the_quantiles_of_a_general_library():
    from scipy.stats import triang

    chance = np.linspace(0.01, 0.99, 25)
    given_ = Spread(1.0, 2.5, 6.0)
    assert given_.at(chance) == pytest.approx(triang(0.3, 1.0, 5.0).ppf(chance))


def test_weights_are_the_crop_of_each_node():
    fixed = exact()
    weights = rung_weights(
        as_plans(["2x4+1x2"]),
        ["laid_down"],
        fixed,
        NodeProfile(np.ones(1), np.array([1.0, 2, 2, 2]), np.ones(1), np.ones(1)),
    )
    # Canes: nodes 1 to 4 stand on rungs 3 to 0; the spur's two on 1 and 0; 16 crop units in all.
    assert weights[0, 0, :4] * 16 == pytest.approx([5, 5, 4, 2])
    assert weights.sum() == pytest.approx(1)


def test_draws_are_common_to_plans_and_named_by_block():
    days = steady([(10, -2.0)])
    alone = left(days, ["3x8"], block="Home")
    beside = left(days, ["3x12", "3x8"], block="Home")
    assert alone[0] == pytest.approx(beside[1], abs=1e-12)
    assert (left(days, ["3x8"], block="Other") != alone).any()


def test_a_colder_block_loses_more_than_its_station():
    days = steady([(20, -1.0)])
    assert left(days, offset=-1.0).mean() < left(days).mean() - 0.1
    assert left(days, offset=StationOffset(0, 0)) == pytest.approx(left(days))


def test_the_nights_table_names_the_night_and_its_stages():
    night = frost_survival(["3x8"], steady([(20, -2.0)]), BURST, **FEW).nights()
    assert night["date"].tolist() == [pd.Timestamp(BURST + 20)]
    assert night["stage_first"][0] > night["stage_last"][0] > 4
    assert night["block_c"][0] == pytest.approx(-2.0)


def test_a_night_of_july_is_no_spring_frost():
    """Common practice, no source: spring ends with June in the north, December in the south."""
    late = np.datetime64("2024-04-27")
    june, july = np.datetime64("2024-06-30"), np.datetime64("2024-07-09")
    for night, hurts in ((june, True), (july, False)):
        days = steady().with_night(night, -3.0)
        found = frost_survival(["3x8"], days, late, **FEW)
        assert (found.crop_left.mean() < 0.9) == hurts
        assert len(found.nights()) == hurts


@pytest.mark.parametrize(
    ("burst", "last"),
    [
        ("2024-03-01", "2024-05-15"),  # 75 days on, well within spring
        ("2024-04-27", "2024-06-30"),
        ("2023-09-20", "2023-12-04"),
        ("2023-10-25", "2023-12-31"),
    ],
)
def test_the_last_night_is_days_after_budburst_or_the_end_of_spring(burst, last):
    assert last_night(burst, exact()) == pd.Timestamp(last)


def test_a_heat_sum_stands_in_for_a_date():
    days = steady([(20, -1.7)])
    total = float(days.heat_at(100.5, 5.0))
    summed = frost_survival(
        ["3x8"], days, BudburstSum.entered(total, 0.0), settings=exact(), draws=5
    )
    dated = frost_survival(["3x8"], days, BURST, settings=exact(), draws=5)
    assert summed.crop_left == pytest.approx(dated.crop_left, abs=0.01)
    with pytest.raises(CroploadError, match="is not reached"):
        left(days, burst=BudburstSum.entered(99_999))


def test_a_table_of_weather_will_do():
    days = steady([(20, -1.7)])
    table = pd.DataFrame(
        {"date": pd.to_datetime(days.dates), "tmin_c": days.lows, "tmax_c": days.tmax_c}
    )
    found = frost_survival("3x8", table, pd.Timestamp(BURST), hemisphere="north", **FEW)
    assert found.crop_left.mean() < 0.9
    with pytest.raises(CroploadError, match="season must be named"):
        frost_survival("3x8", table, BudburstSum.entered(200), hemisphere="north")
    with pytest.raises(CroploadError, match="which hemisphere"):
        frost_survival("3x8", table, BURST)


def test_a_hole_in_the_window_is_refused():
    days = steady()
    low = days.tmin_c.copy()
    low[110] = np.nan
    with pytest.raises(CroploadError, match="weather is missing"):
        left(replace(days, tmin_c=low))


def test_the_map_gets_darker_with_cold_and_with_leaves():
    found = survival_map(["3x8", "3x12"], [-10, 0, 15, 30], [0.0, -1.0, -2.0, -4.0], draws=200)
    assert found.shape == (2, 4, 4)
    assert (np.diff(found, axis=2) <= 1e-9).all()
    assert (np.diff(found, axis=1) <= 1e-9).all()
    assert found[0, 0, 0] == pytest.approx(1, abs=1e-12)
    assert found[0, 3, 3] < 0.4


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: frost_survival([], steady(), BURST), "no plan"),
        (lambda: frost_survival(["3x"], steady(), BURST), "3x"),
        (
            lambda: frost_survival(["3x8"], steady(), BURST, cases="laid"),
            "Did you mean 'laid_down'",
        ),
        (lambda: as_cases(["laid_down"], 2), "1 cases for 2 plans"),
        (lambda: FrostSettings.from_handbook(secondary_share=1.5), "between 0 and 1"),
        (lambda: FrostSettings.from_handbook(leaf_intervall=40), "Did you mean 'leaf_interval'"),
        (lambda: FrostSettings.from_handbook(delay_upright=-3), "negative"),
        (lambda: KillCurve((3, 4), (-3.0, 1.0), 6.0), "below 0 C"),
        (lambda: KillCurve((4, 3), (-3.0, -2.0), 6.0), "rising"),
        (lambda: steady().with_night("2031-01-01", -2), "outside the weather"),
        (lambda: frost_survival(["3x8"], steady(), BURST, draws=0), "draws"),
    ],
)
def test_bad_input_gets_a_clear_message(call, words):
    with pytest.raises(CroploadError, match=words):
        call()


def test_secondary_shares_by_variety():
    assert secondary_share("chardonnay").value == 0.32
    assert secondary_share("GARNACHA").value == 0.02
    assert secondary_share("no such grape") == secondary_share() == Spread(0.02, 0.30, 0.50)


def test_buds_of_a_block_in_parts_lie_where_those_of_its_parts_lie_weighed_by_their_crop():
    parts, profile = as_plans("3x12+3x2,24x2"), NodeProfile.from_handbook()
    split = DividedPlan(("strong", "weak"), tuple(parts), (1.0, 3.0))
    cases = as_cases("laid_down", 3)
    strong, weak, both = rung_weights([*parts, split], cases, exact(), profile).sum(1)
    shapes = plan_shapes(parts, profile)
    a, b = np.exp(shapes.log_buds + shapes.log_burst + shapes.log_fertility) * [1, 3]
    np.testing.assert_allclose(both, (a * strong + b * weak) / (a + b), atol=1e-12)
