"""Turns a sheet's text into resolved parts: pins on nets, numbers in SI units, spreads by rule.

Only what the outside check needs is read; lines without electrical meaning (point, never, alter,
adjacent, irreplaceable) are kept where they name places and else passed over.
"""

from dataclasses import dataclass, field

import device_classes
import kdl_reader
from values import number, one_sided, percent

SILENT = {"fits", "never", "alter", "adjacent", "irreplaceable"}
TWO_TERMINAL = {"resistor", "capacitor", "inductor", "fuse", "switch", "lamp", "load", "supply",
                "diode", "zener"}
STYLE_TOLERANCE = {"composition": 0.10, "film": 0.05, "wirewound": 0.05}
STYLE_LEAK = {"electrolytic": 1e6, "paper": 100e6}


@dataclass
class Spread:
    """How a value varies among healthy parts, as fractions: formats.md, "What healthy means"."""

    tolerance: float = 0.0   # 95 % of parts lie within
    drift_mean: float = 0.0
    drift: float = 0.0       # 95 % of ageing lies within


@dataclass
class Part:
    """One part with its pins in the order written and its parameters, scalars or arrays of units."""

    kind: str
    name: str
    pins: dict
    p: dict = field(default_factory=dict)
    spread: Spread = field(default_factory=Spread)
    type_word: str = ""
    type: device_classes.Type | None = None
    factor_spread: dict = field(default_factory=dict)   # is, bf, br: lognormal factors given on the part


@dataclass
class Sheet:
    """A resolved sheet: its parts, the roles of its nets, and named points."""

    name: str
    parts: list
    nets: dict
    points: dict
    kelvin: float = 300.0

    def ground(self):
        """The first net with role ground."""
        return next(net for net, props in self.nets.items() if props.get("role") == "ground")

    def rails(self):
        """Nets with role rail, in order."""
        return [net for net, props in self.nets.items() if props.get("role") == "rail"]


def read_sheet(text):
    """The sheet in a text; raises on what this reader does not know."""
    root = next(n for n in kdl_reader.read(text) if n.name == "sheet")
    sheet = Sheet(str(root.args[0]), [], {}, {})
    if "temperature" in root.props:
        sheet.kelvin = number(root.props["temperature"]) + 273.15
    for line in root.children:
        if line.name == "net":
            sheet.nets.setdefault(str(line.args[0]), {}).update(line.props)
        elif line.name == "point":
            sheet.points[str(line.args[0])] = str(line.props["net"])
        elif line.name not in SILENT:
            sheet.parts += _parts(line, sheet.kelvin)
    for part in sheet.parts:
        for net in part.pins.values():
            sheet.nets.setdefault(net, {})
    return sheet


def _parts(line, kelvin):
    if line.name == "transformer":
        return [_winding(line.args[0], child) for child in line.children if child.name == "winding"]
    if line.name == "connector":
        return [Part("contact", f"{line.args[0]}.{c.args[0]}", {"1": str(c.args[1])})
                for c in line.children if c.name == "pin"]
    builder = {"npn": _transistor, "pnp": _transistor, "diode": _diode, "zener": _diode,
               "potentiometer": _potentiometer}.get(line.name, _plain)
    part = builder(line)
    if "is" in part.p:
        n = part.p.get("n", 1.0)
        part.p["is"] *= device_classes.saturation_factor(part.type.material, n, kelvin)
        part.p["nvt"] = n * device_classes.thermal_volts(kelvin)
    return [part]


def _pins(line, names, first):
    """Pins by property where given, else from the arguments from `first` on."""
    rest = iter(line.args[first:])
    return {str(i + 1) if names[i] is None else names[i]:
            str(line.props[names[i]]) if names[i] in line.props else str(next(rest))
            for i in range(len(names))}


def _spread(line, tolerance, drift, drift_mean=0.0):
    if "tolerance" in line.props:
        tolerance = percent(line.props["tolerance"])
    if "drift" in line.props:
        drift = percent(line.props["drift"])
        drift_mean = one_sided(line.props["drift"]) * drift
    return Spread(tolerance, drift_mean, drift)


def _resistive_spread(line, ohms):
    style = line.props.get("style", "film")
    if style == "composition":
        drift = 0.05 if ohms < 10e3 else 0.10
        return _spread(line, STYLE_TOLERANCE[style], drift, drift)
    return _spread(line, STYLE_TOLERANCE.get(style, 0.05), 0.02)


def _numbers(line, names):
    return {name: number(line.props[name]) for name in names if name in line.props}


def _plain(line):
    """resistor, capacitor, inductor, fuse, switch, lamp, load, supply."""
    kind, name, props = line.name, str(line.args[0]), line.props
    valued = kind in ("resistor", "capacitor", "inductor", "fuse")
    poled = "plus" in props
    part = Part(kind, name, _pins(line, ("plus", "minus") if poled else (None, None), 2 if valued else 1))
    value = number(line.args[1]) if valued else None
    if kind == "resistor":
        part.p["ohms"] = value
        part.spread = _resistive_spread(line, value)
    elif kind == "capacitor":
        part.p["leak"] = (number(props["leak"]) if "leak" in props
                          else STYLE_LEAK.get(props.get("style"), float("inf")))
    elif kind == "inductor":
        part.p["ohms"] = number(props.get("ohms", 0.0))
        part.spread = _spread(line, 0.10, 0.02)
    elif kind == "fuse":
        part.p["ohms"] = 0.2
    elif kind == "switch":
        part.p["ohms"] = 0.05 if props.get("state", "closed") == "closed" else float("inf")
    elif kind == "lamp":
        part.p |= _numbers(line, ("volts", "amps"))
    else:
        part.p |= _numbers(line, ("volts", "amps", "ohms", "off", "limit"))
        part.p["cold"] = bool(props.get("cold", False))
        part.spread = _spread(line, 0.0, 0.0)
    return part


def _potentiometer(line):
    ohms = number(line.args[1])
    part = Part("potentiometer", str(line.args[0]), _pins(line, ("a", "wiper", "b"), 2), {"ohms": ohms})
    part.p["setting"] = number(line.props["setting"]) if "setting" in line.props else None
    part.spread = _resistive_spread(line, ohms)
    return part


def _diode(line):
    zener = line.name == "zener"
    class_word = "silicon-signal" if zener else str(line.args[1])
    part = Part(line.name, str(line.args[0]), _pins(line, ("anode", "cathode"), 2), type_word=class_word)
    part.type = device_classes.diode_type(class_word)
    part.p = device_classes.diode_parameters(class_word, _numbers(line, ("is", "n", "rs")))
    part.factor_spread = {k: number(line.props[f"{k}-spread"]) for k in ("is",) if f"{k}-spread" in line.props}
    if zener:
        part.p |= {"zener": number(line.args[1]), "izt": number(line.props.get("izt", 5e-3)),
                   "rz": number(line.props.get("rz", 10.0))}
        part.spread = _spread(line, 0.05, 0.02)
    return part


def _transistor(line):
    class_word = str(line.args[1])
    part = Part(line.name, str(line.args[0]), _pins(line, ("c", "b", "e"), 2), type_word=class_word)
    part.type = device_classes.transistor_type(line.name, class_word)
    part.p = device_classes.transistor_parameters(
        line.name, class_word, _numbers(line, ("is", "bf", "br", "rc", "vaf")))
    part.factor_spread = {k: number(line.props[f"{k}-spread"])
                          for k in ("is", "bf", "br") if f"{k}-spread" in line.props}
    return part


def _winding(transformer, child):
    pins = {"1": str(child.args[1]), "2": str(child.args[2])}
    part = Part("winding", f"{transformer}.{child.args[0]}", pins, {"ohms": number(child.props["ohms"])})
    part.spread = _spread(child, 0.10, 0.02)
    return part
