"""Writes oxygen.csv: oxygen in fresh water in balance with moist air of one atmosphere, mg/L, 0 to 90 C.

    python3 -m venv "$VENV" && "$VENV"/bin/pip install phreeqpython==1.6.2 gsw==3.6.20
    "$VENV"/bin/python tests/reference/oxygen.py > tests/reference/oxygen.csv

Two references that know nothing of each other: gsw (Garcia and Gordon 1992, the oceanographers' fit to Benson and Krause,
salinity 0, good from 0 to 40 C), and PHREEQC with its database phreeqc.dat (any temperature), told the pressure of oxygen
in air that is saturated with water vapour: 0.20946 (1 - p), p by the saturation line of IAPWS (Wagner and Pruss 1993).
"""

import math

import gsw
from phreeqpython import PhreeqPython

MOLAR = 31.9988


def vapour(celsius):
    """Saturation pressure of water in atm: Wagner and Pruss, J. Phys. Chem. Ref. Data 22 (1993) 783."""
    kelvin = celsius + 273.15
    v = 1 - kelvin / 647.096
    terms = (-7.85951783, 1), (1.84408259, 1.5), (-11.7866497, 3), (22.6807411, 3.5), (-15.9618719, 4), (1.80122502, 7.5)
    return 22.064e6 * math.exp(647.096 / kelvin * sum(a * v**n for a, n in terms)) / 101325


def by_phreeqc(celsius):
    water = PhreeqPython().add_solution({"temp": celsius, "pH": 7.0})
    water.change_temperature(celsius)
    pressure = 0.20946 * (1 - vapour(celsius))
    water.equalize(["O2(g)"], [math.log10(pressure)])
    return water.species["O2"] * MOLAR * 1000


def by_gsw(celsius):
    # umol/kg at one atmosphere of moist air; a litre of fresh water weighs rho grams.
    micromol = float(gsw.O2sol_SP_pt(0.0, celsius))
    return micromol * 1e-6 * MOLAR * 1000 * float(gsw.rho(0.0, gsw.CT_from_pt(0.0, celsius), 0.0)) / 1000


print("celsius,oceanographers_mg_l,phreeqc_mg_l")
for t in range(0, 91, 5):
    print(f"{t},{f'{by_gsw(t):.3f}' if t <= 40 else ''},{by_phreeqc(t):.3f}")
