"""The panels and the command of the winery, worked as a user works them but without a browser."""

import re
import shutil

import numpy as np
import pandas as pd
import pytest
from intake_cases import capacity, made_forecast

from cropload import example_records, forecast, harvest_dates, intake_schedule
from cropload.pages.cli import main
from cropload.records.example import shipped
from cropload.season.forecast_log import log_forecast
from cropload.show import wording
from cropload.units import US
from cropload.winery import tables
from cropload.winery import words as intake_words
from cropload.winery.capacity import capacity_table
from cropload.winery.charts import intake_rows
from cropload.winery.contracts import contract_table
from cropload.winery.panels.winery_desk import DAY, LIMITS, WEEK, PickingDates, WineryDesk
from cropload.winery.panels.winery_intake import BlocksToMove, IntakeNow
from cropload.winery.panels.winery_terms import Contracts, SinceLast
from cropload.winery.relief import relieve

DAY_2026 = "2026-09-10"


@pytest.fixture(scope="module")
def records():
    return example_records()


@pytest.fixture
def desk(records):
    return WineryDesk(records, draws=400)


@pytest.fixture(scope="module")
def opened(records):
    """One desk for all tests that leave it as they found it."""
    return WineryDesk(records, draws=400)


@pytest.fixture
def folder(tmp_path):
    return shutil.copytree(shipped("sample_data") / "quillfoot", tmp_path / "mine")


def cells(html):
    """Return the tables of a piece of HTML as lists of rows of text."""
    html = html.replace("\u00a0", " ").replace("\u2011", "-")
    tables = re.findall(r"<table.*?</table>", html, re.DOTALL)
    return [
        [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in re.findall(r"<tr>.*?</tr>", t)]
        for t in tables
    ]


def test_desk_opens_in_the_season_of_the_limits(opened):
    assert opened.season == 2027
    assert "All of them are invented" in opened.children[0].value


def test_every_panel_opens_without_a_fault(opened):
    for panel in (PickingDates, IntakeNow, BlocksToMove, Contracts, SinceLast):
        assert panel(opened).message.value == ""


def test_intake_shows_what_the_schedule_says(records, opened):
    panel = IntakeNow(opened)
    panel.period.value = WEEK
    now, dates = (f(records, 2027, draws=400) for f in (forecast, harvest_dates))
    want = intake_schedule(now, dates).frame_by("estate")
    top = want.loc[want["tonnes_mean"].idxmax()]
    row = next(r for r in cells(panel.answer.value)[0] if r[0] == top["period"])
    assert row[1] == f"{top['tonnes_mean']:.1f}"
    assert row[2] == wording.chance(top["chance_any"])
    assert row[3] == f"{top['tonnes_p90']:.1f}"


def test_limits_and_their_chances_stand_beside_the_periods_of_the_table(opened):
    panel = IntakeNow(opened)
    assert panel.period.value == LIMITS
    limits = panel.limits.frame.set_index("period")
    shown = cells(panel.answer.value)[0]
    period, chance = shown[3][0], shown[3][7]
    assert chance == wording.chance(limits.loc[period, "chance_over"])
    assert "likeliest to be exceeded" in panel.answer.value


def test_panel_follows_period_group_and_units(desk):
    panel = IntakeNow(desk)
    metric = panel.answer.value
    panel.period.value, panel.by.value = DAY, "block"
    assert [row[0] for row in cells(panel.answer.value)[1][1:]] == desk.blocks
    desk.unit_choice.value = "us"
    assert "US gal" in panel.answer.value
    assert panel.answer.value != metric


def test_a_picking_date_entered_moves_the_tonnes_and_can_be_taken_back(desk):
    dates, intake = PickingDates(desk), IntakeNow(desk)
    before = intake.answer.value
    dates.block.value, dates.text.value = "Long Acre", "2027-09-20"
    dates.use_button.click()
    assert "Done" in dates.kept.value
    row = next(r for r in cells(dates.table.value)[0] if r[0] == "Long Acre")
    assert row[2:] == ["2027-09-20", "-", "entered"]
    assert intake.answer.value != before
    dates.back_button.click()
    assert intake.answer.value == before


@pytest.mark.parametrize("text", ["soon", "", "2026-09-20", "2027-09-20 60 %", "2027-09-20 x"])
def test_a_date_that_cannot_be_is_a_message_and_changes_nothing(opened, text):
    dates = PickingDates(opened)
    dates.text.value = text
    dates.use_button.click()
    assert "Not possible" in dates.kept.value
    assert opened.picks.get(2027, {}) == {}


def test_moves_are_found_and_told_with_how(opened):
    panel = BlocksToMove(opened)
    panel.chance.value = 26.0
    panel.find_button.click()
    assert panel.found is not None
    assert panel.found.heading() in panel.answer.value
    assert panel.found.method in panel.answer.value
    panel.held.value = tuple(opened.blocks)
    panel.find_button.click()
    assert panel.found.frame.empty


def test_moves_asked_for_wrongly_are_a_message(opened):
    panel = BlocksToMove(opened)
    panel.chance.value = 140.0
    panel.find_button.click()
    assert "from 0 to below 100" in panel.answer.value


def test_contracts_show_both_chances(opened):
    panel = Contracts(opened)
    rows = {row[0]: row for row in cells(panel.answer.value)[0]}
    assert rows["Riesling (variety)"][3].endswith("%")
    assert rows["Chardonnay (variety)"][2] == "-"
    assert "nothing here is advice" in panel.answer.value


def test_without_limits_and_prices_the_panels_say_what_to_fill_in(folder):
    (folder / "capacity.csv").unlink()
    (folder / "prices.csv").unlink()
    desk = WineryDesk(folder, draws=400)
    assert desk.season == 2026
    assert "no table capacity" in BlocksToMove(desk).answer.value
    assert "no table prices" in Contracts(desk).answer.value
    assert IntakeNow(desk).message.value == ""


def test_what_moved_adds_up_on_the_screen(folder):
    desk = WineryDesk(folder, season=2026, as_of=DAY_2026, draws=400)
    panel = SinceLast(desk)
    assert "No forecast of season 2026 is in the log yet" in panel.answer.value
    log_forecast(forecast(desk.base, 2026, "2026-04-01", draws=400), folder)
    panel.refresh()
    table = cells(panel.answer.value)[0]
    sums = [float(cell) for cell in table[-1][1:]]
    assert sum(sums[:-1]) == pytest.approx(sums[-1], abs=0.03)
    assert sums[-1] == pytest.approx(panel.found.change_t, abs=0.01)
    for row in table[1:]:
        assert sum(map(float, row[1:-1])) == pytest.approx(float(row[-1]), abs=0.04)


def test_the_sample_shows_an_example_of_what_moved(records):
    desk = WineryDesk(records, season=2026, as_of=DAY_2026, draws=400)
    assert "as an example" in SinceLast(desk).answer.value


def test_a_folder_that_cannot_be_read_is_one_message(tmp_path):
    desk = WineryDesk(tmp_path / "nothing")
    assert "Not possible" in desk.message.value
    assert "see the message" in IntakeNow(desk).where.value


def test_names_of_blocks_are_escaped_everywhere(folder):
    for name in ("blocks", "dates", "prices", "harvest", "pruning", "counts", "weights"):
        path = folder / f"{name}.csv"
        text = path.read_text(encoding="utf-8").replace("Long Acre", "<b>=Acre</b>")
        path.write_text(text, encoding="utf-8")
    desk = WineryDesk(folder, draws=400)
    panels = [panel(desk) for panel in (PickingDates, IntakeNow, Contracts)]
    panels[1].by.value = "block"
    for panel in panels:
        assert panel.message.value == ""
        html = getattr(panel, "answer", getattr(panel, "table", None)).value
        assert "<b>=Acre" not in html


def test_an_export_holds_the_numbers_of_the_table(opened, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel = IntakeNow(opened)
    panel.csv_button.click()
    assert "Done" in panel.kept.value
    frame = pd.read_csv(next((tmp_path / "results").glob("intake*.csv")))
    assert np.allclose(frame["tonnes_mean"], panel.schedule.frame_by("variety")["tonnes_mean"])


@pytest.fixture
def small():
    made = made_forecast(np.linspace([1.0, 4.0], [3.0, 6.0], 101).T, varieties=["A", "B"])
    schedule = intake_schedule(made, {"Block 0": "2026-09-15", "Block 1": "2026-09-22"})
    limits = capacity_table(schedule, capacity(("2026-09-14", "2026-09-20", 2.0)))
    return schedule, limits


def test_the_figure_draws_means_ranges_and_limits(small):
    schedule, limits = small
    ax = intake_rows(schedule, limits).plot()
    widths = sorted(bar.get_width() for bar in ax.patches if bar.get_width() > 0)
    assert widths == pytest.approx([2.0, 5.0])
    labels = [text.get_text() for text in ax.get_legend().get_texts()]
    assert {"A", "B", "all fruit", "limit, with the chance of more"} <= set(labels)
    assert "80 % range, equal tails" in ax.get_xlabel()
    assert "50 % over 2.0" in [text.get_text() for text in ax.texts]
    us = intake_rows(schedule, limits, US).plot()
    assert "short ton" in us.get_xlabel()


def test_the_figure_in_words_says_the_same(small):
    told = "09-14 to 09-20: all fruit 2.0 (1.2-2.8) t; limit, with the chance of more 50 % over 2.0"
    assert f"{told}; A 2.0 t." in intake_rows(*small).text()


def test_a_period_seldom_used_is_told_by_its_chance_not_by_a_range_of_nothing():
    row = {"tonnes_p10": 0.0, "tonnes_p50": 0.0, "tonnes_p90": 0.0, "tonnes_mean": 0.2}
    row["chance_any"] = 0.07
    assert intake_words.high_end(row) is None
    assert intake_words.mean_text(row) == "0.2 (7 %)"
    often = {"tonnes_p10": 0.0, "tonnes_p50": 0.0, "tonnes_p90": 15.3, "tonnes_mean": 4.3}
    often["chance_any"] = 0.44
    assert intake_words.mean_text(often) == "4.3 (44 %, up to 15.3)"


def test_the_tank_tells_the_juice_of_one_crop_and_joins_no_extremes(records):
    now, dates = (f(records, 2027, draws=400) for f in (forecast, harvest_dates))
    text = intake_schedule(now, dates).heading()
    middle, high = np.quantile(now.draws.sum(0), [0.5, 0.9])
    # Published: 115 to 140 kg of grapes for a hectolitre.
    for told, tonnes in (
        (r"middle fills ([\d,]+) to ([\d,]+) hl", middle),
        (r"high end ([\d,]+) to ([\d,]+)\.", high),
    ):
        ends = [float(end.replace(",", "")) for end in re.search(told, text).groups()]
        assert ends == pytest.approx([tonnes * 1000 / 140, tonnes * 1000 / 115], abs=0.51)


def test_exports_in_us_units_rename_and_convert_every_tonne(small):
    schedule, _ = small
    frame = intake_words.export(schedule, "variety", US)
    assert not [name for name in frame if "tonnes" in name]
    for end in ("p10", "p50", "p90", "mean"):
        expected = schedule.frame_by("variety")[f"tonnes_{end}"] / 0.90718474
        assert np.allclose(frame[f"tons_{end}"], expected)
    assert frame["interval"].iloc[0] == "80 % range, equal tails"


def test_an_excel_export_holds_real_dates(opened, tmp_path, monkeypatch):
    import openpyxl

    monkeypatch.chdir(tmp_path)
    IntakeNow(opened).excel_button.click()
    book = openpyxl.load_workbook(next((tmp_path / "results").glob("intake*.xlsx")))
    heads = [cell.value for cell in book.active[1]]
    first = book.active.cell(2, heads.index("period_start") + 1)
    assert first.is_date
    assert first.value.year == 2027


def test_answers_of_the_winery_can_be_read_and_drawn(small, records):
    schedule, limits = small
    room = contract_table(forecast(records, 2027, draws=400), records.prices)
    moves = relieve(schedule, capacity(("2026-09-14", "2026-09-20", 2.0)), windows=7)
    for answer in (schedule, limits, room, moves):
        text = str(answer)
        assert max(map(len, text.splitlines())) <= 80
        assert answer.heading()[:20] in " ".join(text.split())
        assert "cl-table" in answer._repr_html_()
        assert "short ton" in answer.text("us")
        assert len(answer.tables("us")) > 1 or answer is moves
    for answer in (schedule, limits, moves):
        assert answer.plot().get_xlabel().startswith("intake")
    drawn = room.plot()
    assert drawn.get_xlabel().startswith("crop [t]")
    assert len(drawn.get_yticklabels()) == len(room)


def test_keys_of_the_handbook_are_set_as_code_in_a_panel(opened):
    assert "<code>young.share</code>" in IntakeNow(opened).answer.value


def run(capsys, *arguments):
    code = main(["intake", *arguments])
    told = capsys.readouterr()
    return code, told.out, " ".join(told.err.split())


def test_the_command_prints_weeks_limits_and_contracts(capsys):
    code, out, _ = run(capsys, "--example", "--draws", "400")
    assert code == 0
    for title in ("PICKING DATES", "INTAKE", "LIMITS", "CONTRACTS"):
        assert title in out
    assert max(map(len, out.splitlines())) <= 80


def test_the_command_writes_the_whole_table_and_moves(capsys, tmp_path):
    path = tmp_path / "intake.csv"
    arguments = ["--draws", "400", "--by", "block", "--period", "limits", "--move"]
    code, out, _ = run(capsys, "--example", *arguments, "--chance", "26", "--csv", str(path))
    assert code == 0
    assert "BLOCKS TO MOVE" in out
    frame = pd.read_csv(path)
    total = forecast(example_records(), 2027, draws=400).draws.sum(0).mean()
    assert frame["tonnes_mean"].sum() == pytest.approx(total)


def test_the_command_takes_picking_dates_and_us_units(capsys):
    arguments = ["--draws", "400", "--units", "us", "--pick", "Long Acre=2027-09-20"]
    code, out, _ = run(capsys, "--example", *arguments)
    assert code == 0
    assert "entered" in out
    assert "US gal" in out


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--pick", "Long Ace=2027-09-20"], "Did you mean 'Long Acre'"),
        (["--pick", "Long Acre"], "write BLOCK=DATE"),
        (["--pick", "Long Acre=soon"], "is not a date"),
        (["--period", "month"], "period"),
        (["--chance", "200", "--move"], "from 0 to below 1"),
    ],
)
def test_the_command_says_what_is_wrong(capsys, arguments, told):
    code, _, err = run(capsys, "--example", "--draws", "400", *arguments)
    assert code == 2
    assert told in " ".join(err.split())


def test_the_command_without_limits_says_so(capsys, folder):
    (folder / "capacity.csv").unlink()
    code, _, err = run(capsys, str(folder), "--period", "limits")
    assert code == 2
    assert "no table capacity" in err


@pytest.fixture
def barren(tmp_path):
    """Records of one block in its second leaf, which bears nothing yet (common practice)."""
    text = "block,variety,row_spacing_m,vine_spacing_m,vines,year_planted\n"
    (tmp_path / "blocks.csv").write_text(text + "Y,Chardonnay,2,1,1000,2026\n", encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize("more", [[], ["--by", "block"], ["--by", "estate"], ["--move"]])
def test_intake_of_an_estate_that_bears_nothing_yet_says_so(barren, tmp_path, capsys, more):
    target = tmp_path / "out.csv"
    asked = ["intake", str(barren), "--season", "2027", "--draws", "400", "--csv", str(target)]
    assert main([*asked, *more]) == 0
    assert "No block bears a crop in 2027" in capsys.readouterr().out
    assert not target.exists()


def test_an_intake_of_nothing_keeps_its_columns(barren):
    from cropload import read_records

    now = forecast(read_records(barren), 2027, draws=400)
    schedule = intake_schedule(now)
    assert schedule.empty
    assert {"period", "block", "tonnes_mean"} <= set(schedule.frame_by("block"))
    assert intake_words.export(schedule, "block").empty


def test_winery_panels_say_that_nothing_bears_yet(barren):
    from cropload import read_records

    desk = WineryDesk(read_records(barren), draws=400)
    for panel in (PickingDates, IntakeNow, BlocksToMove):
        assert panel(desk).message.value == ""
    panel = IntakeNow(desk)
    assert "No block bears a crop" in panel.answer.value


def test_a_block_that_bears_nothing_has_no_picking_date_unless_one_is_entered(folder):
    from cropload import read_records

    blocks = pd.read_csv(folder / "blocks.csv", dtype=str)
    young = blocks.tail(1).assign(block="New Ground", year_planted="2027")
    pd.concat([blocks, young]).to_csv(folder / "blocks.csv", index=False)
    records = read_records(folder)
    now = forecast(records, 2027, draws=400)
    dates = harvest_dates(records, 2027, draws=400)
    names = [row[0] for row in tables.date_table(dates, now).rows]
    assert names == [name for name in records.blocks["block"] if name != "New Ground"]
    entered = dates.with_picks({"New Ground": "2027-09-20"})
    assert "New Ground" in [row[0] for row in tables.date_table(entered, now).rows]
