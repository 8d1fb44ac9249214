"""Where each value of a network lands: sparse maps from element currents to Kirchhoff sums, from
element slopes to matrix entries, and from net voltages to element voltages."""

import numpy as np
from scipy import sparse


def of(group, key, unit):
    """A parameter of a group as (elements, cases)."""
    value = group.values[key]
    return value[:, unit] if value.shape[1] > 1 else np.broadcast_to(value, (len(value), len(unit)))


def _difference(nodes, size):
    """Rows: elements; x[first] - x[second]."""
    count = len(nodes)
    if not count:
        return sparse.csr_matrix((0, size))
    rows = np.repeat(np.arange(count), 2)
    return sparse.csr_matrix((np.tile([1.0, -1.0], count), (rows, np.asarray(nodes).ravel())), (count, size))


class Frame:
    """The maps of one network. Currents are stacked: two-terminal groups, then transistor collectors
    and bases, then branches; slopes likewise with four for each transistor and three a branch."""

    def __init__(self, network):
        self.network, self.n, self.size = network, network.nodes, network.size
        self.free = np.setdiff1d(np.arange(self.size), np.unique(network.component))
        q, branch = network.transistors.nodes, network.branches.nodes
        two = [network.resistors, network.junctions, network.zeners, network.lamps, network.sinks]
        self.volts = [_difference(group.nodes, self.size) for group in two]
        has_q = len(q) > 0
        self.vbe = _difference(q[:, [1, 2]] if has_q else q, self.size)
        self.vbc = _difference(q[:, [1, 0]] if has_q else q, self.size)
        self.vce = _difference(q[:, [0, 2]] if has_q else q, self.size)
        self.branch_volts = _difference(branch, self.size)
        self.sums = sparse.hstack([m.T for m in self.volts] + [self.vce.T, self.vbe.T, -self.branch_volts.T]
                                  ).tocsr()
        self.place, self.entries = self._entries(q, branch)

    def _entries(self, q, branch):
        """Over the free unknowns alone: the reference nodes have neither row nor column."""
        size, rows, cols, signs = len(self.free), [], [], []
        place = np.full(self.size, -1)
        place[self.free] = np.arange(size)

        def entry(row, col, value, sign):
            if place[row] >= 0 and place[col] >= 0:
                rows.append(place[row] * size + place[col])
                cols.append(value)
                signs.append(sign)

        def outer(out, inner, at):
            """Entries of one slope: current leaves out[0] for out[1], driven by x[inner[0]] - x[inner[1]]."""
            for row, rs in zip(out, (1, -1)):
                for col, cs in zip(inner, (1, -1)):
                    entry(row, col, at, rs * cs)

        at = 0
        for group in (self.network.resistors, self.network.junctions, self.network.zeners, self.network.lamps):
            for pair in group.nodes:
                outer(pair, pair, at)
                at += 1
        for c, b, e in q:
            for k, (out, inner) in enumerate((((c, e), (b, e)), ((c, e), (b, c)), ((b, e), (b, e)), ((b, e), (b, c)))):
                outer(out, inner, at + k)
            at += 4
        for k, (a, b) in enumerate(branch):
            line = self.n + k
            for row, col, value, sign in ((a, line, 0, -1), (b, line, 0, 1), (line, a, 1, 1),
                                          (line, b, 1, -1), (line, line, 2, 1)):
                entry(row, col, at + value, sign)
            at += 3
        return place, sparse.csr_matrix((np.array(signs, float), (rows, cols)), (size * size, at))
