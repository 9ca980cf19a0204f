"""What newcomers ask: a slip gets one message, and an answer says what it rests on."""

import re
import shutil

import numpy as np
import pandas as pd
import pytest
from helpers import sample_copy

from cropload import clock
from cropload.pages import opening as launch
from cropload.pages.cli import all_commands, command_parser, main
from cropload.show.terminal import text_width
from cropload.show.us_beside import us_beside
from cropload.units import US

BLOCK = ["--block", "Long Acre"]
PLANS = ["--plans", "3x6+3x2,3x10+3x2"]
QUICK = ["--draws", "200"]


@pytest.fixture
def estate(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return sample_copy(tmp_path / "mine", "blocks", "pruning", "harvest")


@pytest.fixture
def run(capsys):
    def ask(*arguments):
        code = main([str(argument) for argument in arguments])
        told = capsys.readouterr()
        assert "Traceback" not in told.out + told.err
        return code, told.out, told.err

    return ask


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["new", ""], "blank"),
        (["new", "  "], "blank"),
        (["open", ""], "blank"),
        (["open", "mine/blocks.csv"], "is a file"),
        (["present", "mine/blocks.csv"], "is a file"),
        (["open", "mine/result.xlsx"], "no sheet 'blocks'"),
        (["open", "nowhere", "--port", "80"], "--port is 80"),
        (["check", "a\0b"], "NUL"),
        (["compare", "mine", *BLOCK, *PLANS, "--csv", "a\0.csv"], "NUL"),
        (["compare", "mine", *BLOCK, *PLANS, "--csv", ""], "must end in .csv"),
        (["compare", "mine", *BLOCK, *PLANS, "--csv", "a" * 300 + ".csv"], "shorter name"),
        (["check", "a" * 300], "is not a usable"),
        (["intake", "mine", "--move", "--window", "-1"], "0 to 60 days"),
        (["intake", "mine", "--window", "3"], "--move"),
        (["buds", "--formula", "30+10", "--pruning-weight", "900"], "grams"),
        (["buds", "--formula", "30+10", "--pruning-weight", "45", "--unit", "lb"], "44.1 lb"),
        (["damage", "--dead", "1", "--sampled", "9", "--wanted", "1e9"], "at most 1000 buds"),
        (["plan", "mine", *BLOCK, "--target-t-ha", "1,234"], "1.234 or 1234"),
    ],
)
def test_a_slip_gets_one_message_and_ends_with_2(estate, run, arguments, told):
    pd.DataFrame({"a": [1]}).to_excel(estate / "result.xlsx", sheet_name="forecast")
    before = sorted(estate.parent.rglob("*"))
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert told in " ".join(err.split())
    assert sorted(estate.parent.rglob("*")) == before


@pytest.mark.parametrize("text", ["7,5", "0,125", "12,34", "1234", "1.234"])
def test_a_decimal_comma_is_read_where_it_can_mean_one_thing(text):
    from cropload.show.options import number

    assert number(text) == float(text.replace(",", "."))


def test_a_workbook_of_records_may_be_opened_when_it_is_the_one_shown(tmp_path):
    from cropload import write_template

    book = write_template(tmp_path / "season.xlsx", xlsx=True)
    assert launch.working_folder(book)[0] == tmp_path.resolve()
    shutil.copy(book, tmp_path / "records.xlsx")
    with pytest.raises(ValueError, match="Other records lie beside"):
        launch.working_folder(book)


def test_each_folder_keeps_its_own_tabs_and_none_in_the_records(tmp_path):
    one, other = tmp_path / "one", tmp_path / "other"
    assert launch.layouts_of(one) == launch.layouts_of(one) != launch.layouts_of(other)
    settings = launch.workbook_settings(one, 8888, "secret")
    place = settings["LabApp"]["workspaces_dir"]
    assert place == str(launch.layouts_of(one))
    assert str(tmp_path) not in place


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_difference_is_told_with_its_own_range(run, tmp_path, units):
    file = tmp_path / "found.csv"
    asked = ["compare", "--example", *BLOCK, *PLANS, *QUICK, "--units", units, "--csv", file]
    code, out, _ = run(*asked)
    assert code == 0
    assert "DIFFERENCE to 3x6+3x2" in out
    saved = pd.read_csv(file).iloc[1]
    crop = "t_ha" if units == "metric" else "ton_ac"
    pattern = r"3x10\+3x2 +([+-]?[\d.]+) \(([+-]?[\d.]+) to ([+-]?[\d.]+)\)"
    shown = re.findall(pattern, out.partition("DIFFERENCE")[2])
    for ending, found in zip(("", "_settled"), shown, strict=True):
        wanted = [saved[f"{crop}{ending}_change_{end}"] for end in ("p50", "p10", "p90")]
        np.testing.assert_allclose([float(each) for each in found], wanted, atol=0.051)


def test_one_plan_has_no_difference(run):
    assert "DIFFERENCE" not in run("compare", "--example", *BLOCK, "--plans", "3x8", *QUICK)[1]


@pytest.mark.parametrize(
    "asked",
    [
        ["compare", *BLOCK, *PLANS],
        ["plan", *BLOCK, "--target-t-ha", "9", "--ravaz", "1,2", "--shoots-per-ft", "3,4"],
        ["plan", *BLOCK, "--target-ton-ac", "3.5"],
        ["forecast"],
    ],
)
@pytest.mark.parametrize("units", ["metric", "us"])
def test_answers_fit_80_columns_and_keep_to_one_unit_system(run, asked, units):
    code, out, _ = run(asked[0], "--example", *asked[1:], *QUICK, "--units", units)
    assert code == 0
    assert max(text_width(line) for line in out.splitlines()) <= 80
    assert not re.search(r"\bt/ha\b|\bper m\b|\bkg\b" if units == "us" else r"ton/ac|\blb\b", out)


def test_when_nothing_fits_the_nearest_are_marked_as_outside(run):
    out = run("plan", "--example", *BLOCK, "--target-t-ha", "9", "--ravaz", "1,2", *QUICK)[1]
    assert "NEAREST, but outside the limits" in out
    assert re.search(r"is outside: yield to pruning weight:\s+[\d.]+\s+kg/kg too high", out)


def test_a_target_no_plan_is_near_is_said(run):
    out = run("plan", "--example", *BLOCK, "--target-t-ha", "1e-9", *QUICK)[1]
    assert "No pruning reaches such a crop" in " ".join(out.split())


@pytest.mark.parametrize("asked", [["compare", *BLOCK, *PLANS], ["forecast"]])
def test_the_season_meant_is_said_and_a_past_one_warned_of(estate, run, asked):
    out = " ".join(run(asked[0], "--example", *asked[1:], *QUICK)[1].split())
    assert re.match("(Long Acre, h|H)arvest 2027[^.]*the one after the last harvest", out)
    assert "--season YEAR" in out
    for table in ("harvest", "pruning"):
        frame = pd.read_csv(estate / f"{table}.csv")
        frame[frame["season"] <= 2024].to_csv(estate / f"{table}.csv", index=False)
    out = " ".join(run(asked[0], estate, *asked[1:], *QUICK)[1].split())
    assert re.match("(Long Acre, h|H)arvest 2025[^.]*the one after the last harvest on record", out)
    assert "that harvest is past" in out
    assert f"Today is {clock.today():%Y-%m-%d}" in out
    named = " ".join(run(asked[0], estate, *asked[1:], "--season", "2025", *QUICK)[1].split())
    assert "the one after" not in named


#: A command that is of a season -> what it is asked, and the day that its first line names.
OF_A_SEASON = {
    "sample": ([*BLOCK, "--date", "2026-07-15"], "visit of 2026-07-15"),
    "next": (["--as-of", "2026-07-15"], "as of 2026-07-15"),
    "thin": ([*BLOCK, "--as-of", "2026-07-15", "--ravaz", "5,10"], "as of 2026-07-15"),
    "due": (["--day", "2026-07-15"], "as of 2026-07-15"),
    "forecast": (["--as-of", "2026-07-15"], "as of 2026-07-15"),
    "intake": (["--as-of", "2026-07-15"], "as of 2026-07-15"),
    "plan": ([*BLOCK, "--target-t-ha", "9"], ""),
    "compare": ([*BLOCK, *PLANS], ""),
    "frost": (["--block", "Mill Meadow", "--plans", "2x10+2x2"], ""),
    "after-frost": (
        [*BLOCK, "--dead", "9", "--alive", "9", "--frost-date", "2026-05-09"],
        "frost of 2026-05-09",
    ),
    "report": (["--scenario", "today=Long Acre:last", "--scenario", "less=Long Acre:3x6"], ""),
    "cards": ([*BLOCK, "--plan", "3x6+3x2", "--html", "cards.html"], ""),
    "pocket": (["--out", "pocket.html"], ""),
    "crew": (BLOCK, "counted 2026-02-18"),
    "review": ([], ""),
    "check": ([], ""),
}


@pytest.mark.parametrize("name", OF_A_SEASON)
def test_the_first_line_names_season_and_day_and_why_that_season(run, tmp_path, monkeypatch, name):
    """Of the sample, which is read once for all of them."""
    monkeypatch.chdir(tmp_path)
    asked, day = OF_A_SEASON[name]
    takes = command_parser(all_commands()[name])._option_string_actions
    asked = [name, "--example", *asked, *["--replace"] * ("--replace" in takes)]
    asked += ["--draws", "200"] * ("--draws" in takes)
    past = name in ("crew", "review", "after-frost") or day.startswith("as of")
    left_out, given = ([], 2026 if past else 2027), (["--season", "2026"], 2026)
    # What is told of the season is the same in both systems: the longest form is asked in each.
    for units, (season, year) in (("metric", left_out), ("metric", given), ("us", left_out)):
        code, out, _ = run(*asked, *season, *["--units", units] * ("--units" in takes))
        assert code == 0
        first, *others = out.splitlines()
        assert max(map(text_width, out.splitlines())) <= 80
        assert f"arvest {year}" in first
        assert day in first
        assert ("--season YEAR asks another" in " ".join(out.split())) == (not season)
        assert f"arvest {year}: " not in "\n".join(others)


def test_every_command_with_a_season_is_held_to_its_first_line():
    seasonal = {
        name
        for name, command in all_commands().items()
        if "--season" in command_parser(command)._option_string_actions
    }
    assert seasonal == set(OF_A_SEASON)


def test_numbers_in_a_file_have_six_significant_figures(run, tmp_path):
    file = tmp_path / "found.csv"
    run("compare", "--example", *BLOCK, *PLANS, *QUICK, "--csv", file)
    text = file.read_text(encoding="utf-8-sig")
    digits = [
        len(number.replace(".", "").strip("0")) for number in re.findall(r"\b\d+\.\d+\b", text)
    ]
    assert max(digits) == 6


def test_a_formula_alone_says_that_no_cap_is_in_it(run):
    asked = ["buds", "--formula", "30+10", "--pruning-weight", "2.5"]
    assert "No cap by space" in run(*asked)[1]
    assert "No cap by space" not in run(*asked, "--vine-spacing", "1.5")[1]


def test_canes_without_renewal_spurs_say_what_the_losses_rest_on(run):
    out = " ".join(run("compare", "--example", *BLOCK, "--plans", "2x10", *QUICK)[1].split())
    assert "are no losses seen" in out
    assert "Leave a renewal spur below each cane" in out


def test_us_figures_stand_beside_metric_ones():
    """Exact factors: 1 ft = 0.3048 m, 1 lb = 453.59237 g."""
    assert us_beside("rows 3.048 m apart, 453.59237 g each") == (
        "rows 3.048 m (10 ft) apart, 453.59237 g (1 lb) each"
    )
    assert us_beside("5 me, 3 m2, row 7: 12 t/ha (5.35 ton/ac)").count("(") == 1
    assert us_beside("outside 2 to 50 t/ha.") == "outside 2 to 50 t/ha (0.892 to 22.3 ton/ac)."
    assert us_beside("1,000 kg").endswith(f"({US.convert('pruning_weight_kg', 1000):.3g} lb)")


def test_doubts_are_told_in_us_units_too(estate, run):
    frame = pd.read_csv(estate / "harvest.csv")
    here = (frame["season"] == 2025) & (frame["block"] == "Home Terrace")
    frame.loc[here, "tonnes"] = 90
    frame.to_csv(estate / "harvest.csv", index=False)
    err = run("compare", estate, *BLOCK, *PLANS, *QUICK, "--units", "us")[2]
    assert "doubtful" in err
    assert "ton/ac" in err


def test_a_newcomers_tonnes_without_a_plan_and_an_unknown_variety_are_answered_with_notes(
    run, tmp_path
):
    mine = tmp_path / "new"
    mine.mkdir()
    (mine / "blocks.csv").write_text(
        "block,variety,row_spacing_m,vine_spacing_m,vines\nA,No such grape,2.5,1.5,600\n"
    )
    (mine / "harvest.csv").write_text("season,block,tonnes\n2025,A,2.0\n")
    code, text, _ = run("compare", mine, "--block", "A", "--plans", "2x8+2x2", *QUICK)
    told = " ".join(text.split())
    assert code == 0
    assert "CROP at the scale" in told
    assert "another. Load unknown: no plan is on record for A. Which is carried now?" in told
    assert "--reference-plan 2x10+2x2" in told
    assert "The handbook has no entry for No such grape: general values" in told
