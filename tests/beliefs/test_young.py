"""Young blocks in forecasts, comparisons and the history that teaches them."""

from dataclasses import replace

import numpy as np
import pytest
from helpers import block_row, make_records, steady_counts

from cropload import compare_plans, forecast, handbook
from cropload.beliefs.history import build_estate
from cropload.errors import CroploadError
from cropload.frost.after_frost import after_frost
from cropload.owner.scenarios import compare_scenarios
from cropload.pruning.compare_blocks import compare_blocks
from cropload.pruning.find_plan import find_plans
from cropload.review.split_miss import split_miss
from cropload.season.next_counts import next_counts
from cropload.season.thinning import thin_to
from cropload.season.words import nothing_to_count
from cropload.vine.growth import COMPONENTS, STAGES
from cropload.vine.plan import PruningPlan

SHARE = dict(enumerate(handbook.value("young.share"), start=1))
CLUSTERS = COMPONENTS.index("clusters_per_shoot")
HARVEST = STAGES.index("harvest")
#: Two-bud spurs at every age, so that plans differ in load alone.
PLAN = "20x2"
AT_AGE = {1: "2x2", 2: "4x2", 3: "8x2", 4: "15x2"}
#: The shoots that come from old wood are taken to be as many on a young vine; they bear a little.
OLD_WOOD = 0.08


def plan_of(planted, season):
    """Return the plan usual at the vines' age: that of ``young.load`` in the handbook."""
    return AT_AGE.get(season - planted + 1, PLAN)


def test_the_plans_of_these_tests_are_those_usual_at_each_age():
    for at, plan in AT_AGE.items():
        buds = PruningPlan.parse(plan).buds / PruningPlan.parse(PLAN).buds
        assert buds == pytest.approx(handbook.value("young.load")[at - 1])


def estate(planted, seasons=(2021, 2022, 2023), tonnes=None, counts=None):
    """Return records of one old block with a history, and others of the years given."""
    blocks = [block_row("Old")]
    blocks += [block_row(f"Young {year}", year_planted=year) | {"vines": 1000} for year in planted]
    pruning = [
        {
            "season": season,
            "block": row["block"],
            "plan": plan_of(row.get("year_planted", 0), season),
        }
        for row in blocks
        for season in (*seasons, 2024)
    ]
    harvest = [{"season": season, "block": "Old", "tonnes": 3.0} for season in seasons]
    harvest += tonnes or []
    more = {"counts": counts} if counts is not None else {}
    return make_records(blocks=blocks, pruning=pruning, harvest=harvest, **more)


def middles(records, season=2024, **more):
    found = forecast(records, season, draws=8000, **more)
    return dict(zip(found.blocks, found.centre_tonnes(), strict=True)), found


# The crop expected


def test_a_block_in_third_leaf_has_the_handbooks_share_of_the_grown_crop_in_the_middle():
    crop, found = middles(estate([2022, 2021, 1990]))
    grown = crop["Young 1990"]
    assert crop["Young 2022"] == pytest.approx(SHARE[3] * grown, rel=OLD_WOOD)
    assert crop["Young 2021"] == pytest.approx(SHARE[4] * grown, rel=OLD_WOOD)
    table = found.frame.set_index("block")
    low, middle, high = table.loc["Young 2022", ["tonnes_p10", "tonnes_p50", "tonnes_p90"]]
    assert middle == pytest.approx(SHARE[3] * grown, rel=OLD_WOOD)
    old = table.loc["Young 1990"]
    # 80 % of a log-normal lie within 1.2816 spreads: the share's own comes on top.
    share = 2 * 1.2816 * handbook.value("young.spread")[2]
    share *= found.estate.season_rows[1, HARVEST, CLUSTERS]
    grown_width = np.log(old["tonnes_p90"] / old["tonnes_p10"])
    assert np.log(high / low) == pytest.approx(np.hypot(grown_width, share), rel=0.04)


def young_share(plans):
    """Return the third leaf's crop over a grown block's of 20 buds, and what was told of it."""
    blocks = [block_row("Old"), block_row("Young", year_planted=2022)]
    years = (2021, 2022, 2023, 2024)
    pruning = [{"season": y, "block": "Old", "plan": "2x8+2x2"} for y in years]
    pruning += [{"season": y, "block": "Young", "plan": plan} for y, plan in plans.items()]
    crop, found = middles(make_records(blocks=blocks, pruning=pruning))
    return crop["Young"] / crop["Old"], found


@pytest.mark.parametrize(
    "before", [{}, {2022: "1x2", 2023: "1x4"}], ids=["no plan before", "the plans of its youth"]
)
def test_eight_buds_beside_twenty_bear_about_a_third_of_a_grown_crop_in_third_leaf(before):
    """Common practice, no source: a third of a crop in the third leaf, on the buds of that age."""
    share, _ = young_share(before | {2024: "1x6+1x2"})
    assert 0.31 < share < 0.37
    fewer, _ = young_share(before | {2024: "1x7"})
    assert 0.28 < fewer < share


def test_the_plans_of_a_young_vines_youth_are_not_the_load_of_a_grown_one():
    _, found = young_share({2022: "1x2", 2023: "1x4", 2024: "1x8"})
    np.testing.assert_allclose(np.exp(found.estate.log_reference), 20)


def test_a_grown_vines_plan_written_for_the_first_leaves_is_no_usual_load_of_five_such():
    """20 buds on leaves 1 and 2 stand for the grown vine: they are not short plans of 100."""
    full, short = (
        young_share({2022: first, 2023: second, 2024: "1x6+1x2"})[0]
        for first, second in (("2x8+2x2", "2x8+2x2"), ("1x2", "1x4"))
    )
    assert full == pytest.approx(short, rel=0.1)
    years = {2022: "2x8+2x2", 2023: "2x8+2x2"}
    pruning = [{"season": y, "block": "Young", "plan": plan} for y, plan in years.items()]
    records = make_records(blocks=[block_row("Young", year_planted=2022)], pruning=pruning)
    assert np.exp(build_estate(records, 2027).log_reference[0]) == pytest.approx(20)


def test_a_young_vine_has_fewer_shoots_from_old_wood_too():
    """At the plan of its age all its shoots are those of a grown vine times the load's share."""
    found = forecast(estate([2022, 1990]), 2024, draws=400)
    growth, load = found.growth, handbook.value("young.load")[2]
    old, young = (list(found.blocks).index(name) for name in ("Young 1990", "Young 2022"))
    for part in (growth.shoots, growth.noncount_shoots):
        ratio = np.median(part[young]) / np.median(part[old])
        assert ratio == pytest.approx(load, rel=0.15)


def test_a_young_block_that_carries_the_plan_of_a_grown_one_bears_more_but_no_full_crop():
    usual, full = (young_share({2024: plan})[0] for plan in ("1x6+1x2", "2x8+2x2"))
    assert 1.5 * usual < full < 0.75


def test_the_range_of_a_young_block_is_that_of_a_grown_one_and_of_its_share_together():
    _, found = middles(estate([2022, 1990]))
    young, old = found.growth.log_kg_picked[1:3].var(axis=1)
    # More clusters than the share says weigh a little less each, as on any vine.
    spread = handbook.value("young.spread")[2] * found.estate.season_rows[1, HARVEST, CLUSTERS]
    assert young == pytest.approx(old + spread**2, rel=0.04)


def test_cluster_weight_and_shoots_are_those_of_grown_vines():
    _, found = middles(estate([2022, 1990]))
    young, old = np.median(found.growth.cluster_weight_g[1:3], axis=1)
    # A wide share moves the clusters that weight answers to, never its middle.
    assert young == pytest.approx(old, rel=0.03)
    young, old = np.median(found.growth.shoots[1:3], axis=1)
    assert young == pytest.approx(handbook.value("young.load")[2] * old, rel=0.03)


def test_too_young_a_block_bears_nothing_and_the_total_is_that_of_the_others():
    records = estate([2023, 1990])
    crop, found = middles(records)
    assert crop["Young 2023"] == 0
    assert (found.draws[1] == 0).all()
    assert (found.growth.clusters[1] == 0).all()
    alone = found.draws[[0, 2]].sum(0)
    total = found.frame_by("estate")
    assert total["tonnes_p50"][0] == pytest.approx(np.median(alone), rel=1e-6)
    assert any(
        note.startswith("Young 2023, planted 2023: second leaf in 2024, no crop is expected (0 t)")
        for note in found.notes
    )
    later, _ = middles(records, 2025, plans={"Young 2023": AT_AGE[3]})
    assert later["Young 2023"] == pytest.approx(SHARE[3] * later["Young 1990"], rel=OLD_WOOD)


def test_notes_name_the_leaf_and_its_share():
    _, found = middles(estate([2022, 1990]))
    notes = [note for note in found.notes if "leaf" in note]
    assert len(notes) == 1
    assert notes[0].startswith("Young 2022, planted 2022: third leaf in 2024, so about 35 %")


def test_a_block_not_planted_yet_bears_nothing():
    crop, found = middles(estate([2030]))
    assert crop["Young 2030"] == 0
    assert any("not planted yet in 2024, no crop is expected" in note for note in found.notes)


# What is measured wins


def test_clusters_counted_on_a_second_leaf_win_over_the_year():
    counted = steady_counts(2024, "Young 2023", clusters=8)
    records = estate([2023], counts=counted)
    crop, found = middles(records)
    clusters = np.median(found.growth.clusters[1])
    assert clusters == pytest.approx(8 / handbook.value("prior.counting_bias"), rel=0.12)
    assert crop["Young 2023"] > 0
    assert any("yet fruit is on record" in note for note in found.notes)


def test_a_count_narrows_a_young_block_as_far_as_it_is_sure():
    _, early = middles(estate([2022]))
    _, late = middles(estate([2022], counts=steady_counts(2024, "Young 2022", clusters=20)))
    # The share was a guess (a spread of 0.4); the count is none, so its own number stands.
    counted, guessed = (
        found.growth.log_clusters[1] + found.log_components[COMPONENTS.index("counting_bias"), 1]
        for found in (late, early)
    )
    assert np.median(np.exp(counted)) == pytest.approx(20, rel=0.02)
    assert counted.std() < 0.25 * guessed.std()
    # How many are seen of those there is not known so well, and the year still says few.
    seen = 20 / handbook.value("prior.counting_bias")
    assert np.median(late.growth.clusters[1]) == pytest.approx(seen, rel=0.12)
    assert late.growth.log_clusters[1].std() < 0.45 * early.growth.log_clusters[1].std()


# What young seasons teach


def bearing(season, tonnes):
    return {"season": season, "block": "Young 2021", "tonnes": tonnes}


def test_a_young_season_with_its_share_of_a_crop_teaches_a_grown_one_of_full_size():
    grown, _ = middles(estate([1990]))
    asked = {"plans": {"Young 2021": PLAN}}
    old, _ = middles(estate([2021]), 2026, **asked)
    # The young season bears out the crop that is taken of this block before.
    records = estate([2021], tonnes=[bearing(2023, SHARE[3] * old["Young 2021"])])
    taught, _ = middles(records, 2026, **asked)
    as_grown, _ = middles(make_twin(records), 2026, **asked)
    assert taught["Young 2021"] == pytest.approx(old["Young 2021"], rel=0.05)
    assert as_grown["Young 2021"] < 0.8 * taught["Young 2021"]
    assert grown["Old"] == pytest.approx(3.0, rel=0.1)


def make_twin(records):
    """Return the records as if nobody knew when the blocks were planted."""
    return replace(records, blocks=records.blocks.assign(year_planted=np.nan))


def test_young_seasons_teach_less_than_grown_ones():
    season = [bearing(2023, 4.0)]
    young = build_estate(estate([2021], tonnes=season), 2026)
    known = build_estate(make_twin(estate([2021], tonnes=season)), 2026)
    assert young.beliefs.spread()[1, CLUSTERS] > known.beliefs.spread()[1, CLUSTERS]


def test_crops_before_the_planting_are_of_the_vines_that_stood_there_and_count_in_full():
    older = [bearing(2023, 3.0)]
    records = estate([2021], tonnes=older)
    replanted = make_twin(records).blocks.assign(year_planted=[np.nan, 2026.0])
    found = build_estate(replace(records, blocks=replanted), 2030)
    known = build_estate(make_twin(records), 2030)
    np.testing.assert_array_equal(found.beliefs.centre, known.beliefs.centre)


# Grown vines: nothing changes, to the last bit


@pytest.mark.parametrize("year", [np.nan, 1990.0])
def test_grown_vines_forecast_to_the_last_bit_as_without_a_year(year):
    records = estate([1990], tonnes=[{"season": 2023, "block": "Young 1990", "tonnes": 2.0}])
    dated = replace(records, blocks=records.blocks.assign(year_planted=year))
    plain = forecast(make_twin(records), 2024)
    found = forecast(dated, 2024)
    np.testing.assert_array_equal(found.draws, plain.draws)
    one, other = (
        compare_plans(r, "Old", "2x8+2x2,2x12+2x2", 2024) for r in (make_twin(records), dated)
    )
    for name in one.frame:
        np.testing.assert_array_equal(one[name], other[name])


@pytest.mark.parametrize("seasons", [(), (2021, 2022, 2023)], ids=["no plan", "plans"])
def test_vines_in_their_fifth_leaf_are_grown_whatever_they_carried_in_their_youth(seasons):
    records = estate([2020, 1990], seasons=seasons)
    crop, found = middles(records)
    assert crop["Young 2020"] == pytest.approx(crop["Young 1990"], rel=1e-9)
    np.testing.assert_allclose(found.estate.log_carried[1], found.estate.log_carried[2])


# The other views hold together


def test_parts_of_a_change_and_shares_still_add_up():
    early_records = estate([2022, 2023, 1990])
    records = estate([2022, 2023, 1990], counts=steady_counts(2024, "Young 2022", clusters=20))
    early, late = forecast(early_records, 2024), forecast(records, 2024)
    split = late.explain(early).frame
    change = late.centre_tonnes() - early.centre_tonnes()
    np.testing.assert_allclose(
        split.groupby("block", sort=False)["change_t"].sum(), change, atol=1e-9
    )
    young = split[split["block"] == "Young 2022"].set_index("component")["change_t"]
    assert young["clusters_per_shoot"] / young.sum() > 0.7
    shares = late.contributions("estate")
    assert shares["share"].sum() == pytest.approx(1.0)
    assert late.contributions().groupby("block")["share"].sum()["Young 2022"] == pytest.approx(1)


def test_comparing_plans_starts_from_the_share_and_settles_two_leaves_later():
    records = estate([2022, 1990])
    # Half as many buds again as is usual at the age, and the plan of grown vines.
    plans = f"{AT_AGE[3]},12x2,{PLAN}"
    young = compare_plans(records, "Young 2022", plans, 2024, draws=8000)
    grown = compare_plans(records, "Young 1990", f"{PLAN},30x2", 2024, draws=8000)
    first = young["t_ha_p50"].to_numpy()
    np.testing.assert_allclose(first[:2], SHARE[3] * grown["t_ha_p50"], rtol=OLD_WOOD)
    assert first[2] > 1.5 * first[0]
    for end, rtol in (("p50", 0.06), ("p10", 0.08), ("p90", 0.08)):
        # Once grown, the share is no longer a guess.
        column = f"t_ha_settled_{end}"
        np.testing.assert_allclose(young[column].iloc[2], grown[column].iloc[0], rtol=rtol)
    assert any("third leaf in 2024" in note for note in young.notes)


def test_the_fourth_leaf_settles_grown_and_the_second_in_the_fourth():
    records = estate([2021, 2023, 1990])
    found = compare_blocks(records, f"{PLAN},{AT_AGE[4]}", 2024, draws=8000).frame
    settled = found.set_index(["plan", "block"])["t_ha_settled_p50"]
    grown = settled[PLAN, "Young 1990"]
    assert settled[PLAN, "Young 2021"] == pytest.approx(grown, rel=0.05)
    assert settled[AT_AGE[4], "Young 2023"] == pytest.approx(SHARE[4] * grown, rel=0.06)
    first = found.set_index("block")["t_ha_p50"]
    assert (first["Young 2023"] == 0).all()


@pytest.mark.parametrize("ask", [compare_plans, find_plans])
def test_no_plan_is_compared_for_vines_that_bear_nothing(ask):
    records = estate([2023])
    given = {"plans": f"{PLAN},2x12+2x2"} if ask is compare_plans else {"target_t_ha": 8}
    with pytest.raises(CroploadError, match=r"second leaf in 2024, .*Ask for season 2025"):
        ask(records, "Young 2023", season=2024, **given)
    assert len(ask(records, "Young 2023", season=2025, draws=400, **given))


def test_nothing_is_counted_thinned_or_frosted_where_nothing_hangs():
    found = forecast(estate([2023]), 2024, draws=400)
    assert set(next_counts(found)["block"]) == {"Old"}
    with pytest.raises(CroploadError, match="second leaf: no crop"):
        after_frost(found, "Young 2023", 10, 100)
    with pytest.raises(CroploadError, match="second leaf: no crop"):
        thin_to(found, "Young 2023", target_t_ha=5)


def test_what_is_refused_of_a_block_not_planted_yet_is_said_of_it_in_plain_words():
    found = forecast(estate([2030]), 2024, draws=400)
    with pytest.raises(CroploadError, match=r"^Young 2030 is not planted yet in 2024: no crop"):
        thin_to(found, "Young 2030", target_t_ha=5)
    with pytest.raises(CroploadError, match=r"^Young 2030 is not planted yet in 2024: no crop"):
        after_frost(found, "Young 2030", 10, 100)


def test_where_no_crop_is_expected_nothing_is_said_of_wide_ranges_or_of_picks():
    records = make_records(blocks=[block_row("Young", year_planted=2023)])
    found = forecast(records, 2024, draws=400)
    assert not any("ranges are wide" in note for note in found.notes)
    assert len(next_counts(found)) == 0
    assert nothing_to_count(found) == "Nothing is left to count: no block bears a crop yet."


def test_scenarios_count_young_blocks_by_their_share():
    records = estate([2022, 2023])
    same = dict.fromkeys(("Old", "Young 2022", "Young 2023"), PLAN)
    longer = dict.fromkeys(same, "2x12+2x2")
    found = compare_scenarios(records, {"today": same, "longer": longer}, 2024, draws=800)
    blocks = found.blocks[found.blocks["scenario"] == "today"].set_index("block")
    assert blocks.loc["Young 2023", "tonnes_p50"] == 0
    assert found.totals["tonnes_p50"][0] == pytest.approx(blocks["tonnes_p50"].sum(), rel=0.1)
    assert any("second leaf in 2024" in note for note in found.notes)


def test_a_crop_of_vines_too_young_to_bear_is_not_split_and_says_why():
    early = forecast(estate([2023]), 2024, draws=400)
    crop = {"season": 2024, "block": "Young 2023", "tonnes": 0.8, "date": "2024-09-20"}
    records = estate([2023], tonnes=[crop])
    split = split_miss(records, 2024, early)
    assert "Young 2023" not in set(split["block"])
    assert any("too young to bear" in why for why in split.left_out)
