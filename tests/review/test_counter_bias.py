"""Who counts more, and who fewer: pooled, compared at the same clusters, never invented."""

import numpy as np
import pytest
from helpers import block_row, make_records, steady_counts

from cropload import handbook
from cropload.beliefs.spreads import prior_spreads
from cropload.records.facts import block_facts
from cropload.review.counter_bias import counter_effects

SEASONS = (2024, 2025)
BLOCKS = ("Alder", "Birch", "Cedar", "Elder")


class Plain:
    """The handbook's spreads."""

    sd = prior_spreads()[0]


def counted(clusters, blocks=BLOCKS, seasons=SEASONS, vines=40, **more):
    """Rows of counts: {counter: clusters per vine} in every block and season."""
    return [
        row | {"counter": who, "vine": f"{who} {row['vine']}"}
        for season in seasons
        for block in blocks
        for who, mean in clusters.items()
        for row in steady_counts(season, block, vines=vines, clusters=mean)
    ]


def effects(counts, through=2025, **tables):
    records = make_records(
        blocks=[block_row(b, "Riesling") for b in BLOCKS], counts=counts, **tables
    )
    return found_of(records, through).frame.set_index("counter")


def found_of(records, through=2025):
    return counter_effects(records, block_facts(records), through, Plain)


def test_those_who_count_beside_each_other_are_told_apart():
    """33 and 27 clusters per vine over the same blocks: a ratio of 1.22, pulled together."""
    found = effects(counted({"AB": 33, "CD": 27}))
    ratio = np.exp(found.loc["AB", "log_bias"] - found.loc["CD", "log_bias"])
    assert 1.1 < ratio < 33 / 27
    assert found["log_bias"].sum() == pytest.approx(0, abs=0.01)
    assert found["seasons"].tolist() == [2, 2]


def test_many_vines_tell_the_whole_ratio():
    found = effects(counted({"AB": 33, "CD": 27, "EF": 30}, vines=400))
    ratio = np.exp(found.loc["AB", "log_bias"] - found.loc["CD", "log_bias"])
    assert ratio == pytest.approx(33 / 27, rel=0.03)
    assert found.loc["EF", "log_bias"] == pytest.approx(0, abs=0.01)


def test_counters_who_agree_have_no_bias_and_are_drawn_together():
    counts = counted({"AB": 30, "CD": 30, "EF": 30}, vines=400)
    found = found_of(make_records(blocks=[block_row(b, "Riesling") for b in BLOCKS], counts=counts))
    assert found.frame["log_bias"].to_numpy() == pytest.approx(0, abs=0.005)
    assert found.between < handbook.value("learning.counter")


def test_more_seasons_narrow_the_range():
    one = effects(counted({"AB": 33, "CD": 27}), through=2024)
    two = effects(counted({"AB": 33, "CD": 27}))
    assert (two["spread"] < one["spread"]).all()
    assert one["seasons"].tolist() == [1, 1]


def test_later_seasons_do_not_speak():
    wild = counted({"AB": 300, "CD": 3}, seasons=(2026,))
    usual = counted({"AB": 33, "CD": 27})
    found, alone = effects(usual + wild), effects(usual)
    assert found["seasons"].tolist() == [2, 2]
    assert found["log_bias"].to_numpy() == pytest.approx(alone["log_bias"], abs=0.03)


def test_one_counter_alone_is_compared_with_nobody():
    assert effects(counted({"AB": 33})).empty


def test_counts_without_initials_belong_to_nobody():
    rows = counted({"AB": 33, "": 27})
    assert effects(rows).empty
    assert effects([row | {"counter": " "} for row in rows]).empty
    assert effects([]).empty


def test_nobody_beside_anybody_and_nothing_weighed_tells_nothing():
    """Each in blocks of their own: a block with more clusters is no sign of a bias."""
    rows = counted({"AB": 33}, BLOCKS[:2]) + counted({"CD": 27}, BLOCKS[2:])
    assert effects(rows).empty


def weighed(tonnes):
    """Tonnes and harvest weights of every block and season: 100 g a cluster."""
    harvest = [
        {"season": s, "block": b, "date": f"{s}-09-20", "tonnes": tonnes}
        for s in SEASONS
        for b in BLOCKS
    ]
    weights = [
        {"season": s, "block": b, "date": f"{s}-09-10", "stage": "harvest"}
        | {"clusters": 200, "weight_g": 20_000.0}
        for s in SEASONS
        for b in BLOCKS
    ]
    return {"harvest": harvest, "weights": weights}


def test_the_scale_tells_who_counted_too_many_in_blocks_of_their_own():
    """3 t of 1,000 vines at 100 g are 30 clusters a vine; one found 36, the other 25."""
    rows = counted({"AB": 36}, BLOCKS[:2]) + counted({"CD": 25}, BLOCKS[2:])
    found = effects(rows, **weighed(3.0))
    assert found.loc["AB", "log_bias"] > 0.03
    assert found.loc["CD", "log_bias"] < -0.03


def test_two_who_count_the_same_vines_on_a_day_are_both_heard():
    rows = [row | {"vine": row["vine"].split()[1]} for row in counted({"AB": 33, "CD": 27})]
    found = effects(rows)
    assert found.loc["AB", "log_bias"] > 0.03 > -0.03 > found.loc["CD", "log_bias"]


def test_a_vine_counted_again_after_thinning_is_no_bias():
    """The same vines, a month and a thinning later: only the last visit is compared."""
    rows = [row | {"vine": row["vine"].split()[1]} for row in counted({"AB": 33})]
    later = [r | {"counter": "CD", "clusters": 20, "date": f"{r['season']}-07-20"} for r in rows]
    assert effects(rows + later).empty
