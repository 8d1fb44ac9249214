"""All smallest sets of gates that explain an observation, by a solver written elsewhere and in the plain way; and the score of a family.

Every gate is a variable, one totaliser counts them, the bound is raised from zero, each set is blocked as it is found. The solver is
CaDiCaL 1.9.5 (Biere and others) as the package python-sat carries it.
"""

import gzip
import json
import multiprocessing
import time
from itertools import product

from pysat.card import ITotalizer
from pysat.solvers import Solver

SOLVER = "cadical195"
MOST = 12


def netlist(path):
    """Gates (name, function, output, inputs) of a netlist in columns."""
    lines = path.read_text(encoding="utf-8").splitlines()[1:]
    return [(name, kind, out, inputs.split()) for name, kind, out, inputs in (line.split(",") for line in lines if line)]


def cases(path):
    """The cases of a circuit."""
    with gzip.open(path, "rt", encoding="utf-8") as lines:
        return [json.loads(line) for line in lines]


def plain_way(gates, case):
    """Fewest gates, all sets of that many, and seconds of processor time: of the solver's calls, with loading of the clauses, and with writing them, too."""
    begun = time.process_time()
    ids, clauses = {}, []

    def of(net):
        return ids.setdefault(("net", net), len(ids) + 1)

    faulty = [ids.setdefault(("gate", g[0]), len(ids) + 1) for g in gates]
    for able, (_, kind, out, inputs) in zip(faulty, gates):
        clauses += [[able, *clause] for clause in _gate(kind, of(out), [of(i) for i in inputs])]
    driven = {g[2] for g in gates}
    seen = case["inputs"] | {net: level for net, level in case["outputs"].items() if net in driven}
    clauses += [[of(net) if level else -of(net)] for net, level in seen.items()]
    counter = ITotalizer(lits=faulty, ubound=MOST, top_id=len(ids))
    clauses += counter.cnf.clauses
    written = time.process_time()
    with Solver(name=SOLVER, bootstrap_with=clauses) as solver, counter:
        sets, solving = [], 0.0
        for bound in range(MOST):
            while True:
                before = time.process_time()
                found = solver.solve(assumptions=[-counter.rhs[bound]])
                solving += time.process_time() - before
                if not found:
                    break
                model = solver.get_model()
                members = [i for i, v in enumerate(faulty) if model[v - 1] > 0]
                sets.append(tuple(gates[i][0] for i in members))
                solver.add_clause([-faulty[i] for i in members])
                if not members:
                    break
            if sets:
                now = time.process_time()
                return bound, sets, solving, now - written, now - begun
    raise ValueError(f"more than {MOST} gates are at fault")


def plain_way_within(gates, case, limit):
    """As `plain_way` in a process of its own; None after so many seconds."""
    ours, theirs = multiprocessing.Pipe(duplex=False)
    process = multiprocessing.Process(target=lambda: theirs.send(plain_way(gates, case)))
    process.start()
    found = ours.recv() if ours.poll(limit) else None
    process.kill()
    process.join()
    return found


def _gate(kind, out, inputs):
    """Clauses that hold while the gate follows its function."""
    turn = -1 if kind in ("nand", "nor", "xnor", "not") else 1
    y = turn * out
    base = {"nand": "and", "nor": "or", "xnor": "xor", "not": "buf"}.get(kind, kind)
    if base == "buf":
        return [[-y, inputs[0]], [y, -inputs[0]]]
    if base == "and":
        return [[-y, i] for i in inputs] + [[y] + [-i for i in inputs]]
    if base == "or":
        return [[y, -i] for i in inputs] + [[-y, *inputs]]
    clauses = []
    for levels in product((False, True), repeat=len(inputs)):
        parity = sum(levels) % 2 == 1
        clauses.append([-i if level else i for i, level in zip(inputs, levels)] + [y if parity else -y])
    return clauses


def score(reported, true, gates):
    """The published score of a reported family against the true one, over so many gates (README of the cases)."""
    return _mean(reported, true, gates) / _mean(true, true, gates)


def _mean(reported, true, gates):
    total = 0.0
    for w in map(frozenset, reported):
        size, rest = len(w), gates - len(w)
        for t in map(frozenset, true):
            over, under = len(w - t), len(t - w)
            total += 1 - over * (size + 1) / (gates * (over + 1)) - under * (rest + 1) / (gates * (under + 1))
    return total / (len(reported) * len(true))
