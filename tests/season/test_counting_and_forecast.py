"""The season page, worked as a user works it but without a browser."""

import re
from dataclasses import replace

import ipywidgets as widgets
import numpy as np
import pandas as pd
import pytest
from helpers import LEARNT_FROM, block_row, make_records, once, sample_copy

import cropload
from cropload import example_records, read_records
from cropload.beliefs.history import learned_before
from cropload.season.count_plan import sample_vines
from cropload.season.due import due
from cropload.season.forecast_log import read_log
from cropload.season.next_counts import next_counts
from cropload.season.panels import counting_and_forecast
from cropload.season.panels.counting_and_forecast import CountingAndForecast
from cropload.season.panels.entered_rows import added
from cropload.season.season_days import harvested, season_days
from cropload.season.thinning import CAUTIONS, thin_to
from cropload.show import wording
from cropload.units import US

FOLDS = (
    "blocks now",
    "what changed since",
    "everything worth counting",
    "count sheets",
    "correct what was saved",
    "crew check",
    "thinning",
    "keep this forecast",
    "how far off at each stage",
    "where the numbers come from",
    "taking care",
)
KNOLL = "Upper Knoll"
forecast = once(cropload.forecast)


@pytest.fixture(autouse=True, scope="module")
def asked_once():
    """All pages of the sample are opened with the same forecasts, each made once."""
    with pytest.MonkeyPatch.context() as patch:
        for asked in (forecast, once(due)):
            patch.setattr(counting_and_forecast, asked.__name__, asked)
        yield


@pytest.fixture
def page():
    return CountingAndForecast(draws=400)


@pytest.fixture(scope="module")
def opened():
    """One page for all tests that leave it as they found it."""
    return CountingAndForecast(draws=400)


@pytest.fixture
def folder(tmp_path):
    return sample_copy(tmp_path / "mine", *LEARNT_FROM)


def fold(page, words):
    """Return what lies in a fold of a page, opened."""
    (found,) = (each for each in page.children[-1].children if each.words == words)
    if not found.is_open:
        found.turn()
    return found.inside.children[0]


def html_of(widget):
    """Yield every HTML widget inside a widget."""
    if isinstance(widget, widgets.HTML):
        yield widget
    for child in getattr(widget, "children", ()):
        yield from html_of(child)


def said(widget):
    """Return everything a widget says, as text."""
    text = " ".join(each.value for each in html_of(widget))
    text = re.sub(r"<style>.*?</style>", "", text, flags=re.S)
    return " ".join(re.sub(r"<[^>]+>", " ", text).replace("&#x27;", "'").split())


def expected(records, as_of, season=2026):
    learned = learned_before(example_records(), season)
    return forecast(records, season, as_of, draws=400, learned=learned)


def amount(found, by, name, units=None):
    table = found.frame_by(by)
    row = table[table[by] == name].iloc[0]
    return wording.amount("tonnes", row["tonnes_p50"], *([] if units is None else [units]))


def enter(page, numbers, block=KNOLL, measure="clusters", day=None):
    """Enter a count as a user does, and return what is said of it."""
    form = page.next
    form.block.value, form.measure.value, form.numbers.value = block, measure, numbers
    if day is not None:
        form.day.value = pd.Timestamp(day).date()
    form.enter_button.click()
    return said(form.said)


def test_the_page_opens_at_its_answer_in_few_words_of_the_trade(opened):
    assert (opened.desk.season, f"{opened.desk.as_of:%Y-%m-%d}") == (2026, "2026-07-13")
    want = expected(example_records(), "2026-07-13")
    row = want.frame_by("estate").iloc[0]
    answer = said(opened.answer)
    assert answer.startswith(f"{row['tonnes_p50']:.1f} t ({row['tonnes_p10']:.1f} to ")
    assert "8 in 10" in answer
    # The largest part of what is open, computed apart from the page.
    parts = want.contributions("estate").sort_values("share", ascending=False)
    assert parts["component"].iloc[0] == "cluster_weight_g"
    assert f"cluster weight ({100 * parts['share'].iloc[0]:.0f} %)" in answer
    everything = said(opened)
    assert len(everything.split()) < 250
    for statistics in ("equal tails", "draws", "prior."):
        assert statistics not in everything
    assert "Quillfoot (invented)" in everything


def test_every_fold_opens(page):
    for words in FOLDS:
        made = fold(page, words)
        assert said(made)
        assert "Not possible" not in said(made)


def test_day_season_total_and_units_answer(page):
    records = example_records()
    page.bar.fields["day"].value = season_days(records, 2026)[0].day.date()
    want = expected(records, page.desk.as_of)
    assert amount(want, "estate", "estate") in said(page.answer)
    page.fan.of.value = ("variety", "Riesling")
    assert amount(want, "variety", "Riesling") in said(page.answer)
    page.desk.units = US
    assert amount(want, "variety", "Riesling", US) in said(page.answer)
    page.desk.season = 2025
    assert f"{page.desk.as_of.year}" == "2025"
    assert "harvest 2025" in said(page.answer)


def test_the_picture_tells_past_harvests_and_every_day_until_the_one_looked_at(opened):
    records = example_records()
    wide, narrow = re.findall(r'alt="([^"]*)"', opened.fan.picture.value)
    days = [each for each in season_days(records, 2026) if each.day <= opened.desk.as_of]
    assert len(days) == 3
    for each in days:
        found = expected(records, each.day).frame_by("estate").iloc[0]
        for text in (wide, narrow):
            assert f"{found['tonnes_p50']:.1f} ({found['tonnes_p10']:.1f}-" in text
    past = harvested(records, 2025, opened.forecast())
    assert f"2025: earlier harvests {past.tonnes:.1f} t" in wide
    assert "earlier harvests" not in narrow
    scale = harvested(records, 2026, opened.forecast())
    assert f"harvest {scale.tonnes:.1f} t" in wide


def test_a_winter_shows_past_harvests_and_one_range(page):
    page.desk.season = 2027
    wide, narrow = re.findall(r'alt="([^"]*)"', page.fan.picture.value)
    assert narrow == wide
    # The form is filled for the season chosen.
    assert page.due().plan.empty
    assert "choose a plan in 8 blocks" in said(page.next)
    first = next_counts(page.forecast()).frame.iloc[0]
    assert (page.next.block.value, page.next.measure.value) == (first["block"], first["what"])
    row = page.forecast().frame_by("estate").iloc[0]
    assert f"{row['tonnes_p50']:.1f} ({row['tonnes_p10']:.1f}-{row['tonnes_p90']:.1f})" in wide
    assert wide.count("earlier harvests") == 4
    assert "no earlier day" in said(fold(page, "what changed since"))


def test_records_that_cannot_be_read_and_days_that_are_none_are_one_message(tmp_path):
    assert "nowhere" in said(CountingAndForecast(tmp_path / "nowhere"))
    wrong = CountingAndForecast(as_of="someday", draws=400)
    assert "is not a date" in said(wrong.message)


def test_what_is_offered_is_due_this_week_and_follows_day_hours_and_total(page):
    page.desk.as_of = pd.Timestamp("2026-06-29")
    page.next.hours.value = 9.0
    page.fan.of.value = ("variety", "Riesling")
    best = due(example_records(), "2026-06-29", hours=9.0, of="Riesling", made=page.forecast()).plan
    assert set(best["what"]) == {"clusters"}
    shown = [each for each in page.next.offers if each.layout.display is None]
    for offer, row in zip(shown, best.to_dict("records"), strict=False):
        assert offer.description.startswith(f"{row['block']}: {row['words']}, {row['vines']} vines")
        assert f"{row['removed_t']:.2f} t off" in offer.description
    page.next.offers[1].click()
    assert page.next.block.value == best["block"].iloc[1]
    assert page.next.measure.value == best["what"].iloc[1]
    page.next.hours.value = -1
    assert "above 0" in said(page.next)


def test_counts_entered_give_the_forecast_of_records_that_hold_them(page):
    before = [each.description for each in page.next.offers]
    told = enter(page, "23 31, 18;27\n25 22 20 30")
    counts = [23, 31, 18, 27, 25, 22, 20, 30]
    rows = [
        {"season": 2026, "date": page.desk.as_of, "block": KNOLL, "row": "x", "vine": str(at),
         "clusters": count}
        for at, count in enumerate(counts)
    ]  # fmt: skip
    records = example_records()
    want = expected(replace(records, counts=added(records.counts, rows)), page.desk.as_of)
    np.testing.assert_allclose(page.forecast().draws, want.draws)
    assert amount(want, "block", KNOLL) in told
    assert f"{np.mean(counts):.1f} clusters per vine" in told
    assert amount(want, "estate", "estate") in said(page.answer)
    assert [each.description for each in page.next.offers] != before
    assert page.next.numbers.value == ""
    assert "8 rows not saved yet" in said(page.next.waiting)


def test_a_count_after_the_day_looked_at_moves_the_day(page):
    told = enter(page, "40 2045 32 1275", measure="weight_lag", day="2026-08-01")
    assert page.desk.as_of == pd.Timestamp("2026-08-01")
    assert page.now.weights.tail(2)["weight_g"].tolist() == [2045, 1275]
    assert f"{(2045 + 1275) / 72:.0f} g" in told


def test_weights_in_pounds_become_grams(page):
    page.desk.units = US
    enter(page, "40 4.5", measure="weight_lag", day="2026-08-01")
    assert "[lb]" in page.next.numbers.description
    # One pound is 453.59237 g by definition.
    assert page.now.weights["weight_g"].iloc[-1] == pytest.approx(4.5 * 453.59237)


@pytest.mark.parametrize(
    ("measure", "day", "numbers", "told"),
    [
        ("clusters", None, "", "No numbers are entered"),
        ("clusters", None, "23 x 18", "'x': not a number"),
        ("clusters", None, "23 -1", "'-1': not a number"),
        ("clusters", None, "23 nan", "'nan': not a number"),
        ("clusters", None, "23.5", "not a whole number"),
        ("clusters", None, "2318", "no vine carries that"),
        ("clusters", "2062-07-01", "23", "outside season 2026"),
        ("clusters", "2026-12-24", "23", "was picked by"),
        ("weight_lag", None, "40 2045 32", "without its pair"),
        ("weight_lag", None, "0 2045", "whole number above 0"),
        ("weight_lag", None, "2045 40", "no cluster weighs"),
    ],
)
def test_what_cannot_be_a_count_is_told_and_changes_nothing(opened, measure, day, numbers, told):
    before, chosen = opened.forecast(), opened.next.day.value
    assert told in enter(opened, numbers, measure=measure, day=day)
    assert opened.forecast() is before
    assert opened.entered.entries == []
    opened.next.day.value = chosen


def test_a_count_without_a_day_asks_for_it(page):
    page.next.day.value = None
    assert "Choose the day" in enter(page, "23 31")


def test_more_clusters_than_six_a_shoot_are_called_doubtful(page):
    assert "Doubtful" in enter(page, "300 310 290")


def test_entered_counts_are_saved_to_ones_own_folder_once_and_read_back(folder):
    page = CountingAndForecast(folder, draws=400)
    enter(page, "23 31 18")
    sheets = fold(page, "count sheets")
    drawn = page.forecast().draws
    old = (folder / "counts.csv").read_bytes()
    page.next.save_button.click()
    assert "3 rows were added" in said(page.next.said)
    new = (folder / "counts.csv").read_bytes()
    assert new.startswith(old)
    # Nothing on the page says any longer that they wait.
    assert "not saved" not in said(page) + said(sheets)
    assert page.next.save_button.layout.display == "none"
    assert read_records(folder).counts.tail(3)["clusters"].tolist() == [23, 31, 18]
    np.testing.assert_allclose(page.forecast().draws, drawn, rtol=1e-9)


def test_the_sample_is_never_written_into(page):
    enter(page, "23 31 18")
    page.next.save_button.click()
    assert "stay as they are" in said(page.next.said)
    assert page.entered.number == 3
    kept = fold(page, "keep this forecast")
    kept.keep_button.click()
    assert "stay as they are" in said(kept.kept)


def test_entries_are_taken_back_one_by_one(page):
    before = page.forecast().draws
    enter(page, "23 31 18")
    once = page.forecast().draws
    enter(page, "20")
    assert page.now.counts.tail(4)["vine"].tolist() == ["1", "2", "3", "4"]
    page.next.back_button.click()
    np.testing.assert_array_equal(page.forecast().draws, once)
    page.next.back_button.click()
    np.testing.assert_array_equal(page.forecast().draws, before)
    assert page.entered.entries == []


def test_two_numbers_of_each_vine_become_one_row_with_its_counter(page):
    form = page.next
    form.measure.value = "shoots"
    assert [words for words, _ in form.beside.options] == [
        "nothing else", "buds", "clusters", "buds and clusters",
    ]  # fmt: skip
    form.beside.value, form.counter.value = ("clusters",), "AB"
    assert form.numbers.description == "Of each vine: shoots, then clusters"
    form.block.value, form.numbers.value = KNOLL, "14 23, 15 31\n16 27"
    form.enter_button.click()
    assert "15.0 shoots per vine and 27.0 clusters per vine" in said(form.said)
    mine = page.now.counts.tail(3)
    assert mine[["shoots", "clusters"]].to_numpy().tolist() == [[14, 23], [15, 31], [16, 27]]
    assert mine["counter"].tolist() == ["AB"] * 3
    form.numbers.value = "14 23 15"
    form.enter_button.click()
    assert "3 numbers are no whole vines" in said(form.said)
    form.measure.value = "weight_lag"
    assert form.measures == ("weight_lag",)


def test_several_sheets_at_once_speak_and_are_saved_once(folder):
    page = CountingAndForecast(folder, draws=400)
    sheets = fold(page, "count sheets")
    head = "season;date;block;row;vine;shoots;clusters;counter"
    files = [
        ("a.csv", f"{head}\n" + "".join(f"2026;31.07.2026;{KNOLL};9;{at};14;{20 + at};AB\n"
                                        for at in range(1, 6))),
        ("b.csv", f"Block;Long Acre\n{head.replace(';block', '')}\n"
                  "2026;30.07.2026;1;1;15;30;CD\n"),
        ("c.csv", f"{head}\n2026;31.07.2026;{KNOLL};9;7;many;30;AB\n"),
    ]  # fmt: skip
    files = [(name, text.encode()) for name, text in files]
    sheets.read(files)
    told = said(sheets.returned) + said(sheets.wrong)
    assert f"a.csv: 5 vines of {KNOLL} read, shoots, clusters" in told
    assert "b.csv: 1 vine of Long Acre read" in told
    assert "c.csv, column shoots: must be a whole number" in told
    before = page.forecast().draws
    sheets.use_button.click()
    assert not np.array_equal(page.forecast().draws, before)
    assert "6 rows not saved yet" in said(sheets.waiting)
    # What was wrong with the other sheet stays in sight.
    assert "c.csv" in said(sheets.wrong)
    sheets.save_button.click()
    assert "6 rows were added to" in said(sheets.returned)
    assert "not saved" not in said(page) + said(sheets)
    assert sheets.save_button.layout.display == "none"
    counts = read_records(folder).counts.tail(6)
    assert counts["counter"].tolist() == ["AB"] * 5 + ["CD"]
    sheets.read(files[:2])
    assert "5 vines on record already" in said(sheets.returned)
    assert sheets.use_button.disabled


def test_sheet_says_its_size_and_comes_back_as_counts(page):
    sheets = fold(page, "count sheets")
    sheets.block.value, sheets.error.value = KNOLL, 15
    sheets.day.value = pd.Timestamp("2026-07-12").date()
    want = sample_vines(page.now, KNOLL, "clusters", error=0.15, season=2026, date="2026-07-12")
    assert f"{want.vines} vines give the mean" in said(sheets.words)
    name, data = sheets.csv_button.press()
    assert name == "count_clusters_Upper-Knoll_2026.csv"
    assert sheets.page_button.press()[1].decode() == want.html
    lines = data.decode("utf-8-sig").strip().splitlines()
    filled = [lines[0]]
    filled += [f"{line.removesuffix(',,')}{25 + at % 5},," for at, line in enumerate(lines[1:])]
    filled[-1] = lines[-1]  # no vine there: the box stays blank
    # The sheet names its block, whatever the form shows.
    sheets.block.value = "Long Acre"
    back = [("back.csv", "\n".join(filled).encode())]
    sheets.read(back)
    assert "1 line left blank" in said(sheets.returned)
    before = page.forecast().frame.set_index("block").loc[KNOLL, "range_t"]
    sheets.use_button.click()
    assert page.forecast().frame.set_index("block").loc[KNOLL, "range_t"] < before
    mine = page.now.counts.query("block == 'Upper Knoll' and season == 2026")
    assert mine["clusters"].notna().sum() == len(filled) - 2
    sheets.read(back)
    assert "on record already" in said(sheets.returned)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda text: text.replace(KNOLL, "Elsewhere").replace(",,,\r\n", ",9,,\r\n"),
         "'Elsewhere'"),
        (lambda text: text.replace(",,,\r\n", ",many,,\r\n", 2), "must be a whole number"),
        (lambda text: text, "left blank"),
        (lambda text: text.replace(",,,\r\n", ",9,,\r\n").replace("\n2026", "\n2025"),
         "season 2026 is chosen above"),
        (lambda text: "not,a,sheet\r\n", "is missing"),
        (lambda text: "\xff\xfe", "back.csv"),
    ],
)  # fmt: skip
def test_a_sheet_with_faults_tells_them_and_is_not_used(opened, change, told):
    sheets = fold(opened, "count sheets")
    sheets.block.value, sheets.day.value = KNOLL, pd.Timestamp("2026-07-12").date()
    sheets.read([("back.csv", change(sheets.planned.csv).encode("latin-1"))])
    assert told in said(sheets.returned) + said(sheets.wrong)
    assert sheets.use_button.disabled
    sheets.use()
    assert opened.entered.entries == []


def test_an_error_that_cannot_be_is_told(page):
    sheets = fold(page, "count sheets")
    sheets.error.value = 0
    assert "above zero" in said(sheets.message)
    assert sheets.csv_button.disabled
    assert sheets.csv_button.press() is None
    assert "There is no sheet" in said(sheets.kept)


def test_rows_of_a_block_can_be_said_where_they_are_not_on_record():
    sheets = fold(
        CountingAndForecast(make_records(blocks=[block_row()]), draws=400), "count sheets"
    )
    assert "is not on record" in said(sheets.words)
    sheets.block_rows.value = "20"
    assert "vines give the mean" in said(sheets.words)
    sheets.block_rows.value = "many"
    assert "must be a whole number or blank" in said(sheets.message)


def test_blocks_stand_in_the_order_asked_for(opened):
    blocks = fold(opened, "blocks now")
    for order, column in (("tonnes", "tonnes_p50"), ("range", "range_t")):
        blocks.order.value = order
        want = opened.forecast().frame.sort_values(column, ascending=False)["block"]
        shown = re.findall(r'<th scope="row">([^<]*)</th>', blocks.table.value)
        assert shown[:3] == list(want[:3])


def test_change_adds_up_to_the_difference_of_two_forecasts(opened):
    changed = fold(opened, "what changed since")
    first = season_days(example_records(), 2026)[0].day
    changed.since.value = first
    before, now = (
        found.frame_by("estate")["tonnes_p50"].iloc[0]
        for found in (opened.forecast_on(first), opened.forecast())
    )
    told = re.search(r"the middle of the estate moved by ([+-][0-9.]+) t", said(changed))
    assert float(told[1]) == pytest.approx(now - before, abs=0.006)


def test_where_nothing_changed_nothing_is_drawn(page):
    page.desk.as_of = page.desk.as_of + pd.Timedelta(days=1)
    changed = fold(page, "what changed since")
    assert "moved by +0.00 t." in said(changed) or "moved by 0.00 t." in said(changed)
    assert "<img" not in changed.answer.value
    assert "<table" not in changed.answer.value


def test_crew_check_says_a_word_and_the_crop(page):
    crew = fold(page, "crew check")
    crew.block.value = "Long Acre"
    counts = example_records().counts
    buds = counts.query("block == 'Long Acre' and season == 2026")["buds"].dropna()
    assert crew.check.verdict == "on plan"
    assert f"{buds.mean():.1f} buds a vine" in said(crew)
    assert "t/ha" in said(crew)
    crew.plan.value = "2x8+2x2"
    assert crew.check.verdict == "long"
    # Fewer clusters on each further bud: the crop rises, but by less than the buds do.
    planned = page.forecast().frame.set_index("block").loc["Long Acre", "t_ha_p50"]
    assert 0 < crew.check.t_ha[1] < (buds.mean() / 20 - 1) * planned
    crew.block.value = KNOLL
    assert "No buds are counted" in said(crew)
    assert crew.check is None


def test_crew_check_without_any_plan_names_its_own_box():
    counts = [
        {"season": 2026, "date": "2026-01-20", "block": "North", "row": str(row), "vine": str(vine)}
        | {"buds": 24 + vine % 3}
        for row in (1, 2)
        for vine in range(9)
    ]
    made = make_records(blocks=[block_row("North")], counts=counts)
    crew = fold(CountingAndForecast(made, season=2026, draws=400), "crew check")
    assert "write it into “Planned”" in said(crew.message)
    crew.plan.value = "2x10+2x2"
    assert crew.check.planned_buds == 24


def test_thinning_shows_the_advice_of_the_package_with_its_cautions(page):
    thinning = fold(page, "thinning")
    thinning.block.value = "Long Acre"
    assert "Give a target" in said(thinning)
    thinning.target.value = "6.0"
    want = thin_to(page.forecast(), "Long Acre", target_t_ha=6.0)
    assert thinning.found.keep == want.keep
    assert f"Leave at most {want.keep} clusters" in said(thinning)
    for caution in CAUTIONS:
        assert caution in said(thinning)
    page.desk.units = US
    assert float(thinning.target.value) == pytest.approx(US.convert("t_ha", 6.0), abs=0.005)
    assert "ton/ac" in thinning.target.description
    assert "t/ha" not in thinning.result.value
    thinning.target.value = "-1"
    assert "not a number of 0 or more" in said(thinning.message)
    assert thinning.figure.value == ""
    thinning.aim.value = "band.ravaz.general"
    assert thinning.target.layout.display == "none"
    assert "yield to prunings" in said(thinning)
    page.desk.as_of = pd.Timestamp("2026-10-30")
    assert "too late to thin" in said(thinning.message)


def test_forecasts_are_kept_one_line_a_block(folder):
    page = CountingAndForecast(folder, draws=400)
    kept = fold(page, "keep this forecast")
    assert "No forecast has been kept" in said(kept)
    kept.keep_button.click()
    log, _ = read_log(folder)
    assert log["tonnes_p50"].to_numpy() == pytest.approx(
        page.forecast().frame["tonnes_p50"].to_numpy()
    )
    assert f">{log['tonnes_p50'].sum():.1f}</td>" in kept.table.value


def test_errors_by_stage_are_said_to_be_of_invented_data(page, monkeypatch):
    monkeypatch.setattr("cropload.season.stage_errors.seasons_to_judge", lambda _: [2026])
    errors = fold(page, "how far off at each stage")
    errors.start_button.click()
    assert errors.progress.value == errors.progress.max == 5
    assert "invented sample estate" in said(errors)
    # De la Fuente and others 2015: 16 to 17 % at veraison; ITV 2005: 10 % of cluster weight.
    assert "16 to 17 %" in said(errors)
    row = errors.errors.frame.query("of == 'crop'").iloc[-1]
    assert f"{100 * row['error']:.0f} %" in said(errors)


def test_names_from_records_are_escaped_everywhere():
    name = "<script>alert(1)</script>"
    records = make_records(
        blocks=[block_row(name, rows=20)],
        pruning=[{"season": 2025, "block": name, "plan": "2x8+2x2", "date": "2025-02-01"}],
        counts=[
            {"season": 2025, "date": "2025-02-02", "block": name, "row": "1", "vine": str(vine),
             "buds": 20}
            for vine in range(12)
        ],
    )  # fmt: skip
    page = CountingAndForecast(records, draws=400)
    for words in FOLDS:
        fold(page, words)
    for each in html_of(page):
        assert "<script>" not in each.value
        assert "not made for" not in each.value


def test_a_block_without_any_season_on_record_has_its_page():
    made = make_records(blocks=[block_row("North")])
    page = CountingAndForecast(made, draws=400)
    assert "not made for" not in said(page)
    assert page.next.day.value is not None
