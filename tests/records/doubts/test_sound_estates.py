"""Sound records are not asked about: other pasts of the invented estate, drawn from its truth."""

import sys
from pathlib import Path

import pytest

from cropload.records.records import read_records

FOLDER = Path(__file__).parents[3] / "sample_data"
#: Any few will do; the doubts must stay away from all but one in a hundred blocks and seasons.
DRAWS = (11, 12)


@pytest.fixture
def generator(monkeypatch):
    monkeypatch.syspath_prepend(str(FOLDER))
    import make_quillfoot
    import quillfoot_estate

    yield make_quillfoot, quillfoot_estate, monkeypatch
    for name in [name for name in sys.modules if name.startswith(("make_quillfoot", "quillfoot_"))]:
        del sys.modules[name]


@pytest.mark.parametrize("draw", DRAWS)
@pytest.mark.parametrize("running", [False, True])
def test_other_pasts_of_the_estate_raise_no_doubt(generator, tmp_path, draw, running):
    maker, estate, patch = generator
    patch.setattr(estate, "EFFECTS_DRAW", draw)
    patch.setattr(estate, "SEED", draw)
    frames, _, _ = maker.all_tables()
    if running:
        frames["harvest"] = frames["harvest"].query("season < 2026")
    for name, columns in maker.COLUMNS.items():
        maker.write_csv(frames[name], columns, tmp_path / f"{name}.csv")
    doubts = read_records(tmp_path).warnings
    assert len(doubts) <= 0.01 * 49, [str(doubt) for doubt in doubts]
