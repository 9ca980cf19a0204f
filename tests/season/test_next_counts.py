"""What to count next: the range it says a count removes is what the count then removes."""

from dataclasses import replace

import numpy as np
import pytest
from helpers import make_records
from season_records import BLOCKS, SEASON, count_rows, small_estate, weight_row

from cropload import handbook
from cropload.beliefs.forecast import forecast
from cropload.errors import CroploadError
from cropload.season.narrowing import vine_minutes, vine_variance
from cropload.season.next_counts import COUNTABLE, next_counts
from cropload.vine.growth import STAGES, STATE

HARVEST = STAGES.index("harvest")
K = len(STATE)


@pytest.fixture(scope="module")
def winter():
    return forecast(small_estate(), SEASON, draws=100)


@pytest.fixture(scope="module")
def summer():
    counts = count_rows("Alder", 40) + count_rows("Fir", 26)
    return forecast(small_estate(counts=counts), SEASON, draws=100)


def joint(found):
    """Return the covariance of all blocks' states and the responses, written out whole."""
    beliefs = found.estate.beliefs
    wide = np.concatenate(
        [
            beliefs.load[b] @ beliefs.root[beliefs.shared.places(v)]
            for b, v in enumerate(beliefs.variety)
        ]
        + [beliefs.root[beliefs.shared.effects :]]
    )
    covariance = wide @ wide.T
    for b, own in enumerate(beliefs.own_covariance):
        covariance[b * K : b * K + K, b * K : b * K + K] += own
    return covariance


def line(found, block, stage):
    """Return the straight line of what a stage measures, over all states and responses."""
    estate, blocks = found.estate, len(found.blocks)
    b = found.blocks.index(block)
    row = estate.season_rows[b, STAGES.index(stage)]
    whole = np.zeros(blocks * K + estate.season_shift.shape[-1])
    whole[b * K : b * K + K] = row
    whole[blocks * K :] = row @ estate.season_shift[b]
    return whole


def width_of(found, covariance, inside):
    """Return the width of a total's 80 % range [t], straight in the logs at the centre."""
    tonnes = found.centre_tonnes() * (1 - found.picked["share"].to_numpy())
    pairs = zip(tonnes, found.blocks, strict=True)
    total = sum(t * line(found, b, "harvest") for t, b in pairs if b in inside)
    return 2 * 1.2815515655446004 * np.sqrt(total @ covariance @ total)


@pytest.mark.parametrize("of", ["estate", "Riesling"])
@pytest.mark.parametrize("when", ["winter", "summer"])
def test_every_range_after_is_that_of_the_dense_update(when, of, request):
    found = request.getfixturevalue(when)
    pairs = zip(found.blocks, found.varieties, strict=True)
    inside = [block for block, variety in pairs if of in ("estate", variety)]
    covariance = joint(found)
    table = next_counts(found, hours=2.0, of=of).frame
    assert len(table) >= 2 * len(BLOCKS)
    for row in table.itertuples():
        seen = line(found, row.block, row.what)
        noise = vine_variance(row.what) / row.vines
        gain = covariance @ seen / (seen @ covariance @ seen + noise)
        after = covariance - np.outer(gain, seen @ covariance)
        assert row.range_now_t == pytest.approx(width_of(found, covariance, inside), rel=1e-9)
        assert row.range_after_t == pytest.approx(width_of(found, after, inside), rel=1e-9)


def test_the_engine_itself_narrows_by_what_was_said(winter, monkeypatch):
    """Enter one more measurement of that precision through the records' own route."""
    from cropload.beliefs import forecast as season

    table = next_counts(winter, hours=2.0, what="clusters").frame
    best = table.iloc[0]
    original, estate = season.lay_ground, winter.estate

    def with_count(*args, **kwargs):
        ground = original(*args, **kwargs)
        b, s = winter.blocks.index(best["block"]), STAGES.index(best["what"])
        assert ground.precision[b, -1, s] == 0
        values, precision = ground.values.copy(), ground.precision.copy()
        precision[b, -1, s] = best["vines"] / vine_variance(best["what"])
        # A count that says just what was expected: the chain stays where it was.
        row = estate.season_rows[b, s]
        expected = estate.beliefs.centre[b] + estate.season_shift[b] @ estate.beliefs.response_mean
        values[b, -1, s] = row @ expected + estate.season_offset[b, s]
        return replace(ground, values=values, precision=precision)

    monkeypatch.setattr(season, "lay_ground", with_count)
    counted = forecast(small_estate(), SEASON, draws=100, learned=estate.beliefs.learned)
    monkeypatch.undo()
    np.testing.assert_allclose(
        counted.estate.beliefs.centre, winter.estate.beliefs.centre, atol=5e-3
    )
    found = width_of(counted, joint(counted), BLOCKS)
    assert found == pytest.approx(best["range_after_t"], rel=0.01)
    assert best["range_now_t"] - found == pytest.approx(best["removed_t"], rel=0.05)


def test_the_list_is_best_first_and_pays_by_the_hour(summer):
    table = next_counts(summer).frame
    assert (table["removed_t_per_hour"].diff().dropna() <= 1e-12).all()
    assert (table["removed_t"] >= 0).all()
    np.testing.assert_allclose(table["removed_t_per_hour"], table["removed_t"] / table["hours"])
    for row in table.itertuples():
        assert row.hours == pytest.approx(row.vines * vine_minutes(row.what) / 60)
        assert 0 < row.hours <= 1


def test_a_block_that_was_counted_falls_behind():
    before = next_counts(forecast(small_estate(), SEASON, draws=100), what="clusters").frame
    first = before["block"].iloc[0]
    counted = small_estate(counts=count_rows(first, 36, 40))
    after = next_counts(forecast(counted, SEASON, draws=100), what="clusters").frame
    assert after["block"].iloc[0] != first
    assert int(after.set_index("block")["counted"][first]) == 40
    gone = before.set_index("block")["removed_t"] - after.set_index("block")["removed_t"]
    assert gone[first] == gone.max()
    assert gone[first] > 0


def test_more_hours_remove_more_but_less_by_the_hour(summer):
    one, four = (next_counts(summer, hours=h).frame.set_index(["block", "what"]) for h in (1, 4))
    both = one.index.intersection(four.index)
    assert (four.loc[both, "removed_t"] > one.loc[both, "removed_t"]).all()
    assert (four.loc[both, "removed_t_per_hour"] < one.loc[both, "removed_t_per_hour"] + 1e-9).all()


def test_a_picked_block_is_not_proposed():
    crop = {"season": SEASON, "block": "Alder", "date": f"{SEASON}-09-20", "tonnes": 4.0}
    table = next_counts(forecast(small_estate(harvest=[crop]), SEASON, draws=100)).frame
    assert "Alder" not in set(table["block"])
    assert "Birch" in set(table["block"])


def test_a_lost_block_is_not_proposed():
    hail = [row | {"clusters": 0} for row in count_rows("Alder", 30)]
    table = next_counts(forecast(small_estate(counts=hail), SEASON, draws=100)).frame
    assert "Alder" not in set(table["block"])


def test_no_more_vines_are_sent_for_than_are_left_to_count():
    blocks = [{"block": "Alder", "variety": "Riesling", "row_spacing_m": 2.5}]
    blocks[0] |= {"vine_spacing_m": 1.5, "vines": 30}
    tables = {"counts": count_rows("Alder", 30, vines=20)}
    found = forecast(make_records(blocks=blocks, **tables), SEASON, draws=100)
    table = next_counts(found, hours=8, what="clusters").frame
    assert table["vines"].tolist() == [10]


def test_the_season_decides_what_is_put_forward():
    winter = next_counts(forecast(small_estate(), SEASON, draws=100))
    assert set(winter["what"]) == {"buds", "shoots"}
    weighed = small_estate(weights=[weight_row("Alder", 60)], counts=count_rows("Alder", 33))
    late = next_counts(forecast(weighed, SEASON, draws=100)).frame
    assert {"weight_lag", "weight_veraison"} <= set(late["what"])
    assert "clusters" in set(late.loc[late["block"] == "Birch", "what"])
    assert "clusters" not in set(late.loc[late["block"] == "Alder", "what"])


def test_effort_comes_from_the_handbook():
    each = handbook.value("sampling.clusters_weighed_a_vine")
    minutes = handbook.value("sampling.minutes_weigh_vine")
    minutes += each * handbook.value("sampling.minutes_weigh_cluster")
    assert vine_minutes("weight_lag") == pytest.approx(minutes)
    assert vine_minutes("clusters") == handbook.value("sampling.minutes_clusters")
    assert vine_variance("shoots") == pytest.approx(handbook.value("sampling.cv_shoots") ** 2)
    assert all(np.isfinite([vine_minutes(s), vine_variance(s)]).all() for s in COUNTABLE)


@pytest.mark.parametrize(
    ("asked", "text"),
    [
        ({"hours": 0}, "above 0"),
        ({"hours": float("nan")}, "above 0"),
        ({"of": "Merlot"}, "no total of 'Merlot'"),
        ({"what": ["cluster"]}, "'cluster' cannot be counted.*clusters"),
    ],
)
def test_what_cannot_be_asked_gets_one_clear_message(winter, asked, text):
    with pytest.raises(CroploadError, match=text):
        next_counts(winter, **asked)
