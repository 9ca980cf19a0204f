"""What seasons teach: the figures, how many seasons speak, and awkward harvests."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from helpers import block_row, make_records, records_from_csv, steady_counts
from season_records import (
    BLOCKS,
    RIESLING,
    block_rows,
    count_rows,
    history,
    small_estate,
    weight_row,
)

from cropload import handbook, learn
from cropload.beliefs.history import estate_before_season
from cropload.beliefs.learned import Entry, write_learned
from cropload.beliefs.spreads import prior_logs
from cropload.errors import CroploadError
from cropload.review.learning import said
from cropload.vine.growth import COMPONENTS

LAST = 2025


def taught(**more):
    """The small estate with lag weights in both of its seasons: a factor of 1.5 to 2.1."""
    lag = [weight_row(b, 60, season=s) for b in BLOCKS for s in (2024, LAST)]
    return small_estate(weights=lag + more.pop("weights", []), **more)


@pytest.fixture(scope="module")
def records():
    return taught()


@pytest.fixture(scope="module")
def lessons(records):
    return learn(records)


def row_of(lessons, key):
    return lessons.frame.set_index("key").loc[key]


# ------------------------------------------------------------------ the figures


def test_every_row_can_be_accepted_and_every_range_holds_its_middle(lessons):
    assert set(lessons.frame["key"]) <= set(lessons.entries)
    for when in ("before", "after"):
        low, high = lessons.frame[f"{when}_low"], lessons.frame[f"{when}_high"]
        assert (low < lessons.frame[when]).all()
        assert (lessons.frame[when] < high).all()
    assert lessons.through == LAST


def test_the_entry_is_the_row(lessons):
    key = "increase_factor:Riesling"
    row, entry = row_of(lessons, key), lessons.entries[key]
    assert entry.value == pytest.approx(row["after"])
    assert np.log(row["after_high"] / row["after"]) == pytest.approx(1.2815516 * entry.spread)
    assert (entry.through, entry.seasons) == (LAST, 2)


def test_a_factor_is_pulled_from_the_handbook_to_what_was_weighed():
    """Weighed 126 and 108 g over 60 g, so 1.94 on the mean of logs; the handbook says 2.0."""
    weights = [r for r in history()["weights"] if r["block"] in RIESLING]
    weights += [weight_row(b, 60, season=s) for b in RIESLING for s in (2024, LAST)]
    harvest = [r for r in history()["harvest"] if r["block"] in RIESLING]
    blocks = [block_row(b, "Riesling") for b in RIESLING]
    found = learn(make_records(blocks=blocks, weights=weights, harvest=harvest))
    row = row_of(found, "increase_factor:Riesling")
    assert row["after"] == pytest.approx(np.sqrt(2.1 * 1.8), rel=0.02)
    assert row["after"] < row["before"]
    assert row["after_high"] / row["after_low"] < row["before_high"] / row["before_low"]
    assert row["said"] == "as before, known better"
    assert not row["moved"]


def test_clear_news_moves_the_figure():
    light = [weight_row(b, 40, season=s) for b in BLOCKS for s in (2024, LAST)]  # a factor of 2.9
    row = row_of(learn(small_estate(weights=light)), "increase_factor:Riesling")
    assert row["moved"]
    assert row["said"] == "moved"
    assert row["after"] > 2.3


def test_words_tell_one_season_alone():
    assert said(True, 1, 0.9) == "moved, on one season alone"
    assert said(True, 2, 0.9) == "moved"
    assert said(False, 3, 0.5) == "as before, known better"
    assert said(False, 3, 0.95) == "as before"


def test_only_what_was_measured_is_taught(lessons):
    """No veraison weights, no counters, no prunings; one block carried more buds once."""
    topics = lessons.frame["key"].str.split(":").str[0]
    assert "ripening_factor" not in set(topics)
    assert "counter" not in set(topics)
    assert {"load:fertility", "load:weight"} == set(lessons.frame.query("topic == 'load'")["key"])
    assert lessons.profiles.empty
    assert list(lessons.profiles.columns)


def test_an_exponent_is_shown_as_the_trade_knows_it(lessons):
    """The handbook's exponent of settled cluster weight on clusters, and its spread."""
    row, entry = row_of(lessons, "load:weight"), handbook.entry("load.weight.settled")
    assert row["before"] == pytest.approx(entry.value)
    assert row["before_high"] == pytest.approx(entry.value + 1.2815516 * entry.spread)
    moved = entry.spread * lessons.entries["load:weight"].value
    assert row["after"] == pytest.approx(entry.value + moved)


def test_fertility_by_node_is_taught_by_variety_and_seasons_so_far():
    rows = [
        {"season": season, "block": "Alder", "wood": "cane", "node": node}
        | {"buds": 40, "shoots": 36, "clusters": clusters}
        for season in (LAST, LAST + 1)
        for node, clusters in ((1, 20 if season == LAST else 90), (2, 50))
    ]
    found = learn(taught(fertility=rows), LAST)
    table = found.profiles.query("wood == 'cane' and what == 'fertility'").set_index("node")
    assert table.loc[1, "seasons"] == 1
    assert table.loc[1, "after"] < table.loc[1, "before"]
    assert found.entries["profile:Riesling"].through == LAST
    assert "profile:Pinot noir" not in found.entries


# ------------------------------------------------------------------ before


def test_what_was_accepted_before_is_the_figure_before(records, tmp_path):
    old = [
        Entry("component", "increase_factor", 2024, 1, "Riesling", 1.7, 0.1),
        Entry("load", "weight", 2024, 1, value=0.5, spread=0.9),
    ]
    write_learned(tmp_path, old, "2025-11-25")
    found = learn(replace(records, path=tmp_path))
    plain = learn(records)
    row = row_of(found, "increase_factor:Riesling")
    assert row["before"] == pytest.approx(1.7)
    assert row["before_from"] == "accepted, up to 2024"
    assert row_of(plain, "increase_factor:Riesling")["before_from"] == "handbook"
    assert row["after"] == pytest.approx(row_of(plain, "increase_factor:Riesling")["after"])
    entry = handbook.entry("load.weight.settled")
    moved = entry.value + entry.spread * 0.5
    assert row_of(found, "load:weight")["before"] == pytest.approx(moved)


def test_what_a_forecast_uses_now_is_what_it_believes(records, lessons, tmp_path):
    """Centres of the shared effects of the next season's estate, with or without lessons."""

    def believed(some, name, variety):
        estate = estate_before_season(some, LAST + 1)
        at = list(dict.fromkeys(estate.facts.varieties)).index(variety)
        k, posterior = COMPONENTS.index(name), estate.beliefs.posterior
        own = posterior.mean[posterior.shared.of_variety(at, k)].sum()
        return np.exp(prior_logs(variety)[0][k] + own)

    row = row_of(lessons, "increase_factor:Riesling")
    now = believed(records, "increase_factor", "Riesling")
    assert row["now"] == pytest.approx(now, rel=1e-3)
    write_learned(tmp_path, [Entry("component", "increase_factor", LAST, 2, "Riesling", 1.4, 0.05)],
                  "2026-11-25")  # fmt: skip
    mine = replace(records, path=tmp_path)
    row = row_of(learn(mine), "increase_factor:Riesling")
    assert row["now"] == pytest.approx(1.4, rel=0.02)
    assert row["now"] == pytest.approx(believed(mine, "increase_factor", "Riesling"))
    assert row["after"] > 1.6


def test_the_share_that_reaches_the_scale_is_never_shown_above_one(lessons):
    """Nobody can pick more than all of the fruit: arithmetic, no source."""
    mine = lessons.frame[[key.startswith("recovery") for key in lessons.frame["key"]]]
    ends = [f"{part}{end}" for part in ("before", "now", "after") for end in ("_low", "", "_high")]
    assert mine[ends].to_numpy().max() <= 1
    assert (mine["before_high"] == 1).all()  # 0.95 with a spread of 0.05 would end at 1.01


def test_learning_again_after_accepting_says_nothing_new(records, lessons, tmp_path):
    write_learned(tmp_path, lessons.entries.values(), "2026-11-25")
    again = learn(replace(records, path=tmp_path))
    assert not again.frame["moved"].any()
    assert again.frame["after"].to_numpy() == pytest.approx(again.frame["before"], rel=1e-4)


def test_later_seasons_teach_nothing_of_earlier_ones(lessons):
    later = {
        "counts": [r for b in BLOCKS for r in count_rows(b, 60)],
        "harvest": [
            {"season": 2026, "block": b, "date": "2026-09-20", "tonnes": 9.0} for b in BLOCKS
        ],
        "weights": [weight_row(b, 90) for b in BLOCKS],
    }
    found = learn(taught(**later), LAST).frame
    # How vines differ within a block is pooled over all counts: a hair in the range.
    pd.testing.assert_frame_equal(found, lessons.frame, rtol=1e-3)


# ------------------------------------------------------------------ awkward harvests


def without_harvest(season=None):
    tables = history()
    kept = [r for r in tables["harvest"] if season is not None and r["season"] != season]
    tables["harvest"] = kept
    tables["weights"] += [weight_row(b, 60, season=s) for b in BLOCKS for s in (2024, LAST)]
    return make_records(blocks=block_rows(), **tables)


def test_no_harvest_at_all_is_one_clear_message():
    with pytest.raises(CroploadError, match="No harvest is on record yet"):
        learn(without_harvest())


@pytest.mark.parametrize("through", [2023, 2026])
def test_a_season_without_a_harvest_cannot_be_the_last_that_speaks(records, through):
    with pytest.raises(CroploadError, match=f"through {through}.*from 2024 to 2025"):
        learn(records, through)


def test_a_season_without_a_harvest_in_between_teaches_what_it_can():
    """Clusters were weighed in both seasons; only one was picked."""
    found = learn(without_harvest(2024))
    assert row_of(found, "increase_factor:Riesling")["seasons"] == 2
    assert row_of(found, "recovery:Riesling")["seasons"] == 1


def test_one_season_alone_is_said_and_moves_little(records, lessons):
    one = learn(records, 2024)
    assert any("One season alone" in note for note in one.notes)
    assert not any("One season alone" in note for note in lessons.notes)
    row = row_of(one, "recovery:Riesling")
    assert row["seasons"] == 1
    spread = handbook.entry("prior.recovery").spread
    assert abs(np.log(row["after"] / row["before"])) < spread


def test_records_that_teach_nothing_get_one_clear_message():
    rows = [{"season": LAST, "block": "Alder", "date": "2025-09-20", "tonnes": 3.0}]
    with pytest.raises(CroploadError, match="hold nothing to learn from yet"):
        learn(make_records(blocks=block_rows(), harvest=rows))


def picked(rows, **more):
    tables = history()
    tables["harvest"] = [r for r in tables["harvest"] if r["block"] not in ("Alder", "Fir")] + rows
    return make_records(blocks=block_rows(), **(tables | more))


def harvest_of(block, tonnes, season=LAST, day="09-20", **more):
    return {"season": season, "block": block, "date": f"{season}-{day}", "tonnes": tonnes} | more


def test_a_block_picked_twice_is_its_sum():
    once = [harvest_of("Alder", 3.0), harvest_of("Fir", 3.2)]
    twice = [
        harvest_of("Alder", 1.0, picked_pct=40),
        harvest_of("Alder", 2.0, day="09-26"),
        once[1],
    ]
    one, two = learn(picked(once)).frame, learn(picked(twice)).frame
    pd.testing.assert_frame_equal(one, two)


def test_a_joint_ticket_teaches_nothing_and_is_said():
    """However the 6.2 t were split on paper, the lessons are the same."""
    found = [
        learn(picked([harvest_of("Alder", a, ticket="7"), harvest_of("Fir", 6.2 - a, ticket="7")]))
        for a in (1.0, 3.0)
    ]
    # A forecast reads the paper's split, as the guess it is; lessons do not.
    taught = [each.frame.drop(columns=["now_low", "now", "now_high"]) for each in found]
    pd.testing.assert_frame_equal(*taught)
    assert any("Alder 2025, Fir 2025" in note for note in found[0].notes)
    alone = learn(picked([harvest_of("Alder", 3.0), harvest_of("Fir", 3.2)]))
    assert row_of(alone, "recovery:Riesling")["after_high"] != pytest.approx(
        row_of(found[0], "recovery:Riesling")["after_high"], rel=1e-6
    )


def folder_texts(unit):
    """The same two seasons in metric or in US units, as a user would type them."""
    us = unit == "us"
    ton, feet, pound = 0.90718474, 0.3048, 453.59237
    head = "row_spacing_ft,vine_spacing_ft" if us else "row_spacing_m,vine_spacing_m"
    spacing = f"{2.5 / feet!r},{1.5 / feet!r}" if us else "2.5,1.5"
    texts = {
        "blocks": f"block,variety,{head},vines\nNorth,Anyvine,{spacing},1000\n",
        "harvest": f"season,block,date,{'tons' if us else 'tonnes'}\n",
        "weights": f"season,block,date,stage,clusters,{'weight_lb' if us else 'weight_g'}\n",
        "counts": "season,date,block,row,vine,clusters\n",
    }
    for season, tonnes, lag in ((2024, 3.1, 58.0), (2025, 3.6, 66.0)):
        t = tonnes / ton if us else tonnes
        texts["harvest"] += f"{season},North,{season}-09-20,{t!r}\n"
        for stage, grams, day in (("lag", lag * 60, "07-20"), ("harvest", 7300.0, "09-10")):
            w = grams / pound if us else grams
            texts["weights"] += f"{season},North,{season}-{day},{stage},60,{w!r}\n"
        for row in steady_counts(season, "North", clusters=30):
            texts["counts"] += (
                f"{season},{row['date']},North,1,{row['vine']},{row['clusters']:.0f}\n"
            )
    return texts


def test_short_tons_and_pounds_teach_the_same(tmp_path):
    """1 short ton = 0.90718474 t, 1 lb = 453.59237 g, 1 ft = 0.3048 m, all exact."""
    tables = []
    for unit in ("metric", "us"):
        (tmp_path / unit).mkdir()
        tables.append(learn(records_from_csv(tmp_path / unit, **folder_texts(unit))).frame)
    pd.testing.assert_frame_equal(*tables)


def test_counters_are_corrected_before_the_bias_of_all():
    """A crew that counts a fifth more in one block in two is told from all counting more."""
    rows = [
        r | {"counter": who, "vine": f"{who}{r['vine']}"}
        for season in (2024, LAST)
        for b in RIESLING
        for who, clusters in (("AB", 33), ("CD", 27))
        for r in steady_counts(season, b, clusters=clusters)
    ]
    found = learn(
        make_records(
            blocks=[block_row(b, "Riesling") for b in RIESLING],
            counts=rows,
            harvest=[harvest_of(b, 3.2, s) for b in RIESLING for s in (2024, LAST)],
        )
    )
    high, low = (row_of(found, f"counter:{who}")["after"] for who in ("AB", "CD"))
    assert 1.1 < high / low < 33 / 27
    assert high * low == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize(
    ("plans", "speak"),
    [
        (["2x8+2x2"], set()),
        (["2x8+2x2"] * 3, set()),
        # The plan changed; wood was weighed of a season before any plan, and of one load.
        (["3x8+3x2", "2x8+2x2"], set()),
        (["3x8+3x2", "2x8+2x2", "2x8+2x2"], {"load:pruning"}),
    ],
)
def test_a_block_measured_on_one_load_alone_teaches_no_response_to_the_load(plans, speak):
    seasons = range(2026 - len(plans), 2026)
    # Wood cut in a winter grew the season before it.
    pruning = [
        {"season": s, "block": "North", "plan": plan, "pruning_weight_kg": 0.6}
        for s, plan in zip(seasons, plans, strict=True)
    ]
    made = make_records(
        blocks=[block_row()],
        pruning=pruning,
        harvest=[{"season": s, "block": "North", "tonnes": 3.0} for s in seasons],
        weights=[
            {"season": s, "date": f"{s}-{day}", "block": "North", "stage": stage}
            | {"clusters": 50, "weight_g": weight}
            for s in seasons
            for stage, day, weight in (("lag", "07-20", 3000), ("harvest", "09-20", 6000))
        ],
    )
    found = learn(made)
    assert "load:pruning" not in found.entries or "load:pruning" in speak
    assert speak <= set(found.entries)
