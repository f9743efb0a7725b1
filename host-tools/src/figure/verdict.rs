//! A stroke's verdict as a picture shows it: a word, a colour and a shape, never colour alone.

use plotters::style::RGBColor;

use super::theme;

/// What was decided about a stroke.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum Verdict {
    /// Nothing to say.
    #[default]
    Pass,
    /// People are told.
    Note,
    /// Stopped at the top of the stroke.
    Hold,
    /// Run permit withdrawn at once.
    Trip,
}

impl Verdict {
    /// All four, from least to most severe.
    pub const ALL: [Verdict; 4] = [Verdict::Pass, Verdict::Note, Verdict::Hold, Verdict::Trip];

    /// The word printed beside the mark.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Pass => "pass",
            Verdict::Note => "note",
            Verdict::Hold => "hold",
            Verdict::Trip => "trip",
        }
    }

    /// The verdict a word means, as replay writes it.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|v| v.word() == word)
    }

    /// Colour by the meanings of IEC 60073: green normal, yellow abnormal, blue an act by a
    /// person is required, red danger.
    pub(super) fn colour(self) -> RGBColor {
        match self {
            Verdict::Pass => theme::LAMP_GREEN,
            Verdict::Note => theme::LAMP_YELLOW,
            Verdict::Hold => theme::LAMP_BLUE,
            Verdict::Trip => theme::LAMP_RED,
        }
    }

    /// The outline of the mark around the origin, for a mark of radius 1; the circle of a pass is
    /// a polygon too, so that every mark is painted one way.
    pub(super) fn outline(self) -> Vec<(f64, f64)> {
        match self {
            Verdict::Pass => (0..24)
                .map(|i| {
                    let turn = f64::from(i) / 24.0 * std::f64::consts::TAU;
                    (0.9 * turn.cos(), 0.9 * turn.sin())
                })
                .collect(),
            Verdict::Note => vec![(0.0, -1.05), (1.05, 0.85), (-1.05, 0.85)],
            Verdict::Hold => vec![(-0.85, -0.85), (0.85, -0.85), (0.85, 0.85), (-0.85, 0.85)],
            Verdict::Trip => {
                let (a, b) = (0.42, 1.05);
                vec![
                    (0.0, -a),
                    (b - a, -b),
                    (b, -b + a),
                    (a, 0.0),
                    (b, b - a),
                    (b - a, b),
                    (0.0, a),
                    (a - b, b),
                    (-b, b - a),
                    (-a, 0.0),
                    (-b, a - b),
                    (a - b, -b),
                ]
            }
        }
    }
}
