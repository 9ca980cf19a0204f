"""The commands ``frost``, ``after-frost`` and ``compare --frost``, as their user meets them."""

import pandas as pd
import pytest
from helpers import sample_copy

from cropload.frost.cover import frost_cover
from cropload.pages.cli import SUCCESS, USER_FAULT, main
from cropload.records.example import example_records
from cropload.show.terminal import text_width

FROST = ["frost", "--example", "--block", "Mill Meadow", "--plans", "2x10+2x2,2x14+2x2"]
AFTER = ["after-frost", "--example", "--block", "Mill Meadow"]
FEW = ["--draws", "200"]


@pytest.fixture
def run(capsys):
    """Run a command line and return exit code, standard output and standard error."""

    def ran(*arguments):
        code = main([str(argument) for argument in arguments])
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return code, out, err

    return ran


@pytest.fixture
def estate(tmp_path):
    """A folder of one's own with what the sample estate knows of frost."""
    return sample_copy(tmp_path / "estate", "blocks", "pruning", "harvest", "dates", "weather")


def change(folder, table, edit):
    """Let ``edit`` change a table of the folder, cells as text."""
    path = folder / f"{table}.csv"
    frame = pd.read_csv(path, dtype=str, keep_default_na=False)
    edit(frame).to_csv(path, index=False)


def test_both_cases_stand_apart_and_fit_80_columns(run):
    code, out, err = run(*FROST, "--case", "both", *FEW)
    assert (code, err) == (SUCCESS, "")
    assert "OVER 20 SPRINGS, wood laid down in winter" in out
    assert "OVER 20 SPRINGS, wood upright until a late final cut" in out
    assert max(text_width(line) for line in out.splitlines()) <= 80
    assert "That is little" in out.replace("\n  ", " ")
    assert "until the ice has melted" in out


def test_nights_that_cannot_be_stop_nothing_and_are_told_of_their_spring(run, estate):
    def damage(frame):
        here = frame["station"] == "Quillfoot station"
        night, summer = (here & (frame["date"] == f"2018-{day}") for day in ("04-14", "08-01"))
        assert night.sum() == summer.sum() == 1
        frame = frame.assign(tmin_c=frame["tmin_c"].mask(night | summer, "60"))
        other = frame[here & (frame["date"] == "2017-04-07")].assign(tmin_c="-9")
        return pd.concat([frame, other])

    change(estate, "weather", damage)
    code, out, err = run(*FROST[:1], estate, *FROST[2:], *FEW)
    assert code == SUCCESS
    told = " ".join(out.split())
    assert "spring 2018 lacks 2018-04-14, left out of the weather" in told
    assert "spring 2017 lacks 2017-04-07, left out of the weather" in told
    assert "2 such days: 2018-04-14, 2018-08-01" in " ".join(err.split())


def test_figures_are_those_of_the_library(run, tmp_path):
    target = tmp_path / "years.csv"
    code, out, _ = run(*FROST, *FEW, "--csv", target)
    assert code == SUCCESS
    direct = frost_cover(example_records(), "Mill Meadow", "2x10+2x2,2x14+2x2", draws=200)
    rows = pd.read_csv(target)
    assert len(rows) == 40
    assert rows["t_ha_p50"].tolist() == pytest.approx(
        direct.frame_by("season")["crop_p50"].tolist(), rel=1e-3
    )
    row = direct.frame.iloc[0]
    assert f"{100 * row['chance_low']:.0f} to {100 * row['chance_high']:.0f}" in out


def test_a_colder_offset_leaves_less_in_either_unit(run, tmp_path):
    left = []
    for at, more in enumerate(
        (["--offset", "-1.5"], ["--offset", "-3"], ["--offset", "-5.4", "--units", "us"])
    ):
        target = tmp_path / f"{at}.csv"
        assert run(*FROST, *FEW, *more, "--csv", target)[0] == SUCCESS
        left.append(pd.read_csv(target)["crop_left_p50"].mean())
    assert left[1] < left[0]
    # -5.4 F of difference are -3 C.
    assert left[2] == pytest.approx(left[1], abs=1e-4)


def test_compare_gains_frost_columns_on_demand(run, tmp_path):
    target = tmp_path / "plans.csv"
    compare = ["compare", *FROST[1:], *FEW]
    code, out, _ = run(*compare, "--frost", "--csv", target)
    assert code == SUCCESS
    assert "OVER 20 SPRINGS, wood laid down in winter" in out
    assert max(text_width(line) for line in out.splitlines()) <= 80
    rows = pd.read_csv(target)
    assert rows["frost_mean_share_p50"].between(0, 1).all()
    assert "OVER 20 SPRINGS" not in run(*compare)[1]
    code, _, err = run(*compare, "--offset", "-2")
    assert code == USER_FAULT
    assert "--frost" in err


def test_after_a_frost_primary_and_secondary_crop_are_apart(run, tmp_path):
    target = tmp_path / "blocks.csv"
    code, out, _ = run(*AFTER, "--vines", "7/14,6/12,7/13", *FEW, "--csv", target)
    assert code == SUCCESS
    assert "20 of 39 shoots are dead: 51 %" in out
    for word in ("primary shoots", "secondary shoots", "Wait 7 days or more", "2 to 4 weeks"):
        assert word in out
    plain = pd.read_csv(target).set_index("block")["tonnes_p50"]
    assert plain["Mill Meadow"] > 0
    totals = run(*AFTER, "--dead", 20, "--alive", 19, *FEW)[1]
    assert "20 of 39 shoots are dead: 51 %" in totals


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--dead", "3"], "both --dead and --alive"),
        ([], "--vines with a count a vine"),
        (["--dead", "3", "--alive", "4", "--vines", "1/2"], "--vines with a count a vine"),
        (["--vines", "5/3"], "5 dead shoots of 3 seen"),
        (["--vines", "5-3"], "no count of a vine"),
        (["--dead", "-3", "--alive", "9"], "below 0"),
        (["--dead", "3", "--alive", "9", "--frost-date", "soon"], "not a date"),
    ],
)
def test_bad_counts_end_with_one_message(run, more, words):
    code, out, err = run(*AFTER, *more)
    assert (code, out) == (USER_FAULT, "")
    assert words in " ".join(err.split())


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--station", "Quilfoot station"], "no station 'Quilfoot station'"),
        (["--hemisphere", "south"], "those of the north"),
        (["--logger", "Quillfoot station"], "station itself"),
        (["--budburst-sum", "-4"], "not a positive number"),
        (["--budburst-sum", "90000"], "no season of this weather"),
        (["--heavy-loss-pct", "300"], "--heavy-loss-pct is 300; it must be from 0 to below 100 %"),
        (["--offset", "-40"], "check the units"),
        (["--logger", "low block logger", "--offset", "-1"], "not allowed with"),
    ],
)
def test_bad_questions_end_with_one_message(run, more, words):
    code, out, err = run(*FROST, *FEW, *more)
    assert (code, out) == (USER_FAULT, "")
    assert words in " ".join(err.split())


def empty(frame):
    return frame.iloc[:0]


def autumn(frame):
    here = (frame["block"] == "Mill Meadow") & (frame["stage"] == "budburst")
    frame.loc[here, "date"] = frame.loc[here, "season"] + "-10-05"
    return frame


def no_burst(frame):
    return frame[(frame["block"] != "Mill Meadow") | (frame["stage"] != "budburst")]


@pytest.mark.parametrize(
    ("table", "edit"),
    [
        ("weather", empty),
        ("dates", autumn),
        ("dates", no_burst),
    ],
)
def test_bad_records_end_with_one_message(run, estate, table, edit):
    change(estate, table, edit)
    code, out, err = run("frost", estate, *FROST[2:], *FEW)
    assert (code, out) == (USER_FAULT, "")
    assert err.strip()


def gap(frame):
    return frame[~frame["date"].isin(["2016-02-03", "2016-02-04"])]


def one_year(frame):
    return frame[frame["date"].str.startswith("2026")]


def hot(frame):
    """Degrees Fahrenheit in columns of degrees Celsius."""
    for column in ("tmin_c", "tmax_c"):
        frame[column] = [f"{float(value) * 1.8 + 32:.1f}" for value in frame[column]]
    return frame


@pytest.mark.parametrize(
    ("edit", "words"),
    [(gap, "2 missing day(s) filled"), (one_year, "one season only")],
)
def test_doubts_are_printed_beside_the_result(run, estate, edit, words):
    change(estate, "weather", edit)
    code, out, _ = run("frost", estate, *FROST[2:], *FEW)
    assert code == SUCCESS
    assert words in " ".join(out.split())


def test_degrees_fahrenheit_by_mistake_are_met_with_a_way_out(run, estate):
    # A year in Fahrenheit is hotter than any place on earth, so the records are not read at all.
    change(estate, "weather", hot)
    code, _, err = run("frost", estate, *FROST[2:], *FEW)
    assert code == USER_FAULT
    assert "column whose name ends in _f" in " ".join(err.split())


def test_check_tells_a_harvest_that_the_spring_does_not_explain(run, estate):
    def poor(frame):
        one = (frame["block"] == "Long Acre") & (frame["season"] == "2024")
        return frame.assign(tonnes=frame["tonnes"].mask(one, "1"))

    assert "CONTRADICTS" not in run("check", estate)[1]
    change(estate, "harvest", poor)
    told = " ".join(run("check", estate)[1].split())
    assert "SPRINGS THAT THE HARVEST CONTRADICTS Long Acre, 2024: by the model frost left" in told
    assert "no loss is on record" in told
