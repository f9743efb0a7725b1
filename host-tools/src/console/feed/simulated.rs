//! Strokes of the simulator, judged as they are made.

use std::collections::VecDeque;
use std::path::Path;

use bolster_sim::scenario::Scenario;
use bolster_sim::simulator::{SimStroke, Simulator};

use super::judging::Judging;
use super::{Basis, FeedError, JudgedStroke, StrokeFeed};
use crate::card::die::DieCard;
use crate::card::press::PressCard;
use crate::recording::{Header, Row};
use crate::session::{SampleRate, Session};

/// A scenario as a feed.
pub struct Simulated {
    name: String,
    seed: u64,
    card: PressCard,
    header: Header,
    simulator: Simulator,
    judging: Judging,
    ready: VecDeque<JudgedStroke>,
    ended: bool,
}

impl Simulated {
    /// A run of `scenario`, called `name`.
    ///
    /// # Errors
    /// [`FeedError`] if the scenario cannot be.
    pub fn new(name: &str, scenario: &Scenario) -> Result<Self, FeedError> {
        let failed = |why: String| FeedError::Scenario { name: name.to_owned(), why };
        let simulator = Simulator::new(scenario).map_err(|why| failed(why.to_string()))?;
        let card = PressCard::parse(&bolster_sim::press::card(scenario), Path::new(name))
            .map_err(|why| failed(why.to_string()))?;
        let header = Header {
            has_time: true,
            has_speed: true,
            has_coil: true,
            ..Header::over_angle(card.spec.columns)
        };
        let rate = SampleRate { hz: scenario.sample_hz, is_measured: true, is_clock: true };
        let session = Session::new(&card, &header, rate)
            .map_err(|why| FeedError::Session { source_name: name.to_owned(), why })?;
        let basis = Basis::of(&card);
        Ok(Self {
            name: name.to_owned(),
            seed: scenario.seed,
            card,
            header,
            simulator,
            judging: Judging::new(session, basis),
            ready: VecDeque::new(),
            ended: false,
        })
    }

    /// All of a stroke's readings into the session. The one before it is judged by its first reading.
    fn feed(&mut self, stroke: &SimStroke) {
        for sample in &stroke.samples {
            let row = Row::simulated(stroke, sample, self.header.unit);
            self.ready.extend(self.judging.row(&row, row));
        }
    }
}

impl StrokeFeed for Simulated {
    fn press(&self) -> &PressCard {
        &self.card
    }

    fn source(&self) -> String {
        format!("scenario {}, seed {} (invented)", self.name, self.seed)
    }

    fn set_die(&mut self, die: &DieCard) -> Result<(), FeedError> {
        self.judging
            .set_die(die, &self.header)
            .map_err(|why| FeedError::Session { source_name: self.name.clone(), why })
    }

    fn next(&mut self) -> Result<Option<JudgedStroke>, FeedError> {
        while self.ready.is_empty() && !self.ended {
            match self.simulator.next() {
                Some(stroke) => self.feed(&stroke),
                None => {
                    self.ended = true;
                    self.ready.extend(self.judging.close());
                }
            }
        }
        Ok(self.ready.pop_front())
    }
}
