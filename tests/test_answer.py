"""An answer reads the same when printed and in a notebook, and passes its frame through."""

from dataclasses import dataclass

import pandas as pd

from cropload.answer import Answer
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
