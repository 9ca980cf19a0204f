"""The page and the command of the winery, worked as a user works them but without a browser."""

import datetime
import io
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from helpers import LEARNT_FROM, once, sample_copy
from intake_cases import GROWERS, capacity, growers_estate, made_forecast

import cropload
from cropload import example_records, intake_schedule
from cropload.pages.cli import main
from cropload.season.forecast_log import log_forecast
from cropload.show import wording
from cropload.units import US
from cropload.winery import tables
from cropload.winery import words as intake_words
from cropload.winery.capacity import capacity_table
from cropload.winery.charts import intake_rows
from cropload.winery.contracts import contract_table
from cropload.winery.fit import fit_of
from cropload.winery.panels import winery_intake
from cropload.winery.panels.winery_intake import LIMITS, WEEK, WineryIntake
from cropload.winery.relief import relieve

DAY_2026 = "2026-09-10"
forecast, harvest_dates = once(cropload.forecast), once(cropload.harvest_dates)


@pytest.fixture(autouse=True, scope="module")
def asked_once():
    """All pages of the sample are opened with the same forecasts and dates, each made once."""
    with pytest.MonkeyPatch.context() as patch:
        for asked in (forecast, harvest_dates):
            patch.setattr(winery_intake, asked.__name__, asked)
        yield


@pytest.fixture(scope="module")
def records():
    return example_records()


@pytest.fixture
def page(records):
    return WineryIntake(records, draws=400)


@pytest.fixture(scope="module")
def opened(records):
    """One page for all tests that leave it as they found it."""
    return WineryIntake(records, draws=400)


def unfold(page, words):
    """Open a fold and return what lies in it."""
    for fold in page.children[-1].children:
        if fold.words == words:
            if not fold.is_open:
                fold.turn()
            return fold.inside.children[0]
    raise AssertionError(words)


@pytest.fixture
def folder(tmp_path):
    return sample_copy(tmp_path / "mine", *LEARNT_FROM, "capacity", "contracts")


def cells(html):
    """Return the tables of a piece of HTML as lists of rows of text."""
    html = html.replace("\u00a0", " ").replace("\u2011", "-")
    tables = re.findall(r"<table.*?</table>", html, re.DOTALL)
    return [
        [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in re.findall(r"<tr>.*?</tr>", t)]
        for t in tables
    ]


def test_page_opens_in_the_season_of_the_limits_and_every_fold_without_a_fault(opened):
    assert opened.desk.season == 2027
    assert "Quillfoot (invented)" in opened.bar.estate.value
    for part in (opened.sentence, opened.intake, opened.risks):
        assert part.message.value == ""
    for fold in opened.children[-1].children:
        made = unfold(opened, fold.words)
        assert getattr(getattr(made, "message", None), "value", "") == ""


def test_whether_it_fits_is_counted_within_each_draw(opened, records):
    now, dates = (f(records, 2027, draws=400) for f in (forecast, harvest_dates))
    schedule = intake_schedule(now, dates, period=records.capacity)
    limits = records.capacity["limit_t"].to_numpy(float)[:, None]
    over = np.maximum(schedule.sums("estate")[1][:, 0] - limits, 0)
    found = fit_of(schedule, records.capacity)
    assert found.chance_any == pytest.approx((over > 0).any(axis=0).mean())
    assert found.elsewhere_mean == pytest.approx(over.sum(axis=0).mean())
    told = opened.sentence.text.value
    assert f"goes over its limit is {wording.chance(found.chance_any)}" in told
    assert f"About {found.elsewhere_mean:.1f} t" in told
    each = capacity_table(schedule, records.capacity)["chance_over"]
    assert found.chance_any >= each.max()


def test_a_limit_of_a_variety_and_one_of_all_fruit_are_not_counted_twice():
    made = made_forecast(np.linspace([1.0, 4.0], [3.0, 6.0], 101).T, varieties=["A", "B"])
    schedule = intake_schedule(made, {"Block 0": "2026-09-15", "Block 1": "2026-09-15"})
    week = ("2026-09-14", "2026-09-20")
    all_fruit, one = capacity((*week, 6.0)), capacity((*week, 3.0)).assign(variety="B")
    both = pd.concat([all_fruit, one], ignore_index=True)
    alone = [fit_of(schedule, each).elsewhere_mean for each in (all_fruit, one)]
    assert max(alone) <= fit_of(schedule, both).elsewhere_mean < sum(alone)


def test_limits_that_are_past_do_not_count():
    made = made_forecast(np.linspace([1.0], [3.0], 101).T, varieties=["A"])
    schedule = intake_schedule(made, {"Block 0": "2026-09-15"})
    past = replace(schedule, as_of="2026-12-01")
    limits = capacity(("2026-09-14", "2026-09-20", 1.0))
    assert fit_of(schedule, limits).limits == 1
    assert fit_of(past, limits).limits == 0


def test_the_picture_shows_limits_with_their_chances(opened):
    limits = opened.limits()
    assert opened.intake.period.value == LIMITS
    top = limits.frame.loc[limits["chance_over"].idxmax()]
    alt = re.search('alt="([^"]*)"', opened.intake.picture.value)[1]
    assert f"{wording.chance(top['chance_over'])} over {top['limit_t']:.1f}" in alt
    assert "8 in 10" in alt
    assert "equal tails" not in alt


def test_the_first_step_names_what_is_too_big_for_a_period(opened, records):
    found = relieve(opened.schedule(), records.capacity, windows=0)
    name = max(found.too_big, key=found.too_big.get)
    assert f"Plan {name} in two picks" in opened.risks.text.value


def test_contracts_at_risk_are_those_likely_overrun(opened, records):
    room = contract_table(opened.forecast, records.contracts, records.blocks).frame
    told = opened.risks.text.value
    for row in room.to_dict("records"):
        assert (f"{row['contract']}: more than" in told) == (row["chance_excess"] >= 0.2)
        assert f"{row['contract']}: less than" not in told


def test_tables_follow_period_group_and_units(page):
    tables = unfold(page, "by variety and block")
    now, dates = page.forecast, page.dates()
    page.intake.period.value, tables.by.value = WEEK, "block"
    want = intake_schedule(now, dates).frame_by("estate")
    top = want.loc[want["tonnes_mean"].idxmax()]
    shown = cells(tables.answer.value)
    assert [row[0] for row in shown[0][1:]] == page.desk.blocks
    row = next(r for r in shown[2] if r[0] == top["period"])
    assert row[1] == f"{top['tonnes_mean']:.1f}"
    assert row[2] == wording.chance(top["chance_any"])
    page.desk.open_with(units="us")
    assert "US gal" in tables.answer.value
    assert "short ton" in page.sentence.text.value


def test_a_picking_date_entered_moves_the_tonnes_and_can_be_taken_back(page):
    dates = unfold(page, "picking dates")
    before = page.intake.picture.value, page.sentence.text.value
    dates.block.value, dates.day.value = "Long Acre", datetime.date(2027, 9, 20)
    dates.use_button.click()
    assert "Done" in dates.kept.value
    row = next(r for r in cells(dates.table.value)[0] if r[0] == "Long Acre")
    assert row[2:] == ["2027-09-20", "-", "entered"]
    assert page.sentence.text.value != before[1]
    dates.text.value = "2027-09-20 60 %, 2027-09-27 40 %"
    dates.use_button.click()
    row = next(r for r in cells(dates.table.value)[0] if r[0] == "Long Acre")
    assert row[2] == "2027-09-20 60 %, 2027-09-27 40 %"
    dates.back_button.click()
    assert page.sentence.text.value == before[1]


@pytest.mark.parametrize("text", ["soon", "", "2026-09-20", "2027-09-20 60 %", "2027-09-20 x"])
def test_a_date_that_cannot_be_is_a_message_and_changes_nothing(opened, text):
    dates = unfold(opened, "picking dates")
    dates.text.value = text
    dates.use_button.click()
    assert "Not possible" in dates.kept.value
    assert opened.picks.get(2027, {}) == {}


def test_moves_are_found_and_told_with_how(opened):
    part = unfold(opened, "blocks to move")
    part.find_button.click()
    assert part.found is not None
    assert part.found.heading() in part.answer.value
    assert part.found.method in part.answer.value
    part.held.value = tuple(opened.desk.blocks)
    part.find_button.click()
    assert part.found.frame.empty


def test_contracts_show_both_chances(opened):
    told = unfold(opened, "contracts").text.value
    rows = {row[0]: row for row in cells(told)[0]}
    assert rows["Riesling"][3].endswith("%")
    assert rows["Chardonnay"][2] == "-"
    assert "nothing here is advice" in told


def test_without_limits_and_prices_the_page_says_what_to_fill_in(folder):
    (folder / "capacity.csv").unlink()
    (folder / "contracts.csv").unlink()
    page = WineryIntake(folder, draws=400)
    assert "In all about" in page.sentence.text.value
    assert "no table capacity" in page.risks.text.value
    assert "no table capacity" in unfold(page, "blocks to move").answer.value
    assert "no table contracts" in unfold(page, "contracts").text.value


def test_what_moved_adds_up_on_the_screen(folder):
    log_forecast(forecast(example_records(), 2026, "2026-04-01", draws=400), folder)
    page = WineryIntake(folder, season=2026, as_of=DAY_2026, draws=400)
    table = cells(unfold(page, "since last").text.value)[0]
    sums = [float(cell) for cell in table[-1][1:]]
    assert sum(sums[:-1]) == pytest.approx(sums[-1], abs=0.03)
    for row in table[1:]:
        assert sum(map(float, row[1:-1])) == pytest.approx(float(row[-1]), abs=0.04)


def test_without_a_log_the_page_says_so_and_the_sample_shows_an_example(folder, records):
    for given, told in ((folder, "No forecast of season 2026 is in the log yet"),
                        (records, "as an example")):  # fmt: skip
        page = WineryIntake(given, season=2026, as_of=DAY_2026, draws=400)
        assert told in unfold(page, "since last").text.value


def test_a_folder_that_cannot_be_read_is_one_message(tmp_path):
    assert "Not possible" in WineryIntake(tmp_path / "nothing").message.value


def test_names_of_blocks_are_escaped_everywhere(folder):
    for path in folder.glob("*.csv"):
        text = path.read_text(encoding="utf-8").replace("Long Acre", "<b>=Acre</b>")
        path.write_text(text, encoding="utf-8")
    page = WineryIntake(folder, draws=400)
    tables = unfold(page, "by variety and block")
    tables.by.value = "block"
    shown = [page.sentence.text.value, page.risks.text.value, page.intake.picture.value]
    shown += [tables.answer.value, unfold(page, "picking dates").table.value]
    shown += [unfold(page, "contracts").text.value]
    assert "&lt;b&gt;=Acre" in "".join(shown)
    assert "<b>=Acre" not in "".join(shown)


def test_a_file_handed_out_holds_the_numbers_of_the_table(opened):
    tables = unfold(opened, "by variety and block")
    tables.by.value = "variety"
    name, data = tables.file(".csv")
    assert name == "intake_variety_2027.csv"
    frame = pd.read_csv(io.BytesIO(data))
    assert np.allclose(frame["tonnes_mean"], tables.schedule.frame_by("variety")["tonnes_mean"])


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


def test_an_excel_file_holds_real_dates(opened):
    import openpyxl

    book = openpyxl.load_workbook(
        io.BytesIO(unfold(opened, "by variety and block").file(".xlsx")[1])
    )
    heads = [cell.value for cell in book.active[1]]
    first = book.active.cell(2, heads.index("period_start") + 1)
    assert first.is_date
    assert first.value.year == 2027


def test_answers_of_the_winery_can_be_read_and_drawn(small, records):
    schedule, limits = small
    room = contract_table(forecast(records, 2027, draws=400), records.contracts, records.blocks)
    weeks = capacity(("2026-09-14", "2026-09-20", 2.0), ("2026-09-21", "2026-09-27", 9.0))
    moves = relieve(schedule, weeks, windows=7)
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


def test_keys_of_the_handbook_are_set_as_code_and_only_in_a_fold(opened):
    told = unfold(opened, "where the numbers come from").text.value
    assert "<code>young.share</code>" in told
    surface = opened.sentence.text.value + opened.risks.text.value
    assert "young.share" not in surface


def run(capsys, *arguments):
    code = main(["intake", *arguments])
    told = capsys.readouterr()
    return code, told.out, " ".join(told.err.split())


def test_the_command_prints_weeks_limits_and_contracts(capsys):
    for more, titles in (
        ((), ("LIMITS", "BY GROWER", "CONTRACTS: ")),
        (("--all",), ("LIMITS", "CONTRACTS", "PICKING DATES", "INTAKE", "No plan for 2027")),
        (("--period", "week"), ("LIMITS", "INTAKE")),
    ):
        code, out, _ = run(capsys, "--example", "--draws", "400", *more)
        assert code == 0
        for title in titles:
            assert title in out
        assert max(map(len, out.splitlines())) <= 80


def test_the_page_finds_what_costs_least(page):
    moves = unfold(page, "blocks to move")
    moves.costs["short"].value, moves.costs["outside"].value = 250, 60
    moves.find()
    assert moves.found.bills[1].total <= moves.found.bills[0].total
    assert "By your prices" in moves.answer.value
    moves.costs["short"].value = 0
    moves.find()
    assert "short" in moves.message.value


def test_forty_blocks_of_six_growers_fit_one_screen(capsys, tmp_path):
    rows = [
        f"{grower},{grower},900,{60 + 3 * at},{95 + at},EUR" for at, grower in enumerate(GROWERS)
    ]
    head = "contract,grower,price_per_t,least_t,most_t,currency"
    folder = growers_estate(tmp_path, contracts=[head, *rows])
    code, out, _ = run(capsys, str(folder), "--draws", "400")
    assert code == 0
    assert all(grower in out for grower in GROWERS)
    assert "LIMITS (7 likeliest of 8)" in out
    assert len(out.rstrip().splitlines()) <= 40
    assert max(map(len, out.splitlines())) <= 80


def test_old_prices_are_not_called_contracts(capsys, tmp_path):
    old = ["variety,price_per_t", "Riesling,900"]
    _, out, _ = run(capsys, str(growers_estate(tmp_path, prices=old)), "--draws", "200")
    assert "PRICES: " in out
    assert "CONTRACTS" not in out


def test_the_command_writes_the_whole_table_and_moves(capsys, tmp_path):
    path = tmp_path / "intake.csv"
    arguments = ["--draws", "400", "--by", "block", "--period", "limits", "--move"]
    code, out, _ = run(capsys, "--example", *arguments, "--window", "9", "--csv", str(path))
    assert code == 0
    assert "BLOCKS TO MOVE" in out
    frame = pd.read_csv(path)
    total = forecast(example_records(), 2027, draws=400).draws.sum(0).mean()
    assert frame["tonnes_mean"].sum() == pytest.approx(total)


def test_the_command_takes_picking_dates_and_us_units(capsys):
    arguments = ["--draws", "400", "--units", "us", "--all", "--pick", "Long Acre=2027-09-20"]
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
        (["--worth", "-1", "--move"], "worth"),
        (["--worth", "1"], "belong to --move"),
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


def test_page_says_that_nothing_bears_yet(barren):
    page = WineryIntake(barren, draws=400)
    assert "No block bears a crop" in page.sentence.text.value
    for words in ("picking dates", "by variety and block", "blocks to move"):
        assert unfold(page, words).message.value == ""


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


def test_picks_by_day_and_sheets_tell_each_block_once(opened, tmp_path, capsys):
    part = unfold(opened, "day by day")
    shown = cells(part.answer.value)[0][1:]
    days = opened.dates().draws
    for row in shown:
        at = opened.desk.blocks.index(row[1])
        drawn = np.sort(days[at])
        middle = np.datetime64(0, "D") + drawn[round(0.5 * (len(drawn) - 1))]
        assert row[0] == str(middle)
        low, middle, high = np.percentile(opened.forecast.draws[at], [10, 50, 90])
        told = [float(end) for end in re.findall(r"[\d.]+", row[4])]
        assert told == pytest.approx([middle, low, high], abs=0.051)
    assert sorted(row[1] for row in shown) == sorted(opened.desk.blocks)
    assert [row[0] for row in shown] == sorted(row[0] for row in shown)
    name, data = part.page_of()
    assert name == "intake_sheets_2027.html"
    assert all(block in data.decode() for block in opened.desk.blocks)
    growers_estate(tmp_path, contracts=["contract,grower,price_per_t,least_t", "A & B,Ash,9,60"])
    target = tmp_path / "sheets.html"
    asked = [str(tmp_path), "--draws", "200", "--move", "--all", "--sheets", str(target)]
    code, out, err = run(capsys, *asked)
    assert code == 0
    assert "DAY BY DAY" in out
    page = target.read_text(encoding="utf-8")
    assert page.count("<section>") == 1 + 6
    # The column for a pen is left out on a phone.
    assert page.count('<td class="write">') == page.count('<th scope="row">')
    assert "Contract A &amp; B: " in page
    assert page.count("<td>Ash ") == 2 * 7
    assert " later)" in page or " earlier)" in page
    code, _, err = run(capsys, *asked)
    assert (code, "exists" in err) == (2, True)


def test_the_workbook_holds_every_table_with_real_dates(opened, tmp_path, capsys):
    import openpyxl

    growers_estate(tmp_path, contracts=["contract,grower,price_per_t,least_t", "Ash,Ash,9,60"])
    target = tmp_path / "intake.xlsx"
    asked = [str(tmp_path), "--draws", "200", "--move", "--sheets", str(target)]
    assert run(capsys, *asked)[0] == 0
    _, data = unfold(opened, "day by day").book_of()
    for source, more in ((target, {"moves", "change"}), (io.BytesIO(data), set())):
        book = openpyxl.load_workbook(source)
        assert {"by day", "limits", "contracts", "pay", "notes"} | more <= set(book.sheetnames)
        assert book["by day"].cell(2, 1).is_date
        assert book["limits"].cell(2, 1).value.year == 2027
    assert book["by day"].max_row == 1 + len(opened.desk.blocks)
