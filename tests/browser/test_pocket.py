"""The pocket page as a phone has it: a file, no network, storage that may fail, 390 and 360 px."""

import csv
import io

import numpy as np
import pytest
from browser.conftest import ARGUMENTS, CHROMIUM
from browser.page_checks import check_no_barrier
from helpers import block_row, make_records

from cropload import compare_plans, example_records, mean_from_sample, replacement_buds
from cropload.pages.pocket import COLUMNS, pocket_page
from cropload.records.records import read_records
from cropload.records.tables import TABLES
from cropload.season.crew_check import check_buds
from cropload.vine.balanced_pruning import balanced_table
from cropload.vine.bud_damage import wilson_interval

pytestmark = pytest.mark.browser
SEASON, DRAWS = 2027, 400
HOSTILE = ['<img src=x onerror="hurt()">', "</script><script>hurt()</script>", '=1+1;\'"Zo\u00eb"']
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
NO_STORAGE = """for (const name of ["indexedDB", "localStorage"])
  Object.defineProperty(window, name, {get() { throw new Error("not on this phone"); }});"""


class Phone:
    """A phone that holds the page, cut off from any network; it counts the touches."""

    def __init__(self, context, file):
        self.page, self.touches, self.asked, self.faults = context.new_page(), 0, [], []
        context.set_offline(True)
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("console", lambda message: self.faults.append(message.text))
        self.page.on("pageerror", lambda fault: self.faults.append(str(fault)))
        self.page.goto(file.as_uri())
        self.page.evaluate("ready")

    def touch(self, selector):
        self.touches += 1
        self.page.locator(selector).tap()

    def count(self, number):
        for digit in str(number):
            self.touch(f'[data-digit="{digit}"]')
        self.touch("#next")

    def start(self, block, *measures, tab="count", counter="AB"):
        self.page.select_option("#which", label=block)
        self.touch(f"[data-tab={tab}]")
        # Shoots are what it opens with; the last measure cannot be taken away.
        for measure in sorted(set(measures) ^ {"shoots"}) if measures else ():
            self.touch(f"[data-measure={measure}]")
        self.page.fill("#counter", counter)
        self.touch("#counter-form button")
        self.touches = 0

    def text(self, selector):
        return self.page.inner_text(selector)

    def rows(self):
        return self.page.evaluate("rows().sort((a, b) => a.at - b.at)")

    def saved(self, button="#files button"):
        with self.page.expect_download() as waiting:
            self.touch(button)
        return waiting.value

    def kept(self):
        """Wait until all is on the disk."""
        self.page.evaluate("keep()")


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pocket")
    sample = folder / "quillfoot.html"
    sample.write_text(pocket_page(example_records(), SEASON, draws=DRAWS), "utf-8")
    rows = [block_row(name, vines=900, rows=9, training="cane") for name in HOSTILE]
    records = make_records(
        blocks=[*rows, block_row("No rows")],
        pruning=[{"season": 2026, "block": name, "plan": "2x8+2x2"} for name in HOSTILE],
    )
    hostile = folder / "hostile.html"
    hostile.write_text(pocket_page(records, SEASON, draws=100), "utf-8")
    return {"sample": sample, "hostile": hostile}


@pytest.fixture
def phone(chromium, files, request):
    """Return a maker of phones: each with storage of its own."""
    contexts = []

    def make(file="sample", script="", **options):
        context = chromium.new_context(**PHONE | options)
        context.add_init_script(script)
        contexts.append(context)
        return Phone(context, files[file])

    yield make
    for context in contexts:
        context.close()


def label(block="Long Acre"):
    variety = example_records().blocks.set_index("block").loc[block, "variety"]
    return f"{block} · {variety}"


def test_thirty_vines_take_three_touches_each_and_the_file_holds_them(phone, tmp_path):
    here = phone()
    here.start(label(), "clusters")
    numbers = [int(number) for number in np.random.default_rng(7).integers(10, 99, 30)]
    places = []
    for number in numbers:
        places.append(here.page.evaluate("vine()"))
        here.count(number)
    assert here.touches <= 3 * 30
    download = here.saved()
    assert download.suggested_filename == f"counts-{here.page.evaluate('today()')}-AB.csv"
    text = download.path().read_text("utf-8-sig")
    assert text.splitlines()[0] == ",".join(COLUMNS)
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [(row["row"], row["vine"]) for row in rows] == [tuple(each) for each in places]
    assert [int(row["clusters"]) for row in rows] == numbers
    assert {row["counter"] for row in rows} == {"AB"}
    assert {row["shoots"] for row in rows} == {""}
    # The records read the file as it stands, mark and all.
    download.save_as(tmp_path / "counts.csv")
    example_records().blocks[list(TABLES["blocks"].names)].to_csv(
        tmp_path / "blocks.csv", index=False
    )
    found = read_records(tmp_path).counts
    assert list(found["clusters"]) == numbers
    assert set(found["season"]) == {SEASON}
    assert here.text("#files span") == "saved"
    # Nothing was asked of any network, nothing refused by the page's own policy.
    assert {address.split(":")[0] for address in here.asked} <= {"file", "blob"}
    assert here.faults == []


def test_all_measures_of_a_vine_are_one_row_and_undo_takes_back_each_touch(phone):
    here = phone()
    here.start(label(), "shoots", "clusters", "shoots_dead")
    for number in (31, 40, 2):
        here.count(number)
    (row,) = here.rows()
    assert [row[name] for name in ("shoots", "clusters", "shoots_dead", "shoots_alive")] == [
        "31", "40", "2", "",
    ]  # fmt: skip
    first = here.text("#place")
    here.touch(".keys .undo")
    assert here.rows() == []
    assert here.text("#place") != first
    assert here.text("#fields").split() == ["Shoots", "31", "Clusters", "40", "Dead", "shoots", "2"]
    here.touch(".keys .undo")
    assert here.text("#fields").split()[-1] == "–"
    here.count(5)
    assert here.rows()[0]["shoots_dead"] == "5"
    here.touch("#missing")
    assert [row["missing"] for row in here.rows()] == ["", "1"]
    assert here.rows()[1]["shoots"] == ""
    # A second look on the same day mends the row, and adds none.
    here.touch(".keys .undo")
    here.page.evaluate("now.at[placeKey()] = 0; load(); show()")
    for number in (30, 41, 3):
        here.count(number)
    (row,) = here.rows()
    assert (row["shoots"], row["clusters"]) == ("30", "41")


def test_a_phone_killed_between_two_vines_keeps_all_but_the_one_being_typed(
    chromium, files, tmp_path
):
    def opened():
        return chromium.browser_type.launch_persistent_context(
            str(tmp_path / "phone"), executable_path=CHROMIUM, args=ARGUMENTS, **PHONE
        )

    context = opened()
    here = Phone(context, files["sample"])
    here.start(label(), "shoots")
    for number in (31, 28, 35, 40):
        here.count(number)
    here.kept()
    here.touch('[data-digit="9"]')
    # The whole browser ends at once, as when the battery is out: nothing is written any more.
    phone = context.new_cdp_session(here.page)
    with pytest.raises(Exception, match=r"closed|crash"):
        phone.send("Browser.crash")
    context = opened()
    try:
        here = Phone(context, files["sample"])
        assert [row["shoots"] for row in here.rows()] == ["31", "28", "35", "40"]
        assert here.text("#step").startswith("5 of")
        assert here.text("#fields").split() == ["Shoots", "–"]
        assert here.text("#who") == "AB"
    finally:
        context.close()


def test_closing_the_page_keeps_what_was_counted(phone, files):
    here = phone()
    here.start(label(), "shoots")
    here.count(31)
    here.kept()
    here.page.close()
    again = Phone(here.page.context, files["sample"])
    assert [row["shoots"] for row in again.rows()] == ["31"]
    again.count(30)
    assert len(again.rows()) == 2


def test_a_phone_that_keeps_nothing_says_so_and_offers_the_file_after_each_vine(phone):
    here = phone(script=NO_STORAGE)
    here.start(label(), "shoots")
    assert here.text("#keeping").startswith("This phone keeps nothing")
    assert not here.page.is_visible("#save-now")
    here.count(31)
    text = here.saved("#save-now").path().read_text("utf-8-sig")
    assert [row["shoots"] for row in csv.DictReader(io.StringIO(text))] == ["31"]
    assert here.faults == []


def test_storage_emptied_while_the_page_is_open_is_written_again(phone, files):
    here = phone()
    here.start(label(), "shoots")
    for number in (31, 28):
        here.count(number)
    here.kept()
    other = here.page.context.new_page()
    other.goto(files["sample"].as_uri())
    other.evaluate("""new Promise((done) => {
      base.close();
      const gone = indexedDB.deleteDatabase(BASE);
      gone.onsuccess = done;
    })""")
    other.close()
    here.count(35)
    here.kept()
    assert here.text("#keeping").startswith("Each finished vine is kept")
    here.page.close()
    again = Phone(here.page.context, files["sample"])
    assert [row["shoots"] for row in again.rows()] == ["31", "28", "35"]


def test_without_script_the_page_says_what_to_do_and_shows_the_plans(chromium, files):
    context = chromium.new_context(**PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(files["sample"].as_uri())
    assert "Open the file in the phone's browser" in page.inner_text("main")
    assert "3x8+3x2" in page.inner_text("table")
    assert not page.is_visible("[data-tab=count]")
    context.close()


@pytest.mark.parametrize("place", range(3))
def test_names_that_are_code_do_nothing_and_come_back_as_written(phone, place):
    here = phone("hostile", script="window.hurt = () => { window.hurtful = true; }")
    here.page.select_option("#which", str(place))
    here.touch("[data-tab=count]")
    here.page.fill("#counter", '=HYPER("x"),<b>')
    here.touch("#counter-form button")
    here.count(12)
    text = here.saved().path().read_text("utf-8-sig")
    (row,) = csv.DictReader(io.StringIO(text))
    # The reader takes the apostrophe before a formula off again.
    assert row["block"].removeprefix("'") == HOSTILE[place]
    assert row["counter"] == '\'=HYPER("x"),<b>'
    assert here.page.evaluate("window.hurtful") is None
    assert here.faults == []


def test_a_block_without_rows_on_record_takes_row_and_vine_as_typed(phone):
    here = phone("hostile")
    here.start("No rows · Anyvine", "shoots")
    assert "rows of this block are not on record" in here.text("#place")
    here.page.fill("#own-row", "7b")
    here.page.fill("#own-vine", "12")
    here.touch("#own-form button")
    here.count(20)
    here.count(21)
    assert [(row["row"], row["vine"]) for row in here.rows()] == [("7b", "12"), ("7b", "13")]


def test_the_slider_reads_the_crop_of_compare_plans(phone):
    here = phone()
    here.page.select_option("#which", label=label())
    plans = [f"3x{length}+3x2" for length in range(5, 16)]
    found = compare_plans(example_records(), "Long Acre", plans, SEASON, draws=DRAWS).frame
    for row in found.to_dict("records"):
        read = here.page.evaluate("(buds) => reading(buds)", row["buds_per_vine"])
        for name, column in (("crop", "t_ha"), ("balance_settled", "ravaz_settled")):
            wanted = [row[f"{column}_{end}"] for end in ("p10", "p50", "p90")]
            assert read[name] == pytest.approx(wanted, rel=0.01)
    # Between two plans a figure lies between theirs, straight in the logs.
    low, middle, high = (here.page.evaluate(f"reading({buds}).crop[1]") for buds in (30, 31.5, 33))
    share = np.log(31.5 / 30) / np.log(33 / 30)
    assert middle == pytest.approx(low * (high / low) ** share)
    shown = here.text("#crop")
    here.touch('[data-buds="1"]')
    assert here.text("#live") == "31"
    assert here.text("#as-plan") == "3 × 8–9 + 3 × 2"
    assert here.text("#crop") != shown
    assert here.text("#shoots-word").startswith("above")
    here.touch("#slider .undo")
    assert here.text("#crop") == shown


def test_rules_of_prunings_and_damage_are_those_of_the_package(phone):
    here = phone()
    here.page.select_option("#which", label=label("Home Terrace"))
    spacing = float(example_records().blocks.set_index("block").loc["Home Terrace"].vine_spacing_m)
    wanted = balanced_table("vinifera", start=0.1, stop=1.0, step=0.1, vine_spacing_m=spacing)
    for row in wanted.frame.to_dict("records"):
        here.page.fill("#weight", f"{row['pruning_weight_kg']:.1f}".replace(".", ","))
        low, high = wanted.cap_buds
        capped = f"Leave {low} to {high} buds" if row["buds"] > high else f"Leave {row['buds']:g} b"
        assert here.text("#by-weight").startswith(capped)
    here.page.fill("#weight", "half")
    assert here.text("#by-weight") == "Write a number, like 0.75."
    here.page.fill("#dead", "3")
    here.page.fill("#cut", "20")
    low, high = wilson_interval(3, 20)
    assert here.page.evaluate("shareRange(3, 20)") == pytest.approx([low, 0.15, high], rel=1e-6)
    live = int(here.text("#live"))
    leave = round(float(replacement_buds(live, 0.15)))
    assert f"Leave {leave} buds to have {live} live ones" in here.text("#by-damage")
    here.page.fill("#dead", "20")
    assert "must be fewer" in here.text("#by-damage")


@pytest.mark.parametrize(
    "buds", [[30] * 2, [31, 29, 30, 30, 31], [34, 36, 35, 33], [25, 26, 24, 27, 25], [22, 40, 30]]
)
def test_the_word_on_a_crew_is_that_of_the_crew_check(phone, buds):
    here = phone()
    here.start(label(), tab="crew")
    for number in buds:
        here.count(number)
    bearing = here.page.evaluate("block().bearing")
    wanted = check_buds(buds, 30, bearing_vines=bearing)
    words = {"long": "too many buds", "short": "too few buds"}
    assert here.text("#verdict").endswith(words.get(wanted.verdict, wanted.verdict))
    assert [row["buds"] for row in here.rows()] == [str(number) for number in buds]
    sample = mean_from_sample(buds, bearing, confidence=0.8)
    mine = here.page.evaluate("meanOf(counted('buds'), data.t.often)")
    assert [mine["low"], mine["mean"], mine["high"]] == pytest.approx(
        [sample.low, sample.mean, sample.high], rel=1e-5
    )
    assert f"mean of {len(buds)} vines" in here.text("#so-far")
    # The last is taken back, and with it its share of the mean.
    here.touch(".keys .undo")
    assert len(here.rows()) == len(buds) - 1


def test_an_hour_is_worth_less_the_more_is_counted(phone):
    here = phone()
    here.start(label(), "clusters")
    worth = [here.page.evaluate(f"worthOfHour('clusters', {n})") for n in (0, 30, 60)]
    assert [each["more"] for each in worth] == [30, 30, 30]
    assert worth[0]["off"] > worth[1]["off"] > worth[2]["off"] > 0
    before = here.page.evaluate("rangeLeft('clusters', 0)")
    after = here.page.evaluate("rangeLeft('clusters', 60)")
    assert before - after == pytest.approx(worth[0]["off"] + worth[1]["off"])
    assert "off the estate's range of" in here.text("#so-far")


@pytest.mark.parametrize("width", [390, 360])
@pytest.mark.parametrize("tab", ["block", "count", "crew"])
def test_targets_are_large_nothing_scrolls_sideways_and_no_barrier(phone, width, tab):
    here = phone(viewport={"width": width, "height": 844})
    here.start(label(), tab=tab) if tab == "crew" else None
    if tab == "count":
        here.start(label(), "shoots", "clusters", "noncount_shoots", "buds")
        here.count(31)
    for each in here.page.locator("details:visible").all():
        each.evaluate("(fold) => { fold.open = true; }")
    small = here.page.evaluate("""[...document.querySelectorAll(
      "button, select, summary, input:not([type=range])")]
      .map((each) => [each.textContent, each.getBoundingClientRect()])
      .filter(([, at]) => at.width && (at.height < 48 || at.width < 48))
      .map(([text]) => text)""")
    assert small == []
    assert here.page.evaluate("document.documentElement.scrollWidth") <= width
    if tab != "block":
        # The keys and the next vine are in sight without scrolling.
        here.page.evaluate("document.querySelector('#what').open = false")
        at = here.page.locator("#next").bounding_box()
        assert at["y"] + at["height"] <= 844
    check_no_barrier(here.page, width)
