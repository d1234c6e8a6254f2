"""Equivalents: what an analysis of water means to an exchange resin.

A strong-base anion resin takes up carbon dioxide and silica too, one equivalent per mole each,
though a conductivity meter hardly shows them. (Tables that count carbon dioxide twice, as if it
were carbonate, are not for such a resin.)
"""

import numpy as np
from numpy.typing import ArrayLike

from qa_engine.units import CACO3_G_PER_EQ
from qa_engine.water.inputs import Floats, not_negative, within
from qa_engine.water.ions import SILICA, Ion

PK1_CARBONIC_ACID = 6.352
"""First dissociation of carbonic acid at 25 degC, as in Plummer & Busenberg, Geochim. Cosmochim.
Acta 46 (1982) 1011; quoted without having read the digits there."""

LEAST_PH_WITH_BICARBONATE = 4.5
"""About where the titration of alkalinity ends: below it no bicarbonate is left."""

SATURATED_WITH_CO2_MOL_L = 10.0**-1.468
"""Carbon dioxide in water under 1 bar of it, 25 degC: Henry's constant as in phreeqc [mol/L]."""


def ion_eq_l(ion: Ion, mg_l: ArrayLike) -> Floats:
    """Return the equivalents of an ion or weak acid in a litre [eq/L].

    Args:
        ion: which one.
        mg_l: concentration as this ion, any shape [mg/L], >= 0.

    Raises:
        ModelInputError: a concentration is negative.
    """
    return not_negative("mg_l", mg_l) * ion.equivalents / ion.g_per_mol / 1000.0


def caco3_eq_l(mg_l_as_caco3: ArrayLike) -> Floats:
    """Return hardness or alkalinity stated as calcium carbonate in equivalents [eq/L].

    Args:
        mg_l_as_caco3: any shape [mg/L as CaCO3], >= 0.

    Raises:
        ModelInputError: a concentration is negative.
    """
    return not_negative("mg_l_as_caco3", mg_l_as_caco3) / CACO3_G_PER_EQ / 1000.0


def as_caco3_mg_l(eq_l: ArrayLike) -> Floats:
    """Return equivalents stated as calcium carbonate [mg/L as CaCO3]."""
    return not_negative("eq_l", eq_l) * CACO3_G_PER_EQ * 1000.0


def free_co2_mol_l(alkalinity_eq_l: ArrayLike, ph: ArrayLike) -> Floats:
    """Return the free carbon dioxide that goes with an alkalinity and a pH at 25 degC [mol/L].

    ``[CO2] = [HCO3-] 10^(pK1 - pH)``, all alkalinity counted as bicarbonate. NaN where the two
    contradict each other: alkalinity below pH 4.5, or more carbon dioxide than water holds under
    1 bar of it.

    Args:
        alkalinity_eq_l: any shape [eq/L], >= 0.
        ph: broadcast to it [1], 0 to 14.

    Raises:
        ModelInputError: an alkalinity is negative or a pH outside 0 to 14.
    """
    alkalinity = not_negative("alkalinity_eq_l", alkalinity_eq_l)
    acidity = within("ph", ph, low=0.0, high=14.0)
    co2 = alkalinity * 10.0 ** (PK1_CARBONIC_ACID - acidity)
    possible = (acidity >= LEAST_PH_WITH_BICARBONATE) & (co2 <= SATURATED_WITH_CO2_MOL_L)
    return np.where(possible, co2, np.nan)


def anion_load_eq_l(
    strong_anions_eq_l: ArrayLike,
    alkalinity_eq_l: ArrayLike,
    co2_mol_l: ArrayLike,
    silica_mg_l: ArrayLike,
) -> Floats:
    """Return all that a litre of water gives a strong-base anion resin to take up [eq/L].

    Args:
        strong_anions_eq_l: chloride, sulphate and nitrate together [eq/L], >= 0.
        alkalinity_eq_l: bicarbonate [eq/L], >= 0.
        co2_mol_l: free carbon dioxide, one equivalent per mole [mol/L], >= 0.
        silica_mg_l: one equivalent per mole [mg/L as SiO2], >= 0.

    Raises:
        ModelInputError: a concentration is negative.
    """
    strong = not_negative("strong_anions_eq_l", strong_anions_eq_l)
    weak = not_negative("alkalinity_eq_l", alkalinity_eq_l) + not_negative("co2_mol_l", co2_mol_l)
    return strong + weak + ion_eq_l(SILICA, silica_mg_l)
