"""Spoil a clean estate into a messy workbook by a chain of habits that growers' own files have.

The words of the trade are from memory; all estates and numbers are invented.
"""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import groupby
from random import Random

from tests.records.importing.messy_case import (
    Cell,
    beside,
    csv,
    write_ods,
    write_xls,
    write_xlsx,
)

#: What a grower's file may do to a clean folder.
HABITS = (
    *("title rows", "two titles", "blank column", "blank row below the header"),
    *("units in headers", "units in brackets", "units in cells", "other units"),
    *("decimal commas", "thousands signs", "numbers as text"),
    *("dates as text", "dates in words", "serial dates", "season left to the day"),
    *("a sheet a season", "a column a season", "a column a stage", "two years a season"),
    *("merged names", "names left blank below", "totals", "sub-headings", "blank rows"),
    *("remarks", "unknown columns", "extra sheets", "tables side by side", "tables below"),
    *("careless spelling", "capitals", "short varieties", "shares as per cent", "plan in columns"),
)
FORMS = (".xlsx", ".xls", ".ods", ".csv")
#: Locale -> decimal sign, sign between thousands, order of a day as text.
LOCALES = {
    "british": (".", ",", "%d/%m/%Y"),
    "american": (".", ",", "%m/%d/%Y"),
    "continental": (",", ".", "%d.%m.%Y"),
    "southern": (",", " ", "%d/%m/%y"),
}
#: Language -> table or column -> the words that may stand over it.
WORDS = {
    "english": {
        "blocks": ("Blocks", "Vineyard register", "Our vineyard blocks"),
        "pruning": ("Pruning", "Winter pruning"),
        "counts": ("Counts", "Bunch counts", "Shoot counts"),
        "weights": ("Bunch weights at lag phase", "Lag phase weights", "Cluster weights, lag"),
        "harvest": ("Crop", "Harvest", "Weighbridge dockets", "Yields"),
        "dates": ("Phenology", "Growth stages"),
        "block": ("Block", "Vineyard block", "Parcel", "Blk"),
        "season": ("Season", "Vintage", "Year", "Harvest year"),
        "variety": ("Variety", "Cultivar", "Grape"),
        "row_spacing_m": ("Row spacing", "Row sp.", "Between rows"),
        "vine_spacing_m": ("Vine spacing", "Vine sp.", "In-row"),
        "vines": ("No. of vines", "Vines", "# vines", "Vines planted"),
        "missing_pct": ("Missing", "Missing vines", "Gaps"),
        "area_ha": ("Area", "Planted area"),
        "year_planted": ("Planted", "Year planted", "Yr planted"),
        "rows": ("Rows", "No. of rows"),
        "plan": ("Pruned to", "Plan"),
        "canes": ("Canes",),
        "cane_buds": ("Buds per cane", "Buds/cane"),
        "spurs": ("Spurs",),
        "spur_buds": ("Buds per spur",),
        "pruning_weight_kg": ("Pruning weight", "Prunings", "Brush weight"),
        "date": ("Date", "Day"),
        "row": ("Row", "Row no."),
        "vine": ("Vine", "Vine no."),
        "shoots": ("Shoots", "Shoot count"),
        "clusters": ("Bunches", "Clusters", "Bunch count"),
        "counter": ("Counted by", "Counter", "Who"),
        "weight_g": ("Total weight", "Sample weight", "Lot weight"),
        "tonnes": ("Crop", "Net weight", "Fruit", "Picked fruit"),
        "ticket": ("Docket", "Docket no.", "Ticket"),
        "budburst": ("Budburst", "Bud break"),
        "flowering": ("Flowering", "Bloom"),
        "veraison": ("Veraison",),
        "total": ("TOTAL", "Total", "Sum"),
        "note": ("Notes", "Remarks", "Comments"),
    },
    "french": {
        "blocks": ("Parcelles", "Parcellaire"),
        "pruning": ("Taille",),
        "counts": ("Comptage", "Comptage des grappes"),
        "weights": ("Poids des grappes, lag phase",),
        "harvest": ("Vendange", "Récolte"),
        "dates": ("Stades", "Phénologie"),
        "block": ("Parcelle",),
        "season": ("Millésime", "Année"),
        "variety": ("Cépage",),
        "row_spacing_m": ("Écartement rangs", "Distance rangs"),
        "vine_spacing_m": ("Distance pieds", "Entre pieds"),
        "vines": ("Nb de pieds", "Pieds"),
        "missing_pct": ("Manquants", "Pieds manquants"),
        "area_ha": ("Surface",),
        "year_planted": ("Année plantation", "Plantation"),
        "rows": ("Rangs",),
        "plan": ("Taille",),
        "canes": ("Baguettes",),
        "cane_buds": ("Yeux/baguette",),
        "spurs": ("Coursons",),
        "spur_buds": ("Yeux/courson",),
        "pruning_weight_kg": ("Bois de taille", "Poids bois de taille"),
        "date": ("Date", "Jour"),
        "row": ("Rang",),
        "vine": ("Pied", "Cep"),
        "shoots": ("Rameaux",),
        "clusters": ("Grappes", "Nb de grappes"),
        "counter": ("Compteur",),
        "weight_g": ("Poids total",),
        "tonnes": ("Poids net", "Récolte", "Vendange"),
        "ticket": ("N° bon", "Bon de livraison"),
        "budburst": ("Débourrement",),
        "flowering": ("Floraison",),
        "veraison": ("Véraison",),
        "total": ("TOTAL", "Total", "Somme"),
        "note": ("Remarques",),
    },
    "german": {
        "blocks": ("Lagen", "Parzellen"),
        "pruning": ("Rebschnitt",),
        "counts": ("Zählung",),
        "weights": ("Traubengewicht, Traubenschluss",),
        "harvest": ("Lese", "Ernte"),
        "dates": ("Stadien", "Phänologie"),
        "block": ("Lage", "Parzelle"),
        "season": ("Jahr", "Jahrgang", "Erntejahr"),
        "variety": ("Rebsorte", "Sorte"),
        "row_spacing_m": ("Zeilenabstand", "Gasse", "Gassenbreite"),
        "vine_spacing_m": ("Stockabstand", "Stockabst."),
        "vines": ("Stöcke", "Anzahl Stöcke", "Reben"),
        "missing_pct": ("Fehlstellen", "Fehlstöcke"),
        "area_ha": ("Fläche",),
        "year_planted": ("Pflanzjahr",),
        "rows": ("Zeilen", "Rebzeilen"),
        "plan": ("Anschnitt", "Schnitt"),
        "canes": ("Bogen",),
        "cane_buds": ("Augen/Bogen",),
        "spurs": ("Zapfen",),
        "spur_buds": ("Augen/Zapfen",),
        "pruning_weight_kg": ("Schnittholz", "Schnittholzgewicht"),
        "date": ("Datum", "Tag"),
        "row": ("Zeile",),
        "vine": ("Stock", "Rebe"),
        "shoots": ("Triebe",),
        "clusters": ("Trauben", "Anz. Trauben"),
        "counter": ("Zähler",),
        "weight_g": ("Gewicht gesamt", "Gesamtgewicht"),
        "tonnes": ("Lesemenge", "Ertrag", "Menge"),
        "ticket": ("Wiegeschein", "Lieferschein"),
        "budburst": ("Austrieb",),
        "flowering": ("Blüte",),
        "veraison": ("Reifebeginn",),
        "total": ("Summe", "Gesamt"),
        "note": ("Bemerkung", "Anmerkung"),
    },
    "spanish": {
        "blocks": ("Parcelas",),
        "pruning": ("Poda",),
        "counts": ("Conteo",),
        "weights": ("Peso de racimos, cierre racimo",),
        "harvest": ("Vendimia", "Cosecha"),
        "dates": ("Fenología",),
        "block": ("Parcela", "Finca"),
        "season": ("Campaña", "Año", "Añada"),
        "variety": ("Variedad",),
        "row_spacing_m": ("Marco calle", "Distancia entre filas"),
        "vine_spacing_m": ("Marco cepas", "Distancia entre cepas"),
        "vines": ("Nº cepas", "Cepas"),
        "missing_pct": ("Marras", "Faltas"),
        "area_ha": ("Superficie",),
        "year_planted": ("Año plantación", "Plantación"),
        "rows": ("Filas",),
        "plan": ("Poda",),
        "canes": ("Varas",),
        "cane_buds": ("Yemas/vara",),
        "spurs": ("Pulgares",),
        "spur_buds": ("Yemas/pulgar",),
        "pruning_weight_kg": ("Madera de poda", "Peso poda"),
        "date": ("Fecha", "Día"),
        "row": ("Fila", "Hilera"),
        "vine": ("Cepa",),
        "shoots": ("Brotes",),
        "clusters": ("Racimos",),
        "counter": ("Contador",),
        "weight_g": ("Peso total",),
        "tonnes": ("Peso neto", "Producción", "Cosecha"),
        "ticket": ("Albarán", "Vale"),
        "budburst": ("Brotación",),
        "flowering": ("Floración",),
        "veraison": ("Envero",),
        "total": ("Total", "TOTAL", "Suma"),
        "note": ("Observaciones", "Notas"),
    },
}
_MONTHS = {
    "english": "January February March April May June July August September October November "
    "December",
    "french": "janvier février mars avril mai juin juillet août septembre octobre novembre "
    "décembre",
    "german": "Januar Februar März April Mai Juni Juli August September Oktober November Dezember",
    "spanish": "enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre "
    "diciembre",
}
#: Column -> (unit, times the clean value): the usual one first.
_UNITS = {
    "row_spacing_m": (("m", 1), ("cm", 100)),
    "vine_spacing_m": (("m", 1), ("cm", 100)),
    "missing_pct": (("%", 1),),
    "area_ha": (("ha", 1), ("m2", 10_000)),
    "pruning_weight_kg": (("kg", 1), ("g", 1000)),
    "weight_g": (("g", 1), ("kg", 0.001)),
    "tonnes": (("t", 1), ("kg", 1000)),
}
_SHORT = {
    "Sauvignon blanc": ("SB", "Sauv. bl."),
    "Pinot noir": ("PN", "P. noir"),
    "Chardonnay": ("Chard.", "Chard"),
    "Riesling": ("Ries.",),
    "Cabernet Sauvignon": ("Cab Sauv", "CS"),
    "Merlot": ("Merlot",),
    "Syrah": ("Syrah",),
}
_NAMES = (
    *("Near Field", "Far Field", "Hill", "Hill Top", "Hill Foot", "Mill 1", "Mill 2", "North"),
    *("North East", "Old Vines", "Lower Terrace", "Upper Terrace", "Church", "River", "B1", "B2"),
    *("Quarry", "St. Anne", "Long Acre", "Total Loss Corner", "12", "7b", "Mean Meadow", "May"),
)
_KEYS = ("season", "block", "date")
_STAGES = ("budburst", "flowering", "veraison")


def estate(seed, south=False):
    """Return an invented estate: name of a table -> list of rows {column: value}."""
    draw = Random(seed)
    names = draw.sample(_NAMES, draw.randint(2, 7))
    seasons = range(2025 - draw.randint(0, 3), 2026)
    blank = {name: draw.random() < 0.3 for name in ("missing_pct", "area_ha", "year_planted")}
    blocks = []
    for name in names:
        row, vine, vines = (
            draw.choice((1.8, 2, 2.25, 2.5, 3)),
            draw.choice((0.9, 1, 1.2)),
            draw.randint(400, 5200),
        )
        told = {"block": name, "variety": draw.choice(list(_SHORT)), "row_spacing_m": row}
        told |= {"vine_spacing_m": vine, "vines": vines}
        more = {
            "missing_pct": draw.choice((0, 1.5, 4, 12)),
            "area_ha": round(row * vine * vines / 10_000, 4),
            "year_planted": draw.randint(1975, 2015),
        }
        blocks.append(told | {k: v for k, v in more.items() if not blank[k]})
    tables = defaultdict(list, blocks=blocks)
    kept = {name for name in WORDS["english"] if draw.random() < 0.6} | {"harvest"}
    dated, ticketed = draw.random() < 0.6, draw.random() < 0.5
    size = {
        b["block"]: b["row_spacing_m"] * b["vine_spacing_m"] * b["vines"] / 10_000 for b in blocks
    }

    def day(season, month, last=27):
        # In the south stages come half a year earlier: those of spring in the year before.
        month = month - 6 if south else month
        year = season if month > 0 else season - 1
        return date(year, month if month > 0 else month + 12, draw.randint(1, last))

    for season in seasons:
        for block in blocks:
            name = block["block"]
            if "pruning" in kept:
                cut = date(season - south, 7 if south else 2, draw.randint(1, 27))
                plan = draw.choice(("2x10+2x2", "1x8+1x2", "2x12", "12x2"))
                told = {"season": season, "block": name, "plan": plan}
                told["pruning_weight_kg"] = draw.randint(30, 110) / 100
                tables["pruning"].append(told | ({"date": cut} if dated else {}))
            if "counts" in kept:
                counted = day(season, 6)
                for row, vine in sorted((draw.randint(1, 30), v) for v in (4, 17, 31)):
                    told = {"season": season, "date": counted, "block": name, "row": row}
                    told |= {"vine": vine, "shoots": draw.randint(8, 24)}
                    told["clusters"] = draw.randint(8, 44)
                    tables["counts"].append(told | {"counter": draw.choice(("AL", "Jo"))})
            if "weights" in kept:
                told = {"season": season, "date": day(season, 7), "block": name, "stage": "lag"}
                told |= {"clusters": draw.choice((20, 30, 50))}
                told["weight_g"] = round(told["clusters"] * draw.uniform(40, 110), 1)
                tables["weights"].append(told)
            if "dates" in kept:
                for stage, month in zip(_STAGES, (4, 6, 8), strict=True):
                    told = {"season": season, "block": name, "stage": stage}
                    tables["dates"].append(told | {"date": day(season, month)})
            days = sorted({day(season, 9) for _ in range(draw.randint(1, 2) if dated else 1)})
            for at, picked in enumerate(days):
                told = {"season": season, "block": name}
                told |= {"date": picked} if dated else {}
                told["tonnes"] = round(size[name] * draw.uniform(1.2, 14) / len(days), 2)
                number = 100 * (season - 2000) + len(tables["harvest"])
                tables["harvest"].append(
                    told | ({"ticket": number} if ticketed and dated and at < 2 else {})
                )
    return {name: rows for name, rows in tables.items() if rows}


def clean_of(tables):
    """Return name of a table -> its CSV, as a clean folder holds it."""
    found = {}
    for name, rows in tables.items():
        columns = list(dict.fromkeys(column for row in rows for column in row))
        found[name] = csv(",".join(columns), [[row.get(c) for c in columns] for row in rows])
    return found


@dataclass
class Spoiler:
    """One grower's way of keeping records.

    Attributes
    ----------
    habits : set of str
        Some of ``HABITS``.
    seed : int
        Draws words and places.
    language, locale, form : str
        Of ``WORDS``, ``LOCALES`` and ``FORMS``.
    answers : dict
        Right answers to what such a file leaves open, by name of the question.
    """

    habits: set
    seed: int = 0
    language: str = "english"
    locale: str = "british"
    form: str = ".xlsx"
    answers: dict = field(default_factory=dict)

    def __post_init__(self):
        self.draw = Random(self.seed)
        self.point, self.thousand, self.order = LOCALES[self.locale]
        if self.form == ".csv":
            self.commas = self.point == ","
        else:
            self.commas = "decimal commas" in self.habits and self.point == ","
        first = "month/day" if self.locale == "american" else "day/month"
        self.answers |= {"order of dates": first, "year of pruning": "harvest"}
        self.answers |= {"stage of cluster weights": "lag"}

    def __contains__(self, habit):
        return habit in self.habits

    def answer(self, question):
        """Return the right answer to a question, or None where it is not known."""
        told = self.answers.get(question.id, self.answers.get(question.id.partition(", ")[0]))
        return told if told in question.choices else None

    def word(self, name):
        """Return a word for a table or a column."""
        return self.draw.choice(WORDS[self.language][name])

    def write(self, tables, folder):
        """Write an estate as this grower would; return the paths."""
        sheets, self.told_by_sheet = [], set()
        for name, rows in tables.items():
            made = self._sheets(name, rows)
            sheets += made
            if len(made) > 1 or name == "weights":
                self.told_by_sheet |= {sheet for sheet, _ in made}
        if self.form == ".csv":
            paths = []
            for at, (name, rows) in enumerate(sheets):
                lines = [";".join(self._text(cell) for cell in cells) for cells in rows]
                path = folder / f"{name} {at}.csv"
                path.write_bytes("\r\n".join([*lines, ""]).encode("cp1252"))
                paths.append(path)
            return paths
        sheets = self._arranged(sheets)
        if "extra sheets" in self:
            sheets["Wines"] = [["Wine", "Bottle", "Case"], ["Red", 14, 160], ["White", 12, 140]]
            sheets["To do"] = [["Ring the cooper"], ["New tyres for the small tractor"]]
        write = {".xlsx": write_xlsx, ".xls": write_xls, ".ods": write_ods}[self.form]
        return [write(folder / f"vineyard{self.form}", sheets)]

    def _text(self, cell):
        value = cell.value if isinstance(cell, Cell) else cell
        if isinstance(cell, Cell) and "%" in cell.looks:
            value = f"{value * 100:g}%"
        if isinstance(value, float):
            value = f"{value:.10g}".replace(".", self.point)
        return "" if value is None else str(value)

    def _arranged(self, sheets):
        """Return sheets by name, some of them beside or below each other."""
        found, left = {}, list(sheets)
        while left:
            name, rows = left.pop(0)
            # A table that only its sheet tells the year or the stage of keeps its sheet.
            alone = not left or ("two titles" not in self and left[0][0] in self.told_by_sheet)
            if "tables side by side" in self and not alone and self.draw.random() < 0.5:
                rows = beside(rows, left.pop(0)[1], gap=self.draw.randint(1, 2))
            elif "tables below" in self and not alone and self.draw.random() < 0.5:
                rows = [*rows, [], [], *left.pop(0)[1]]
            name = name if name not in found else f"{name} {len(found)}"
            found[name] = rows
        return found

    # One table ------------------------------------------------------------------------------

    def _sheets(self, name, rows):
        """Return (name of the sheet, rows of cells) of one table, one for each season if so."""
        if "season" in rows[0]:
            by_day = "season left to the day" in self and all("date" in row for row in rows)
            if "a sheet a season" in self and name != "dates":
                lots = groupby(sorted(rows, key=lambda r: r["season"]), key=lambda r: r["season"])
                return [
                    (f"{self.word(name)[:20]} {self._season(year)}", self._sheet(name, list(lot)))
                    for year, lot in lots
                ]
            pairs = [(row["season"], row["block"]) for row in rows]
            wide = len(set(pairs)) == len(pairs) and len({year for year, _ in pairs}) > 2
            if "a column a season" in self and name == "harvest" and wide:
                if all("date" not in row for row in rows):
                    return [(self.word(name)[:28], self._wide(name, rows))]
            elif by_day and name != "pruning":
                return [(self.word(name)[:28], self._sheet(name, rows))]
            return [(self.word(name)[:28], self._sheet(name, rows, season=True))]
        return [(self.word(name)[:28], self._sheet(name, rows))]

    def _season(self, year):
        return f"{year - 1}-{year % 100}" if "two years a season" in self else year

    def _titles(self, name, year=None):
        rows = []
        if "title rows" in self:
            rows.append(["Quillfoot"])
        if "two titles" in self:
            told = self.word(name) if year is None else f"{self.word(name)} {self._season(year)}"
            rows += [[told], []]
        return rows

    def _sheet(self, name, rows, season=False):
        """Return one table as rows of cells, long."""
        years = {row.get("season") for row in rows}
        year = years.pop() if len(years) == 1 and not season else None
        rows = [dict(row) for row in rows]
        if name == "dates":
            rows = self._by_stage(rows) if "a column a stage" in self else self._stage_words(rows)
        if not season:
            rows = [{k: v for k, v in row.items() if k != "season"} for row in rows]
        for row in rows:
            row.pop("stage", None) if name == "weights" else None
        if name == "pruning" and "plan in columns" in self:
            rows = [self._plan_apart(row) for row in rows]
        if name in ("harvest", "counts"):
            rows.sort(key=lambda row: (row.get("season", 0), str(row["block"])))
        groups = None
        if name == "blocks" and "sub-headings" in self:
            rows.sort(key=lambda row: row["variety"])
            groups = [row.pop("variety") for row in rows]
        columns = list(dict.fromkeys(column for row in rows for column in row))
        units = {column: self._unit(column) for column in columns}
        heads = [self._head(column, units[column]) for column in columns]
        body = []
        for at, row in enumerate(rows):
            if groups and groups[at] != (groups[at - 1] if at else None):
                body.append([groups[at].upper()])
            body.append([self._cell(column, row.get(column), units[column]) for column in columns])
            if name != "blocks":
                body[-1][columns.index("block")] = self._spelt(row["block"])
        if not groups and name in ("harvest", "counts"):
            self._names_once(columns, rows, body)
        if "totals" in self and name in ("blocks", "harvest"):
            what = "vines" if name == "blocks" else "tonnes"
            total = [None] * len(columns)
            total[0] = self.word("total")
            numbers = sum(row[what] for row in rows)
            total[columns.index(what)] = self._cell(what, round(numbers, 2), units[what])
            body.append(total)
        return self._framed(name, heads, body, year)

    def _framed(self, name, heads, body, year=None):
        if "unknown columns" in self:
            heads = [*heads, "Rootstock", "pH"]
            body = [[*row, *["SO4", 3.21][: 2 * (len(row) == len(heads) - 2)]] for row in body]
        if "remarks" in self:
            heads = [*heads, self.word("note")]
            full = [row for row in body if len(row) == len(heads) - 1]
            if full:
                full[self.draw.randrange(len(full))].append("check the drip line, see the letter")
        if "blank row below the header" in self:
            body = [[], *body]
        if "blank rows" in self and len(body) > 2:
            body.insert(self.draw.randint(2, len(body) - 1), [])
        rows = [*self._titles(name, year), heads, *body]
        if "blank column" in self:
            rows = [[None, *row] for row in rows]
        return rows

    def _wide(self, name, rows):
        years = sorted({row["season"] for row in rows})
        unit = self._unit("tonnes")
        told = {(row["block"], row["season"]): row["tonnes"] for row in rows}
        body = [
            [
                self._spelt(block),
                *(self._cell("tonnes", told.get((block, year)), unit) for year in years),
            ]
            for block in dict.fromkeys(row["block"] for row in rows)
        ]
        if "totals" in self:
            sums = [
                round(sum(r["tonnes"] for r in rows if r["season"] == year), 2) for year in years
            ]
            body.append([self.word("total"), *(self._cell("tonnes", each, unit) for each in sums)])
        heads = [self.word("block"), *map(self._season, years)]
        rows = self._framed(name, heads, body)
        place = next(at for at, row in enumerate(rows) if heads[0] in row)
        start = [None] if "blank column" in self else []
        title = f"{self.word('tonnes')} ({unit[0]})" if unit[2] != "untold" else self.word("tonnes")
        return [*rows[:place], [*start, title], *rows[place:]]

    def _by_stage(self, rows):
        lots = {}
        for row in rows:
            told = {"season": row["season"], "block": row["block"]}
            lots.setdefault(tuple(told.values()), told)[row["stage"]] = row["date"]
        return list(lots.values())

    def _stage_words(self, rows):
        return [row | {"stage": self.word(row["stage"])} for row in rows]

    def _plan_apart(self, row):
        row = dict(row)
        for piece in row.pop("plan").split("+"):
            number, buds = map(int, piece.split("x"))
            wood = "cane" if buds > 4 else "spur"
            row[f"{wood}s"], row[f"{wood}_buds"] = number, buds
        return row

    def _names_once(self, columns, rows, body):
        """Write the name of a block only in its first row, or merged over its rows."""
        once = "names left blank below" in self
        merged = "merged names" in self and self.form in (".xlsx", ".xls")
        if not (once or merged):
            return
        place = columns.index("block")
        key = lambda at: (rows[at].get("season"), rows[at]["block"])  # noqa: E731
        for _, lot in groupby(range(len(rows)), key=key):
            lot = list(lot)
            for at in lot[1:]:
                body[at][place] = None
            if merged and len(lot) > 1:
                body[lot[0]][place] = Cell(body[lot[0]][place], down=len(lot))

    # Words and cells ------------------------------------------------------------------------

    def _unit(self, column):
        """Return (unit, factor, where it is told) of a column."""
        if column not in _UNITS:
            return None
        name, factor = _UNITS[column][self.seed % len(_UNITS[column]) * ("other units" in self)]
        told = "untold"
        if "units in headers" in self or "units in brackets" in self:
            told = "header"
        if "units in cells" in self and self.draw.random() < 0.7:
            told = "cell"
        own = {"tonnes": "unit of the crop", "missing_pct": "per cent of blocks.missing_pct"}
        table = {"pruning_weight_kg": "pruning", "weight_g": "weights"}.get(column, "blocks")
        self.answers[own.get(column, f"unit of {table}.{column}")] = name
        self.answers["missing vines"] = "%"
        return name, factor, told

    def _head(self, column, unit):
        if column == "stage":
            return {"english": "Stage", "french": "Stade", "german": "Stadium"}.get(
                self.language, "Estado"
            )
        word = self.word(column)
        if unit and unit[2] == "header":
            return f"{word} ({unit[0]})" if "units in brackets" in self else f"{word} {unit[0]}"
        return word

    def _spelt(self, name):
        if "careless spelling" in self and self.draw.random() < 0.5:
            name = name.replace(" ", "  ") + " " * self.draw.randint(0, 1)
        return name.upper() if "capitals" in self and self.draw.random() < 0.5 else name

    def _cell(self, column, value, unit):
        if value is None:
            return None
        if isinstance(value, date):
            return self._day(value)
        if column == "variety" and "short varieties" in self:
            return self.draw.choice(_SHORT[value])
        if column == "season":
            return self._season(value)
        if column == "block":
            return int(value) if value.isdigit() and self.draw.random() < 0.5 else value
        if isinstance(value, str) or column in ("year_planted", "ticket", "row", "vine"):
            return value
        if column == "missing_pct" and "shares as per cent" in self:
            if self.form == ".xls":
                self.answers["per cent of blocks.missing_pct"] = "share"
            return Cell(value / 100, "0.0%") if self.form in (".xlsx", ".xls") else f"{value:g} %"
        number = round(value * (unit[1] if unit else 1), 6)
        number = int(number) if float(number).is_integer() else number
        return self._number(number, unit)

    def _number(self, number, unit):
        text = f"{number:.10g}"
        if "thousands signs" in self and number >= 1000:
            text = f"{number:,}".replace(",", "_").replace(".", self.point)
            text = text.replace("_", self.thousand)
        elif self.commas:
            text = text.replace(".", ",")
        elif not ("numbers as text" in self or (unit and unit[2] == "cell")):
            return number
        elif self.point == ",":
            text = text.replace(".", ",")
        return f"{text} {unit[0]}" if unit and unit[2] == "cell" else text

    def _day(self, day):
        if "dates in words" in self:
            month = _MONTHS[self.language].split()[day.month - 1]
            return {
                "english": f"{day.day} {month} {day.year}",
                "french": f"{day.day} {month} {day.year}",
                "german": f"{day.day}. {month} {day.year}",
                "spanish": f"{day.day} de {month} de {day.year}",
            }[self.language]
        if "dates as text" in self or self.form == ".csv":
            return f"{day:{self.order}}"
        if "serial dates" in self:
            return (day - date(1899, 12, 30)) // timedelta(days=1)
        return day
