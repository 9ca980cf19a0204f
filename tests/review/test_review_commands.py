"""The commands after harvest, run as the user runs them, against the package's own answers."""

import re

import pandas as pd
import pytest
from helpers import LEARNT_FROM, once, sample_copy

import cropload
from cropload import example_records, forecast, read_records
from cropload.beliefs.learned import read_learned
from cropload.pages.cli import main
from cropload.review.accepting import worth_accepting
from cropload.review.lesson_words import trend_tag
from cropload.review.split_miss import split_miss
from cropload.review.vine_trend import vine_trend
from cropload.review.words import block_sentence, miss_sentence
from cropload.season.forecast_log import log_forecast
from cropload.show.wording import percent
from cropload.units import US

DRAWS = ["--draws", "300"]
review_season, learn = once(cropload.review_season), once(cropload.learn)


@pytest.fixture(autouse=True, scope="module")
def asked_once():
    """The commands ask what the tests ask: both are answered by the same, worked out once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("cropload.review.review.review_season", review_season)
        patch.setattr("cropload.review.learning.learn", learn)
        yield


@pytest.fixture
def run(capsys):
    def call(*arguments, code=0):
        assert main([str(each) for each in arguments]) == code
        told = capsys.readouterr()
        # The place of a file stands on a line of its own, unbroken, so that it can be copied.
        lines = [line for line in told.out.splitlines() if "learned." not in line]
        assert max((len(line) for line in lines), default=0) <= 80
        assert "Traceback" not in told.err
        if code:
            assert told.out == ""
        return told.out if code == 0 else " ".join(told.err.split())

    return call


@pytest.fixture
def folder(tmp_path):
    return sample_copy(tmp_path / "mine", *LEARNT_FROM)


@pytest.fixture(scope="module")
def lessons():
    return learn(example_records())


def small(folder, **tables):
    """Write a folder with one block and some tables, given as CSV text."""
    folder.mkdir(exist_ok=True)
    blocks = "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Anyvine,2.5,1.5,1000\n"
    for name, text in {"blocks": blocks, **tables}.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def flat(text):
    return " ".join(text.split())


def line_of(text, start):
    return next(line for line in text.splitlines() if line.startswith(start))


def test_review_prints_the_scores_the_guesses_and_what_missed(run):
    text = run("review", "--example", "--season", 2025, *DRAWS)
    found = review_season(example_records(), 2025, draws=300)
    row = found.frame.set_index("moment").loc["clusters"]
    cells = line_of(text, "after clusters").split("  ")
    assert f"{100 * row['bias']:+.0f}" in " ".join(cells)
    assert f"{row['inside']} of {row['seen']}" in " ".join(cells)
    assert f"{row['crps_t']:.2f}" in cells[-1]
    beside = text.split("A grower's own guesses")[1]
    assert percent(row["block_mean_miss"]) in line_of(beside, "after clusters")
    split = split_miss(example_records(), 2025, found.forecasts["clusters"])
    assert block_sentence(split, "Long Acre") in flat(text)
    assert "80 % range, equal tails" in flat(text)
    assert "not a guarantee" in flat(text)


def test_review_opens_at_the_last_season_picked_and_splits_the_moment_asked_for(run):
    text = run("review", "--example", "--moment", "lag", *DRAWS)
    assert text.startswith("Harvest 2026: the last one picked.")
    assert "WHAT MISSED, after lag weights" in text


def test_review_in_us_units_scores_in_short_tons(run, tmp_path):
    target = tmp_path / "review.csv"
    text = run("review", "--example", "--season", 2026, "--units", "us", "--csv", target, *DRAWS)
    found = review_season(example_records(), 2026, draws=300)
    score = found.frame.set_index("moment").loc["pruning", "crps_t"]
    assert f"{US.convert('tonnes', score):.2f}" in line_of(text, "after pruning")
    table = pd.read_csv(target)
    want = US.convert("tonnes", found.blocks["picked_t"])
    assert table["picked"].tolist() == pytest.approx(want.tolist(), rel=1e-5)
    assert set(table["unit"]) == {"short ton"}
    assert not [name for name in table if name.endswith("_t") or "tonnes" in name]
    assert "is not overwritten" in run("review", "--example", "--csv", target, *DRAWS, code=2)
    run("review", "--example", "--csv", target, "--replace", *DRAWS)
    assert set(pd.read_csv(target)["unit"]) == {"t"}


def test_review_scores_what_was_kept_in_the_log(run, folder):
    log_forecast(forecast(read_records(folder), 2026, "2026-07-15", draws=300), folder)
    text = run("review", folder, "--season", 2026, *DRAWS)
    assert "Forecasts kept in the log" in text
    assert "* kept after the first load" in text
    assert "2026-07-15" in text.split("Forecasts kept in the log")[1]


def test_first_season_has_no_guess_beside_it(run):
    text = run("review", "--example", "--season", 2020, *DRAWS)
    beside = text.split("A grower's own guesses")[1]
    assert line_of(beside, "before picking").split()[2:] == ["-", "-", "-"]


def test_review_of_a_season_or_moment_that_is_not_there_is_one_message(run, folder, tmp_path):
    assert "No harvest of 2027 is on record" in run("review", folder, "--season", 2027, code=2)
    assert "'soon' is not a season" in run("review", folder, "--season", "soon", code=2)
    assert "Did you mean 'clusters'" in run("review", folder, "--moment", "cluster", code=2)
    bare = small(tmp_path / "bare")
    for command in ("review", "learn", "accept"):
        assert "Fill table harvest" in run(command, bare, code=2)


def test_tonnes_alone_are_scored(run, tmp_path):
    bare = small(
        tmp_path / "bare",
        harvest="season,block,date,tonnes\n2024,North,2024-09-25,4.1\n2025,North,2025-09-25,3.9\n",
    )
    text = run("review", bare, *DRAWS)
    # 4.1 t for 3.9 t picked.
    assert "5 %" in line_of(text.split("own guesses")[1], "after pruning")
    assert "1 of 1" in text
    assert "--moment asks another: after pruning (pruning), before picking" in flat(text)
    assert "nothing to learn from yet" in run("learn", bare, code=2)


def test_learn_prints_every_lesson_the_vines_and_the_buds(run, lessons):
    text = run("learn", "--example")
    for row in lessons.frame.to_dict("records"):
        kind = row["key"].split(":")[0]
        part = text.split(f"\n\n{kind}", 1)[1].split("\n\n")[0]
        low, middle, high = (row[f"after{end}"] for end in ("_low", "", "_high"))
        shown = f"{middle:.2f} ({low:.2f}-{high:.2f})"
        if kind == "load":
            # What 10 % more load changes: 1.1 to the power of each, less one.
            low, middle, high = (100 * (1.1**each - 1) for each in (low, middle, high))
            shown = f"{middle:+.1f} ({low:+.1f} to {high:+.1f})"
        assert shown in part
    trend = vine_trend(example_records()).frame.set_index(["block", "figure"], drop=False)
    vines = text.split("ARE THE VINES GETTING WEAKER?")[1]
    wood = trend_tag(trend.loc[("Long Acre", "pruning_weight")])
    label, chance = wood.split(" (")
    # A cell that is too long for the terminal goes on in the line below.
    assert label in line_of(vines, "Long Acre")
    assert f"({chance}" in vines
    assert "Riesling, canes: " in text
    assert f"Accepting {len(worth_accepting(lessons))} lessons" in flat(text)


def test_learn_of_one_season_says_that_one_season_speaks(run):
    text = run("learn", "--example", "--through", 2020)
    assert "One season alone speaks" in text
    assert set(re.findall(r"(?m)^Riesling +(\d+) ", text)) == {"1"}
    assert "2019" in run("learn", "--example", "--through", 2019, code=2)


def test_learn_writes_its_table(run, lessons, tmp_path):
    target = tmp_path / "lessons.csv"
    run("learn", "--example", "--csv", target)
    table = pd.read_csv(target)
    want = lessons.frame
    assert table["key"].tolist() == want["key"].tolist()
    assert table["after"].tolist() == pytest.approx(want["after"].tolist(), rel=1e-5)
    assert set(table["interval"]) == {"80 % range, equal tails"}


def test_accept_keeps_lessons_beside_the_records_and_the_version_before(run, folder):
    text = run("accept", folder, "--only", "counter", "increase_factor:Riesling")
    assert "3 lessons, used for seasons after 2026" in text
    assert str(folder / "learned.toml") in text.replace("\n", "")
    assert sorted(entry.key for entry in read_learned(folder)) == [
        "counter:crew A",
        "counter:crew B",
        "increase_factor:Riesling",
    ]
    again = run("accept", folder, "--all")
    assert "learned.1.toml" in again
    assert len(read_learned(folder)) == len(learn(read_records(folder)).entries)
    told = run("forecast", folder, "--season", 2027, *DRAWS)
    assert "learned on this estate" in flat(told)


def test_accept_takes_what_says_something_new_and_counts_the_rest(run, folder):
    lessons = learn(read_records(folder))
    said = lessons.frame.set_index("key")["said"]
    text = flat(run("accept", folder))
    kept = {entry.key for entry in read_learned(folder)}
    assert kept
    assert not [key for key in kept if said.get(key) == "as before"]
    assert all(lessons.entries[key].seasons > 1 for key in kept)
    rest = len(lessons.entries) - len(kept)
    assert rest
    assert f"Left out: {rest} lessons, which say nothing new" in text
    assert "--all takes them too" in text
    assert "not both" in run("accept", folder, "--all", "--only", "counter", code=2)


def test_accept_refuses_the_sample_and_unknown_names(run, folder):
    assert "make a folder of your own first" in run("accept", "--example", code=2)
    said = run("accept", folder, "--only", "counters", code=2)
    assert "Nothing called 'counters' was learned" in said
    assert "counter:crew A" in said
    assert not (folder / "learned.toml").exists()


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("counter = [", "no TOML"),
        ("format = 2\n[counter.x]\nvalue = 99\nspread = -1\nthrough = 2024\nseasons = 2\n", "99"),
        ("format = 2\n[weather]\nrain = 3\n", "there is no such table"),
    ],
)
def test_a_learned_file_of_nonsense_is_one_message_everywhere(run, tmp_path, text, named):
    folder = sample_copy(tmp_path / "mine", "blocks", "pruning", "harvest")
    (folder / "learned.toml").write_text(text)
    for command in ("review", "learn", "accept", "forecast"):
        said = run(command, folder, code=2)
        assert "What was learned on this estate cannot be used" in said
        assert named in said
    assert (folder / "learned.toml").read_text() == text


def test_words_tell_a_count_from_a_weight():
    # ln 0.91 = -0.0943: nine per cent too few; exp(0.077) = 1.08.
    assert miss_sentence("counting_bias", -0.0943) == "9 % too few clusters were counted"
    assert miss_sentence("counting_bias", 0.0488) == "5 % too many clusters were counted"
    assert miss_sentence("cluster_weight_g", -0.0770) == "the clusters were 8 % heavier"
    assert (
        miss_sentence("clusters_per_shoot", 0.1054) == "there were 10 % fewer clusters on a shoot"
    )
