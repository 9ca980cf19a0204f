"""A small invented vineyard, written by the test that needs it."""

import pytest

from cropload.records.reading.faults import RecordsError
from cropload.records.records import read_records

BLOCKS = (
    "block,variety,row_spacing_m,vine_spacing_m,vines\n"
    "North,Riesling,2.0,1.2,1000\n"
    "South,Pinot noir,2.5,1.0,800\n"
)


@pytest.fixture
def write(tmp_path):
    """Return a function that writes tables as CSV text and returns the folder."""

    def written(encoding="utf-8", **tables):
        folder = tmp_path / "vineyard"
        folder.mkdir(exist_ok=True)
        for name, text in ({"blocks": BLOCKS} | tables).items():
            data = text if isinstance(text, bytes) else text.encode(encoding)
            (folder / f"{name}.csv").write_bytes(data)
        return folder

    return written


@pytest.fixture
def faults():
    """Return a function that reads records that must fail, and returns the faults."""

    def found(path):
        with pytest.raises(RecordsError) as caught:
            read_records(path)
        assert caught.value.faults
        return caught.value.faults

    return found
