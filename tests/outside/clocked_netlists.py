"""Published clocked netlists read from their Verilog, run with faults by a simulator of their own, and written as gate sheets."""

import importlib.util
import re
from functools import reduce
from pathlib import Path

# The Python package circuitgraph 0.2.1 (MIT licence) carries the ISCAS-89 circuits as they were synthesised anew. Only its data is used.
PACKAGE = "circuitgraph"
STATEMENT = re.compile(r"^(\w+)\s+(\w+)\s*\((.*)\)$", re.S)
PORT = re.compile(r"\.(\w+)\s*\(\s*(\w+)\s*\)")


def folder():
    """Where the package keeps its netlists, or None if it is not installed."""
    found = importlib.util.find_spec(PACKAGE)
    return Path(found.submodule_search_locations[0]) / "netlists" if found else None


class Netlist:
    """Inputs, outputs, gates (name, function, output, inputs), flip-flops (name, data, state), and the one clock."""

    def __init__(self, text):
        self.inputs, self.outputs, self.gates, self.flops, self.clock = [], [], [], [], None
        # The file holds the circuit and, shorter, the flip-flop it is made of.
        text = max(re.sub(r"//.*", "", text).split("endmodule"), key=len)
        for number, statement in enumerate(" ".join(s.split()) for s in text.split(";")):
            self._statement(statement, number)
        self.inputs = [i for i in self.inputs if i != self.clock]
        self._in_order()

    def _statement(self, statement, number):
        word, _, rest = statement.partition(" ")
        if word in ("input", "output"):
            (self.inputs if word == "input" else self.outputs).extend(rest.replace(" ", "").split(","))
        elif word == "assign":
            left, right = (side.strip() for side in rest.split("="))
            level = {"1'b0": "low", "1'b1": "high"}.get(right)
            self.gates.append((f"assign{number}", level or "buf", left, [] if level else [right]))
        elif word not in ("", "module", "wire"):
            kind, name, inside = STATEMENT.match(statement).groups()
            if "." in inside:
                ports = dict(PORT.findall(inside))
                self.clock = ports["CK"]
                self.flops.append((name, ports["D"], ports["Q"]))
            else:
                output, *inputs = inside.replace(" ", "").split(",")
                self.gates.append((name, kind, output, inputs))

    def _in_order(self):
        """Gates after those that feed them."""
        known = set(self.inputs) | {state for _, _, state in self.flops}
        waiting, ordered = self.gates, []
        while waiting:
            ready = [g for g in waiting if all(i in known for i in g[3])]
            if not ready:
                raise ValueError(f"{len(waiting)} gates feed one another in a ring")
            known.update(g[2] for g in ready)
            ordered += ready
            waiting = [g for g in waiting if g[2] not in known]
        self.gates = ordered

    def sheet(self, name):
        """The same as a gate sheet, every flip-flop starting at 0."""
        lines = [f'logic "{name}" {{', f"    clock {self.clock}", "    input " + " ".join(self.inputs),
                 "    output " + " ".join(self.outputs)]
        for gate, kind, output, inputs in self.gates:
            tie = kind in ("low", "high")
            lines.append(f"    {kind} {output}" if tie else f"    gate {gate} {kind} {output} {' '.join(inputs)}")
        for flop, data, state in self.flops:
            lines.append(f'    package {flop} edge pins="d={data} clock={self.clock} q={state}"')
            lines.append(f"    start {flop}=0")
        return "\n".join(lines + ["}"]) + "\n"

    def run(self, rows, faults):
        """What the outputs show in each row, bit k of a number with fault k in place: (part, "stuck at 0" | "stuck at 1" | "slow").

        rows: for each step the level of each input. A slow part gives in each row what it should have given in the row before.
        Bit len(faults) is the healthy circuit.
        """
        every = (1 << len(faults) + 1) - 1
        masks = {kind: {} for kind in ("stuck at 0", "stuck at 1", "slow")}
        for lane, (part, kind) in enumerate(faults):
            masks[kind][part] = masks[kind].get(part, 0) | 1 << lane
        low, high, slow = masks.values()
        due = {}

        def shown(part, value):
            if part in slow:
                before, due[part] = due.get(part, value), value
                value = value & ~slow[part] | before & slow[part]
            return value & ~low.get(part, 0) | high.get(part, 0)

        state = {name: 0 for name, _, _ in self.flops}
        told = []
        for row in rows:
            level = {net: every if bit else 0 for net, bit in row.items()}
            level |= {q: shown(name, state[name]) for name, _, q in self.flops}
            for name, kind, output, inputs in self.gates:
                level[output] = shown(name, _function(kind, [level[i] for i in inputs], every))
            told.append({net: level[net] for net in self.outputs})
            state = {name: level[d] for name, d, _ in self.flops}
        return told


def _function(kind, levels, every):
    if kind in ("low", "high"):
        return every if kind == "high" else 0
    if kind in ("not", "buf"):
        return levels[0] ^ (every if kind == "not" else 0)
    base = {"and": lambda a, b: a & b, "or": lambda a, b: a | b, "xor": lambda a, b: a ^ b}
    turned = {"nand": "and", "nor": "or", "xnor": "xor"}
    value = reduce(base[turned.get(kind, kind)], levels)
    return value ^ every if kind in turned else value
