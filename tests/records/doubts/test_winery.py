"""Limits and contracts in kilograms, prices of a kilogram."""

from cropload.pages.cli import main
from cropload.records.records import read_records

HARVEST = "season,block,tonnes\n2024,North,2.4\n2025,North,2.2\n2025,South,1.8\n"
CAPACITY = "period_start,period_end,limit_t,variety\n2026-09-01,2026-09-07,"
PRICES = "variety,price_per_t,cap_t\n"


def told(folder):
    return [(d.file, d.row, d.column, d.mend) for d in read_records(folder).warnings]


def test_a_limit_in_kilograms_is_asked_about(write):
    ((file, row, column, mend),) = told(write(harvest=HARVEST, capacity=CAPACITY + "4000,\n"))
    assert (file, row, column) == ("capacity.csv", 2, "limit_t")
    assert "divide by 1,000" in mend


def test_a_cap_in_kilograms_is_asked_about(write):
    ((file, _, column, _),) = told(write(harvest=HARVEST, prices=PRICES + "Riesling,1500,2400\n"))
    assert (file, column) == ("prices.csv", "cap_t")


def test_a_contract_in_kilograms_is_asked_about(write):
    head = "contract,variety,price_per_t,least_t,most_t\n"
    found = told(write(harvest=HARVEST, contracts=head + "A,Riesling,1.5,2,2400\n"))
    assert [(file, column) for file, _, column, _ in found] == [
        ("contracts.csv", "most_t"),
        ("contracts.csv", "price_per_t"),
    ]


def test_a_price_of_a_kilogram_is_asked_about(write):
    ((_, _, column, mend),) = told(write(harvest=HARVEST, prices=PRICES + "Riesling,1.5,2.4\n"))
    assert column == "price_per_t"
    assert "price of a kilogram" in mend


def test_ample_limits_and_ordinary_prices_are_not_asked_about(write):
    prices = PRICES + "Riesling,1500,20\nPinot noir,24000,\n"
    assert told(write(harvest=HARVEST, prices=prices, capacity=CAPACITY + "60,Riesling\n")) == []


def test_without_a_harvest_nothing_tells_what_a_limit_is_for(write):
    assert told(write(capacity=CAPACITY + "4000,\n")) == []


def test_check_says_that_the_periods_of_intake_are_of_an_earlier_year(write, capsys):
    folder = write(harvest=HARVEST, capacity=CAPACITY.replace("2026", "2025") + "60,\n")
    assert main(["check", str(folder), "--season", "2026"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "The periods of intake on record end on 2025-09-07, before harvest 2026" in out
    assert main(["check", str(folder), "--season", "2025"]) == 0
    assert "periods of intake on record end" not in " ".join(capsys.readouterr().out.split())


def test_contracts_in_two_currencies_are_asked_about_once(write):
    head = "contract,variety,price_per_t,currency\n"
    rows = ["A,Riesling,1500,EUR\n", "B,Merlot,900,USD\n", "C,Pinot noir,900,USD\n"]
    found = told(write(harvest=HARVEST, contracts=head + "".join(rows)))
    mine = [each for each in found if each[2] == "currency"]
    assert [each[0] for each in mine] == ["contracts.csv"]
    one = told(write(harvest=HARVEST, contracts=head + rows[0] + "B,Merlot,900,\n"))
    assert not [each for each in one if each[2] == "currency"]
