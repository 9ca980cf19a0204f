"""Messy workbooks of growers who write French, German, Spanish, and Italian with English."""

from datetime import date
from random import Random

from tests.records.importing.messy_case import (
    Case,
    Cell,
    beside,
    csv,
    header,
    write_ods,
    write_xlsx,
)


def _comma(number, decimals=2):
    return f"{number:.{decimals}f}".replace(".", ",")


def _thousands(number, sign):
    return f"{number:,}".replace(",", sign)


# --- French: OpenDocument, numbers as text, two tables beside each other ------------------------

#: Parcel, variety as written, the variety, spacings, vines, % missing, planted, remark.
_PARCELS = (
    ("Les Buttes", "Pinot noir", "Pinot noir", 2.0, 1.0, 3120, 2.5, 1998, "drainer le bas"),
    ("La Grange", "Chardonnay", "Chardonnay", 2.1, 1.0, 2480, 4, 2004, None),
    ("Clos Brûlé", "Gamay", "Gamay", 1.8, 0.9, 1250, None, 1976, "vieilles vignes"),
    ("Haut Verger", "Sauvignon bl.", "Sauvignon blanc", 2.2, 1.1, 1860, 1.5, 2012, None),
    ("Le Fossé", "Meunier", "Meunier", 2.0, 1.0, 940, 12, 1985, "à arracher ?"),
)
_MONTHS = dict(zip((2, 3, 9, 10), ("févr.", "mars", "sept.", "oct."), strict=True))

#: Year -> (ticket, day, parcel as written, parcel, kg).
_TICKETS = {
    2024: (
        (311, date(2024, 9, 24), "Les Buttes", "Les Buttes", 2210),
        (312, date(2024, 9, 25), "Les Buttes", "Les Buttes", 1085),
        (313, date(2024, 9, 27), "La Grange", "La Grange", 3240),
        (316, date(2024, 10, 2), "Clos Brulé", "Clos Brûlé", 1330),
        (317, date(2024, 9, 30), "Haut verger", "Haut Verger", 2960),
        (319, date(2024, 10, 4), "LE FOSSÉ", "Le Fossé", 905),
    ),
    2025: (
        (402, date(2025, 9, 9), "Les Buttes", "Les Buttes", 3870),
        (403, date(2025, 9, 11), "La Grange", "La Grange", 4015),
        (405, date(2025, 9, 17), "Clos Brûlé", "Clos Brûlé", 1590),
        (406, date(2025, 9, 15), "Haut  Verger", "Haut Verger", 3650),
        (409, date(2025, 9, 20), "Le Fossé", "Le Fossé", 1120),
    ),
}

#: Parcel, plan, wood [kg a vine], day of pruning.
_TAILLE = (
    ("Les Buttes", "1x8+1x2", 0.41, date(2025, 3, 14)),
    ("La Grange", "1x10+1x2", 0.52, date(2025, 3, 4)),
    ("Clos Brûlé", "5x2", 0.33, date(2025, 2, 21)),
    ("Haut Verger", "2x8+2x2", 0.68, date(2025, 2, 27)),
)

#: Parcel, budburst, flowering, veraison.
_STADES = (
    ("Les Buttes", date(2025, 4, 9), date(2025, 6, 7), date(2025, 8, 1)),
    ("La Grange", date(2025, 4, 5), date(2025, 6, 4), date(2025, 7, 30)),
    ("Haut Verger", date(2025, 4, 15), date(2025, 6, 13), None),
)
_STAGES = ("budburst", "flowering", "veraison")


def _grappes():
    """Return [(parcel, row, [(vine, shoots, clusters), ...])]."""
    draw, lines = Random(9), []
    for parcel, mean in (("Les Buttes", 13), ("La Grange", 15), ("Haut Verger", 22)):
        for row in (4, 11, 19, 26):
            vines = sorted(draw.sample(range(5, 60), 4))
            shoots = [draw.randint(8, 11) + (7 if mean > 20 else 0) for _ in vines]
            told = [
                (vine, n, mean + draw.randint(-4, 4)) for vine, n in zip(vines, shoots, strict=True)
            ]
            lines.append((parcel, row, told))
    return lines


_GRAPPES, _NOUAISON = _grappes(), date(2025, 6, 19)


def _jour(day):
    return f"{day.day}-{_MONTHS[day.month]}-{day:%y}"


def _write_cave(folder):
    parcels = [
        [Cell("Domaine Quillfoot – parcellaire", across=5)],
        ["mis à jour après l'arrachage de 2021"],
        [],
        header(
            "Parcelle | Cépage | Éc. rangs (m) | Éc. pieds (m) | Nb de pieds | Manquants"
            " | Année plant. | Remarques"
        ),
    ]
    for name, written, _, row, vine, vines, missing, planted, remark in _PARCELS:
        share = "–" if missing is None else f"{missing:g} %".replace(".", ",")
        line = [name, written, _comma(row), _comma(vine), _thousands(vines, "\u202f"), share]
        parcels.append([*line, planted, remark])
    total = _thousands(sum(one[5] for one in _PARCELS), "\u202f")
    parcels.append(["TOTAL", None, None, None, total])
    sheets = {"Parcellaire": parcels}
    for year, tickets in _TICKETS.items():
        heads = ["N° bon", "Jour", "Parcelle", "Poids net kg", "Degré"]
        rows = [[f"VENDANGE {year}"], [], heads]
        for ticket, day, written, _, kg in tickets:
            rows.append([ticket, _jour(day), written, _thousands(kg, "\u00a0"), "11,8°"])
        total = sum(one[4] for one in tickets)
        sheets[f"Vendange {year}"] = [*rows, ["Total", None, None, _thousands(total, "\u00a0")]]
    left = [
        [Cell("Taille (récolte 2025)", across=4)],
        ["Parcelle", "Taille", "Bois kg/pied", "Date"],
        *([name, plan, _comma(kg), _jour(day)] for name, plan, kg, day in _TAILLE),
    ]
    right = [
        [Cell("Stades 2025", across=4)],
        ["Parcelle", "Débourrement", "Floraison", "Véraison"],
        *([name, *days] for name, *days in _STADES),
    ]
    sheets["Taille et stades"] = beside(left, right, gap=2)
    rows = [
        [f"Comptage des grappes à la nouaison, le {_NOUAISON.day} juin {_NOUAISON.year}"],
        ["Parcelle", "Rang", "Pied", "Rameaux", "Grappes", "Compteur"],
    ]
    told = None
    for name, row, vines in _GRAPPES:
        for number, (vine, shoots, clusters) in enumerate(vines):
            first = [None if name == told else name, None if number else row]
            rows.append([*first, vine, shoots, clusters, "AL"])
            told = name
    sheets["Comptage"] = rows
    return [write_ods(folder / "Domaine.ods", sheets)]


CAVE = Case(
    "cave",
    "A French domaine that types its numbers as text, in OpenDocument.",
    _write_cave,
    {
        "blocks": csv(
            "block,variety,row_spacing_m,vine_spacing_m,vines,missing_pct,year_planted",
            [(name, *rest) for name, _, *rest, _ in _PARCELS],
        ),
        "harvest": csv(
            "season,block,date,tonnes,ticket",
            [
                (year, name, day, kg / 1000, ticket)
                for year, tickets in _TICKETS.items()
                for ticket, day, _, name, kg in tickets
            ],
        ),
        "pruning": csv(
            "season,block,plan,pruning_weight_kg,date",
            [(2025, *told) for told in _TAILLE],
        ),
        "dates": csv(
            "season,block,stage,date",
            [
                (2025, name, stage, day)
                for name, *days in _STADES
                for stage, day in zip(_STAGES, days, strict=True)
                if day
            ],
        ),
        "counts": csv(
            "season,date,block,row,vine,shoots,clusters,counter",
            [
                (2025, _NOUAISON, name, row, *vine, "AL")
                for name, row, vines in _GRAPPES
                for vine in vines
            ],
        ),
    },
    left_out=("mis à jour après l'arrachage de 2021", "TOTAL", "Total", "Degré", "Remarques"),
)

# --- German: two text files, decimal commas, three tables in one of them ------------------------

#: Site, variety as written, the variety, alley, vine distance, vines, % missing, planted, rows.
_SITES = (
    ("Kirchhalde", "Spätburgunder", "Pinot noir", 2.0, 1.1, 2460, 3.5, 2001, 34),
    ("Steinriegel", "Riesling", "Riesling", 2.2, 1.2, 1880, 2, 1994, 28),
    ("Obere Au", "Müller-Thurgau", "Müller-Thurgau", 2.5, 1.3, 1250, None, 1987, 18),
    ("Untere Au", "Grauburgunder", "Grauburgunder", 2.0, 1.2, 1640, 0.5, 2014, 24),
)

#: Day, site as written, site, kg, degrees.
_LESE = (
    (date(2024, 9, 18), "Obere Au", "Obere Au", 3640, 72),
    (date(2024, 9, 27), "Kirchhalde", "Kirchhalde", 2870, 88),
    (date(2024, 9, 28), "Kirchhalde", "Kirchhalde", 1250, 90),
    (date(2024, 10, 1), "untere Au", "Untere Au", 3015, 91),
    (date(2024, 10, 14), "Steinriegel", "Steinriegel", 3980, 84),
    (date(2025, 9, 11), "Obere Au", "Obere Au", 3990, 75),
    (date(2025, 9, 19), "Kirchhalde ", "Kirchhalde", 4460, 93),
    (date(2025, 9, 23), "Untere  Au", "Untere Au", 3320, 94),
    (date(2025, 10, 6), "Steinriegel", "Steinriegel", 2790, 87),
)

#: Day, site, clusters, grams of them all.
_TRAUBEN = (
    (date(2025, 8, 14), "Kirchhalde", 40, 3480.5),
    (date(2025, 8, 22), "Steinriegel", 40, 2915.0),
    (date(2025, 8, 12), "Obere Au", 30, 4210.5),
)

#: Day, site, word for it, the word of the records, share in percent.
_SCHADEN = (
    (date(2024, 4, 23), "Untere Au", "Spätfrost", "frost", 12.5),
    (date(2025, 6, 30), "Steinriegel", "Hagel", "hail", 35),
)


def _write_weingut(folder):
    head = "Lage;Rebsorte;Gasse;Stockabst.;Stöcke;Fehlst. %;Pflanzjahr;Rebzeilen;Bemerkung"
    lines = ["sep=;", "Weingut Quillfoot, Rebanlagen;;;;;;;;", ";;;;;;;;", head]
    for name, written, _, row, vine, vines, missing, planted, rows in _SITES:
        share = "" if missing is None else _comma(missing, 1)
        lines.append(
            f"{name};{written};{_comma(row)} m;{_comma(vine)} m;{_thousands(vines, '.')};{share};"
            f"{planted};{rows};{'Steillage, nur Hand' if rows == 28 else ''}"
        )
    lines.append(f"Summe;;;;{_thousands(sum(one[5] for one in _SITES), '.')};;;;")
    sites = folder / "Rebanlagen.csv"
    sites.write_bytes("\r\n".join([*lines, ""]).encode("cp1252"))

    lines = ["Lesebuch", "", "Datum\tLage\tTrauben kg\t°Oe"]
    for year in (2024, 2025):
        picks = [pick for pick in _LESE if pick[0].year == year]
        for day, written, _, kg, degrees in picks:
            lines.append(f"{day:%d.%m.%Y}\t{written}\t{_thousands(kg, '.')}\t{degrees}")
        lines.append(f"Summe {year}\t\t{_thousands(sum(pick[3] for pick in picks), '.')}\t")
    lines += ["", "Traubengewicht bei Reifebeginn", "Datum\tLage\tAnz. Trauben\tGewicht ges. (g)"]
    for day, name, clusters, grams in _TRAUBEN:
        lines.append(f"{day.day}.{day.month}.{day:%y}\t{name}\t{clusters}\t{_comma(grams, 1)}")
    lines += ["", "Schäden", "Datum\tLage\tUrsache\tAusfall"]
    for day, name, word, _, share in _SCHADEN:
        lines.append(f"{day:%d.%m.%Y}\t{name}\t{word}\t{f'{share:g}'.replace('.', ',')} %")
    book = folder / "Lesebuch.txt"
    book.write_bytes("\r".join([*lines, ""]).encode("cp1252"))
    return [sites, book]


WEINGUT = Case(
    "weingut",
    "A German couple: one saves the vineyard list from a spreadsheet, the other types a text file.",
    _write_weingut,
    {
        "blocks": csv(
            "block,variety,row_spacing_m,vine_spacing_m,vines,missing_pct,year_planted,rows",
            [(name, *rest) for name, _, *rest in _SITES],
        ),
        "harvest": csv(
            "season,block,date,tonnes",
            [(day.year, name, day, kg / 1000) for day, _, name, kg, _ in _LESE],
        ),
        "weights": csv(
            "season,date,block,stage,clusters,weight_g",
            [(2025, day, name, "veraison", n, grams) for day, name, n, grams in _TRAUBEN],
        ),
        "events": csv(
            "block,date,kind,share_pct",
            [(name, day, kind, share) for day, name, _, kind, share in _SCHADEN],
        ),
    },
    left_out=("Summe", "Summe 2024", "Summe 2025", "Bemerkung", "°Oe"),
    asked=(("Is the loss a share of the crop, or of the shoots?", "Of the crop."),),
)

# --- Spanish: parcels under the name of their place, a column a season, counts below weights ----

#: Parcel, place, variety as written, the variety, spacings, vines, % missing, kg of 2021 to 2025.
_FINCA = (
    ("El Cerro", "Pago del Molino", "Tempranillo", "Tempranillo", 3.0, 1.5, 2250, 4),
    ("La Noria", "Pago del Molino", "Tinta del País", "Tempranillo", 3.0, 1.3, 1840, 2),
    ("Tres Hermanas", "Pago del Molino", "Garnacha", "Grenache", 2.8, 1.4, 1310, 12),
    ("Valdeliebre", "Pago Alto", "Garnacha", "Grenache", 2.8, 1.4, 990, 7),
    ("El Pozo", "Pago Alto", "Monastrell", "Monastrell", 3.0, 1.5, 1120, None),
    ("La Ermita", "Pago Alto", "Verdejo", "Verdejo", 3.0, 1.2, 2065, 3),
    ("Hoyo Largo", "Pago Alto", "Tempranillo", "Tempranillo", 3.0, 1.5, 1475, 5),
)
_COSECHA = {
    "El Cerro": (6120, 4985, 6430, 3710, 6255),
    "La Noria": (4880, 4015, 5120, 3345, 5045),
    "Tres Hermanas": (3150, 2490, 3280, 1985, 2870),
    "Valdeliebre": (2640, 2115, 2730, 1690, None),
    "El Pozo": (3020, 2610, 3190, 2240, 2955),
    "La Ermita": (6890, 5720, 7015, 4960, 6640),
    "Hoyo Largo": (None, None, 2980, 2205, 3760),
}
_AÑOS = tuple(range(2021, 2026))

#: Parcel, day, clusters, kg of them all.
_ENVERO = (
    ("El Cerro", date(2025, 8, 4), 50, 8.35),
    ("La Noria", date(2025, 8, 5), 50, 7.9),
    ("Tres Hermanas", date(2025, 8, 13), 40, 7.25),
    ("La Ermita", date(2025, 7, 29), 40, 6.1),
)

#: Parcel, spurs, buds on each, wood [kg a vine], day.
_PODA = (
    ("El Cerro", 8, 2, 0.85, date(2025, 1, 17)),
    ("La Noria", 8, 2, 0.79, date(2025, 1, 22)),
    ("Tres Hermanas", 6, 2, 0.64, date(2025, 2, 3)),
    ("La Ermita", 9, 2, 0.92, date(2025, 2, 13)),
)


def _muestreo():
    """Return [(day, parcel, row, vine, buds, shoots, clusters)]."""
    draw, seen = Random(77), []
    for parcel, day, buds in (
        ("El Cerro", date(2025, 5, 19), 16),
        ("La Noria", date(2025, 5, 20), 16),
        ("Tres Hermanas", date(2025, 5, 28), 12),
    ):
        for row in (3, 8, 14):
            for vine in sorted(draw.sample(range(2, 40), 4)):
                shoots = buds - draw.randint(0, 3)
                seen.append((day, parcel, row, vine, buds, shoots, shoots + draw.randint(-1, 8)))
    return seen


_MUESTREO = _muestreo()


def _write_finca(folder):
    heads = ["Parcela", "Variedad", "Marco calle", "Marco cepas", "Nº cepas", "Marras", "Notas"]
    parcels = [[Cell("FINCA QUILLFOOT", across=7)], ["Relación de parcelas"], [], heads]
    crop = [["Vendimia, kg"], [None, None, *[None] * 5], ["Parcela", *_AÑOS, "Observaciones"]]
    place = None
    for name, of, written, _, row, vine, vines, missing in _FINCA:
        if of != place:
            crop.append([Cell(of, across=6)])
            place = of
        share = Cell(missing / 100, "0 %") if missing is not None else "-"
        spaced = [f"{_comma(row, 1)} m", f"{_comma(vine, 1)} m"]
        note = "riego" if of == "Pago Alto" else None
        parcels.append([name, written, *spaced, _thousands(vines, "."), share, note])
        kilos = ["" if kg is None else _thousands(kg, ".") for kg in _COSECHA[name]]
        crop.append([name.upper(), *kilos, "vendida en cepa" if "" in kilos[-1:] else None])
    totals = [sum(kg or 0 for kg in column) for column in zip(*_COSECHA.values(), strict=True)]
    crop.append(["TOTAL", *(_thousands(kg, ".") for kg in totals)])
    sample = [
        ["Peso de racimos en envero"],
        ["Parcela", "Fecha", "Racimos", "Peso total (kg)"],
        *([name, f"{day:%d/%m/%Y}", n, _comma(kg)] for name, day, n, kg in _ENVERO),
        [],
        [],
        ["Conteo de mayo"],
        ["Fecha", "Parcela", "Hilera", "Cepa", "Yemas", "Brotes", "Racimos"],
    ]
    told = None
    for day, name, *rest in _MUESTREO:
        first = [None, None] if name == told else [f"{day:%d/%m/%Y}", name]
        sample.append([*first, *rest])
        told = name
    pruned = [
        ["PODA"],
        ["Parcela", "Pulgares", "Yemas/pulgar", "Madera kg/cepa", "Fecha"],
        *([name, n, on, _comma(kg), f"{day:%d/%m/%Y}"] for name, n, on, kg, day in _PODA),
    ]
    sheets = {"Parcelas": parcels, "Vendimia": crop, "Muestreo 2025": sample, "Poda 2025": pruned}
    sheets["Precios abonos"] = [["Abono", "€/saco"], ["Potasa", "21,50"], ["Compost", "4,20"]]
    sheets["Hoja3"] = []
    return [write_xlsx(folder / "Cuaderno finca.xlsx", sheets)]


FINCA = Case(
    "finca",
    "A Spanish grower who sells by the kilo and keeps the years in columns beside each other.",
    _write_finca,
    {
        "blocks": csv(
            "block,variety,row_spacing_m,vine_spacing_m,vines,missing_pct",
            [(name, *rest) for name, _, _, *rest in _FINCA],
        ),
        "harvest": csv(
            "season,block,tonnes",
            [
                (year, name, kg / 1000)
                for name, kilos in _COSECHA.items()
                for year, kg in zip(_AÑOS, kilos, strict=True)
                if kg
            ],
        ),
        "weights": csv(
            "season,date,block,stage,clusters,weight_g",
            [(2025, day, name, "veraison", n, kg * 1000) for name, day, n, kg in _ENVERO],
        ),
        "counts": csv(
            "season,date,block,row,vine,buds,shoots,clusters",
            [(2025, *told) for told in _MUESTREO],
        ),
        "pruning": csv(
            "season,block,plan,pruning_weight_kg,date",
            [(2025, name, f"{n}x{on}", kg, day) for name, n, on, kg, day in _PODA],
        ),
    },
    left_out=("TOTAL", "Notas", "Observaciones", "Precios abonos"),
)
