"""How public services lay out daily weather, as data: a row a layout, one reader for all.

Every layout is written down from memory of its service's public documentation.  To add one, add a
row; the names of columns are those of the file in lower case, all other signs made ``_``.
"""

from dataclasses import dataclass

#: Units of the temperatures of a file: name -> in words.
DEGREES = {
    "c": "degrees Celsius",
    "f": "degrees Fahrenheit",
    "tenths": "tenths of a degree Celsius",
}


@dataclass(frozen=True)
class Layout:
    """How one kind of daily file is laid out.

    Attributes
    ----------
    name : str
        What it is, for a reader.
    date, low, high : str
        Columns of the day and its lowest and highest temperature.
    degrees : str
        Of ``DEGREES``; blank where the header, or else the numbers, tell it.
    missing : tuple of float
        Numbers that stand for a missing value, as written.
    low_flag, high_flag : str
        Columns that judge the two, if any.
    flag_part : int
        Which part of a flag between commas holds the quality, from 0 [1].
    refused : str or None
        Flags of values that are not used, a sign each; None: every flag but a blank.
    stations : tuple of str
        Columns that name the station, its code first.
    element, value : str
        In a file with a row for each day and element: their columns; ``low`` and ``high`` are then
        the elements.
    columns : tuple of str
        The columns of a file that has no header.
    first_line : str
        What the first line of a file without a header is like, as a regular expression.
    month_of_days : tuple of int
        In a file with a row for each month and element: where the first value begins, how wide a
        value is, how wide value and flags are, and which sign of them holds the quality [1].
    """

    name: str
    date: str
    low: str
    high: str
    degrees: str = ""
    missing: tuple = ()
    low_flag: str = ""
    high_flag: str = ""
    flag_part: int = 0
    refused: str | None = None
    stations: tuple = ()
    element: str = ""
    value: str = ""
    columns: tuple = ()
    first_line: str = ""
    month_of_days: tuple = ()


_GHCN = {
    "low": "TMIN",
    "high": "TMAX",
    "date": "date",
    "degrees": "tenths",
    "missing": (-9999.0,),
    "stations": ("id",),
    "element": "element",
    "value": "data_value",
    "low_flag": "q_flag",
}

LAYOUTS = (
    Layout(
        "Environment and Climate Change Canada, daily",
        "date_time",
        "min_temp_c",
        "max_temp_c",
        "c",
        low_flag="min_temp_flag",
        high_flag="max_temp_flag",
        # Missing, and missing but known to lie above or below zero; an estimate (E) is used.
        refused="MNY",
        stations=("climate_id", "station_name"),
    ),
    Layout(
        "Environment and Climate Change Canada, climate-daily",
        "local_date",
        "min_temperature",
        "max_temperature",
        "c",
        low_flag="min_temperature_flag",
        high_flag="max_temperature_flag",
        refused="MNY",
        stations=("climate_identifier", "station_name"),
    ),
    Layout(
        "NOAA daily summaries",
        "date",
        "tmin",
        "tmax",
        missing=(-9999.0, 9999.0),
        low_flag="tmin_attributes",
        high_flag="tmax_attributes",
        # Measurement, quality and source; a quality flag tells of a failed check.
        flag_part=1,
        stations=("station", "name"),
    ),
    Layout(
        "DWD daily climate (KL)",
        "mess_datum",
        "tnk",
        "txk",
        "c",
        missing=(-999.0,),
        stations=("stations_id",),
    ),
    Layout(
        "Meteo-France daily",
        "aaaammjj",
        "tn",
        "tx",
        "c",
        low_flag="qtn",
        high_flag="qtx",
        # 0, 1 and 9 are checked, 2 is doubtful.
        refused="2",
        stations=("num_poste", "nom_usuel"),
    ),
    Layout("NOAA GHCN-Daily, a row an element", **_GHCN),
    Layout(
        "NOAA GHCN-Daily, a row an element",
        columns=("id", "date", "element", "data_value", "m_flag", "q_flag", "s_flag", "obs_time"),
        first_line=r"[A-Z0-9_-]{11},[0-9]{8},[A-Z0-9]{4},-?[0-9]+,",
        **_GHCN,
    ),
    Layout(
        "NOAA GHCN-Daily, a row a month",
        first_line=r"[A-Z0-9_-]{11}[0-9]{6}[A-Z0-9]{4}[ 0-9-]{5}",
        month_of_days=(21, 5, 8, 6),
        **_GHCN,
    ),
)

#: Of any other table: words of a header, its unit taken off -> what the column is.
_PLACES = ("{}", "t_{}", "t{}", "temp_{}", "{}_temp", "temperature_{}", "{}_temperature")
_AIR = ("air_temp_{}", "{}_air_temp", "air_temperature_{}", "{}_air_temperature", "{}_t")
WORDS = {
    **{
        place.format(word): what
        for what, words in (
            ("low", ("min", "minimum", "low", "lowest")),
            ("high", ("max", "maximum", "high", "highest")),
        )
        for word in words
        for place in (*_PLACES, *_AIR)
    },
    **{"tn": "low", "tx": "high"},
    **dict.fromkeys(("date", "day", "datum", "fecha", "data", "jour", "tag"), "date"),
    **dict.fromkeys(("datetime", "date_time", "timestamp", "time", "yyyymmdd"), "date"),
    **dict.fromkeys(("station", "station_id", "station_name", "site", "logger"), "station"),
}
#: Words that end a header and tell its unit.
UNIT_WORDS = {
    **dict.fromkeys(("c", "degc", "celsius", "centigrade"), "c"),
    **dict.fromkeys(("f", "degf", "fahrenheit"), "f"),
}
#: What stands for a missing value in any file, beside a blank.
MARKS = ("m", "na", "n/a", "nan", "null", "none", "-", "--", "missing")
MISSING = (-99.0, -99.9, -999.0, -999.9, -9999.0, 999.0, 999.9, 9999.0)
