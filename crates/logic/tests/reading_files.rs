//! What is said of netlists and observations with mistakes in them, and what is still read.

use logic::{Diagnostic, diagnose, parse_netlist, parse_observations};

/// The smallest ISCAS-85 circuit, c17 (Bryan 1988): six NAND gates.
const C17: &str = "gate,function,output,inputs\nG10,nand,10,1 3\nG11,nand,11,3 6\nG16,nand,16,2 11\nG19,nand,19,11 7\nG22,nand,22,10 16\nG23,nand,23,16 19\n";

fn never() -> bool {
    false
}

#[track_caller]
fn check_netlist(text: &str, gates: usize, expected: &[(usize, &str)]) {
    let (network, found) = parse_netlist(text);
    assert_eq!(network.gates().len(), gates, "{found:?}");
    check_mistakes(&found, expected);
}

#[track_caller]
fn check_mistakes(found: &[Diagnostic], expected: &[(usize, &str)]) {
    assert_eq!(found.len(), expected.len(), "{found:?}");
    for (found, (line, part)) in found.iter().zip(expected) {
        assert_eq!(found.line, *line, "{found:?}");
        assert!(found.message.contains(part), "{found:?}");
        assert!(
            found.message.ends_with('.') && found.help.ends_with('.'),
            "{found:?}"
        );
    }
}

#[test]
fn a_bad_line_costs_that_line() {
    check_netlist(C17, 6, &[]);
    check_netlist(&C17.replace("G16,nand", "G16,nnad"), 5, &[(4, "`nnad`")]);
    check_netlist(
        &C17.replace("G23,nand,23", "G22,nand,23"),
        5,
        &[(7, "line 6")],
    );
    check_netlist(
        &C17.replace("G23,nand,23", "G23,nand,22"),
        5,
        &[(7, "`22` is driven on line 6")],
    );
    check_netlist(
        "gate,function,output,inputs\nA,not,y,a b\nB,and,z,\nC,buf,w,y\n",
        1,
        &[(2, "2 inputs"), (3, "0 inputs")],
    );
    check_netlist("a,b\n1,2\n", 0, &[(1, "columns")]);
}

#[test]
fn a_ring_is_named() {
    let text = "gate,function,output,inputs\nA,nand,q,s p\nB,nand,p,r q\nC,not,y,q\n";
    let (network, found) = parse_netlist(text);
    assert_eq!(network.gates().len(), 2);
    assert_eq!(found.len(), 1);
    assert!(
        found[0].message.contains("ring")
            && found[0].message.contains('A')
            && found[0].message.contains('B')
    );
}

#[test]
fn columns_may_stand_in_any_order_and_gates_before_their_feeders() {
    let (network, found) = parse_netlist("inputs,gate,output,function\ny,B,z,not\na b,A,y,AND\n");
    assert!(found.is_empty(), "{found:?}");
    let names: Vec<&str> = network.gates().iter().map(|g| g.name.as_str()).collect();
    assert_eq!(names, ["A", "B"]);
}

#[test]
fn observations_in_both_forms_say_the_same() {
    let (network, _) = parse_netlist(C17);
    let lines = "{\"id\":\"a\",\"inputs\":{\"1\":1,\"2\":0,\"3\":1,\"6\":1,\"7\":0},\"outputs\":{\"22\":0,\"23\":0}}\n";
    let columns = "id,1,2,3,6,7,22,23\na,1,0,1,1,0,0,0\n";
    let (a, b) = (
        parse_observations(lines, &network),
        parse_observations(columns, &network),
    );
    assert_eq!(a, b);
    assert_eq!(a.observations.len(), 1);
    // G10 gives 0, so 22 should be 1; G10 or G22 alone explain it, while G16 would make 23 wrong, too.
    let found = diagnose(&network, &a.observations[0], &never, &never);
    let names: Vec<Vec<&str>> = found
        .sets
        .iter()
        .map(|s| {
            s.iter()
                .map(|g| network.gates()[g.index()].name.as_str())
                .collect()
        })
        .collect();
    assert_eq!(names, [["G10"], ["G22"]]);
}

#[test]
fn strange_observations_are_told() {
    let (network, _) = parse_netlist(C17);
    let text = "{\"id\":\"a\",\"inputs\":{\"1\":2},\"outputs\":{}}\n{\"id\":\"b\"\n{\"id\":\"c\"}\n{\"id\":\"d\",\"inputs\":{\"1\":1},\"outputs\":{\"1\":1,\"nowhere\":0,\"22\":1}}\n";
    let observed = parse_observations(text, &network);
    check_mistakes(
        &observed.mistakes,
        &[(1, "`1`"), (2, "not JSON"), (3, "no levels")],
    );
    assert_eq!(observed.observations.len(), 1);
    assert_eq!(observed.observations[0].warnings.len(), 2);
    let columns = "1,2,99\n1,x,0\n1,0\n1,7,0\n";
    let observed = parse_observations(columns, &network);
    check_mistakes(&observed.mistakes, &[(3, "2 fields"), (4, "`7`")]);
    assert_eq!(
        observed.observations[0].warnings,
        ["The net `99` is not in the netlist; it is ignored."]
    );
}

#[test]
fn all_well_is_one_empty_set() {
    let (network, _) = parse_netlist(C17);
    let observed = parse_observations("1,2,3,6,7,22,23\n1,0,1,1,0,1,0\n", &network);
    let found = diagnose(&network, &observed.observations[0], &never, &never);
    assert_eq!(
        (found.size, found.complete, found.sets),
        (Some(0), true, vec![Vec::new()])
    );
}

#[test]
fn a_search_that_is_stopped_says_so() {
    let mut text = String::from("gate,function,output,inputs\n");
    let (mut header, mut row) = (String::new(), String::new());
    for i in 0..12 {
        text.push_str(&format!("A{i},not,y{i},a{i}\nB{i},not,z{i},y{i}\n"));
        header.push_str(&format!("a{i},z{i},"));
        row.push_str("0,1,");
    }
    let (network, found) = parse_netlist(&text);
    assert!(found.is_empty());
    let table = format!(
        "{}\n{}\n",
        header.trim_end_matches(','),
        row.trim_end_matches(',')
    );
    let observed = parse_observations(&table, &network);
    let found = diagnose(&network, &observed.observations[0], &|| true, &|| true);
    assert!(!found.complete && !found.sets.is_empty());
    assert!(found.sets.iter().all(|s| s.len() >= 12));
    let listed = diagnose(&network, &observed.observations[0], &never, &|| true);
    assert_eq!(
        (listed.size, listed.complete, listed.family),
        (Some(12), false, Some(4096.0))
    );
    let whole = diagnose(&network, &observed.observations[0], &never, &never);
    assert_eq!(
        (whole.size, whole.complete, whole.sets.len()),
        (Some(12), true, 4096)
    );
}
