"""Healthy units drawn and solved by SciPy must fall into the program's bands as often as promised.

95 % +- 1.5 % of each kind of reading: bands too narrow and bands too wide fail alike.
"""

import collections
import os
from pathlib import Path

import numpy as np
import pytest

import healthy
import kdl_reader
import meters
import profiles
import program
import readings
from sheet_reader import read_sheet

UNITS = 1000 if program.FULL else 320
JUDGED = 300 if program.FULL else 60     # units whose readings go through `board judge`
PAIRS = {"ohms": 14, "diode": 8, "volts": 10}
BAND, SLACK = 0.95, 0.015
KINDS = ("ohms", "ohms near a junction", "diode", "volts")
METER = meters.read_meters(profiles.DIGITAL)[0]


def board_files():
    """Circuit sheets of the demo machine, the boards beside this file, and a generated board if it is there."""
    folder = Path(os.environ.get("KNOWNGOOD_DEMO", program.ROOT / "crates" / "bench" / "demo"))
    own = sorted((Path(__file__).parent / "boards").glob("*.kdl"))
    generated = [f for f in [program.DATA / "boards" / "board60.kdl"] if f.exists()]
    return [f for f in sorted(folder.rglob("*.kdl")) if is_circuit(f)] + own + generated


def is_circuit(file):
    """Whether a file holds a sheet with resistors (gate sheets and shapes have none)."""
    return any(node.name == "sheet" and any(child.name == "resistor" for child in node.children)
               for node in kdl_reader.read(file.read_text(encoding="utf-8")))


def pairs_for(sheet, state, rng):
    """Random nets against ground in both polarities, and against each other; cold or powered kinds."""
    nets, ground = [n for n in sheet.nets if n != sheet.ground()], sheet.ground()
    out = []
    for kind in (("volts",) if state == "powered" else ("ohms", "diode")):
        for _ in range(PAIRS[kind]):
            red = str(rng.choice(nets))
            black = ground if rng.random() < 0.7 else str(rng.choice([n for n in nets if n != red]))
            out.append((kind, red, black) if rng.random() < 0.6 or kind == "volts" else (kind, black, red))
    return list(dict.fromkeys(out))


def powered(sheet):
    """Whether a board can be solved at rest: it has a supply."""
    return any(part.kind == "supply" for part in sheet.parts)


def leans_on_a_junction(sheet, pairs, nominal):
    """Which readings move by more than 0.2 % when every saturation current is doubled."""
    doubled = [p if "is" not in p.p else _with(p, "is", 2.0) for p in sheet.parts]
    moved = readings.expected(sheet, doubled, "cold", METER, pairs)[0][:, 0]
    with np.errstate(invalid="ignore"):
        return ~(np.abs(moved - nominal) <= 2e-3 * np.abs(nominal))


def _with(part, key, factor):
    return type(part)(**{**vars(part), "p": part.p | {key: part.p[key] * factor}})


@pytest.fixture(scope="module")
def drawn():
    """Per board: its text, pairs by state, program's rows and the readings of all units."""
    out = []
    for file in board_files():
        text = file.read_text(encoding="utf-8")
        sheet = read_sheet(text)
        rng = np.random.default_rng(int.from_bytes(sheet.name.encode()[-4:], "little"))
        parts = healthy.draw(sheet.parts, UNITS, rng)
        for state in ["cold"] + ["powered"] * powered(sheet):
            pairs = pairs_for(sheet, state, rng)
            rows = program.expect(text, state, pairs, profiles.DIGITAL)
            value, span = readings.expected(sheet, parts, state, METER, pairs)
            nominal = readings.expected(sheet, sheet.parts, state, METER, pairs)[0][:, 0]
            seen = np.empty_like(value)
            for kind in {p[0] for p in pairs}:
                chosen = [i for i, p in enumerate(pairs) if p[0] == kind]
                seen[chosen] = meters.with_error(METER, kind, value[chosen], span[chosen], rng)
            out.append((file.stem, text, sheet, state, pairs, rows, seen, nominal))
    return out


@pytest.fixture(scope="module")
def coverage(drawn):
    """kind: list of (board, pair, share inside, share over range); the last with the reading's own label."""
    out = collections.defaultdict(list)
    for name, _, sheet, state, pairs, rows, seen, nominal in drawn:
        near = leans_on_a_junction(sheet, pairs, nominal) if state == "cold" else [False] * len(pairs)
        for pair, row, values, close in zip(pairs, rows, seen, near):
            low, high = (program.number(row[k]) for k in ("low", "high"))
            kind = "ohms near a junction" if pair[0] == "ohms" and close else pair[0]
            out[kind].append((name, pair, float(((values >= low) & (values <= high)).mean()), float(np.isinf(values).mean())))
    return out


@pytest.mark.parametrize("kind", KINDS)
def test_bands_hold_what_they_promise(coverage, kind):
    """Readings of one kind, over range never or for sure left out: 95 % +- 1.5 % inside."""
    counted = [row for row in coverage[kind] if row[3] == 0.0]
    share = float(np.mean([row[2] for row in counted]))
    print(f"{kind}: {share:.4f} of {len(counted)} pairs x {UNITS} units inside")
    worst = sorted(counted, key=lambda row: -abs(row[2] - BAND))[:8]
    assert len(counted) * UNITS >= 1500
    assert abs(share - BAND) <= SLACK, f"{share:.4f}; furthest off: {worst}"


@pytest.mark.parametrize("stretch", [0.75, 1.35])
def test_stretched_bands_would_be_caught(drawn, stretch):
    """The check can fail both ways: the same readings against bands a quarter narrower, a third wider."""
    shares = []
    for _, _, _, _, _, rows, seen, _ in drawn:
        for row, values in zip(rows, seen):
            low, high = (program.number(row[k]) for k in ("low", "high"))
            if np.isfinite(values).all() and np.isfinite([low, high]).all():
                middle, half = (low + high) / 2, stretch * (high - low) / 2
                shares.append(float((np.abs(values - middle) <= half).mean()))
    assert abs(np.mean(shares) - BAND) > SLACK


def test_no_single_band_is_far_off(coverage):
    """A wrong band must not hide in the mean: every pair between 88 and 99.5 %."""
    off = [(kind, *row) for kind, rows in coverage.items() for row in rows if row[3] == 0.0 and not 0.88 <= row[2] <= 0.995]
    assert not off, off


def test_both_tails_are_there(drawn):
    """No band reaches where no unit does: hardly a tail is empty, and no resistance is below the meter's floor."""
    empty = tails = 0
    for name, _, _, _, pairs, rows, seen, _ in drawn:
        for pair, row, values in zip(pairs, rows, seen):
            low, high = (program.number(row[k]) for k in ("low", "high"))
            if np.isfinite(values).all() and np.isfinite(high):
                tails += 2
                empty += int(not (values < low).any()) + int(not (values > high).any())
            assert pair[0] != "ohms" or low >= -METER.ohms[0].floor, (name, pair, low, high)
    print(f"{empty} of {tails} tails without a unit")
    assert empty <= tails / 100


def test_over_range_is_counted_above_every_value(coverage):
    """Where every unit reads over range, so does the band; where some do, only the low tail is outside."""
    for kind, rows in coverage.items():
        for name, pair, inside, over in rows:
            if over == 1.0:
                assert inside == 1.0, (name, kind, pair)
            elif over > 0.06:
                assert 0.94 <= inside <= 0.999, (name, kind, pair, inside, over)


# 19 Mohm, 10 %, no ageing, on a top range of 20 Mohm: over range with probability 1 - Phi((20/19 - 1) / 0.05) = 0.146,
# so the upper quantile is over range, the lower 19 (1 - 1.96 x 0.05) within the meter's 1 % + 10k.
def test_a_quantile_beyond_full_scale_is_over_range():
    text = 'sheet EDGE { net G role=ground; resistor R1 "19M" A G tolerance="10%" drift="0%"; resistor R2 "21M" B G tolerance="10%" drift="0%" }'
    below, above = program.expect(text, "cold", [("ohms", "A", "G"), ("ohms", "B", "G")], profiles.DIGITAL)
    assert below["expected"] == pytest.approx(19e6, rel=1e-6) and not below["over_range"]
    assert below["high"] is None and below["low"] == pytest.approx(19e6 * (1 - 1.96 * 0.05), rel=0.01)
    assert above["expected"] is None and above["over_range"] and above["high"] is None
    assert above["low"] == pytest.approx(21e6 * (1 - 1.96 * 0.05), rel=0.01)


# A trimmer of 20k across a track end that 1R joins to ground: 1 mA makes 20 V x s (1 - s) at setting s, flat at the
# nominal middle. Uniform s: over 2.5 V with probability sqrt(1 - 0.5) = 0.707; the 2.5 % quantile has s = 0.0125.
def test_a_trimmer_matters_even_where_its_slope_vanishes():
    text = ('sheet FLAT { net G role=ground; resistor R1 "1R" A G tolerance="1%" drift="0%"; '
            'potentiometer RV1 "20k" a=A wiper=W b=G tolerance="1%" drift="0%" }')
    row, = program.expect(text, "cold", [("diode", "W", "G")], profiles.DIGITAL)
    assert row["over_range"] and row["high"] is None
    assert row["low"] == pytest.approx(20 * 0.0125 * 0.9875, rel=0.15)


def test_healthy_units_hardly_ever_disagree(drawn):
    """Fewer than 0.5 `disagrees` in 200 readings of a healthy unit, on average (|z| > 3.29 alone makes 0.2)."""
    readings_seen = disagreed = 0
    for _, text, _, state, pairs, _, seen, _ in drawn:
        rows = [{"unit": unit + 1, "state": state, "kind": kind, "red": red, "black": black,
                 "value": "OL" if np.isinf(value) else f"{value:.7g}"}
                for unit in range(JUDGED) for (kind, red, black), value in zip(pairs, seen[:, unit])]
        verdicts = program.judge(text, rows, profiles.DIGITAL)
        assert len(verdicts) == len(rows)
        readings_seen += len(rows)
        disagreed += sum(v["verdict"] == "disagrees" for v in verdicts)
    print(f"{disagreed} of {readings_seen} healthy readings disagree: {200 * disagreed / readings_seen:.3f} in 200")
    assert readings_seen >= 5000
    assert 200 * disagreed / readings_seen < 0.5
