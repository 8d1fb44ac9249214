"""Runs the built program through its fixed command line and hands back its JSON documents."""

import csv
import io
import json
import math
import os
import subprocess
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
BINARY = Path(os.environ.get("KNOWNGOOD_BINARY", ROOT / "target" / "release" / "knowngood"))
DATA = Path(os.environ.get("KNOWNGOOD_DATA", ROOT.parent / "shared" / "data"))
FULL = os.environ.get("KNOWNGOOD_FULL", "") not in ("", "0")
SECONDS = 300


class Refused(RuntimeError):
    """The program ended with exit 1 or 2; the message is what it said."""


def expect(sheet_text, state, pairs, meter_text=None, faults=(), meter_name=None):
    """One expectation for each pair, in the order asked, as `board expect --json` gives them."""
    with tempfile.TemporaryDirectory() as folder:
        command = ["board", "expect", _write(folder, "sheet.kdl", sheet_text), "--state", state,
                   "--pairs", _write(folder, "pairs.csv", pairs_csv(pairs))]
        named = ["--meter", meter_name] if meter_name else _meter(folder, meter_text)
        document = _run(command + named + [w for f in faults for w in ("--with", f)])
    found = document["expectations"]
    echoed = [(e["kind"], e["red"], e["black"]) for e in found]
    if echoed != [tuple(p[:3]) for p in pairs]:
        raise AssertionError(f"asked {len(pairs)} pairs, got {len(echoed)} back: {echoed[:5]}")
    return found


def judge(sheet_text, rows, meter_text=None):
    """The verdicts on reading rows, dicts with the columns of a readings file."""
    with tempfile.TemporaryDirectory() as folder:
        command = ["board", "judge", _write(folder, "sheet.kdl", sheet_text),
                   _write(folder, "readings.csv", readings_csv(rows))]
        return _run(command + _meter(folder, meter_text))["verdicts"]


def simulate(sheet_text, pairs, seed, meter_text=None, faults=()):
    """The readings of one random unit that the program draws, as dicts of columns."""
    with tempfile.TemporaryDirectory() as folder:
        command = [str(BINARY), "board", "simulate", _write(folder, "sheet.kdl", sheet_text), "--seed", str(seed),
                   "--pairs", _write(folder, "pairs.csv", pairs_csv(pairs))]
        text = _output(command + _meter(folder, meter_text) + [w for f in faults for w in ("--with", f)])
    return list(csv.DictReader(io.StringIO(text)))


def logic_diagnose(sheet_text, rows):
    """What explains rows of a gate sheet, dicts with a level for each net."""
    with tempfile.TemporaryDirectory() as folder:
        return _run(["logic", "diagnose", _write(folder, "sheet.kdl", sheet_text),
                     _write(folder, "rows.csv", readings_csv(rows))])


def netlist_diagnose(netlist, observations, seconds):
    """What explains observations, JSON lines, of a netlist in columns, each within so many seconds."""
    with tempfile.TemporaryDirectory() as folder:
        return _run(["logic", "diagnose", str(netlist), _write(folder, "seen.jsonl", observations), "--seconds", str(seconds)])


def number(value):
    """A JSON number, with over range (null) as infinity."""
    return math.inf if value is None else float(value)


def pairs_csv(pairs):
    """A pairs file; a fourth member of a pair is its state."""
    lines = ["kind,red,black" + (",state" if len(pairs[0]) > 3 else "")]
    return "\n".join(lines + [",".join(pair) for pair in pairs]) + "\n"


def readings_csv(rows):
    """A readings file with whatever columns the rows have."""
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def _meter(folder, text):
    return ["--meter", _write(folder, "profile.kdl", text)] if text else []


def _write(folder, name, text):
    path = Path(folder) / name
    path.write_text(text, encoding="utf-8")
    return str(path)


def _run(command):
    return json.loads(_output([str(BINARY), *command, "--json"]))


def _output(command):
    if not BINARY.exists():
        raise AssertionError(f"{BINARY} is not built: `cargo build --release -p cli`, or set KNOWNGOOD_BINARY")
    done = subprocess.run(command, capture_output=True, text=True, timeout=SECONDS, stdin=subprocess.DEVNULL)
    if done.returncode:
        raise Refused(f"exit {done.returncode}: {done.stdout[:2000]} {done.stderr[:2000]}")
    return done.stdout
