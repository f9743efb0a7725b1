//! Who accepted a die card, and what they had seen: a card is accepted only as long as it is the card they saw.

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::{DieCard, State};

/// Who accepted a card, when and why.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Acceptance {
    /// Name of the engineer.
    pub by: String,
    /// When, in UTC (RFC 3339, to the second).
    pub on: String,
    /// Why these limits.
    pub reason: String,
    /// SHA-256 of what was accepted, see [`DieCard::content_sha256`].
    pub sha256: String,
}

/// Recorded strokes a card's limits were shown against.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReviewedStrokes {
    /// File name of the recording.
    pub recording: String,
    /// Strokes judged.
    pub strokes: u64,
    /// Of which noted.
    pub noted: u64,
    /// Of which held or tripped.
    pub stopped: u64,
    /// SHA-256 of what the card held then, see [`DieCard::content_sha256`].
    pub sha256: String,
}

/// Whether a card may hold a press.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// Not accepted yet: it judges in replay only.
    Draft,
    /// Accepted, and unchanged since.
    Accepted,
    /// Changed since it was accepted: a draft again.
    Edited,
}

impl DieCard {
    /// SHA-256, as hex digits, of everything in the card that judges or tells where that comes from: name, press,
    /// provenance, limits and shape, as JSON. Comments, spaces and the order of tables in the file do not count.
    #[must_use]
    pub fn content_sha256(&self) -> String {
        let content = (&self.die.name, &self.die.press, &self.provenance, &self.limits, &self.shape);
        // Plain tables of numbers and texts: JSON can hold all of them.
        let bytes = serde_json::to_vec(&content).unwrap_or_default();
        Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
    }

    /// Whether the card may hold a press.
    #[must_use]
    pub fn standing(&self) -> Standing {
        match (&self.acceptance, self.die.state) {
            (Some(accepted), State::Accepted) if accepted.sha256 == self.content_sha256() => {
                Standing::Accepted
            }
            (Some(_), State::Accepted) | (None, State::Accepted) => Standing::Edited,
            (_, State::Draft) => Standing::Draft,
        }
    }

    /// What the card's standing is, in a few words.
    #[must_use]
    pub fn standing_says(&self) -> String {
        match (self.standing(), &self.acceptance) {
            (Standing::Accepted, Some(accepted)) => {
                format!("accepted by {} on {}", accepted.by, accepted.on)
            }
            (Standing::Edited, Some(accepted)) => format!(
                "a draft again: changed since {} accepted it on {}; review it and accept it anew",
                accepted.by, accepted.on
            ),
            (Standing::Edited, None) => {
                "a draft: it calls itself accepted but does not say by whom; accept it with bolster accept"
                    .to_owned()
            }
            _ => "a draft, not accepted yet".to_owned(),
        }
    }

    /// Records that an engineer accepts the card as it is now.
    pub fn accept(&mut self, by: &str, reason: &str, on: String) {
        self.die.state = State::Accepted;
        let sha256 = self.content_sha256();
        self.acceptance = Some(Acceptance { by: by.to_owned(), on, reason: reason.to_owned(), sha256 });
    }

    /// The reviews that were of the card as it is now.
    pub fn current_reviews(&self) -> impl Iterator<Item = &ReviewedStrokes> {
        let now = self.content_sha256();
        self.reviews.iter().filter(move |review| review.sha256 == now)
    }

    /// Adds reviews of the card as it is now; those of another content, and older ones of the same recordings, go.
    pub fn note_reviews(&mut self, reviews: Vec<ReviewedStrokes>) {
        let now = self.content_sha256();
        self.reviews
            .retain(|old| old.sha256 == now && reviews.iter().all(|new| new.recording != old.recording));
        self.reviews.extend(reviews);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::die::{Head, LimitsCard, PressPrint};

    fn card() -> DieCard {
        DieCard {
            die: Head {
                name: "washers".into(),
                state: State::Draft,
                press: PressPrint {
                    name: "S1".into(),
                    columns: 1,
                    rated_kn: 250.0,
                    stroke_mm: 50.0,
                    rod_mm: 320.0,
                    bolster_mm: [400.0, 300.0],
                },
            },
            acceptance: None,
            reviews: Vec::new(),
            provenance: None,
            limits: LimitsCard { peak_kn: Some([50.0, 140.1].into()), ..LimitsCard::default() },
            shape: None,
        }
    }

    fn through_text(card: &DieCard) -> DieCard {
        toml::from_str(&card.to_toml().unwrap()).unwrap()
    }

    #[test]
    fn an_accepted_card_stays_accepted_through_its_file_and_not_through_an_edit() {
        let mut card = card();
        assert_eq!(card.standing(), Standing::Draft);
        card.accept("A. Engineer", "shown against a week", "2026-01-05T10:00:00Z".into());
        let card = through_text(&card);
        assert_eq!(card.standing(), Standing::Accepted);
        assert!(card.standing_says().contains("A. Engineer"), "{}", card.standing_says());
        let mut edited = card.clone();
        edited.limits.peak_kn = Some([50.0, 140.2].into());
        assert_eq!(through_text(&edited).standing(), Standing::Edited);
        let mut renamed = card.clone();
        renamed.die.press.rated_kn = 300.0;
        assert_eq!(renamed.standing(), Standing::Edited);
        let mut bare = card;
        bare.acceptance = None;
        assert_eq!(bare.standing(), Standing::Edited, "a word in a file is no acceptance");
    }

    #[test]
    fn reviews_count_for_the_content_they_were_made_of() {
        let mut card = card();
        let review = |card: &DieCard, name: &str, strokes| ReviewedStrokes {
            recording: name.into(),
            strokes,
            noted: 0,
            stopped: 0,
            sha256: card.content_sha256(),
        };
        card.note_reviews(vec![review(&card, "monday.csv", 5), review(&card, "tuesday.csv", 6)]);
        card.note_reviews(vec![review(&card, "monday.csv", 7)]);
        let mut card = through_text(&card);
        assert_eq!(card.current_reviews().map(|r| r.strokes).collect::<Vec<_>>(), [6, 7]);
        card.limits.peak_kn = None;
        assert_eq!(card.current_reviews().count(), 0);
        card.note_reviews(vec![review(&card, "friday.csv", 1)]);
        assert_eq!(card.reviews.len(), 1);
    }
}
