"""The forecast of a season: what it listens to, what it leaves out, and that its sums are right."""

import numpy as np
import pytest
from dense_estate import dense_posterior
from helpers import block_row, make_records
from season_records import (
    BLOCKS,
    PINOT,
    RIESLING,
    SEASON,
    block_rows,
    count_rows,
    small_estate,
    weight_row,
)

from cropload import handbook
from cropload.beliefs.forecast import forecast
from cropload.errors import CroploadError
from cropload.records.as_of import records_until
from cropload.vine.growth import COMPONENTS, RESPONSES


def spread(found, block):
    """Return the spread of the log of a block's crop, without drawing [1]."""
    at = found.blocks.index(block)
    row = found.estate.season_rows[at, 7]
    return float(np.sqrt(row @ found.estate.beliefs.covariance(at) @ row))


def centre(found, block):
    return float(found.centre_tonnes()[found.blocks.index(block)])


def crop(block, tonnes, date="09-20", **more):
    return {"season": SEASON, "block": block, "date": f"{SEASON}-{date}", "tonnes": tonnes} | more


# ------------------------------------------------------------------ only what was known that day


def test_records_after_the_day_change_nothing():
    later = {
        "counts": count_rows("Alder", 55),
        "weights": [weight_row("Birch", 30)],
        "harvest": [crop("Cedar", 9.0)],
    }
    before = forecast(small_estate(), SEASON, draws=200)
    as_of = forecast(small_estate(**later), SEASON, f"{SEASON}-06-01", draws=200)
    np.testing.assert_array_equal(as_of.draws, before.draws)
    assert as_of.stage == "before any count"


def test_a_day_before_the_season_forgets_the_harvest_that_followed_it():
    full = small_estate()
    winter = forecast(full, SEASON, "2025-08-01", draws=200)
    bare = forecast(records_until(full, "2025-08-01"), SEASON, "2025-08-01", draws=200)
    np.testing.assert_array_equal(winter.draws, bare.draws)


def test_the_season_is_the_next_one_as_seen_on_the_day():
    records = small_estate(harvest=[crop("Alder", 4.0)])
    assert forecast(records, as_of=f"{SEASON}-06-01", draws=100).season == SEASON
    assert forecast(records, draws=100).season == SEASON + 1


def test_each_record_counts_from_its_own_day_on():
    records = small_estate(counts=count_rows("Alder", 40), weights=[weight_row("Alder", 60)])
    stages = [
        forecast(records, SEASON, f"{SEASON}-{day}", draws=100).stage
        for day in ("06-24", "06-25", "07-24", "07-25")
    ]
    assert stages == [
        "before any count",
        "after the clusters were counted",
        "after the clusters were counted",
        "after lag-phase weights",
    ]


# ----------------------------------------------------------------------- what a count does to whom


def test_a_high_count_lifts_its_block_most_its_variety_next_and_the_other_variety_least():
    before = forecast(small_estate(), SEASON, draws=100)
    after = forecast(small_estate(counts=count_rows("Alder", 55)), SEASON, draws=100)
    lift = {b: np.log(centre(after, b) / centre(before, b)) for b in BLOCKS}
    for sister in RIESLING[1:]:
        for other in PINOT:
            assert lift["Alder"] > lift[sister] > lift[other] > 0


def test_a_count_narrows_its_block_most_its_variety_next_and_the_other_variety_least():
    before = forecast(small_estate(), SEASON, draws=100)
    after = forecast(small_estate(counts=count_rows("Alder", 33)), SEASON, draws=100)
    left = {b: spread(after, b) / spread(before, b) for b in BLOCKS}
    for sister in RIESLING[1:]:
        for other in PINOT:
            assert left["Alder"] < left[sister] < left[other] < 1


def test_more_vines_narrow_more():
    samples = [count_rows("Alder", 33, vines) for vines in (2, 10, 40, 200)]
    found = [
        spread(forecast(small_estate(counts=rows), SEASON, draws=100), "Alder") for rows in samples
    ]
    assert found == sorted(found, reverse=True)
    assert found[0] > 1.01 * found[-1]


@pytest.mark.parametrize("column", ["buds", "shoots", "clusters"])
def test_every_count_of_the_season_moves_the_crop_its_own_way(column):
    plenty = {"buds": 30, "shoots": 32, "clusters": 50}[column]
    few = {"buds": 18, "shoots": 16, "clusters": 20}[column]
    high, low = (
        forecast(small_estate(counts=count_rows("Alder", n, column=column)), SEASON, draws=100)
        for n in (plenty, few)
    )
    assert centre(high, "Alder") > centre(low, "Alder")


@pytest.mark.parametrize("stage", ["lag", "veraison", "harvest"])
def test_heavier_clusters_make_more_crop(stage):
    high, low = (
        forecast(small_estate(weights=[weight_row("Alder", g, stage)]), SEASON, draws=100)
        for g in (140, 70)
    )
    assert centre(high, "Alder") > centre(low, "Alder")


def test_a_later_visit_to_a_vine_stands_for_the_earlier_one():
    first, again = count_rows("Alder", 20), count_rows("Alder", 44, date="07-02")
    both = forecast(small_estate(counts=first + again), SEASON, draws=200)
    last = forecast(small_estate(counts=again), SEASON, draws=200)
    np.testing.assert_allclose(both.draws, last.draws, rtol=1e-12)


@pytest.mark.parametrize("noncount", [2, 12])
def test_after_a_count_of_nearly_every_vine_the_forecast_has_the_clusters_counted(noncount):
    """Also where many non-count shoots bear, so that the chain of the logs is far from straight."""
    clusters = count_rows("Alder", 40, vines=900)
    shoots = count_rows("Alder", 20, vines=900, column="shoots")
    rows = [
        row | {"shoots": other["shoots"], "noncount_shoots": noncount}
        for row, other in zip(clusters, shoots, strict=True)
    ]
    found = forecast(small_estate(counts=rows), SEASON, draws=1000)
    bias = np.exp(found.log_components[COMPONENTS.index("counting_bias"), 0])
    assert np.median(found.growth.clusters[0] * bias) == pytest.approx(40, rel=0.002)
    assert np.median(found.growth.shoots[0]) == pytest.approx(20, rel=0.002)
    assert np.median(found.growth.noncount_shoots[0]) == pytest.approx(noncount, rel=0.002)


def test_hundreds_of_blocks_on_one_load_teach_nothing_of_another():
    """Their counts err, and err together with what is made of them; that is no load response."""
    rng = np.random.default_rng(8)
    names = [f"Block {at}" for at in range(300)]
    tables = {
        "blocks": [block_row(name) for name in names],
        "pruning": [
            {"season": season, "block": name, "plan": "2x10+2x2"}
            for season in (2025, SEASON)
            for name in names
        ],
        "counts": [
            row
            for name in names
            for row in count_rows(name, 36 * np.exp(0.2 * rng.standard_normal()), 8, 2025)
        ],
        "harvest": [
            {"season": 2025, "block": name, "date": "2025-09-20"}
            | {"tonnes": 4 * np.exp(0.2 * rng.standard_normal())}
            for name in names
        ],
    }
    found = forecast(make_records(**tables), SEASON, draws=200)
    of_load = found.estate.beliefs.response_mean[: len(RESPONSES)]
    np.testing.assert_allclose(of_load, 0, atol=1e-9)
    # Nor of the non-count shoots, which nobody counted.
    at = COMPONENTS.index("noncount_shoots")
    prior = found.estate.mean[:, at].mean()
    assert found.estate.beliefs.centre[:, at].mean() == pytest.approx(prior, abs=0.1)
    assert found.centre_tonnes().sum() == pytest.approx(4 * 300, rel=0.1)


# ------------------------------------------------------------------------------- vines and plans


def test_missing_vines_take_their_share_of_the_crop_and_leave_the_vine_as_it_is():
    rows = block_rows()
    gaps = [rows[0] | {"missing_pct": 20}, *rows[1:]]
    # Without past crops of this block: a crop over fewer vines would mean heavier vines.
    tables = {"pruning": [{"season": SEASON, "block": b, "plan": "2x10+2x2"} for b in BLOCKS]}
    full = forecast(make_records(blocks=rows, **tables), SEASON, draws=300)
    thin = forecast(make_records(blocks=gaps, **tables), SEASON, draws=300)
    np.testing.assert_allclose(thin.draws[0], 0.8 * full.draws[0], rtol=1e-12)
    np.testing.assert_allclose(thin.growth.kg_picked[0], full.growth.kg_picked[0], rtol=1e-12)
    np.testing.assert_allclose(thin.draws[1:], full.draws[1:], rtol=1e-12)


def test_a_plan_asked_about_changes_its_block_alone():
    asked = forecast(small_estate(), SEASON, plans={"alder": "3x10+3x2"}, draws=300)
    kept = forecast(small_estate(), SEASON, draws=300)
    assert asked.plans[0] == "3x10+3x2"
    assert asked.plan_from[0] == "the plan asked about"
    assert np.mean(asked.draws[0] > kept.draws[0] * 1.05) > 0.98
    # Half as many buds again cannot give half as much crop again: the vines compensate.
    assert np.median(asked.draws[0] / kept.draws[0]) < 1.5
    np.testing.assert_allclose(asked.draws[1:], kept.draws[1:], rtol=1e-9)


def test_the_table_says_where_each_plan_is_known_from():
    tables = {
        "blocks": [block_row(b) for b in ("Alder", "Birch", "Cedar")],
        "pruning": [
            {"season": SEASON, "block": "Alder", "plan": "2x10+2x2"},
            {"season": SEASON - 1, "block": "Birch", "plan": "1x10+1x2"},
        ],
    }
    found = forecast(make_records(**tables), SEASON, draws=100)
    assert found.plan_from == (
        "table pruning",
        "last plan on record, taken as unchanged",
        "no plan on record",
    )
    assert any("Birch" in note for note in found.notes)
    assert any("Cedar" in note for note in found.notes)


# -------------------------------------------------------------------------------------- picking


def test_a_block_picked_whole_is_what_the_scale_said():
    found = forecast(small_estate(harvest=[crop("Alder", 3.21)]), SEASON, draws=200)
    np.testing.assert_allclose(found.draws[0], 3.21, rtol=1e-12)
    assert found.frame["range_t"][0] == pytest.approx(0, abs=1e-12)


def test_several_picks_with_the_last_one_blank_are_the_whole_block():
    picks = [crop("Alder", 1.0, "09-10", picked_pct=30), crop("Alder", 2.5, "09-18")]
    found = forecast(small_estate(harvest=picks), SEASON, draws=200)
    np.testing.assert_allclose(found.draws[0], 3.5, rtol=1e-12)


def test_a_block_picked_in_part_is_the_scale_plus_the_rest():
    half = forecast(small_estate(harvest=[crop("Alder", 2.0, picked_pct=50)]), SEASON, draws=2000)
    assert np.all(half.draws[0] > 2.0)
    hanging = half.growth.kg_picked[0] * 1000 / 1000
    np.testing.assert_allclose(half.draws[0], 2.0 + 0.5 * hanging, rtol=1e-12)
    # The part that went over the scale speaks for the rest of it.
    assert np.median(half.draws[0]) == pytest.approx(4.0, rel=0.1)


def test_a_picked_block_tells_its_neighbours():
    before = forecast(small_estate(), SEASON, draws=100)
    after = forecast(small_estate(harvest=[crop("Alder", 7.0)]), SEASON, draws=100)
    assert centre(after, "Birch") > centre(before, "Birch")
    assert spread(after, "Birch") < spread(before, "Birch")


def test_a_block_picked_before_its_lag_weights_is_forecast_all_the_same():
    records = small_estate(
        harvest=[crop("Alder", 3.0, "07-01")], weights=[weight_row("Alder", 60, date="07-25")]
    )
    found = forecast(records, SEASON, draws=200)
    np.testing.assert_allclose(found.draws[0], 3.0, rtol=1e-12)
    assert np.all(np.isfinite(found.draws))


# -------------------------------------------------------------------------------- odd, but real


def test_a_block_with_no_cluster_left_is_lost_and_says_nothing_of_its_neighbours():
    hail = [row | {"clusters": 0} for row in count_rows("Alder", 30)]
    lost = forecast(small_estate(counts=hail), SEASON, draws=300)
    spared = forecast(small_estate(), SEASON, draws=300)
    assert np.all(lost.draws[0] == 0)
    np.testing.assert_array_equal(lost.draws[1:], spared.draws[1:])
    assert any("Alder" in note and "lost" in note for note in lost.notes)
    shares = lost.contributions()
    assert np.all(np.isfinite(shares["share"]))


def test_three_empty_vines_are_a_small_crop_and_no_lost_one():
    """Fewer zeros than the handbook asks for are half a cluster in the sample, very uncertain."""
    few = [row | {"clusters": 0} for row in count_rows("Alder", 30, vines=3)]
    found = forecast(small_estate(counts=few), SEASON, draws=300)
    assert np.all(np.isfinite(found.draws[0]))
    assert np.all(found.draws[0] > 0)


def test_one_vine_is_a_count_with_the_handbooks_spread():
    before = forecast(small_estate(), SEASON, draws=100)
    after = forecast(small_estate(counts=count_rows("Alder", 33, 1)), SEASON, draws=100)
    assert 0.8 < spread(after, "Alder") / spread(before, "Alder") < 1


def test_blocks_alone_are_forecast_from_the_handbook():
    found = forecast(make_records(blocks=[block_row("Alder")]), SEASON, draws=500)
    assert np.all(found.growth.kg_picked > 0)
    # Now and then a crop is lost, also where none was on record.
    assert np.mean(found.draws == 0) == pytest.approx(handbook.value("loss.yearly"), abs=0.015)
    assert found.frame["range_t"][0] > 0
    assert all(row == "the handbook" for row in found.components["came_from"])


def test_tonnes_alone_are_enough_for_a_forecast():
    harvest = [
        {"season": s, "block": "Alder", "date": f"{s}-09-20", "tonnes": t}
        for s, t in ((2023, 4.0), (2024, 4.4), (2025, 3.8))
    ]
    found = forecast(make_records(blocks=[block_row("Alder")], harvest=harvest), SEASON, draws=4000)
    # Between the handbook's ordinary crop and the three crops, much nearer to the crops.
    assert centre(found, "Alder") == pytest.approx(4.06, rel=0.12)


def test_one_crop_on_record_narrows_the_range():
    """A single season says nothing of a trend: it must not open the door to any."""
    harvest = [{"season": 2025, "block": "Alder", "date": "2025-09-20", "tonnes": 4.0}]
    blocks = [block_row("Alder")]
    none, one = (
        forecast(make_records(blocks=blocks, harvest=rows), SEASON, draws=100)
        for rows in ([], harvest)
    )
    assert spread(one, "Alder") < 0.85 * spread(none, "Alder")


@pytest.mark.parametrize(
    ("asked", "text"),
    [
        ({"as_of": "soon"}, "not a date"),
        ({"as_of": 20260701}, "not a date"),
        ({"plans": {"Oak": "2x10"}}, "no block 'Oak'"),
        ({"plans": {"Alder": "lots"}}, "lots"),
        ({"draws": 3}, "draws"),
        ({"seed": -1}, "seed"),
    ],
)
def test_what_cannot_be_asked_gets_one_clear_message(asked, text):
    with pytest.raises(CroploadError, match=text):
        forecast(small_estate(), SEASON, **asked)


# ------------------------------------------------------------------------------- streams of draws


def test_the_same_seed_gives_the_same_draws_and_another_seed_others():
    one, same, other = (forecast(small_estate(), SEASON, draws=200, seed=s) for s in (3, 3, 4))
    np.testing.assert_array_equal(one.draws, same.draws)
    assert not np.allclose(one.draws, other.draws)


def test_a_blocks_draws_do_not_depend_on_the_order_of_the_blocks():
    records = small_estate()
    turned = make_records(
        **{name: getattr(records, name) for name in ("pruning", "counts", "weights", "harvest")},
        blocks=records.blocks.iloc[::-1],
    )
    one, two = forecast(records, SEASON, draws=200), forecast(turned, SEASON, draws=200)
    back = [two.blocks.index(name) for name in one.blocks]
    # The varieties come in another order, so their shared draws differ; what is known does not.
    np.testing.assert_allclose(two.centre_tonnes()[back], one.centre_tonnes(), rtol=1e-9)
    for block in BLOCKS:
        assert spread(two, block) == pytest.approx(spread(one, block), rel=1e-9)


def test_a_block_without_records_beside_it_changes_no_draw():
    alone = forecast(small_estate(), SEASON, draws=200)
    company = small_estate(blocks=[*block_rows(), block_row("Hazel", "Riesling")])
    together = forecast(company, SEASON, draws=200)
    np.testing.assert_allclose(together.draws[:6], alone.draws, rtol=1e-9)


# ---------------------------------------------------- exact: dense conditioning from the records


@pytest.mark.parametrize("planted", [None, 2023], ids=["grown", "one of them young"])
def test_the_update_through_records_equals_dense_conditioning(planted):
    unplanned = [crop("Hazel", 4.0) | {"season": s, "date": f"{s}-09-20"} for s in (2024, 2025)]
    records = small_estate(
        counts=count_rows("Alder", 40)
        + count_rows("Fir", 25, 7)
        + count_rows("Birch", 22, 9, column="shoots"),
        # Weighed 40 days after flowering, by a sister's date, by the estate's, without any date.
        weights=[weight_row(b, 55) for b in ("Alder", "Birch", "Fir")]
        + [weight_row("Gorse", 60, season=SEASON - 1)],
        dates=[
            {"season": SEASON, "block": "Alder", "stage": "flowering"} | {"date": f"{SEASON}-06-15"}
        ],
        harvest=[crop("Cedar", 3.0, picked_pct=40), *unplanned],
        blocks=[
            row | {"year_planted": planted} if row["block"] == "Elder" else row
            for row in [*block_rows(), block_row("Hazel", "Riesling")]
        ],
    )
    found = forecast(records, SEASON, plans={"Birch": "3x10+3x2"}, draws=100)
    assert list(found.estate.load_known) == [True] * len(BLOCKS) + [False]
    mean, covariance = dense_posterior(found, records)
    blocks, k = found.estate.beliefs.centre.shape
    np.testing.assert_allclose(found.estate.beliefs.centre.ravel(), mean[: blocks * k], atol=1e-9)
    np.testing.assert_allclose(found.estate.beliefs.response_mean, mean[blocks * k :], atol=1e-9)
    for b in range(blocks):
        own = slice(b * k, b * k + k)
        np.testing.assert_allclose(
            found.estate.beliefs.covariance(b), covariance[own, own], atol=1e-9
        )
