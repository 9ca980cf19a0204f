"""The tables of a forecast: sums, shares of the spread, and changes that add up exactly."""

import numpy as np
import pytest
from season_records import BLOCKS, SEASON, count_rows, small_estate, weight_row

from cropload.beliefs.forecast import forecast
from cropload.errors import CroploadError
from cropload.vine.growth import (
    COMPONENTS,
    RESPONSES,
    STAGES,
    STATE,
    exponent_spreads,
    trend_line,
)

HARVEST = STAGES.index("harvest")


def crop(block, tonnes, **more):
    return {"season": SEASON, "block": block, "date": f"{SEASON}-09-20", "tonnes": tonnes} | more


@pytest.fixture(scope="module")
def winter():
    return forecast(small_estate(), SEASON, draws=20_000)


@pytest.fixture(scope="module")
def summer():
    records = small_estate(
        counts=count_rows("Alder", 42) + count_rows("Fir", 25),
        weights=[weight_row("Alder", 55), weight_row("Birch", 66)],
        harvest=[crop("Cedar", 2.0, picked_pct=40), crop("Gorse", 4.9)],
    )
    return forecast(records, SEASON, draws=20_000)


# ---------------------------------------------------------------------------------------- tables


def test_the_tables_sum_the_draws_and_not_the_ranges(winter):
    names = np.array(winter.varieties)
    by_variety, estate = winter.frame_by("variety"), winter.frame_by("estate")
    for row in by_variety.itertuples():
        summed = winter.draws[names == row.variety].sum(0)
        ends = np.quantile(summed, [0.1, 0.5, 0.9])
        assert (row.tonnes_p10, row.tonnes_p50, row.tonnes_p90) == pytest.approx(tuple(ends))
        assert row.t_ha_p50 == pytest.approx(ends[1] / row.area_ha)
    assert estate["area_ha"][0] == pytest.approx(by_variety["area_ha"].sum())
    assert estate["bearing_vines"][0] == pytest.approx(winter.frame["bearing_vines"].sum())


def test_a_total_is_narrower_than_its_parts_together_and_wider_than_if_they_were_strangers(winter):
    widths = winter.frame["range_t"].to_numpy()
    total = winter.frame_by("estate")["range_t"][0]
    assert np.sqrt((widths**2).sum()) * 1.2 < total < widths.sum()


def test_a_forecast_is_an_answer_that_reads_in_eighty_columns(summer):
    text = str(summer)
    assert max(map(len, text.splitlines())) <= 80
    told = " ".join(text.split())
    assert told.startswith(f"Forecast of season {SEASON} from all records: while picking.")
    assert "80 % range, equal tails" in told
    row = summer.frame_by("estate").iloc[0]
    ends = (row["tonnes_p50"], row["tonnes_p10"], row["tonnes_p90"])
    assert "{:.1f} ({:.1f}-{:.1f})".format(*ends) in told
    assert len(summer) == len(BLOCKS)
    assert "<table" in summer._repr_html_()
    assert not summer.frame.attrs


def test_a_change_tells_the_middles_that_the_forecasts_tell(winter, summer):
    change = summer.explain(winter)
    for middle, found in ((change.was_t, winter), (change.now_t, summer)):
        assert middle == pytest.approx(found.frame_by("estate")["tonnes_p50"][0])
    parts = change["change_t"].sum() + change.lean_t
    assert parts == pytest.approx(change.now_t - change.was_t)
    assert f"{change.change_t:+.2f} t" in change.heading()


def test_a_table_by_anything_else_is_refused(winter):
    with pytest.raises(CroploadError, match="block, variety or estate, not by 'row'"):
        winter.frame_by("row")


def test_the_centre_is_the_median_of_the_draws(winter):
    medians = np.median(winter.draws, axis=1)
    # The centre is taken on the straight chain; the bend lifts the draws a little.
    np.testing.assert_allclose(winter.centre_tonnes(), medians, rtol=0.02)


def test_components_give_a_range_about_the_centre_and_where_each_came_from(summer):
    table = summer.components
    assert len(table) == len(BLOCKS) * len(COMPONENTS)
    assert ((table["low"] < table["centre"]) & (table["centre"] < table["high"])).all()
    # A log-normal of this spread has its tenth and ninetieth percent at 1.2816 spreads.
    width = np.log(table["high"] / table["low"])
    np.testing.assert_allclose(width, 2 * 1.2815516 * table["spread"], rtol=0.05)
    came_from = table.set_index(["block", "component"])["came_from"]
    assert came_from["Alder", "cluster_weight_g"] == "this block's own records"
    assert came_from["Birch", "increase_factor"] == "the handbook"


# --------------------------------------------------------------------------------- contributions


def dense_shares(found, weight):
    """Split the variance of the estate's log crop by component, from the dense covariance.

    What a block has of its own is how it answers to the load, so the load response bears it; what
    trends have come to by the season, its own and the estate's, is in the components.
    """
    estate, beliefs = found.estate, found.estate.beliefs
    rows = estate.season_rows[:, HARVEST]
    blocks, k = rows.shape
    effects = beliefs.shared.effects
    wide = [
        beliefs.load[b] @ beliefs.root[beliefs.shared.places(beliefs.variety[b])]
        for b in range(blocks)
    ]
    response = beliefs.root[effects:]
    trend, line = STATE.index("trend"), np.zeros(k)
    line[: len(COMPONENTS)] = trend_line()
    shared = estate.estate_since[-1] * estate.own.estate_trend * response[len(RESPONSES)]
    folded = []
    for b in range(blocks):
        fold = np.eye(k)
        fold[:, trend] = line * estate.since[b, -1]
        folded.append(fold)
        wide[b] = fold @ wide[b] + np.outer(line, shared)
    covariance = np.zeros((k + 1, k + 1))
    # Each component's part is a straight line in the shared effects and in each block's own.
    parts = [sum(weight[b] * rows[b, c] * wide[b][c] for b in range(blocks)) for c in range(k)]
    shift = estate.season_shift[..., : len(RESPONSES)]
    answers = weight[:, None] * np.einsum("bk,bkr->br", rows, shift)
    parts.append(answers.sum(0) @ response[: len(RESPONSES)])
    covariance += np.array(parts) @ np.array(parts).T
    for b in range(blocks):
        line = weight[b] * rows[b]
        own = folded[b] @ beliefs.own_covariance[b] @ folded[b].T
        covariance[:k, :k] += line[:, None] * own * line
    by_part = covariance.sum(1) / covariance.sum()
    components, own = np.split(by_part[:k], [len(COMPONENTS)])
    assert len(own) == len(STATE) - len(COMPONENTS)
    return [*components, by_part[k] + own.sum()]


@pytest.mark.parametrize("which", ["winter", "summer"])
def test_contributions_agree_with_the_dense_covariance(which, request):
    found = request.getfixturevalue(which)
    weight = found.centre_tonnes() * (1 - found.picked["share"].to_numpy())
    shares = found.contributions("estate")["share"]
    np.testing.assert_allclose(shares, dense_shares(found, weight), atol=0.02)


def test_contributions_add_up_to_one_for_every_group_that_still_hangs(summer):
    for by in ("block", "variety", "estate"):
        table = summer.contributions(by)
        sums = table.groupby(by)["share"].sum()
        picked = {"Gorse"} if by == "block" else set()
        assert sums.drop(list(picked)).to_numpy() == pytest.approx(1)
        assert all(sums[name] == 0 for name in picked)
        widths = summer.frame_by(by).set_index(by)["range_t"]
        parts = table.groupby(by)["range_t"].sum()
        np.testing.assert_allclose(parts[widths.index], widths, atol=1e-9)


def test_contributions_explain_the_log_of_the_drawn_crop(winter):
    _, parts = winter.log_parts()
    # What is borne, whether or not it is lost.
    borne = winter.growth.log_kg_picked + np.log(winter.bearing / 1000)[:, None]
    logs = borne - np.log(winter.centre_tonnes())[:, None]
    # The sum of the straight parts is the log crop but for the bend of the chain.
    assert np.corrcoef(parts.sum(0)[0], logs[0])[0, 1] > 0.98
    # What bends most: more clusters than usual, times a weight that answers more to them.
    estate = winter.estate
    answer = estate.answers(winter.log_components, winter.responses)[RESPONSES.index("weight")]
    surplus = winter.growth.log_clusters - estate.log_clusters_reference[:, None]
    bend = exponent_spreads().weight_first * answer * surplus
    assert np.std(parts.sum(0) + bend - logs) < 0.1 * np.std(logs)


def test_counting_clusters_takes_their_share_of_the_spread_away(winter):
    after = forecast(small_estate(counts=count_rows("Alder", 33, 60)), SEASON, draws=4000)

    def share(found):
        table = found.contributions().set_index(["block", "component"])["share"]
        return table["Alder", "clusters_per_shoot"] + table["Alder", "shoots_per_bud"]

    assert share(after) < 0.5 * share(winter)


# --------------------------------------------------------------------------------------- explain


def test_the_change_since_an_earlier_forecast_adds_up_exactly(winter, summer):
    change = summer.explain(winter)
    per_block = change.frame_by("block").set_index("block")["change_t"]
    expected = summer.centre_tonnes() - winter.centre_tonnes()
    np.testing.assert_allclose(per_block[list(BLOCKS)], expected, atol=1e-12)
    change = change.frame
    picked = change[change["component"] == "picked"].set_index("block")["change_t"]
    assert (picked.drop(["Cedar", "Gorse"]).abs() < 1e-9).all()
    assert picked[["Cedar", "Gorse"]].abs().min() > 1e-4
    # No plan changed.
    assert (change.loc[change["component"] == "plan", "change_t"].abs() < 1e-12).all()


def test_heavier_lag_weights_are_told_as_cluster_weight():
    before = forecast(small_estate(), SEASON, draws=100)
    after = forecast(small_estate(weights=[weight_row("Alder", 90)]), SEASON, draws=100)
    change = after.explain(before).frame.set_index(["block", "component"])["change_t"]["Alder"]
    assert change.idxmax() in ("cluster_weight_g", "increase_factor")
    assert change["cluster_weight_g"] > 0.5 * change.sum() > 0


def test_a_change_of_plan_is_told_as_such():
    kept = forecast(small_estate(), SEASON, draws=100)
    asked = forecast(small_estate(), SEASON, plans={"Alder": "3x10+3x2"}, draws=100)
    change = asked.explain(kept).frame.set_index(["block", "component"])["change_t"]
    assert change["Alder", "plan"] > 0.3
    total = asked.centre_tonnes()[0] - kept.centre_tonnes()[0]
    assert change["Alder"].sum() == pytest.approx(total, abs=1e-12)
    assert change["Alder", "plan"] == pytest.approx(total, rel=0.02)
    assert change.drop("Alder").abs().max() < 1e-9


def test_nothing_changed_between_a_forecast_and_itself(summer):
    assert (summer.explain(summer)["change_t"] == 0).all()


def test_forecasts_of_two_seasons_are_not_compared(winter):
    other = forecast(small_estate(), SEASON + 1, draws=100)
    with pytest.raises(CroploadError, match="same season"):
        winter.explain(other)
