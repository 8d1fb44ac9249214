"""Published and hand-worked values, asked of the program and of the outside solver alike."""

import math

import pytest

import device_classes
import meters
import program
import readings
from sheet_reader import read_sheet

# A voltmeter that loads nothing to speak of, and ohms by a current far below any junction.
IDEAL = """meter ideal {
    ohms { range "1M" amps=1e-6 limit=5.0 accuracy="0.1%" floor="0" }
    diode amps=1e-3 limit=5.0 accuracy="0.1%" floor="0"
    volts ohms="1e15" accuracy="0.1%" floor="0"
}
"""


def by_outside(text, state, pairs, faults):
    sheet = read_sheet(text)
    return list(readings.expected(sheet, sheet.parts, state, meters.read_meters(IDEAL)[0], pairs, faults)[0][:, 0])


def by_program(text, state, pairs, faults):
    return [program.number(row["expected"]) for row in program.expect(text, state, pairs, IDEAL, faults)]


@pytest.fixture(params=[by_outside, by_program], ids=["outside", "program"])
def ask(request):
    """Expected readings of a sheet by one of the two."""
    def asked(lines, state, pairs, faults=(), kelvin=None):
        warmth = f' temperature="{kelvin - 273.15!r}C"' if kelvin else ""
        text = f"sheet HAND{warmth} {{\n    net G role=ground\n    " + "\n    ".join(lines) + "\n}\n"
        return request.param(text, state, pairs, faults)
    return asked


# Exact form: Banwell and Jayakumar, Electronics Letters 36(4) 291-2, 2000, doi 10.1049/el:20000301;
# the figures computed from it at VT = 25.852 mV. Germanium-like: is = 1 uA.
@pytest.mark.parametrize("volts, ohms, sat, n, amps, drop", [
    (5, 1e3, 1e-14, 1, 4.307456367e-3, 0.692544), (5, 10e3, 1e-14, 1, 0.4366630072e-3, 0.633370),
    (5, 1e3, 2.52e-9, 1.752, 4.349536911e-3, 0.650463), (5, 1e3, 1e-6, 1, 4.780966162e-3, 0.219034),
    (0.5, 1e3, 1e-6, 1, 0.3485909438e-3, 0.151409)])
def test_diode_behind_a_resistor(ask, volts, ohms, sat, n, amps, drop):
    lines = [f"supply V1 volts={volts} plus=A minus=G", f"resistor R1 {ohms} A K",
             f"diode D1 silicon-signal anode=K cathode=G is={sat} n={n} rs=0"]
    across, below = ask(lines, "powered", [("volts", "A", "K"), ("volts", "K", "G")])
    assert across / ohms == pytest.approx(amps, rel=1e-7)
    assert below == pytest.approx(drop, abs=1e-6)


# The 2N2222 as a diode of the same paper (Boost's lambert_w example): is 25 fA, rs 0.3 ohm, 25 C. Its
# rounded constants make VT 25.667 mV, so the sheet is at the temperature that gives that here.
@pytest.mark.parametrize("volts, amps", [(0.6, 1.7738e-4), (0.7, 7.9160e-4), (0.8, 1.6074e-3)])
def test_diode_with_series_resistance(ask, volts, amps):
    kelvin = 0.025667 / device_classes.VT_300 * 300.0
    at_300 = 25e-15 / device_classes.saturation_factor("silicon", 1.0, kelvin)
    shown, = ask([f"supply V1 volts={volts} plus=A minus=G", "resistor R1 100 A K",
                  f"diode D1 silicon-signal anode=K cathode=G is={at_300!r} n=1 rs=0.3"],
                 "powered", [("volts", "A", "K")], kelvin=kelvin)
    assert shown / 100 == pytest.approx(amps, rel=1e-3)


# A textbook's supply of 5 V, 1k and a diode of 0.7 V at 1 mA: with 60 mV a decade, n VT = 60 mV / ln 10,
# exact 4.26222 mA, 0.73778 V (the textbook iterates to 4.262 mA and 0.738 V; from memory, recomputed);
# with 0.1 V a decade 4.23729 mA, 0.76271 V.
@pytest.mark.parametrize("decade, amps, drop", [(0.060, 4.26222e-3, 0.73778), (0.100, 4.23729e-3, 0.76271)])
def test_textbook_diode_by_decades(ask, decade, amps, drop):
    n = decade / math.log(10) / device_classes.VT_300
    sat = 1e-3 / math.expm1(0.7 / (n * device_classes.VT_300))
    lines = ["supply V1 volts=5 plus=A minus=G", "resistor R1 1e3 A K",
             f"diode D1 silicon-signal anode=K cathode=G is={sat!r} n={n!r} rs=0"]
    across, below = ask(lines, "powered", [("volts", "A", "K"), ("volts", "K", "G")])
    assert across / 1e3 == pytest.approx(amps, abs=6e-9)
    assert below == pytest.approx(drop, abs=6e-6)


# A public textbook exercise: 15 V, divider 100k and 50k, RC 5k, RE 3k, beta 100, VBE 0.7: IE 1.29128 mA,
# VB 4.5738, VC 8.6075 (recomputed). Here VBE is 0.7 V at that current by choice of `is`.
def test_textbook_bias(ask):
    sat = 1.27849e-3 / math.expm1(0.7 / device_classes.VT_300)
    lines = ["supply V1 volts=15 plus=P minus=G", "resistor R1 100e3 P B", "resistor R2 50e3 B G",
             "resistor RC 5e3 P C", "resistor RE 3e3 E G",
             f"npn Q1 silicon-signal c=C b=B e=E is={sat!r} bf=100"]
    base, emitter, collector = ask(lines, "powered", [("volts", "B", "G"), ("volts", "E", "G"), ("volts", "C", "G")])
    assert base == pytest.approx(4.5738, abs=2e-4)
    assert emitter / 3e3 == pytest.approx(1.29128e-3, abs=1e-8)
    assert collector == pytest.approx(8.6075, abs=2e-4)


# 22 V, 39k and 3.9k, 10k, 1.5k (from memory): beta 100 gives IC 0.838 mA, beta 140 gives 0.846 mA, VBE 0.7.
@pytest.mark.parametrize("beta, amps", [(100, 0.838e-3), (140, 0.846e-3)])
def test_textbook_bias_hardly_depends_on_gain(ask, beta, amps):
    sat = amps / math.expm1(0.7 / device_classes.VT_300)
    lines = ["supply V1 volts=22 plus=P minus=G", "resistor R1 39e3 P B", "resistor R2 3.9e3 B G",
             "resistor RC 10e3 P C", "resistor RE 1.5e3 E G",
             f"npn Q1 silicon-signal c=C b=B e=E is={sat!r} bf={beta}"]
    across, = ask(lines, "powered", [("volts", "P", "C")])
    assert across / 10e3 == pytest.approx(amps, abs=0.6e-6)


# Transport model (from memory, recomputed): is 1e-16, bF 50, VBE 0.75, VT 25 mV: IC 1.0686 mA, IB 21.37 uA,
# IE 1.0900 mA. VT is 25 mV at 290.11 K; `is` there is made 1e-16 by the sheet's temperature law.
def test_transport_model(ask):
    kelvin = 0.025 / device_classes.VT_300 * 300.0
    sat = 1e-16 / device_classes.saturation_factor("silicon", 1.0, kelvin)
    lines = ["supply V1 volts=0.75 plus=B minus=G", "supply V2 volts=5 plus=P minus=G", "resistor RC 10 P C",
             "resistor RB 1 B B2", f"npn Q1 silicon-signal c=C b=B2 e=G is={sat!r} bf=50"]
    collector, base = ask(lines, "powered", [("volts", "P", "C"), ("volts", "B", "B2")], kelvin=kelvin)
    assert collector / 10 == pytest.approx(1.0686e-3, rel=1.2e-3)
    assert base == pytest.approx(21.37e-6, rel=1.2e-3)
    assert collector / 10 + base == pytest.approx(1.0900e-3, rel=1.2e-3)


# A divider, loaded by the meter: a 10 Mohm voltmeter at 1 Mohm of source reads 9.1 % low (computed).
def test_dividers_and_loading():
    lines = ["net G role=ground", "supply V1 volts=10 plus=P minus=G", "resistor R1 2e6 P M", "resistor R2 2e6 M G"]
    text = "sheet HAND {\n" + "\n".join(lines) + "\n}\n"
    meter = IDEAL.replace("1e15", "10M")
    shown = program.number(program.expect(text, "powered", [("volts", "M", "G")], meter)[0]["expected"])
    assert shown == pytest.approx(5.0 * 10 / 11, rel=1e-9)
    assert 1 - shown / 5.0 == pytest.approx(0.091, abs=1e-3)


# Triangle R12 = 10k, R23 = 20k, R13 = 30k: 8.3333k, 13.3333k, 15.0000k between its corners.
def test_resistor_triangle(ask):
    shown = ask(["resistor R12 10e3 N1 N2", "resistor R23 20e3 N2 N3", "resistor R13 30e3 N1 N3"], "cold",
                [("ohms", "N1", "N2"), ("ohms", "N2", "N3"), ("ohms", "N1", "N3")])
    assert shown == pytest.approx([8333.333333, 13333.333333, 15000.0], rel=1e-9)


# Guarding: without a guard, R2 with R3 + R4 around it reads R2 (R3 + R4) / (R2 + R3 + R4).
def test_unguarded_resistor(ask):
    r2, r3, r4 = 4.7e3, 1e3, 2.2e3
    shown = ask([f"resistor R2 {r2} A B", f"resistor R3 {r3} A C", f"resistor R4 {r4} C B"], "cold", [("ohms", "A", "B")])
    assert shown == pytest.approx([r2 * (r3 + r4) / (r2 + r3 + r4)], rel=1e-9)


# Lamp rerating rule, I as V^0.55 (trade practice; IES handbook graphs); cold = hot / 12 by formats.md.
def test_lamp_cold_rated_and_at_half_voltage(ask):
    lamp = "lamp B1 A G volts=12 amps=0.08"
    cold, = ask([lamp], "cold", [("ohms", "A", "G")])
    assert cold == pytest.approx(12 / 0.08 / 12, rel=1e-3)
    rated, = ask(["supply V1 volts=13 plus=P minus=G", "resistor R1 12.5 P A", lamp], "powered", [("volts", "P", "A")])
    assert rated / 12.5 == pytest.approx(0.08, rel=1e-3)
    half, = ask(["supply V1 volts=6.001 plus=P minus=G", "resistor R1 0.02 P A", lamp], "powered", [("volts", "P", "A")])
    assert half / 0.02 == pytest.approx(0.08 * 0.5**0.55, rel=0.08)
