"""The review of a season: scores by hand, honest looking back, and awkward harvests."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from helpers import LEARNT_FROM, make_records, records_from_csv, sample_copy
from season_records import BLOCKS, block_rows, count_rows, history, small_estate, weight_row
from statsmodels.stats.proportion import proportion_confint

from cropload import example_records, forecast, read_records, review_season
from cropload.beliefs.calendar import forecast_days, stage_days
from cropload.errors import CroploadError
from cropload.review import scores
from cropload.review.picked import baselines, on_the_scale
from cropload.review.review import log_normal_of
from cropload.review.split_miss import split_miss
from cropload.review.words import (
    block_sentence,
    estate_sentence,
    miss_table,
    who_was_right,
)
from cropload.season.forecast_log import log_forecast

SEASON = 2026
QUICK = {"draws": 400}


def picks(season=SEASON, tonnes=3.0, day="09-20", blocks=BLOCKS, **more):
    return [
        {"season": season, "block": b, "date": f"{season}-{day}", "tonnes": tonnes} | more
        for b in blocks
    ]


def counted(**more):
    """The small estate with clusters, lag weights and a harvest in the season."""
    rows = {
        "counts": [r for b in BLOCKS for r in count_rows(b, 30)],
        "weights": [weight_row(b, 60) for b in BLOCKS],
        "harvest": picks(),
    }
    return small_estate(**(rows | more))


@pytest.fixture(scope="module")
def records():
    return counted()


@pytest.fixture(scope="module")
def found(records):
    return review_season(records, SEASON, **QUICK)


@pytest.fixture(scope="module")
def example():
    return review_season(example_records(), SEASON, **QUICK)


def test_every_moment_of_the_season_is_reviewed_in_order(example):
    assert list(example.frame["moment"]) == [
        "pruning", "shoots", "clusters", "lag", "veraison", "picking",
    ]  # fmt: skip
    assert example.frame["day"].is_monotonic_increasing
    first_load = example_records().harvest.query("season == @SEASON")["date"].min()
    assert example.frame["day"].max() < first_load


def test_errors_are_those_of_the_forecast_of_that_day(records, found):
    made = forecast(records, SEASON, found.days["clusters"], **QUICK).frame.set_index("block")
    rows = found.blocks[found.blocks["moment"] == "clusters"].set_index("name")
    assert rows["tonnes_p50"].to_dict() == pytest.approx(made["tonnes_p50"].to_dict())
    assert rows["error_t"].to_numpy() == pytest.approx(rows["tonnes_p50"].to_numpy() - 3.0)
    holds = (made["tonnes_p10"] <= 3) & (made["tonnes_p90"] >= 3)
    assert rows["inside"].tolist() == holds.tolist()


def test_summary_is_its_blocks_summed_by_hand(example):
    for row in example.frame.to_dict("records"):
        crops = example.blocks[example.blocks["moment"] == row["moment"]]
        total = crops["picked_t"].sum()
        assert row["bias"] == pytest.approx(crops["error_t"].sum() / total)
        assert row["weighted_miss"] == pytest.approx(crops["error_t"].abs().sum() / total)
        assert row["crps_t"] == pytest.approx(crops["crps_t"].mean())
        low, high = proportion_confint(row["inside"], row["seen"], 0.05, "wilson")
        assert (row["inside_low"], row["inside_high"]) == pytest.approx((low, high))


def test_varieties_and_estate_add_up(example):
    for _, groups in example.groups.groupby("moment"):
        estate = groups[groups["level"] == "estate"]["picked_t"].sum()
        assert groups[groups["level"] == "variety"]["picked_t"].sum() == pytest.approx(estate)
    draws = example.forecasts["lag"].draws
    names = list(example.blocks[example.blocks["moment"] == "lag"]["name"])
    scored = [example.forecasts["lag"].blocks.index(n) for n in names]
    estate = example.groups.query("moment == 'lag' and level == 'estate'").iloc[0]
    assert estate["tonnes_p50"] == pytest.approx(np.median(draws[scored].sum(0)))


def test_later_records_change_nothing(records):
    """A forecast of a day past is made from what was known then: the rest may be nonsense."""
    day = forecast_days(records, SEASON)["clusters"]
    wild = {}
    for name, column in (("counts", "clusters"), ("weights", "weight_g"), ("harvest", "tonnes")):
        table = getattr(records, name).copy()
        table.loc[table["date"] > day, column] *= 7
        wild[name] = table
    some = {"moments": ["pruning", "clusters"]} | QUICK
    honest = review_season(records, SEASON, **some)
    other = review_season(replace(records, **wild), SEASON, **some)
    for key, made in honest.forecasts.items():
        assert np.array_equal(made.draws, other.forecasts[key].draws)
    assert other.frame["bias"].max() < honest.frame["bias"].max()
    columns = ["last_season", "block_mean", "count_x_last_weight"]
    pd.testing.assert_frame_equal(honest.blocks[columns], other.blocks[columns])


def test_baselines_by_hand(records):
    """1,000 vines, 2024 and 2025 as in the records; 30 clusters x 108 g of 2025."""
    table = records.harvest.set_index(["season", "block"])["tonnes"]
    before, after = (baselines(records, SEASON, f"2026-{day}") for day in ("03-01", "07-01"))
    for block in BLOCKS:
        assert before.loc[block, "last_season"] == pytest.approx(table[2025, block])
        mean = (table[2024, block] + table[2025, block]) / 2
        assert before.loc[block, "block_mean"] == pytest.approx(mean)
        assert np.isnan(before.loc[block, "count_x_last_weight"])
        guess = 30 * 120 * 0.9 / 1000
        assert after.loc[block, "count_x_last_weight"] == pytest.approx(guess, rel=0.01)


def test_own_miss_beside_a_guess_is_over_the_crops_it_can_guess(example):
    row = example.frame[example.frame["moment"] == "lag"].iloc[0]
    crops = example.blocks.query("moment == 'lag' and count_x_last_weight.notna()")
    assert row["count_x_last_weight_seen"] == len(crops) == 6
    assert row["count_x_last_weight_beside"] == pytest.approx(
        scores.weighted_miss(crops["tonnes_p50"], crops["picked_t"])
    )


def test_season_without_a_harvest_is_one_clear_message():
    with pytest.raises(CroploadError, match="No harvest of 2026 is on record"):
        review_season(small_estate(), SEASON)


def test_unknown_moment_names_the_near_one(records):
    with pytest.raises(CroploadError, match=r"'clusers' is no moment.*'clusters'"):
        review_season(records, SEASON, moments=["clusers"])


def test_a_further_day_can_be_reviewed(records):
    seen = review_season(records, SEASON, moments=["lag"], as_of={"July": "2026-07-01"}, **QUICK)
    assert list(seen.frame["words"]) == ["after lag weights", "July"]


def test_block_picked_twice_is_the_sum_and_a_blank_share_means_all():
    rows = picks(tonnes=1.0, day="09-18", blocks=["Alder"], picked_pct=40) + picks(
        tonnes=2.0, day="09-25", blocks=["Alder"]
    )
    crops = on_the_scale(small_estate(harvest=rows), SEASON).crops
    assert [(c.name, c.tonnes) for c in crops] == [("Alder", 3.0)]


def test_block_picked_in_part_is_named_and_not_scored(records):
    rows = picks(blocks=BLOCKS[1:]) + picks(tonnes=1.0, blocks=["Alder"], picked_pct=40)
    seen = review_season(counted(harvest=rows), SEASON, moments=["lag"], **QUICK)
    assert "Alder" not in set(seen.blocks["name"])
    assert "Alder: not picked whole yet, so not scored." in seen.notes


def test_crop_of_nothing_is_named_and_not_scored():
    rows = picks(blocks=BLOCKS[1:]) + picks(tonnes=0.0, blocks=["Alder"])
    scale = on_the_scale(counted(harvest=rows), SEASON)
    assert any("Alder: nothing was picked" in note for note in scale.notes)


@pytest.fixture(scope="module")
def joint():
    """Alder and Fir, of two varieties, on one ticket, their tonnes guessed as 1 and 5."""
    rows = picks(blocks=BLOCKS[1:4] + BLOCKS[5:])
    rows += picks(tonnes=1.0, blocks=["Alder"], ticket="17") + picks(
        tonnes=5.0, blocks=["Fir"], ticket="17"
    )
    return review_season(counted(harvest=rows), SEASON, moments=["lag"], **QUICK)


def test_tonnes_of_two_blocks_on_one_ticket_are_scored_as_one_crop(joint):
    row = joint.blocks[joint.blocks["name"] == "Alder + Fir"].iloc[0]
    made = joint.forecasts["lag"]
    at = [made.blocks.index("Alder"), made.blocks.index("Fir")]
    assert row["picked_t"] == 6.0
    assert row["tonnes_p50"] == pytest.approx(np.median(made.draws[at].sum(0)))
    assert row["last_season"] == pytest.approx(
        baselines(counted(), SEASON, "2026-07-25").loc[["Alder", "Fir"], "last_season"].sum()
    )
    assert not {"Alder", "Fir"} & set(joint.blocks["name"])
    assert any("weighed together" in note for note in joint.notes)
    assert "Riesling + Pinot noir" in set(joint.groups["name"])


def test_a_ticket_number_used_again_on_another_day_ties_nothing():
    rows = picks(blocks=["Alder"], ticket="1") + picks(blocks=["Fir"], day="09-21", ticket="1")
    crops = on_the_scale(counted(harvest=rows), SEASON).crops
    assert [c.name for c in crops] == ["Alder", "Fir"]


def test_tickets_tie_blocks_through_each_other():
    rows = picks(blocks=["Alder", "Birch"], ticket="1")
    rows += picks(blocks=["Birch", "Cedar"], ticket="2")
    assert on_the_scale(counted(harvest=rows), SEASON).crops[0].name == "Alder + Birch + Cedar"


def test_harvest_in_short_tons_is_scored_as_tonnes(tmp_path):
    """1 short ton = 0.90718474 t exactly."""
    blocks = "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Anyvine,2.5,1.5,1000\n"
    found = records_from_csv(
        tmp_path, blocks=blocks, harvest="season,block,date,tons\n2025,North,2025-09-20,4\n"
    )
    assert on_the_scale(found, 2025).crops[0].tonnes == pytest.approx(4 * 0.90718474)


def test_one_season_alone_is_reviewed_without_guesses_from_the_past():
    tables = history()
    only = {
        "pruning": [r for r in tables["pruning"] if r["season"] == SEASON],
        "harvest": picks(),
        "counts": [r for b in BLOCKS for r in count_rows(b, 30)],
    }
    seen = review_season(make_records(blocks=block_rows(), **only), SEASON, **QUICK)
    assert seen.frame["last_season_seen"].eq(0).all()
    assert seen.frame["last_season_miss"].isna().all()
    assert seen.frame["weighted_miss"].notna().all()


@pytest.fixture
def folder(tmp_path):
    return sample_copy(tmp_path / "mine", *LEARNT_FROM)


def test_logged_forecast_is_scored_as_it_was_logged(folder):
    made = forecast(read_records(folder), SEASON, "2026-07-20", draws=2000)
    path = log_forecast(made, folder)
    text = path.read_text()
    path.write_text(text + text.splitlines()[-1][:40])  # a line cut short
    # What is measured anew later does not touch what was logged.
    counts = (folder / "counts.csv").read_text().splitlines()
    (folder / "counts.csv").write_text("\n".join(counts[:-30]) + "\n")
    seen = review_season(read_records(folder), SEASON, moments=["lag"], **QUICK)
    table = made.frame.set_index("block")
    assert seen.logged["as_of"].tolist() == ["2026-07-20"]
    rows = seen.logged_blocks.set_index("name")
    assert rows["tonnes_p50"].to_dict() == pytest.approx(
        table.loc[rows.index, "tonnes_p50"].to_dict()
    )
    near = scores.crps(
        made.draws[[made.blocks.index(b) for b in rows.index]], rows["picked_t"].to_numpy()
    )
    assert rows["crps_t"].to_numpy() == pytest.approx(near, rel=0.1, abs=0.02)
    assert seen.logged["kept_after_first_load"].all()  # kept just now
    assert any("cut short" in note for note in seen.notes)


def test_range_of_a_log_normal_gives_it_back():
    """80 % range of a log-normal of centre 1.5 and spread 0.2: exp(1.5 -+ 1.2816 x 0.2)."""
    ends = np.exp(1.5 + np.array([-1, 1]) * 1.2815515655 * 0.2)
    assert log_normal_of(*ends, 0.8) == pytest.approx((1.5, 0.2))


def test_parts_of_a_miss_add_up_on_the_log_scale(records, found):
    for moment in ("pruning", "clusters", "lag", "picking"):
        split = split_miss(records, SEASON, found.forecasts[moment])
        sums = split.frame.groupby("block")[["log_miss", "share", "miss_t"]].sum()
        rows = found.blocks[found.blocks["moment"] == moment].set_index("name")
        assert len(rows) == len(BLOCKS)
        for block, row in rows.iterrows():
            miss = row["tonnes_p50"] / row["picked_t"]
            assert sums.loc[block, "log_miss"] == pytest.approx(np.log(miss), abs=1e-12)
            assert sums.loc[block, "share"] == pytest.approx(row["error_share"], abs=1e-12)
            assert sums.loc[block, "miss_t"] == pytest.approx(row["error_t"], abs=1e-12)


def harvest_weights(grams):
    return [weight_row(b, 60) for b in BLOCKS] + [
        weight_row(b, grams, "harvest", 300, SEASON, "09-15") for b in BLOCKS
    ]


def part(split, component):
    return split[split["component"] == component]["log_miss"].mean()


def test_counting_too_few_is_told_from_heavier_clusters():
    """Twice the same surplus on the scale: once the clusters weighed more, once they did not."""
    usual = 30 * 108 * 0.93 / 1000
    heavier = counted(harvest=picks(tonnes=usual * 1.2), weights=harvest_weights(108 * 1.2))
    missed = counted(harvest=picks(tonnes=usual * 1.2), weights=harvest_weights(108))
    day = "2026-07-01"
    of_weight = split_miss(heavier, SEASON, forecast(heavier, SEASON, day, **QUICK))
    of_count = split_miss(missed, SEASON, forecast(missed, SEASON, day, **QUICK))
    assert part(of_weight, "cluster_weight_g") < part(of_count, "cluster_weight_g") - 0.1
    assert part(of_count, "counting_bias") < -0.03
    assert part(of_count, "counting_bias") < part(of_weight, "counting_bias") - 0.03


def test_a_stage_is_done_when_the_last_block_was_first_measured():
    rows = [*count_rows("Alder", 30, date="06-20"), *count_rows("Birch", 30, date="06-25")]
    rows += count_rows("Alder", 30, date="08-01")
    found = small_estate(counts=rows, harvest=picks())
    assert f"{stage_days(found, SEASON)['clusters']:%m-%d}" == "06-25"


def test_moments_on_or_after_the_first_load_are_left_out():
    late = weight_row("Alder", 100, "veraison", date="09-20")
    found = small_estate(weights=[late], harvest=picks())
    assert "veraison" in stage_days(found, SEASON)
    assert "veraison" not in forecast_days(found, SEASON)
    assert f"{forecast_days(found, SEASON)['picking']:%m-%d}" == "09-19"


def test_a_day_on_or_after_the_first_load_is_no_day_to_forecast_from(records):
    for when in ("2026-09-20", "2027-03-01"):
        with pytest.raises(CroploadError, match=r"'late', 20.*first load was on .*2026-09-20"):
            review_season(records, SEASON, as_of={"late": when}, **QUICK)


def test_undated_loads_count_from_the_end_of_the_year():
    found = counted(harvest=[row | {"date": None} for row in picks()])
    with pytest.raises(CroploadError, match=r"first load was on the scale on 2026-12-31"):
        review_season(found, SEASON, as_of={"late": "2027-03-01"}, **QUICK)


@pytest.fixture(scope="module")
def joint_before():
    """In 2025 Alder and Birch shared a ticket; the tonnes of the rest are their own."""
    found = counted()
    rows = found.harvest.copy()
    pair = (rows["season"] == 2025) & rows["block"].isin(["Alder", "Birch"])
    rows.loc[pair, "ticket"] = "9"
    return replace(found, harvest=rows)


def test_a_split_on_paper_is_no_grower_s_guess(joint_before):
    told = joint_before.harvest.set_index(["season", "block"])["tonnes"]
    found = baselines(joint_before, SEASON, "2026-03-01")
    assert found.loc[["Alder", "Birch"], "last_season"].isna().all()
    assert found.loc["Alder", "block_mean"] == pytest.approx(told[2024, "Alder"])
    assert found.loc["Cedar", "last_season"] == pytest.approx(told[2025, "Cedar"])
    # Their sum was on the scale, so whoever holds both is guessed from it.
    both = baselines(joint_before, SEASON, "2026-03-01", [["Alder", "Birch"], list(BLOCKS)])
    pair = told[2025, "Alder"] + told[2025, "Birch"]
    assert both["last_season"].tolist() == pytest.approx([pair, told[2025].sum()])
    assert both.loc["Alder + Birch", "block_mean"] == pytest.approx(
        (told[2024, "Alder"] + told[2024, "Birch"] + pair) / 2
    )
    with_one = baselines(joint_before, SEASON, "2026-03-01", [["Alder", "Cedar"]])
    assert with_one["last_season"].isna().all()


def test_a_split_on_paper_is_named_beside_the_guesses(joint_before):
    seen = review_season(joint_before, SEASON, moments=["lag"], **QUICK)
    assert any("Alder + Birch were weighed together in 2025" in note for note in seen.notes)
    assert seen.frame["last_season_seen"].tolist() == [len(BLOCKS) - 2]
    assert seen.groups.query("level == 'estate'")["last_season"].notna().all()


def test_crops_of_one_ticket_are_named_where_the_miss_is_split(joint):
    rows = picks(blocks=BLOCKS[1:4] + BLOCKS[5:])
    rows += picks(tonnes=1.0, blocks=["Alder"], ticket="17")
    rows += picks(tonnes=5.0, blocks=["Fir"], ticket="17")
    split = split_miss(counted(harvest=rows), SEASON, joint.forecasts["lag"])
    assert not {"Alder", "Fir"} & set(split["block"])
    (told,) = split.left_out
    row = joint.blocks[joint.blocks["name"] == "Alder + Fir"].iloc[0]
    word = "high" if row["error_share"] > 0 else "low"
    assert f"Alder + Fir were weighed together: their forecast was {100 * abs(row['error_share']):.0f} % too {word}" in told  # fmt: skip  # noqa: E501
    text = estate_sentence(split)
    assert text.startswith(f"The {split['block'].nunique()} blocks that can be split, together: ")


def test_a_forecast_of_another_season_is_not_split(records, found):
    with pytest.raises(CroploadError, match=r"forecast is of 2026.* harvest of 2025"):
        split_miss(records, 2025, found.forecasts["lag"])


def test_a_forecast_of_nothing_is_not_split():
    zeros = [r for b in BLOCKS for r in count_rows(b, 0 if b == "Alder" else 30)]
    found = counted(counts=zeros)
    made = forecast(found, SEASON, "2026-07-01", **QUICK)
    split = split_miss(found, SEASON, made)
    assert "Alder" not in set(split["block"])
    assert "Alder: the forecast was nothing" in split.left_out[0]
    assert np.isfinite(split["log_miss"]).all()


def test_the_sum_of_all_blocks_is_the_bias_of_the_scores(records, found):
    """One miss, one figure: the sentence, the table and the scores say the same."""
    for moment, made in found.forecasts.items():
        split = split_miss(records, SEASON, made)
        bias = found.frame.set_index("moment").loc[moment, "bias"]
        assert f"{100 * abs(bias):.0f} % too {'high' if bias > 0 else 'low'}" in estate_sentence(
            split
        )
        rows = found.blocks[found.blocks["moment"] == moment].set_index("name")
        table = miss_table(split.frame)
        assert table["all together"].to_dict() == pytest.approx(rows["error_share"].to_dict())
        assert table.drop(columns="all together").sum(axis=1).tolist() == pytest.approx(
            table["all together"].tolist()
        )
        for block in BLOCKS:
            off = rows.loc[block, "error_share"]
            assert f"the forecast was {100 * abs(off):.0f} % too" in block_sentence(split, block)


def test_what_was_not_measured_is_said_to_be_only_likely():
    """Alder has tonnes alone; the others were counted, and weighed at harvest."""
    rest = BLOCKS[1:]
    found = counted(
        counts=[r for b in rest for r in count_rows(b, 30)],
        weights=[weight_row(b, 108, "harvest", 300, SEASON, "09-15") for b in rest],
        harvest=picks(tonnes=4.0),
    )
    split = split_miss(found, SEASON, forecast(found, SEASON, "2026-07-01", **QUICK))
    told = block_sentence(split, "Alder")
    assert "too low. Not measured, so only likely: " in told
    other = block_sentence(split, "Birch")
    assert "Not measured" not in other.replace("shoots", "")
    assert "more came over the scale than the clusters counted and weighed explain" in other


def test_a_loss_before_the_scale_is_a_part_of_its_own():
    found = counted(harvest=picks(tonnes=1.5, lost_pct=50.0))
    split = split_miss(found, SEASON, forecast(found, SEASON, "2026-07-01", **QUICK))
    lost = split[split["component"] == "lost"]["log_miss"]
    assert lost.tolist() == pytest.approx([np.log(2)] * len(BLOCKS))


def test_what_the_log_cannot_score_is_named(folder):
    """Two blocks on one ticket, and a range that starts at nothing."""
    path = log_forecast(forecast(read_records(folder), SEASON, "2026-07-20", draws=400), folder)
    found = read_records(folder)
    rows = found.harvest.copy()
    pair = (rows["season"] == SEASON) & rows["block"].isin(["Home Terrace", "Chapel Slope"])
    rows.loc[pair, ["ticket", "date"]] = ["T1", pd.Timestamp("2026-09-21")]
    log = pd.read_csv(path)
    log.loc[log["block"] == "Long Acre", ["tonnes_p10"]] = 0.0
    log.to_csv(path, index=False)
    seen = review_season(replace(found, harvest=rows), SEASON, moments=["lag"], **QUICK)
    assert not {"Home Terrace", "Chapel Slope", "Long Acre"} & set(seen.logged_blocks["name"])
    notes = " ".join(seen.notes)
    assert "The log does not score Home Terrace + Chapel Slope: they were weighed together" in notes
    assert "The log does not score forecasts of Long Acre whose range starts at nothing" in notes


def test_a_frost_that_the_weather_tells_and_nothing_on_record_is_named():
    """The sample's truth: in spring 2021 frost killed half of the shoots of Mill Meadow."""
    from cropload.review.picked import frost_notes

    records = example_records()
    (note,) = frost_notes(records, 2021)
    assert note.startswith("Mill Meadow: by the weather, frost left about")
    told = pd.DataFrame([{"block": "Mill Meadow", "date": "2021-05-01", "kind": "frost"}])
    told = told.assign(date=pd.to_datetime(told["date"]), share_pct=30.0, dead=np.nan)
    told = told.assign(alive=np.nan, of="", counts_that_day="", note="")
    assert frost_notes(replace(records, events=told), 2021) == []
    assert frost_notes(records, 2023) == []


def test_own_estimates_are_scored_beside_the_forecast_by_grower_too():
    records = example_records()
    growers = ["A", "A", "B", "B", "B", "", "B", "A"]
    records = replace(records, blocks=records.blocks.assign(grower=growers))
    found = review_season(records, 2026, moments=["pruning", "clusters"], draws=200)
    said = records.estimates.query("season == 2026").set_index("block")["tonnes"]
    crops = found.blocks.set_index(["moment", "name"])["own_estimate"]
    assert crops["pruning"].isna().all(), "nothing had been said by then"
    assert crops["clusters"].to_dict() == said.to_dict()
    of = found.frame_by("grower").query("moment == 'clusters'").set_index("name")
    assert set(of.index) == {"A", "B", "-"}
    of_a = ["Home Terrace", "Chapel Slope"]
    picked = records.harvest.query("season == 2026").groupby("block")["tonnes"].sum()
    assert of.loc["A", "own_estimate"] == pytest.approx(said[of_a].sum())
    assert of.loc["A", "picked_t"] == pytest.approx(picked[of_a].sum())
    row = scores.level_scores([found]).frame.set_index("moment").loc["clusters"]
    miss = (said - picked).abs().sum() / picked.sum()
    assert row["own_estimate_miss"] == pytest.approx(miss)
    told = who_was_right(found.frame_by("estate").iloc[1], row, found.days["clusters"])
    assert f"{100 * miss:.0f} %" in told
    nobody = replace(records, blocks=records.blocks.assign(grower=""))
    with pytest.raises(CroploadError, match="No block names its grower"):
        review_season(nobody, 2026, moments=["pruning"], draws=200).frame_by("grower")
