import datetime

import pytest

from cropload.errors import CroploadError
from cropload.records.records import read_records
from cropload.show.panels.saving import save_chosen_plan

DAY = datetime.date(2026, 11, 20)
BLOCKS = "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Riesling,2,1.2,1000\n"


def test_a_chosen_plan_can_be_changed_and_says_which_holds(tmp_path):
    (tmp_path / "blocks.csv").write_text(BLOCKS)
    (tmp_path / "pruning.csv").write_text("season,block,plan,date\n")
    records = read_records(tmp_path)
    save_chosen_plan(records, 2027, "North", "3x8+3x2", DAY)
    assert "nothing to do" in save_chosen_plan(records, 2027, "North", "3x8+3x2", DAY)
    later = DAY + datetime.timedelta(days=11)
    said = save_chosen_plan(records, 2027, "North", "3x6+3x2", later)
    assert "3x6+3x2 of 2026-12-01 holds; 3x8+3x2 of 2026-11-20 stays in the table." in said
    # Minds change within a day too.
    save_chosen_plan(records, 2027, "North", "3x7+3x2", later)
    assert read_records(tmp_path).pruning["plan"].tolist() == ["3x7+3x2"]
    assert (tmp_path / "pruning.csv").read_text().count("North") == 3
    with pytest.raises(CroploadError, match="it would still hold"):
        save_chosen_plan(records, 2027, "North", "3x5+3x2", DAY)
    assert (tmp_path / "pruning.csv").read_text().count("North") == 3
