//! Names of places lead to the nets and pins that the sheet gives them.

mod board;

use record::{At, resolve};

#[track_caller]
fn check(name: &str, net: &str, is_right: fn(At) -> bool) {
    let sheet = board::sheet();
    let lead = resolve(name, &sheet).unwrap_or_else(|e| panic!("{name}: {e:?}"));
    assert_eq!(lead.written, name);
    assert_eq!(sheet.net_name(lead.net), net, "{name}");
    assert!(is_right(lead.at), "{name} is {:?}", lead.at);
}

#[test]
fn nets_points_and_pins_are_found() {
    let is_pin = |at| matches!(at, At::Pin(..));
    check("REF", "REF", |at| at == At::Net);
    check("-12V", "-12V", |at| at == At::Net);
    check("TP3", "REF", |at| at == At::Point(0));
    check("Q1.b", "DRV", is_pin);
    check("Q1.e", "-12V", is_pin);
    check("R1.2", "REF", is_pin);
    check("RV1.wiper", "SET", is_pin);
    check("C1.minus", "RAW", is_pin);
    check("C1.1", "0V", is_pin);
    check("D1.anode", "SET", is_pin);
    check("D1.2", "RAW", is_pin);
    check("J1.2", "-12V", is_pin);
    check("T1.primary.1", "L", is_pin);
    check("T1.secondary.2", "0V", is_pin);
    check("A2:REF", "REF", |at| at == At::Net);
    check("A2:Q1.c", "RAW", is_pin);
}

#[test]
fn a_net_stands_before_a_point_and_a_point_before_a_pin() {
    let text = "sheet S {\n resistor R1 \"1k\" A \"R1.2\"\n resistor R2 \"1k\" \"R1.2\" B\n point A net=B\n}";
    let (sheet, mistakes) = sheet::parse(text, "s.kdl");
    assert!(mistakes.iter().all(|m| !m.is_error()), "{mistakes:?}");
    let net = |name: &str| {
        sheet
            .net_name(resolve(name, &sheet).expect(name).net)
            .to_owned()
    };
    assert_eq!(net("A"), "A");
    assert_eq!(net("R1.2"), "R1.2");
    assert_eq!(net("R1.1"), "A");
}

#[test]
fn what_is_not_there_is_said_with_what_is() {
    let sheet = board::sheet();
    let check = |name: &str, message: &str, help: &str| {
        let unknown = resolve(name, &sheet).expect_err(name);
        assert_eq!(
            (unknown.message.as_str(), unknown.help.as_str()),
            (message, help)
        );
    };
    check(
        "REV",
        "The sheet A2 has no net, point or part pin `REV`.",
        "Did you mean `REF`?",
    );
    check(
        "Q1",
        "Q1 is a part, and a lead stands on one of its pins.",
        "Write one of Q1.c, Q1.b, Q1.e.",
    );
    check(
        "Q1.x",
        "Q1 has no pin `x`.",
        "Write one of Q1.c, Q1.b, Q1.e.",
    );
    check(
        "T1.primary",
        "T1 has no pin `primary`.",
        "Write one of T1.primary.1, T1.primary.2, T1.secondary.1, T1.secondary.2.",
    );
    check("R1.3", "R1 has no pin `3`.", "Write one of R1.1, R1.2.");
    check(
        "A3:REF",
        "The sheet A2 has no net, point or part pin `A3:REF`.",
        "Write a net, a point or a part pin as the sheet spells it, such as Q1.b.",
    );
}
