"""What is on record and not learned from is told: what, why, and what to do."""

import pytest

from cropload.beliefs.measured import measurements
from cropload.beliefs.not_learned_from import not_learned_from
from cropload.records.facts import block_facts
from cropload.records.records import read_records

BLOCKS = (
    "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Riesling,2.0,1.2,1000\n"
    "South,Riesling,2.0,1.2,1000\n"
)
COUNTS = "season,date,block,row,vine,clusters\n"
HARVEST = "season,block,tonnes,lost_pct\n"


@pytest.fixture
def told(tmp_path):
    """Return a function that writes tables and returns the sentences and what was measured."""

    def found(**tables):
        for name, text in ({"blocks": BLOCKS} | tables).items():
            (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
        records = read_records(tmp_path)
        facts = block_facts(records)
        return not_learned_from(records, facts), measurements(records, facts)

    return found


def vines(clusters, day="2026-06-20", block="North"):
    return "".join(
        f"2026,{day},{block},1,{vine},{number}\n" for vine, number in enumerate(clusters, start=1)
    )


def test_where_everything_is_used_nothing_is_told(told):
    assert told(counts=COUNTS + vines([30, 28]), harvest=HARVEST + "2026,North,2.4,\n")[0] == []


@pytest.mark.parametrize(("row", "words"), [("0.01,", "under 0.2 t/ha"), ("0.6,100", "lost_pct")])
def test_a_lost_crop_is_told_and_not_measured(told, row, words):
    (sentence,), measured = told(harvest=f"{HARVEST}2025,North,{row}\n2025,South,2.4,\n")
    assert "Harvest 2025 of North is left out" in sentence
    assert words in sentence
    assert measured["block"].tolist() == ["South"]


def test_bare_vines_are_told_with_what_to_do(told):
    (sentence,), measured = told(counts=COUNTS + vines([0] * 40) + vines([30, 31], block="South"))
    assert "2026 in North are left out" in sentence
    assert "40 vines" in sentence
    assert "leave the cells blank" in sentence
    assert set(measured["block"]) == {"South"}


def test_counts_made_again_are_told_with_their_days(told):
    again = vines([30, 28]) + vines([29, 27], day="2026-06-27")
    (sentence,), measured = told(counts=COUNTS + again)
    assert "2 counts are not used (North; from 2026-06-20)" in sentence
    _, alone = told(counts=COUNTS + vines([29, 27], day="2026-06-27"))
    assert measured["value"].tolist() == alone["value"].tolist()


def test_many_sentences_are_shortened(told):
    rows = "".join(f"{year},North,0,\n" for year in range(2010, 2020))
    sentences, _ = told(harvest=HARVEST + rows)
    assert len(sentences) == 6
    assert sentences[-1] == "And 5 more like it."
