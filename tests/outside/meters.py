"""Meter profiles (formats.md, "Meter profile") and what each shows of a solved circuit.

Over range is `inf` among the readings; it is counted above every value.
"""

from dataclasses import dataclass, field

import numpy as np

import kdl_reader
import newton
from values import number, percent


@dataclass
class Range:
    """One ohms range. A current source (`amps`, `limit`) or a source resistance behind `open` volts."""

    full: float
    accuracy: float
    floor: float = 0.0
    amps: float = 0.0
    limit: float = np.inf
    source: float = 0.0
    open: float = 0.0
    reversed: bool = False


@dataclass
class Meter:
    """A profile: its ohms ranges in order, the diode test, and the volts input."""

    name: str
    ohms: list = field(default_factory=list)
    diode: Range | None = None
    volts_ohms: float = np.inf
    volts_accuracy: float = 0.0
    volts_floor: float = 0.0


def read_meters(text):
    """Every profile of a text, in order."""
    return [_meter(node) for node in kdl_reader.read(text) if node.name == "meter"]


def _meter(node):
    meter = Meter(str(node.args[0]))
    for child in node.children:
        props = child.props
        if child.name == "ohms":
            meter.ohms = [_range(r) for r in child.children]
        elif child.name == "diode":
            meter.diode = Range(np.inf, percent(props["accuracy"]), number(props.get("floor", 0)),
                                number(props["amps"]), number(props["limit"]))
        elif child.name == "volts":
            meter.volts_ohms = (number(props["ohms"]) if "ohms" in props
                                else number(props["ohms-per-volt"]) * number(props["range"]))
            meter.volts_accuracy = percent(props["accuracy"])
            meter.volts_floor = number(props.get("floor", 0))
    return meter


def _range(node):
    props = node.props
    found = Range(0.0, percent(props["accuracy"]), number(props.get("floor", 0)),
                  reversed=bool(props.get("reversed", False)))
    if "source" in props:
        found.source, found.open = number(props["source"]), number(props["open"])
        found.full = number(props["full"]) if "full" in props else 100.0 * found.source
    else:
        found.full = number(props.get("full", node.args[0]))
        found.amps, found.limit = number(props["amps"]), number(props["limit"])
    return found


def show(meter, kind, measure):
    """The error-free reading of one kind, and for each case the range that gave it (-1 for none).

    `measure(amps, siemens, limit)` returns the lead volts of every case.
    """
    if kind == "volts":
        return _with_range(measure(0.0, 1.0 / meter.volts_ohms, np.inf), 0)
    if kind == "diode":
        volts = measure(meter.diode.amps, 0.0, meter.diode.limit)
        return _with_range(np.where(volts >= meter.diode.limit, np.inf, volts), 0)
    if meter.ohms[0].source:
        return _nearest_middle(meter, measure)
    return _first_fitting(meter, measure)


def _with_range(value, number_of_range):
    return value, np.where(np.isinf(value), -1, number_of_range)


def _first_fitting(meter, measure):
    """The first range whose full scale is not exceeded and which does not clamp."""
    value = chosen = None
    for k, span in enumerate(meter.ohms):
        volts = measure(span.amps, 0.0, span.limit)
        if value is None:
            value, chosen = np.full(volts.shape, np.inf), np.full(volts.shape, -1)
        ohms = volts / span.amps
        fits = (chosen < 0) & (volts < span.limit) & (ohms <= span.full)
        value, chosen = np.where(fits, ohms, value), np.where(fits, k, chosen)
        if (chosen >= 0).all():
            break
    return value, chosen


def _nearest_middle(meter, measure):
    """A moving coil on the range that puts the needle nearest mid-scale."""
    ohms, off = [], []
    for span in meter.ohms:
        sign = -1.0 if span.reversed else 1.0
        volts = sign * measure(sign * span.open / span.source, 1.0 / span.source, np.inf)
        with np.errstate(divide="ignore"):
            ohms.append(np.where(volts >= span.open * (1 - 1e-12), np.inf,
                                 span.source * volts / (span.open - volts)))
        off.append(np.abs(volts / span.open - 0.5))
    chosen = np.argmin(off, axis=0)
    value = np.choose(chosen, ohms)
    full = np.array([span.full for span in meter.ohms])[chosen]
    return _with_range(np.where(value > full, np.inf, value), chosen)


def with_error(meter, kind, value, chosen, rng):
    """Readings with the meter's own normal error; over range stays over range."""
    noise = rng.standard_normal(value.shape) / 2.0
    if kind == "volts":
        return value + noise * (meter.volts_accuracy * np.abs(value) + meter.volts_floor)
    out = np.where(np.isinf(value), 0.0, value)
    spans = [meter.diode] if kind == "diode" else meter.ohms
    accuracy, floor, source = (np.array([getattr(s, f) for s in spans])[chosen]
                               for f in ("accuracy", "floor", "source"))
    if kind == "ohms" and meter.ohms[0].source:
        arc = source / (source + out) + noise * accuracy      # per cent of arc
        out = np.where(arc > 0, source / np.clip(arc, 1e-9, 1.0) - source, np.inf)
    else:
        out = out + noise * (accuracy * np.abs(out) + floor)
    return np.where(np.isinf(value), np.inf, out)


def volts_at_leads(network, unit, red, black):
    """A `measure` for `show`: pairs (red, black) of node numbers against parameter columns `unit`.

    Leads on separate pieces of the circuit: no current flows, so a source runs to its limit and a
    voltmeter shows nothing.
    """
    red, black, unit = (np.asarray(x, int) for x in (red, black, unit))
    joined = (network.component[red] == network.component[black]) & (red != black)

    def measure(amps, siemens, limit):
        apart = amps / siemens if siemens else (np.sign(amps) * limit if amps else 0.0)
        volts = np.where(red == black, 0.0, apart)
        some = np.flatnonzero(joined)
        if len(some):
            full = np.ones(len(some))
            probes = newton.Probes(unit[some], red[some], black[some], amps * full, siemens * full, limit * full)
            _, first, pair = np.unique(np.stack([red[some], black[some]]), axis=1,
                                       return_index=True, return_inverse=True)
            near = newton.solve(network, probes.part(first))[pair.ravel()] if len(first) < len(some) else None
            volts[some] = probes.volts(newton.solve(network, probes, near))
        return volts

    return measure
