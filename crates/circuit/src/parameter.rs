//! The numbers behind a circuit, and how healthy examples of them vary.

use sheet::PartId;

/// Index of a parameter in [`Population::parameters`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct ParameterId(pub u32);

impl ParameterId {
    /// The position in the lists of parameters and values.
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

/// What a parameter is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// A resistance.
    Ohms,
    /// A potentiometer's setting, as the fraction from `a` to the wiper.
    Setting,
    /// A saturation current.
    Is,
    /// A forward gain.
    Bf,
    /// A reverse gain.
    Br,
    /// A zener's or a supply's voltage.
    Volts,
    /// A load's current.
    Amps,
}

/// How a parameter follows the standard normal variables of one unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Variation {
    /// It does not vary.
    Fixed,
    /// nominal (1 + mean + sd z).
    Normal {
        /// Mean shift as a fraction.
        mean: f64,
        /// Standard deviation as a fraction.
        sd: f64,
        /// Index of z.
        variable: u32,
    },
    /// nominal exp(lot z_lot + own z_own); the sizes are natural logarithms.
    Lognormal {
        /// (index of z, size) common to the lot.
        lot: Option<(u32, f64)>,
        /// (index of z, size) of the part itself.
        own: Option<(u32, f64)>,
    },
    /// Uniform from 0 to 1: the normal distribution function of z; nominal is one half.
    Uniform {
        /// Index of z.
        variable: u32,
    },
}

/// One number behind the circuit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parameter {
    /// The part it belongs to.
    pub part: PartId,
    /// What it is.
    pub quantity: Quantity,
    /// Value of the nominal part, in SI units.
    pub nominal: f64,
    /// How healthy examples vary.
    pub variation: Variation,
}

/// All parameters of a circuit and the number of independent variables behind them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Population {
    /// The parameters.
    pub parameters: Vec<Parameter>,
    /// Number of independent standard normal variables.
    pub variables: usize,
}

/// No normal deviate takes a value below this fraction of nominal; a part is never negative.
const SMALLEST: f64 = 1e-3;

impl Parameter {
    /// The value in the unit whose variables are `z`.
    pub fn value(&self, z: &[f64]) -> f64 {
        match self.variation {
            Variation::Fixed => self.nominal,
            Variation::Normal { mean, sd, variable } => {
                self.nominal * (1.0 + mean + sd * z[variable as usize]).max(SMALLEST)
            }
            Variation::Lognormal { lot, own } => {
                let exponent: f64 = [lot, own]
                    .iter()
                    .flatten()
                    .map(|(variable, size)| size * z[*variable as usize])
                    .sum();
                self.nominal * exponent.exp()
            }
            Variation::Uniform { variable } => normal_cdf(z[variable as usize]),
        }
    }

    /// Calls `each` with (variable, derivative of the value) for every variable behind it, at `z`.
    pub fn for_each_slope(&self, z: &[f64], mut each: impl FnMut(usize, f64)) {
        match self.variation {
            Variation::Fixed => {}
            Variation::Normal { sd, variable, .. } => each(variable as usize, self.nominal * sd),
            Variation::Lognormal { lot, own } => {
                let value = self.value(z);
                for (variable, size) in [lot, own].iter().flatten() {
                    each(*variable as usize, value * size);
                }
            }
            Variation::Uniform { variable } => {
                let x = z[variable as usize];
                each(
                    variable as usize,
                    (-0.5 * x * x).exp() / std::f64::consts::TAU.sqrt(),
                );
            }
        }
    }
}

impl Population {
    /// Values of nominal parts, as printed on the drawing.
    pub fn nominal(&self) -> Vec<f64> {
        self.parameters.iter().map(|p| p.nominal).collect()
    }

    /// Values in the unit whose variables are `z`; `z` has [`Population::variables`] entries.
    pub fn values(&self, z: &[f64]) -> Vec<f64> {
        self.parameters.iter().map(|p| p.value(z)).collect()
    }
}

/// The standard normal distribution function, by the complementary error function.
pub fn normal_cdf(x: f64) -> f64 {
    0.5 * libm::erfc(-x * std::f64::consts::FRAC_1_SQRT_2)
}
