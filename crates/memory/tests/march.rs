//! The published coverage of march tests, reproduced by simulation, and their operations on real stores.

use memory::march::{
    FaultClass, OperationKind, backgrounds, coverage, march_tests, operations, read_march,
};
use memory::shape::linear_select;
use memory::wiring::Wiring;

/// Guaranteed coverage over all starting contents of five cells, recomputed for this project from the fault lists of
/// the literature; published tables agree for March C- (SAF, TF, all two-cell couplings) and March X (SAF, TF, CFin).
const TABLE: [(&str, usize, [f64; 6]); 12] = [
    ("zero-one", 4, [100.0, 50.0, 14.3, 25.0, 12.5, 62.5]),
    ("checkerboard", 4, [100.0, 50.0, 65.7, 25.0, 12.5, 62.5]),
    ("MATS", 4, [100.0, 50.0, 85.7, 50.0, 25.0, 75.0]),
    ("MATS+", 5, [100.0, 50.0, 100.0, 75.0, 37.5, 75.0]),
    ("MATS++", 6, [100.0, 100.0, 100.0, 75.0, 37.5, 75.0]),
    ("March X", 6, [100.0, 100.0, 100.0, 100.0, 50.0, 75.0]),
    ("March Y", 8, [100.0, 100.0, 100.0, 100.0, 50.0, 75.0]),
    ("March C-", 10, [100.0; 6]),
    ("March C", 11, [100.0; 6]),
    ("March LR", 14, [100.0; 6]),
    ("March A", 15, [100.0; 6]),
    ("March B", 17, [100.0; 6]),
];

#[test]
fn every_figure_of_the_coverage_table() {
    let tests = march_tests();
    assert_eq!(tests.len(), TABLE.len());
    let mut wrong = Vec::new();
    for ((name, length, percents), march) in TABLE.iter().zip(&tests) {
        assert_eq!((march.name, march.length()), (*name, *length));
        for (class, percent) in FaultClass::ALL.into_iter().zip(percents) {
            let got = coverage(march, class, 5).percent();
            if (got * 10.0).round() / 10.0 != *percent {
                wrong.push(format!(
                    "{name} {}: {got}, published {percent}",
                    class.letters()
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn the_notation_reads_back() {
    for march in march_tests() {
        let mut again = read_march(march.name, &march.to_string()).expect("its own notation");
        again.checkered = march.checkered;
        assert_eq!(again, march);
    }
    assert_eq!(read_march("x", "{up(r0,w2)}"), None);
    assert_eq!(read_march("x", "up(r0)"), None);
}

// 4096 words, March C-: 40 960 operations (publicly documented by a maker).
#[test]
fn march_c_minus_takes_ten_operations_a_word() {
    let wiring = Wiring::new(linear_select("store", 4096, 8, false));
    let c_minus = &march_tests()[7];
    let list = operations(&wiring, c_minus, &[0]);
    assert_eq!(list.len(), 40_960);
    assert_eq!(
        list.iter()
            .filter(|o| o.kind == OperationKind::Read)
            .count(),
        20_480
    );
    assert_eq!(
        (list[4096].address, list[4096].word, list[4097].word),
        (0, 0, 0xFF)
    );
    let last_falling = list
        .iter()
        .rfind(|o| o.step.contains("dn"))
        .expect("a falling element");
    assert_eq!(last_falling.address, 0);
}

#[test]
fn backgrounds_set_every_two_bits_against_each_other() {
    for bits in 1..=64u8 {
        let all = backgrounds(bits);
        for a in 0..bits {
            for b in a + 1..bits {
                assert!(
                    all.iter().any(|w| (w >> a ^ w >> b) & 1 == 1),
                    "bits {a} and {b} of {bits}"
                );
            }
        }
    }
    assert_eq!(backgrounds(8), vec![0, 0xAA, 0xCC, 0xF0]);
}
