//! What a fault destroys, against circuits that can be worked out on paper.

use circuit::Fault;
use predict::stress::{Aspect, Powered, hazard_faults};
use sheet::Sheet;

fn sheet(text: &str) -> Sheet {
    let (sheet, diagnostics) = sheet::parse(text, "s.kdl");
    let errors: Vec<_> = diagnostics.iter().filter(|d| d.is_error()).collect();
    assert!(errors.is_empty(), "{errors:?}");
    sheet
}

/// A victim: part, aspect, times its rating, round.
type Lost = (String, Aspect, f64, usize);

/// Victims of a fault, fuses that open, and the severity.
fn follow(text: &str, fault: &str) -> (Vec<Lost>, Vec<String>, f64) {
    let sheet = sheet(text);
    let powered = Powered::new(&sheet).expect("the healthy circuit can be solved");
    assert!(
        powered.loses().victims.is_empty(),
        "a healthy circuit loses nothing"
    );
    let fault = Fault::parse(fault, &sheet).unwrap();
    let cascade = powered
        .follow(&fault)
        .expect("the faulty circuit can be solved");
    assert_eq!(cascade.stopped, None);
    let name = |p: sheet::PartId| sheet.parts[p.index()].name.clone();
    let victims = cascade.victims.iter().map(|v| {
        let gauge = &powered.gauges()[v.gauge];
        assert!((v.times - v.stress / gauge.rating).abs() < 1e-12);
        (name(gauge.part), gauge.aspect, v.times, v.round)
    });
    (
        victims.collect(),
        cascade.blown.iter().map(|p| name(*p)).collect(),
        cascade.severity,
    )
}

fn near(got: f64, wanted: f64, fraction: f64) {
    assert!(
        (got - wanted).abs() <= fraction * wanted,
        "{got} is not {wanted}"
    );
}

#[test]
fn a_shorted_zener_leaves_its_resistor_with_the_whole_supply() {
    let text = r#"sheet S {
        net G role=ground
        supply V1 volts=12 plus=P minus=G
        resistor R1 "220R" P Z watts=0.25
        zener D1 "6.2V" anode=G cathode=Z watts=0.4
        resistor R2 "4k7" Z G watts=0.25
    }"#;
    let (victims, blown, severity) = follow(text, "D1 short");
    // 12 V over 220 + 0.1 ohm: (12 / 220.1)^2 220 = 0.6539 W of 0.25 W.
    assert_eq!(victims.len(), 1, "{victims:?}");
    assert_eq!(
        (victims[0].0.as_str(), victims[0].1, victims[0].3),
        ("R1", Aspect::Watts, 0)
    );
    near(victims[0].2, 2.61565, 1e-3);
    assert!(blown.is_empty());
    assert_eq!(severity, 1.0);
    // With half a watt it bears that for as long as anybody looks: 1.31 ratings.
    let stronger = text.replace("P Z watts=0.25", "P Z watts=0.5");
    assert!(follow(&stronger, "D1 short").0.is_empty());
}

/// A follower from 20 V to 5 V; what stands behind it is put in.
fn follower(more: &str) -> String {
    format!(
        r#"sheet S {{
        net G role=ground
        net "+5V" role=rail volts=5
        supply V1 volts=20 plus=RAW minus=G ohms=1
        fuse F1 "2A" RAW P
        resistor R1 "1k" P B watts=1
        zener D1 "5.6V" anode=G cathode=B watts=1
        npn Q1 silicon-power c=P b=B e="+5V" watts=30
        load L1 "+5V" G ohms=10
        {more}
    }}"#
    )
}

#[test]
fn a_pass_transistor_shorted_without_protection_takes_the_machine_with_it() {
    let (victims, blown, severity) = follow(&follower(""), "Q1 ce-short");
    // 20 V over 1 + 0.2 + 0.1 + 10 ohm, and the base's zener takes nothing from it: 17.70 V on a rail that bears 7.
    assert_eq!(victims.len(), 1, "{victims:?}");
    assert_eq!((victims[0].0.as_str(), victims[0].1), ("L1", Aspect::Rail));
    near(victims[0].2, 20.0 * 10.0 / 11.3 / 7.0, 5e-3);
    assert_eq!((blown.len(), severity), (0, 60.0));
}

#[test]
fn a_clamp_and_a_fuse_contain_the_same_short() {
    let clamp = "zener D2 \"6.2V\" anode=G cathode=\"+5V\" watts=100 rz=\"0.01\" izt=0.1";
    let (victims, blown, severity) = follow(&follower(clamp), "Q1 ce-short");
    // About (20 - 6.3) / 1.3 = 10.5 A: five times the fuse, 66 W of 100 in the clamp, and the rail stays below 7 V.
    assert!(victims.is_empty(), "{victims:?}");
    assert_eq!((blown, severity), (vec!["F1".to_owned()], 0.0));
    // A clamp that is too small dies first, and shorts: the load is spared once the fuse has opened.
    let small = clamp.replace("watts=100", "watts=10");
    let (victims, blown, _) = follow(&follower(&small), "Q1 ce-short");
    let names: Vec<&str> = victims.iter().map(|v| v.0.as_str()).collect();
    assert_eq!((names, blown.len()), (vec!["D2"], 1));
}

#[test]
fn an_open_leg_of_a_divider_lets_its_capacitor_see_the_supply() {
    let text = r#"sheet S {
        net G role=ground
        supply V1 volts=24 plus=P minus=G
        resistor R1 "10k" P M
        resistor R2 "10k" M G
        capacitor C1 "10u" plus=M minus=G volts=15 style=electrolytic leak="1M"
    }"#;
    let (victims, _, severity) = follow(text, "R2 open");
    // 24 V x 1M / 1.01M = 23.76 V on a capacitor for 15 V; shorted, it leaves R1 with 58 mW of its 250.
    assert_eq!(victims.len(), 1, "{victims:?}");
    assert_eq!((victims[0].0.as_str(), victims[0].1), ("C1", Aspect::Volts));
    near(victims[0].2, 24.0 / 1.01 / 15.0, 1e-4);
    assert_eq!(severity, 2.0);
}

#[test]
fn a_shorted_filter_capacitor_overloads_the_rectifier_before_it() {
    let text = r#"sheet S {
        net G role=ground
        supply V1 volts=22 plus=P minus=G ohms=2
        diode D1 silicon-rectifier anode=P cathode=RAW is=1e-9 amps=1
        capacitor C1 "1000u" plus=RAW minus=G volts=35 style=electrolytic
        resistor R1 "1k" RAW G watts=1
    }"#;
    let (victims, _, _) = follow(text, "C1 short");
    // I = (22 - 0.025852 ln(I / 1 nA)) / 2.1 ohm = 10.19 A through a diode for 1 A.
    assert_eq!(victims.len(), 1, "{victims:?}");
    assert_eq!((victims[0].0.as_str(), victims[0].1), ("D1", Aspect::Amps));
    near(victims[0].2, 10.19, 2e-3);
}

#[test]
fn a_short_between_electrodes_puts_kilovolts_into_the_drive() {
    let text = r#"sheet S {
        net G role=ground
        supply V1 volts=1500 plus=KV minus=G ohms="100k"
        supply V2 volts=12 plus=P minus=G
        resistor R1 "10k" P DRIVE watts=0.5
        resistor R2 "10k" IN G
        npn Q1 silicon-signal c=DRIVE b=IN e=G vceo=30 is=1e-14
        resistor R3 "10M" KV G
        adjacent KV DRIVE
    }"#;
    let (victims, _, severity) = follow(text, "bridge KV DRIVE");
    // (1500 V / 100k + 12 V / 10k) / (1/100k + 1/10k + 1/10M) = 147.1 V on 30 V.
    assert_eq!(victims.len(), 1, "{victims:?}");
    assert_eq!(
        (victims[0].0.as_str(), victims[0].1),
        ("Q1", Aspect::CollectorEmitter)
    );
    near(victims[0].2, 147.14 / 30.0, 1e-3);
    assert_eq!(severity, 3.0);
    // What cannot be had again weighs most.
    let kept = text.replace("adjacent KV", "irreplaceable Q1\n adjacent KV");
    assert_eq!(follow(&kept, "bridge KV DRIVE").2, 100.0);
}

#[test]
fn a_transistor_in_backwards_and_a_zener_turned_are_victims_themselves() {
    let text = r#"sheet S {
        net G role=ground
        supply V1 volts=24 plus=P minus=G
        resistor R1 "10R" P A watts=100
        zener D1 "27V" anode=G cathode=A watts=0.4
    }"#;
    // Forward, it takes (24 - 0.9) / 11 = 2.1 A.
    let (victims, _, _) = follow(text, "D1 turned");
    assert_eq!(victims.len(), 1, "{victims:?}");
    assert_eq!((victims[0].0.as_str(), victims[0].1), ("D1", Aspect::Watts));
    // A part that is bad already is no victim.
    assert!(follow(text, "D1 short").0.is_empty());
}

#[test]
fn what_falls_in_a_second_round_is_followed() {
    let text = r#"sheet S {
        net G role=ground
        supply V1 volts=30 plus=P minus=G
        resistor R1 "1k" P M watts=2
        resistor R2 "500R" M N watts=0.25
        zener D1 "5.1V" anode=G cathode=N watts=5
        capacitor C1 "10u" M G volts=16
    }"#;
    let (victims, _, severity) = follow(text, "R1 short");
    // 30 V at M at once: the capacitor, and 24 V over 500 ohm in R2, more than four times 0.25 W. The capacitor goes first and
    // takes the supply with it; R2 is then spared.
    let names: Vec<(&str, usize)> = victims.iter().map(|v| (v.0.as_str(), v.3)).collect();
    assert_eq!((names, severity), (vec![("C1", 0)], 1.0));
    // With a capacitor that bears it the zener goes: (30 - 5.1) / 510 ohm at 5.3 V, 0.26 W of 0.1. Shorted, it leaves R2 with
    // all 30 V.
    let tougher = text
        .replace("volts=16", "volts=64")
        .replace("watts=5", "watts=0.1");
    let (victims, _, severity) = follow(&tougher, "R1 short");
    let names: Vec<(&str, usize)> = victims.iter().map(|v| (v.0.as_str(), v.3)).collect();
    assert_eq!((names, severity), (vec![("D1", 0), ("R2", 1)], 3.0));
    near(
        victims[1].2,
        (30.0_f64 / 500.2).powi(2) * 500.0 / 0.25,
        1e-3,
    );
}

#[test]
fn stress_of_every_kind_of_part_is_what_ohms_law_says() {
    let sheet = sheet(
        r#"sheet S {
        net G role=ground
        supply V1 volts=10 plus=P minus=G
        resistor R1 "100R" P G watts=2
        potentiometer RV1 "1k" a=P wiper=W b=G setting=0.9 watts=0.5
        resistor R2 "100R" W G
        diode D1 silicon-signal anode=G cathode=P
        lamp B1 P G volts=12 amps=0.1
        fuse F1 "1A" P Q
        resistor R3 "100R" Q G watts=2
        npn Q1 silicon-signal c=P b=G e=G
    }"#,
    );
    let powered = Powered::new(&sheet).unwrap();
    let of = |part: &str, aspect: Aspect| {
        let id = sheet.part(part).unwrap();
        let found = powered
            .gauges()
            .iter()
            .filter(|g| g.part == id && g.aspect == aspect);
        found.map(|g| g.healthy).fold(0.0, f64::max)
    };
    near(of("R1", Aspect::Watts), 1.0, 1e-6);
    near(of("D1", Aspect::Reverse), 10.0, 1e-6);
    near(of("B1", Aspect::Lamp), 10.0, 1e-6);
    near(of("F1", Aspect::Amps), 10.0 / 100.2, 1e-6);
    near(of("Q1", Aspect::CollectorEmitter), 10.0, 1e-6);
    // From P 900 ohm to the wiper, 100 in parallel with 100 to ground: 10 V / 950 ohm through the upper part, as if
    // through the whole 1k.
    near(
        of("RV1", Aspect::Watts),
        (10.0_f64 / 950.0).powi(2) * 1000.0,
        1e-6,
    );
}

#[test]
fn the_list_of_faults_holds_bridges_and_turned_diodes_but_no_supplies() {
    let sheet = sheet(
        r#"sheet S {
        net G role=ground
        supply V1 volts=10 plus=P minus=G
        load L1 P G ohms=100
        diode D1 silicon-signal anode=G cathode=P
        resistor R1 "1k" P M
        adjacent P M
    }"#,
    );
    let names: Vec<String> = hazard_faults(&sheet)
        .iter()
        .map(|f| format!("{} {}", f.part_name(&sheet), f.mode_name(&sheet)))
        .collect();
    assert_eq!(
        names,
        [
            "D1 open",
            "D1 short",
            "R1 open",
            "R1 short",
            "R1 high",
            "R1 low",
            "D1 turned",
            "bridge P M"
        ]
    );
}

#[test]
fn a_capacitor_put_in_backwards_goes_first_and_then_what_feeds_it() {
    let text = |volts: f64| {
        format!(
            r#"sheet S {{
            net G role=ground
            supply V1 volts={volts} plus=RAW minus=G
            resistor R1 "100R" RAW P watts=0.5
            capacitor C1 "100u" plus=P minus=G volts=25 style=electrolytic
            resistor R2 "4k7" P G watts=0.25
        }}"#
        )
    };
    let (victims, _, severity) = follow(&text(12.0), "C1 turned");
    // 12 V less the drop of 2.5 mA stand backwards on a film that bears 1 V: 11.75 V. As a short of 0.1 ohm it then leaves
    // R1 with (12 / 100.1)^2 100 = 1.437 W of half a watt.
    let told: Vec<(&str, Aspect, usize)> =
        victims.iter().map(|v| (v.0.as_str(), v.1, v.3)).collect();
    assert_eq!(told, [("C1", Aspect::Reverse, 0), ("R1", Aspect::Watts, 1)]);
    // The capacitor's own leakage takes a ten-thousandth.
    near(victims[0].2, 12.0 * 4700.0 / 4800.0, 3e-4);
    near(victims[1].2, 2.0 * 1.43713, 1e-3);
    // Weight 2 of the capacitor, 1 of the resistor.
    assert_eq!(severity, 3.0);
    // At one volt nothing happens, and a paper capacitor has no direction.
    assert!(follow(&text(1.0), "C1 turned").0.is_empty());
    let sheet = sheet(&text(12.0).replace("plus=P minus=G volts=25 style=electrolytic", "P G"));
    assert!(Fault::parse("C1 turned", &sheet).is_err());
    assert!(
        hazard_faults(&sheet)
            .iter()
            .all(|f| f.mode.to_string() != "turned")
    );
}
