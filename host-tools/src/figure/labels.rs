//! Labels at the ends of curves: as near their curve as they can be without touching.

use plotters::style::RGBColor;

use super::canvas::{Canvas, Letter, Place, Point, Stroke};
use super::panel::Panel;
use super::{text, theme};

/// A label at the right of a panel, wished for at `y` px.
pub(super) struct EndLabel {
    pub(super) text: String,
    pub(super) y: f64,
    pub(super) colour: RGBColor,
    pub(super) bold: bool,
    /// Whether a line joins it to the place it means.
    pub(super) joined: bool,
}

impl EndLabel {
    pub(super) fn new(text: impl Into<String>, y: f64, colour: RGBColor) -> Self {
        Self { text: text.into(), y, colour, bold: false, joined: true }
    }

    pub(super) fn bold(self) -> Self {
        Self { bold: true, ..self }
    }

    /// A remark that means no place on the panel.
    pub(super) fn remark(self) -> Self {
        Self { joined: false, ..self }
    }
}

/// Labels at the right edge of `panel`, each joined to the place it means where it had to move.
pub(super) fn paint_ends(canvas: &mut Canvas<'_>, panel: &Panel, labels: &[EndLabel]) {
    let wanted: Vec<f64> = labels.iter().map(|l| l.y.clamp(panel.top, panel.bottom)).collect();
    let places = spread(&wanted, 18.0, panel.top - 9.0, panel.bottom + 9.0);
    let x = panel.right + 18.0;
    for ((label, y), wish) in labels.iter().zip(places).zip(wanted) {
        let letter =
            Letter { bold: label.bold, ..Letter::new(theme::AXIS_PX, theme::readable(label.colour)) };
        let hair = Stroke::new(label.colour, theme::HAIR);
        if label.joined {
            canvas.line((panel.right + 3.0, wish), (x - 4.0, y), hair);
        }
        let room = canvas.width - theme::MARGIN / 2.0 - x;
        let words = text::fit(&label.text, letter.px, letter.bold, room);
        canvas.text(&words, (x, y + letter.drop()), letter);
    }
}

/// Middles for labels of height `height` that want to stand at `wanted`, kept between `low` and
/// `high` and clear of each other; in the order given. Where they cannot all fit, they are packed
/// as tightly as the room asks for.
pub(super) fn spread(wanted: &[f64], height: f64, low: f64, high: f64) -> Vec<f64> {
    let count = wanted.len();
    let mut order: Vec<usize> = (0..count).collect();
    let at = |i: usize| wanted.get(i).copied().unwrap_or(low);
    order.sort_by(|&a, &b| at(a).total_cmp(&at(b)));
    let room = (high - low).max(0.0);
    let height = height.min(room / count.max(1) as f64);

    // Blocks of touching labels, each centred on the mean of what its members want.
    let mut blocks: Vec<(f64, usize)> = Vec::new();
    let top_of = |sum: f64, n: usize| {
        let middle = sum / n as f64;
        let half = n as f64 * height / 2.0;
        middle.clamp(low + half, (high - half).max(low + half)) - half
    };
    for &i in &order {
        let mut block = (at(i), 1);
        while let Some(&(sum, n)) = blocks.last() {
            if top_of(sum, n) + n as f64 * height <= top_of(block.0, block.1) + 1e-9 {
                break;
            }
            block = (block.0 + sum, block.1 + n);
            blocks.pop();
        }
        blocks.push(block);
    }
    let sorted: Vec<f64> = blocks
        .iter()
        .flat_map(|&(sum, n)| (0..n).map(move |k| (top_of(sum, n), k)))
        .map(|(top, k)| top + (k as f64 + 0.5) * height)
        .collect();
    let mut out = vec![0.0; count];
    for (&i, &y) in order.iter().zip(&sorted) {
        if let Some(slot) = out.get_mut(i) {
            *slot = y;
        }
    }
    out
}

/// Which of `places` covers the least of the polylines `curves` (px): where words may stand.
pub(super) fn calmest(places: &[Place], curves: &[&[Point]]) -> usize {
    let covered = |place: &Place| -> f64 {
        let segments = curves.iter().flat_map(|c| c.windows(2));
        segments.map(|pair| covered_length(place, pair)).sum()
    };
    let best = places.iter().map(covered).enumerate().min_by(|a, b| a.1.total_cmp(&b.1));
    best.map_or(0, |b| b.0)
}

/// How much of a segment lies in `place`, px, to 2 px.
fn covered_length(place: &Place, pair: &[Point]) -> f64 {
    let [a, b] = pair else { return 0.0 };
    let apart = a.0.max(b.0) < place.left
        || a.0.min(b.0) > place.right
        || a.1.max(b.1) < place.top
        || a.1.min(b.1) > place.bottom;
    if apart {
        return 0.0;
    }
    let length = (b.0 - a.0).hypot(b.1 - a.1).min(20_000.0);
    let steps = (length / 2.0).ceil().max(1.0);
    let inside = (0..steps as usize)
        .map(|i| (i as f64 + 0.5) / steps)
        .map(|t| (a.0 + (b.0 - a.0) * t, a.1 + (b.1 - a.1) * t))
        .filter(|p| p.0 >= place.left && p.0 <= place.right)
        .filter(|p| p.1 >= place.top && p.1 <= place.bottom)
        .count();
    inside as f64 / steps * length
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_with_room_stand_where_they_want() {
        assert_eq!(spread(&[80.0, 20.0, 50.0], 16.0, 0.0, 100.0), [80.0, 20.0, 50.0]);
    }

    #[test]
    fn labels_never_touch_nor_leave_the_panel() {
        // 500 arrangements from a fixed multiplicative sequence.
        let mut state = 17_u64;
        let mut next = || {
            state = state * 48_271 % 2_147_483_647;
            state as f64 / 2_147_483_647.0
        };
        for case in 0..500 {
            let n = 1 + case % 5;
            let wanted: Vec<f64> = (0..n).map(|_| -50.0 + 300.0 * next()).collect();
            let got = spread(&wanted, 16.0, 0.0, 200.0);
            let mut sorted = got.clone();
            sorted.sort_by(f64::total_cmp);
            assert!(
                sorted.windows(2).all(|w| w[1] - w[0] >= 16.0 - 1e-6),
                "case {case}: {wanted:?} -> {got:?}"
            );
            assert!(sorted.iter().all(|&y| (8.0 - 1e-6..=192.0 + 1e-6).contains(&y)), "case {case}: {got:?}");
        }
    }

    #[test]
    fn equal_wishes_are_shared_out_around_the_wish() {
        let got = spread(&[50.0; 3], 10.0, 0.0, 100.0);
        assert_eq!(got, [40.0, 50.0, 60.0]);
    }

    #[test]
    fn words_go_where_no_curve_runs() {
        let place = |left: f64| Place { left, top: 0.0, right: left + 10.0, bottom: 10.0 };
        let curve = [(-5.0, 5.0), (25.0, 5.0)];
        let places = [place(0.0), place(20.0), place(40.0)];
        assert_eq!(calmest(&places, &[&curve]), 2);
        // 10 px of the level line are inside the first, 5 px inside the second.
        assert_eq!(calmest(&places[..2], &[&curve]), 1);
    }
}
