"""Device laws: current and slope for arrays of voltages (formats.md, junction law and transport form).

A diode with series resistance is solved in closed form with the Wright omega function
(Banwell and Jayakumar, Electronics Letters 36(4) 291-2, 2000, doi 10.1049/el:20000301), so it
needs no inner node; the transistor is Ebers-Moll in transport form with nf = nr = 1.
"""

import numpy as np
from scipy.special import wrightomega

LARGE = 1e5   # volts that no junction of a sheet sees; keeps early steps finite


def junction(v, sat, nvt, rs):
    """Current and conductance of is (exp(v'/nVT) - 1) with v' = v - rs i; all arrays broadcast."""
    bare = rs == 0
    grown = np.exp(np.where(bare, v, 0.0) / nvt)
    safe_rs = np.where(bare, 1.0, rs)
    omega = wrightomega(np.log(sat * safe_rs / nvt) + (v + sat * safe_rs) / nvt)
    current = np.where(bare, sat * np.expm1(np.where(bare, v, 0.0) / nvt), nvt / safe_rs * omega - sat)
    slope = np.where(bare, sat * grown / nvt, omega / (1.0 + omega) / safe_rs)
    return current, slope


def transport(vbe, vbc, sat, bf, br, inverse_early, vt, base_emitter):
    """Collector and base current and their four slopes, for an npn sense of signs.

    `base_emitter` is 1, or 0 where that junction is open: then its current and both transport
    terms vanish and the base-collector junction stays, with is/br (formats.md, `be-open`).
    Returns ic, ib, dic/dvbe, dic/dvbc, dib/dvbe, dib/dvbc.
    """
    forward, reverse = np.expm1(vbe / vt), np.expm1(vbc / vt)
    slope_f, slope_r = np.exp(vbe / vt) / vt, np.exp(vbc / vt) / vt
    early = 1.0 - vbc * inverse_early
    carried = base_emitter * sat * (forward - reverse)
    back = sat / br
    ic = carried * early - back * reverse
    ib = base_emitter * sat / bf * forward + back * reverse
    return (ic, ib,
            base_emitter * sat * slope_f * early,
            -base_emitter * sat * slope_r * early - carried * inverse_early - back * slope_r,
            base_emitter * sat / bf * slope_f,
            back * slope_r)


def breakdown(v, knee, rz):
    """Reverse current beyond the knee of a zener, straight with slope rz, as seen from the anode."""
    beyond = -v > knee
    return np.where(beyond, (v + knee) / rz, 0.0), np.where(beyond, 1.0 / rz, 0.0)


def lamp(v, volts, amps):
    """A filament: hot / 12 when cold; in its glow the current goes as V^0.55.

    Exponent: lamp rerating rule, trade practice (IES lighting handbook graphs); where both meet is
    where their resistances are equal.
    """
    cold = volts / amps / 12.0
    share = np.abs(v) / volts
    glowing = share > 12.0 ** (-1 / 0.45)
    safe = np.where(glowing, share, 1.0)
    hot_current = np.sign(v) * amps * safe**0.55
    return (np.where(glowing, hot_current, v / cold),
            np.where(glowing, 0.55 * amps / volts * safe**-0.45, 1.0 / cold))


def limit_step(new, old, nvt, critical):
    """Junction-voltage limiting (Nagel, SPICE2, ERL-M520, 1975, section 5): the step, never the law."""
    rising = (new > critical) & (np.abs(new - old) > 2.0 * nvt)
    ratio = (new - old) / nvt
    from_on = np.where(ratio > -1.0 + 1e-9, old + nvt * np.log1p(np.maximum(ratio, -1.0 + 1e-9)), critical)
    from_off = nvt * np.log(np.maximum(new, critical) / nvt)
    return np.clip(np.where(rising, np.where(old > 0, from_on, from_off), new), -LARGE, 600.0 * nvt)
