"""What leaks from a bed and how it reads, against an independent program for water."""

import pytest

from qa_engine.water import ACID_CONDUCTANCE, CAUSTIC_CONDUCTANCE, acid_over_salt


@pytest.mark.parametrize(
    ("solution", "expected"),
    [
        ({"pH": 2.71, "Cl": "2 charge"}, ACID_CONDUCTANCE),
        ({"pH": 11.28, "Na": "2 charge"}, CAUSTIC_CONDUCTANCE),
    ],
)
def test_acid_and_caustic_soda_of_2_milliequivalents_conduct_so_much(phreeqc, solution, expected):
    water = phreeqc.add_solution({"units": "mmol/l", "temp": 25} | solution)
    meq_l = max(water.total_element(element, "mmol") for element in ("Cl", "Na"))
    assert meq_l == pytest.approx(2.0, rel=0.05)
    assert water.sc / meq_l == pytest.approx(expected, rel=0.02)
    water.forget()


def test_acid_reads_some_threefold_of_the_salt_it_came_in_as(phreeqc):
    acid = phreeqc.add_solution({"units": "mmol/l", "temp": 25, "pH": 2.71, "Cl": "2 charge"})
    chloride = acid.total_element("Cl", "mmol")
    salt = phreeqc.add_solution({"units": "mmol/l", "temp": 25, "Na": chloride, "Cl": chloride})
    assert acid_over_salt(250.0, 0.0) == pytest.approx(acid.sc / salt.sc, rel=0.02)
    acid.forget()
    salt.forget()
