//! Simulated histories of a die: edges that dull slowly or do not, coil after coil, judged and looked at on the way.
//!
//! Time-lapse: of each coil of 160 strokes eight are simulated, and edges dull between them as they would over the strokes left
//! out: half a 100,000th a stroke, 10 % in 20,000 strokes and 125 coils. The die card is learnt once, from coils of its own.

use std::path::Path;

use bolster::card::die::DieCard;
use bolster::card::press::PressCard;
use bolster::learn::{Part, Wish as LearnWish, learn_part};
use bolster::recording::{Header, Row, SimulatedWriter, Unit};
use bolster::session::{ROWS_AHEAD, SampleRate, Session};
use bolster::trend::cells::History;
use bolster::trend::quantity::watched;
use bolster::trend::rank::centre;
use bolster::trend::series::Series;
use bolster::trend::{Analysis, Gatherer, State, Wish};
use bolster_sim::scenario::{FaultData, Scenario, find};
use bolster_sim::simulator::{SimStroke, Simulator};
use bolster_sim::truth::Kind;

pub(crate) type Failure = Box<dyn std::error::Error + Send + Sync>;

/// Strokes simulated of each coil.
pub(crate) const COIL: u32 = 8;
/// Strokes that each of them stands for.
pub(crate) const EVERY: f64 = 20.0;
/// Factor on scatter within a coil, so that the mean of eight neighbours scatters as that of 160 does. Half of the scatter is
/// white, half remembers 0.95 of itself: variances of the mean are 0.5/160 + 0.5 · 0.214 = 0.110 of a stroke's over 160 strokes
/// and 0.5/8 + 0.5 · 0.878 = 0.502 over eight.
const QUIETER: f64 = 0.47;
/// Dullness at which a history ends, and at which the die is due.
pub(crate) const ENDS_AT: f64 = 0.10;
pub(crate) const DUE_AT: f64 = 0.20;
/// Readings a stroke: enough for these shapes, and ten times faster than a converter's rate.
const READINGS: f64 = 700.0;
/// Coils that a die is learnt from.
pub(crate) const LEARNT_COILS: u32 = 8;

/// Which edges dull.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Edges {
    /// Every cutting edge of the die.
    All,
    /// Those of one station, from 1.
    Station(usize),
}

/// A press and die, learnt, with what its wear quantities read when it is due.
pub(crate) struct Case {
    pub(crate) name: String,
    base: Scenario,
    edges: Edges,
    press: PressCard,
    die: DieCard,
    pub(crate) limits: Vec<(String, f64)>,
}

/// What one look at a history said.
#[derive(Debug, Clone)]
pub(crate) struct Seen {
    /// Dullness at the look.
    pub(crate) dull: f64,
    /// Quantities with a trend.
    pub(crate) moving: Vec<String>,
    /// What changed, which nothing did.
    pub(crate) changes: Vec<String>,
    /// For each wear quantity with a limit and a trend: least, likely and most strokes left, and the truth.
    pub(crate) left: Vec<(String, [Option<f64>; 3], f64)>,
}

impl Case {
    /// Learns the die and finds what its wear-like quantities are when it is due, over `coils` coils.
    pub(crate) fn new(base: &str, edges: Edges, coils: u32, folder: &Path) -> Result<Self, Failure> {
        let mut scenario = Scenario::from_toml(find(base).ok_or("no such scenario")?)?;
        scenario.faults.clear();
        scenario.strip.wear_per_100k = 0.0;
        scenario.strip.regrind_every = None;
        scenario.strip.strokes_per_coil = COIL;
        for percent in [
            &mut scenario.strip.scatter_thickness_percent,
            &mut scenario.strip.scatter_strength_percent,
            &mut scenario.strip.scatter_friction_percent,
        ] {
            *percent *= QUIETER;
        }
        // Time-lapse: what a press does in its first half hour, warming up, would take much of the history.
        scenario.strip.warm_up_strokes = 3.0;
        scenario.front_end.drift_percent = 0.0;
        pace(&mut scenario);
        scenario.seed = 4_000 + base.len() as u64;
        scenario.strokes = LEARNT_COILS * COIL;
        let (press, die) = learnt(&scenario, &folder.join(format!("{base}-{edges:?}.csv")))?;
        let name = match edges {
            Edges::All => format!("{base}, all edges"),
            Edges::Station(n) => format!("{base}, station {n}"),
        };
        let mut case = Self { name, base: scenario, edges, press, die, limits: Vec::new() };
        let (due, columns) = case.history(77, coils, [DUE_AT, DUE_AT], &mut |_, _| {})?;
        for quantity in watched(&due, &columns).iter().filter(|quantity| quantity.wear) {
            let series = Series::of(&due, quantity.place, &quantity.stock);
            case.limits.push((quantity.name.clone(), centre(&series.y).ok_or("no coils")?));
        }
        Ok(case)
    }

    /// Judges a history of `coils` coils whose edges dull in a straight line; `coil_done` is called after each coil.
    fn history(
        &self,
        seed: u64,
        coils: u32,
        [from, to]: [f64; 2],
        coil_done: &mut dyn FnMut(u32, &Gatherer),
    ) -> Result<(History, Vec<String>), Failure> {
        let mut scenario = self.base.clone();
        scenario.seed = seed;
        scenario.strokes = coils * COIL;
        let rise = (to - from) / f64::from(scenario.strokes);
        match self.edges {
            Edges::All => {
                scenario.strip.wear_per_100k = rise * 1e5;
                // What they had already, as strokes since the regrind; without a rise as dull stations.
                for station in &mut scenario.stations {
                    if let Some(pierce) = &mut station.pierce {
                        pierce.dullness += from;
                    }
                }
            }
            Edges::Station(station) if to > 0.0 => scenario.faults.push(FaultData {
                kind: Kind::Dull,
                severity: to,
                from: 1,
                to: None,
                probability: None,
                grows: from < to,
                station: Some(station),
                column: None,
            }),
            Edges::Station(_) => {}
        }
        let mut session = session(&scenario, &self.press, &self.die, true)?;
        let mut gatherer = Gatherer::new();
        let path = Path::new("simulated");
        for stroke in Simulator::new(&scenario)? {
            for row in rows(&stroke) {
                if let Some(outcome) = session.row(&row) {
                    gatherer.outcome(path, &outcome)?;
                }
            }
            if stroke.number % COIL == 0 {
                coil_done(stroke.number / COIL, &gatherer);
            }
        }
        if let Some(outcome) = session.close() {
            gatherer.outcome(path, &outcome)?;
        }
        Ok(gatherer.finish())
    }

    /// A history from sharp to [`ENDS_AT`], or of edges that stay sharp, looked at so many times on the way.
    pub(crate) fn run(
        &self,
        seed: u64,
        coils: u32,
        wears: bool,
        looks: u32,
        wish: &Wish,
    ) -> Result<Vec<Seen>, Failure> {
        let wish = Wish { limits: self.limits.clone(), ..wish.clone() };
        let mut seen = Vec::new();
        let end = if wears { ENDS_AT } else { 0.0 };
        let strokes = f64::from(coils * COIL);
        let mut look = |dull: f64, done: f64, gatherer: &Gatherer| {
            let (history, columns) = gatherer.clone().finish();
            let analysis = Analysis::of(&history, &columns, &wish);
            let moving = |state| matches!(state, State::Rising | State::Falling);
            let truth = strokes * DUE_AT / ENDS_AT - done;
            seen.push(Seen {
                dull,
                moving: analysis
                    .quantities
                    .iter()
                    .filter(|trend| moving(trend.state))
                    .map(|trend| trend.quantity.clone())
                    .collect(),
                changes: analysis.changes.iter().map(|change| change.says.join("; ")).collect(),
                left: analysis
                    .quantities
                    .iter()
                    .filter_map(|trend| Some((trend.quantity.clone(), trend.strokes_left?)))
                    .map(|(name, left)| (name, [Some(left.least), Some(left.likely), left.most], truth))
                    .collect(),
            });
        };
        let _ = self.history(seed, coils, [0.0, end], &mut |coil, gatherer| {
            // Looks are spread over the second half: before it nobody asks.
            let due = (1..=looks).any(|n| coil == coils / 2 + (coils - coils / 2) * n / looks);
            if due {
                let share = f64::from(coil) / f64::from(coils);
                look(end * share, strokes * share, gatherer);
            }
        })?;
        Ok(seen)
    }
}

/// Takes as many readings a stroke as these shapes need.
pub(crate) fn pace(scenario: &mut Scenario) {
    let seconds = (scenario.angle_to_deg - scenario.angle_from_deg) / (6.0 * scenario.drive.speed_spm);
    scenario.sample_hz = scenario.sample_hz.min((READINGS / seconds).max(2_000.0));
}

/// The press, and the die as learnt from a run of this scenario; `path` holds its recording for the while.
pub(crate) fn learnt(scenario: &Scenario, path: &Path) -> Result<(PressCard, DieCard), Failure> {
    let press = PressCard::parse(&wide_card(scenario), Path::new("press.toml"))?;
    let columns = Simulator::new(scenario)?.press().columns;
    let file = std::io::BufWriter::new(std::fs::File::create(path)?);
    let mut writer = SimulatedWriter::new(file, SimulatedWriter::header(columns))?;
    for stroke in Simulator::new(scenario)? {
        writer.write(&stroke)?;
    }
    writer.finish()?;
    let wish = LearnWish { die: "measured".to_owned(), false_stop: 1e-4 };
    let die = learn_part(path, &press, &wish, Part::default(), &mut |_, _, _| {})?;
    std::fs::remove_file(path)?;
    Ok((press, die))
}

/// A session for the strokes of a scenario, coil changes marked or not.
pub(crate) fn session(
    scenario: &Scenario,
    press: &PressCard,
    die: &DieCard,
    marked: bool,
) -> Result<Session, Failure> {
    let header = Header { has_coil: true, has_speed: true, ..Header::over_angle(press.spec.columns) };
    let first: Vec<Row> = Simulator::new(scenario)?.take(4).flat_map(|s| rows(&s)).take(ROWS_AHEAD).collect();
    let rate = SampleRate::of(press, &header, &first);
    let mut session = Session::new(press, &header, rate)?;
    session.set_die(die, marked)?;
    Ok(session)
}

pub(crate) fn rows(stroke: &SimStroke) -> Vec<Row> {
    stroke.samples.iter().map(|sample| Row::simulated(stroke, sample, Unit::Kilonewtons)).collect()
}

/// The press card with limits of the press set wide: they are not what is measured here.
fn wide_card(scenario: &Scenario) -> String {
    let wide = |line: &str| match line.split('=').next().unwrap_or_default().trim() {
        field @ ("reverse_percent" | "imbalance_percent") => format!("{field} = 300.0\n"),
        "column_percent" => "column_percent = 500.0\n".to_owned(),
        _ => format!("{line}\n"),
    };
    bolster_sim::press::card(scenario).lines().map(wide).collect()
}
