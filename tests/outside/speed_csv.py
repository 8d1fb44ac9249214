"""Megabytes a processor second of reading a recording as CSV: the program and polars, in one run on one file.

Usage: speed_csv.py PATH-OF-KNOWNGOOD [rows]. Needs numpy and polars; the best of several tries of each counts.
"""

import os
import resource
import subprocess
import sys
import tempfile
import time

import numpy as np


def write(path, rows):
    """The shape that an oscilloscope writes: time in exponent form, two channels in decimals."""
    k = np.arange(rows)
    value = ((k * 7919) % 10007) * 1e-3
    with open(path, "w") as out:
        out.write("Time (s),CH1 (V),CH2 (V)\n")
        for start in range(0, rows, 100_000):
            part = k[start : start + 100_000]
            v = value[start : start + 100_000]
            out.writelines(f"{t:.9e},{a:.5f},{b:.5f}\n" for t, a, b in zip(part * 4e-9, v, -0.5 * v))


def children():
    usage = resource.getrusage(resource.RUSAGE_CHILDREN)
    return usage.ru_utime + usage.ru_stime


def main():
    program, rows = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 2_000_000
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "capture.csv")
        write(path, rows)
        size = os.path.getsize(path) / 1e6
        own, other = [], []
        polars = f"import polars, time\nt = time.process_time()\nd = polars.read_csv({path!r})\nassert d.height == {rows}\nprint(time.process_time() - t)"
        for _ in range(5):
            before = children()
            subprocess.run([program, "capture", "measure", path, "--json"], check=True, stdout=subprocess.DEVNULL)
            own.append(children() - before)
            other.append(float(subprocess.run([sys.executable, "-c", polars], check=True, capture_output=True, text=True).stdout))
        a, b = size / min(own), size / min(other)
        print(f"{size:.0f} MB: capture measure, all of it {a:.0f} MB/s; polars, reading alone {b:.0f} MB/s; {a / b:.2f} times")


main()
