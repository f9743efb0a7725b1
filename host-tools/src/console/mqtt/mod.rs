//! Strokes over MQTT, with Sparkplug B payloads, for whoever collects them in the shop.
//!
//! Off unless asked for. The console is a node of the standard, each press a device of it:
//!
//! ```text
//! spBv1.0/GROUP/NBIRTH/NODE          the console is there: bdSeq, Node Control/Rebirth, Bolster/Version
//! spBv1.0/GROUP/NDEATH/NODE          it is not: bdSeq; left with the broker as its will, said by itself when it ends
//! spBv1.0/GROUP/DBIRTH/NODE/PRESS    a press with every metric it will have, as of its latest stroke
//! spBv1.0/GROUP/DDATA/NODE/PRESS     one stroke
//! spBv1.0/GROUP/DDEATH/NODE/PRESS    its strokes no longer come
//! spBv1.0/GROUP/NCMD/NODE            taken: Node Control/Rebirth = true; everything else is passed over
//! ```
//!
//! Metrics of a press: `Stroke/Number`, `Stroke/Verdict` (pass, note, hold, trip), `Stroke/Reasons` (codes, a space
//! between two), `Stroke/Peak kN`, `Stroke/Reverse kN`, `Stroke/Work kJ`, `Stroke/Coil`, `Stroke/Die`,
//! `Strokes/Pass`, `Strokes/Note`, `Strokes/Hold`, `Strokes/Trip` (of this run of the console), `Press/Rated kN`.
//!
//! A stroke is published once it is on disk, so nothing is told that a loss of power could take back. While the broker
//! is away strokes wait in the database; afterwards they are sent in order, marked as historical. Nothing that comes in
//! changes anything but the saying again.

pub mod payload;
mod run;

pub use run::{MqttError, run};

/// The metric that asks a node to say again what there is.
pub const REBIRTH: &str = "Node Control/Rebirth";

/// Where and as what to publish.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wish {
    /// Broker's name or address.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// Group in topics.
    pub group: String,
    /// Node in topics.
    pub node: String,
    /// Name and password for the broker.
    pub login: Option<(String, String)>,
}

/// A name as a level of a topic: what would begin another level or stand for any becomes a dash.
#[must_use]
pub fn level(name: &str) -> String {
    let plain: String = name
        .chars()
        .map(|letter| if matches!(letter, '/' | '+' | '#') || letter.is_control() { '-' } else { letter })
        .collect();
    if plain.is_empty() { "-".to_owned() } else { plain }
}

impl Wish {
    /// The topic of a message of the node, or of one of its presses.
    #[must_use]
    pub fn topic(&self, kind: &str, press: Option<&str>) -> String {
        let node = format!("spBv1.0/{}/{kind}/{}", level(&self.group), level(&self.node));
        match press {
            Some(press) => format!("{node}/{}", level(press)),
            None => node,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_name_gets_out_of_its_level_of_a_topic() {
        let wish = Wish { host: "h".into(), port: 1, group: "a/b".into(), node: "#".into(), login: None };
        assert_eq!(wish.topic("DDATA", Some("P+3\n")), "spBv1.0/a-b/DDATA/-/P-3-");
        assert_eq!(wish.topic("NBIRTH", None), "spBv1.0/a-b/NBIRTH/-");
        assert_eq!(level(""), "-");
    }
}
