//! Values and types of random parts, as lines of a sheet.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

/// A value drawn evenly in decades.
pub fn decades(g: &mut ChaCha8Rng, low: f64, high: f64) -> f64 {
    let exponent = g.random_range(low.log10()..high.log10());
    // Three digits, as a person would write it.
    format!("{:.2e}", 10f64.powf(exponent))
        .parse()
        .expect("a number was printed")
}

/// One of a list.
pub fn one<'a>(g: &mut ChaCha8Rng, list: &[&'a str]) -> &'a str {
    list[g.random_range(0..list.len())]
}

/// A type of diode, half of the time with parameters of its own.
pub fn diode_type(g: &mut ChaCha8Rng) -> String {
    let class = one(
        g,
        &[
            "silicon-signal",
            "silicon-rectifier",
            "germanium-signal",
            "germanium-point-contact",
        ],
    );
    if g.random_bool(0.5) {
        return class.to_owned();
    }
    let is = decades(g, 1e-16, 1e-5);
    let n = g.random_range(1.0..2.0);
    let rs = if g.random_bool(0.5) {
        0.0
    } else {
        decades(g, 0.1, 20.0)
    };
    format!("{class} is={is:e} n={n:.3} rs={rs}")
}

/// A type of transistor, half of the time with parameters of its own.
pub fn transistor_type(g: &mut ChaCha8Rng, germanium: bool) -> String {
    let class = if germanium {
        one(g, &["germanium-signal", "germanium-power"])
    } else {
        one(g, &["silicon-signal", "silicon-power"])
    };
    if g.random_bool(0.5) {
        return class.to_owned();
    }
    let is = if germanium {
        decades(g, 1e-8, 1e-4)
    } else {
        decades(g, 1e-17, 1e-11)
    };
    let bf = decades(g, 15.0, 500.0);
    let br = decades(g, 0.3, 20.0);
    let mut text = format!("{class} is={is:e} bf={bf} br={br}");
    if g.random_bool(0.2) {
        text += &format!(" vaf={}", decades(g, 20.0, 200.0));
    }
    if g.random_bool(0.2) {
        text += &format!(" rc={}", decades(g, 0.1, 50.0));
    }
    text
}

/// A part of any kind between nets that `net` draws.
pub fn any(
    g: &mut ChaCha8Rng,
    number: usize,
    germanium: bool,
    net: &mut dyn FnMut(&mut ChaCha8Rng) -> String,
) -> String {
    let (a, b, c) = (net(g), net(g), net(g));
    let k = number;
    match g.random_range(0..100) {
        0..40 => format!("resistor R{k} {} \"{a}\" \"{b}\"", decades(g, 1.0, 1e6)),
        40..44 => {
            let setting = match g.random_range(0..4) {
                0 => String::new(),
                1 => format!(" setting={}", g.random_range(0..2)),
                _ => format!(" setting={:.2}", g.random_range(0.0..1.0)),
            };
            let ohms = decades(g, 100.0, 1e6);
            format!("potentiometer RV{k} {ohms} a=\"{a}\" wiper=\"{b}\" b=\"{c}\"{setting}")
        }
        44..58 => {
            let kind = diode_type(g);
            format!("diode D{k} {kind} anode=\"{a}\" cathode=\"{b}\"")
        }
        58..63 => {
            let volts = g.random_range(2.4..30.0);
            format!("zener DZ{k} {volts:.1} anode=\"{a}\" cathode=\"{b}\"")
        }
        63..80 => {
            let kind = transistor_type(g, germanium);
            let polarity = one(g, &["npn", "pnp"]);
            format!("{polarity} Q{k} {kind} c=\"{a}\" b=\"{b}\" e=\"{c}\"")
        }
        80..83 => {
            let volts = g.random_range(2.0..30.0);
            let amps = decades(g, 0.02, 1.0);
            format!("lamp B{k} \"{a}\" \"{b}\" volts={volts:.1} amps={amps}")
        }
        83..87 => {
            let state = one(g, &["open", "closed"]);
            format!("switch S{k} \"{a}\" \"{b}\" state={state}")
        }
        87..89 => format!("fuse F{k} {} \"{a}\" \"{b}\"", decades(g, 0.1, 5.0)),
        89..94 => {
            let leak = match g.random_range(0..3) {
                0 => format!("leak={:e}", decades(g, 1e3, 1e9)),
                1 => "style=electrolytic".to_owned(),
                _ => "style=paper".to_owned(),
            };
            format!("capacitor C{k} 1e-7 \"{a}\" \"{b}\" {leak}")
        }
        94..97 => {
            let ohms = decades(g, 0.01, 500.0);
            format!("inductor L{k} 0.01 \"{a}\" \"{b}\" ohms={ohms}")
        }
        _ => {
            let cold = one(g, &["", " cold=#true"]);
            let ohms = decades(g, 10.0, 1e5);
            format!("load LD{k} \"{a}\" \"{b}\" ohms={ohms}{cold}")
        }
    }
}

/// A fault that a part given as a line of a sheet can have; none for some parts.
pub fn fault(g: &mut ChaCha8Rng, line: &str) -> Option<String> {
    let mut words = line.split(' ');
    let (kind, name) = (words.next()?, words.next()?);
    let high = g.random_range(1.5..5.0);
    let drifted = [
        format!("high={high:.2}"),
        format!("low={:.2}", 1.0 / high),
        format!("leaky={}", decades(g, 100.0, 1e5)),
    ];
    let fixed: &[&str] = match kind {
        "resistor" | "potentiometer" | "inductor" | "zener" => &["open", "short", "0", "1", "2"],
        "capacitor" => &["open", "short", "2"],
        "diode" => &["open", "short", "turned", "2"],
        "npn" | "pnp" => &[
            "open", "be-short", "bc-short", "ce-short", "b-open", "c-open", "e-open", "be-open",
            "turned", "0", "1",
        ],
        "lamp" | "switch" | "fuse" => &["open", "short"],
        "supply" => &["open", "short"],
        _ => return None,
    };
    let mode = one(g, fixed);
    let mode = mode
        .parse::<usize>()
        .map_or_else(|_| mode.to_owned(), |k| drifted[k].clone());
    Some(format!("{name} {mode}"))
}
