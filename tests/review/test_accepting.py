"""Accepting lessons: all or some, beside the records, and never over the sample or a mistake."""

import datetime
from dataclasses import replace

import length
import pandas as pd
import pytest
from helpers import LEARNT_FROM, block_row, make_records, sample_copy
from season_records import BLOCKS, small_estate, weight_row
from worlds.causes import LAST, drawn, records_of

from cropload import accept, example_records, forecast, learn, read_records, review_season
from cropload.beliefs.learned import read_learned
from cropload.beliefs.origins import LEARNED
from cropload.errors import CroploadError
from cropload.records.example import shipped
from cropload.review.accepting import chosen, replay_lessons
from cropload.review.lesson_words import replay_lines

DAY = datetime.date(2026, 11, 25)


@pytest.fixture(scope="module")
def records():
    lag = [weight_row(b, 60, season=s) for b in BLOCKS for s in (2024, 2025)]
    return small_estate(weights=lag)


@pytest.fixture(scope="module")
def lessons(records):
    return learn(records)


def keys(entries):
    return {entry.key for entry in entries}


def test_everything_one_lesson_or_a_kind_can_be_chosen(lessons):
    assert chosen(lessons) == list(lessons.entries.values())
    assert keys(chosen(lessons, ["recovery:Riesling"])) == {"recovery:Riesling"}
    assert keys(chosen(lessons, "recovery:Riesling")) == {"recovery:Riesling"}
    kind = {"increase_factor:Riesling", "increase_factor:Pinot noir"}
    assert keys(chosen(lessons, [" increase_factor "])) == kind
    assert keys(chosen(lessons, ["increase_factor", "increase_factor:Riesling"])) == kind


def test_an_unknown_key_names_the_near_one(lessons):
    with pytest.raises(CroploadError, match=r"'recovery:Rieslign'.*'recovery:Riesling'"):
        chosen(lessons, ["recovery:Rieslign"])
    with pytest.raises(CroploadError, match="cropload learn"):
        chosen(lessons, ["zzz"])


def test_one_unknown_key_keeps_the_others_out_too(records, lessons, tmp_path):
    mine = replace(records, path=tmp_path)
    with pytest.raises(CroploadError, match="Nothing called"):
        accept(mine, lessons, ["recovery", "zzz"])
    assert not list(tmp_path.iterdir())


def test_what_is_accepted_lies_beside_the_records_with_its_day(records, lessons, tmp_path):
    mine = replace(records, path=tmp_path)
    new, old = accept(mine, lessons, ["recovery"], day=DAY)
    assert (new, old) == (tmp_path / "learned.toml", None)
    assert "# Accepted: 2026-11-25" in new.read_text()
    assert keys(read_learned(tmp_path)) == {"recovery:Riesling", "recovery:Pinot noir"}
    new, old = accept(mine, lessons, day=DAY)
    assert old == tmp_path / "learned.1.toml"
    assert keys(read_learned(tmp_path)) == set(lessons.entries)


def moved_on(lessons, years, shift=1.0):
    """The lessons as if they had been taught so many years later, the figures shifted."""
    entries = {
        key: replace(entry, through=entry.through + years, value=entry.value * shift)
        for key, entry in lessons.entries.items()
    }
    return replace(lessons, through=lessons.through + years, entries=entries)


def test_older_lessons_do_not_replace_newer_ones_unless_asked(records, lessons, tmp_path):
    mine, older = replace(records, path=tmp_path), moved_on(lessons, -3, 0.98)
    accept(mine, lessons, ["recovery"], day=DAY)
    text = (tmp_path / "learned.toml").read_text()
    with pytest.raises(CroploadError, match=r"later seasons than those up to 2022.*--older"):
        accept(mine, older, ["recovery"], day=DAY)
    assert (tmp_path / "learned.toml").read_text() == text
    # What is not in force yet is taken; what newer seasons taught stays.
    accept(mine, older, ["recovery", "increase_factor"], day=DAY)
    through = {entry.key: entry.through for entry in read_learned(tmp_path)}
    assert through["recovery:Riesling"] == 2025
    assert through["increase_factor:Riesling"] == 2022
    accept(mine, older, ["recovery"], day=DAY, older=True)
    through = {entry.key: entry.through for entry in read_learned(tmp_path)}
    assert through["recovery:Riesling"] == 2022


def test_newer_lessons_replace_older_ones(records, lessons, tmp_path):
    mine = replace(records, path=tmp_path)
    accept(mine, moved_on(lessons, -1, 0.98), day=DAY)
    accept(mine, lessons, day=DAY)
    assert {entry.through for entry in read_learned(tmp_path)} == {2025}


def test_accepting_the_same_again_writes_nothing(records, lessons, tmp_path):
    mine = replace(records, path=tmp_path)
    path, _ = accept(mine, lessons, day=DAY)
    before = path.read_bytes()
    assert tuple(accept(mine, lessons, day=datetime.date(2026, 12, 1))) == (path, None)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["learned.toml"]


def test_nothing_chosen_writes_nothing(records, lessons, tmp_path):
    with pytest.raises(CroploadError, match=r"nothing to accept|something in it"):
        accept(replace(records, path=tmp_path), lessons, [])
    assert not list(tmp_path.iterdir())


def test_records_without_a_folder_are_one_clear_message(records, lessons):
    with pytest.raises(CroploadError, match="lie in no folder"):
        accept(records, lessons)


def test_the_sample_stays_as_it_is(lessons):
    sample = example_records()
    with pytest.raises(CroploadError, match="invented sample"):
        accept(replace(sample, path=shipped("sample_data") / "quillfoot"), lessons)
    assert not list((shipped("sample_data")).rglob("learned*.toml"))


def test_a_folder_that_cannot_be_written_is_one_clear_message(records, lessons, tmp_path):
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(CroploadError, match="read-only"):
            accept(replace(records, path=tmp_path), lessons)
    finally:
        tmp_path.chmod(0o700)


def test_a_mistake_in_the_old_file_stops_the_new_one(records, lessons, tmp_path):
    path = tmp_path / "learned.toml"
    path.write_text("[component.recovery.Riesling]\nvalue = 77\n")
    with pytest.raises(CroploadError, match=r"'77'"):
        accept(replace(records, path=tmp_path), lessons)
    assert path.read_text().endswith("77\n")


def test_a_copy_of_the_sample_can_be_taught_and_says_so_in_the_next_forecast(tmp_path):
    """Records as a user keeps them: the file is found, used for the season after, and named."""
    folder = sample_copy(tmp_path / "mine", *LEARNT_FROM)
    records = read_records(folder)
    accept(records, learn(records, 2025), ["counter", "increase_factor"], day=DAY)
    records = read_records(folder)
    made = forecast(records, 2026, draws=100)
    assert any("corrected" in note for note in made.notes)
    assert (made.components["came_from"] == LEARNED).any()
    before = forecast(records, 2025, draws=100)
    assert not (before.components["came_from"] == LEARNED).any()


def test_a_workbook_of_records_has_its_file_beside_it(lessons, tmp_path):
    book = tmp_path / "season.xlsx"
    book.write_bytes(b"")
    mine = replace(make_records(blocks=[block_row()]), path=book)
    assert accept(mine, lessons, day=DAY).path == tmp_path / "learned.toml"


def test_past_seasons_are_replayed_with_the_lessons_of_those_before():
    """Without lessons the misses are those that a review of the season tells."""
    records = records_of(drawn(1003, "counter"))
    records = replace(records, **{
        name: getattr(records, name)[getattr(records, name)["season"] <= 2023]
        for name in ("pruning", "harvest", "weights", "counts")
    })  # fmt: skip
    found = replay_lessons(records, ["clusters"], draws=200)
    assert list(found["season"]) == [2023]
    review = review_season(records, 2023, moments=["clusters"], draws=200)
    assert found["without"].iloc[0] == pytest.approx(review["weighted_miss"].iloc[0], rel=1e-6)
    assert found["crops"].iloc[0] == len(review.blocks)
    assert found["with"].iloc[0] != found["without"].iloc[0]
    (line,) = replay_lines(found)
    assert f"{100 * found['with'].iloc[0]:.1f} % with them" in line


@pytest.mark.simulation
@pytest.mark.long
@pytest.mark.skipif(not length.whole, reason="takes minutes: pytest --long")
@pytest.mark.parametrize("planted", [("counter",), ()], ids=["a counter", "nothing"])
def test_lessons_help_where_there_is_a_cause_and_harm_nowhere(planted):
    """After the count, in the season that follows five others.

    12 estates with a counter 12 % low: the miss falls from 11.2 to 10.6 % of the crop (standard
    error of the gain 0.24); 11 estates without: by 0.02 (0.03).
    """
    estates = (records_of(drawn(seed, *planted)) for seed in range(3000, 3012))
    found = [replay_lessons(each, ["clusters"], seasons=[LAST], draws=400) for each in estates]
    gain = pd.concat(found)["without"] - pd.concat(found)["with"]
    error = gain.std() / len(gain) ** 0.5
    print(f"{100 * gain.mean():+.2f} % of the crop, standard error {100 * error:.2f}")
    assert gain.mean() > (0 if planted else -2 * error - 1e-3)
