//! How often a diagnosis names the right station or column first, by fault, over the simulator's built-in scenarios.
//!
//! `cargo run --release -p bolster --example measure_diagnosis -- [EACH] [SEEDS]`: strokes of each kind of fault in a
//! run (3), seeds a scenario (1). A line `why SCENARIO KIND [SEVERITY [blind]]` of arguments prints every
//! diagnosis of a kind instead, `blind` without a job file.

mod job;
mod runs;

use std::collections::BTreeMap;

use runs::{Runs, Score, run, score};

const SCENARIOS: [(&str, u64); 4] =
    [("five-station", 33), ("brake-two-dies", 22), ("forty-station", 44), ("small-press", 11)];
const SEVERITIES: [f64; 3] = [0.15, 0.5, 1.0];

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    if let [word, scenario, kind, rest @ ..] = args.as_slice()
        && word == "why"
    {
        let severity = rest.first().map_or(Ok(0.5), |text| text.parse())?;
        return why(scenario, kind, severity, rest.get(1).is_none_or(|word| word != "blind"));
    }
    let number = |n: usize, default: u32| args.get(n).map_or(Ok(default), |text| text.parse());
    let (each, seeds) = (number(0, 3)?, number(1, 1)?);
    for (job_known, frame_known) in [(true, false), (true, true), (false, false)] {
        let mut causes: BTreeMap<&str, BTreeMap<&str, u32>> = BTreeMap::new();
        let known = |is| if is { "known" } else { "not known" };
        println!("job {}, frame of the press {}", known(job_known), known(frame_known));
        println!("  scenario         fault            strokes    told   first   among     row  corner");
        let mut sum = Score::default();
        for (scenario, first_seed) in SCENARIOS {
            let mut by_kind: BTreeMap<&str, Score> = BTreeMap::new();
            for seed in first_seed..first_seed + u64::from(seeds) {
                for severity in SEVERITIES {
                    let runs = Runs { scenario, seed, severity, each, frame_known, job_known };
                    let (cases, stations) = run(&runs)?;
                    for case in &cases {
                        if let Some(one) = score(case, &stations) {
                            by_kind.entry(case.truth.kind.name()).or_default().add(&one);
                        }
                        if let Some(diagnosis) = &case.diagnosis {
                            let code = diagnosis.causes.first().map_or("-", |cause| cause.code);
                            *causes.entry(case.truth.kind.name()).or_default().entry(code).or_default() += 1;
                        }
                    }
                }
            }
            for (kind, score) in &by_kind {
                line(scenario, kind, score);
                sum.add(score);
            }
        }
        line("all", "", &sum);
        println!("\nfirst cause by fault");
        for (kind, codes) in &causes {
            let mut codes: Vec<(&u32, &&str)> = codes.iter().map(|(code, n)| (n, code)).collect();
            codes.sort_by(|a, b| b.0.cmp(a.0));
            let list: Vec<String> = codes.iter().take(5).map(|(n, code)| format!("{code} {n}")).collect();
            println!("  {kind:<16} {}", list.join(", "));
        }
        println!();
    }
    Ok(())
}

fn line(scenario: &str, kind: &str, s: &Score) {
    println!(
        "  {scenario:<16} {kind:<16} {:>7} {:>7} {:>7} {:>7} {:>7} {:>7}",
        s.all, s.told, s.first, s.among, s.group, s.corner
    );
}

fn why(scenario: &str, kind: &str, severity: f64, job_known: bool) -> Result<(), Box<dyn std::error::Error>> {
    let seed = SCENARIOS.iter().find(|(name, _)| *name == scenario).map_or(1, |(_, seed)| *seed);
    let (cases, stations) = run(&Runs { scenario, seed, severity, each: 3, frame_known: true, job_known })?;
    for case in cases.iter().filter(|case| case.truth.kind.name() == kind) {
        let station = case.truth.station.and_then(|n| stations.get(n - 1));
        println!(
            "{kind} at {station:?} {:?}: {} {:?}",
            case.truth.column, case.outcome.verdict, case.outcome.reasons
        );
        if let Some(diagnosis) = &case.diagnosis {
            println!("{}", serde_json::to_string_pretty(diagnosis)?);
        }
    }
    Ok(())
}
