"""Measured sweeps of real 2N3904 stages as sheets: one copy of the stage for each point of a sweep.

Data and their sources: real/inverter/case.md of the data folder (laboratory 3 of one college course,
public repositories, figures only). A copy a point lets one run of the program answer a whole sweep.
"""

import csv

# A two-channel source-measure unit: accuracy chosen, no worse than such instruments are.
INSTRUMENT = """meter sweep-instrument {
    ohms { range "1M" amps=1e-6 limit=2.0 accuracy="0.1%" floor="1R" }
    volts ohms="1e10" accuracy="0.1%" floor="4m"
}
"""


def read(folder, name):
    """Sweeps of one file: {(lab, re, rc or 0): [(vcc, vin, vout, ib or None)]}."""
    out = {}
    with open(folder / "real" / "inverter" / name, encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            key = (row["lab"], float(row["re"]), float(row.get("rc") or 0))
            out.setdefault(key, []).append((float(row["vcc"]), float(row["vin"]), float(row["vout"]),
                                            float(row["ib"]) if row.get("ib") else None))
    return out


def sheet(key, points, parameters=""):
    """The sheet of a sweep, each transistor a 2N3904 or one with parameters of its own."""
    _, re, rc = key
    lines = ['sheet SWEEP title="A measured stage, once for each point" {', "    net GND role=ground"]
    for k, (vcc, vin, _, _) in enumerate(points):
        collector = f"C{k}" if rc else f"VCC{k}"
        lines += [f"    supply VP{k} volts={vcc} plus=VCC{k} minus=GND", f"    supply VI{k} volts={vin} plus=B{k} minus=GND",
                  f'    resistor RE{k} {re} E{k} GND tolerance="1%" drift="0%"',
                  f'    npn Q{k} "2N3904" c={collector} b=B{k} e=E{k} {parameters}']
        if rc:
            lines.append(f'    resistor RC{k} {rc} VCC{k} C{k} tolerance="1%" drift="0%"')
    return "\n".join(lines) + "\n}\n"


def pairs(key, points):
    """The output of each copy against ground."""
    return [("volts", f"{'C' if key[2] else 'E'}{k}", "GND") for k in range(len(points))]
