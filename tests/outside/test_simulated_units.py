"""Units that the program draws itself have the spread that the outside draws have."""

import numpy as np
import pytest
from scipy import stats

import healthy
import meters
import profiles
import program
import readings
from sheet_reader import read_sheet
from values import number

# Invented: a divider, a diode, a germanium transistor as an ohmmeter sees them.
SHEET = """sheet DRAWN {
    net G role=ground
    resistor R1 "10k" A G style=composition
    resistor R2 "2k2" A B style=film
    diode D1 silicon-signal anode=B cathode=G
    npn Q1 germanium-signal c=A b=C e=G
    resistor R3 "470R" C B tolerance="10%" drift="0%"
    potentiometer RV1 "5k" a=B wiper=W b=G
}
"""
PAIRS = [("ohms", "A", "G"), ("ohms", "W", "G"), ("diode", "B", "G"), ("diode", "C", "G"), ("ohms", "G", "C")]
UNITS = 400 if program.FULL else 120


@pytest.fixture(scope="module")
def both():
    """Readings (pairs, units) drawn by the program, and by the outside rules."""
    drawn = [program.simulate(SHEET, PAIRS, seed, profiles.DIGITAL) for seed in range(1, UNITS + 1)]
    theirs = np.array([[np.inf if row["value"] == "OL" else number(row["value"]) for row in rows] for rows in drawn]).T
    meter, sheet, rng = meters.read_meters(profiles.DIGITAL)[0], read_sheet(SHEET), np.random.default_rng(5)
    value, span = readings.expected(sheet, healthy.draw(sheet.parts, 2000, rng), "cold", meter, PAIRS)
    mine = np.array([meters.with_error(meter, pair[0], v, s, rng) for pair, v, s in zip(PAIRS, value, span)])
    return theirs, mine


@pytest.mark.parametrize("k", range(len(PAIRS)))
def test_same_distribution(both, k):
    """Two-sample Kolmogorov-Smirnov test on each pair; fixed seeds, so it either holds or not."""
    theirs, mine = both
    assert len(np.unique(theirs[k])) > UNITS / 2
    assert stats.ks_2samp(theirs[k], mine[k]).pvalue > 1e-3


def test_the_seed_decides():
    """One seed, one unit; another seed, another unit."""
    first, again, other = (program.simulate(SHEET, PAIRS, seed, profiles.DIGITAL) for seed in (7, 7, 8))
    assert first == again
    assert [r["value"] for r in first] != [r["value"] for r in other]
