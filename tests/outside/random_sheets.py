"""Random circuits of 10 to 80 parts with every kind of part, and random faults in them.

Invented circuits, drawn from one number each: about half of the parts stand in stages as real boards
have them, the rest lie between nets at random, so that no structure is taken for granted.
"""

import numpy as np

E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
DIODES = ("silicon-signal", "silicon-signal", "silicon-rectifier", "germanium-signal")
TRANSISTORS = ("silicon-signal", "silicon-signal", "germanium-signal", "germanium-power")


class Board:
    """A sheet in the making: lines of text, nets, and which parts could fail in which way."""

    def __init__(self, number, count):
        self.rng = np.random.default_rng(number)
        self.lines, self.nets, self.refs, self.numbers = [], ["GND", "VCC"], [], {}
        self.name = f"RANDOM{number}"
        self.supplies()
        while len(self.refs) < count:
            self.rng.choice([self.stage, self.loose], p=[0.45, 0.55])()

    def text(self):
        head = [f'sheet {self.name} title="Random circuit, invented" {{', "net GND role=ground", "net VCC role=rail"]
        return "\n    ".join(head + self.lines) + "\n}\n"

    def ref(self, letter, kind):
        self.numbers[letter] = self.numbers.get(letter, 0) + 1
        name = f"{letter}{self.numbers[letter]}"
        self.refs.append((name, kind))
        return name

    def net(self):
        self.nets.append(f"N{len(self.nets)}")
        return self.nets[-1]

    def old_net(self):
        return str(self.rng.choice(self.nets))

    def pair(self):
        a, b = self.rng.choice(self.nets, 2, replace=False)
        return str(a), str(b)

    def value(self, low, high):
        """An E12 value in RKM style between two decades, such as 4k7."""
        mantissa = float(self.rng.choice(E12))
        number = mantissa * 10.0 ** int(self.rng.integers(low, high + 1))
        for factor, mark in ((1e6, "M"), (1e3, "k"), (1.0, "R")):
            if number >= factor:
                whole = number / factor
                return f"{whole:g}".replace(".", mark) if whole % 1 else f"{whole:g}{mark}"
        return f"{number:g}"

    def supplies(self):
        volts = float(self.rng.choice([5, 9, 12, 15, 24]))
        limit = ' limit="2A"' if self.rng.random() < 0.3 else ""
        off = ' off="220R"' if self.rng.random() < 0.5 else ""
        self.lines.append(f"supply {self.ref('V', 'supply')} volts={volts:g} plus=VCC minus=GND ohms=0.5{limit}{off}")
        if self.rng.random() < 0.4:
            self.nets.append("VEE")
            self.lines.append(f"supply {self.ref('V', 'supply')} volts=6 plus=GND minus=VEE ohms=1.5")
        self.resistor("VCC", "GND", 2, 4)

    def resistor(self, a, b, low=2, high=5):
        style = self.rng.choice(["composition", "film", "wirewound"])
        self.lines.append(f'resistor {self.ref("R", "resistor")} "{self.value(low, high)}" {a} {b} style={style}')

    def diode(self, anode, cathode):
        own = self.rng.random()
        extra = (f" is={10 ** self.rng.uniform(-15, -8):.3e}" if own < 0.2 else
                 f" is={10 ** self.rng.uniform(-13, -7):.3e} n={self.rng.uniform(1, 2):.2f} rs={self.rng.uniform(0, 5):.1f}"
                 if own < 0.4 else "")
        self.lines.append(f"diode {self.ref('D', 'diode')} {self.rng.choice(DIODES)} anode={anode} cathode={cathode}{extra}")

    def zener(self, anode, cathode):
        volts = self.rng.choice(["3.3", "5.1V", "6.2V", "9.1V"])
        extra = ' izt="10m" rz="6R8"' if self.rng.random() < 0.3 else ""
        self.lines.append(f'zener {self.ref("D", "zener")} "{volts}" anode={anode} cathode={cathode}{extra}')

    def transistor(self, c, b, e, kind=None):
        kind = kind or str(self.rng.choice(["npn", "npn", "pnp"]))
        own = self.rng.random()
        extra = (f" is={10 ** self.rng.uniform(-16, -12):.3e} bf={self.rng.uniform(20, 300):.0f}" if own < 0.2 else
                 f" bf={self.rng.uniform(20, 200):.0f} br={self.rng.uniform(0.5, 5):.2f} rc={self.rng.uniform(1, 30):.1f}"
                 if own < 0.4 else "")
        self.lines.append(f"{kind} {self.ref('Q', kind)} {self.rng.choice(TRANSISTORS)} c={c} b={b} e={e}{extra}")

    def stage(self):
        self.rng.choice([self.amplifier, self.gate, self.regulator, self.filter, self.adjuster, self.indicator])()

    def amplifier(self):
        kind = str(self.rng.choice(["npn", "pnp"]))
        top, bottom = ("VCC", "GND") if kind == "npn" else ("GND", "VCC")
        c, b, e = self.net(), self.net(), self.net()
        self.resistor(top, b, 4, 4)
        self.resistor(b, bottom, 3, 4)
        self.resistor(top, c, 3, 3)
        self.resistor(e, bottom, 2, 2)
        self.transistor(c, b, e, kind)
        if self.rng.random() < 0.5:
            self.lines.append(f'capacitor {self.ref("C", "capacitor")} "47u" plus={e} minus=GND style=electrolytic')

    def gate(self):
        x, b, y = self.net(), self.net(), self.net()
        self.resistor("VCC", x, 3, 3)
        for _ in range(2):
            self.diode(x, self.old_net())
        self.diode(x, b)
        self.resistor(b, "GND", 4, 4)
        self.resistor("VCC", y, 3, 3)
        self.transistor(y, b, "GND", "npn")

    def regulator(self):
        ref, out = self.net(), self.net()
        self.resistor("VCC", ref, 2, 3)
        self.zener("GND", ref)
        self.transistor("VCC", ref, out, "npn")
        self.resistor(out, "GND", 2, 3)
        self.lines.append(f'capacitor {self.ref("C", "capacitor")} "10n" {ref} GND style=paper leak="50M"')

    def filter(self):
        mid, out = self.net(), self.net()
        self.lines.append(f'inductor {self.ref("L", "inductor")} "10m" {self.old_net()} {mid} ohms=12')
        self.lines.append(f'fuse {self.ref("F", "fuse")} "1A" {mid} {out}')
        self.resistor(out, self.old_net(), 2, 4)
        self.lines.append(f'capacitor {self.ref("C", "capacitor")} "100n" {out} GND style=film')

    def adjuster(self):
        wiper, low = self.net(), self.net()
        setting = f" setting={self.rng.uniform(0.05, 0.95):.2f}" if self.rng.random() < 0.7 else ""
        self.lines.append(f'potentiometer {self.ref("RV", "potentiometer")} "{self.value(3, 4)}" a={self.old_net()}'
                          f" wiper={wiper} b={low}{setting}")
        self.resistor(low, self.old_net(), 2, 3)
        self.resistor(wiper, self.old_net(), 4, 5)

    def indicator(self):
        end, sw = self.net(), self.net()
        self.lines.append(f"lamp {self.ref('B', 'lamp')} VCC {end} volts=24 amps=0.04")
        state = self.rng.choice(["closed", "open"])
        self.lines.append(f"switch {self.ref('S', 'switch')} {end} {sw} state={state}")
        self.resistor(sw, "GND", 2, 3)

    def loose(self):
        what = self.rng.random()
        a, b = self.pair()
        if what < 0.45:
            self.resistor(a, b, 2, 5)
        elif what < 0.60:
            self.diode(a, b)
        elif what < 0.65:
            self.zener(a, b)
        elif what < 0.75:
            c = self.net()
            self.resistor(c, a, 3, 4)
            self.transistor(c, b, self.old_net())
        elif what < 0.85:
            self.resistor(a, self.net(), 2, 5)
        elif what < 0.90:
            self.lines.append(f'capacitor {self.ref("C", "capacitor")} "22u" plus={a} minus={b} style=electrolytic')
        elif what < 0.95:
            self.lines.append(f'load {self.ref("L9", "load")} {a} GND ohms="{self.value(3, 3)}"')
        else:
            self.winding(a, b)

    def winding(self, a, b):
        name = self.ref("T", "transformer")
        self.lines.append(f"transformer {name} {{ winding primary {a} {b} volts=12 ohms=18; "
                          f"winding secondary {self.net()} {self.old_net()} volts=12 ohms=0.9 }}")

    def fault(self):
        """One random fault in the words of `--with`."""
        if self.rng.random() < 0.1:
            a, b = self.pair()
            return f"bridge {a} {b}={self.value(0, 3)}"
        name, kind = self.refs[int(self.rng.integers(len(self.refs)))]
        if kind == "transformer":
            return f"{name}.primary {self.rng.choice(['open', 'short'])}"
        choice = str(self.rng.choice(FAULTS[kind]))
        magnitude = {"high": f"={self.rng.uniform(1.2, 5):.2f}", "low": f"={self.rng.uniform(0.2, 0.8):.2f}",
                     "leaky": f"={self.value(2, 4)}"}
        return f"{name} {choice}{magnitude.get(choice, '')}"


FAULTS = {
    "resistor": ("open", "short", "high", "low", "leaky"), "potentiometer": ("open", "high", "low"),
    "capacitor": ("open", "short", "leaky", "low"), "inductor": ("open", "short", "leaky"),
    "diode": ("open", "short", "leaky", "turned"), "zener": ("open", "short", "high", "low", "leaky"),
    "npn": ("open", "be-short", "bc-short", "ce-short", "b-open", "c-open", "e-open", "be-open", "turned",
            "high", "low"),
    "fuse": ("open",), "switch": ("open",), "lamp": ("open", "short"), "supply": ("open",), "load": ("open",),
}
FAULTS["pnp"] = FAULTS["npn"]


def random_board(number):
    """The board of a number: 10 to 80 parts."""
    return Board(number, int(10 + (number * 7919) % 71))
