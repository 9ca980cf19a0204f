"""An answer reads the same when printed and in a notebook, and passes its frame through."""

import copy
import pickle
from dataclasses import dataclass
from importlib import import_module

import pandas as pd
import pytest

import cropload
from cropload.answer import QUESTIONS, Answer
from cropload.show import table as t
from cropload.show.table import Column, Table


@dataclass(frozen=True, eq=False, repr=False)
class Crops(Answer):
    block: str = ""

    def heading(self, units):
        return f"Crops of {self.block}."

    def tables(self, units):
        columns = [(Column("plan", t.PLAN), "plan"), (Column("crop", t.NUMBER, "t_ha"), "t_ha")]
        return [Table.of("crops", "Crop", self.frame.to_dict("records"), columns)]


ANSWER = Crops(
    pd.DataFrame({"plan": ["3x8"], "t_ha": [7.94]}), ("Mind <this>.",), block="<i>Long</i> Acre"
)


def test_printed_it_reads_as_text_within_80_columns():
    assert str(ANSWER).splitlines() == [
        "Crops of <i>Long</i> Acre.",
        "",
        "Crop",
        "plan  crop",
        "      t/ha",
        "----------",
        "3x8    7.9",
        "",
        "- Mind <this>.",
    ]


def test_in_a_notebook_its_text_is_escaped():
    page = ANSWER._repr_html_()
    assert "<i>" not in page
    assert "&lt;i&gt;Long&lt;/i&gt; Acre" in page
    assert ">7.9</td>" in page


def test_it_passes_its_frame_through():
    assert ANSWER["t_ha"].tolist() == [7.94]
    assert (len(ANSWER), "plan" in ANSWER) == (1, True)
    assert repr(ANSWER) == "<Crops: 1 rows; print it to read it>"


def test_the_same_questions_can_be_asked_of_what_a_user_holds():
    records = cropload.example_records()
    acre = records.block("Long Acre")
    asked = acre.compare("3x6+3x2,3x8+3x2", draws=400)
    given = cropload.compare_plans(records, "Long Acre", "3x6+3x2,3x8+3x2", draws=400)
    pd.testing.assert_frame_equal(asked.frame, given.frame)
    made = records.forecast(2027, draws=400)
    counts = made.next_counts(hours=6)
    pd.testing.assert_frame_equal(counts.frame, cropload.next_counts(made, hours=6).frame)
    assert {"compare", "find_plans"} <= set(dir(acre))
    assert "compare_plans" in acre.compare.__name__


def test_a_question_that_is_none_says_what_is_near():
    with pytest.raises(AttributeError, match="Did you mean 'forecast'"):
        cropload.example_records().forcast(2027)


def test_records_can_be_copied_and_sent():
    records = cropload.read_records(cropload.example_records().path)
    again = pickle.loads(pickle.dumps(copy.copy(records)))
    pd.testing.assert_frame_equal(again.blocks, records.blocks)


def test_every_question_stands_at_its_place():
    for kind, questions in QUESTIONS.items():
        for name, place in questions.items():
            module, _, function = place.partition(":")
            assert callable(getattr(import_module(module), function)), (kind, name)
