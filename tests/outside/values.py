"""Reads values as people write them (formats.md, "Values in text"; RKM code of IEC 60062)."""

import re

_PREFIX = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "m": 1e-3,
           "k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9, "": 1.0, "R": 1.0}
_UNITS = ("ohms", "ohm", "Ω", "Hz", "F", "H", "V", "A", "W", "C", "s")
_DOUBTFUL = ("MMFD", "MMF", "MFD", "mF")


class DoubtfulValue(ValueError):
    """A value that old drawings and new ones read differently, such as `10 MFD`."""


def number(value):
    """The value in SI base units; a plain number passes through.

    Raises DoubtfulValue for mF, MFD, MMF, MMFD, and ValueError for what cannot be read.
    """
    if isinstance(value, (int, float)):
        return float(value)
    text = value.strip()
    if text.endswith(_DOUBTFUL):
        raise DoubtfulValue(f"`{value}` may mean two things on old drawings")
    try:
        return float(text)
    except ValueError:
        pass
    for unit in _UNITS:
        if text.endswith(unit) and len(text) > len(unit):
            return number(text[: -len(unit)])
    infix = re.fullmatch(r"([+-]?)(\d*)([pnuµμmkKMGRr])(\d+)", text)
    if infix:
        sign, whole, mark, part = infix.groups()
        magnitude = float(f"{whole or 0}.{part}") * _PREFIX["R" if mark == "r" else mark]
        return -magnitude if sign == "-" else magnitude
    suffix = re.fullmatch(r"([+-]?[\d.]+(?:[eE][+-]?\d+)?)\s*([pnuµμmkKMGR]?)", text)
    if suffix:
        return float(suffix.group(1)) * _PREFIX[suffix.group(2)]
    raise ValueError(f"`{value}` is not a value")


def percent(value):
    """A share written as `5%`, or as a number of its own; the sign is lost."""
    if isinstance(value, (int, float)):
        return abs(float(value))
    text = value.strip()
    return abs(float(text[:-1]) / 100 if text.endswith("%") else float(text))


def one_sided(value):
    """Whether a drift such as `+10%` carries a sign: +1, -1, or 0 for two-sided."""
    text = str(value).strip()
    return {"+": 1.0, "-": -1.0}.get(text[:1], 0.0)
