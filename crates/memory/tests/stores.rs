//! Shapes, votes, unsteady bits, planes, pass maps, half-select patterns and micro-words.

use memory::explain::Limits;
use memory::fault::Fault;
use memory::half_select::{delta_noise, worst_pattern};
use memory::march::{OperationKind, backgrounds, march_tests, operations};
use memory::micro_word::{Parting, differences, field_value, find, follow, parting_sentence};
use memory::pass_map::{Outcome, PassMap};
use memory::plane::explain_log;
use memory::plant::{Chance, content};
use memory::read::LogRow;
use memory::shape::{
    Alter, Field, Grid, Place, Shape, Weave, Word, coincident, diode_matrix, linear_select,
    print_shape, read_shape, woven,
};
use memory::simulate::{read, selected_words};
use memory::votes::{BitVote, Dump, Votes};
use memory::weak::weak_elements;
use memory::wiring::Wiring;

fn full_shape() -> Shape {
    let mut shape = coincident("plane \"A\"", 12, 20, 5, true, true);
    shape.weave = Weave::Pairs;
    shape.fields = vec![
        Field {
            name: "sign".to_owned(),
            bits: vec![4],
        },
        Field {
            name: "digit".to_owned(),
            bits: vec![3, 2, 1, 0],
        },
    ];
    shape.zero_words = vec![0, 0x1F];
    shape.grid = Some(Grid {
        origin: (1.5, 2.0),
        pitch: (0.5, 0.5),
        plane: (0.0, 12.0),
    });
    shape.places = vec![Place {
        element: "X line 3".to_owned(),
        at: (10.0, 4.5),
    }];
    shape.alters = vec![Alter {
        element: "X selection diode".to_owned(),
        prior: 5.0,
    }];
    shape
}

#[test]
fn shapes_read_back_as_they_were_printed() {
    let shapes = [
        full_shape(),
        linear_select("l", 64, 16, true),
        woven("w", 96, 20, false),
        woven("w2", 96, 20, true),
        diode_matrix("d", 32, 8),
        coincident("c", 64, 64, 12, false, false),
    ];
    for shape in shapes {
        let text = print_shape(&shape);
        assert_eq!(
            read_shape(&text).map_err(|e| format!("{e:?}\n{text}")),
            Ok(shape)
        );
    }
}

#[test]
fn a_twelve_by_twenty_store_has_gaps_in_its_addresses() {
    let wiring = Wiring::new(full_shape());
    assert_eq!(wiring.addresses().len(), 240);
    assert_eq!(wiring.addresses()[12], 0x10);
    assert_eq!((wiring.line(0, 0x1B), wiring.line(1, 0x1B)), (11, 1));
}

fn first_mistake(text: &str) -> String {
    read_shape(text).expect_err("it is wrong")[0].to_string()
}

#[test]
fn mistakes_in_shapes_say_where_and_what_would_mend_them() {
    let cases = [
        (
            "",
            "line 1, column 1: The file describes no store. Begin with `store \"name\" {`.",
        ),
        (
            "mat x",
            "line 1, column 1: `mat` is not known here. A shape file begins with `store \"name\" {`.",
        ),
        (
            "store a {\n organisation rope\n address bits=3\n data bits=4\n}",
            "line 2, column 2: `rope` is not an organisation. Choose linear-select, coincident-current, woven or diode-matrix.",
        ),
        (
            "store a {\n organisation woven\n data bits=4\n}",
            "line 1, column 1: The line `address` is missing. Add a line such as `address bits=7`.",
        ),
        (
            "store a {\n organisation woven\n address bits=3\n data bits=400\n}",
            "line 4, column 2: `data` needs `bits=`, a whole number from 1 to 128. Write `data bits=N`.",
        ),
        (
            "store a {\n organisation woven\n address bits=3\n data bits=4\n word lines=9 address=\"0-2\"\n}",
            "line 5, column 2: 9 lines cannot be told apart by 3 address bits. Name more address bits, or fewer lines.",
        ),
        (
            "store a {\n organisation woven\n address bits=3\n data bits=4\n word lines=8 address=\"0-2\" drivers=3 sinks=2\n}",
            "line 5, column 2: 3 drivers and 2 sinks make 6 lines, not 8. Line number = driver x sinks + sink; correct one of the three numbers.",
        ),
        (
            "store a {\n organisation woven\n address bits=3\n data bits=4\n word lines=4 address=\"0-1\"\n}",
            "line 1, column 1: Address bit 2 selects no line. Every address bit belongs to exactly one set of lines.",
        ),
        (
            "store a {\n organisation woven\n address bits=3\n data bits=4\n word lines=8 address=\"0-2\"\n strobe 0 bits=\"0-2\"\n}",
            "line 1, column 1: Data bit 3 has no strobe. Add it to a `strobe` line, or leave all strobe lines out.",
        ),
        (
            "store a {\n organisation woven\n address bits=3\n data bits=4\n x lines=8 address=\"0-2\"\n}",
            "line 5, column 2: A woven store has no `x` lines. Describe its lines with `word`.",
        ),
        (
            "store a {\n organisation woven\n address bits=3\n data bits=4\n word lines=8 address=\"0-9\"\n}",
            "line 5, column 2: `0-9` is not a address bit of this store, or is named twice. Numbers run from 0 to 2, written like \"0-3 7\".",
        ),
    ];
    for (text, said) in cases {
        assert_eq!(first_mistake(text), said);
    }
}

#[test]
fn stated_error_rates_of_votes_hold() {
    let mut chance = Chance::new(4);
    let uniform = |chance: &mut Chance| (chance.bits() >> 11) as f64 / (1u64 << 53) as f64;
    for reads in [1u32, 3, 5, 11, 100] {
        let (mut stated, mut wrong, mut counted) = (0.0, 0u32, 0u32);
        for _ in 0..20_000 {
            let p = uniform(&mut chance);
            let ones = (0..reads).filter(|_| uniform(&mut chance) < p).count() as u32;
            let vote = BitVote { reads, ones };
            let (Some(majority), Some(doubt)) = (vote.majority(), vote.doubt()) else {
                continue;
            };
            counted += 1;
            stated += doubt;
            wrong += u32::from(majority != (p > 0.5));
        }
        let sd = stated.sqrt();
        assert!(
            (f64::from(wrong) - stated).abs() < 4.0 * sd,
            "{reads} reads: {wrong} wrong of {counted}, stated {stated:.1}"
        );
    }
    // One read in favour, nothing known before: a quarter (Laplace's rule of succession gives 2/3 for the next read).
    assert!((BitVote { reads: 1, ones: 1 }.doubt().expect("no tie") - 0.25).abs() < 1e-12);
    assert_eq!(BitVote { reads: 4, ones: 2 }.majority(), None);
}

#[test]
fn spans_of_votes_cover_as_stated() {
    let mut chance = Chance::new(8);
    for p in [0.02, 0.3, 0.5, 0.9] {
        let covered = (0..2000)
            .filter(|_| {
                let ones = (0..30)
                    .filter(|_| ((chance.bits() >> 11) as f64 / (1u64 << 53) as f64) < p)
                    .count() as u32;
                let (low, high) = BitVote { reads: 30, ones }.chance_of_one(0.95);
                low <= p && p <= high
            })
            .count();
        assert!(covered >= 1880, "{p}: {covered} of 2000");
    }
    // Clopper and Pearson, no success in 10 trials: 0 to 1 - 0.025^(1/10) = 0.3085.
    let (low, high) = BitVote { reads: 10, ones: 0 }.chance_of_one(0.95);
    assert!(low == 0.0 && (high - 0.308_497).abs() < 1e-5);
}

#[test]
fn a_weak_word_wire_and_a_weak_bit_are_told_apart() {
    let wiring = Wiring::new(woven("rope", 96, 20, false));
    let mut chance = Chance::new(12);
    let stored = content(&wiring, &mut chance);
    let mut reads = Vec::new();
    for n in 0..9 {
        let mut words: Vec<Option<Word>> = vec![None; wiring.space()];
        for a in wiring.addresses() {
            let at = *a as usize;
            let mut word = stored[at];
            if *a == 17 && n % 3 == 0 {
                word &= !0x5_5555;
            }
            if *a == 17 && n % 3 == 1 {
                word &= 0x5_5555;
            }
            if *a == 40 && n % 2 == 0 {
                word &= !(1 << stored[at].trailing_zeros());
            }
            words[at] = Some(word);
        }
        reads.push(Dump {
            name: format!("read {n}"),
            words,
        });
    }
    let votes = Votes::count(&wiring, &reads);
    assert_eq!(
        votes.unstable_count(),
        u64::from(stored[17].count_ones()) + 1
    );
    let (weak, proved) = weak_elements(&wiring, &stored, &votes.unstable, &|| false);
    let names: Vec<&str> = weak.iter().map(|w| w.name.as_str()).collect();
    assert!(proved);
    assert_eq!(
        names,
        [
            "word wire 17 weak",
            &format!("word wire 40 at core {} weak", stored[40].trailing_zeros())
        ]
    );
}

/// Runs a march test on a store with faults, as the bench would, and logs every read.
fn run_march(wiring: &Wiring, faults: &[Fault], march: usize) -> Vec<LogRow> {
    let march = &march_tests()[march];
    let mut cells: Vec<Word> = vec![0; wiring.space()];
    let mut log = Vec::new();
    for operation in operations(wiring, march, &backgrounds(wiring.shape().bits)) {
        let word = match operation.kind {
            OperationKind::Write => operation.word,
            OperationKind::Read => {
                let got = read(wiring, &cells, faults, operation.address);
                log.push(LogRow {
                    step: operation.step,
                    address: operation.address,
                    expected: operation.word,
                    read: got,
                });
                got
            }
        };
        for w in selected_words(wiring, faults, operation.address) {
            cells[w as usize] = word;
        }
    }
    log
}

#[test]
fn march_logs_name_the_element_with_all_reads_or_failures_only() {
    let wiring = Wiring::new(coincident("plane", 12, 20, 5, true, true));
    for fault in [
        Fault::LineDead(0, 4),
        Fault::DriverDead(1, 2),
        Fault::DiodeShorted(0, 5),
        Fault::InhibitDead(3, 1),
        Fault::SenseDead(1, 0),
        Fault::Bit(0x25, 2, false),
        Fault::BitStuck(0, true),
        Fault::StrobeDead(0),
    ] {
        let log = run_march(&wiring, &[fault], 7);
        let failures: Vec<LogRow> = log
            .iter()
            .filter(|r| r.expected != r.read)
            .cloned()
            .collect();
        for log in [log, failures] {
            let report = explain_log(&wiring, &log, &Limits::default());
            assert_eq!(report.unstable, 0);
            let sets: Vec<Vec<Fault>> = report
                .explanations
                .iter()
                .map(|e| e.parts.iter().map(|p| p.fault).collect())
                .collect();
            assert!(
                sets.contains(&vec![fault]),
                "{fault:?} not in {sets:?} ({:?})",
                report.assumed
            );
            assert_eq!(
                (
                    report.explanations[0].explains,
                    report.explanations[0].leaves
                ),
                (report.wrong, 0)
            );
        }
    }
}

#[test]
fn address_faults_of_a_written_store_are_found_by_replay() {
    let wiring = Wiring::new(linear_select("core", 32, 8, false));
    for fault in [
        Fault::AddressStuck(3, false),
        Fault::AddressStuck(0, true),
        Fault::AddressBridged {
            first: 1,
            second: 4,
            low_wins: true,
        },
        Fault::LineOn(0, 9),
        Fault::LinesBridged(0, 20),
    ] {
        let log = run_march(&wiring, &[fault], 7);
        let report = explain_log(
            &wiring,
            &log,
            &Limits {
                trials: 20_000,
                ..Limits::default()
            },
        );
        let first: Vec<Fault> = report.explanations[0]
            .parts
            .iter()
            .map(|p| p.fault)
            .collect();
        let all: Vec<Fault> = report
            .explanations
            .iter()
            .filter(|e| e.parts.len() == 1)
            .map(|e| e.parts[0].fault)
            .collect();
        assert!(
            first.len() == 1 && all.contains(&fault),
            "{fault:?}: {all:?}"
        );
        assert_eq!(report.explanations[0].leaves, 0);
    }
}

// 4096 = 64 x 64: 2 (n - 1) = 126 half-selected cores a read (training note, publicly summarised).
#[test]
fn half_selected_cores_of_a_plane_of_4096() {
    let wiring = Wiring::new(coincident("plane", 64, 64, 1, false, false));
    let words = worst_pattern(&wiring, Weave::Diagonal, false);
    let (noise, count) = delta_noise(&wiring, Weave::Diagonal, &words, 0, 0);
    assert_eq!(count, 126);
    // On a diagonal weave half of the row and half of the column pass forward: all of them hold ones.
    assert_eq!(noise, 62);
    let even = vec![1; wiring.space()];
    assert_eq!(delta_noise(&wiring, Weave::Diagonal, &even, 0, 0).0, -2);
}

#[test]
fn no_content_of_a_small_plane_is_worse_than_the_worst_pattern() {
    let wiring = Wiring::new(coincident("plane", 4, 3, 1, false, false));
    for weave in [Weave::Diagonal, Weave::Rows, Weave::Columns, Weave::Pairs] {
        let patterns = [
            worst_pattern(&wiring, weave, false),
            worst_pattern(&wiring, weave, true),
        ];
        for a in wiring.addresses() {
            let by_pattern = patterns
                .iter()
                .map(|p| delta_noise(&wiring, weave, p, 0, *a).0.abs())
                .max();
            let worst = (0..1u32 << 12)
                .map(|bits| {
                    let mut words = vec![0; wiring.space()];
                    for (n, b) in wiring.addresses().iter().enumerate() {
                        words[*b as usize] = Word::from(bits >> n & 1);
                    }
                    delta_noise(&wiring, weave, &words, 0, *a).0.abs()
                })
                .max();
            assert_eq!(by_pattern, worst, "{weave:?} at {a}");
        }
    }
}

#[test]
fn a_pass_map_shows_margins_and_drift() {
    let map = |shift: f64| {
        let mut text = "drive mA,strobe ns,errors\n".to_owned();
        for drive in (300..=500).step_by(20) {
            for strobe in (150..=300).step_by(10) {
                let inside = (f64::from(drive) - 400.0 - shift).abs() <= 60.0
                    && (f64::from(strobe) - 220.0).abs() <= 30.0;
                text += &format!("{drive},{strobe},{}\n", if inside { 0 } else { 7 });
            }
        }
        let (map, found) = PassMap::read(&text);
        assert!(found.is_empty());
        map.expect("a map")
    };
    let (before, now) = (map(0.0), map(20.0));
    assert_eq!(before.region((400.0, 220.0)).len(), 7 * 7);
    let margins = before.margins((400.0, 220.0)).expect("it passes there");
    assert_eq!(
        (margins.across[0].passes_to, margins.across[0].fails_at),
        (60.0, Some(80.0))
    );
    assert_eq!(
        (margins.up[1].passes_to, margins.up[1].fails_at),
        (30.0, Some(40.0))
    );
    assert_eq!(before.centre((400.0, 220.0)), Some((400.0, 220.0)));
    assert_eq!(now.drift(&before, (400.0, 220.0)), Some((20.0, 0.0)));
    assert_eq!(before.margins((300.0, 150.0)), None);
    assert_eq!(before.outcomes[0][0], Outcome::Fail(7));
    let said = "drive,strobe,errors\n# at 380, 210\n380,210,0\n";
    assert_eq!(PassMap::working_point(said), Some((380.0, 210.0)));
    for silent in ["a,b,errors\n380,210,0\n", "# at 380\n", "# at x,y\n"] {
        assert_eq!(PassMap::working_point(silent), None);
    }
    let (none, found) = PassMap::read("a,b,errors\n1,x,0\n");
    assert_eq!((none, found.len()), (None, 2));
}

#[test]
fn micro_words_are_searched_compared_and_followed() {
    let mut shape = woven("control store", 512, 20, false);
    shape.fields = vec![
        Field {
            name: "next address".to_owned(),
            bits: (0..9).collect(),
        },
        Field {
            name: "branch".to_owned(),
            bits: vec![17],
        },
    ];
    let words: Vec<Option<Word>> = (0..512)
        .map(|a| Some(Word::from(a as u32 + 1) & 0x1FF | 1 << 17))
        .collect();
    let mut other = words.clone();
    other[0x203 & 0x1FF] = Some(words[3].expect("a word") & !(1 << 17));
    assert_eq!(field_value(&shape.fields[0], 0x2_0004), 4);
    assert_eq!(find(&shape.fields[0], 8, &words), vec![7]);
    let differ = differences(&shape, &words, &other);
    assert_eq!(
        (
            differ.len(),
            differ[0].address,
            differ[0].field.as_str(),
            differ[0].values
        ),
        (1, 3, "branch", [1, 0])
    );
    let parting = follow(&shape, [&[1, 2, 3, 4, 5], &[1, 2, 3, 9]], [&words, &other]);
    assert_eq!(
        parting_sentence(&parting, ["1", "2"]),
        "Unit 2 read bit 17 (branch) of word 3 as 0, unit 1 as 1, and so branched otherwise (step 3)."
    );
    let mut third = other.clone();
    third[3] = third[3].map(|w| w ^ 1);
    let parting = follow(&shape, [&[1, 2, 3, 4], &[1, 2, 3, 9]], [&words, &third]);
    assert_eq!(
        parting_sentence(&parting, ["1", "2"]),
        "Of word 3, unit 2 read bit 0 (next address) as 1 and bit 17 (branch) as 0, unit 1 the opposite, and so they branched apart (step 3)."
    );
    assert_eq!(
        follow(&shape, [&[1, 2], &[1, 4]], [&words, &other]),
        Parting::SameWord {
            step: 1,
            after: Some(1)
        }
    );
    assert_eq!(
        follow(&shape, [&[1, 2], &[1, 2, 3]], [&words, &other]),
        Parting::Together { steps: 2 }
    );
}
