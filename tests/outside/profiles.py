"""Meters that the outside check brings along: invented profiles in the grammar of formats.md."""

DIGITAL = """meter check-digital {
    ohms { range "200R" amps=1e-3 limit=3.0 accuracy="0.3%" floor="0R1"; range "2k" amps=1e-3 limit=3.0 accuracy="0.3%" floor="1R"
           range "20k" amps=1e-4 limit=3.0 accuracy="0.3%" floor="10R"; range "200k" amps=1e-5 limit=3.0 accuracy="0.3%" floor="100R"
           range "2M" amps=1e-6 limit=3.0 accuracy="0.5%" floor="1k"; range "20M" amps=1e-7 limit=3.0 accuracy="1%" floor="10k" }
    diode amps=1e-3 limit=2.5 accuracy="0.5%" floor="1m"
    volts ohms="10M" accuracy="0.3%" floor="1m" max=600
}
"""
GENTLE = """meter check-gentle {
    ohms { range "400R" amps=4e-4 limit=0.45 accuracy="0.7%" floor="0R2"; range "4k" amps=1e-4 limit=0.45 accuracy="0.7%" floor="2R"
           range "40k" amps=1e-5 limit=0.45 accuracy="0.7%" floor="20R"; range "400k" amps=1e-6 limit=0.45 accuracy="0.7%" floor="200R"
           range "4M" amps=1e-7 limit=0.45 accuracy="1.5%" floor="2k" }
    diode amps=6e-4 limit=1.5 accuracy="0.8%" floor="1m"
    volts ohms="1M" accuracy="0.5%" floor="2m" max=500
}
"""
MOVING_COIL = """meter check-coil {
    ohms { range x1 source="15R" open=1.5 full="1k5" reversed=#true accuracy="5%"; range x100 source="1k5" open=1.5 reversed=#true accuracy="5%"
           range x1k source="15k" open=1.5 reversed=#true accuracy="5%" }
    volts ohms-per-volt="20k" range=50 accuracy="3%" max=1000
}
"""
ALL = {"digital": DIGITAL, "gentle": GENTLE, "coil": MOVING_COIL}
