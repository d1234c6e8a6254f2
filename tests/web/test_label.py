"""The label of a tank: what it says, and what its code opens."""

import re

import pytest
import segno

from qa_engine.web.accounts import ROLES

OPENS = "http://localhost/log?tank=T07"


@pytest.fixture(scope="module")
def crew(site):
    return site.visitor("crew")


def modules_of(svg):
    """Return the dark modules that an SVG of a code draws: strokes one module high."""
    path = re.search(r'<path [^>]*stroke="#000"[^>]*d="([^"]*)"|d="([^"]*)"[^>]*stroke="#000"', svg)
    assert path
    dark, x, y = set(), 0.0, 0.0
    for letter, written in re.findall(r"([Mmh])([-0-9. ]+)", path[1] or path[2]):
        numbers = [float(one) for one in re.findall(r"-?[0-9.]+", written)]
        if letter == "h":
            dark |= {(int(x) + n, int(y)) for n in range(int(numbers[0]))}
            x += numbers[0]
        else:
            x = numbers[0] + (x if letter == "m" else 0)
            y = numbers[1] + (y if letter == "m" else 0)
    return dark


def test_the_code_is_that_of_the_address_of_the_tanks_log(crew):
    drawn = modules_of(crew.get("/tanks/T07/label.svg").text)
    matrix = segno.make(OPENS, error="q", micro=False).matrix
    # Four modules of quiet zone lie around it.
    meant = {
        (x + 4, y + 4) for y, row in enumerate(matrix) for x, module in enumerate(row) if module
    }
    assert drawn == meant


def test_the_address_on_the_label_opens_the_log_for_this_tank(crew):
    assert "<code>http://localhost/log?tank=T07</code>" in crew.get("/tanks/T07/label").text
    assert "Tank T07: what did you do?" in crew.get("/log?tank=T07").text


def test_the_code_of_another_tank_is_another(crew):
    one, other = (crew.get(f"/tanks/{tank}/label.svg").text for tank in ("T07", "T08"))
    assert modules_of(one) != modules_of(other)


def test_the_label_names_the_tank_its_van_and_base_and_warns_of_the_pressure(crew):
    label = crew.get("/tanks/T07/label").text.split('class="label"')[1].split("</main>")[0]
    words = " ".join(re.sub(r"<[^>]+>", " ", label).split())
    assert "T07" in words
    assert "van Freshet" in words
    assert "base " in words
    assert "Pressure vessel: can injure." in words
    assert "See the data plate: it decides." in words


def test_the_label_keeps_to_the_strict_policy(crew):
    for address in ("/tanks/T07/label", "/tanks/T07/label.svg"):
        found = crew.get(address).text
        assert "style=" not in found
        assert "<style" not in found


@pytest.mark.parametrize("address", ["/tanks/T99/label", "/tanks/T99/label.svg"])
def test_a_tank_that_nobody_named_has_no_label(crew, address):
    assert crew.get(address).status_code == 404


@pytest.mark.parametrize("role", ROLES)
def test_everybody_who_may_see_the_tank_may_print_its_label(site, role):
    assert site.visitor(role).get("/tanks/T07/label").status_code == 200


def test_nobody_else_may(site):
    assert site.visitor().get("/tanks/T07/label").status_code == 302
