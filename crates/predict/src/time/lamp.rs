//! A lamp in series with a load: where the two come to rest.

use circuit::laws::Lamp;

/// Where a lamp and a load in series come to rest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SeriesPoint {
    /// Volts across the load.
    pub load_volts: f64,
    /// Amperes through both.
    pub amps: f64,
    /// Volts across the lamp.
    pub lamp_volts: f64,
}

/// Solves `source` volts over a lamp and a load of `ohms` by halving: the lamp's current only rises with its voltage.
///
/// A load of zero ohms is a short: the lamp then has all volts.
pub fn series_lamp(lamp: &Lamp, source: f64, ohms: f64) -> SeriesPoint {
    let (mut low, mut high) = (0.0, source);
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle + lamp.response(middle).current[0] * ohms < source {
            low = middle;
        } else {
            high = middle;
        }
    }
    let lamp_volts = 0.5 * (low + high);
    SeriesPoint {
        load_volts: source - lamp_volts,
        amps: lamp.response(lamp_volts).current[0],
        lamp_volts,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bulb(volts: f64, watts: f64) -> Lamp {
        Lamp {
            volts,
            amps: watts / volts,
            cold: volts * volts / watts / 15.0,
        }
    }

    /// Tables of I as V^0.55 (lamp rerating rule of the trade handbooks), computed apart from this program; where the lamp
    /// has less than a tenth of its volts, the cold resistance counts and the tables say nothing.
    #[test]
    fn series_lamp_tables() {
        type Row = (f64, f64, &'static [(f64, f64)]);
        let table: [Row; 7] = [
            (
                120.0,
                25.0,
                &[(50.0, 9.9), (144.0, 26.2), (500.0, 66.7), (1440.0, 102.9)],
            ),
            (120.0, 40.0, &[(50.0, 15.4), (144.0, 38.7), (500.0, 84.8)]),
            (120.0, 60.0, &[(50.0, 22.3), (144.0, 52.5), (500.0, 98.1)]),
            (120.0, 100.0, &[(50.0, 34.6), (144.0, 72.3)]),
            (
                230.0,
                40.0,
                &[(200.0, 32.0), (529.0, 74.0), (2000.0, 169.0)],
            ),
            (
                230.0,
                60.0,
                &[(200.0, 46.0), (529.0, 101.0), (2000.0, 193.0)],
            ),
            (230.0, 100.0, &[(200.0, 71.0), (529.0, 139.0)]),
        ];
        for (volts, watts, row) in table {
            for (ohms, wanted) in row {
                let got = series_lamp(&bulb(volts, watts), volts, *ohms).load_volts;
                // The tables give one digit behind the point at 120 V, none at 230 V.
                let least = if volts == 120.0 { 0.06 } else { 0.6 };
                assert!(
                    (got - wanted).abs() < least + 0.001 * wanted,
                    "{watts} W {ohms} ohm: {got}"
                );
            }
        }
        for (volts, watts, amps) in [
            (120.0, 25.0, 0.208),
            (120.0, 100.0, 0.833),
            (230.0, 60.0, 0.261),
        ] {
            let short = series_lamp(&bulb(volts, watts), volts, 0.0);
            assert!((short.amps - amps).abs() < 1e-3 && short.load_volts < 1e-9);
        }
    }
}
