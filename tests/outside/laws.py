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


def breakdown(v, knee, rz, width):
    """Reverse current of a zener beyond its knee, as seen from the anode: a straight line of slope rz.

    Formats.md is silent on the knee itself; `width` volts round it off (0 leaves it sharp).
    """
    beyond = -v - knee
    wide = np.where(width > 0, width, 1.0)
    scaled = np.clip(beyond / wide, -700.0, 700.0)
    soft = wide * np.logaddexp(0.0, scaled)
    over = np.where(width > 0, np.where(scaled >= 700.0, beyond, soft), np.maximum(beyond, 0.0))
    slope = np.where(width > 0, 1.0 / (1.0 + np.exp(-scaled)), beyond > 0)
    return -over / rz, slope / rz


def lamp(v, volts, amps, order):
    """A filament: hot / 12 when cold; in its glow the current goes as V^0.55.

    Exponent: lamp rerating rule, trade practice (IES lighting handbook graphs). How the two meet is
    not fixed: the resistances are joined as the root of a sum of powers `order`; inf takes the larger.
    """
    cold, hot = volts / amps / 12.0, volts / amps * np.maximum(np.abs(v) / volts, 1e-12) ** 0.45
    larger, ratio = np.maximum(cold, hot), np.minimum(cold, hot) / np.maximum(cold, hot)
    finite = np.where(np.isinf(order), 1.0, order)
    joined = np.where(np.isinf(order), 1.0, (1.0 + ratio**finite) ** (1.0 / finite))
    ohms = larger * joined
    # d ln R / d ln v is 0.45 times the hot term's share of the sum
    share = np.where(np.isinf(order), hot > cold, (hot / ohms) ** finite)
    return v / ohms, (1.0 - 0.45 * share) / ohms


def limit_step(new, old, nvt, critical):
    """Junction-voltage limiting (Nagel, SPICE2, ERL-M520, 1975, section 5): the step, never the law."""
    rising = (new > critical) & (np.abs(new - old) > 2.0 * nvt)
    ratio = (new - old) / nvt
    from_on = np.where(ratio > -1.0 + 1e-9, old + nvt * np.log1p(np.maximum(ratio, -1.0 + 1e-9)), critical)
    from_off = nvt * np.log(np.maximum(new, critical) / nvt)
    return np.clip(np.where(rising, np.where(old > 0, from_on, from_off), new), -LARGE, 600.0 * nvt)
