"""The invented estate Quillfoot: repeatable, readable, and true to its own stated truth."""

import csv
import filecmp
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from cropload.records.tables import TABLES

FOLDER = Path(__file__).parents[1] / "sample_data"
RECORDS = FOLDER / "quillfoot"
SEASONS = list(range(2020, 2027))
NAMES = ("blocks", "pruning", "counts", "fertility", "weights", "harvest", "dates", "weather",
         "contracts", "capacity", "estimates", "strips")  # fmt: skip


@pytest.fixture(scope="module")
def truth():
    return tomllib.loads((FOLDER / "truth.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def tables():
    dates = {
        "pruning": ["date"], "counts": ["date"], "weights": ["date"], "harvest": ["date"],
        "dates": ["date"], "weather": ["date"], "capacity": ["period_start", "period_end"],
    }  # fmt: skip
    return {
        name: pd.read_csv(RECORDS / f"{name}.csv", parse_dates=dates.get(name, []))
        for name in NAMES
    }


@pytest.fixture(scope="module")
def true(truth):
    """One row a block and season with the true means."""
    rows = []
    for name, block in truth["block"].items():
        values = {key: value for key, value in block["true"].items() if isinstance(value, list)}
        frame = pd.DataFrame(values)
        frame.insert(0, "block", name)
        frame.insert(1, "season", block["season"])
        rows.append(frame)
    return pd.concat(rows).set_index(["block", "season"])


@pytest.fixture(scope="module")
def written_again(tmp_path_factory):
    folder = tmp_path_factory.mktemp("again")
    subprocess.run([sys.executable, str(FOLDER / "make_quillfoot.py"), str(folder)], check=True)
    return folder


# The files


def test_generator_writes_the_shipped_bytes_again(written_again):
    made = {path.relative_to(written_again) for path in written_again.rglob("*.*")}
    shipped = {path.relative_to(FOLDER) for path in RECORDS.iterdir()} | {Path("truth.toml")}
    assert made == shipped
    for path in made:
        assert filecmp.cmp(written_again / path, FOLDER / path, shallow=False), path


def test_folder_is_small():
    size = sum(path.stat().st_size for path in FOLDER.rglob("*") if path.is_file())
    assert size < 1.5e6


def test_generator_imports_nothing_of_the_package():
    for path in FOLDER.glob("*.py"):
        imported = re.findall(r"^\s*(?:from|import) (\w+)", path.read_text("utf-8"), re.MULTILINE)
        assert "cropload" not in imported, path.name


@pytest.mark.parametrize("name", NAMES)
def test_headers_are_columns_the_reader_knows(name):
    with (RECORDS / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        header = next(csv.reader(file))
    assert set(header) <= set(TABLES[name].names)


def test_reader_finds_neither_faults_nor_warnings(tables):
    read_records = pytest.importorskip("cropload.records.records").read_records
    records = read_records(RECORDS)
    assert records.warnings == ()
    assert records.given == frozenset(NAMES)
    for name, frame in tables.items():
        assert len(getattr(records, name)) == len(frame)


@pytest.mark.parametrize("name", NAMES)
def test_readme_explains_every_column_and_no_other(name):
    text = (FOLDER / "README.md").read_text(encoding="utf-8")
    section = re.search(rf"^### {name}\.csv\n(.*?)(?=^##|\Z)", text, re.MULTILINE | re.DOTALL)
    explained = re.findall(r"^\| `(\w+)` \| .{4,} \|$", section[1], re.MULTILINE)
    with (RECORDS / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        assert explained == next(csv.reader(file))


def test_readme_and_truth_say_invented(truth):
    readme = (FOLDER / "README.md").read_text(encoding="utf-8")
    assert "invented" in readme.splitlines()[0]
    assert "does not exist" in readme
    assert truth["estate"]["invented"] is True


# The estate


def test_what_the_estate_must_hold(tables):
    blocks, pruning, counts = tables["blocks"], tables["pruning"], tables["counts"]
    assert len(blocks) == 8
    assert blocks["variety"].nunique() == 4
    assert (blocks["canopies"] == 2).sum() == 1
    assert blocks.set_index("block")["frost_offset_c"].idxmin() == "Mill Meadow"
    assert blocks["vines"].between(600, 6000).all()
    assert blocks["missing_pct"].between(0, 9).all()
    assert pruning["plan"].str.startswith("0x0").any()
    assert pruning.loc[pruning["season"] == 2027, "plan"].isna().all()
    assert pruning.loc[pruning["season"] == 2027, "pruning_weight_kg"].notna().all()
    changes = pruning.dropna(subset="plan").groupby("block")["plan"].nunique()
    assert changes["Home Terrace"] == 1
    assert (changes > 1).sum() >= 4
    counted = {"Fox Hollow", "Upper Knoll"}.isdisjoint(counts["block"])
    assert counted
    assert set(tables["harvest"]["season"]) == set(SEASONS)
    assert "Fox Hollow" not in set(tables["harvest"]["block"])
    for name in ("counts", "weights", "harvest", "dates"):
        frame = tables[name]
        assert frame[(frame["block"] == "Chapel Slope") & (frame["season"] == 2022)].empty


def test_visited_vines_stand_in_the_block_and_off_the_headlands(tables):
    visits = tables["counts"].merge(tables["blocks"], on="block")
    length = visits["vines"] / visits["rows"]
    assert visits["row"].between(1, visits["rows"]).all()
    assert (visits["vine"] > visits["headlands"]).all()
    assert (visits["vine"] <= length - visits["headlands"]).all()
    assert not tables["counts"].duplicated(["season", "date", "block", "row", "vine"]).any()


def test_dates_of_a_season_follow_each_other(tables):
    stages = tables["dates"].pivot_table(
        index=["block", "season"], columns="stage", values="date", aggfunc="first"
    )
    in_order = stages[["budburst", "flowering", "veraison", "harvest"]]
    assert (in_order.diff(axis=1).iloc[:, 1:] > pd.Timedelta(days=30)).all().all()
    picked = tables["harvest"].groupby(["block", "season"])["date"].agg(["min", "max"])
    assert (picked["min"] == stages["harvest"]).all()
    for name in ("counts", "weights"):
        seen = tables[name].merge(
            picked["min"].rename("picked"), left_on=["block", "season"], right_index=True
        )
        assert (seen["date"] < seen["picked"]).all()
        assert (seen["date"].dt.year == seen["season"]).all()


def test_weather_has_every_day_once_and_no_minimum_above_its_maximum(tables):
    weather = tables["weather"]
    assert (weather["tmin_c"] < weather["tmax_c"]).all()
    for _, days in weather.groupby("station")["date"]:
        assert (days.diff().dropna() == pd.Timedelta(days=1)).all()
    assert weather["date"].max() == pd.Timestamp("2026-11-20")


def test_only_the_frost_of_2021_reaches_the_lethal_temperature_of_two_leaves(tables, truth):
    """Half of Pinot noir shoots with two leaves are killed at -1.7 C (Hellman 2018)."""
    lethal = -1.7
    weather, dates = tables["weather"], tables["dates"]
    station = weather[weather["station"] == "Quillfoot station"].set_index("date")["tmin_c"]
    offset = tables["blocks"].set_index("block")["frost_offset_c"]["Mill Meadow"]
    burst = dates[(dates["block"] == "Mill Meadow") & (dates["stage"] == "budburst")]
    killing = []
    for day in burst["date"]:
        nights = station[day : day + pd.Timedelta(days=50)] + offset
        killing += list(nights.index[nights <= lethal])
    assert killing == [pd.Timestamp(truth["weather"]["frost_night"])]


# The truth


def test_true_means_follow_from_the_stated_parameters(truth, true):
    """The README's formulas, worked again here from the parameters alone."""
    exponent, effect = truth["exponent"], truth["effect"]
    share = truth["estate"]["noncount_fertility"]
    for name, block in truth["block"].items():
        buds = [true.loc[(name, season), "plan_buds"] for season in SEASONS]
        before = [buds[0], buds[0], *buds]
        reference = np.mean(np.log(buds))
        for i, season in enumerate(SEASONS):
            planned, carried = np.log(buds[i]), np.mean(np.log(before[i : i + 2]))

            def moved(component, name=name, block=block, season=season):
                part = effect[component]
                events = sum(
                    event.get(component, 0.0)
                    for event in truth["event"]
                    if event["season"] == season and name in event["blocks"]
                )
                return (
                    block["log_centre"][component]
                    + part["season"][str(season)]
                    + part["variety_season"][block["variety"]][str(season)]
                    + part["residual"][name][str(season)]
                    + events
                )

            def load(kind, settled=carried - reference, first=planned - carried):
                return exponent[kind]["settled"] * settled + exponent[kind]["first"] * first

            def at(log_buds, block=block, reference=reference):
                centre, settled = block["log_centre"], log_buds - reference
                shoots = np.exp(
                    log_buds + centre["shoots_per_bud"] + exponent["burst"]["settled"] * settled
                )
                fertility = np.exp(
                    centre["clusters_per_shoot"] + exponent["fertility"]["settled"] * settled
                )
                noncount = np.exp(centre["noncount_shoots"])
                return fertility * (block["bud_bias"] * shoots + share * noncount)

            shoots = np.exp(planned + moved("shoots_per_bud") + load("burst")) * block["bud_bias"]
            fertility = np.exp(moved("clusters_per_shoot") + load("fertility"))
            clusters = fertility * (shoots + share * np.exp(moved("noncount_shoots")))
            weight = np.exp(
                moved("cluster_weight_g")
                + exponent["weight"]["settled"] * np.log(at(carried) / at(reference))
                + exponent["weight"]["first"] * np.log(clusters / at(carried))
            )
            wood = np.exp(moved("pruning_weight_kg_per_m") + load("pruning"))
            stated = true.loc[(name, season)]
            assert shoots == pytest.approx(stated["shoots_per_vine"], rel=1e-6)
            assert clusters == pytest.approx(stated["clusters_per_vine"], rel=1e-6)
            assert weight == pytest.approx(stated["cluster_weight_g"], rel=1e-6)
            assert wood == pytest.approx(stated["pruning_weight_kg_per_m"], rel=1e-6)


def test_tonnes_are_bearing_vines_by_crop_by_recovery(tables, truth, true):
    blocks = tables["blocks"].set_index("block")
    bearing = blocks["vines"] * (1 - blocks["missing_pct"] / 100)
    picked = tables["harvest"].groupby(["block", "season"])["tonnes"].sum()
    for (name, season), tonnes in picked.items():
        stated = true.loc[(name, season)]
        kg = stated["clusters_per_vine"] * stated["cluster_weight_g"] / 1000
        assert tonnes == pytest.approx(bearing[name] * kg * stated["recovery"] / 1000, abs=0.011)
        assert bearing[name] == pytest.approx(truth["block"][name]["bearing_vines"])


def standard_scores(sample, stated):
    """Return (sample mean - truth) / standard error for each block and season."""
    summary = sample.groupby(level=["block", "season"]).agg(["mean", "std", "count"])
    summary = summary.join(stated.rename("stated"), how="inner")
    error = summary["std"] / np.sqrt(summary["count"])
    return (summary["mean"] - summary["stated"]) / error


@pytest.mark.parametrize(
    ("column", "stated"),
    [
        ("buds", "buds_per_vine"),
        ("shoots", "shoots_per_vine"),
        ("noncount_shoots", "noncount_shoots"),
    ],
)
def test_counted_means_scatter_about_the_truth_as_samples_should(tables, true, column, stated):
    sample = tables["counts"].set_index(["block", "season"])[column].dropna()
    scores = standard_scores(sample, true[stated])
    assert len(scores) == 6 * 7 - 1
    # Means of 30-40 vines: t-like scores.  With 41 of them the mean square is 1 +- 0.22 (1 sd).
    assert 0.4 < np.mean(scores**2) < 1.9
    assert abs(np.mean(scores)) < 0.5
    assert np.abs(scores).max() < 4.5


def test_counted_clusters_miss_the_stated_share(tables, true):
    clusters = tables["counts"].dropna(subset="clusters")
    expected = [
        true.loc[(row.block, row.season), "clusters_per_vine"]
        * true.loc[(row.block, row.season), "counting_bias_" + row.counter.replace(" ", "_")]
        for row in clusters.itertuples()
    ]
    ratio = (clusters["clusters"] / expected).set_axis(
        pd.MultiIndex.from_frame(clusters[["block", "season"]])
    )
    scores = standard_scores(ratio, pd.Series(1.0, index=true.index))
    assert 0.4 < np.mean(scores**2) < 1.9
    assert ratio.mean() == pytest.approx(1.0, abs=0.04)


@pytest.mark.parametrize(
    ("stage", "stated"),
    [
        ("lag", "lag_weight_g"),
        ("veraison", "veraison_weight_g"),
        ("harvest", "cluster_weight_g"),
    ],
)
def test_weighed_lots_scatter_about_the_truth(tables, truth, true, stage, stated):
    lots = tables["weights"].query("stage == @stage")
    assert lots["clusters"].between(30, 50).all()
    expected = np.array(
        [true.loc[pair, stated] for pair in zip(lots.block, lots.season, strict=True)]
    )
    vines = truth["vines"]
    spread = np.sqrt(vines["cluster_weight_cv"] ** 2 / lots["clusters"] + vines["lot_sd"] ** 2)
    scores = np.log(lots["weight_g"] / lots["clusters"] / expected) / spread + spread / 2
    assert 0.7 < np.mean(scores**2) < 1.35
    assert abs(np.mean(scores)) < 3.5 / np.sqrt(len(scores))


def test_mean_prunings_are_the_wood_of_the_season_before(tables, truth, true):
    pruning = tables["pruning"].dropna(subset="pruning_weight_kg")
    scores = []
    for row in pruning.itertuples():
        if row.block not in truth["block"] or row.season == 2020:
            continue
        block = truth["block"][row.block]
        grown = true.loc[(row.block, row.season - 1), "pruning_weight_kg_per_m"]
        error = truth["vines"]["pruning_cv"] / np.sqrt(row.vines_weighed)
        scores.append((row.pruning_weight_kg / (grown * block["canopy_length_m"]) - 1) / error)
    assert len(scores) > 35
    assert 0.4 < np.mean(np.square(scores)) < 1.9
    vines = tables["counts"].query("season >= 2025").groupby(["block", "season"])
    means = vines["pruning_weight_kg"].mean()
    for (name, season), mean in means.items():
        row = pruning[(pruning["block"] == name) & (pruning["season"] == season)]
        assert row["pruning_weight_kg"].item() == pytest.approx(mean, abs=0.00051)


def test_vines_differ_about_as_much_as_a_published_trial(tables):
    """125 bearing vines at Rutherglen, 1930: CV of yield 43.5 % (Strickland et al. 1932)."""
    groups = tables["counts"].dropna(subset="clusters").groupby(["block", "season"])["clusters"]
    pooled = np.sqrt(((groups.std() / groups.mean()) ** 2).mean())
    assert pooled == pytest.approx(0.435, abs=0.09)


def test_increase_factors_centre_on_published_ones(truth):
    """Pinot noir 1.5-1.7, Sauvignon blanc and Chardonnay 2.0 (Cohen 2013), 2.0 in general."""
    published = {"Pinot noir": 1.6, "Chardonnay": 2.0, "Sauvignon blanc": 2.0, "Riesling": 2.0}
    for name, block in truth["block"].items():
        factor = np.exp(block["log_centre"]["increase_factor"])
        assert factor == pytest.approx(published[block["variety"]], rel=0.15), name


def test_nodes_examined_show_a_low_base_and_a_fall_past_eleven(tables, truth):
    """Fertility rises from the base, is level at nodes 4-10, falls past 11 (INRA Colmar)."""
    canes = tables["fertility"].query("wood == 'cane'").groupby("node")[["shoots", "clusters"]]
    fertility = canes.sum().eval("clusters / shoots")
    level = fertility.loc[4:10].mean()
    assert fertility[1] < 0.8 * level
    assert fertility[12] < 0.97 * level
    for name, wood in truth["profile"].items():
        plan = truth["block"][name]["plan"][-1]
        canes_left, per_cane, spurs, per_spur = map(int, re.findall(r"\d+", plan))
        burst = np.r_[
            np.tile(wood["cane"]["burst"], canes_left), np.tile(wood["spur"]["burst"], spurs)
        ]
        assert len(burst) == canes_left * per_cane + spurs * per_spur
        assert burst.mean() == pytest.approx(1.0)
