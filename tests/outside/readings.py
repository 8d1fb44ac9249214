"""From a sheet, a state, faults and pairs to readings: the whole outside prediction in one call."""

import numpy as np

import faults
import meters
import network


def place(sheet, parts, where):
    """The net that a lead touches: a net, a named point, or a pin such as `Q1.b` or `R3.1`."""
    if where in sheet.nets:
        return where
    if where in sheet.points:
        return sheet.points[where]
    ref, _, pin = where.rpartition(".")
    part = next(p for p in parts if p.name == ref)
    return part.pins[pin] if pin in part.pins else list(part.pins.values())[int(pin) - 1]


def expected(sheet, parts, state, meter, pairs, with_faults=(), lifted=(),
             knees=network.SHARP):
    """Error-free readings of each (kind, red, black) pair for each unit: arrays (pairs, units).

    Returns the values, `inf` for over range, and the meter's range that each came from.
    """
    ends = [(place(sheet, parts, red), place(sheet, parts, black)) for _, red, black in pairs]
    for fault in with_faults:
        parts = faults.apply(parts, fault)
    for pin in lifted:
        parts = faults.lift(parts, pin)
    circuit = network.build(sheet, parts, state == "powered", knees)
    units = _units(circuit)
    value = np.full((len(pairs), units), np.inf)
    chosen = np.full((len(pairs), units), -1)
    for kind in ("ohms", "diode", "volts"):
        rows = [i for i, pair in enumerate(pairs) if pair[0] == kind]
        if not rows:
            continue
        red, black = (np.repeat([circuit.nets[ends[i][k]] for i in rows], units) for k in (0, 1))
        measure = meters.volts_at_leads(circuit, np.tile(np.arange(units), len(rows)), red, black)
        shown, span = meters.show(meter, kind, measure)
        value[rows], chosen[rows] = shown.reshape(len(rows), units), span.reshape(len(rows), units)
    return value, chosen


def _units(circuit):
    groups = (circuit.resistors, circuit.branches, circuit.sinks, circuit.junctions, circuit.zeners,
              circuit.transistors, circuit.lamps)
    return max((v.shape[1] for g in groups for v in g.values.values()), default=1)
