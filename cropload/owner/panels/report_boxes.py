"""Whose report it is and how it looks, prices of one's own, and keeping what was typed."""

import ipywidgets as widgets

from cropload.errors import CroploadError
from cropload.owner.kept_report import keep_report
from cropload.owner.report import report
from cropload.owner.report_settings import (
    NUMBERS,
    PAPERS,
    PARTS,
    cost_lines,
    keep_settings,
    limit_lines,
    prices_named,
    read_settings,
    with_prices,
)
from cropload.show.languages import LANGUAGES
from cropload.show.page_part import PagePart
from cropload.show.panels import parts
from cropload.show.panels.fields import button, choice, field


def keep_row(page, what, told):
    """Return a button that keeps what was typed in ``report.toml``, and where it says so.

    Parameters
    ----------
    page : OwnerScenarios
        The page.
    what : str
        What is kept, in words.
    told : callable
        Returns {key of the settings: value}.
    """
    said = parts.html()

    def action():
        keep_settings(page.desk.records, **told())
        return f"{what} kept in report.toml beside the records; the page opens with them again."

    return parts.row(button(f"keep {what}", lambda: parts.tell(said, action), "auto"), said)


def money_kept(page):
    """Return costs, prices and limits of a page as its settings keep them."""
    return {
        "costs": cost_lines(page.costs),
        "prices": page.prices,
        "limits": limit_lines(page.limits, page.discount),
    }


def kept_row(page):
    """Return a button that keeps the report, so that the next one says what changed."""
    said = parts.html()

    def action():
        desk = page.desk
        desk.settle()
        if page.found is None:
            raise CroploadError("There is nothing to keep; see the message above.")
        records = with_prices(desk.records, page.prices)
        made = report(records, page.found, desk.units)
        keep_report(records, page.found, made.made_on)
        return "this report is kept; the next one says what changed since."

    return parts.row(button("keep this report", lambda: parts.tell(said, action), "auto"), said)


class PriceBoxes(PagePart):
    """A price a tonne for each variety, and for each block that has one of its own.

    Parameters
    ----------
    page : OwnerScenarios
        The page it stands on; its ``prices`` go before those of the table.
    """

    needs = ("units",)

    def build(self):
        """Make a box a variety, or a block with a price of its own."""
        records = self.desk.records
        self.table = prices_named(records)
        names = dict.fromkeys([*self.table, *map(str, records.blocks["variety"])])
        self.boxes = {name: field(f"Price of {name}") for name in names}
        self._quiet = False
        for box in self.boxes.values():
            box.observe(self._changed, "value")
        self.note = parts.html()
        self.body.children = (self.note, parts.row(*self.boxes.values()))

    def show(self):
        """Show prices per the unit chosen, the same money."""
        self._quiet = True
        for name, box in self.boxes.items():
            price = self.page.prices.get(name, self.table.get(name))
            box.value = "" if price is None else f"{float(price) / self._factor:.10g}"
        self._quiet = False
        unit = self.desk.units.label("tonnes")
        self.note.value = parts.note(
            f"Prices a {unit}, from table contracts. Another one typed here holds on this page "
            "and in its report; the table stays as it is."
        )

    @property
    def _factor(self):
        return self.desk.units.convert("tonnes", 1.0)

    @parts.guarded
    def _changed(self, _):
        if self._quiet:
            return
        told = {}
        for name, box in self.boxes.items():
            if box.value.strip():
                try:
                    price = float(box.value.replace(",", ".")) * self._factor
                except ValueError:
                    raise CroploadError(f"{box.description}: '{box.value}' is no number.") from None
                if name not in self.table or abs(price - self.table[name]) > 1e-6 * price:
                    told[name] = round(price, 6)
        with_prices(self.desk.records, told)
        self.page.prices = told
        self.message.value = ""
        self.desk.follow("prices")


class ReportBoxes(PagePart):
    """Whose report it is and how it looks, kept in ``report.toml`` beside the records.

    Parameters
    ----------
    page : OwnerScenarios
        The page it stands on.
    """

    needs = ("opened",)

    def build(self):
        """Make a box a setting."""
        self.texts = {
            "vineyard": field("Whose vineyard", width="24em"),
            "author": field("Made by", width="24em"),
            "logo": field("Logo, a PNG or JPEG beside the records", width="30em"),
            "currency": field("A sum of one is written", "like EUR 1, 1 EUR or €1", "22em"),
        }
        self.words = {
            key: widgets.Textarea(
                description=label, style=parts.LABELLED,
                layout=widgets.Layout(width="40em", max_width="100%"),
            )
            for key, label in (("before", "Your words before"), ("after", "Your words after"))
        }  # fmt: skip
        styles = [("as the language has them", ""), *((each, each) for each in NUMBERS)]
        languages = [(name, code) for code, name in LANGUAGES.items()]
        self.choices = {
            "language": choice("Language of the first two pages", languages, width="24em"),
            "numbers": choice("Numbers", styles, width="22em"),
            "paper": choice("Paper", PAPERS, width="12em"),
        }
        self.appendix = {key: widgets.Checkbox(description=name, indent=False,
                                               layout=widgets.Layout(width="auto"))
                         for key, name in PARTS.items()}  # fmt: skip
        self.body.children = (
            parts.row(*self.texts.values(), *self.choices.values()),
            *self.words.values(),
            parts.html(parts.note("Parts of the appendix:")),
            parts.row(*self.appendix.values()),
            keep_row(self.page, "these settings", self.settings),
            kept_row(self.page),
        )

    def show(self):
        """Fill the boxes with what is kept."""
        told = read_settings(self.desk.records.path)
        for key, box in {**self.texts, **self.words, **self.choices}.items():
            box.value = told.written.get(key, "en" if key == "language" else
                                    "A4" if key == "paper" else "")  # fmt: skip
        shown = told.parts(len(self.page.desk.blocks))
        for key, box in self.appendix.items():
            box.value = key in shown

    def settings(self):
        """Return {key of the settings: value} as the boxes say."""
        boxes = {**self.texts, **self.words, **self.choices}
        chosen = [key for key, box in self.appendix.items() if box.value]
        return {key: box.value.strip() for key, box in boxes.items()} | {"appendix": chosen}
