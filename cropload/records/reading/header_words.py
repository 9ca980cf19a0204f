"""Headers in other words of the trade, or in other units: what the user may have meant by them.

They are only ever suggested.  To read such a column unasked could turn grams into kilograms.
"""

#: What the two columns of a crop hold.
CROP_UNITS = "tonnes are metric (1,000 kg), tons are short tons (2,000 lb)."
#: Words that people write in place of a column's name, whatever the table.
_ANYWHERE = {
    "season": ("year", "vintage", "harvest_year", "crop_year"),
    "block": ("block_name", "name", "parcel", "plot", "field", "vineyard"),
    "date": ("day", "visit_date", "sample_date", "date_of_visit", "picking_date", "harvest_date"),
    "variety": ("cultivar", "grape", "grape_variety", "cv", "sort"),
    "clusters": ("bunches", "bunch", "bunch_count", "bunch_number", "inflorescences", "racemes"),
    "buds": ("nodes", "eyes", "bud_number", "node_number"),
    "shoots": ("shoot_number", "count_shoots"),
    "stage": ("phase", "event", "growth_stage", "phenology"),
}

#: The same for the columns of one table.
_IN_TABLE = {
    "blocks": {
        "row_spacing_m": ("row_distance_m", "row_width_m", "between_rows_m", "row_spacing"),
        "vine_spacing_m": ("vine_distance_m", "plant_spacing_m", "in_row_m", "vine_spacing"),
        "vines": ("plants", "vine_number", "number_of_vines", "stocks"),
        "missing_pct": ("missing", "gaps", "gaps_pct", "missing_percent", "dead_pct"),
        "area_ha": ("hectares", "ha", "area", "surface_ha"),
        "canopies": ("walls", "canopy_walls"),
        "year_planted": ("planted", "planting_year"),
    },
    "pruning": {
        "plan": ("pruning_plan", "level", "pruning_level", "buds_left", "load"),
        "pruning_weight_kg": ("prunings_kg", "brush_weight_kg", "cane_weight_kg", "wood_kg"),
    },
    "counts": {
        "vine": ("plant", "vine_no", "stock"),
        "row": ("row_no", "row_number"),
        "counter": ("counted_by", "by", "who", "initials"),
        "missing": ("no_vine", "gap", "missing_vine"),
        "noncount_shoots": ("water_shoots", "watershoots", "suckers", "basal_shoots", "waterbuds"),
        "pruning_weight_kg": ("prunings_kg", "brush_weight_kg", "cane_weight_kg", "wood_kg"),
    },
    "fertility": {"node": ("position", "node_position"), "wood": ("type", "wood_type")},
    "weights": {
        "weight_g": ("weight", "lot_weight", "sample_weight", "total_weight", "grams"),
        "berries": ("berry_number", "berry_count"),
    },
    "harvest": {
        "tonnes": (
            *("yield", "crop", "harvest", "harvested", "weight", "t", "mt"),
            *("yield_t", "crop_t", "harvest_t", "weight_t", "fruit_t"),
        ),
        "picked_pct": ("picked", "picked_percent", "harvested_pct", "share_picked"),
        "lost_pct": ("lost", "loss", "loss_pct", "losses", "damage_pct", "hail_pct"),
        "ticket": ("docket", "ticket_no", "ticket_number", "weighbridge"),
    },
    "weather": {
        "tmin_c": ("tmin", "min", "minimum", "temp_min", "tn"),
        "tmax_c": ("tmax", "max", "maximum", "temp_max", "tx"),
    },
    "prices": {
        "price_per_t": ("price", "price_t", "price_per_tonne"),
        "cap_t": ("cap", "maximum_t", "quota_t"),
    },
    "contracts": {
        "contract": ("agreement", "contract_name", "buyer"),
        "price_per_t": ("price", "price_t", "price_per_tonne"),
        "least_t": ("minimum_t", "min_t", "least", "at_least_t"),
        "most_t": ("maximum_t", "max_t", "cap_t", "cap", "quota_t", "most"),
        "most_t_ha": ("cap_t_ha", "max_t_ha", "maximum_t_ha"),
        "price_beyond": ("price_above_cap", "price_above"),
        "shortfall_per_t": ("penalty", "penalty_per_t", "shortfall"),
    },
    "tanks": {"volume_hl": ("volume", "capacity_hl", "hl"), "days_held": ("days",)},
    "presses": {"load_t": ("load", "capacity_t"), "cycles_a_day": ("cycles", "loads_a_day")},
    "capacity": {
        "period_start": ("start", "from", "first_day", "begin"),
        "period_end": ("end", "to", "until", "last_day"),
        "limit_t": ("limit", "capacity", "capacity_t", "maximum_t"),
    },
}

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
    words = _IN_TABLE.get(table, {})
    for column in free:
        if header in words.get(column, ()) or header in _ANYWHERE.get(column, ()):
            return column
    return None


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
