"""``learned.toml``: read back as written, kept in versions, and judged when edited by hand."""

import contextlib
import os

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cropload.beliefs import learned
from cropload.beliefs.learned import (
    COMPONENTS,
    LOADS,
    PROFILES,
    Entry,
    learned_path,
    parse_learned,
    read_learned,
    write_learned,
    written,
)
from cropload.errors import CroploadError
from cropload.records.reading.faults import RecordsError

DAY = "2026-11-25"
BIAS = Entry("component", "counting_bias", 2025, 4, "Riesling", 0.9, 0.03)
CREW = Entry("counter", "crew A", 2025, 3, value=1.04, spread=0.02)
LOAD = Entry("load", "weight", 2025, 2, value=-0.4, spread=0.6)
SHAPE = Entry(
    "profile", "Riesling", 2025, 2, profile=((0.8, 1.0), (0.7, 0.7), (1.0, 1.0), (0.9, 1.1))
)
ALL = (BIAS, CREW, LOAD, SHAPE)


def file_of(text, folder):
    (folder / "learned.toml").write_text(text, encoding="utf-8")
    return folder


def faults_of(text, **known):
    if "format" not in text:
        text = f"format = 2\n{text}"
    with pytest.raises(RecordsError) as caught:
        parse_learned(text.encode("utf-8"), **known)
    return caught.value


def component(**changes):
    """A table that is right but for ``changes``; each is the text that stands in the file."""
    lines = {"value": "0.9", "spread": "0.03", "through": "2025", "seasons": "4"} | changes
    body = "\n".join(f"{key} = {text}" for key, text in lines.items() if text is not None)
    return f'[component.counting_bias."Riesling"]\n{body}\n'


# ------------------------------------------------------------------ there and back


def test_what_is_written_is_read_back(tmp_path):
    write_learned(tmp_path, ALL, DAY)
    assert set(read_learned(tmp_path)) == set(ALL)


def test_the_figure_on_the_screen_stands_beside_the_one_in_the_file():
    """80 % of a normal lie within 1.2816 standard deviations; the exponents are the handbook's."""
    from cropload import handbook

    settled = handbook.entry("load.weight.settled")
    ends = [settled.value + settled.spread * (-0.4 + z * 0.6) for z in (0, -1.2816, 1.2816)]
    middle, low, high = (100 * (1.1**end - 1) for end in ends)
    text = written([LOAD, BIAS, SHAPE], DAY)
    assert f"[load.weight]\n# shown as {middle:+.1f} % ({low:+.1f} to {high:+.1f}) for" in text
    low, high = 0.9 * np.exp(-1.2816 * 0.03), 0.9 * np.exp(1.2816 * 0.03)
    assert f"# shown as 0.90 ({low:.2f} to {high:.2f})\nvalue = 0.9\n" in text
    assert '[profile."Riesling"]\ncane_burst' in text


NAMES = st.text(st.characters(exclude_categories=["Cs"]), max_size=20).filter(str.strip)
YEARS, SEASONS = st.integers(1900, 2100), st.integers(1, 60)
SPREADS = st.floats(1e-3, 1.0)
SHAPES = st.tuples(
    *[st.lists(st.floats(1e-3, 3), min_size=2, max_size=20).map(tuple)] * len(PROFILES)
)


@st.composite
def entries(draw):
    topic = draw(st.sampled_from(["component", "counter", "load", "profile"]))
    more = {"topic": topic, "through": draw(YEARS), "seasons": draw(SEASONS)}
    if topic == "profile":
        return Entry(name=draw(NAMES), profile=draw(SHAPES), **more)
    if topic == "component":
        more |= {"name": draw(st.sampled_from(list(COMPONENTS))), "variety": draw(NAMES)}
        value = draw(st.floats(*COMPONENTS[more["name"]]))
    elif topic == "counter":
        more["name"], value = draw(NAMES), draw(st.floats(0.3, 3))
    else:
        more["name"], value = draw(st.sampled_from(LOADS)), draw(st.floats(-6, 6))
    return Entry(value=value, spread=draw(SPREADS), **more)


@given(st.lists(entries(), max_size=5, unique_by=lambda e: e.key))
def test_any_entries_come_back_to_six_digits(some):
    """Names may hold quotes, dots, line breaks and signs of any script."""
    back = {entry.key: entry for entry in parse_learned(written(some, DAY).encode("utf-8"))}
    assert set(back) == {entry.key for entry in some}
    for entry in some:
        found = back[entry.key]
        assert (found.through, found.seasons) == (entry.through, entry.seasons)
        if entry.topic == "profile":
            for there, here in zip(entry.profile, found.profile, strict=True):
                assert here == pytest.approx(there, rel=1e-5)
        else:
            assert (found.value, found.spread) == pytest.approx(
                (entry.value, entry.spread), rel=1e-5
            )


@given(st.binary(max_size=200))
def test_no_bytes_do_worse_than_one_message(data):
    with contextlib.suppress(RecordsError):
        parse_learned(data)


def test_no_file_and_records_in_memory_teach_nothing(tmp_path):
    assert read_learned(tmp_path) == ()
    assert read_learned("in-memory") == ()


def test_the_file_of_a_workbook_lies_beside_it(tmp_path):
    book = tmp_path / "season.xlsx"
    book.write_bytes(b"")
    assert write_learned(book, [BIAS], DAY)[0] == tmp_path / "learned.toml" == learned_path(book)
    assert read_learned(book) == (BIAS,)


def test_an_edit_by_hand_is_used_at_once(tmp_path):
    write_learned(tmp_path, [BIAS], DAY)
    path = tmp_path / "learned.toml"
    assert read_learned(tmp_path)[0].value == 0.9
    path.write_text(path.read_text().replace("value = 0.9", "value = 0.85"))
    assert read_learned(tmp_path)[0].value == 0.85


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm():
    data = written(ALL, DAY).replace("\n", "\r\n").encode("utf-8-sig")
    assert set(parse_learned(data)) == set(ALL)


# ------------------------------------------------------------------ versions


def test_every_version_is_kept_and_none_overwritten(tmp_path):
    texts = []
    for at, value in enumerate((0.90, 0.91, 0.92)):
        new, old = write_learned(tmp_path, [Entry("counter", "AB", 2025, 1, "", value, 0.02)], DAY)
        texts.append(new.read_text())
        assert old == (tmp_path / f"learned.{at}.toml" if at else None)
    assert (tmp_path / "learned.1.toml").read_text() == texts[0]
    assert (tmp_path / "learned.2.toml").read_text() == texts[1]
    assert sorted(p.name for p in tmp_path.iterdir()) == [
        "learned.1.toml", "learned.2.toml", "learned.toml",
    ]  # fmt: skip


def test_a_version_of_somebody_elses_making_is_stepped_over(tmp_path):
    write_learned(tmp_path, [BIAS], DAY)
    (tmp_path / "learned.1.toml").write_text("mine")
    assert write_learned(tmp_path, [CREW], DAY)[1].name == "learned.2.toml"
    assert (tmp_path / "learned.1.toml").read_text() == "mine"


def test_entries_of_other_keys_stay(tmp_path):
    write_learned(tmp_path, [BIAS, CREW], DAY)
    newer = Entry("counter", "crew A", 2026, 4, value=0.97, spread=0.02)
    write_learned(tmp_path, [newer], DAY)
    assert set(read_learned(tmp_path)) == {BIAS, newer}


def test_nothing_is_written_over_a_file_that_cannot_be_read(tmp_path):
    file_of("nonsense", tmp_path)
    with pytest.raises(RecordsError, match=r"learned\.toml"):
        write_learned(tmp_path, [BIAS], DAY)
    assert (tmp_path / "learned.toml").read_text() == "nonsense"
    assert len(list(tmp_path.iterdir())) == 1


def test_a_fault_while_writing_leaves_the_old_file_whole(tmp_path, monkeypatch):
    write_learned(tmp_path, [BIAS], DAY)
    before = (tmp_path / "learned.toml").read_bytes()

    def broken(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", broken)
    with pytest.raises(CroploadError, match="No space left"):
        write_learned(tmp_path, [CREW], DAY)
    assert (tmp_path / "learned.toml").read_bytes() == before
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")]


def test_a_change_made_meanwhile_is_not_lost(tmp_path, monkeypatch):
    write_learned(tmp_path, [BIAS], DAY)
    path, same = tmp_path / "learned.toml", learned.same_figures

    def meanwhile(*given):
        path.write_text(written([CREW], DAY))
        return same(*given)

    monkeypatch.setattr(learned, "same_figures", meanwhile)
    with pytest.raises(CroploadError, match="changed by another program"):
        write_learned(tmp_path, [LOAD], DAY)
    assert read_learned(tmp_path) == (CREW,)


# ------------------------------------------------------------------ edited into nonsense

NONSENSE = {
    "no TOML": ("value = = 3", "line 2"),
    "an entry twice": (component() + component(), "line 7"),
    "no such table": ("[wisdom.all]\nvalue = 1.0", "there is no such table"),
    "no such component": ("[component.counting_bais.Riesling]\n", "counting_bias"),
    "no such response": ("[load.brust]\nvalue = 0.1", "burst"),
    "no such key": (component(vaule="0.9", value=None), "vaule"),
    "not a table": ("component = 3", "must be a table"),
    "a figure where a table belongs": ("[component]\ncounting_bias = 0.9", "must be a table"),
    "another format": ("format = 3", "format"),
    "too large": (component(value="9.0"), "'9.0': must be a number from 0.2 to 2"),
    "text": (component(value='"0,9"'), "'0,9'"),
    "truth": (component(value="true"), "'True'"),
    "not a number": (component(value="nan"), "'nan'"),
    "infinite": (component(spread="inf"), "'inf'"),
    "a negative spread": (component(spread="-0.03"), "'-0.03'"),
    "a part of a year": (component(through="2025.5"), "a whole number"),
    "no season": (component(seasons="0"), "'0'"),
    "missing": (component(spread=None), "spread: is missing"),
    "a date": (component(through="2025-01-01"), "'2025-01-01'"),
    "thousands of digits": (component(value="9" * 5000), "learned.toml"),
    "an empty profile": ("[profile.Riesling]\ncane_burst = []", "cane_burst"),
    "a profile of text": ('[profile.Riesling]\ncane_burst = ["a"]', "cane_burst"),
    "a profile too long": (f"[profile.Riesling]\ncane_burst = {[1.0] * 61}", "cane_burst"),
    "a profile with a zero": ("[profile.Riesling]\ncane_burst = [0.0, 1.0]", "cane_burst"),
    "a profile that is a number": ("[profile.Riesling]\ncane_burst = 1.0", "cane_burst"),
    "a profile of one node": ("[profile.Riesling]\ncane_burst = [1.0]", "a list of 2 to 60"),
    "a node that bears ten times": ("[profile.Riesling]\ncane_burst = [1.0, 10.0]", "up to 3"),
    "a counter without a name": (
        '[counter." "]\nvalue = 1.1\nspread = 0.02\nthrough = 2025\nseasons = 2',
        "has no name",
    ),
    "more seasons than anyone grew": (component(seasons="150"), "'150'"),
    "a figure too sure": (component(spread="0.0001"), "'0.0001'"),
    "nested too deep": ("a = " + "[" * 5000, "learned.toml"),
}


@pytest.mark.parametrize("case", NONSENSE)
def test_nonsense_is_named_with_its_place_and_mend(case):
    text, told = NONSENSE[case]
    error = faults_of(text)
    assert "What was learned on this estate cannot be used" in str(error)
    for fault in error.faults:
        assert fault.file.startswith("learned.toml")
        assert fault.rule
        assert fault.mend
    assert any(told in str(fault) for fault in error.faults)


def test_a_file_without_its_format_is_refused():
    with pytest.raises(RecordsError, match="the line with the format is missing"):
        parse_learned(component().encode())


def test_all_faults_come_in_one_message():
    text = component(value="7.0", spread='"wide"') + "[load.brust]\n" + "[wisdom]\n"
    error = faults_of(text)
    assert len(error.faults) == 4
    assert "4 faults found" in str(error)
    for told in ('component.counting_bias."Riesling" value', "'wide'", "load.brust", "wisdom"):
        assert told in str(error)


def test_a_variety_that_no_block_grows_is_named_with_the_near_one():
    error = faults_of(component().replace("Riesling", "Rieslign"), varieties=("Riesling", "Merlot"))
    assert "Rieslign" in str(error)
    assert "'Riesling'" in str(error)
    text = "[profile.Rieslign]\n"
    assert any("no block" in f.rule for f in faults_of(text, varieties=("Riesling",)).faults)


def test_a_season_to_come_cannot_have_taught():
    text = f"format = 2\n{component(through='2026')}"
    assert parse_learned(text.encode(), latest=2026)
    error = faults_of(component(through="2027"), latest=2026)
    assert "'2027': must be a whole number from 1900 to 2026" in str(error.faults[0])


@pytest.mark.parametrize("data", [b"\xff\xfe\x00\x01" * 50, b"\x00" * 100, bytes(range(256)) * 4])
def test_rubbish_is_one_message(data):
    with pytest.raises(RecordsError) as caught:
        parse_learned(data)
    assert len(caught.value.faults) == 1


def test_a_huge_file_is_refused_without_reading_it_all(tmp_path):
    path = tmp_path / "learned.toml"
    with path.open("wb") as file:
        file.truncate(3_000_000_000)  # holes: takes no room
    with pytest.raises(RecordsError, match="more than"):
        read_learned(tmp_path)


def test_a_folder_of_that_name_is_one_message(tmp_path):
    (tmp_path / "learned.toml").mkdir()
    with pytest.raises(CroploadError, match="cannot be read"):
        read_learned(tmp_path)


@pytest.mark.parametrize("text", ["", "\n", "# Learned on this estate\n"])
def test_a_file_cut_to_nothing_is_not_taken_for_nothing_learned(tmp_path, text):
    with pytest.raises(RecordsError) as caught:
        read_learned(file_of(text, tmp_path))
    assert "is empty" in str(caught.value)
    assert "learned.1.toml" in str(caught.value)


def test_a_file_from_which_every_lesson_was_taken_out_is_read(tmp_path):
    assert read_learned(file_of("format = 2\n", tmp_path)) == ()
