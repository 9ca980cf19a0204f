"""The owner's report as a page and as a PDF."""

import re
from html.parser import HTMLParser

import pytest
from helpers import sample_copy
from owner_cases import COSTS, EMOJI, FORMULA, SCRIPT, odd_estate, prices, reported, scenarios
from season_records import small_estate

from cropload import example_records
from cropload.errors import CroploadError
from cropload.owner.costs import Costs
from cropload.owner.mix import Limits
from cropload.owner.report import is_invented, pdf_of, save_report
from cropload.owner.report import report as owner_report
from cropload.owner.scenario_input import read_scenario_file, read_scenario_lines
from cropload.owner.scenarios import compare_scenarios
from cropload.owner.tables import beside_table, do_table
from cropload.pages import cli
from cropload.records.records import read_records


class Page(HTMLParser):
    """Collects tags with their attributes and the text of a page."""

    def __init__(self, html):
        super().__init__()
        self.tags, self.words = [], []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.words.append(data)

    def all(self, tag):
        return [attrs for name, attrs in self.tags if name == tag]


def outside(html):
    """Return every address in a page that leads out of it."""
    inside = re.sub(r'xmlns="http://www\.w3\.org/2000/svg"', "", html)
    found = re.findall(r"(?:https?:)?//[\w.-]+|url\((?!#)[^)]*\)|@import[^;]*", inside)
    for _, attrs in Page(inside).tags:
        found += [
            value
            for name, value in attrs.items()
            if name in ("src", "srcset", "href", "xlink:href", "data", "action", "poster")
            and not value.startswith("#")
        ]
    return found


@pytest.fixture(scope="module")
def report():
    return reported()


@pytest.fixture(scope="module")
def html(report):
    return report.html()


@pytest.mark.parametrize(
    "leak",
    [
        '<img src="https://example.org/a.png">',
        '<link href="style.css">',
        "<style>@import 'a.css';</style>",
        "<style>p { background: url(a.png) }</style>",
        '<script src="//example.org/a.js"></script>',
    ],
)
def test_the_check_for_outside_addresses_finds_them(leak):
    assert outside(leak)


def test_page_asks_no_outside_address_and_holds_no_code(html):
    assert outside(html) == []
    page = Page(html)
    assert page.all("script") == []
    assert not [a for _, attrs in page.tags for a in attrs if a.startswith("on")]


def test_page_is_strictly_parsed_html():
    html5lib = pytest.importorskip("html5lib")
    for units in ("metric", "us"):
        html5lib.HTMLParser(strict=True).parse(reported(odd_estate(), units=units).html())


def test_the_recommendation_comes_first_and_its_parts_are_named(report, html):
    parts = dict(report.sentences())
    assert list(parts)[:3] == ["What to do", "What it brings", "If it goes wrong"]
    assert "your prices and contracts, and your costs." in parts["Counted"]
    assert all(text.endswith(".") for text in parts.values())
    text = " ".join(Page(html).words)
    assert text.index("Recommendation") < text.index("Plan by plan")


def test_dear_pruning_turns_the_recommendation():
    """With a price of a bud above what its fruit earns, shorter wood must leave more."""
    free = {"limits": Limits(area_out=1.0)}
    cheap = reported(costs=Costs(), **free).found.decision
    dear = reported(costs=Costs(pruning_per_bud=5.0), **free).found.decision
    assert cheap.chosen == "longer"
    assert dear.chosen == "shorter"


@pytest.mark.parametrize("money", [True, False])
def test_a_scenario_with_the_same_plans_is_named_and_never_better_or_worse(money):
    records = small_estate(prices=prices() if money else [])
    given = scenarios(("Alder",), ("2x8+2x2", "2x8+2x2", "2x10+2x2"))
    report = reported(records, given, frost=False)
    text = " ".join(said for _, said in report.sentences())
    # Nothing is said of what the twin would give, nor how likely that is less.
    assert "'longer'" not in text
    assert "longer" not in (report.found.decision.chosen, *report.found.decision.picks.values())
    table = beside_table(report.found)
    assert table.rows[1][1:-1] == (None,) * (len(table.columns) - 2)
    assert table.rows[2][1] is not None
    assert "'longer' has the same plans as 'today'" in table.caption
    assert "'longer' has the same plans as 'today'" in " ".join(Page(report.html()).words)


def test_scenarios_that_are_all_the_same_leave_nothing_to_choose():
    given = scenarios(("Alder", "Fir"), ("2x8+2x2", "2x8+2x2", "2x8+2x2"))
    report = reported(given=given, frost=False)
    told = dict(report.sentences())
    assert told["What to do"] == (
        "There is nothing to choose between: 'longer' and 'shorter' have the same plans as 'today'."
    )
    assert set(told) == {"What to do", "Counted"}
    assert do_table(report.found) is None


def test_many_blocks_to_change_are_counted_and_the_first_page_lists_those_that_bring_most():
    blocks = [f"Plot {number}" for number in range(12)]
    from helpers import block_row
    from season_records import block_rows

    rows = [block_row(name, "Riesling", vines=1000 + 10 * at) for at, name in enumerate(blocks)]
    records = small_estate(blocks=[*block_rows(), *rows], prices=prices())
    given = scenarios((*blocks, "Fir"), ("2x10+2x2", "2x12+2x2"))
    given["longer"]["Fir"] = "2x10+2x2"
    report = reported(records, given, limits=Limits(area_out=1.0), costs=None)
    assert dict(report.sentences())["What to do"] == (
        "Change the plan in 12 of 13 blocks, to those of 'longer'; keep 'today' in the others."
    )
    first = report.html().split('id="blocks"')[0]
    assert "the 8 of 12 that bring most" in first
    listed = [name for name in blocks if f'<th scope="row">{name}</th>' in first]
    brings = report.found.decision.blocks.set_index("block")["money_all_mean"]
    assert set(listed) == set(brings.nlargest(8).index)


def test_limits_that_no_choice_keeps_are_named():
    report = reported(limits=Limits(hours=1), costs=Costs(minutes_per_vine=1))
    told = dict(report.sentences())
    assert told["What to do"] == (
        "No choice among these plans keeps 1 pruning hours, so nothing is recommended."
    )
    assert "recommended" not in " ".join(beside_table(report.found).cells()[2][0])


def test_money_without_any_cost_says_so():
    report = reported(costs=None)
    assert "your prices and contracts, with no cost." in dict(report.sentences())["Counted"]
    assert "No cost was given" in report.html()


def test_every_part_is_there_and_named(html):
    page = Page(html)
    ids = [attrs["id"] for _, attrs in page.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    for part in (
        "recommendation",
        "blocks",
        "plans",
        "crop",
        "balance",
        "frost",
        "money",
        "risks",
        "assumed",
        "cautions",
    ):
        assert part in ids
    assert set(ids) >= {a["href"][1:] for a in page.all("a")}
    told = {a["aria-labelledby"] for a in page.all("section") if "aria-labelledby" in a}
    assert told <= set(ids)


def test_tables_and_pictures_can_be_read_aloud(html):
    page = Page(html)
    assert len(page.all("caption")) == len(page.all("table")) > 5
    assert all(attrs.get("scope") in ("col", "row") for attrs in page.all("th"))
    for drawn in page.all("svg"):
        assert drawn["role"] == "img"
        assert drawn["aria-labelledby"]
    assert len(page.all("desc")) == len(page.all("svg")) == 4


def test_page_fits_a_phone(html):
    assert any(
        a.get("name") == "viewport" and "width=device-width" in a["content"]
        for a in Page(html).all("meta")
    )
    wide = [a for a in Page(html).all("div") if a.get("class") == "cl-wide"]
    assert len(wide) == len(Page(html).all("table"))
    # Where it is too wide each cell has its head beside it.
    assert all("data-head" in cell for cell in Page(html).all("td"))


def test_range_season_seed_and_version_are_told(html):
    from cropload import __version__

    text = " ".join(" ".join(Page(html).words).split())
    for part in ("80 % range, equal tails", f"cropload {__version__}", "2026-01-15", "as of"):
        assert part in text
    assert re.search(r"seed\s+0\b", text)
    assert re.search(r"season \(year of harvest\)\s+2026", text)


def test_sources_are_cited(html):
    from cropload import handbook

    said = handbook.entry("band.ravaz.single").sources[0]
    assert handbook.citation(said)[:30] in html
    assert "this block's own records" in " ".join(Page(html).words)


def test_names_from_records_are_escaped_and_kept():
    names = (SCRIPT, FORMULA, EMOJI)
    html = reported(odd_estate(), scenarios(names)).html()
    assert "<script" not in html
    assert "&lt;script&gt;" in html
    text = " ".join(Page(html).words)
    assert all(name in text for name in names)


def test_us_units():
    text = " ".join(Page(reported(units="us").html()).words)
    assert "short ton" in text
    assert "ton/ac" in text
    assert "per ft" in text
    assert not re.search(r"\[t/ha\]|\[t\]|\bper m\b", text)


def test_without_prices_crop_is_told_and_no_money():
    report = reported(small_estate(), costs=None)
    told = dict(report.sentences())
    assert " t more than 'today'" in told["What it brings"]
    assert "is picked" in told["If it goes wrong"]
    text = " ".join(Page(report.html()).words)
    assert "No prices are on record" in text
    assert "EUR" not in text


def test_invented_data_are_told_and_own_data_are_not_called_so(html):
    assert is_invented(example_records())
    assert "Invented data" not in html
    found = compare_scenarios(
        example_records(),
        {"today": {"Long Acre": "3x8+3x2"}, "more": {"Long Acre": "3x9+3x2"}},
        draws=100,
        frost=False,
    )
    assert "Invented data" in owner_report(example_records(), found).html()


def test_a_pdf_without_its_library_says_how_to_get_it(monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(CroploadError, match=r"cropload\[pdf\].*libpango.*browser"):
        pdf_of("<p>x</p>")


def test_pdf_holds_the_text_of_the_page(report, tmp_path):
    weasyprint_there()
    pypdf = pytest.importorskip("pypdf")
    import io

    text = " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(report.pdf())).pages)
    text = " ".join(text.split())
    assert "Recommendation" in text
    assert "80 % range, equal tails" in text
    middle = report.found.totals["tonnes_settled_p50"].iloc[0]
    assert f"{middle:.1f}" in text


def weasyprint_there():
    """Skip where WeasyPrint or the system's Pango is missing."""
    try:
        import weasyprint  # noqa: F401
    except (ImportError, OSError) as missing:
        pytest.skip(f"no PDF here: {missing}")


def test_files_that_exist_are_refused_together_and_left_alone(report, tmp_path):
    html, xlsx = tmp_path / "r.html", tmp_path / "r.xlsx"
    html.write_text("mine")
    xlsx.write_text("mine")
    with pytest.raises(CroploadError) as told:
        save_report(report, html=html, xlsx=xlsx)
    assert "r.html exists" in str(told.value)
    assert "r.xlsx exists" in str(told.value)
    assert html.read_text() == "mine"
    save_report(report, html=html, replace=True)
    assert "Recommendation" in html.read_text(encoding="utf-8")


def test_nothing_is_written_when_one_file_cannot_be(report, tmp_path, monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(CroploadError):
        save_report(report, html=tmp_path / "r.html", pdf=tmp_path / "r.pdf")
    assert list(tmp_path.iterdir()) == []


def write(path, text):
    path.write_text(text, encoding="utf-8")
    return path


def test_scenario_file_reads_last_plans_and_names_like_formulas(tmp_path):
    text = "scenario;block;plan\n'=now;fir;last\n'=now;Cedar;last\nb;Fir;2x8\nb;Cedar;2x8\n"
    found = read_scenario_file(write(tmp_path / "s.csv", text), small_estate(), 2026)
    plans = {name: {b: str(p) for b, p in of.items()} for name, of in found.items()}
    assert plans == {
        "=now": {"Fir": "2x10+2x2", "Cedar": "2x12+2x2"},
        "b": {"Fir": "2x8", "Cedar": "2x8"},
    }


def test_faults_of_a_scenario_file_come_together_with_row_and_mend(tmp_path):
    text = "scenario,block,plan\na,Fri,2x8\na,Fir,many\nb,Fir,2x8\nb,Fir,2x9\nb,,2x9\n"
    with pytest.raises(CroploadError) as told:
        read_scenario_file(write(tmp_path / "s.csv", text), small_estate(), 2026)
    message = str(told.value)
    for part in (
        "row 2",
        "Did you mean 'Fir'",
        "row 3",
        "'many'",
        "row 5",
        "row 4 already",
        "row 6",
    ):
        assert part in message


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("scenario,blok,plan\n", "Did you mean it by 'blok'"),
        ("scenario,block,plan\na,Fir,2x8\n", "holds 1 scenario"),
        ("scenario,block,plan\na,Fir,2x8\nb,Alder,2x8\n", "has no plan for block"),
    ],
)
def test_scenario_files_that_cannot_be_are_refused(tmp_path, text, told):
    with pytest.raises(CroploadError, match=told):
        read_scenario_file(write(tmp_path / "s.csv", text), small_estate(), 2026)


def test_scenario_file_that_is_not_there_is_told(tmp_path):
    with pytest.raises(CroploadError, match="does not exist"):
        read_scenario_file(tmp_path / "none.csv", small_estate())


def test_scenario_lines_take_names_with_commas_and_a_name_alone():
    from helpers import block_row
    from season_records import block_rows

    records = small_estate(blocks=[*block_rows(), block_row("Hill, upper", "Riesling")])
    found = read_scenario_lines(
        ["a=Fir:last,Hill, upper:2x8", "b=Hill, upper:2x9,Fir:2x9"], records
    )
    assert {b: str(p) for b, p in found["a"].items()} == {"Fir": "2x10+2x2", "Hill, upper": "2x8"}
    found = read_scenario_lines(["today", "b=Fir:2x9,Alder:2x9"], records, 2026)
    last = {"Fir": "2x10+2x2", "Alder": "2x10+2x2"}
    assert {b: str(p) for b, p in found["today"].items()} == last


def test_a_name_alone_is_a_kept_scenario_and_near_names_are_told(tmp_path, capsys):
    mine = sample_copy(tmp_path / "mine", "blocks", "pruning", "harvest")
    rows = ["scenario,season,block,plan", "Long trial,2027,Long Acre,3x10+3x2"]
    rows += ["Long trial,2027,Mill Meadow,2x14+2x2", "Light,,Long Acre,3x6+3x2"]
    (mine / "scenarios.csv").write_text("\n".join(rows), encoding="utf-8")
    records = read_records(mine)
    found = read_scenario_lines(["today", "long trial", "Light"], records, 2027)
    told = {name: {b: str(p) for b, p in plans.items()} for name, plans in found.items()}
    assert told == {
        "today": {"Long Acre": "3x8+3x2", "Mill Meadow": "2x12+2x2"},
        "Long trial": {"Long Acre": "3x10+3x2", "Mill Meadow": "2x14+2x2"},
        "Light": {"Long Acre": "3x6+3x2", "Mill Meadow": "2x12+2x2"},
    }
    asked = ["report", str(mine), "--draws", "200", "--no-frost", "--scenario", "today"]
    assert cli.main([*asked, "--scenario", "long trail"]) == 2
    said = " ".join(capsys.readouterr().err.split())
    assert "No scenario 'long trail' is kept for season 2027. Did you mean 'Long trial'?" in said
    assert "Choose from: Long trial, Light, today." in said
    with pytest.raises(CroploadError, match=r"None is\. Write it like"):
        read_scenario_lines(["today", "Light"], small_estate())


def test_faults_of_scenario_lines_come_together():
    with pytest.raises(CroploadError) as told:
        read_scenario_lines(["a=Fri:2x8", "a=Fir:2x8", "c=Fir:2x,Alder"], small_estate())
    for part in ("no block 'Fri'", "'a' is there twice", "'2x'", "'Alder' has no plan"):
        assert part in str(told.value)


def test_command_writes_the_report_and_prints_its_answer(tmp_path, capsys):
    page = tmp_path / "r.html"
    given = ["report", "--example", "--scenario", "today", "--scenario", "a=Long Acre:3x6+3x2"]
    given += ["--draws", "200", "--no-frost", "--cost", "picking_per_ton=90.718474"]
    code = cli.main([*given, "--html", str(page), "--xlsx", str(tmp_path / "r.xlsx")])
    told = capsys.readouterr()
    assert code == 0, told.err
    assert "your prices and contracts, and your costs" in " ".join(told.out.split())
    assert "another could be better by 0 % at most" in " ".join(told.out.split())
    assert "invented" in told.out
    # A short ton is 0.90718474 t, so that is 100 for a tonne.
    assert re.search(r"picking, by weight</th><td[^>]*>100\.00", page.read_text(encoding="utf-8"))
    assert cli.main([*given, "--html", str(page)]) == 2
    assert "r.html exists" in " ".join(capsys.readouterr().err.split())


#: Two scenarios of a command line.
TWO = ("--scenario", "today", "--scenario", "b=Long Acre:3x10", "--draws", "200", "--no-frost")


def test_limits_of_the_command_bear_on_the_choice_and_are_told(capsys):
    given = ["report", "--example", *TWO[:3], "b=Long Acre:3x10+3x2", *TWO[4:]]
    limits = ["--area-out", "100", "--units", "us", "--ceiling", "Sauvignon blanc=3.3"]
    assert cli.main([*given, "--area-out", "100"]) == 0
    assert "Prune Long Acre to 3x10+3x2" in " ".join(capsys.readouterr().out.split())
    # 3.3 ton/ac are 7.4 t/ha, less than either plan bears in the mean.
    assert cli.main([*given, *limits]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "No choice among these plans keeps the ceiling of Sauvignon blanc" in told


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ([], "Which scenarios?"),
        (["--scenario", "today", "--scenario", "b=Long Akre:3x8"], "Did you mean 'Long Acre'"),
        (["--scenario", "b=Long Acre:3x8"], "not 1"),
        (["--scenarios", "x.csv", "--scenario", "today"], "not both"),
        (["--cost", "picking=4"], "There is no cost 'picking'"),
        (["--cost", "picking_per_t=-4"], "0 or more"),
        ([*TWO, "--hours", "9"], "needs how long pruning takes: the costs minutes_per_vine"),
        ([*TWO, "--worst-year", "much"], "--worst-year: 'much' is not a number"),
        ([*TWO, "--ceiling", "9"], 'write it like "Riesling=9"'),
        ([*TWO, "--ceiling", "Long Akre=9"], "Did you mean 'Long Acre'"),
        ([*TWO, "--discount", "400"], "discount"),
    ],
)
def test_command_tells_what_is_wrong(more, told, capsys):
    assert cli.main(["report", "--example", *more]) == 2
    assert told in " ".join(capsys.readouterr().err.split())


def test_the_caution_on_money_stands_once_and_only_where_there_is_money(html):
    text = " ".join(" ".join(Page(html).words).split())
    assert text.count("Every price and cost is your own") == 1
    assert "Every price" not in reported(small_estate(), costs=None).html()


def test_frost_that_was_not_asked_for_is_said_so_and_nothing_else():
    text = " ".join(Page(reported(frost=False).html()).words)
    assert "was not asked for" in text
    assert "frost record" not in text
    without = " ".join(Page(reported().html()).words)
    assert "No block has a frost record" in without
    assert "No frost figures for Alder" in without
    assert "was not asked for" not in without


def test_every_verdict_on_balance_stands_beside_its_own_season(report):
    table = next(table for table in report.tables() if table.key == "balance")
    heads = [column.title for column in table.columns]
    for season, word, ratio in (
        ("in 2026", "balance_word", "ravaz"),
        ("once settled", "balance_settled_word", "ravaz_settled"),
    ):
        at = heads.index(f"balance {season}")
        assert [row[at] for row in table.rows] == report.frame[word].tolist()
        middles = [row[heads.index(f"yield / pruning weight {season}")][1] for row in table.rows]
        assert middles == report.frame[f"{ratio}_p50"].tolist()
        for row in report.frame.to_dict("records"):
            band = report.found.bands[row["block"]][1]
            assert row[word] == band.word(row[f"{ratio}_p50"])


def test_the_chance_of_a_loss_is_told_and_is_no_cliff():
    from cropload.owner.words import risks

    before = reported().found
    # At a price that pays the costs of the middle crop, about half of the seasons lose.
    cost = before.money_settled["cost_p50"].iloc[0]
    price = cost / before.totals["tonnes_settled_p50"].iloc[0]
    found = reported(small_estate(prices=prices(price))).found
    chances = found.money_settled["chance_loss"]
    assert chances.iloc[0] == pytest.approx(0.5, abs=0.1)
    assert f"{100 * chances.iloc[0]:.0f} % with 'today'" in " ".join(risks(found))


def test_the_chance_of_a_frost_year_says_what_to_do_with_it():
    from cropload.owner.words import risks

    plans = {"today": {"Mill Meadow": "2x12+2x2"}, "longer": {"Mill Meadow": "2x14+2x2"}}
    found = compare_scenarios(example_records(), plans, 2027, draws=200)
    low, high = (found.frame[f"frost_loss_chance_{end}"] for end in ("low", "high"))
    ends = f"{100 * low.min():.0f} % to {100 * high.max():.0f} %"
    told = " ".join(risks(found))
    assert f"has a chance of {ends}. Where one such year would hurt, weigh longer wood" in told


def test_scenarios_and_their_report_read_as_text(report):
    for answer in (report, report.found):
        assert max(map(len, str(answer).splitlines())) <= 80
        assert "your prices and contracts, and your costs" in " ".join(str(answer).split())
        assert "cl-table" in answer._repr_html_()
    assert report.plot().get_xlabel().startswith("Left over beside 'today'")
    american = reported(units="us")
    assert "short ton" in str(american)
    assert "short ton" in american._repr_html_()
    assert american.tables("metric")[0].only("more crop").cells()[1] == ["t"]


def test_costs_stand_in_the_report(html):
    assert f"{COSTS.picking_per_t:.2f}" in html
    assert prices()[0]["currency"] in html
