"""The review page, worked as a user works it but without a browser."""

import inspect
import io
import re
from argparse import ArgumentParser
from html import unescape

import numpy as np
import pandas as pd
import pytest
from helpers import LEARNT_FROM, block_row, make_records, once, sample_copy

import cropload
from cropload import accept, example_records, forecast, read_records, strip_trial
from cropload.beliefs.learned import read_learned
from cropload.records.example import shipped
from cropload.review.accepting import lesson_effect
from cropload.review.bud_fertility import bud_fertility
from cropload.review.causes import find_causes
from cropload.review.panels import season_review
from cropload.review.panels.season_review import SeasonReview
from cropload.review.split_miss import split_miss as split
from cropload.review.vine_trend import vine_trend
from cropload.season.forecast_log import log_forecast
from cropload.show import options
from cropload.show.wording import chance
from cropload.units import US

FOLDS = (
    "scores by stage",
    "what missed by block",
    "lessons to accept",
    "did this pruning pay",
    "are the vines getting weaker",
    "bud fertility",
)
DRAWS = 300
review_season, learn, split_miss = map(once, (cropload.review_season, cropload.learn, split))


@pytest.fixture(autouse=True, scope="module")
def asked_once():
    """All pages of the sample are opened with the same answers, each worked out once."""
    with pytest.MonkeyPatch.context() as patch:
        for asked in (review_season, learn, split_miss, once(lesson_effect), once(find_causes)):
            patch.setattr(season_review, asked.__name__, asked)
        yield


@pytest.fixture(scope="module")
def records():
    return example_records()


@pytest.fixture
def page(records):
    return SeasonReview(records, draws=DRAWS)


@pytest.fixture(scope="module")
def opened(records):
    """One page for all tests that leave it as they found it."""
    return SeasonReview(records, draws=DRAWS)


@pytest.fixture
def waiting(monkeypatch):
    """Pages as they are before the parts that are worked out last have come."""
    for part in (season_review.Why, season_review.Worth):
        monkeypatch.setattr(part, "follow", lambda _: None)


def fold(page, words):
    """Return what lies in a fold of a page, opened."""
    (found,) = (each for each in page.children[-1].children if each.words == words)
    if not found.is_open:
        found.turn()
    return found.inside.children[0]


@pytest.fixture
def folder(tmp_path):
    return sample_copy(tmp_path / "mine", *LEARNT_FROM)


def said(widget):
    """Return everything a panel says, as text."""
    if hasattr(widget, "children"):
        if widget.layout.display == "none":
            return ""
        return " ".join(said(child) for child in widget.children)
    value = getattr(widget, "value", "")
    text = re.sub(r"<style>.*?</style>", "", value if isinstance(value, str) else "", flags=re.S)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", text)).split())


def rows(html, caption):
    """Return the cells of the table with a caption, as lists of text."""
    found = re.search(rf"<caption>[^<]*{re.escape(caption)}.*?</table>", html, re.S)
    assert found, caption
    return [
        [
            unescape(cell).replace("\u00a0", " ")
            for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", r)
        ]
        for r in re.findall(r"<tr>.*?</tr>", found[0])
    ]


def test_the_page_opens_at_its_answer_and_every_fold_opens(records, opened):
    review = review_season(records, 2026, moments=["clusters"], draws=DRAWS)
    row = review.frame_by("estate").iloc[0]
    answer = said(opened.answer)
    assert answer.strip().startswith(f"{row['tonnes_p50']:.1f} t forecast")
    assert f"{row['picked_t']:.1f} t came over the scale" in answer
    assert f"{100 * abs(row['error_share']):.0f} % too high" in answer
    assert f"{int(review.frame['inside'].iloc[0])} of {len(review.blocks)} crops" in answer
    assert "alt=" in opened.against.picture.value
    for statistics in ("equal tails", "draws", "prior."):
        assert statistics not in said(opened)
    assert len(said(opened).split()) < 300
    for words in FOLDS:
        made = fold(opened, words)
        assert made.message.value == ""
        assert "alt=" in "".join(
            child.value for child in made.body.children
            if isinstance(getattr(child, "value", None), str)
        )  # fmt: skip


def test_causes_add_up_to_the_miss_of_the_estate(records, page):
    for moment in ("picking", "clusters"):
        page.against.moment.value = moment
        review = review_season(records, 2026, moments=[moment], draws=DRAWS)
        moves = [float(m) for m in re.findall(r"([+-]?[0-9.]+) t\b", said(page.causes))]
        miss = review.frame_by("estate")["error_t"].iloc[0]
        assert sum(moves) == pytest.approx(miss, abs=0.01 * len(moves))
    split = split_miss(records, 2026, review.forecasts["clusters"])
    weight = split.frame.query("component == 'cluster_weight_g'")["miss_t"].sum()
    told = re.search(r"the clusters were \d+ % lighter ([+-][0-9.]+) t", said(page.causes))
    assert float(told[1]) == pytest.approx(weight, abs=0.006)


def test_scores_are_those_of_the_review(records, opened):
    panel = fold(opened, "scores by stage")
    direct = review_season(records, 2026, draws=DRAWS)
    table = rows(panel.scores.value, "Scores by moment")
    assert len(table) == 1 + len(direct.frame)
    for cells, row in zip(table[1:], direct.frame.to_dict("records"), strict=True):
        assert cells[:2] == [row["words"], f"{row['day']:%Y-%m-%d}"]
        assert cells[3] == f"{100 * row['weighted_miss']:.0f} %"
        assert cells[4].startswith(f"{row['inside']} of {row['seen']} (")
        assert cells[6] == f"{row['crps_t']:.2f}"
    picked = records.harvest.query("season == 2026").groupby("block")["tonnes"].sum()
    crops = rows(panel.answer.value, "The same in numbers")
    assert {cells[0]: cells[2] for cells in crops[1:]} == {
        block: f"{tonnes:.1f}" for block, tonnes in picked.items()
    }


def test_moment_level_and_units_answer(page):
    panel = fold(page, "scores by stage")
    before = panel.answer.value
    page.against.moment.value = "picking"
    assert panel.answer.value != before
    assert "before picking" in said(panel.answer)
    panel.level.value = "estate"
    crops = rows(panel.answer.value, "The same in numbers")
    assert [cells[0] for cells in crops[1:]] == ["estate"]
    page.desk.units = US
    us = rows(panel.answer.value, "The same in numbers")
    assert float(us[1][2]) == pytest.approx(US.convert("tonnes", float(crops[1][2])), abs=0.1)
    assert "short ton" in us[0][2]


def test_ranges_are_held_against_every_scored_season_a_dot_a_crop(opened, monkeypatch):
    monkeypatch.setattr(SeasonReview, "picked", [2026, 2025])
    panel = fold(opened, "were the ranges right")
    reviews = [opened.season_review(season) for season in (2025, 2026)]
    table = rows(panel.answer.value, "Crops inside their range")
    for cells, review in zip(table[1:], reviews, strict=True):
        assert cells[0] == str(review.season)
        for cell, row in zip(cells[1:], review.frame.to_dict("records"), strict=True):
            inside, missed = cell.count("●"), cell.count("○")
            assert (inside, inside + missed) == (row["inside"], row["seen"])
            assert cell.startswith(f"{inside} of {inside + missed}")
    sums = sum(review.frame["inside"].sum() for review in reviews)
    seen = sum(review.frame["seen"].sum() for review in reviews)
    assert f"Of {seen} crops said with a range for 8 in 10, {sums} came inside" in said(panel)
    assert "the range that was said to hold 8 in 10" in panel.answer.value


def test_no_line_of_another_season_stands_beside_the_new_ones_figures(page):
    page.why.follow()
    page.why.lines.value = "No cause stands out in 2026"
    page.why.grey()
    assert page.why.lines.value == ""
    page.against.season.value = 2024
    assert "2026" not in said(page.why)


def test_strips_of_the_block_chosen_are_compared(opened):
    panel = fold(opened, "did this pruning pay")
    panel.hour.value = 22.0
    trial = strip_trial(opened.records, "Long Acre", hour_price=22.0)
    assert trial.heading() in said(panel)
    assert "alt=" in panel.answer.value
    assert len(rows(panel.answer.value, "Strip by strip")) == 11
    none = make_records(blocks=[block_row()], harvest=[
        {"season": 2026, "block": "North", "date": "2026-09-25", "tonnes": 3.0}
    ])  # fmt: skip
    assert "fill table strips" in said(fold(SeasonReview(none, draws=DRAWS), FOLDS[3]))


def test_several_seasons_are_scored_together_and_one_by_one(page):
    panel = fold(page, "scores by stage")
    panel.together.value = 3
    each = rows(panel.scores.value, "Season by season")
    assert [cells[0] for cells in each[1:]] == ["2024", "2025", "2026"]
    inside = [int(cells[3].split()[0]) for cells in each[1:]]
    together = rows(panel.scores.value, "Scores by moment, seasons 2024 to 2026")
    clusters = next(cells for cells in together if cells[0] == "after clusters")
    assert clusters[3].startswith(f"{sum(inside)} of 21")


@pytest.mark.usefixtures("waiting")
def test_the_first_season_on_record_is_scored_without_guesses(page):
    page.against.season.value = 2020
    assert "no earlier season to guess from" in said(page.answer)
    panel = fold(page, "scores by stage")
    assert "no earlier season to guess from" in said(panel)
    assert {cell for row in rows(panel.scores.value, "own guesses")[1:] for cell in row[1:]} == {
        "-"
    }
    before = panel.scores.value
    panel.together.value = 10_000
    assert panel.scores.value == before


def test_parts_of_a_miss_add_up_to_it(page):
    panel = fold(page, "what missed by block")
    for moment in ("clusters", "picking"):
        page.against.moment.value = moment
        table = rows(panel.answer.value, "they add up")
        assert table[0][-1] == "all together [%]"
        for cells in table[1:]:
            parts = np.array([float(cell) for cell in cells[1:]])
            assert parts[:-1].sum() == pytest.approx(parts[-1], abs=0.05 * len(parts))
    assert "Upper Knoll: tonnes only" in said(panel)
    assert "the clusters were" in said(panel)


def test_of_many_crops_the_largest_are_drawn_and_all_stand_in_the_table(records, monkeypatch):
    monkeypatch.setattr("cropload.review.panels.season_review.MOST_CROPS", 2)
    page = SeasonReview(records, draws=DRAWS)
    missed = fold(page, "what missed by block").answer.value
    for html in (page.against.picture.value, missed):
        assert "The 2 largest of 7 crops are drawn" in html
        drawn = re.search(r'alt="([^"]*)"', html)[1]
        assert "Long Acre: " in drawn
        assert "Upper Knoll: " not in drawn
    assert len(rows(missed, "they add up")) == 8


@pytest.mark.usefixtures("waiting")
def test_a_season_with_too_few_clusters_counted_says_so():
    rows_of = {"season": 2024, "block": "North"}
    counts = [
        {"season": season, "date": f"{season}-07-01", "block": "North", "row": "1",
         "vine": str(vine), "shoots": 16, "clusters": 20 if season == 2024 else 30}
        for season in (2021, 2022, 2023, 2024) for vine in range(80)
    ]  # fmt: skip
    weights = [
        {"season": season, "date": f"{season}-09-20", "block": "North", "stage": "harvest",
         "clusters": 200, "weight_g": 200 * 100.0}
        for season in (2021, 2022, 2023, 2024)
    ]  # fmt: skip
    # 1,000 vines x 30 clusters / 0.95 x 100 g x 0.95 = 3 t in every season; in the last one a
    # third of them was not counted.
    harvest = [
        rows_of | {"season": season, "date": f"{season}-09-25", "tonnes": 3.0}
        for season in (2021, 2022, 2023, 2024)
    ]
    records = make_records(
        blocks=[block_row()], counts=counts, weights=weights, harvest=harvest,
        pruning=[{"season": s, "block": "North", "plan": "2x8"} for s in (2021, 2022, 2023, 2024)],
    )  # fmt: skip
    page = SeasonReview(records, draws=DRAWS)
    text = said(fold(page, "what missed by block"))
    low = int(re.search(r"North: the forecast was (\d+) % too low", text)[1])
    assert low > 10
    counted = int(re.search(r"(\d+) % too few clusters were counted", text)[1])
    assert counted > 3


@pytest.mark.usefixtures("waiting")
def test_forecasts_kept_in_the_log_are_scored_as_kept(folder):
    records = read_records(folder)
    log_forecast(forecast(records, 2026, "2026-07-15", draws=DRAWS), folder)
    panel = fold(SeasonReview(folder, draws=DRAWS), "scores by stage")
    kept = rows(panel.scores.value, "kept in the log")
    assert kept[1][1] == "2026-07-15"
    assert kept[1][0].endswith(" *")
    assert "* kept after the first load" in said(panel)


def test_review_is_handed_out_as_a_table(opened):
    made = fold(opened, "scores by stage")
    name, data = made.files[0].press()
    assert name == "review_2026.csv"
    table = pd.read_csv(io.BytesIO(data))
    direct = review_season(opened.records, 2026, draws=DRAWS).blocks
    np.testing.assert_allclose(table["picked"], direct["picked_t"], rtol=1e-6)
    assert set(table["unit"]) == {"t"}


def test_lessons_stand_before_and_after_with_their_seasons(records, opened):
    panel = fold(opened, "lessons to accept")
    direct = learn(records)
    assert set(panel.ticks) == set(direct.entries)
    kinds = direct.frame["key"].str.split(":").str[0]
    for kind, count in kinds.value_counts().items():
        assert len(rows(panel.table.value, f"{kind}: " if f"<caption>{kind}: " in panel.table.value
                        else f"{kind} (")) == count + 1  # fmt: skip
    row = direct.frame.set_index("key").loc["increase_factor:Riesling"]
    table = rows(panel.table.value, "increase_factor (growth from lag phase)")
    cells = next(each for each in table if each[0] == "Riesling")
    assert cells[1] == str(row["seasons"])
    assert cells[2] == f"{row['before']:.2f} ({row['before_low']:.2f}-{row['before_high']:.2f})"
    for _, kind in panel.kind.options:
        panel.kind.value = kind
        assert "before" in panel.figure.value


def test_through_an_earlier_season_fewer_seasons_speak(page):
    panel = fold(page, "lessons to accept")
    panel.through.value = 2023
    assert panel.lessons.through == 2023
    assert {row["seasons"] for row in panel.lessons.frame.to_dict("records")} <= {1, 2, 3, 4}


def test_sample_says_that_it_needs_a_folder_of_ones_own(opened):
    panel = fold(opened, "lessons to accept")
    panel.accept_button.click()
    assert "make a folder of your own first" in said(panel.kept)
    assert not (shipped("sample_data") / "quillfoot" / "learned.toml").exists()


@pytest.mark.usefixtures("waiting")
def test_ticked_lessons_show_their_change_and_are_accepted(folder):
    page = SeasonReview(folder, draws=DRAWS)
    panel = fold(page, "lessons to accept")
    panel.none_button.click()
    assert "0 of" in said(panel.change)
    panel.accept_button.click()
    assert "No lesson is ticked" in said(panel.kept)
    panel.ticks["profile:Riesling"].value = True
    panel.ticks["counter:crew A"].value = True
    panel.effect_button.click()
    seen = {row[0]: row[2] for row in rows(panel.change.value, "with 2 lessons ticked")}
    before = forecast(read_records(folder), 2027, draws=DRAWS).frame
    panel.accept_button.click()
    assert "Accepted: 2 lessons" in said(panel.kept)
    assert str(folder / "learned.toml") in said(panel.kept)
    assert sorted(entry.key for entry in read_learned(folder)) == [
        "counter:crew A",
        "profile:Riesling",
    ]
    assert "node profile: Riesling" in said(panel.force)
    after = forecast(read_records(folder), 2027, draws=DRAWS).frame
    assert (after["tonnes_p50"] - before["tonnes_p50"]).abs().max() > 0.005
    for row in after.to_dict("records"):
        assert seen[row["block"]].startswith(f"{row['tonnes_p50']:.1f} (")
    panel.accept_button.click()
    assert "Nothing is new" in said(panel.kept)
    assert not (folder / "learned.1.toml").exists()
    panel.ticks["recovery:Riesling"].value = True
    panel.accept_button.click()
    assert "The version before is" in said(panel.kept)
    assert (folder / "learned.1.toml").exists()


@pytest.mark.usefixtures("waiting")
def test_older_lessons_stay_out_until_they_are_asked_for(folder):
    records = read_records(folder)
    accept(records, learn(records), ["counter:crew A"])
    panel = fold(SeasonReview(folder, draws=DRAWS), "lessons to accept")
    assert panel.older.layout.display == "none"
    panel.through.value = 2023
    panel.none_button.click()
    panel.ticks["counter:crew A"].value = True
    assert "taught by later seasons than those up to 2023" in said(panel.mind)
    panel.accept_button.click()
    assert "Not possible" in said(panel.kept)
    assert [entry.through for entry in read_learned(folder)] == [2026]
    panel.older.value = True
    panel.accept_button.click()
    assert [entry.through for entry in read_learned(folder)] == [2023]


def test_trend_names_blocks_with_chances_in_both_unit_systems(records, page):
    panel = fold(page, "are the vines getting weaker")
    trend = vine_trend(records)
    for figure in ("pruning_weight", "ravaz", "cane_weight"):
        panel.figure_choice.value = figure
        table = {row[0]: row for row in rows(panel.answer.value, "with chances")[1:]}
        for row in trend[trend["figure"] == figure].to_dict("records"):
            cells = table[row["block"]]
            assert cells[1] == row["label"]
            assert cells[4] == chance(row["chance_weaker"])
    panel.figure_choice.value = "pruning_weight"
    metric = rows(panel.answer.value, "by season of growth [kg/m]")
    page.desk.units = US
    us = rows(panel.answer.value, "by season of growth [lb/ft]")
    # 1 kg/m is 0.3048 / 0.45359237 lb/ft.
    assert float(us[1][1]) == pytest.approx(float(metric[1][1]) * 0.3048 / 0.45359237, abs=0.01)


def test_index_of_a_variety_is_the_ratio_of_sums(records, opened):
    panel = fold(opened, "are the vines getting weaker")
    panel.figure_choice.value = "ravaz"
    panel.variety.value = "Riesling"
    table = rows(panel.answer.value, "by season of growth")
    heads, cells = table[0], next(row for row in table if row[0] == "all Riesling")
    blocks = records.blocks[records.blocks["variety"] == "Riesling"].set_index("block")
    crop = records.harvest.query("season == 2023").groupby("block")["tonnes"].sum()
    wood = records.pruning.query("season == 2024").set_index("block")["pruning_weight_kg"]
    vines = blocks["vines"] * (1 - blocks["missing_pct"] / 100)
    want = 1000 * crop[blocks.index].sum() / (wood[blocks.index] * vines).sum()
    assert float(cells[heads.index("2023")]) == pytest.approx(want, abs=0.05)


def test_fertility_of_a_variety_and_a_block(records, opened):
    panel = fold(opened, "bud fertility")
    assert list(panel.name.options) == ["Riesling", "Pinot noir"]
    panel.name.value = "Pinot noir"
    assert "Pinot noir, canes:" in said(panel)
    panel.what.value = "burst"
    table = rows(panel.answer.value, "fitted by node")
    mine = bud_fertility(records)
    mine = mine[(mine["variety"] == "Pinot noir") & (mine["what"] == "burst")]
    assert [row[1].split(" (")[0] for row in table[1:]] == [f"{v:.2f}" for v in mine["value_p50"]]
    panel.by.value = "block"
    assert list(panel.name.options) == ["Home Terrace", "Quarry Bank"]
    assert "Home Terrace" in said(panel)


def test_records_without_a_harvest_say_what_to_fill_and_keep_the_vines():
    records = make_records(
        blocks=[block_row()],
        pruning=[
            {"season": season, "block": "North", "plan": "2x8", "pruning_weight_kg": 0.6}
            for season in (2022, 2023, 2024)
        ],
    )
    page = SeasonReview(records, draws=DRAWS)
    for part in (page.answer, page.against, page.causes, page.worth):
        assert "Fill table harvest" in said(part)
    for words in FOLDS[:3]:
        assert "No harvest is on record yet" in said(fold(page, words))
    assert "North" in said(fold(page, "are the vines getting weaker"))
    assert "Table fertility is empty" in said(fold(page, "bud fertility"))


def test_one_season_of_tonnes_alone_is_scored_and_not_learned_from():
    records = make_records(
        blocks=[block_row()],
        harvest=[{"season": 2024, "block": "North", "date": "2024-09-25", "tonnes": 4.0}],
    )
    page = SeasonReview(records, draws=DRAWS)
    assert "1 of 1 crop came inside" in said(page.answer)
    assert "1 of 1 crop fell inside" in said(fold(page, "scores by stage"))
    assert "North: tonnes only" in said(fold(page, "what missed by block"))
    assert "nothing to learn from yet" in said(fold(page, "lessons to accept"))
    assert "is not known in any season" in said(fold(page, "are the vines getting weaker"))


def test_unknown_season_records_and_units_are_one_message(records, tmp_path):
    unknown = SeasonReview(records, season=1999, draws=DRAWS)
    assert "No harvest of 1999 is on record; choose from 2020 to 2026" in said(unknown.message)
    assert "nowhere" in said(SeasonReview(tmp_path / "nowhere").message)
    assert "furlongs" in said(SeasonReview(records, units="furlongs", draws=DRAWS).message)


def test_a_learned_file_of_nonsense_is_told_wherever_it_is_read(tmp_path):
    folder = sample_copy(tmp_path / "mine", "blocks", "pruning", "harvest", "fertility")
    (folder / "learned.toml").write_text("format = 2\n[counter.x]\nvalue = 'many'\n")
    page = SeasonReview(folder, draws=DRAWS)
    for part in (page.answer, page.worth, fold(page, "lessons to accept"),
                 fold(page, "are the vines getting weaker")):  # fmt: skip
        assert "learned.toml" in said(part)
    assert fold(page, "bud fertility").message.value == ""


def test_notebook_and_command_line_draw_alike():
    """The same season must show the same figures in both."""
    parser = ArgumentParser()
    options.DRAWS(parser)
    given = parser.parse_args([])
    opened = inspect.signature(SeasonReview).parameters
    assert (opened["draws"].default, opened["seed"].default) == (given.draws, given.seed)
