"""The panels after harvest, worked as a user works them but without a browser."""

import inspect
import re
from argparse import ArgumentParser
from html import unescape

import numpy as np
import pytest
from helpers import LEARNT_FROM, block_row, make_records, sample_copy

from cropload import accept, example_records, forecast, learn, read_records, review_season
from cropload.beliefs.learned import read_learned
from cropload.records.example import shipped
from cropload.review.bud_fertility import bud_fertility
from cropload.review.panels.review_lessons import Lessons
from cropload.review.panels.review_scores import ForecastScores, WhatMissed
from cropload.review.panels.review_vines import BudFertility, VineTrend
from cropload.review.panels.season_review import ALL, THREE, ReviewDesk
from cropload.review.vine_trend import vine_trend
from cropload.season.forecast_log import log_forecast
from cropload.show import options
from cropload.show.wording import chance
from cropload.units import US

PANELS = (ForecastScores, WhatMissed, Lessons, VineTrend, BudFertility)
DRAWS = 300


@pytest.fixture(scope="module")
def records():
    return example_records()


@pytest.fixture
def desk(records):
    made = ReviewDesk(records, draws=DRAWS)
    made.compute()
    return made


@pytest.fixture(scope="module")
def opened(records):
    """One desk for all tests that leave it as they found it."""
    made = ReviewDesk(records, draws=DRAWS)
    made.compute()
    return made


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


def test_every_panel_opens_without_a_fault_and_says_that_the_sample_is_invented(opened):
    assert opened.message.value == ""
    assert "All of them are invented" in said(opened)
    for panel in PANELS:
        made = panel(opened)
        if panel is Lessons:
            made.compute()
        assert made.message.value == ""
        assert "invented" in said(made) or panel in (WhatMissed, Lessons)
        assert "alt=" in "".join(
            child.value for child in made.body.children if hasattr(child, "value")
            and isinstance(child.value, str)
        )  # fmt: skip


def test_scores_are_those_of_the_review(records, opened):
    panel = ForecastScores(opened)
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


def test_moment_level_and_units_answer(desk):
    panel = ForecastScores(desk)
    before = panel.answer.value
    panel.moment.value = "picking"
    assert panel.answer.value != before
    assert "before picking" in said(panel.answer)
    panel.level.value = "estate"
    crops = rows(panel.answer.value, "The same in numbers")
    assert [cells[0] for cells in crops[1:]] == ["estate"]
    desk.unit_choice.value = "us"
    us = rows(panel.answer.value, "The same in numbers")
    assert float(us[1][2]) == pytest.approx(US.convert("tonnes", float(crops[1][2])), abs=0.1)
    assert "short ton" in us[0][2]


def test_several_seasons_are_scored_together_and_one_by_one(records, desk):
    panel = ForecastScores(desk)
    desk.together.value = THREE
    assert sorted(desk.reviews) == [2024, 2025, 2026]
    assert desk.progress.value == desk.progress.max
    assert desk.progress.layout.display == "none"
    each = rows(panel.scores.value, "Season by season")
    assert [cells[0] for cells in each[1:]] == ["2024", "2025", "2026"]
    inside = [int(cells[3].split()[0]) for cells in each[1:]]
    together = rows(panel.scores.value, "Scores by moment, seasons 2024 to 2026")
    clusters = next(cells for cells in together if cells[0] == "after clusters")
    assert clusters[3].startswith(f"{sum(inside)} of 21")


def test_the_first_season_on_record_is_scored_without_guesses(desk):
    desk.season_choice.value = 2020
    panel = ForecastScores(desk)
    assert "no earlier season to guess from" in said(panel)
    assert {cell for row in rows(panel.scores.value, "own guesses")[1:] for cell in row[1:]} == {
        "-"
    }
    desk.together.value = ALL
    assert desk.seasons_together() == [2020]


def test_parts_of_a_miss_add_up_to_it(records, opened):
    panel = WhatMissed(opened)
    for moment in ("clusters", "picking"):
        panel.moment.value = moment
        table = rows(panel.answer.value, "they add up")
        assert table[0][-1] == "all together [%]"
        for cells in table[1:]:
            parts = np.array([float(cell) for cell in cells[1:]])
            assert parts[:-1].sum() == pytest.approx(parts[-1], abs=0.05 * len(parts))
    assert "Upper Knoll: tonnes only" in said(panel)
    assert "the clusters were" in said(panel)


def test_of_many_crops_the_largest_are_drawn_and_all_stand_in_the_table(opened, monkeypatch):
    monkeypatch.setattr("cropload.review.panels.review_scores.MOST_CROPS", 2)
    for panel, caption in ((ForecastScores, "The same in numbers"), (WhatMissed, "they add up")):
        made = panel(opened)
        assert "The 2 largest of 7 crops are drawn" in said(made)
        drawn = re.search(r'alt="([^"]*)"', made.answer.value)[1]
        assert "Long Acre: " in drawn
        assert "Upper Knoll: " not in drawn
        assert len(rows(made.answer.value, caption)) == 8


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
    desk = ReviewDesk(records, draws=DRAWS)
    desk.compute()
    text = said(WhatMissed(desk))
    low = int(re.search(r"North: the forecast was (\d+) % too low", text)[1])
    assert low > 10
    counted = int(re.search(r"(\d+) % too few clusters were counted", text)[1])
    assert counted > 3


def test_forecasts_kept_in_the_log_are_scored_as_kept(folder):
    records = read_records(folder)
    log_forecast(forecast(records, 2026, "2026-07-15", draws=DRAWS), folder)
    desk = ReviewDesk(folder, draws=DRAWS)
    desk.compute()
    panel = ForecastScores(desk)
    kept = rows(panel.scores.value, "kept in the log")
    assert kept[1][1] == "2026-07-15"
    assert kept[1][0].endswith(" *")
    assert "* kept after the first load" in said(panel)


def test_review_is_exported_as_a_new_file(opened, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel = ForecastScores(opened)
    panel.csv_button.click()
    panel.csv_button.click()
    assert "Done:" in panel.kept.value
    assert sorted(path.name for path in (tmp_path / "results").iterdir()) == [
        "review_2026.csv",
        "review_2026_2.csv",
    ]


def test_lessons_stand_before_and_after_with_their_seasons(records, opened):
    panel = Lessons(opened)
    panel.compute()
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


def test_through_an_earlier_season_fewer_seasons_speak(opened):
    panel = Lessons(opened)
    panel.through.value = 2023
    assert panel.lessons.through == 2023
    assert {row["seasons"] for row in panel.lessons.frame.to_dict("records")} <= {1, 2, 3, 4}


def test_sample_says_that_it_needs_a_folder_of_ones_own(opened):
    panel = Lessons(opened)
    panel.compute()
    panel.accept_button.click()
    assert "make a folder of your own first" in said(panel.kept)
    assert not (shipped("sample_data") / "quillfoot" / "learned.toml").exists()


def test_ticked_lessons_show_their_change_and_are_accepted(folder):
    desk = ReviewDesk(folder, draws=DRAWS)
    desk.compute()
    panel = Lessons(desk)
    panel.compute()
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


def test_older_lessons_stay_out_until_they_are_asked_for(folder):
    records = read_records(folder)
    accept(records, learn(records), ["counter:crew A"])
    desk = ReviewDesk(folder, draws=DRAWS)
    panel = Lessons(desk)
    panel.compute()
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


def test_trend_names_blocks_with_chances_in_both_unit_systems(records, desk):
    panel = VineTrend(desk)
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
    desk.unit_choice.value = "us"
    us = rows(panel.answer.value, "by season of growth [lb/ft]")
    # 1 kg/m is 0.3048 / 0.45359237 lb/ft.
    assert float(us[1][1]) == pytest.approx(float(metric[1][1]) * 0.3048 / 0.45359237, abs=0.01)


def test_index_of_a_variety_is_the_ratio_of_sums(records, opened):
    panel = VineTrend(opened)
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
    panel = BudFertility(opened)
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
    desk = ReviewDesk(records, draws=DRAWS)
    desk.compute()
    assert "Fill table harvest" in said(desk)
    for panel in (ForecastScores, WhatMissed):
        assert "see the message" in said(panel(desk))
    lessons = Lessons(desk)
    lessons.compute()
    assert "No harvest is on record yet" in said(lessons)
    assert "North" in said(VineTrend(desk))
    assert "Table fertility is empty" in said(BudFertility(desk))


def test_one_season_of_tonnes_alone_is_scored_and_not_learned_from():
    records = make_records(
        blocks=[block_row()],
        harvest=[{"season": 2024, "block": "North", "date": "2024-09-25", "tonnes": 4.0}],
    )
    desk = ReviewDesk(records, draws=DRAWS)
    desk.compute()
    assert "1 of 1 crop fell inside" in said(ForecastScores(desk))
    assert "North: tonnes only" in said(WhatMissed(desk))
    lessons = Lessons(desk)
    lessons.compute()
    assert "nothing to learn from yet" in said(lessons)
    assert "is not known in any season" in said(VineTrend(desk))


def test_unknown_season_records_and_units_are_one_message(records, tmp_path):
    desk = ReviewDesk(records, season=1999)
    assert "No harvest of 1999 is on record; choose from 2020 to 2026" in said(desk)
    for wrong in (ReviewDesk(tmp_path / "nowhere"), ReviewDesk(records, units="furlongs"), desk):
        wrong.compute()
        for panel in PANELS:
            assert "see the message" in said(panel(wrong))


def test_a_learned_file_of_nonsense_is_told_wherever_it_is_read(tmp_path):
    folder = sample_copy(tmp_path / "mine", "blocks", "pruning", "harvest", "fertility")
    (folder / "learned.toml").write_text("format = 2\n[counter.x]\nvalue = 'many'\n")
    desk = ReviewDesk(folder, draws=DRAWS)
    desk.compute()
    assert "learned.toml" in said(desk)
    lessons = Lessons(desk)
    lessons.compute()
    for panel in (lessons, VineTrend(desk)):
        assert "learned.toml" in said(panel)
    assert BudFertility(desk).message.value == ""


def test_notebook_and_command_line_draw_alike():
    """The same season must show the same figures in both."""
    parser = ArgumentParser()
    options.DRAWS(parser)
    given = parser.parse_args([])
    opened = inspect.signature(ReviewDesk).parameters
    assert (opened["draws"].default, opened["seed"].default) == (given.draws, given.seed)
