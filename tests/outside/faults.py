"""Faults as rebuilt circuits: each takes the parts of a sheet and returns the parts of the faulty one.

Names and meanings are those of formats.md, "Faults". A lifted lead is a pin on a fresh net.
"""

from dataclasses import replace

from sheet_reader import Part
from values import number

SHORT_OHMS = 0.1
_BETWEEN = {"be-short": "be", "bc-short": "bc", "ce-short": "ce"}


def apply(parts, fault):
    """The parts with one fault, written as for `--with`: `REF FAULT[=VALUE]` or `bridge N1 N2[=OHMS]`."""
    words = fault.split()
    if words[0] == "bridge":
        last, _, ohms = " ".join(words[2:]).partition("=")
        return parts + [_resistor("bridge", words[1], last, number(ohms) if ohms else SHORT_OHMS)]
    name, _, value = words[1].partition("=")
    index = next(i for i, part in enumerate(parts) if part.name == words[0])
    return parts[:index] + _faulty(parts[index], name, number(value) if value else None) + parts[index + 1:]


def lift(parts, pin):
    """The parts with one pin (`R4.2`, `Q1.b`, `D2.anode`) off its net."""
    ref, _, name = pin.rpartition(".")
    return [_lifted(part, name) if part.name == ref else part for part in parts]


def _lifted(part, pin):
    name = pin if pin in part.pins else list(part.pins)[int(pin) - 1]
    return replace(part, pins=part.pins | {name: f"{part.name}.{name} lifted"})


def _resistor(name, a, b, ohms):
    return Part("resistor", name, {"1": a, "2": b}, {"ohms": ohms})


def _ends(part):
    pins = list(part.pins.values())
    return pins[0], pins[-1]


def _faulty(part, name, value):
    if name == "open":
        return [replace(part, kind="contact", pins={"1": pin}) for pin in part.pins.values()]
    if name in ("short", "leaky"):
        return [part, _resistor(f"{part.name} {name}", *_ends(part), SHORT_OHMS if name == "short" else value)]
    if name in ("high", "low"):
        return [replace(part, p=part.p | _scaled(part, value))]
    if name in _BETWEEN:
        a, b = (part.pins[pin] for pin in _BETWEEN[name])
        return [part, _resistor(f"{part.name} {name}", a, b, SHORT_OHMS)]
    if name in ("b-open", "c-open", "e-open"):
        return [_lifted(part, name[0])]
    if name == "be-open":
        return [replace(part, p=part.p | {"be-open": True})]
    if name == "turned":
        a, b = ("c", "e") if "c" in part.pins else tuple(part.pins)
        return [replace(part, pins=part.pins | {a: part.pins[b], b: part.pins[a]})]
    raise ValueError(f"no fault `{name}`")


def _scaled(part, factor):
    """What `high` and `low` multiply: the value of R, zener volts, bf; of C and L nothing that DC sees."""
    if part.kind in ("resistor", "potentiometer"):
        return {"ohms": part.p["ohms"] * factor}
    if part.kind == "zener":
        return {"zener": part.p["zener"] * factor}
    if part.kind in ("npn", "pnp"):
        return {"bf": part.p["bf"] * factor}
    if part.kind in ("capacitor", "inductor"):
        return {}
    raise ValueError(f"a {part.kind} has no value to be high or low")
