"""Price lists: taken as written, or refused with the line and what would do."""

import pytest

from qa_engine.errors import IntakeError
from qa_engine.forecast.prices import Prices
from qa_engine.intake.price_list import read_prices

LIST = """\
currency: EUR
resin: 6.50
call_back: 80
early_change: 45
"""


@pytest.fixture
def read(tmp_path):
    """Return the reader of a price list that is written as a file first."""

    def make(text):
        file = tmp_path / "prices.yaml"
        file.write_text(text, encoding="utf-8")
        return read_prices(file)

    return make


def refusal(read, text):
    with pytest.raises(IntakeError) as error:
        read(text)
    return str(error.value)


def test_a_price_list_is_taken_as_written(read):
    assert read(LIST) == Prices(6.5, 80.0, 45.0, "EUR")


def test_resin_may_have_a_price_per_grade(read):
    found = read(LIST.replace("6.50", "{standard mixed bed: 6.50, pale: 7}"))
    assert found.resin == {"standard mixed bed": 6.5, "pale": 7.0}


@pytest.mark.parametrize("name", ["currency", "resin", "call_back", "early_change"])
def test_no_price_is_assumed(read, name):
    without = "".join(line for line in LIST.splitlines(True) if not line.startswith(name))
    assert f"lacks '{name}'" in refusal(read, without)


@pytest.mark.parametrize("written", ["-1", "80 EUR", "nan", "inf", "", "[80]", "yes"])
def test_what_is_no_price_is_refused_with_its_line(read, written):
    told = refusal(read, LIST.replace("80", written))
    assert "prices.yaml:3:" in told
    assert "call_back" in told


def test_a_misspelt_key_is_named_with_the_one_that_was_meant(read):
    told = refusal(read, LIST + "call_backs: 80\n")
    assert "'call_backs' is not a key of a price list" in told
    assert "did you mean 'call_back'?" in told


def test_a_price_of_a_grade_that_is_none_is_refused(read):
    told = refusal(read, LIST.replace("6.50", "{pale: cheap}"))
    assert "prices.yaml:2:" in told
    assert "a price is a number" in told


def test_a_list_instead_of_a_mapping_is_refused(read):
    assert refusal(read, "- 1\n")


def test_a_file_that_is_not_there_is_said_so(tmp_path):
    with pytest.raises(IntakeError, match=r"nowhere\.yaml: cannot be read"):
        read_prices(tmp_path / "nowhere.yaml")


def test_a_currency_is_short(read):
    assert "no currency" in refusal(read, LIST.replace("EUR", "a very long name indeed"))
