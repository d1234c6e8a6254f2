"""The ions and weak acids of fresh water: charge, molar mass, how well they conduct.

Sources: molar masses from the abridged standard atomic weights (T. Prohaska et al., Pure Appl.
Chem. 94 (2022) 573-600, doi:10.1515/pac-2019-0603). Conductances at infinite dilution and 25 degC
as customarily tabulated (CRC Handbook of Chemistry and Physics), not read in that edition: the
conductivities computed from them are held against independent tables and an independent program
in the tests.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Ion:
    """One dissolved kind of particle.

    Attributes:
        name: its formula.
        equivalents: equivalents per mole that an exchange resin takes up [eq/mol]. For ions the
            charge; for carbon dioxide and silica one, as a strong-base resin takes them as
            bicarbonate and bisilicate.
        g_per_mol: molar mass [g/mol].
        conductance: equivalent conductance at infinite dilution, 25 degC [S cm2/eq]; 0 for the
            weak acids, which hardly conduct.
    """

    name: str
    equivalents: int
    g_per_mol: float
    conductance: float


HYDROGEN = Ion("H", 1, 1.008, 349.65)
CALCIUM = Ion("Ca", 2, 40.078, 59.47)
MAGNESIUM = Ion("Mg", 2, 24.305, 53.0)
SODIUM = Ion("Na", 1, 22.990, 50.08)
POTASSIUM = Ion("K", 1, 39.098, 73.48)
CHLORIDE = Ion("Cl", 1, 35.45, 76.31)
SULPHATE = Ion("SO4", 2, 96.056, 80.0)
NITRATE = Ion("NO3", 1, 62.004, 71.42)
BICARBONATE = Ion("HCO3", 1, 61.016, 44.5)
HYDROXIDE = Ion("OH", 1, 17.007, 198.0)
CARBON_DIOXIDE = Ion("CO2", 1, 44.009, 0.0)
SILICA = Ion("SiO2", 1, 60.083, 0.0)
