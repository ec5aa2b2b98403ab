"""Writes degree_days.csv: heating degree-days of the months of two typical years, day by day and by their means alone.

    python3 -m venv "$VENV" && "$VENV"/bin/pip install pvlib==0.13.1 scipy==1.17.1
    "$VENV"/bin/python tests/reference/degree_days.py > tests/reference/degree_days.csv

The years are the typical meteorological years that pvlib carries for its own tests (US National Solar Radiation Data Base,
public domain): Greensboro NC and Sand Point AK. Columns: mean of the month and standard deviation of its daily means in C;
degree-days below 18.33 C summed day by day; and the expectation of a normal distribution with that mean and deviation, by
numerical integration (scipy), which is what a closed form has to give.
"""

import warnings
from pathlib import Path

import numpy as np
import pvlib
from scipy import integrate, stats

BASE = 18.33
DATA = Path(pvlib.__file__).parent / "data"
warnings.simplefilter("ignore")


def daily(station):
    table, _ = pvlib.iotools.read_tmy3(DATA / station, coerce_year=2001, map_variables=True)
    hours = table["temp_air"]
    # The last hour of a year counts to its last day.
    return hours.groupby((hours.index - np.timedelta64(1, "h")).date).mean()


def expected(mean, spread, days):
    value, _ = integrate.quad(lambda t: max(0.0, BASE - t) * stats.norm.pdf(t, mean, spread), mean - 12 * spread, BASE, limit=400)
    return days * value if mean - 12 * spread < BASE else 0.0


print("station,month,days,mean_c,spread_c,degree_days,expected")
for station, name in (("723170TYA.CSV", "Greensboro"), ("703165TY.csv", "Sand Point")):
    days = daily(station)
    for month in range(1, 13):
        of_month = days[[day.month == month for day in days.index]]
        mean, spread = round(float(of_month.mean()), 3), round(float(of_month.std()), 3)
        actual = float(np.maximum(0.0, BASE - of_month).sum())
        print(f"{name},{month},{len(of_month)},{mean},{spread},{actual:.2f},{expected(mean, spread, len(of_month)):.4f}")
