"""How what leaks from a bed reads on a meter."""

import numpy as np
import pytest

from qa_engine.errors import ModelInputError
from qa_engine.water import (
    ACID_CONDUCTANCE,
    CAUSTIC_CONDUCTANCE,
    HYDROCHLORIC_ACID,
    SODIUM_CHLORIDE,
    SODIUM_HYDROXIDE,
    acid_over_salt,
    bicarbonate_share,
)


def test_acid_and_caustic_soda_conduct_better_than_salt():
    """At infinite dilution: (349.65 + 76.31)/(50.08 + 76.31) = 3.370; (50.08 + 198)/126.39."""
    salt = SODIUM_CHLORIDE.limiting_conductance
    assert HYDROCHLORIC_ACID.limiting_conductance / salt == pytest.approx(3.370, abs=5e-4)
    assert SODIUM_HYDROXIDE.limiting_conductance / salt == pytest.approx(1.963, abs=5e-4)


def test_conductances_at_2_milliequivalents():
    """425.96 - (60.20 + 0.229 x 425.96) sqrt 0.002 = 418.9; 248.08 - 117.01 sqrt 0.002 = 242.8."""
    assert pytest.approx(418.9, abs=0.05) == ACID_CONDUCTANCE
    assert pytest.approx(242.8, abs=0.05) == CAUSTIC_CONDUCTANCE


def test_bicarbonate_conducts_its_share():
    """100.087 mg/L is 2 meq/L, of some 96.4: 192.8 of 400 uS/cm."""
    assert bicarbonate_share(400.0, 100.087) == pytest.approx(0.482, abs=0.001)
    assert bicarbonate_share(400.0, 0.0) == 0
    assert bicarbonate_share(400.0, 5000.0) == 1
    # Not known, half of the equivalents: 96.4/(96.4 + 122.3).
    assert bicarbonate_share(400.0) == pytest.approx(0.441, abs=0.001)


def test_only_strong_acid_reads():
    """(1 - share) x 418.9/122.3."""
    assert acid_over_salt(400.0, 0.0) == pytest.approx(3.424, abs=0.002)
    assert acid_over_salt(400.0) == pytest.approx(1.915, abs=0.003)
    assert acid_over_salt(400.0, 5000.0) == 0
    assert np.isnan(acid_over_salt(np.nan, 0.0))


def test_water_that_does_not_conduct_is_refused():
    with pytest.raises(ModelInputError, match=r"conductivity_us_cm is 0\.0"):
        acid_over_salt(0.0)
