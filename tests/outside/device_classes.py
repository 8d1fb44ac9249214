"""Default parameters and spreads of device classes and registered types.

The classes of formats.md stand here as that text gives them. All other type words are looked up in
the project's device file, which is data with a source on every line, not code under test.
`is` holds at 300 K, where VT = 0.025852 V; a sheet's temperature scales both.
"""

import functools
import math
from dataclasses import dataclass
from pathlib import Path

import kdl_reader

VT_300 = 0.025852
BOLTZMANN_EV = 8.617333262e-5  # eV/K, CODATA 2018
DEVICE_FILE = Path(__file__).resolve().parents[2] / "crates" / "sheet" / "data" / "devices.kdl"

# formats.md, "One class word has different defaults for a diode and for a transistor".
DIODES = {
    "silicon-signal": {"is": 4e-9, "n": 1.9, "rs": 1.0},
    "silicon-rectifier": {"is": 5e-11, "n": 1.4, "rs": 0.05},
    "germanium-signal": {"is": 4e-6, "n": 2.0, "rs": 4.0},
}
TRANSISTORS = {
    "silicon-signal": {"is": 1e-14, "bf": 120.0, "br": 3.0},
    "germanium-signal": {"is": 1.5e-6, "bf": 60.0, "br": 10.0},
    "germanium-power": {"is": 2e-5, "bf": 60.0, "br": 10.0},
}
# "with `is` given and no other parameter".
BARE_DIODE = {"n": 1.0, "rs": 0.0}
BARE_TRANSISTOR = {"br": 1.0, "rc": 0.0, "vaf": math.inf}

# "Without them the class's": a lot factor each for is and bf, then the individual factor of both.
LOT = {"silicon": {"is": 1.7, "bf": 1.5}, "germanium": {"is": 3.0, "bf": 1.7}, "selenium": {"is": 3.0}}
OWN = {"silicon": 1.1, "germanium": 1.2, "selenium": 1.2}
ENERGY_GAP = {"silicon": 1.11, "germanium": 0.67}  # eV


@dataclass
class Type:
    """What is known of a type word: parameters, material, and factors of one standard deviation."""

    parameters: dict
    material: str
    lot: dict
    own: dict


def diode_type(word):
    """The type of a diode; a zener's forward junction is `silicon-signal`."""
    if word in DIODES:
        return _by_class(word, DIODES[word])
    return _registered()["diode", word]


def transistor_type(kind, word):
    """The type of an npn or pnp transistor."""
    if word in TRANSISTORS:
        return _by_class(word, TRANSISTORS[word])
    table = _registered()
    return table[kind, word] if (kind, word) in table else table["transistor", word]


def _by_class(word, parameters):
    material = word.split("-")[0]
    return Type(parameters, material, LOT[material], {"is": OWN[material], "bf": OWN[material]})


@functools.cache
def _registered():
    table = {}
    for node in kdl_reader.read(DEVICE_FILE.read_text(encoding="utf-8")):
        if node.name not in ("diode", "transistor", "npn", "pnp"):
            continue
        material = node.props["material"]
        table[node.name, str(node.args[0])] = Type(
            {k: float(node.props[k]) for k in ("is", "n", "rs", "bf", "br", "rc", "vaf") if k in node.props},
            material,
            {k: float(node.props.get(f"{k}-lot", LOT[material].get(k, 1.0))) for k in ("is", "bf")},
            {k: float(node.props.get(f"{k}-own", OWN[material])) for k in ("is", "bf")})
    return table


def thermal_volts(kelvin):
    """VT at a temperature, in proportion to 0.025852 V at 300 K."""
    return VT_300 * kelvin / 300.0


def saturation_factor(material, n, kelvin):
    """The factor of `is` from 300 K: T^(3/n) exp(-Eg/(n k T)), normalised to one at 300 K."""
    gap = ENERGY_GAP.get(material, 1.11) / (n * BOLTZMANN_EV)
    return (kelvin / 300.0) ** (3.0 / n) * math.exp(-gap * (1.0 / kelvin - 1.0 / 300.0))


def diode_parameters(word, overrides):
    """is, n, rs of a diode. A given `is` sets the type aside, so that a bare `is` means n=1, rs=0."""
    base = BARE_DIODE if "is" in overrides else diode_type(word).parameters
    return BARE_DIODE | base | overrides


def transistor_parameters(kind, word, overrides):
    """is, bf, br, rc, vaf of a transistor; bf stays the type's even if `is` is given."""
    book = transistor_type(kind, word).parameters
    kept = {"bf": book["bf"]} if "is" in overrides else book
    return BARE_TRANSISTOR | kept | overrides
