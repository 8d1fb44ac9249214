//! An invented board on which the readings of these tests are taken.

use sheet::Sheet;

/// The board, which has no mistakes.
pub fn sheet() -> Sheet {
    let text = r#"sheet A2 title="Invented regulator" {
        net "0V" role=ground
        net "-12V" role=rail volts=-12
        point TP3 net=REF access=easy
        resistor R1 "2k2" RAW REF
        potentiometer RV1 "5k" a=REF wiper=SET b="0V"
        capacitor C1 "470u" plus="0V" minus=RAW style=electrolytic
        diode D1 silicon-signal anode=SET cathode=RAW
        pnp Q1 germanium-power c=RAW b=DRV e="-12V"
        resistor R2 "1k" DRV "0V"
        transformer T1 { winding primary L N volts=230 ohms=18; winding secondary RAW "0V" volts=17 ohms=0.9 }
        connector J1 { pin 1 "0V"; pin 2 "-12V" }
    }"#;
    let (sheet, mistakes) = sheet::parse(text, "a2.kdl");
    assert!(mistakes.iter().all(|m| !m.is_error()), "{mistakes:?}");
    sheet
}
