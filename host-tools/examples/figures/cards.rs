//! Die cards against strokes of an invented press: a review, and two cards beside one another.

use bolster::figure::{Figure, Review, ReviewLimit, Size, Verdict, WhatIf};

use super::Scatter;

const LONG: &str = "a-limit-with-a-name-that-goes-on-until-nobody-can-read-it & further <still>";

fn review(limits: usize) -> Review {
    let mut noise = Scatter::new(limits as u64);
    let limit = |n: usize| ReviewLimit {
        name: if n == 2 { LONG.to_owned() } else { format!("limit-{n}") },
        says: if n == 2 { LONG.to_owned() } else { "what it limits, in words".to_owned() },
        within: (0..40).map(|k: u64| (k * 37 + n as u64 * 11) % (1 + 400 / (1 + k * k / 9))).collect(),
        closest: (n % 5 != 4).then_some(0.999 - 0.07 * n as f64 / limits as f64),
        beyond: (0..n * 7 % 23).map(|k| (1.0 + noise.even().abs() * 3.0, Verdict::ALL[1 + k % 3])).collect(),
        stopped: n as u64 * 1111,
        let_pass: n as u64 % 3 * 40,
    };
    Review {
        title: "What the limits would have done".into(),
        subtitle: "Press P3, a draft (invented data)".into(),
        limits: (0..limits).map(limit).collect(),
    }
}

fn what_if(count: u64, reasons: usize) -> WhatIf {
    let mut noise = Scatter::new(count);
    let mut used = || (0..count).map(|_| 0.6 + 0.1 * noise.normal()).collect::<Vec<f64>>();
    let mut pair = [used(), used()];
    let mut verdicts = [Vec::new(), Vec::new()];
    for n in 0..count {
        let odd = n % 97 == 13;
        if let (true, Some(value)) = (odd, pair[0].get_mut(n as usize)) {
            *value = 1.9;
        }
        verdicts[0].push(if odd { Verdict::Hold } else { Verdict::Pass });
        verdicts[1].push(if n % 211 == 3 { Verdict::Trip } else { Verdict::Note });
    }
    let reason = |n: usize| (if n == 1 { LONG.to_owned() } else { format!("reason-{n}") }, [n as u64 * 7, 3]);
    WhatIf {
        title: "Two die cards over the same strokes".into(),
        subtitle: "Press P3 (invented data)".into(),
        names: ["now: a.toml: die bracket, a draft".into(), format!("other: {LONG}")],
        stroke: (1..=count).collect(),
        used: pair,
        verdicts,
        reasons: (0..reasons).map(reason).collect(),
    }
}

/// Reviews of few and many limits, cards over one stroke and many.
pub(super) fn all() -> Vec<(String, Box<dyn Figure>, Size)> {
    let (some, one, many) = (review(11), review(1), review(30));
    let (run, single) = (what_if(30_000, 6), what_if(1, 0));
    vec![
        ("review".into(), Box::new(some.clone()), some.size()),
        ("review-one".into(), Box::new(one.clone()), one.size()),
        ("review-many".into(), Box::new(many.clone()), many.size()),
        ("what-if".into(), Box::new(run.clone()), run.size()),
        ("what-if-one".into(), Box::new(single.clone()), single.size()),
    ]
}
