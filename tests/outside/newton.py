"""Operating points of a network for a batch of units and probe pairs: modified nodal analysis.

Newton on Kirchhoff's sums with limited junction steps; what does not settle is tried again with
gmin stepping, then with source stepping. One node of every connected piece is the reference, so
that a cold board's floating pieces need no resistance to ground.
"""

from dataclasses import dataclass

import numpy as np

import laws
from frame import Frame, of

GMIN = 1e-21        # siemens across each junction, decades below what 1e-9 V could notice
CLAMP = 1e3         # siemens of a meter's stiff voltage limit
LEAP = 3.0          # volts in one step beyond what the supplies of the circuit give
FAINT = 1e-8        # share of the probe's current that a drifting, floating piece may still be off by
CHUNK = 192         # cases whose matrices stay in the processor's cache
QUICK = [(10.0**-k, 1.0, 3) for k in (3, 6, 9, 12, 16)] + [(GMIN, 1.0, 60)]
SLOW = [(10.0**-k, 1.0, 60) for k in range(2, 21)] + [(GMIN, 1.0, 200)]
SOURCES = [(1e-12, s, 100) for s in np.linspace(0.02, 1.0, 50)] + [(GMIN, 1.0, 200)]


class NotSolved(RuntimeError):
    """No rung of the ladder settled; the message counts what was left."""


@dataclass
class Probes:
    """A meter between two nodes for each case: amps less siemens x V, with a stiff limit on V."""

    unit: np.ndarray      # column of the network's parameters
    red: np.ndarray
    black: np.ndarray
    amps: np.ndarray
    siemens: np.ndarray
    limit: np.ndarray     # volts, inf without a clamp

    def part(self, chosen):
        return Probes(*(getattr(self, f)[chosen] for f in
                        ("unit", "red", "black", "amps", "siemens", "limit")))

    def volts(self, x):
        case = np.arange(len(x))
        return x[case, self.red] - x[case, self.black]

    def current(self, volts, share=1.0):
        """Current out of the red lead into the circuit, and how it falls with the volts there."""
        over = np.sign(volts) * np.maximum(np.abs(volts) - self.limit, 0.0)
        return (share * self.amps - self.siemens * volts - CLAMP * over,
                self.siemens + CLAMP * (over != 0.0))


def solve(network, probes, near=None):
    """Unknowns of shape (cases, size); raises NotSolved if any case stays open.

    `near` gives unknowns to begin from; the answer does not depend on it.
    """
    frame = Frame(network)
    out = np.zeros((len(probes.unit), network.size))
    for start in range(0, len(out), CHUNK):
        chosen = np.arange(start, min(start + CHUNK, len(out)))
        out[chosen] = _ladder(frame, probes.part(chosen), None if near is None else near[chosen])
    return out


def kirchhoff(network, probes, x):
    """The sum of currents at every node, and the sum of their magnitudes, at x."""
    batch = _Batch(Frame(network), probes)
    batch.x = x
    batch.hold_nothing()
    currents, _ = batch.elements(0.0, 1.0)
    sums, sizes = batch.frame.sums @ currents, abs(batch.frame.sums) @ np.abs(currents)
    case, (into, _) = np.arange(len(x)), probes.current(probes.volts(x))
    for node, sign in ((probes.red, -1), (probes.black, 1)):
        sums[node, case] += sign * into
        sizes[node, case] += np.abs(into)
    return sums[:network.nodes].T, sizes[:network.nodes].T


def _ladder(frame, probes, near):
    batch = _Batch(frame, probes)
    if near is not None:
        batch.x = near.copy()
        batch.hold_nothing()
        batch.climb([(GMIN, 1.0, 30)])
    for rungs in (QUICK, SLOW, SOURCES):
        left = np.flatnonzero(~batch.settled)
        if len(left):
            again = _Batch(frame, probes.part(left))
            again.climb(rungs)
            batch.put(left, again)
    if not batch.settled.all():
        raise NotSolved(f"{np.count_nonzero(~batch.settled)} of {len(batch.settled)} cases did not settle")
    return batch.x


class _Batch:
    """Cases on their way: unknowns, the junction voltages held, supply limits, which have settled."""

    def __init__(self, frame, probes):
        self.frame, self.probes = frame, probes
        cases, net = len(probes.unit), frame.network
        q = len(net.transistors.nodes)
        self.x = np.zeros((cases, frame.size))
        self.held = [np.zeros((count, cases)) for count in (len(net.junctions.nodes), q, q)]
        self.limited = np.zeros((len(net.branches.nodes), cases), bool)
        self.settled = np.zeros(cases, bool)

    def put(self, where, other):
        self.x[where], self.settled[where] = other.x, other.settled
        for mine, theirs in zip(self.held, other.held):
            mine[:, where] = theirs
        self.limited[:, where] = other.limited

    def take(self, where):
        other = _Batch(self.frame, self.probes.part(where))
        other.x = self.x[where]
        other.held = [held[:, where] for held in self.held]
        other.limited = self.limited[:, where]
        return other

    def climb(self, rungs):
        for gmin, share, most in rungs:
            self.settled[:] = False
            self.iterate(gmin, share, most)

    def iterate(self, gmin, share, most):
        """Newton until every case has stood still for two steps, or `most` steps were taken."""
        count = np.zeros(len(self.settled), int)
        for _ in range(most):
            active = np.flatnonzero(~self.settled)
            if not len(active):
                return
            now = self.take(active)
            still = now.step(gmin, share)
            count[active] = np.where(still, count[active] + 1, 0)
            now.settled = count[active] >= 2
            self.put(active, now)

    def step(self, gmin, share):
        """One Newton step; true for the cases in which nothing that matters moved."""
        before = self.probes.volts(self.x)
        matrix, rest = self._assemble(gmin, share)
        move = self._linear(matrix, rest)
        self.x = self.x + move
        volts = self.probes.volts(self.x)
        still = np.abs(volts - before) < 2e-10 + 1e-12 * np.abs(volts)
        near = np.abs(move[:, :self.frame.n]).max(axis=1, initial=0.0) < 1e-6
        # a floating piece that leakage alone holds may still drift without moving the reading
        faint = np.abs(rest).max(axis=1, initial=0.0) < np.maximum(FAINT * np.abs(self.probes.amps), 1e-13)
        free = self._hold(share)
        return still & (faint | (near & free))

    def junction_volts(self):
        f, x = self.frame, self.x.T
        q = self.frame.network.transistors
        sense = q.values["sense"][:, :1] if len(q.nodes) else 1.0
        return [f.volts[1] @ x, sense * (f.vbe @ x), sense * (f.vbc @ x)]

    def hold_nothing(self):
        self.held = self.junction_volts()
        self.limited = self._wanted_limits(1.0)

    def _hold(self, share):
        """Holds junction voltages and supply limits after the unknowns; true where none was held back."""
        net, unit = self.frame.network, self.probes.unit
        free = np.ones(len(self.x), bool)
        for k, (new, group, scale) in enumerate(zip(self.junction_volts(), (net.junctions,) + (net.transistors,) * 2,
                                                    ("nvt", "vt", "vt"))):
            if len(new):
                nvt, sat = of(group, scale, unit), of(group, "sat", unit)
                critical = np.maximum(nvt * np.log(nvt / (np.sqrt(2.0) * sat)), 2 * nvt)
                kept = laws.limit_step(new, self.held[k], nvt, critical)
                free &= (np.abs(kept - new) < 1e-9).all(axis=0)
                self.held[k] = kept
        limits = self._wanted_limits(share)
        free &= (limits == self.limited).all(axis=0)
        self.limited = limits
        return free

    def _wanted_limits(self, share):
        branches, unit = self.frame.network.branches, self.probes.unit
        if not len(branches.nodes):
            return self.limited
        volts, ohms, limit = (of(branches, k, unit) for k in ("volts", "ohms", "limit"))
        finite = np.where(np.isinf(limit), 0.0, limit) * share
        short = volts * share - finite * ohms - self.frame.branch_volts @ self.x.T
        return np.isfinite(limit) & np.where(self.limited, short > 0, self.x[:, self.frame.n:].T > finite)

    def elements(self, gmin, share):
        """Currents and slopes of all elements, linear about the held junction voltages."""
        f, net, unit, x = self.frame, self.frame.network, self.probes.unit, self.x.T
        cases = len(unit)
        currents, slopes = [], []

        def two(group, volts, law, keys, extra=0.0, held=None):
            if len(group.nodes):
                at = volts if held is None else held
                current, slope = law(at, *(of(group, k, unit) for k in keys))
                slope = slope + extra
                currents.append(current + slope * (volts - at) + extra * at)
                slopes.append(slope)

        two(net.resistors, f.volts[0] @ x, lambda v, g: (g * v, g), ("g",))
        two(net.junctions, f.volts[1] @ x, laws.junction, ("sat", "nvt", "rs"), gmin, self.held[0])
        two(net.zeners, f.volts[2] @ x, laws.breakdown, ("knee", "rz", "width"))
        two(net.lamps, f.volts[3] @ x, laws.lamp, ("volts", "amps", "order"))
        if len(net.sinks.nodes):
            currents.append(of(net.sinks, "amps", unit) * share)
        if len(net.transistors.nodes):
            self._transistors(gmin, currents, slopes)
        if len(net.branches.nodes):
            ohms = of(net.branches, "ohms", unit)
            currents.append(x[f.n:])
            slopes.append(np.stack([np.ones_like(ohms), np.where(self.limited, 0.0, 1.0),
                                    np.where(self.limited, 1.0, ohms)], 1).reshape(-1, cases))
        return tuple(np.concatenate(rows) if rows else np.zeros((0, cases)) for rows in (currents, slopes))

    def _transistors(self, gmin, currents, slopes):
        net, unit = self.frame.network, self.probes.unit
        group, (_, vbe, vbc) = net.transistors, self.held
        ic, ib, cf, cr, bf, br = laws.transport(
            vbe, vbc, *(of(group, k, unit) for k in ("sat", "bf", "br", "inverse_early", "vt", "base_emitter")))
        cr, bf, br = cr - gmin, bf + gmin, br + gmin
        ic, ib = ic - gmin * vbc, ib + gmin * (vbe + vbc)
        _, be, bc = self.junction_volts()
        sense = group.values["sense"][:, :1]
        currents += [sense * (ic + cf * (be - vbe) + cr * (bc - vbc)), sense * (ib + bf * (be - vbe) + br * (bc - vbc))]
        slopes.append(np.stack([cf, cr, bf, br], 1).reshape(-1, len(unit)))

    def _assemble(self, gmin, share):
        """The matrix, and minus the Kirchhoff sums and branch equations, at x."""
        f, branches, unit = self.frame, self.frame.network.branches, self.probes.unit
        currents, slopes = self.elements(gmin, share)
        cases, case = len(unit), np.arange(len(unit))
        matrix = np.ascontiguousarray((f.entries @ slopes).T).reshape(cases, len(f.free), len(f.free))
        rest = -(f.sums @ currents)
        if len(branches.nodes):
            volts, ohms, limit = (of(branches, k, unit) for k in ("volts", "ohms", "limit"))
            now = self.x[:, f.n:].T
            rest[f.n:] = np.where(self.limited, np.where(np.isinf(limit), 0.0, limit) * share - now,
                                  volts * share - ohms * now - f.branch_volts @ self.x.T)
        into, fall = self.probes.current(self.probes.volts(self.x), share)
        red, black = self.probes.red, self.probes.black
        rest[red, case] += into
        rest[black, case] -= into
        for row, col, sign in ((red, red, 1), (red, black, -1), (black, red, -1), (black, black, 1)):
            inside = (f.place[row] >= 0) & (f.place[col] >= 0)
            matrix[case[inside], f.place[row[inside]], f.place[col[inside]]] += sign * fall[inside]
        return matrix, rest[f.free].T

    def _linear(self, matrix, rest):
        """The step of all unknowns; the reference nodes stay at zero."""
        move = np.zeros((len(rest), self.frame.size))
        try:
            step = np.linalg.solve(matrix, rest[:, :, None])[:, :, 0]
        except np.linalg.LinAlgError:
            step = np.array([np.linalg.lstsq(a, b, rcond=None)[0] for a, b in zip(matrix, rest)])
        leap = LEAP + np.abs(self.frame.network.branches.values.get("volts", np.zeros(1))).sum(axis=0).max()
        move[:, self.frame.free] = np.where(np.isfinite(step), step, 0.0)
        move[:, :self.frame.n] = np.clip(move[:, :self.frame.n], -leap, leap)
        return move
