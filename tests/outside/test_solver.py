"""The outside solver against closed forms, a second route, and Kirchhoff's current law."""

import numpy as np
import pytest
from scipy.special import lambertw

import faults
import meters
import network
import newton
import profiles
import readings
import settling
from random_sheets import random_board
from sheet_reader import read_sheet

METER = meters.read_meters(profiles.DIGITAL)[0]


def lead_volts(parts_sheet, parts, powered, red, black, amps, siemens=0.0):
    circuit = network.build(parts_sheet, parts, powered)
    ends = [np.array([circuit.nets[n]]) for n in (red, black)]
    return meters.volts_at_leads(circuit, np.zeros(1, int), *ends)(amps, siemens, np.inf)[0]


@pytest.mark.parametrize("volts, ohms, sat, n, rs", [(5, 1e3, 1e-14, 1, 0), (5, 1e4, 1e-14, 1, 0), (5, 1e3, 2.52e-9, 1.752, 0),
                                                     (5, 1e3, 1e-6, 1, 0), (0.5, 1e3, 1e-6, 1, 0), (0.8, 100, 25e-15, 1, 0.3)])
def test_a_diode_behind_a_resistor_is_the_closed_form(volts, ohms, sat, n, rs):
    """Banwell and Jayakumar, Electronics Letters 36(4) 291-2, 2000: the Lambert W solution."""
    sheet = read_sheet(f"sheet X {{ supply V1 volts={volts} plus=A minus=G ohms=0; resistor R1 {ohms} A K"
                       f"\n diode D1 silicon-signal anode=K cathode=G is={sat} n={n} rs={rs} }}")
    nvt, total = n * 0.025852, ohms + rs
    grown = sat * total / nvt * np.exp((volts + sat * total) / nvt)
    current = nvt / total * lambertw(grown).real - sat
    assert lead_volts(sheet, sheet.parts, True, "K", "G", 0.0) == pytest.approx(volts - ohms * current, abs=1e-9)


def test_a_floating_bridge_of_resistors_needs_no_ground():
    """Triangle 10k, 20k, 30k between its corners: series and parallel by hand."""
    sheet = read_sheet("sheet X { resistor R1 10e3 A B; resistor R2 20e3 B C; resistor R3 30e3 A C; resistor R4 1e3 P Q }")
    shown, _ = readings.expected(sheet, sheet.parts, "cold", METER,
                                 [("ohms", "A", "B"), ("ohms", "B", "C"), ("ohms", "A", "C"), ("ohms", "A", "P")])
    assert shown[:3, 0] == pytest.approx([1e4 * 5 / 6, 2e4 * 4 / 6, 3e4 * 3 / 6], rel=1e-12)
    assert np.isinf(shown[3, 0])


@pytest.mark.parametrize("number", range(100, 108))
@pytest.mark.parametrize("state", ["cold", "powered"])
def test_every_operating_point_balances_its_currents(number, state):
    """Kirchhoff's law to 1e-12 of the currents that meet, or a picoampere."""
    board = random_board(number)
    sheet = read_sheet(board.text())
    parts = faults.apply(sheet.parts, board.fault())
    circuit = network.build(sheet, parts, state == "powered")
    pairs = [(circuit.nets[a], circuit.nets["GND"]) for a in board.nets
             if a != "GND" and circuit.component[circuit.nets[a]] == circuit.component[circuit.nets["GND"]]]
    red, black = np.array(pairs).T
    one = np.ones(len(red))
    amps, siemens = (1e-4, 0.0) if state == "cold" else (0.0, 1e-7)
    probes = newton.Probes(np.zeros(len(red), int), red, black, amps * one, siemens * one, 3.0 * one if amps else np.inf * one)
    residual, size = newton.kirchhoff(circuit, probes, newton.solve(circuit, probes))
    assert (np.abs(residual) <= 1e-12 * size + 1e-8 * amps + 1e-12).all()


@pytest.mark.parametrize("number", range(200, 208))
def test_two_routes_agree(number):
    """Newton from rest and a circuit left to settle in time give the same volts at the leads."""
    board = random_board(number % 12 + 7 * 200)
    sheet = read_sheet(board.text())
    for part in sheet.parts:
        if part.kind == "potentiometer" and part.p["setting"] is None:
            part.p["setting"] = 0.5
    parts = [p for p in faults.apply(sheet.parts, board.fault()) if p.kind != "lamp"]
    rng = np.random.default_rng(number)
    circuit = network.build(sheet, parts, True)
    joined = [n for n in board.nets if circuit.component[circuit.nets[n]] == circuit.component[circuit.nets["GND"]]]
    red = str(rng.choice([n for n in joined if n != "GND"]))
    first = lead_volts(sheet, parts, True, red, "GND", 0.0, 1e-7)
    assert settling.settle(parts, "powered", red, "GND", 0.0, 1e-7) == pytest.approx(first, abs=2e-5)
    amps = float(rng.choice([1e-3, 1e-5]))
    cold = network.build(sheet, parts, False)
    if cold.component[cold.nets[red]] == cold.component[cold.nets["GND"]]:
        first = lead_volts(sheet, parts, False, red, "GND", amps, 1e-6)
        assert settling.settle(parts, "cold", red, "GND", amps, 1e-6) == pytest.approx(first, rel=1e-5, abs=2e-5)
