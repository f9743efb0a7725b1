//! The controller's surroundings on one board: a simulated press wired to converter, encoder, inputs and permit relay.

use super::converter::{Converter, Fault};
use super::crank::EncoderUnit;
use super::flash::Supply;
use super::pin::Wire;
use super::relay::Relay;
use crate::simulator::SimSample;
use bolster_drivers::crank::EncoderCount;

/// Within this of the top the index input of a sound press is on, degrees.
const INDEX_DEG: f64 = 4.9;

/// Everything the controller is wired to.
#[derive(Debug)]
pub struct Board {
    /// The gauges' converter.
    pub converter: Converter,
    /// The crank's encoder and the timer that counts it.
    pub encoder: EncoderUnit,
    /// The index input of a press without an encoder: on for the first degrees of a turn.
    pub index: Wire,
    /// Sensor inputs, `s1` first.
    pub sensors: [Wire; 8],
    /// The permit relay.
    pub relay: Relay,
    /// The supply of all of it; a flash may hang on it as well.
    pub supply: Supply,
}

impl Board {
    /// A board with power, nothing moving yet.
    #[must_use]
    pub fn new(encoder: EncoderUnit, relay: Relay) -> Self {
        Self {
            converter: Converter::new(),
            encoder,
            index: Wire::default(),
            sensors: Default::default(),
            relay,
            supply: Supply::default(),
        }
    }

    /// One reading of stroke number `stroke` reaches the board; gives what the encoder's timer shows then.
    ///
    /// Without power nothing is converted or counted, and the relay falls off.
    pub fn reading(&mut self, stroke: u32, sample: &SimSample) -> EncoderCount {
        let powered = self.supply.is_on();
        self.relay.step(powered);
        if powered {
            self.converter.convert(sample.counts);
        }
        self.index.set(sample.index);
        for (n, wire) in self.sensors.iter().enumerate() {
            wire.set(sample.sensors >> n & 1 == 1);
        }
        // Right after the top a missing index is a mark that did not get through.
        let index = sample.index || sample.angle_deg >= INDEX_DEG;
        self.encoder.at(stroke, sample.angle_deg, index)
    }

    /// Power fails and comes back: every device begins anew, and what the controller held in memory is gone.
    pub fn brown_out(&mut self) {
        self.supply.fail();
        self.relay.step(false);
        self.converter.fail(Fault::Reset);
        self.encoder.power_up();
        self.supply.restore();
    }
}
