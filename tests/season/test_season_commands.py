"""The commands of the season, run as the user runs them, against the package's own answers."""

import csv

import pandas as pd
import pytest
from helpers import LEARNT_FROM, sample_copy

from cropload import example_records, forecast, read_records, sample_size, two_step_plan
from cropload.pages.cli import main
from cropload.season.crew_verdict import vines_to_check
from cropload.season.forecast_log import read_log
from cropload.season.next_counts import next_counts
from cropload.season.sampling import cv_of_counts
from cropload.season.thinning import CAUTIONS, thin_to
from cropload.units import US

DAY = "2026-07-15"
DRAWS = ["--draws", "500"]


@pytest.fixture(scope="module")
def found():
    return forecast(example_records(), 2026, DAY, draws=500)


@pytest.fixture
def run(capsys):
    def call(*arguments, code=0):
        assert main([str(each) for each in arguments]) == code
        told = capsys.readouterr()
        assert max(len(line) for line in told.out.splitlines() or [""]) <= 80
        assert "Traceback" not in told.err
        return told.out if code == 0 else " ".join(told.err.split())

    return call


@pytest.fixture
def folder(tmp_path):
    return sample_copy(tmp_path / "mine", *LEARNT_FROM)


def test_forecast_prints_the_crop_of_every_block_and_the_estate(run, found):
    text = run("forecast", "--example", "--season", 2026, "--as-of", DAY, *DRAWS)
    row = found.frame.set_index("block").loc["Long Acre"]
    line = next(line for line in text.splitlines() if line.startswith("Long Acre"))
    assert f"{row['tonnes_p50']:.1f} ({row['tonnes_p10']:.1f}-{row['tonnes_p90']:.1f})" in line
    assert "80 % range, equal tails" in " ".join(text.split())
    assert "after the clusters were counted" in " ".join(text.split())
    assert "not a guarantee" in " ".join(text.split())


def test_forecast_writes_a_file_in_the_units_asked_for(run, found, tmp_path):
    target = tmp_path / "crop.csv"
    run("forecast", "--example", "--season", 2026, "--as-of", DAY, "--by", "variety",
        "--units", "us", "--csv", target, *DRAWS)  # fmt: skip
    table = pd.read_csv(target)
    want = US.convert("tonnes", found.frame_by("variety")["tonnes_p50"])
    assert table["tons_p50"].tolist() == pytest.approx(want.tolist(), rel=1e-5)
    assert set(table["interval"]) == {"80 % range, equal tails"}
    assert not [name for name in table if name.endswith(("_t", "_ha", "tonnes"))]


def test_forecast_says_what_changed_since_a_day(run):
    text = run("forecast", "--example", "--season", 2026, "--as-of", "2026-08-20",
               "--since", "2026-03-01", *DRAWS)  # fmt: skip
    later, early = (forecast(example_records(), 2026, d, draws=500)
                    for d in ("2026-08-20", "2026-03-01"))  # fmt: skip
    now, then = (each.frame_by("estate")["tonnes_p50"][0] for each in (later, early))
    moved = now - then
    line = next(line for line in text.splitlines() if line.startswith("all together"))
    assert line.split()[-1] == f"{moved:+.2f}"


def test_log_is_kept_in_a_folder_of_ones_own_only(run, folder):
    run("forecast", folder, "--season", 2026, "--as-of", DAY, "--log", *DRAWS)
    log, faults = read_log(folder)
    assert len(log) == len(read_records(folder).blocks)
    assert faults == ()
    assert "keeps no log" in run("forecast", "--example", "--log", *DRAWS, code=2)


def test_next_prints_the_ranking_of_the_package(run, found):
    text = run("next", "--example", "--season", 2026, "--as-of", DAY, "--hours", 2, *DRAWS)
    best = next_counts(found, hours=2.0).frame.iloc[0]
    line = next(line for line in text.splitlines() if line.startswith(" 1 "))
    assert best["block"] in line
    assert f"{best['removed_t']:.2f}" in line
    assert "Riesling" in run("next", "--example", "--season", 2026, "--as-of", DAY,
                             "--of", "Riesling", *DRAWS)  # fmt: skip
    # In winter it says from when on; nothing can be counted before.
    asked = ["--season", 2026, "--as-of", "2026-02-01", *DRAWS]
    assert "Not before about 2026-05-" in " ".join(run("next", "--example", *asked).split())
    assert "no total of 'Reisling'" in run("next", "--example", "--of", "Reisling", *DRAWS, code=2)


def test_sample_says_the_size_of_a_mean_and_writes_both_sheets(run, tmp_path):
    page, sheet = tmp_path / "sheet.html", tmp_path / "sheet.csv"
    text = run("sample", "--example", "--block", "Long Acre", "--error", 10, "--date", DAY,
               "--html", page, "--csv", sheet)  # fmt: skip
    text = " ".join(text.split())
    counts = example_records().counts
    mine = counts[(counts["block"] == "Long Acre") & counts["clusters"].notna()]
    visits = mine.groupby(["season", "date"])["clusters"]
    # Pooled relative spread within visits, by pandas alone.
    squared = (visits.std() / visits.mean()) ** 2
    cv = (squared * (visits.count() - 1)).sum() / (visits.count() - 1).sum()
    number = sample_size(cv**0.5, 0.10, 0.95, 5910)
    assert f"{number} vines give the mean of clusters" in text
    assert "number is for a mean" in text
    with open(sheet, encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == -(-number * 1000 // 985)  # 1.5 % of the places have no vine
    assert all(row["clusters"] == "" and row["date"] == "2026-07-15" for row in rows)
    assert "<html" in page.read_text(encoding="utf-8")
    again = run("sample", "--example", "--block", "Long Acre", "--html", page, code=2)
    assert "sheet.html" in again


def test_two_steps_weigh_on_few_of_the_vines_counted(run, tmp_path):
    page = tmp_path / "sheet.html"
    text = run("sample", "--example", "--block", "Long Acre", "--two-step", "--error", 15,
               "--date", DAY, "--html", page)  # fmt: skip
    spread = cv_of_counts(example_records(), "Long Acre", "clusters").cv
    plan = two_step_plan(0.15, 0.95, 5910, cv_clusters=spread)
    told = " ".join(text.split())
    assert f"Count clusters on {plan.vines_counted} vines and weigh" in told
    assert f"from {plan.vines_weighed} of them" in told
    # 1.5 % of the places have no vine, so as many more are visited and weighed at.
    starred = told.split("The walk")[1].split(": ", 1)[1].split(".")[0]
    assert starred.count("*") == -(-plan.vines_weighed * 1000 // 985)
    assert page.read_text(encoding="utf-8").count(" weigh</td>") == starred.count("*")
    refused = run("sample", "--example", "--block", "Long Acre", "--two-step", "--what", "shoots",
                  code=2)  # fmt: skip
    assert "Two steps are for clusters" in refused


def test_crew_says_a_verdict_and_what_it_means_for_the_crop(run):
    text = " ".join(run("crew", "--example", "--block", "Long Acre", "--season", 2026,
                        *DRAWS).split())  # fmt: skip
    counts = example_records().counts
    buds = counts[(counts["block"] == "Long Acre") & (counts["season"] == 2026)]["buds"]
    first = "Long Acre, harvest 2026, counted 2026-02-18. On plan:"
    assert text.startswith(f"{first} {buds.mean():.1f} buds a vine")
    assert "30 vines counted" in text
    assert "t/ha" in text
    short = " ".join(run("crew", "--example", "--block", "Long Acre", "--season", 2026,
                         "--plan", "4x9+3x2", *DRAWS).split())  # fmt: skip
    assert "2026-02-18. Short:" in short
    fallen = " ".join(run("crew", "--example", "--block", "Long Acre", *DRAWS).split())
    assert fallen.startswith(
        "Long Acre, harvest 2026, counted 2026-02-18; 2026 is the latest with buds counted; "
        "no bud is counted for 2027."
    )
    assert "changes by -" in short


def test_rows_with_too_few_vines_take_one_line(run):
    text = run("crew", "--example", "--block", "Quarry Bank", "--season", 2026, *DRAWS)
    assert "1 to 2 vines counted in each of 22 rows: too few to tell by the row." in text
    assert "ROW BY ROW" not in text


def test_the_sheet_for_buds_has_the_vines_of_the_crew_check(run):
    text = " ".join(run("sample", "--example", "--block", "Long Acre", "--what", "buds").split())
    spread = cv_of_counts(example_records(), "Long Acre", "buds")
    bearing = int(text.split("the block has ")[1].split()[0].replace(",", ""))
    wanted = vines_to_check(spread.cv, population=bearing)
    assert f" {wanted} vines in block Long Acre tell a crew on plan" in text


def test_thin_prints_the_advice_of_the_package_and_its_cautions(run, found):
    text = " ".join(run("thin", "--example", "--block", "Long Acre", "--season", 2026,
                        "--as-of", DAY, "--target-t-ha", 6, *DRAWS).split())  # fmt: skip
    advice = thin_to(found, "Long Acre", target_t_ha=6.0)
    assert advice.heading().removeprefix("Long Acre: ") in text
    for caution in CAUTIONS:
        assert caution in text
    us = " ".join(run("thin", "--example", "--block", "Long Acre", "--season", 2026, "--as-of", DAY,
                      "--target-ton-ac", f"{US.convert('t_ha', 6.0):.10f}", "--units", "us",
                      *DRAWS).split())  # fmt: skip
    assert f"Leave at most {advice.keep} clusters" in us
    assert "t/ha" not in us


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["forecast", "--example", "--as-of", "2026-13-45"], "is not a date"),
        (["forecast", "--example", "--as-of", "soon"], "is not a date"),
        (["sample", "--example", "--block", "Lng Acre"], "Did you mean 'Long Acre'"),
        (["sample", "--example", "--block", "Long Acre", "--error", "0"], "above zero"),
        (["sample", "--example", "--block", "Long Acre", "--what", "leaves"], "is not counted"),
        (["crew", "--example", "--block", "Upper Knoll"], "No buds are counted"),
        (["thin", "--example", "--block", "Long Acre"], "is required"),
        (["thin", "--example", "--block", "Long Acre", "--ravaz", "5,"], "is not a band"),
        (["next", "--example", "--hours", "-2"], "above 0"),
    ],
)
def test_a_fault_is_one_clear_message(run, arguments, told):
    text = run(*arguments, code=2)
    assert told in " ".join(text.split())


def test_crew_takes_last_winters_plan_or_names_its_own_option(run, tmp_path):
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "blocks.csv").write_text(
        "block,variety,row_spacing_m,vine_spacing_m,vines\nA,Riesling,2.5,1.5,600\n"
    )
    buds = "".join(f"2027,2026-11-20,A,{r},{v},{24 + v % 3}\n" for r in "12" for v in range(9))
    (mine / "counts.csv").write_text(f"season,date,block,row,vine,buds\n{buds}")
    asked = ("crew", mine, "--block", "A", "--season", 2027, *DRAWS)
    assert "--plan 2x10+2x2" in " ".join(run(*asked, code=2).split())
    (mine / "pruning.csv").write_text("season,block,plan\n2026,A,2x10+2x2\n")
    text = " ".join(run(*asked).split())
    assert "the last one, 2x10+2x2 of 2026, is taken as unchanged" in text


def test_due_writes_reminders_and_never_over_others(run, tmp_path):
    import icalendar

    asked = ("due", "--example", "--day", "2027-05-20", "--hours", 3)
    file = tmp_path / "due.ics"
    text = run(*asked, "--ics", file, "--csv", tmp_path / "due.csv")
    told = " ".join(text.split())
    assert "Due now: write down the plan in 8 blocks, count shoots in 8 blocks; next:" in told
    events = icalendar.Calendar.from_ical(file.read_bytes()).walk("VEVENT")
    table = pd.read_csv(tmp_path / "due.csv")
    assert len(events) == table["state"].isin(["now", "later"]).sum() > 30
    assert {"block", "what", "starts", "until", "removed_t", "season", "day"} <= set(table)
    before = file.read_bytes()
    assert "exists" in run(*asked, "--ics", file, code=2)
    assert file.read_bytes() == before
