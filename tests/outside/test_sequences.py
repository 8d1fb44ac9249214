"""The program against published clocked circuits with a stuck or slow part in them, recorded by a simulator written apart from it.

Source: ISCAS-89 (Brglez, Bryan and Kozminski, 1989) s27, s13207, s38417 and s38584, re-synthesised, as the Python package
circuitgraph 0.2.1 carries them; nothing of them is kept here.
"""

import random

import pytest

import clocked_netlists
import program

CLOCKS = 50
# Circuit, flip-flops, faults drawn until so many of them show; the second number for KNOWNGOOD_FULL.
CIRCUITS = [("s27", 3, 20, 60), ("s13207", 199, 6, 30), ("s38417", 1462, 1, 6), ("s38584", 1159, 1, 8)]
LANES = 64


@pytest.mark.parametrize(("name", "flops", "few", "many"), CIRCUITS)
def test_an_injected_part_is_among_those_reported(name, flops, few, many):
    folder = clocked_netlists.folder()
    assert folder, "circuitgraph is not installed: pip install -r tests/outside/requirements.txt"
    netlist = clocked_netlists.Netlist((folder / f"{name}.v").read_text(encoding="utf-8"))
    assert len(netlist.flops) == flops
    wanted, seed, showing = (many if program.FULL else few), 0, []
    while len(showing) < wanted:
        seed += 1
        showing += list(_recordings(netlist, random.Random(f"{name} {seed}")))
    sheet, counts = netlist.sheet(name), []
    for (part, fault), rows in showing[:wanted]:
        result, = program.logic_diagnose(sheet, rows)["results"]
        assert result["complete"] and result["min_cardinality"] == 1
        assert [part] in result["diagnoses"], f"{part} {fault} is not among {result['count']} sets"
        assert result["named_complete"]
        output = "q" if any(part == flop for flop, _, _ in netlist.flops) else "y"
        assert [f"{part}.{output} {fault}"] in result["named"], f"{part}.{output} {fault}"
        assert result["first"] and result["first"]["row"] <= CLOCKS
        counts.append((result["count"], len(result["named"]), round(result["seconds"], 1)))
    print(f"{name}: {len(counts)} of {len(counts)} found; sets, named faults, seconds: {sorted(counts)}")


def _recordings(netlist, draw):
    """Faults that show at an output within the clocks, each with its rows: inputs as they were put, outputs as they were seen."""
    rows = [{net: draw.random() < 0.5 for net in netlist.inputs} for _ in range(CLOCKS)]
    parts = [g[0] for g in netlist.gates if g[1] not in ("low", "high", "buf")] + [f[0] for f in netlist.flops]
    faults = [(draw.choice(parts), draw.choice(["stuck at 0", "stuck at 1", "slow"])) for _ in range(LANES)]
    told = netlist.run(rows, faults)
    for lane, fault in enumerate(faults):
        if any((value >> lane ^ value >> LANES) & 1 for row in told for value in row.values()):
            yield fault, [{net: int(level) for net, level in put.items()} |
                          {net: seen[net] >> lane & 1 for net in netlist.outputs} for put, seen in zip(rows, told)]
