"""Healthy units drawn at random by the rules of formats.md, "What healthy means"."""

from dataclasses import replace

import numpy as np

_LOT_SHARED = ("is", "bf")


def draw(parts, units, rng):
    """The parts with every varying parameter an array over `units`."""
    lots = {}
    return [_drawn(part, units, rng, lots) for part in parts]


def _drawn(part, units, rng, lots):
    p = dict(part.p)
    factor = _tolerance_factor(part.spread, units, rng)
    for key in ("ohms", "zener"):
        if key in p and part.kind in ("resistor", "potentiometer", "inductor", "winding", "zener"):
            p[key] = p[key] * factor
    if part.kind == "supply" and part.spread.tolerance:
        p["volts"] = p["volts"] * factor
    if part.kind == "potentiometer" and p["setting"] is None:
        p["setting"] = rng.uniform(0.0, 1.0, units)
    for key in ("is", "bf", "br"):
        if key in p:
            p[key] = p[key] * _lognormal(part, key, units, rng, lots)
    return replace(part, p=p)


def _tolerance_factor(spread, units, rng):
    new = rng.standard_normal(units) * spread.tolerance / 2.0
    aged = spread.drift_mean + rng.standard_normal(units) * spread.drift / 2.0
    return 1.0 + new + aged


def _lognormal(part, key, units, rng, lots):
    """The part's own spread where given; else lot times individual; br without a spread is fixed."""
    if key in part.factor_spread:
        return part.factor_spread[key] ** rng.standard_normal(units)
    if key not in _LOT_SHARED:
        return 1.0
    kind = (part.kind, part.type_word, key)
    if kind not in lots:
        lots[kind] = part.type.lot[key] ** rng.standard_normal(units)
    return lots[kind] * part.type.own[key] ** rng.standard_normal(units)
