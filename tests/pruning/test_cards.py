"""Cards for the crew: what they say, in which words, that they are safe and need no network."""

import re
from pathlib import Path

import pytest
from babel.messages import extract, mofile, pofile
from helpers import sample_copy

from cropload import example_records, read_records
from cropload.errors import CroploadError
from cropload.pages.cli import main
from cropload.pruning.cards import CardItem, bud_tolerance, crew_cards, of_plan, of_records
from cropload.records.reading.faults import RecordsError
from cropload.show import languages
from cropload.show.languages import LANGUAGES
from cropload.units import US
from cropload.vine.plan import PruningPlan

OTHERS = [code for code in LANGUAGES if code != "en"]
PACKAGE = Path(languages.__file__).parents[1]


def item(text="3x8+3x2", block="Long Acre", **more):
    more = {"season": 2027, "canopy_length_m": 1.8, "training": "cane"} | more
    return CardItem(plan=PruningPlan.parse(text), block=block, **more)


def plain(page):
    return re.sub(r"\s+", " ", re.sub(r"<(style|title)>.*?</\1>|<[^>]*>", " ", page, flags=re.S))


def test_a_card_says_the_plan_the_buds_and_what_is_on_plan():
    text = plain(crew_cards([item()]))
    for words in ("3 × 8 canes × buds", "3 × 2 renewal spurs × buds", "30 buds a vine"):
        assert words in text
    assert "27 to 33 buds is on plan" in text
    assert "vines 1.80 m apart" in text


def test_spurs_alone_are_no_renewal_spurs():
    text = plain(crew_cards([item("14x2", training="cordon")]))
    assert "14 × 2 spurs × buds" in text
    assert "renewal" not in text


@pytest.mark.parametrize("word", ["Eyes", "Hands", "Footing", "Wounds"])
def test_a_card_carries_the_cautions(word):
    assert f"<strong>{word}.</strong>" in crew_cards([item()])


def test_text_from_records_is_escaped():
    text = crew_cards([item(block='<b>"x"</b>', variety="<script>1</script>", part="<i>p</i>")])
    assert "<script>" not in text
    assert "<b>" not in text
    assert "<i>" not in text


def test_a_card_asks_no_outside_address():
    text = crew_cards([item()]).replace('xmlns="http://www.w3.org/2000/svg"', "")
    assert not re.search(r"https?:|//[a-z]|url\(|@import|<script|<link|<iframe| src=", text)


def test_invented_records_are_said_to_be_invented():
    assert "invented" in crew_cards([item(invented=True)])
    assert "invented" not in crew_cards([item()])


@pytest.mark.parametrize(("buds", "ends"), [(30, (27, 33)), (8, (7, 9)), (48, (44, 52))])
def test_tolerance_is_a_tenth_rounded_inwards_and_at_least_one_bud(buds, ends):
    # A tenth is our assumption, see sampling.crew_vine_tolerance in the handbook.
    assert bud_tolerance(buds) == ends


def test_several_blocks_are_a_card_each_and_the_button_is_not_printed():
    page = crew_cards([item(), item("14x2", "Mill Meadow")])
    assert page.count('<section class="card">') == 2
    assert "break-after: page" in page
    assert 'onclick="window.print()"' in page
    assert "@media print { button { display: none; } }" in page


def test_a_pocket_card_is_a6():
    # A6 is 105 mm by 148 mm (ISO 216).
    assert "size: 105mm 148mm" in crew_cards([item()], size="A6")
    assert "size: A4" in crew_cards([item()])


@pytest.mark.parametrize("language", OTHERS)
def test_a_card_is_wholly_in_its_language(language):
    english = {entry.id for entry in catalogue(language) if entry.id}
    page = plain(crew_cards([item(invented=True, variety="Riesling", vines=1200)], language))
    assert f'lang="{language}"' in crew_cards([item()], language)
    told = [words for words in english if "%(" not in words and len(words) > 8]
    assert told
    assert [words for words in told if words in page] == []


def test_numbers_and_dates_are_those_of_the_language():
    german = plain(crew_cards([item(vines=1200)], "de"))
    assert "1,80 m" in german
    assert "1.200 Stöcke" in german
    # 1.8 m / 0.3048 m a foot is 5.9 ft.
    assert "5,9 ft" in plain(crew_cards([item()], "de", units=US))


def test_another_language_or_size_is_a_clear_fault():
    with pytest.raises(CroploadError, match="no words in the language 'xx'"):
        crew_cards([item()], "xx")
    with pytest.raises(CroploadError, match="size"):
        crew_cards([item()], size="A5")
    with pytest.raises(CroploadError, match="no plan"):
        crew_cards([])


def place(language):
    return PACKAGE / "show" / "catalogues" / language / "LC_MESSAGES" / "cards.po"


def catalogue(language):
    with place(language).open("rb") as file:
        return pofile.read_po(file, locale=language)


def wanted():
    """Return every text that the card's code and template have for translation."""
    found = set()
    for path, method in (
        ("pruning/cards.py", "python"),
        ("pruning/templates/crew_card.html", "jinja2.ext:babel_extract"),
    ):
        with (PACKAGE / path).open("rb") as file:
            # The template marks its texts with _, the code with gettext.
            options = {"extensions": "jinja2.ext.i18n"} if method != "python" else {}
            found |= {text for _, text, *_ in extract.extract(method, file, options=options)}
    return found


@pytest.mark.parametrize("language", OTHERS)
def test_a_catalogue_has_every_text_and_no_other(language):
    found = {entry.id: entry for entry in catalogue(language) if entry.id}
    assert wanted()
    assert set(found) == wanted()
    for entry in found.values():
        assert entry.string
        assert not entry.fuzzy
        fields = re.compile(r"%\(\w+\)s")
        assert sorted(fields.findall(entry.id)) == sorted(fields.findall(entry.string))


@pytest.mark.parametrize("language", OTHERS)
def test_the_compiled_catalogue_is_that_of_the_text(language):
    with place(language).with_suffix(".mo").open("rb") as file:
        compiled = mofile.read_mo(file)
    as_text = {entry.id: entry.string for entry in catalogue(language) if entry.id}
    assert {entry.id: entry.string for entry in compiled if entry.id} == as_text


def test_each_catalogue_says_who_translated_it():
    for language in OTHERS:
        assert "from memory" in place(language).read_text("utf-8").split("msgid")[0]


def test_cards_of_the_records_by_block():
    items, without = of_records(example_records(), season=2026)
    assert len(items) + len(without) == 8
    assert [each for each in items if each.block == "Long Acre"] == [
        of_plan(example_records(), "Long Acre", PruningPlan.parse("3x8+3x2"), 2026)
    ]


@pytest.fixture
def parted(tmp_path):
    """Return a copy of the sample records with Long Acre in two parts."""
    folder = sample_copy(tmp_path / "records", "blocks", "pruning")
    text = "block,part,vines,plan\nLong Acre,strong,2500,3x10+3x2\nLong Acre,weak,3500,\n"
    (folder / "parts.csv").write_text(text)
    return folder


def test_each_part_has_its_own_card_and_a_blank_plan_is_that_of_the_block(parted):
    items, _ = of_records(read_records(parted), ["Long Acre"], 2026)
    assert [(each.part, str(each.plan), each.vines) for each in items] == [
        ("strong", "3x10+3x2", 2500),
        ("weak", "3x8+3x2", 3500),
    ]
    text = plain(crew_cards(items))
    assert "Long Acre: strong" in text
    assert "2,500 vines" in text


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("Long Acre,weak,3000,", "the parts of Long Acre have 5,500 vines together"),
        ("Long Acre,strong,3500,", "block + part may not repeat"),
        ("Short Acre,weak,3500,", "is not a block of table blocks"),
        ("Long Acre,weak,3500,eight", "canes x buds"),
    ],
)
def test_parts_that_cannot_be_are_faults_with_their_mend(parted, row, told):
    text = f"block,part,vines,plan\nLong Acre,strong,2500,3x10+3x2\n{row}\n"
    (parted / "parts.csv").write_text(text)
    with pytest.raises(RecordsError) as fault:
        read_records(parted)
    assert told in str(fault.value)
    assert "parts.csv" in str(fault.value)


def test_the_command_writes_cards_and_never_over_a_file(tmp_path, capsys):
    file = tmp_path / "cards.html"
    asked = ["cards", "--example", "--season", "2026", "--html", str(file)]
    assert main([*asked, "--language", "ro", "--pocket"]) == 0
    told = capsys.readouterr().out
    assert told.startswith("Harvest 2026.")
    assert "7 cards for the crew" in told
    assert "without a card: Fox Hollow" in told
    assert 'lang="ro"' in file.read_text("utf-8")
    assert main(asked) != 0
    assert 'lang="ro"' in file.read_text("utf-8")


def test_the_command_takes_blocks_and_a_plan(tmp_path):
    file = tmp_path / "cards.html"
    blocks = ["--block", "Long Acre", "--block", "Upper Knoll", "--plan", "2x9+2x2"]
    assert main(["cards", "--example", *blocks, "--html", str(file)]) == 0
    assert file.read_text("utf-8").count('<section class="card">') == 2
