"""Temperature compensation, against standard solutions and an independent program.

KCl 0.01 mol/kg: CRC Handbook table after Wu, Koch & Pratt, J. Res. NIST 96 (1991) 191.
KCl 0.01 mol/L: US EPA Method 120.1 (1982), sec. 7. The two differ; a record must say which.
"""

import pytest

from qa_engine.water import conductivity_at_25

KCL_MOLAL_AT_25 = 1408.23  # C03
KCL_MOLAR_AT_25 = 1413.0  # C05


def test_c01_the_formula_itself():
    """100 / (1 + 0.02 (15 - 25)) = 100 / 0.8 = 125."""
    assert conductivity_at_25(100.0, 15.0, 0.02) == 125.0


def test_c02_kcl_read_at_20_degrees():
    """1273.03 / (1 - 5 x 0.0191) = 1273.03 / 0.9045 = 1407.4."""
    found = conductivity_at_25(1273.03, 20.0, 0.0191)
    assert found == pytest.approx(1407.4, abs=0.1)
    assert found == pytest.approx(KCL_MOLAL_AT_25, rel=1e-3)


@pytest.mark.parametrize(
    ("temperature", "measured", "coefficient"),
    [
        pytest.param(15.0, 1141.45, 0.018944, id="C07"),
        pytest.param(30.0, 1546.63, 0.019656, id="C08"),
    ],
)
def test_c03_effective_coefficient_of_kcl(temperature, measured, coefficient):
    """The value lies between what the coefficient gives 0.001 %/K to either side of it."""
    sides = conductivity_at_25(measured, temperature, [coefficient - 1e-5, coefficient + 1e-5])
    assert min(sides) < KCL_MOLAL_AT_25 < max(sides)
    assert conductivity_at_25(measured, temperature, coefficient) == pytest.approx(
        KCL_MOLAL_AT_25, abs=0.4
    )


@pytest.mark.parametrize(
    ("temperature", "measured"), [(21.0, 1305.0), (23.0, 1359.0), (26.0, 1441.0)]
)
def test_c05_c06_values_of_the_epa_method_come_back_to_1413(temperature, measured):
    """1305 / (1 - 4 x 0.0191) = 1412.9 and so on, each within 1 uS/cm of 1413."""
    found = conductivity_at_25(measured, temperature, 0.0191)
    assert found == pytest.approx(KCL_MOLAR_AT_25, abs=1.0)
    assert abs(found - KCL_MOLAL_AT_25) > 4.0


@pytest.mark.parametrize(
    ("temperature", "f25", "off_percent"),
    [
        (0, 1.979, 1.0),
        (5, 1.683, -1.0),
        (10, 1.452, -1.6),
        (15, 1.270, -1.5),
        (20, 1.122, -0.9),
        (30, 0.899, 1.1),
        (35, 0.814, 2.4),
    ],
)
def test_two_percent_rule_on_hard_water_is_off_by_what_is_stated(
    phreeqc, temperature, f25, off_percent
):
    """Ca(HCO3)2 of 200 mg/L as CaCO3 by phreeqc, recomputed here; never off by more than 2.5 %."""
    calcium = 200 / 100.0869
    hard = {"units": "mmol/l", "pH": 7.5, "temp": 25, "Ca": calcium, "Alkalinity": 2 * calcium}
    solution = phreeqc.add_solution(hard)
    at_25 = solution.sc
    measured = solution.change_temperature(temperature).sc
    solution.forget()
    assert at_25 / measured == pytest.approx(f25, rel=0.005)
    found = conductivity_at_25(measured, temperature)
    assert 100 * (found / at_25 - 1) == pytest.approx(off_percent, abs=0.5)
    assert found == pytest.approx(at_25, rel=0.025 + 0.005)
