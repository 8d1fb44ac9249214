"""Conditions of a reading that change what is solved: leads lifted, pins as places, meters, warmth."""

import math
import subprocess

import pytest

import device_classes
import meters
import profiles
import program
import readings
from sheet_reader import read_sheet

# Invented.
SHEET = """sheet CONDITIONS {
    net G role=ground
    net VCC role=rail
    point TP1 net=B access=easy
    supply V1 volts=12 plus=VCC minus=G ohms=0.5
    resistor R1 "22k" VCC B style=film
    resistor R2 "4k7" B G style=film
    resistor R3 "2k2" VCC C style=film
    resistor R4 "470R" E G style=film
    npn Q1 silicon-signal c=C b=B e=E
    diode D1 germanium-signal anode=C cathode=D
    resistor R5 "10k" D G style=composition
    capacitor C1 "10u" plus=E minus=G style=electrolytic
}
"""
SHIPPED = {m.name: m for m in meters.read_meters(
    (device_classes.DEVICE_FILE.parent / "meters.kdl").read_text(encoding="utf-8"))}


def mine(state, pairs, meter, **conditions):
    sheet = read_sheet(SHEET)
    return [float(v) for v in readings.expected(sheet, sheet.parts, state, meter, pairs, **conditions)[0][:, 0]]


def theirs(rows):
    return [program.number(row["expected"]) for row in rows]


@pytest.mark.parametrize("pin", ["R3.2", "R2.1", "Q1.b", "Q1.c", "D1.anode", "R4.1"])
def test_a_lifted_lead_changes_the_circuit(pin):
    """The `lifted` column of a readings file, against a circuit rebuilt with that lead on a net of its own."""
    pairs = [("ohms", "C", "G"), ("ohms", "G", "B"), ("ohms", "E", "G"), ("diode", "B", "E"), ("diode", "C", "D")]
    rows = [{"unit": 1, "state": "cold", "kind": k, "red": r, "black": b, "value": "OL", "lifted": pin} for k, r, b in pairs]
    judged = program.judge(SHEET, rows, profiles.DIGITAL)
    meter = meters.read_meters(profiles.DIGITAL)[0]
    lifted = mine("cold", pairs, meter, lifted=[pin])
    assert lifted != mine("cold", pairs, meter)
    assert theirs(judged) == pytest.approx(lifted, rel=1e-6)


def test_points_and_pins_are_places():
    """A named point, a pin by its name and a pin by its number stand for their nets."""
    pairs = [("ohms", "TP1", "Q1.e"), ("diode", "Q1.b", "R4.1"), ("ohms", "D1.cathode", "R5.2")]
    same = [("ohms", "B", "E"), ("diode", "B", "E"), ("ohms", "D", "G")]
    shown = theirs(program.expect(SHEET, "cold", pairs, profiles.DIGITAL))
    assert shown == pytest.approx(mine("cold", same, meters.read_meters(profiles.DIGITAL)[0]), rel=1e-6)


def test_the_state_of_a_row_wins():
    """`state` in a pairs file overrides --state for that row."""
    rows = program.expect(SHEET, "powered", [("volts", "C", "G", "powered"), ("ohms", "C", "G", "cold")], profiles.DIGITAL)
    meter = meters.read_meters(profiles.DIGITAL)[0]
    assert theirs(rows) == pytest.approx(mine("powered", [("volts", "C", "G")], meter) + mine("cold", [("ohms", "C", "G")], meter),
                                         rel=1e-6)


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_shipped_meters_read_as_their_file_says(name):
    """Each profile of the project's meter file, by name; bench-digital also when no meter is named."""
    kinds = ["ohms"] + ["diode"] * (SHIPPED[name].diode is not None)
    pairs = [(kind, *ends) for kind in kinds for ends in (("C", "G"), ("G", "C"), ("B", "E"), ("E", "B"), ("D", "VCC"), ("G", "E"))]
    expected = mine("cold", pairs, SHIPPED[name])
    assert theirs(program.expect(SHEET, "cold", pairs, meter_name=name)) == pytest.approx(expected, rel=1e-6)
    if name == "bench-digital":
        assert theirs(program.expect(SHEET, "cold", pairs)) == pytest.approx(expected, rel=1e-6)


def test_a_meter_column_names_the_profile():
    """The column of a readings file comes before --meter."""
    rows = [{"unit": 1, "state": "cold", "kind": "ohms", "red": "C", "black": "G", "value": "1k", "meter": "moving-coil"}]
    shown, = theirs(program.judge(SHEET, rows, profiles.DIGITAL))
    coil, = mine("cold", [("ohms", "C", "G")], SHIPPED["moving-coil"])
    assert shown == pytest.approx(coil, rel=1e-6)
    assert not math.isclose(coil, mine("cold", [("ohms", "C", "G")], meters.read_meters(profiles.DIGITAL)[0])[0], rel_tol=1e-3)


@pytest.mark.parametrize("celsius", ["-10C", "25C", "50C"])
def test_warmth_moves_junctions(celsius):
    """`temperature` on the sheet: `is` as T^(3/n) exp(-Eg/(n k T)), VT in proportion to T, both materials."""
    text = SHEET.replace("sheet CONDITIONS {", f'sheet CONDITIONS temperature="{celsius}" {{')
    pairs = [("diode", "B", "E"), ("diode", "C", "D"), ("ohms", "C", "D"), ("diode", "B", "C")]
    sheet, meter = read_sheet(text), meters.read_meters(profiles.DIGITAL)[0]
    warm = [float(v) for v in readings.expected(sheet, sheet.parts, "cold", meter, pairs)[0][:, 0]]
    assert theirs(program.expect(text, "cold", pairs, profiles.DIGITAL)) == pytest.approx(warm, rel=1e-6)


# Closed form of the stated law at constant current: dV/dT = (V - Eg/q - 3 VT) / T; "about -2 mV/K" is common practice.
def test_silicon_falls_two_millivolts_a_kelvin():
    volts = []
    for kelvin in (299, 300, 301):
        text = f'sheet T temperature="{kelvin - 273.15:.2f}C" {{ net G role=ground; npn Q1 silicon-signal c=A b=A e=G }}'
        volts += theirs(program.expect(text, "cold", [("diode", "A", "G")], profiles.DIGITAL))
    slope = (volts[2] - volts[0]) / 2
    assert slope == pytest.approx((volts[1] - 1.11 - 3 * device_classes.VT_300) / 300, rel=5e-3)
    assert -2.3e-3 < slope < -1.7e-3


def test_unknown_names_are_refused_with_their_line():
    """Exit 2 for a net that the sheet has not, as the readings file's own fault."""
    with pytest.raises(program.Refused, match="exit 2"):
        program.expect(SHEET, "cold", [("ohms", "NOWHERE", "G")], profiles.DIGITAL)
    done = subprocess.run([str(program.BINARY), "board", "expect", "no-such-file.kdl", "--json"], capture_output=True, text=True)
    assert done.returncode == 2 and '"error"' in done.stdout
