"""Settings of the report, what is kept beside the records, and the report's words by language."""

import ast
import base64
import datetime
import re
import shutil
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from babel.messages import mofile, pofile
from owner_cases import DAY, compared, prices, reported, scenarios
from season_records import small_estate

import cropload
from cropload.beliefs import ranges
from cropload.errors import CroploadError
from cropload.owner import kept_report, words
from cropload.owner.costs import Costs, Span
from cropload.owner.kept_report import keep_report, since_kept
from cropload.owner.mix import Limits
from cropload.owner.report import report
from cropload.owner.report_settings import (
    FILE,
    PARTS,
    ReportSettings,
    cost_lines,
    keep_settings,
    limit_lines,
    new_settings,
    prices_named,
    read_settings,
    with_prices,
)
from cropload.pages import cli
from cropload.records.example import shipped
from cropload.records.reading.faults import RecordsError
from cropload.records.records import read_records
from cropload.show import wording
from cropload.show.languages import FOLDER, LANGUAGES, Speech
from cropload.show.options import PRUNING_CAUTION
from cropload.vine.bands import UNKNOWN

PACKAGE = Path(cropload.__file__).parent
DOT = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)


def written(folder, text):
    (folder / FILE).write_text(text, encoding="utf-8")
    return folder


def first_pages(html):
    return html.split('class="appendix"')[0]


def plain(html):
    return re.sub(r"\s+", " ", re.sub(r"<style.*?</style>|<[^>]*>", " ", html, flags=re.S))


@pytest.fixture(scope="module")
def found():
    return compared()


@pytest.fixture
def own(tmp_path):
    """A folder of records of one's own, in which files can be kept."""
    return shutil.copytree(shipped("sample_data") / "quillfoot", tmp_path / "mine")


def made(found, **told):
    return report(small_estate(prices=prices()), found, "metric", DAY, ReportSettings(**told))


def test_the_file_that_explains_every_setting_changes_nothing(own):
    assert cli.main(["report", str(own), "--new-settings"]) == 0
    told = read_settings(own)
    usual = ReportSettings()
    names = [each.name for each in fields(ReportSettings) if each.name != "written"]
    assert {n: getattr(told, n) for n in names} == {n: getattr(usual, n) for n in names}
    text = (own / FILE).read_text("utf-8")
    assert all(f'"{part}"' in text for part in PARTS)
    with pytest.raises(CroploadError, match="exists"):
        new_settings(own)
    with pytest.raises(CroploadError, match="invented sample"):
        new_settings(cropload.example_records())


def test_every_fault_of_the_settings_is_told_at_once(tmp_path):
    text = """
        vinyard = "x"
        author = 3
        date = "soon"
        logo = "none.png"
        language = "dee"
        numbers = "1_000"
        currency = "euros"
        paper = "A5"
        appendix = ["corp"]
        [costs]
        picking_per_tonne = 3
        pruning_per_vine = "dear"
        [limits]
        ours = 3
        discount = "much"
        [prices]
        Riesling = true
    """
    with pytest.raises(RecordsError) as told:
        read_settings(written(tmp_path, text))
    message = " ".join(str(told.value).split())
    for part in (
        "report.toml, vinyard: there is no such setting", "Did you mean 'vineyard'",
        "report.toml, author", "report.toml, date", "'none.png'", "Did you mean 'de'",
        "report.toml, numbers", "report.toml, currency", "'A5'", "Did you mean 'crop'",
        "There is no cost 'picking_per_tonne'", "'dear'", "Did you mean 'hours'", "'much'",
        "report.toml, prices, Riesling",
    ):  # fmt: skip
        assert part in message, part
    with pytest.raises(RecordsError, match="no TOML that can be read"):
        read_settings(written(tmp_path, "vineyard = "))
    with pytest.raises(RecordsError, match=r"does\s+not\s+exist"):
        read_settings(tmp_path / "other.toml", must=True)


def test_whose_it_is_and_own_words_stand_on_the_first_pages(found, tmp_path):
    (tmp_path / "logo.png").write_bytes(DOT)
    text = 'vineyard = "Ours & co"\nauthor = "A. Hand"\ndate = 2026-02-03\nlogo = "logo.png"\n'
    told = read_settings(written(tmp_path, text + 'before = "First."\nafter = "<b>Last</b>"\n'))
    html = report(small_estate(prices=prices()), found, settings=told).html()
    first = first_pages(html)
    for part in (
        "Ours &amp; co",
        "A. Hand",
        "February 3, 2026",
        "First.",
        "&lt;b&gt;Last",
        "base64",
    ):
        assert part in first
    assert "size: A4" in html


def test_the_appendix_can_be_switched_off_in_parts_or_whole(found):
    assert 'class="appendix"' not in made(found, appendix=()).html()
    html = made(found, appendix=("crop", "money")).html()
    assert re.findall(r'class="part" id="(\w+)"', html) == ["crop", "money"]
    assert "size: Letter" in made(found, paper="Letter", appendix=()).html()
    many = ReportSettings().parts(13)
    assert many == ()
    assert ReportSettings().parts(12) == tuple(PARTS)


@pytest.mark.parametrize("language", [code for code in LANGUAGES if code != "en"])
def test_the_first_pages_are_in_the_language_with_the_same_figures(found, language):
    english = plain(first_pages(made(found).html()))
    speech = Speech(language, "\u00a0", ",", money_after=True)
    text = plain(first_pages(made(found, speech=speech).html()))
    for word in ("than", "over five", "chance", "more", "beside", "brackets", "Recommendation"):
        assert re.search(rf"\b{word}\b", english)
        assert not re.search(rf"\b{word}\b", text), word
    middle = found.decision.row()["money_all_p50"]
    shown = f"{round(middle, -words.change_step(found)):,.0f}"
    assert shown in english
    assert shown.replace(",", "\u00a0") in text
    assert "EUR 1" not in text


def test_bands_in_the_english_appendix_are_all_in_english(found):
    bands = [each[2] for each in made(found)._bands()]
    assert any(" and " in blocks for blocks in bands)
    assert [each[2] for each in made(found, speech=Speech("de"))._bands()] == bands


def _key(text):
    """Return a text, or those of a plural, as what can be looked up."""
    return text if isinstance(text, str) else tuple(text)


def wanted():
    """Return every text that the report's code and template have for translation."""
    found = {*words._MATTERS.values(), *kept_report.KINDS.values(), ranges.often(), UNKNOWN}
    found |= {"below", "inside", "above", PRUNING_CAUTION, wording.SUPPORT}
    found |= {words.MONEY_CAUTION, words.FROST_CAUTION}
    for path in (*(PACKAGE / "owner").glob("*.py"), *(PACKAGE / "show").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if getattr(getattr(node, "func", None), "id", "") in ("say", "say_number"):
                parts = (part for each in node.args for part in ast.walk(each))
                texts = [getattr(part, "value", None) for part in parts]
                texts = [text for text in texts if isinstance(text, str)]
                found |= {tuple(texts)} if node.func.id == "say_number" else set(texts)
    page = (PACKAGE / "owner" / "templates" / "report.html").read_text("utf-8")
    return found | set(re.findall(r'say\("([^"]+)"', page))


@pytest.mark.parametrize("language", [code for code in LANGUAGES if code != "en"])
def test_a_catalogue_has_every_text_and_no_other(language):
    place = FOLDER / language / "LC_MESSAGES" / "report.po"
    with place.open("rb") as file:
        entries = {_key(e.id): e.string for e in pofile.read_po(file, locale=language) if e.id}
    with place.with_suffix(".mo").open("rb") as file:
        compiled = {_key(e.id): _key(e.string) for e in mofile.read_mo(file) if e.id}
    columns = {"density_word", "balance_settled_word"}
    assert set(entries) == wanted() - columns
    places = re.compile(r"%\(\w+\)s")
    for id, string in entries.items():
        one = id if isinstance(id, str) else id[0]
        for text in [string] if isinstance(string, str) else string:
            assert text
            assert sorted(places.findall(text)) == sorted(places.findall(one))
    assert compiled == {id: _key(string) for id, string in entries.items()}
    assert "from memory" in place.read_text("utf-8").split("msgid")[0]


def test_what_is_typed_is_kept_with_the_rest_of_the_file_and_opened_again(own):
    costs = Costs(
        pruning_per_vine=0.8,
        picking_per_t=Span(90.0, 140.0),
        of={"Long Acre": {"picking_per_ha": 600.0}},
    )
    limits = Limits(hours=87.0, ceilings={"Riesling": 9.0}, area_out=0.2)
    written(own, '# Mine.\nvineyard = "Ours"  # by the river\n[costs]\nother_per_ha = 3\n')
    records = read_records(own)
    told = {"costs": cost_lines(costs), "limits": limit_lines(limits, 0.03)}
    before = keep_settings(records, **told, prices={"Riesling": 1600.0}, author="A. Hand")
    assert before.read_text("utf-8").startswith("# Mine.")
    text = (own / FILE).read_text("utf-8")
    assert text.startswith("# Mine.")
    assert "# by the river" in text
    again = read_settings(own)
    assert (again.vineyard, again.author) == ("Ours", "A. Hand")
    assert again.costs_with() == costs
    assert again.costs_with(["pruning_per_vine=1"]).pruning_per_vine == 1
    assert again.limits_with() == (limits, pytest.approx(0.03))
    assert again.prices == {"Riesling": "1600"}
    assert keep_settings(records, author="A. Hand") is None


def test_a_price_of_ones_own_goes_before_that_of_the_table(found):
    records = small_estate(prices=prices())
    dear = with_prices(records, {"Riesling": 2000, "Pinot noir": "2000"})
    given = scenarios()
    twice = compared(dear, given)
    low, high = (each.money_settled["revenue_p50"].to_numpy() for each in (found, twice))
    assert high == pytest.approx(2 * low)
    assert compared(with_prices(small_estate(), {"Riesling": 1, "Pinot noir": 1})).decision.by == (
        "margin"
    )
    with pytest.raises(CroploadError) as told:
        with_prices(records, {"Rieslign": 3, "Riesling": "dear"})
    assert "Did you mean 'Riesling'" in str(told.value)
    assert "'dear'" in str(told.value)


def test_a_price_of_ones_own_goes_before_that_of_a_contract(found):
    whose = [{"contract": row["variety"], "variety": row["variety"]} for row in prices()]
    terms = {"price_per_t": 1000, "currency": "EUR"}
    records = small_estate(contracts=[each | terms for each in whose])
    dear = with_prices(records, {"Riesling": 2000, "Pinot noir": "2000"})
    low, high = (
        each.money_settled["revenue_p50"].to_numpy()
        for each in (found, compared(dear, scenarios()))
    )
    assert high == pytest.approx(2 * low)
    alone = with_prices(records, {"Alder": "1500-2000"}).contracts.set_index("contract")
    assert alone.loc["Alder", "blocks"] == "Alder"
    assert alone.loc["Alder", "price_per_t"] == pytest.approx(np.sqrt(1500 * 2000))
    assert alone.loc["Riesling", "price_per_t"] == 1000
    assert compared(with_prices(records, {"Alder": 9000}), scenarios()).currency == "EUR"
    names = ";".join(map(str, records.blocks["block"]))
    both = small_estate(contracts=[{"contract": "All", "blocks": names} | terms])
    with pytest.raises(CroploadError, match=r"'All' takes the fruit of .* too"):
        with_prices(both, {"Riesling": 2000})


def test_settings_and_logos_that_are_no_plain_files_are_refused(tmp_path):
    other = tmp_path / "other"
    (other / FILE).mkdir(parents=True)
    with pytest.raises(RecordsError, match="no plain file"):
        read_settings(other)
    table = tmp_path / "blocks.csv"
    table.write_text("block\n")
    written(tmp_path, 'author = "A. Hand"')
    with pytest.raises(RecordsError, match="no TOML"):
        read_settings(table, must=True)
    for place in ("/dev/zero", "."):
        with pytest.raises(RecordsError, match="there is no such file"):
            read_settings(written(tmp_path, f'logo = "{place}"'))
    with pytest.raises(RecordsError, match="'a' is not a number"):
        read_settings(written(tmp_path, '[limits]\nceilings = {Riesling = "a"}'))


def test_costs_that_cannot_be_are_told_with_the_others(tmp_path):
    with pytest.raises(CroploadError) as told:
        ReportSettings().costs_with(["picking_per_t=-5", "foo=3", "other_per_ha=1e308"])
    for part in ("not -5.0", "no cost 'foo'", "cost other_per_ha is above"):
        assert part in str(told.value)


def test_a_contract_of_another_name_is_priced_by_its_variety():
    records = small_estate(prices=prices())
    book = records.contracts
    texts = ("contract", "grower", "variety", "blocks", "group", "currency")
    row = dict.fromkeys(book, np.nan) | dict.fromkeys(texts, "")
    row |= {"from_t": 0.0, "contract": "ours", "variety": "Riesling", "price_per_t": 1000.0}
    row["currency"] = records.prices["currency"].iloc[0]
    others = records.prices[records.prices["variety"] != "Riesling"]
    records = replace(records, contracts=pd.DataFrame([row])[list(book)], prices=others)
    assert prices_named(records)["Riesling"] == 1000.0
    dear = with_prices(records, {"Riesling": "1500-2500"})
    assert len(dear.prices) == len(records.prices)
    assert dear.contracts["price_per_t"].tolist() == [pytest.approx(np.sqrt(1500 * 2500))]
    assert dear.contracts["price_per_t_range"].tolist() == [pytest.approx(np.log(2500 / 1500))]
    low, high = (
        compared(each, scenarios()).money_settled["revenue_p50"].max()
        for each in (records, with_prices(records, {"Riesling": 2000}))
    )
    assert high > 1.2 * low


def test_the_report_says_what_changed_since_the_last_one_kept(found, tmp_path):
    records = replace(small_estate(prices=prices()), path=tmp_path)
    assert since_kept(records, found) is None
    keep_report(records, found, DAY)
    same = since_kept(records, found)
    assert same.day == DAY
    assert same.rows == ()
    assert "Nothing it rests on has changed since the report of January 15" in plain(
        report(records, found, settings=ReportSettings()).html()
    )
    given = scenarios(plans=("2x10+2x2", "2x14+2x2", "2x8+2x2"))
    harvest = records.harvest.copy()
    harvest.loc[harvest.index[0], "tonnes"] += 1
    block, season = harvest.loc[harvest.index[0], ["block", "season"]]
    now = replace(with_prices(records, {"Riesling": 1100}), harvest=harvest)
    changed = compared(now, given, costs=None, limits=Limits(area_out=0.2))
    rows = {(kind, what): (was, is_) for kind, what, was, is_ in since_kept(now, changed).rows}
    assert rows["price", "Riesling"] == ("1000", "1100")
    assert rows["plan", "Alder, 'longer'"] == ("2x12+2x2", "2x14+2x2")
    assert rows["cost", "picking, by weight"] == ("100", None)
    assert rows["limit", "area_out"] == (10.0, 20.0)
    answer = report(now, changed, settings=ReportSettings())
    made_table = kept_report.since_table(answer.since).text()
    told = dict(answer.sentences())["Since the last"]
    assert "plan of Alder, 'longer' 2x14+2x2 (before 2x12+2x2)" in told
    assert re.search(r"The advice then was to bring EUR .* more over five seasons\.", told)
    # A load added to a season: the sum of its loads, with its unit.
    was, is_ = rows["harvest", f"{block} {season}"]
    assert is_ == pytest.approx(was + 1)
    total = harvest.loc[(harvest["block"] == block) & (harvest["season"] == season), "tonnes"]
    assert is_ == pytest.approx(total.sum())
    assert f"harvest of {block} {season}" in made_table
    assert re.search(r"\d t\b", made_table.split(f"harvest of {block} {season}")[1])
    for text in ("{}", '{"made": "2026-01-15", "inputs": {}, "page_one": {"by": "margin"}}'):
        (tmp_path / kept_report.FILE).write_text(text)
        with pytest.raises(CroploadError, match="cannot be read"):
            since_kept(records, found)


def test_the_workbook_prints_across_with_its_heads_and_has_days(found):
    import io

    import openpyxl

    book = openpyxl.load_workbook(io.BytesIO(made(found).workbook()))
    for sheet in book.worksheets:
        assert sheet.page_setup.orientation == "landscape"
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
    assert book["crop by block"].print_title_rows == "$1:$1"
    days = {row[0].value: row[1].value for row in book["notes"].iter_rows()}
    assert days["made on"] == datetime.datetime(2026, 1, 15)


def test_marks_of_a_picture_tell_their_numbers(found):
    html = made(found).html()
    row = found.decision.row("longer")
    middle = f"{round(row['money_all_p50'], -words.change_step(found)):+,.0f}"
    told = re.findall(r'class="mark"[^>]*><title>([^<]*)</title>', html)
    assert any(text.startswith("longer") and middle in text for text in told)


def test_reported_settings_of_the_estate_are_taken(found, tmp_path):
    records = replace(small_estate(prices=prices()), path=written(tmp_path, 'currency = "1 €"\n'))
    text = plain(report(records, found).html())
    assert re.search(r"leaves [\d,]+ \(.*?\) € more", text)
    assert "EUR" not in first_pages(text)
    assert reported().told == ReportSettings()
