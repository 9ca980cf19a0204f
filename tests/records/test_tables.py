import subprocess
import sys

import pytest

from cropload.errors import CroploadError
from cropload.records.tables import TABLES, table
from cropload.records.writing.explain import explain_tables


def test_every_column_is_explained_in_a_sentence():
    for described in TABLES.values():
        for column in described.columns:
            assert column.explanation.endswith("."), (described.name, column.name)
            assert column.rule


def test_every_unit_in_a_name_is_the_unit_stated():
    words = {"_m": "m", "_ha": "ha", "_kg": "kg", "_g": "g", "_c": "°C", "_m2": "m2", "_t": "t"}
    words |= {"_t_ha": "t/ha", "_per_t": "currency/t", "tonnes": "t"}
    for described in TABLES.values():
        for column in described.columns:
            if column.suffix:
                assert column.unit == words[column.suffix], column.name


def test_no_two_columns_of_a_table_share_a_name():
    for described in TABLES.values():
        names = [alias for column in described.columns for alias in column.aliases]
        assert len(names) == len(set(names))


def test_keys_are_columns():
    for described in TABLES.values():
        assert set(described.key) | set(described.one_of) <= set(described.names)


def test_the_season_convention_is_told():
    assert "calendar year of harvest" in explain_tables()


def test_unknown_table():
    with pytest.raises(CroploadError, match="Did you mean 'harvest'"):
        table("harvests")


def test_the_tables_load_without_slow_libraries():
    code = (
        "import sys, cropload.records.tables, cropload.units; "
        "assert not {'pandas', 'openpyxl', 'scipy', 'numpy'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
