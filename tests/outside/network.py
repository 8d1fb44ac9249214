"""A circuit as arrays: which unknowns each element touches, and its values for a batch of units.

Unknowns are the net voltages, then one current for each branch that is defined by a voltage
(supplies, and resistances too small to be written as a conductance).
"""

from dataclasses import dataclass, field

import numpy as np

SMALL_OHMS = 1e-3


@dataclass(frozen=True)
class Knees:
    """What formats.md leaves open: how round a zener's knee is, and how a lamp goes from cold to hot."""

    zener_volts: float
    lamp_order: float


SHARP = Knees(0.0, np.inf)
ROUND = Knees(10e-3, 3.0)


@dataclass
class Group:
    """Elements of one law: the nodes of each, and parameters of shape (elements, units or 1)."""

    nodes: list = field(default_factory=list)
    values: dict = field(default_factory=dict)

    def add(self, nodes, **values):
        self.nodes.append(nodes)
        for key, value in values.items():
            self.values.setdefault(key, []).append(np.atleast_1d(np.asarray(value, float)))

    def seal(self):
        width = max((len(v) for rows in self.values.values() for v in rows), default=1)
        self.values = {k: np.array([np.broadcast_to(v, (width,)) for v in rows])
                       for k, rows in self.values.items()}
        self.nodes = np.array(self.nodes, int).reshape(len(self.nodes), len(self.nodes[0]) if self.nodes else 2)
        return self


@dataclass
class Network:
    """A sealed circuit. `component` numbers the connected pieces of the graph of its nodes."""

    nets: dict
    resistors: Group
    branches: Group
    sinks: Group
    junctions: Group
    zeners: Group
    transistors: Group
    lamps: Group
    component: np.ndarray

    @property
    def nodes(self):
        return len(self.component)

    @property
    def size(self):
        return self.nodes + len(self.branches.nodes)


def build(sheet, parts, powered, knees=SHARP):
    """The network of the parts, cold or powered, with every capacitor settled."""
    maker = _Maker(powered, knees)
    for net in sheet.nets:
        maker.node(net)
    for part in parts:
        _ELEMENTS[part.kind](maker, part)
    return maker.seal()


class _Maker:
    def __init__(self, powered, knees):
        self.powered, self.knees = powered, knees
        self.nets = {}
        self.count = 0
        self.edges = []
        self.groups = {name: Group() for name in
                       ("resistors", "branches", "sinks", "junctions", "zeners", "transistors", "lamps")}

    def node(self, net=None):
        if net is not None and net in self.nets:
            return self.nets[net]
        if net is not None:
            self.nets[net] = self.count
        self.count += 1
        return self.count - 1

    def resistance(self, a, b, ohms):
        if np.all(np.isinf(ohms)):
            return
        self.edges.append((a, b))
        if np.min(ohms) > SMALL_OHMS:
            self.groups["resistors"].add((a, b), g=1.0 / np.asarray(ohms, float))
        else:
            self.groups["branches"].add((a, b), volts=0.0, ohms=ohms, limit=np.inf)

    def seal(self):
        return Network(self.nets, component=_components(self.count, self.edges),
                       **{name: group.seal() for name, group in self.groups.items()})


def _components(count, edges):
    label = np.arange(count)

    def root(i):
        while label[i] != i:
            i = label[i]
        return i

    for a, b in edges:
        label[root(a)] = root(b)
    return np.array([root(i) for i in range(count)], int)


def _two(maker, part):
    first, second = list(part.pins.values())[:2]
    return maker.node(first), maker.node(second)


def _resistance(maker, part):
    maker.resistance(*_two(maker, part), part.p["ohms"])


def _capacitor(maker, part):
    maker.resistance(*_two(maker, part), part.p["leak"])


def _lamp(maker, part):
    """Cold it is hot / 12, whatever the meter sends through it: formats.md knows no other value there."""
    nodes = _two(maker, part)
    if not maker.powered:
        maker.resistance(*nodes, part.p["volts"] / part.p["amps"] / 12.0)
        return
    maker.edges.append(nodes)
    maker.groups["lamps"].add(nodes, volts=part.p["volts"], amps=part.p["amps"],
                              order=maker.knees.lamp_order)


def _potentiometer(maker, part):
    a, wiper, b = (maker.node(net) for net in part.pins.values())
    setting = 0.5 if part.p["setting"] is None else part.p["setting"]
    maker.resistance(a, wiper, part.p["ohms"] * setting)
    maker.resistance(wiper, b, part.p["ohms"] * (1.0 - np.asarray(setting)))


def _supply(maker, part):
    nodes = _two(maker, part)
    if maker.powered:
        maker.edges.append(nodes)
        maker.groups["branches"].add(nodes, volts=part.p["volts"], ohms=part.p.get("ohms", 0.0),
                                     limit=part.p.get("limit", np.inf))
    elif "off" in part.p:
        maker.resistance(*nodes, part.p["off"])


def _load(maker, part):
    if not (maker.powered or part.p["cold"]):
        return
    nodes = _two(maker, part)
    if "ohms" in part.p:
        maker.resistance(*nodes, part.p["ohms"])
    else:
        maker.groups["sinks"].add(nodes, amps=part.p["amps"])


def _diode(maker, part):
    nodes = _two(maker, part)
    maker.edges.append(nodes)
    p = part.p
    maker.groups["junctions"].add(nodes, sat=p["is"], nvt=p["nvt"], rs=p["rs"])
    if part.kind == "zener":
        maker.groups["zeners"].add(nodes, knee=p["zener"] - p["izt"] * p["rz"], rz=p["rz"],
                                    width=maker.knees.zener_volts)


def _transistor(maker, part):
    c, b, e = (maker.node(part.pins[pin]) for pin in "cbe")
    p = part.p
    if p["rc"] > 0:
        inner = maker.node()
        maker.resistance(c, inner, p["rc"])
        c = inner
    live = 0.0 if p.get("be-open") else 1.0
    maker.edges += [(b, c)] + ([(b, e)] if live else [])
    maker.groups["transistors"].add(
        (c, b, e), sat=p["is"], bf=p["bf"], br=p["br"], inverse_early=1.0 / np.asarray(p["vaf"]),
        vt=p["nvt"], base_emitter=live, sense=1.0 if part.kind == "npn" else -1.0)


_ELEMENTS = {"resistor": _resistance, "inductor": _resistance, "fuse": _resistance,
             "switch": _resistance, "winding": _resistance, "capacitor": _capacitor, "lamp": _lamp,
             "potentiometer": _potentiometer, "supply": _supply, "load": _load, "diode": _diode,
             "zener": _diode, "npn": _transistor, "pnp": _transistor,
             "contact": lambda maker, part: maker.node(part.pins["1"])}
