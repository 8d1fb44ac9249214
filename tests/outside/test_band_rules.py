"""Each rule of what healthy means, alone: bands in closed form (normal and lognormal quantiles)."""

import math

import pytest

import device_classes
import program

Z = 1.959964   # 97.5 % quantile of the normal distribution (any table)

# A meter without error of its own to speak of, for the spread of the parts; and one for its own error.
EXACT = """meter exact { ohms { range "20M" amps=1e-7 limit=5.0 accuracy="0.0001%" floor="0" }
    diode amps=1e-3 limit=5.0 accuracy="0.0001%" floor="0"; volts ohms="1e12" accuracy="0.0001%" floor="0" }
"""
ROUGH = """meter rough { ohms { range "2k" amps=1e-3 limit=5.0 accuracy="2%" floor="3R" }
    diode amps=1e-3 limit=5.0 accuracy="2%" floor="5m"; volts ohms="1e12" accuracy="3%" floor="10m" }
"""
COIL = 'meter coil { ohms { range x100 source="1k5" open=1.5 accuracy="5%" }; volts ohms-per-volt="20k" range=50 accuracy="3%" }\n'
CERTAIN = 'tolerance="0.0001%" drift="0%"'


def band(lines, kind="ohms", meter=EXACT, state="cold"):
    text = "sheet RULE {\n    net G role=ground\n    " + "\n    ".join(lines) + "\n}\n"
    row, = program.expect(text, state, [(kind, "A", "G")], meter)
    return row["low"], row["high"]


def check(found, mean, deviation):
    """The central 95 % of a normal distribution, to a thirtieth of its width."""
    assert found == pytest.approx((mean - Z * deviation, mean + Z * deviation), abs=2 * Z * deviation / 30)


@pytest.mark.parametrize("words, mean, tolerance, drift", [
    ('tolerance="10%" drift="0%"', 1e3, 0.10, 0.0), ("style=film", 1e3, 0.05, 0.02), ("style=wirewound", 1e3, 0.05, 0.02),
    ("style=composition", 1.05e3, 0.10, 0.05), ('style=composition drift="0%"', 1e3, 0.10, 0.0),
    ('style=film drift="+10%"', 1.1e3, 0.05, 0.10), ('style=film tolerance="1%" drift="10%"', 1e3, 0.01, 0.10),
    ('style=film tolerance="1%" drift="-10%"', 0.9e3, 0.01, 0.10)])
def test_tolerance_and_drift_of_a_resistor(words, mean, tolerance, drift):
    check(band([f'resistor R1 "1k" A G {words}']), mean, 1e3 * math.hypot(tolerance, drift) / 2)


def test_composition_from_ten_kilohms_on_drifts_by_ten_per_cent():
    check(band(['resistor R1 "10k" A G style=composition']), 11e3, 10e3 * math.hypot(0.10, 0.10) / 2)
    check(band(['resistor R1 "9k1" A G style=composition']), 9.1e3 * 1.05, 9.1e3 * math.hypot(0.10, 0.05) / 2)


def test_tolerances_are_independent_of_each_other():
    check(band([f'resistor R{k} "1k" {a} {b} tolerance="10%" drift="0%"' for k, a, b in ((1, "A", "B"), (2, "B", "C"), (3, "C", "G"))]),
          3e3, 1e3 * 0.05 * math.sqrt(3))


def test_tolerance_on_an_inductor_and_a_winding_is_its_ohms():
    check(band(['inductor L1 "10m" A G ohms=100 tolerance="8%" drift="0%"']), 100, 4)
    check(band(['inductor L1 "10m" A G ohms=100 drift="0%"']), 100, 5)
    check(band(["transformer T1 { winding primary A G volts=12 ohms=100 }"]), 100, 100 * math.hypot(0.10, 0.02) / 2)


def test_a_potentiometer_without_setting_is_uniform():
    low, high = band([f'potentiometer RV1 "10k" a=A wiper=G b=X {CERTAIN}'])
    assert (low, high) == pytest.approx((250, 9750), abs=200)


def test_tolerance_on_a_potentiometer_is_its_whole_track():
    check(band(['potentiometer RV1 "10k" a=A wiper=W b=G setting=0.4 tolerance="20%" drift="0%"']), 10e3, 1e3)
    check(band(['potentiometer RV1 "10k" a=A wiper=G b=X setting=0.4 tolerance="20%" drift="0%"']), 4e3, 400)


def test_leak_is_fixed():
    low, high = band(['capacitor C1 "10u" A G tolerance="20%" leak="1M"'])
    assert (low, high) == pytest.approx((1e6, 1e6), rel=1e-4)


# V = n VT ln(I / is): a lognormal factor of `is` is a normal of the volts.
@pytest.mark.parametrize("part, n, factors", [
    ("diode D1 silicon-signal anode=A cathode=G is=1e-12", 1.0, (1.7, 1.1)),
    ("diode D1 germanium-signal anode=A cathode=G is=1e-8", 1.0, (3.0, 1.2)),
    ("diode D1 silicon-signal anode=A cathode=G is=1e-12 n=1.5 is-spread=2", 1.5, (2.0,)),
    ("npn Q1 silicon-signal c=A b=A e=G is=1e-14 bf=1e4", 1.0, (1.7, 1.1)),
    ("npn Q1 silicon-signal c=A b=A e=G is=1e-14 bf=1e4 is-spread=1.3", 1.0, (1.3,))])
def test_spread_of_saturation_currents(part, n, factors):
    found = band([part], "diode")
    middle = n * device_classes.VT_300 * math.log(1e-3 / float(part.split("is=")[1].split()[0]))
    check(found, middle, n * device_classes.VT_300 * math.hypot(*map(math.log, factors)))


def test_parts_of_one_type_share_their_lot_and_own_spreads_do_not():
    """Two diodes in series: lot factors add as they are, individual ones and own spreads in quadrature."""
    vt = device_classes.VT_300
    shared = [f"diode D{k} silicon-signal anode={a} cathode={b} is=1e-12" for k, a, b in ((1, "A", "M"), (2, "M", "G"))]
    middle = 2 * vt * math.log(1e9)
    check(band(shared, "diode"), middle, vt * math.hypot(2 * math.log(1.7), math.sqrt(2) * math.log(1.1)))
    own = [line + " is-spread=2" for line in shared]
    check(band(own, "diode"), middle, vt * math.sqrt(2) * math.log(2))
    other = [shared[0], shared[1].replace("silicon-signal", "silicon-rectifier")]
    check(band(other, "diode"), middle, vt * math.sqrt(2) * math.hypot(math.log(1.7), math.log(1.1)))


# Base current 1 uA into the base, collector to 12 V through 1k: 1k x bf x 1 uA across it.
def test_spread_of_gain():
    stage = ["supply V1 volts=12 plus=P minus=A2", f'resistor RC "1k" P A {CERTAIN}', "supply V2 volts=1000 plus=X minus=G",
             f'resistor RB "1e9" X B {CERTAIN}', "load L9 A2 G ohms=1e-3"]
    for words, factors in (("bf=100 bf-spread=1.2", (1.2,)), ("bf=100", (1.5, 1.1))):
        low, high = band([*stage, f"npn Q1 silicon-signal c=A b=B e=G is=1e-14 {words}"], "volts", state="powered")
        deviation = math.hypot(*map(math.log, factors))
        drops = [(12 - low) / 1e3 / 0.99934e-6, (12 - high) / 1e3 / 0.99934e-6]
        assert drops == pytest.approx([100 * math.exp(Z * deviation), 100 * math.exp(-Z * deviation)], rel=0.08)


def test_spread_of_reverse_gain_only_where_written():
    """Base and collector tied to the lead, emitter to ground the other way round: br decides the volts."""
    vt, lines = device_classes.VT_300, ["npn Q1 silicon-signal c=G b=A e=X is=1e-14 bf=100 br=1 is-spread=1.0001 bf-spread=1.0001"]
    low, high = band(lines, "diode")
    assert high - low < 2e-4
    low, high = band([lines[0] + " br-spread=2"], "diode")
    assert high - low > vt * math.log(2)


def test_zener_volts():
    lines = ["supply V1 volts=20 plus=P minus=G", f'resistor R1 "2k8" P A {CERTAIN}', 'zener D1 "6.0" anode=G cathode=A drift="0%"']
    check(band(lines, "volts", state="powered"), 6.0, 0.15)


def test_error_of_the_meter():
    """SD = (accuracy x reading + floor) / 2, once a reading."""
    check(band([f'resistor R1 "1k" A G {CERTAIN}'], meter=ROUGH), 1e3, (20 + 3) / 2)
    check(band(["supply V1 volts=5 plus=A minus=G"], "volts", ROUGH, "powered"), 5.0, (0.15 + 0.01) / 2)


def test_error_of_a_moving_coil_is_in_arc():
    """Mid-scale, R = source: arc 0.5 +- 1.96 x 2.5 %, so R = source (1 - d) / d."""
    low, high = band([f'resistor R1 "1k5" A G {CERTAIN}'], meter=COIL)
    ends = sorted(1500 * (1 - d) / d for d in (0.5 - Z * 0.025, 0.5 + Z * 0.025))
    assert (low, high) == pytest.approx(ends, abs=(ends[1] - ends[0]) / 30)
