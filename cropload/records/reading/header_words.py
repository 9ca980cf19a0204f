"""Headers in other words of the trade, or in other units: what the user may have meant by them.

They are only ever suggested.  To read such a column unasked could turn grams into kilograms.
"""

from cropload.records.reading.trade_words import columns_named, split_unit

#: What the two columns of a crop hold.
CROP_UNITS = "tonnes are metric (1,000 kg), tons are short tons (2,000 lb)."
#: Suffix of a column -> suffix in the header -> what turns the values into the column's unit.
_UNITS = {
    "_g": {"kg": "multiply its values by 1,000", "mg": "divide its values by 1,000"},
    "_kg": {"g": "divide its values by 1,000", "t": "multiply its values by 1,000"},
    "_m": {"cm": "divide its values by 100", "mm": "divide its values by 1,000"},
    "_ha": {"m2": "divide its values by 10,000", "a": "divide its values by 100"},
    "_m2": {"cm2": "divide its values by 10,000"},
    "_t": {"kg": "divide its values by 1,000"},
    "_per_t": {"per_kg": "multiply its values by 1,000"},
}

#: Endings of a crop that is told for a hectare, an acre or a vine -> how tonnes come of it.
_CROP_PER = {
    ("t_ha", "tonnes_ha", "tonnes_per_ha", "t_per_ha", "tonnes_per_hectare", "mt_ha"): (
        "tonnes a hectare: a row of the column tonnes is that times the hectares of the block"
    ),
    ("kg_ha", "kg_per_ha", "kg_per_hectare"): (
        "kilograms a hectare: a row of the column tonnes is that times the hectares of the block, "
        "over 1,000"
    ),
    ("kg_vine", "kg_per_vine", "kg_per_plant"): (
        "kilograms a vine: a row of the column tonnes is that times the bearing vines of the "
        "block, over 1,000"
    ),
}


def meant(table, header, free):
    """Return the column that a header in other words of the trade stands for, or None.

    Parameters
    ----------
    table : str
        Name of the table.
    header : str
        The header in the form of the canonical names.
    free : iterable of str
        Canonical names of the columns that no header has yet.
    """
    words = header.replace("_", " ")
    named = columns_named(table, words) or columns_named(table, split_unit(words)[0])
    return next((column for column in named if column in free), None)


def in_other_unit(columns, header, written):
    """Return a column and how a header's values come into its unit, or None, None.

    Parameters
    ----------
    columns : iterable of Column
        Columns that no header has yet.
    header, written : str
        The header in the form of the canonical names, and as the user wrote it.
    """
    for column in columns:
        if column.suffix == "tonnes":
            for endings, how in _CROP_PER.items():
                if any(header == end or header.endswith("_" + end) for end in endings):
                    return column, f"'{written}' is in {how}. {CROP_UNITS}"
        stem = column.name.removesuffix(column.suffix) if column.suffix else None
        for unit, how in _UNITS.get(column.suffix, {}).items() if stem else ():
            suffix = unit if unit.startswith("_") else f"_{unit}"
            if header == stem + suffix:
                return column, f"'{written}' is in another unit: {how}, and name it {column.name}."
    return None, None
