"""What befell a crop: taken off once, shown by what was measured after it, learnt by no other."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from length import repeats, widened

from cropload import after_frost, example_records, forecast
from cropload.beliefs import ranges
from cropload.beliefs.events import _given_shown, happened, vines_alike
from cropload.beliefs.measured import measurements
from cropload.records.facts import block_facts

COLUMNS = ["block", "date", "kind", "share_pct", "of", "dead", "alive", "counts_that_day", "note"]


def with_events(records, *rows):
    """Return records with rows of table events: block, date, kind, share[, of, dead, alive]."""
    frame = pd.DataFrame(
        [dict(zip(COLUMNS, row, strict=False)) for row in rows], columns=COLUMNS
    ).assign(date=lambda f: pd.to_datetime(f["date"]))
    words = ["of", "counts_that_day", "note"]
    frame[words] = frame[words].astype(object).where(frame[words].notna(), "")
    frame[["share_pct", "dead", "alive"]] = frame[["share_pct", "dead", "alive"]].astype(float)
    return replace(records, events=frame)


def scaled(records, block, share, since, tables=("clusters",)):
    """Return records in which a block's clusters, weights or tonnes of a season are fewer."""
    counts, weights, harvest = (
        t.copy() for t in (records.counts, records.weights, records.harvest)
    )
    if "clusters" in tables:
        here = (counts["block"] == block) & (counts["date"] >= since) & counts["clusters"].notna()
        counts.loc[here, "clusters"] = counts.loc[here, "clusters"] * share
    here = (harvest["block"] == block) & (harvest["season"] == pd.Timestamp(since).year)
    harvest.loc[here, "tonnes"] *= share
    return replace(records, counts=counts, weights=weights, harvest=harvest)


@pytest.fixture(scope="module")
def records():
    return example_records()


def crop(found, block="Long Acre"):
    return found.frame_by().set_index("block").loc[block]


def test_hail_before_any_count_takes_its_share(records):
    plain = forecast(records, 2027)
    hit = forecast(with_events(records, ("Long Acre", "2027-06-20", "hail", 35)), 2027)
    assert crop(hit)["tonnes_p50"] == pytest.approx(0.65 * crop(plain)["tonnes_p50"], rel=0.03)
    assert crop(hit)["tonnes_p90"] / crop(hit)["tonnes_p10"] > (
        crop(plain)["tonnes_p90"] / crop(plain)["tonnes_p10"]
    )
    others = [b for b in plain.blocks if b != "Long Acre"]
    at = [plain.blocks.index(b) for b in others]
    np.testing.assert_array_equal(plain.draws[at], hit.draws[at])


def test_an_event_of_a_later_day_is_not_known(records):
    told = with_events(records, ("Long Acre", "2026-08-20", "hail", 35))
    np.testing.assert_array_equal(
        forecast(told, 2026, "2026-08-01").draws, forecast(records, 2026, "2026-08-01").draws
    )


def test_several_events_multiply(records):
    one = ("Long Acre", "2027-06-20", "hail", 20)
    two = ("Long Acre", "2027-08-20", "birds", 10)
    plain, hit = (forecast(r, 2027) for r in (records, with_events(records, one, two)))
    assert hit.centre_tonnes()[4] / plain.centre_tonnes()[4] == pytest.approx(0.72, rel=0.02)


def test_a_count_after_the_hail_holds_it_and_nothing_is_taken_off_twice(records):
    whole = forecast(records, 2026, "2026-08-01")
    fewer = scaled(records, "Long Acre", 0.65, "2026-07-01")
    told = with_events(fewer, ("Long Acre", "2026-06-20", "hail", 35))
    found = forecast(told, 2026, "2026-08-01")
    # The count says 35 % fewer, and so did the share: the crop is that of the count.
    assert crop(found)["tonnes_p50"] == pytest.approx(0.65 * crop(whole)["tonnes_p50"], rel=0.04)
    # A count tells more than a share judged by eye.
    blind = with_events(records, ("Long Acre", "2026-06-20", "hail", 35))
    blind = forecast(blind, 2026, "2026-07-01")
    width = [np.log(crop(f)["tonnes_p90"] / crop(f)["tonnes_p10"]) for f in (found, blind)]
    assert width[0] < width[1]


def test_hail_in_one_block_says_nothing_of_its_neighbours(records):
    fewer = scaled(records, "Long Acre", 0.65, "2026-07-01")
    whole, told, silent = (
        forecast(r, 2026, "2026-08-01").frame_by().set_index("block")["tonnes_p50"]
        for r in (
            records,
            with_events(fewer, ("Long Acre", "2026-06-20", "hail", 35)),
            fewer,
        )
    )
    others = [b for b in whole.index if b != "Long Acre"]
    moved = {name: np.abs(np.log(f[others] / whole[others])).max() for name, f in
             {"told": told, "silent": silent}.items()}  # fmt: skip
    assert moved["told"] < 0.01
    assert moved["told"] < moved["silent"] / 2


def test_past_seasons_are_learnt_as_if_nothing_had_happened(records):
    fewer = scaled(records, "Long Acre", 0.65, "2025-07-01", ("clusters", "tonnes"))
    told = with_events(fewer, ("Long Acre", "2025-06-20", "hail", 35))
    facts = block_facts(records)
    here = "block == 'Long Acre' and season == 2025 and stage in ('clusters', 'harvest')"
    was, now = (measurements(r, facts).query(here).set_index("stage") for r in (records, told))
    np.testing.assert_allclose(now["log_value"], was["log_value"], atol=0.02)
    assert (now["log_variance"] > was["log_variance"] + 0.005).all()


def test_a_pick_before_the_event_shows_nothing_of_it(records):
    # 2026: Long Acre was picked on two days.
    days = records.harvest.query("block == 'Long Acre' and season == 2026")["date"].sort_values()
    between = str((days.iloc[0] + pd.Timedelta(days=1)).date())
    before = str((days.iloc[0] - pd.Timedelta(days=1)).date())
    bore = []
    for day in (between, before):
        told = with_events(records, ("Long Acre", day, "hail", 50))
        whole, _ = happened(told, block_facts(told)).at_the_scale(told.harvest)
        mine = (told.harvest["block"] == "Long Acre") & (told.harvest["season"] == 2026)
        bore.append(whole[mine.to_numpy()] / told.harvest["tonnes"][mine].to_numpy())
    np.testing.assert_allclose(bore[0], [1, 2])
    np.testing.assert_allclose(bore[1], [2, 2])


def test_dead_shoots_saved_as_an_event_are_the_forecast_after_the_frost(records):
    early = forecast(records, 2027)
    at = early.blocks.index("Mill Meadow")
    asked = after_frost(early, "Mill Meadow", 90, 180, frost_date="2027-05-09")
    row = ("Mill Meadow", "2027-05-09", "frost", None, "", 90, 90)
    saved = forecast(with_events(records, row), 2027)
    np.testing.assert_allclose(saved.draws[at], asked.forecast.draws[at])
    change = saved.explain(early).frame_by("component").set_index("component")["change_t"]
    assert change["events"] == pytest.approx(saved.middle_t() - early.middle_t(), abs=0.2)
    assert change.drop("events").abs().max() < 1e-9


def test_dead_shoots_a_vine_tell_how_alike_the_vines_are():
    assert vines_alike((3, 5, 0), (14, 12, 13)) > 1
    # Every vine alike: no wider than shoot by shoot.
    assert vines_alike((5, 5, 5), (10, 10, 10)) == 1.0


def test_shoots_thinned_by_hand_are_not_made_up_for(records):
    plain = forecast(records, 2027)
    row = ("Long Acre", "2027-05-25", "shoot thinning", None, "", 300, 700)
    hit = forecast(with_events(records, row), 2027)
    assert crop(hit)["tonnes_p50"] == pytest.approx(0.7 * crop(plain)["tonnes_p50"], rel=0.03)
    frost = (*row[:2], "frost", *row[3:])
    frosted = forecast(with_events(records, frost), 2027)
    assert crop(frosted)["tonnes_p50"] > 1.05 * crop(hit)["tonnes_p50"]


def test_two_hails_of_a_block_err_apart(records):
    days = ("2027-06-20", "2027-07-20")
    told = with_events(records, *(("Long Acre", day, "hail", 30) for day in days))
    one, two = (e.left(1000, 0) for e in happened(told, block_facts(told)).taken)
    assert abs(np.corrcoef(one, two)[0, 1]) < 0.1


def test_an_event_without_a_share_is_told_and_takes_nothing(records):
    told = forecast(with_events(records, ("Long Acre", "2027-05-09", "frost", None)), 2027)
    np.testing.assert_array_equal(told.draws, forecast(records, 2027).draws)
    assert any("not told" in note for note in told.notes)


def test_all_lost_is_nothing_and_what_still_hangs_after_a_pick_is_less(records):
    gone = forecast(with_events(records, ("Long Acre", "2027-06-20", "hail", 100)), 2027)
    assert crop(gone)["tonnes_p90"] == pytest.approx(0.0, abs=1e-6)


def test_shares_given_a_measurement_are_the_exact_posterior():
    """Against the dense Gaussian of numpy: one event, a crop believed, a count that shows both."""
    rng = np.random.default_rng(3)
    draws, prior, noise, sd, middle = 200_000, 0.25, 0.1, 0.2, -0.4

    class Told:
        log_left, log_sd = middle, sd

    measured = 0.15  # as if nothing had happened, by the middle of the event
    whole = noise**2 + sd**2
    gain = prior**2 / (prior**2 + whole)
    seen = gain * measured + np.sqrt(prior**2 * (1 - gain)) * rng.standard_normal(draws)
    logs = middle + sd * rng.standard_normal((1, draws))
    found = _given_shown(
        [Told], np.ones((1, 1)), seen[None], np.array([measured]), np.array([whole]), logs, rng
    )[0]
    # x and the event's deviation, joint, given x + deviation + error = measured.
    cov = np.diag([prior**2, sd**2])
    line = np.ones(2)
    k = cov @ line / (line @ cov @ line + noise**2)
    mean, cov = k * measured, cov - np.outer(k, line @ cov)
    both = np.stack([seen, found - middle])
    np.testing.assert_allclose(both.mean(1), mean, atol=3e-3)
    np.testing.assert_allclose(np.cov(both), cov, atol=5e-4)


@pytest.mark.simulation
@pytest.mark.long
def test_ranges_hold_the_crop_after_hail_before_and_after_a_count(records):
    """Crops drawn from the model with hail of a share judged by eye, counted after it."""
    base = forecast(records, 2026, "2026-06-25", draws=4000)
    at = base.blocks.index("Long Acre")
    rng = np.random.default_rng(11)
    inside = {"judged": 0, "counted": 0}
    lots = records.counts.query("block == 'Long Acre' and season == 2026 and clusters == clusters")
    share, tries = 0.35, repeats(60, 2)
    hail = "Long Acre", "2026-06-20", "hail", 100 * share

    def ends(counts, day):
        told = with_events(replace(records, counts=counts), hail)
        return ranges.quantiles(forecast(told, 2026, day, draws=1000).draws[at])

    # Before the count every season is told the same.
    assert lots["date"].min() > pd.Timestamp("2026-06-25")
    judged = ends(records.counts, "2026-06-25")
    for draw in rng.integers(0, 4000, 60)[:tries]:
        sd = 0.32 * share / np.sqrt(1 - share)
        left = np.log(1 - share) + sd * rng.standard_normal()
        truth = base.draws[at, draw] * np.exp(left)
        clusters = np.exp(base.growth.log_clusters[at, draw] + left)
        seen = clusters * np.exp(base.log_components[7, at, draw])
        vines = np.maximum(rng.normal(seen, 0.4 * seen, len(lots)), 0).round()
        counts = records.counts.copy()
        counts.loc[lots.index, "clusters"] = vines
        for name, (low, _, high) in (("judged", judged), ("counted", ends(counts, "2026-07-20"))):
            inside[name] += low <= truth <= high
    for name, held in inside.items():
        assert abs(held / tries - 0.795) <= widened(0.135, 2), (name, held / tries)
