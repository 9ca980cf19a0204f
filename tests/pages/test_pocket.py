"""The pocket page without a browser: its figures are those of the package, its words escaped."""

import base64
import hashlib
import json
import re

import numpy as np
import pytest
from babel.messages import extract, mofile, pofile
from helpers import block_row, make_records, sample_copy
from scipy import stats

from cropload import balanced_buds, compare_plans, example_records, forecast, next_counts
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.errors import CroploadError
from cropload.pages.cli import main
from cropload.pages.pocket import CARE, COLUMNS, MEASURES, READINGS, plans_around, pocket_page
from cropload.pruning import cards
from cropload.records.records import read_records
from cropload.records.tables import TABLES
from cropload.season.count_plan import sample_vines
from cropload.show.languages import FOLDER, LANGUAGES, catalogue
from cropload.units import POUND_KG, US
from cropload.vine.plan import PruningPlan

SEASON, DRAWS = 2027, 400
OTHERS = [language for language in LANGUAGES if language != "en"]
HOSTILE = ["<img src=x onerror=alert(1)>", "</script><script>alert(1)</script>", "A & B\u2028 'x'"]


@pytest.fixture(scope="module")
def page():
    return pocket_page(example_records(), SEASON, draws=DRAWS)


@pytest.fixture(scope="module")
def data(page):
    return held(page, "data")


@pytest.fixture(scope="module")
def us_data():
    return held(pocket_page(example_records(), SEASON, units=US, draws=DRAWS), "data")


def held(page, name):
    found = re.search(rf'<script type="application/json" id="{name}">(.*?)</script>', page, re.S)
    return json.loads(found[1])


def blocks_of(data):
    return {block["name"]: block for block in data["blocks"]}


def every_plan(plan, least, most):
    """Return every plan from least to most buds that differs in cane length, or in spurs."""
    if plan.canes:
        plans = [
            PruningPlan(plan.canes, n, plan.spurs, plan.buds_per_spur or 2) for n in range(4, 40)
        ]
    else:
        plans = [PruningPlan(0, 0, n, plan.buds_per_spur) for n in range(1, 320)]
    return [each for each in plans if least <= each.buds <= most]


def largest_miss(records, block, draws=DRAWS):
    """Return how far the grid, straight in the logs, is from compare_plans at most [1]."""
    buds = block["reading"]["buds"]
    plan = PruningPlan.parse(block["plan"])
    # The slider reaches from about half to twice the plan, as far as canes fit.
    assert buds[0] <= 0.75 * plan.buds
    assert buds[-1] >= 1.1 * plan.buds
    plans = every_plan(plan, buds[0], buds[-1])
    found = compare_plans(records, block["name"], plans, SEASON, draws=draws)
    at = np.log(buds)
    misses = []
    for name, (column, _) in READINGS.items():
        for values, end in zip(block["reading"][name], ("p10", "p50", "p90"), strict=True):
            read = np.exp(np.interp(np.log(found["buds_per_vine"]), at, np.log(values)))
            misses.append(np.abs(read / found[f"{column}_{end}"] - 1).max())
    return max(misses)


@pytest.mark.parametrize("name", list(example_records().blocks["block"]))
def test_the_slider_reads_what_compare_plans_says(data, name):
    assert largest_miss(example_records(), blocks_of(data)[name]) < 0.01


def test_many_spurs_are_read_between_the_plans_computed():
    records = make_records(
        blocks=[block_row("Hedge", training="minimal hedge", rows=10, region="x")],
        pruning=[{"season": 2026, "block": "Hedge", "plan": "150x2"}],
    )
    (block,) = held(pocket_page(records, SEASON), "data")["blocks"]
    assert len(block["reading"]["buds"]) < 40
    # With few draws the ends of a range step by more than a hundredth from plan to plan.
    assert largest_miss(records, block, DEFAULT_DRAWS) < 0.01


def test_the_plan_itself_is_among_those_computed():
    for text in ("3x8+3x2", "1x4", "2x30+2x2", "1x1", "150x2", "1x16"):
        plan = PruningPlan.parse(text)
        found = [each.buds for each in plans_around(plan, 1.8)]
        assert plan.buds in found
        assert found == sorted(set(found))


@pytest.mark.parametrize("hours", [1.0, 2.5])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_an_hour_of_counting_is_worth_what_next_counts_says(data, us_data, hours, units):
    records = example_records()
    made = forecast(records, SEASON, draws=DRAWS)
    wanted = next_counts(made, hours=hours, what=["buds", "shoots", "clusters"]).frame
    # A short ton is 2,000 lb.
    tons = 1.0 if units == "metric" else 1000 / (2000 * POUND_KG)
    data = data if units == "metric" else us_data
    checked = 0
    for row in wanted.to_dict("records"):
        worth = blocks_of(data)[row["block"]]["worth"].get(row["what"])
        if worth is None:
            assert row["removed_t"] < 1e-3
            continue
        a, c = worth
        left = np.sqrt(data["range"] ** 2 - 1 / (a + c / row["vines"]))
        assert data["range"] == pytest.approx(row["range_now_t"] * tons, rel=1e-6)
        assert left == pytest.approx(row["range_after_t"] * tons, rel=1e-5)
        assert data["minutes"][row["what"]] * row["vines"] == pytest.approx(60 * row["hours"])
        checked += 1
    assert checked >= 16


def test_the_walk_is_that_of_the_count_sheet(data):
    for measure in ("buds", "clusters"):
        stops = sample_vines(example_records(), "Long Acre", measure, season=SEASON).frame
        wanted = [f"{row}:{vine}" for row, vine in zip(stops["row"], stops["vine"], strict=True)]
        assert blocks_of(data)["Long Acre"]["walk"][measure].split() == wanted


def test_rule_quantiles_and_columns_are_those_of_the_package(data):
    rule = blocks_of(data)["Long Acre"]["formula"]
    assert balanced_buds(1.0, rule["first"], rule["further"], rule["unit"]) == pytest.approx(
        balanced_buds(1.0, 20, 20, POUND_KG)
    )
    at = data["t"]["at"]
    # Two-sided Student's t; the last value of each list is the normal quantile.
    assert data["t"]["often"][:-1] == pytest.approx(stats.t.ppf(0.9, at), rel=1e-6)
    assert data["t"]["sure"][:-1] == pytest.approx(stats.t.ppf(0.975, at), rel=1e-6)
    assert data["t"]["sure"][-1] == pytest.approx(1.959964, rel=1e-6)
    known = set(TABLES["counts"].names)
    assert set(COLUMNS) <= known
    assert set(MEASURES) <= set(COLUMNS)


def test_us_units_in_crop_length_and_prunings(data, us_data):
    us = us_data
    metric, other = (blocks_of(each)["Long Acre"]["reading"] for each in (data, us))
    # 1 t/ha = 0.446 short tons an acre; 1 m = 3.2808 ft.
    assert other["crop"][1][0] == pytest.approx(metric["crop"][1][0] * 0.44609, rel=1e-3)
    assert other["shoots"][1][0] == pytest.approx(metric["shoots"][1][0] / 3.28084, rel=1e-3)
    assert blocks_of(us)["Long Acre"]["formula"]["unit"] == pytest.approx(1.0)
    assert (us["unit"]["weight"], us["unit"]["length"]) == ("lb", "ft")


def test_a_block_without_plan_rows_or_age_still_has_a_page():
    records = make_records(
        blocks=[
            block_row("Bare"),
            block_row("New", year_planted=2026, rows=10),
            block_row("Old", rows=10),
        ],
        pruning=[{"season": 2027, "block": "Old", "plan": "2x8+2x2"}],
    )
    found = blocks_of(held(pocket_page(records, SEASON, draws=100), "data"))
    assert (found["Bare"]["source"], found["Bare"]["walk"]) == ("usual", {})
    assert found["New"]["reading"] is None
    assert found["New"]["walk"]
    assert (found["Old"]["source"], found["Old"]["plan"]) == ("season", "2x8+2x2")


@pytest.fixture(scope="module")
def forty():
    """Return an invented estate of forty blocks, three of them with names that are code."""
    names = HOSTILE + [f"Block {number}" for number in range(37)]
    return make_records(
        blocks=[block_row(name, vines=6000, rows=60, training="cane") for name in names],
        pruning=[{"season": 2026, "block": name, "plan": "3x8+3x2"} for name in names],
    )


def test_forty_blocks_are_small_and_names_are_no_code(forty):
    page = pocket_page(forty, SEASON, draws=100)
    assert len(page.encode("utf-8")) < 1_500_000
    assert [block["name"] for block in held(page, "data")["blocks"][:3]] == HOSTILE
    assert page.count("<script>") == 1
    assert "<img" not in page
    assert "\u2028" not in re.search(r'id="data">(.*?)</script>', page, re.S)[1]


def test_only_the_pages_own_script_and_style_may_run(page):
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page)[1].replace("&#39;", "'")
    assert policy.startswith("default-src 'none'; ")
    assert "connect-src 'none'" in policy
    assert "unsafe" not in policy
    for kind in ("script", "style"):
        text = re.search(rf"<{kind}>(.*?)</{kind}>", page, re.S)[1]
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"{kind}-src 'sha256-{digest}'" in policy
    assert " style=" not in page
    assert " onclick=" not in page
    addresses = set(re.findall(r"(?:https?:)?//[\w.]+", page)) - {"http://www.w3.org"}
    assert not {each for each in addresses if each.startswith("http")}


def test_without_script_plans_and_crops_stand_in_a_table(page):
    shown = re.search(r"<noscript>(.*?)</noscript>", page, re.S)[1]
    for block in example_records().blocks["block"]:
        assert f'<th scope="row">{block}</th>' in shown
    assert "<td>3x8+3x2</td><td>30 (27–33)</td>" in shown
    found = compare_plans(example_records(), "Long Acre", "3x8+3x2", SEASON, draws=DRAWS).frame
    crop = [found[f"t_ha_{end}"].iloc[0] for end in ("p50", "p10", "p90")]
    assert "{:.1f} ({:.1f}–{:.1f})".format(*crop) in shown


@pytest.mark.parametrize("language", OTHERS)
def test_a_catalogue_has_every_text_and_no_other(language):
    place = FOLDER / language / "LC_MESSAGES" / "pocket.po"
    template = FOLDER.parents[1] / "pages" / "pocket.html.j2"
    with template.open("rb") as file:
        options = {"extensions": "jinja2.ext.i18n"}
        texts = extract.extract("jinja2.ext:babel_extract", file, options=options)
        wanted = {text for _, text, *_ in texts}
    with place.open("rb") as file:
        found = {entry.id: entry.string for entry in pofile.read_po(file, locale=language)}
    with place.with_suffix(".mo").open("rb") as file:
        compiled = {entry.id: entry.string for entry in mofile.read_mo(file)}
    found.pop("")
    compiled.pop("")
    assert set(found) == wanted
    assert compiled == found
    assert "from memory" in place.read_text("utf-8").split("msgid")[0]
    for english, other in found.items():
        assert other
        assert sorted(re.findall(r"\{\w+\}", english)) == sorted(re.findall(r"\{\w+\}", other))
    # The cautions are those of the cards, in their words.
    assert all(catalogue(language).gettext(line) != line for line in CARE)


def test_cautions_are_those_of_the_cards(page):
    template = (FOLDER.parents[1] / "pruning/templates/crew_card.html").read_text("utf-8")
    for line in CARE:
        assert line in template
        assert line in page


def test_words_and_numbers_are_of_the_language():
    german = pocket_page(example_records(), SEASON, blocks=["Long Acre"], language="de", draws=100)
    assert '<html lang="de">' in german
    assert "Ein Rebstock, geschnitten auf 3x8+3x2: 30 Augen." in german
    assert re.search(r"<td>\d+,\d \(\d+,\d–\d+,\d\)</td>", german)
    with pytest.raises(CroploadError, match="language"):
        pocket_page(example_records(), SEASON, language="xx")
    with pytest.raises(CroploadError, match="There is no block"):
        pocket_page(example_records(), SEASON, blocks=["Nowhere"])


def test_tolerance_of_a_vine_is_that_of_the_card(data):
    for block in data["blocks"]:
        assert (block["low"], block["high"]) == cards.bud_tolerance(block["buds"])


def test_the_command_writes_one_file_and_never_over_another(tmp_path, capsys):
    folder = sample_copy(tmp_path / "records", "blocks", "pruning", "harvest")
    out = tmp_path / "pocket.html"
    asked = ["pocket", str(folder), "--block", "Long Acre", "--out", str(out), "--draws", "100"]
    assert main([*asked, "--language", "fr"]) == 0
    assert "kB for a phone" in capsys.readouterr().out
    text = out.read_text("utf-8")
    assert '<html lang="fr">' in text
    assert main(asked) != 0
    assert out.read_text("utf-8") == text
    assert held(text, "data")["estate"] == "records"
    assert read_records(folder).blocks["block"].tolist()
