"""An outside opinion on the chemistry: a general program for water with its own data."""

import phreeqpython
import pytest


@pytest.fixture(scope="session")
def phreeqc():
    """Return the program with the data set ``phreeqc.dat``."""
    return phreeqpython.PhreeqPython(database="phreeqc.dat")
