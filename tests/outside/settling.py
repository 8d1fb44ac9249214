"""A second route to an operating point that shares no algebra with the first: let it settle in time.

Every net gets a small capacitance to a common point and the circuit's own laws discharge it
(SciPy's implicit BDF integrator) until nothing moves; then Powell's hybrid method (MINPACK, through
SciPy) polishes the root. Series resistance of a diode is an explicit inner net here.
"""

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import root

FARADS = 1e-9


def settle(parts, state, red, black, amps, siemens=0.0):
    """Volts between two nets with `amps` pushed from black to red through the circuit."""
    nets, flows = {}, []

    def node(net):
        return nets.setdefault(net, len(nets))

    def two(a, b, law):
        flows.append(lambda v, out, a=node(a), b=node(b): _push(out, a, b, law(v[a] - v[b])))

    for part in parts:
        _add(part, state == "powered", two, node, flows)
    two(red, black, lambda v: siemens * v - amps)

    def currents(v):
        out = np.zeros(len(nets))
        with np.errstate(over="ignore"):
            for flow in flows:
                flow(v, out)
        return np.clip(out, -1e6, 1e6)

    anchor = 1e-13      # siemens of the common point, so that floating pieces have a place to rest
    rest = solve_ivp(lambda _, v: -(currents(v) + anchor * v) / FARADS, (0.0, 1e3), np.zeros(len(nets)),
                     method="BDF", rtol=1e-3, atol=1e-5).y[:, -1]
    held, free = nets[black], [k for k in range(len(nets)) if k != nets[black]]

    def balance(free_volts):
        v = rest.copy()
        v[free] = free_volts
        return (currents(v) + anchor * (v - v[held]))[free] * 1e3

    polished = rest.copy()
    polished[free] = root(balance, rest[free], method="hybr", tol=1e-15).x
    best = min((rest, polished), key=lambda v: np.abs(currents(v)).max())
    return best[nets[red]] - best[nets[black]]


def _push(out, a, b, current):
    out[a] += current
    out[b] -= current


def _add(part, powered, two, node, flows):
    p, pins = part.p, list(part.pins.values())
    if part.kind in ("resistor", "inductor", "fuse", "switch", "winding"):
        two(*pins, lambda v: v / p["ohms"])
    elif part.kind == "capacitor":
        two(*pins, lambda v: v / p["leak"])
    elif part.kind == "potentiometer":
        two(pins[0], pins[1], lambda v: v / (p["ohms"] * p["setting"]))
        two(pins[1], pins[2], lambda v: v / (p["ohms"] * (1 - p["setting"])))
    elif part.kind == "supply" and powered:
        two(*pins, lambda v: max((v - p["volts"]) / p["ohms"], -p.get("limit", np.inf)))
    elif part.kind == "supply" and "off" in p:
        two(*pins, lambda v: v / p["off"])
    elif part.kind == "load" and powered:
        two(*pins, lambda v: v / p["ohms"] if "ohms" in p else p["amps"])
    elif part.kind in ("diode", "zener"):
        inner = pins[0] if p["rs"] == 0 else f"{part.name} inside"
        if p["rs"] > 0:
            two(pins[0], inner, lambda v: v / p["rs"])
        two(inner, pins[1], lambda v: p["is"] * np.expm1(min(v / p["nvt"], 300.0)))
        if part.kind == "zener":
            two(*pins, lambda v: min(0.0, (v + p["zener"] - p["izt"] * p["rz"]) / p["rz"]))
    elif part.kind in ("npn", "pnp"):
        _add_transistor(part, two, node, flows)


def _add_transistor(part, two, node, flows):
    p, sign = part.p, 1.0 if part.kind == "npn" else -1.0
    inner = part.pins["c"] if p["rc"] == 0 else f"{part.name} inside"
    if p["rc"] > 0:
        two(part.pins["c"], inner, lambda v: v / p["rc"])
    c, b, e = node(inner), node(part.pins["b"]), node(part.pins["e"])
    live = 0.0 if p.get("be-open") else 1.0

    def flow(v, out):
        vbe, vbc = sign * (v[b] - v[e]), sign * (v[b] - v[c])
        f, r = p["is"] * np.expm1(min(vbe / p["nvt"], 300.0)), p["is"] * np.expm1(min(vbc / p["nvt"], 300.0))
        carried = live * (f - r) * (1.0 - vbc / p["vaf"])
        ic, ib = carried - r / p["br"], live * f / p["bf"] + r / p["br"]
        out[c] += sign * ic
        out[b] += sign * ib
        out[e] -= sign * (ic + ib)

    flows.append(flow)
