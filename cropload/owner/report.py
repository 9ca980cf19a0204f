"""The owner's report: one page in HTML that needs nothing else, and the same as a PDF."""

import datetime
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from cropload import clock
from cropload.errors import CroploadError
from cropload.owner import charts as report_figures
from cropload.owner import report_sources
from cropload.owner import report_tables as tables
from cropload.owner import words as report_words
from cropload.owner.scenarios import ScenarioComparison
from cropload.records.writing.gate import Result, check_results, write_results
from cropload.show import report_cells as cells
from cropload.show import wording
from cropload.units import METRIC, UnitSystem, unit_system

#: How to get what a PDF needs; Pango is a library of the system that pip cannot bring.
PDF_HOW = (
    'Install it with `python -m pip install "cropload[pdf]"`, and Pango with the system\'s own '
    "tools: `apt-get install libpango-1.0-0 libpangoft2-1.0-0` on Debian and Ubuntu, "
    "`brew install pango` on macOS, MSYS2's pango package on Windows. Or open the HTML report in "
    "a browser and print it to a PDF."
)


@dataclass(frozen=True, eq=False)
class OwnerReport:
    """A report with everything decided: comparison, units, and what is said of them.

    Attributes
    ----------
    found : ScenarioComparison
        The numbers.
    units : UnitSystem
        Units shown.
    invented : bool
        Whether the records are the invented sample.
    made_on : date
        Day on the report.
    """

    found: ScenarioComparison
    units: UnitSystem
    invented: bool
    made_on: datetime.date

    def sentences(self):
        """Return the recommendation, three sentences."""
        return report_words.recommendation(self.found, self.units)

    def settings(self):
        """Return version, season, seed and the like as (name, value)."""
        from cropload import __version__

        return report_words.settings(
            self.found, self.units, __version__, self.made_on, self.invented
        )

    def tables(self):
        """Return {key: ReportTable} of all tables there are."""
        found, units = self.found, self.units
        made = (
            tables.totals_table(found, units),
            tables.crop_table(found, units),
            tables.balance_table(found, units),
            tables.frost_table(found, units),
            tables.money_table(found),
            tables.contracts_table(found, units),
            tables.costs_table(found, units),
            tables.wood_table(found),
            report_sources.origins_table(found, units),
            report_sources.components_table(found, units),
            report_sources.handbook_table(found),
        )
        return {table.key: table for table in made if table is not None}

    def html(self):
        """Return the report as one HTML page without any outside address."""
        found, units = self.found, self.units
        step = 0
        if found.money_settled is not None:
            step = cells.money_step((found.money_first, found.money_settled))
        return _template().render(
            found=found,
            sentences=self.sentences(),
            tables=self.tables(),
            step=step,
            cell=cells.cell_text,
            texts=cells.TEXTS,
            first_figure=report_figures.first_figure(found, units)[0],
            density_figure=report_figures.band_figure(found, "density", units)[0],
            balance_figure=report_figures.band_figure(found, "balance", units)[0],
            bands=self._bands(),
            risks=report_words.risks(found, units),
            settings=self.settings(),
            cautions=wording.CAUTIONS,
            support=wording.SUPPORT,
            gain=wording.FIRST_SEASON_GAIN,
            money_caution=report_words.MONEY_CAUTION,
            frost_caution=report_words.FROST_CAUTION,
            invented=self.invented,
            varieties=dict.fromkeys(found.blocks["variety"].tolist()),
            area=wording.amount(
                "area_ha", float(found.blocks.drop_duplicates("block")["area_ha"].sum()), units
            ),
        )

    def _bands(self):
        """Return each pair of bands in words, with the blocks it is for."""
        grouped = {}
        for block, (density, balance) in self.found.bands.items():
            pair = (
                wording.band_text(density, self.units, "per_m"),
                wording.band_text(balance),
            )
            grouped.setdefault(pair, []).append(block)
        return [(density, balance, ", ".join(b)) for (density, balance), b in grouped.items()]

    def pdf(self):
        """Return the report as the bytes of a PDF.

        Raises
        ------
        CroploadError
            When WeasyPrint or its system library is not there, with the way to get it.
        """
        return pdf_of(self.html())


def owner_report(records, found, units=METRIC, made_on=None):
    """Make the owner's report of a comparison of scenarios.

    Parameters
    ----------
    records : Records
        What the comparison was made from.
    found : ScenarioComparison
        As from ``compare_scenarios``.
    units : UnitSystem or str
        Units to show.
    made_on : date, optional
        Day on the report; today when left out.

    Returns
    -------
    OwnerReport
    """
    made_on = clock.today() if made_on is None else made_on
    return OwnerReport(found, unit_system(units), is_invented(records), made_on)


def is_invented(records):
    """Return whether records are the sample estate, where it ships or as a copy of it."""
    from cropload.records.example import shipped

    if records.blocks["region"].astype(str).str.contains("invented", case=False).any():
        return True
    try:
        return Path(records.path).resolve().is_relative_to(shipped("sample_data").resolve())
    except CroploadError:
        return False


def pdf_of(html):
    """Return an HTML page as the bytes of a PDF, without asking any address.

    Raises
    ------
    CroploadError
        When WeasyPrint or its system library is not there, with the way to get it.
    """
    try:
        import weasyprint
    except ImportError:
        raise CroploadError(f"A PDF needs WeasyPrint, which is not installed. {PDF_HOW}") from None
    except OSError:
        raise CroploadError(
            f"A PDF needs the library Pango, which this system lacks. {PDF_HOW}"
        ) from None

    def refuse(address, *_, **__):
        raise ValueError(f"the report asks no address, and this one was asked: {address}")

    return weasyprint.HTML(string=html, url_fetcher=refuse).write_pdf()


def report_files(html=None, pdf=None, xlsx=None, csv=None):
    """Return the files of a report as they are asked for: a Result each, still without content.

    Parameters
    ----------
    html, pdf, xlsx, csv : path, optional
        Files to write.

    Returns
    -------
    dict
        {kind: Result}
    """
    from cropload.records.writing.results import frame_result

    files = {
        kind: Result(path, (f".{kind}",))
        for kind, path in (("html", html), ("pdf", pdf), ("xlsx", xlsx))
        if path is not None
    }
    return files if csv is None else files | {"csv": frame_result(csv)}


def save_report(report, *, html=None, pdf=None, xlsx=None, csv=None, frame=None, replace=False):
    """Write a report to files: all of them, or none.

    Parameters
    ----------
    report : OwnerReport
        As from `owner_report`.
    html, pdf, xlsx : path, optional
        Files to write.
    csv : path, optional
        File, .csv or .xlsx, for ``frame``.
    frame : DataFrame, optional
        Every figure of each block.
    replace : bool
        Whether earlier results may be replaced.

    Returns
    -------
    list of (pathlib.Path, pathlib.Path or None)
        Each file, and where the version before it lies now.

    Raises
    ------
    CroploadError
        When a file exists or cannot be written, or a PDF cannot be made; nothing is written then.
    """
    from cropload.owner.workbook import report_workbook
    from cropload.records.writing.results import frame_result

    files = report_files(html, pdf, xlsx, csv)
    check_results(files.values(), replace)
    made = {
        "html": lambda: report.html().encode("utf-8"),
        "pdf": report.pdf,
        "xlsx": lambda: report_workbook(report),
    }
    results = [
        frame_result(csv, frame) if kind == "csv" else Result(file.path, file.endings, made[kind]())
        for kind, file in files.items()
    ]
    return write_results(results, replace)


def _breakable(text):
    """Let a long key break after its dots and underscores, and nowhere else."""
    from markupsafe import Markup, escape

    return Markup(str(escape(text)).replace(".", ".<wbr>").replace("_", "_<wbr>"))


@cache
def _template():
    # Loaded late: only a report needs the template engine.
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    made = Environment(
        loader=PackageLoader("cropload", "owner/templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    # Our own pictures are the one thing not escaped; their texts were, when they were drawn.
    made.filters["picture"] = Markup
    made.filters["breakable"] = _breakable
    return made.get_template("report.html")
