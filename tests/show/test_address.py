"""The address of a page, and links between pages, without a browser."""

import re

import pytest

from cropload.show.address import _BROWSER, Address, page_link


def test_what_the_address_says_reaches_those_who_wait():
    address, heard = Address(), []
    address.on_open(heard.append)
    assert heard == []
    address._received(address, {"opened": {"block": "Long Acre", "units": "us", "season": ""}}, [])
    assert heard == [{"block": "Long Acre", "units": "us"}]
    assert address.query == {"block": "Long Acre", "units": "us"}


@pytest.mark.parametrize("content", [None, {}, {"opened": None}, {"opened": "block"}, "opened"])
def test_another_message_is_no_address(content):
    address, heard = Address(), []
    address.on_open(heard.append)
    address._received(address, content, [])
    assert heard == []


def test_saying_replaces_what_the_address_said():
    address = Address()
    address.say(block="Long Acre", season=2027, units=None)
    assert address.query == {"block": "Long Acre", "season": "2027"}
    address.say(block="Home Terrace")
    assert address.query == {"block": "Home Terrace"}


def test_going_elsewhere_names_the_notebook():
    address, sent = Address(), []
    address.send = sent.append
    address.go("frost_cover", block="Long Acre", season=None)
    assert sent == [{"go": "frost_cover.ipynb", "query": {"block": "Long Acre"}}]


def test_a_link_keeps_names_whole():
    link = page_link("pruning_levels", "A & B <1>", block='A & "B"', season=2027, units=None)
    assert link == (
        '<a href="pruning_levels.ipynb?block=A+%26+%22B%22&amp;season=2027" '
        'data-page="pruning_levels.ipynb">A &amp; B &lt;1&gt;</a>'
    )
    assert 'href="home.ipynb"' in page_link("home.ipynb", "home")


def test_it_loads_nothing_from_elsewhere():
    assert not re.search(r"https?:|\bimport\b|\bfetch\b", _BROWSER)
