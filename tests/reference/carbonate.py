"""Makes carbonate.csv: what a general geochemical program says of 200 invented waters.

The Rust solver in src/water/carbonate.rs is compared with this table by tests/water/carbonate.rs. The table is
kept in the repository, so the tests need no Python; run this only to make it anew:

    python3 -m venv /some/folder/outside/the/repository
    /some/folder/outside/the/repository/bin/pip install phreeqpython==1.6.2
    /some/folder/outside/the/repository/bin/python tests/reference/carbonate.py > tests/reference/carbonate.csv

Reference: PHREEQC (US Geological Survey) as packed in phreeqpython 1.6.2, with its database phreeqc.dat. Newer
databases changed the calcite constant slightly, so the version is pinned.

Waters: invented, seeded, electrically neutral (sodium closes the balance), from demineralised to very hard and from
softened to saline. Columns: pH at 25 C; mg/L of the ions, alkalinity as CaCO3, silica as SiO2; conductivity at 25 C
in microsiemens/cm; then for each temperature the pH and the calcite saturation index, closed (nothing lost on heating)
and vented (in equilibrium with air, log10 of the CO2 pressure in atm -3.4); last the CaCO3 (mg/L) that falls out at
80 C until the index is 0, closed and vented.
"""

import math
import random
import sys

from phreeqpython import PhreeqPython

SEED = 20351
WATERS = 200
TEMPERATURES = (5, 25, 60, 80)
LOG_CO2 = -3.4
MEQ = {"ca": 20.039, "mg": 12.1525, "na": 22.98977, "k": 39.0983, "cl": 35.453, "so4": 48.0288, "alk": 50.0446}


def log_uniform(rng, low, high):
    return math.exp(rng.uniform(math.log(low), math.log(high)))


def draw(rng):
    """One neutral water, or None when sodium cannot close the balance."""
    kind = rng.choice(["soft", "well", "well", "hard", "softened", "saline", "alkaline"])
    hardness = {
        "soft": lambda: log_uniform(rng, 2, 80),
        "well": lambda: rng.uniform(60, 300),
        "hard": lambda: rng.uniform(250, 650),
        "softened": lambda: log_uniform(rng, 1, 20),
        "saline": lambda: rng.uniform(80, 400),
        "alkaline": lambda: log_uniform(rng, 5, 200),
    }[kind]()
    share = rng.uniform(0.5, 0.9)
    alkalinity = rng.uniform(0.3, 1.3) * hardness if kind in ("soft", "well", "hard") else rng.uniform(30, 400)
    alkalinity = min(max(alkalinity, 5.0), 450.0)
    top = 350 if kind == "saline" else 60
    ph = rng.uniform(8.3, 9.5) if kind == "alkaline" else rng.uniform(6.2, 8.4)
    water = {
        "ph": round(ph, 2),
        "ca": round(hardness * share / 2.4973, 2),
        "mg": round(hardness * (1 - share) / 4.1179, 2),
        "k": round(rng.uniform(0.1, 6.0), 2),
        "alk": round(alkalinity, 1),
        "cl": round(log_uniform(rng, 1, top), 1),
        "so4": round(log_uniform(rng, 1, 1.2 * top + 0.4 * hardness), 1),
        "sio2": round(rng.uniform(1, 20), 1),
    }
    short = sum(water[a] / MEQ[a] for a in ("alk", "cl", "so4")) - sum(water[c] / MEQ[c] for c in ("ca", "mg", "k"))
    # A high pH without some alkalinity behind it cannot be.
    if short < 0 or (ph > 9 and alkalinity < 15):
        return None
    water["na"] = round(short * MEQ["na"], 3)
    return water


def solution(pp, water):
    return pp.add_solution({
        "units": "mg/L", "temp": 25, "density": 1.0, "pH": water["ph"],
        "Ca": water["ca"], "Mg": water["mg"], "Na": water["na"], "K": water["k"],
        "Alkalinity": f"{water['alk']} as CaCO3", "Cl": water["cl"], "S(6)": f"{water['so4']} as SO4",
        "Si": f"{water['sio2']} as SiO2",
    })


def row(pp, number, water):
    raw = solution(pp, water)
    cells = [f"R{number:03}", *(water[name] for name in ("ph", "ca", "mg", "na", "k", "alk", "cl", "so4", "sio2"))]
    cells.append(f"{raw.sc:.1f}")
    out = {}
    for t in TEMPERATURES:
        closed = raw.copy()
        closed.change_temperature(t)
        vented = closed.copy()
        vented.equalize(["CO2(g)"], [LOG_CO2])
        cells += [f"{closed.pH:.3f}", f"{closed.si('Calcite'):.3f}", f"{vented.pH:.3f}", f"{vented.si('Calcite'):.3f}"]
        if t == 80:
            out = {"closed": (closed, False), "vented": (vented, True)}
    for made, (sol, airy) in out.items():
        lost = 0.0
        if sol.si("Calcite") > 0:
            before = sol.total_element("Ca", "mmol")
            after = sol.copy()
            if airy:
                after.equalize(["Calcite", "CO2(g)"], [0, LOG_CO2], [0, 10])
            else:
                after.equalize(["Calcite"], [0], [0])
            lost = (before - after.total_element("Ca", "mmol")) * 100.0869
        cells.append(f"{lost:.2f}")
    return cells


def main():
    rng = random.Random(SEED)
    pp = PhreeqPython()
    head = ["id", "ph", "ca", "mg", "na", "k", "alk", "cl", "so4", "sio2", "ec"]
    for t in TEMPERATURES:
        head += [f"ph{t}", f"si{t}", f"ph{t}_vented", f"si{t}_vented"]
    print(",".join([*head, "ccpp80", "ccpp80_vented"]))
    made = 0
    while made < WATERS:
        water = draw(rng)
        if water is None:
            continue
        made += 1
        print(",".join(str(cell) for cell in row(pp, made, water)))


if __name__ == "__main__":
    sys.exit(main())
