//! Runs the public cases and prints, a line each, what was found against what was published.

use cpu_time::ProcessTime;
use std::io::Read;

use logic::{diagnose, parse_netlist, parse_observations};

fn main() {
    let root = std::env::var("KNOWNGOOD_DATA").unwrap_or_else(|_| "../shared/data".into());
    let seconds: f64 = std::env::var("SECONDS_EACH")
        .ok()
        .and_then(|s| s.parse().ok())
        .unwrap_or(1.0);
    let only: Vec<String> = std::env::args().skip(1).collect();
    for entry in [
        "74181", "74182", "74283", "74L85", "c432", "c499", "c880", "c1355", "c1908", "c2670",
        "c3540", "c5315", "c6288", "c7552",
    ] {
        if !only.is_empty() && !only.iter().any(|o| o == entry) {
            continue;
        }
        let netlist =
            std::fs::read_to_string(format!("{root}/dxc/netlists/{entry}.csv")).expect("netlist");
        let (network, mistakes) = parse_netlist(&netlist);
        assert!(mistakes.is_empty(), "{mistakes:?}");
        let mut text = String::new();
        let file = std::fs::File::open(format!("{root}/dxc/{entry}.jsonl.gz")).expect("cases");
        flate2::read::GzDecoder::new(file)
            .read_to_string(&mut text)
            .expect("gzip");
        for line in text.lines() {
            let case: serde_json::Value = serde_json::from_str(line).expect("json");
            let start = ProcessTime::now();
            let observed = parse_observations(line, &network);
            let parsed = start.elapsed();
            let stop = || start.elapsed().as_secs_f64() > seconds * 0.7;
            let hard = || start.elapsed().as_secs_f64() > seconds * 0.85;
            let d = diagnose(&network, &observed.observations[0], &stop, &hard);
            let took = start.elapsed().as_secs_f64();
            let published = case.get("published_count").and_then(|c| c.as_u64());
            let card = case
                .get("published_min_cardinality")
                .and_then(|c| c.as_u64());
            let disputed = case.get("disputed").is_some_and(|d| d == true);
            let same = case.get("diagnoses").map(|p| {
                let mut p: Vec<Vec<String>> = serde_json::from_value(p.clone()).expect("sets");
                let mut ours: Vec<Vec<String>> = d
                    .sets
                    .iter()
                    .map(|s| {
                        let mut s: Vec<String> = s
                            .iter()
                            .map(|g| network.gates()[g.index()].name.clone())
                            .collect();
                        s.sort();
                        s
                    })
                    .collect();
                p.iter_mut().for_each(|s| s.sort());
                p.sort();
                ours.sort();
                p == ours
            });
            if std::env::var("DUMP").is_ok_and(|id| id == observed.observations[0].id) {
                let names: Vec<Vec<&str>> = d
                    .sets
                    .iter()
                    .map(|s| {
                        s.iter()
                            .map(|g| network.gates()[g.index()].name.as_str())
                            .collect()
                    })
                    .collect();
                eprintln!("{}", serde_json::to_string(&names).expect("json"));
            }
            println!(
                "{} size {:?} of {:?} count {} of {:?} complete {} same {:?} disputed {} refused {} injected {} ms {:.2} parse {:.2}",
                observed.observations[0].id,
                d.size,
                card,
                d.sets.len(),
                published,
                d.complete,
                same,
                disputed,
                d.refused,
                case["injected"].as_array().map_or(0, Vec::len),
                took * 1e3,
                parsed.as_secs_f64() * 1e3
            );
        }
    }
}
