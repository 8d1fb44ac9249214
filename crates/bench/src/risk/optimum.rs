//! The chosen card against every possible one, on boards invented at random.

use std::fmt::Write as _;

use diagnose::card;
use predict::stress::{Powered, hazard_faults};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{RngCore, SeedableRng};

use super::cold::{Bench, Seen};
use super::whole::{Input, read};
use crate::loading::Text;
use crate::meters::{MeterChoice, Meters};

/// At most so many hazards and readings, so that every set of hazards can be tabled.
const HAZARDS: usize = 12;
const READINGS: usize = 20;

/// A small supply with a reference, a follower and dividers, values drawn by chance.
fn invented(seed: u64) -> String {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut below = |n: u32| random.next_u32() % n;
    let ohms = [47, 100, 220, 470, 1000, 2200, 4700, 10_000];
    let mut sheet = format!("sheet S{seed} {{\n net G role=ground\n net OUT role=rail volts=5\n");
    let volts = 12 + below(20);
    let _ = writeln!(sheet, " supply V1 volts={volts} plus=P minus=G ohms=1");
    let _ = writeln!(
        sheet,
        " resistor R1 \"{}\" P Z watts=0.25",
        ohms[2 + below(3) as usize]
    );
    let _ = writeln!(
        sheet,
        " zener D1 \"{}V\" anode=G cathode=Z watts=0.4",
        5 + below(4)
    );
    let _ = writeln!(
        sheet,
        " npn Q1 silicon-power c=P b=Z e=OUT watts={}",
        5 + below(20)
    );
    let _ = writeln!(sheet, " load L1 OUT G ohms={}", 10 + below(40));
    for k in 0..1 + below(3) {
        let (a, b) = (ohms[below(8) as usize], ohms[below(8) as usize]);
        let _ = writeln!(sheet, " resistor RA{k} \"{a}\" P M{k} watts=0.25");
        let _ = writeln!(sheet, " resistor RB{k} \"{b}\" M{k} G watts=0.25");
        let _ = writeln!(
            sheet,
            " capacitor C{k} \"10u\" plus=M{k} minus=G volts={} style=electrolytic leak=\"{}k\"",
            10 + below(20),
            100 + below(900)
        );
    }
    sheet + "}\n"
}

/// The least price of covering all that can be covered: a table over every set of hazards.
fn least(hazards: usize, readings: &[card::ColdReading]) -> u64 {
    let choices = card::choices(readings);
    let mask = |c: &(usize, Vec<usize>, u64)| c.1.iter().fold(0usize, |m, h| m | 1 << h);
    let all = choices.iter().fold(0, |m, c| m | mask(c));
    let mut price = vec![u64::MAX; 1 << hazards];
    price[0] = 0;
    for set in 0..price.len() {
        if price[set] < u64::MAX {
            for c in &choices {
                let more = set | mask(c);
                price[more] = price[more].min(price[set] + c.2);
            }
        }
    }
    price[all]
}

#[test]
fn no_other_card_is_cheaper() {
    let meters = Meters::settle(&MeterChoice::default()).unwrap();
    let mut boards = 0;
    let mut sizes = [0; 2];
    for seed in 0..60 {
        let text = Text {
            file: "s.kdl".to_owned(),
            text: invented(seed),
        };
        let whole = read(&Input::Board(text), false).unwrap();
        let powered = Powered::new(&whole.sheet).unwrap();
        let mut hazards: Vec<circuit::Fault> = hazard_faults(&whole.sheet)
            .into_iter()
            .filter(|f| powered.follow(f).is_ok_and(|c| !c.victims.is_empty()))
            .collect();
        hazards.truncate(HAZARDS);
        let bench = Bench::new(&whole.cold[0], &hazards).unwrap();
        let faulty = bench.faulty();
        let wanted = vec![true; hazards.len()];
        let mut seen: Vec<Seen> = bench
            .candidates(&meters)
            .into_iter()
            .filter_map(|offer| bench.look(&faulty, 0, offer, &wanted))
            .filter(Seen::tells)
            .collect();
        seen.truncate(READINGS);
        let benches = [bench];
        let faulty = [benches[0].faulty()];
        let found = super::settled(&benches, &faulty, hazards.len(), &mut seen, &|| false);
        let offered: Vec<card::ColdReading> = seen.iter().map(Seen::offered).collect();
        let cheapest = least(hazards.len(), &offered);
        assert!(found.proven);
        assert_eq!(
            (found.minutes * 10.0).round() as u64,
            cheapest,
            "board {seed}"
        );
        boards += 1;
        sizes[0] = sizes[0].max(hazards.len());
        sizes[1] = sizes[1].max(found.entries.len());
    }
    assert!(boards >= 50);
    assert!(
        sizes[0] == HAZARDS && sizes[1] >= 3,
        "{sizes:?}: too small to say anything"
    );
}
