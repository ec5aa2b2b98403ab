"""Writes antifreeze.csv: properties of glycol and water by CoolProp.

    python3 -m venv "$VENV" && "$VENV"/bin/pip install CoolProp==8.0.0
    "$VENV"/bin/python tests/reference/antifreeze.py > tests/reference/antifreeze.csv

With `--table` it prints the rows of src/water/antifreeze/grid.rs instead. The incompressible mixtures MPG and MEG
(by mass; Melinder, Properties of Secondary Working Fluids, IIR 2010) and APG and AEG (by volume; fits to the ASHRAE
tables) are public data of that library. The points in the file lie between those of the table wherever they can.
"""

import sys

import CoolProp
from CoolProp.CoolProp import PropsSI

assert CoolProp.__version__ == "8.0.0", CoolProp.__version__
BY_MASS = {"propylene": "MPG", "ethylene": "MEG"}
BY_VOLUME = {"propylene": "APG", "ethylene": "AEG"}


def fluid(name, percent):
    return f"INCOMP::{name}[{percent / 100}]"


def freezing(name, percent):
    return PropsSI("T_freeze", "T", 320, "P", 3e5, fluid(name, percent)) - 273.15


def at(what, name, percent, celsius):
    return PropsSI(what, "T", celsius + 273.15, "P", 3e5, fluid(name, percent))


def reference():
    print("glycol,basis,percent,celsius,freezing_c,density_kg_m3,heat_j_kg_k,viscosity_mpa_s")
    for glycol, name in BY_MASS.items():
        for percent in [0, 5, 7, 12, 18, 22, 25, 28, 33, 37, 40, 43, 48, 50, 53, 57, 60]:
            for celsius in [20, 25, 35, 40, 47, 55, 60, 65, 74, 80]:
                row = (at("D", name, percent, celsius), at("C", name, percent, celsius), 1000 * at("V", name, percent, celsius))
                print(f"{glycol},mass,{percent},{celsius},{freezing(name, percent):.3f},{row[0]:.2f},{row[1]:.1f},{row[2]:.4f}")
    for glycol, name in BY_VOLUME.items():
        for percent in [10, 13, 17, 20, 22, 27, 30, 33, 38, 40, 44, 47, 50, 53, 57, 60]:
            for celsius in [20, 25, 40, 47, 60, 74, 80]:
                row = (at("D", name, percent, celsius), at("C", name, percent, celsius))
                print(f"{glycol},volume,{percent},{celsius},{freezing(name, percent):.3f},{row[0]:.2f},{row[1]:.1f},")


def table():
    for glycol in BY_MASS:
        by_mass = [freezing(BY_MASS[glycol], p) for p in range(0, 61, 5)]
        by_volume = [freezing(BY_VOLUME[glycol], p) for p in range(10, 61, 5)]
        print(glycol, "freezing by mass", ", ".join(f"{c:.2f}" for c in by_mass))
        print(glycol, "freezing by volume", ", ".join(f"{c:.2f}" for c in by_volume))
        for names, what, times, digits in [
            (BY_MASS, "D", 1, 1), (BY_MASS, "C", 1, 0), (BY_MASS, "V", 1000, 4), (BY_VOLUME, "D", 1, 1), (BY_VOLUME, "C", 1, 0)
        ]:
            for percent in range(0, 61, 10):
                name = names[glycol] if percent else BY_MASS[glycol]
                row = [times * at(what, name, percent, t) for t in range(20, 81, 10)]
                print("[" + ", ".join(f"{value:.{digits}f}" for value in row) + "],")


table() if "--table" in sys.argv else reference()
