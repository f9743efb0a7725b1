//! Strokes gathered into cells as they come: medians of a few neighbours, memory bounded however long the run.
//!
//! A cell holds neighbouring strokes of one coil. Each quantity is the median of a few strokes at first, so that single
//! bad strokes do not count; when there are too many cells, neighbours become one, the mean of their medians.

use super::rank::median;

/// Strokes of a cell at first.
const FIRST: usize = 9;
/// Cells there may be before neighbours become one.
const MOST: usize = 4096;

/// One stroke as a trend sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observation<'a> {
    /// Number, rising over the whole history.
    pub stroke: u64,
    /// Coil by number, 0 where none is marked.
    pub coil: u64,
    /// The verdict stopped the press.
    pub stopped: bool,
    /// One value a quantity, NaN where the stroke has none.
    pub values: &'a [f64],
}

/// Neighbouring strokes of one coil.
#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    /// How many coils came before, where coils are marked.
    pub coil: u64,
    /// First and last stroke.
    pub strokes: [u64; 2],
    /// Strokes in it.
    pub count: u64,
    /// One value a quantity, NaN where no stroke had one.
    pub values: Vec<f64>,
}

impl Cell {
    /// The place on the strokes' axis that its values stand for.
    #[must_use]
    pub fn middle(&self) -> f64 {
        let [first, last] = self.strokes;
        0.5 * (first as f64 + last as f64)
    }

    /// Takes in the cell that follows.
    fn join(&mut self, next: &Self) {
        let (own, other) = (self.count as f64, next.count as f64);
        for (value, next) in self.values.iter_mut().zip(&next.values) {
            *value = match (value.is_nan(), next.is_nan()) {
                (true, _) => *next,
                (false, true) => *value,
                (false, false) => (own * *value + other * next) / (own + other),
            };
        }
        self.strokes[1] = next.strokes[1];
        self.count += next.count;
    }
}

/// The mean of neighbouring cells, each counted by its strokes; none for none.
pub fn joined<'a>(cells: impl IntoIterator<Item = &'a Cell>) -> Option<Cell> {
    let mut cells = cells.into_iter();
    let mut whole = cells.next()?.clone();
    cells.for_each(|cell| whole.join(cell));
    Some(whole)
}

/// Strokes that came, as cells.
#[derive(Debug, Clone)]
pub struct Cells {
    quantities: usize,
    size: usize,
    done: Vec<Cell>,
    /// Strokes of the cell under way: stroke, stopped, values.
    open: Vec<(u64, bool, Vec<f64>)>,
    /// Coil by number, and how many changes there were.
    coil: Option<u64>,
    changes: u64,
    stopped: u64,
    count: u64,
    marked: bool,
}

impl Cells {
    /// For so many quantities.
    #[must_use]
    pub const fn new(quantities: usize) -> Self {
        Self {
            quantities,
            size: FIRST,
            done: Vec::new(),
            open: Vec::new(),
            coil: None,
            changes: 0,
            stopped: 0,
            count: 0,
            marked: false,
        }
    }

    /// The next stroke.
    pub fn take(&mut self, stroke: Observation<'_>) {
        if self.coil.is_some_and(|coil| coil != stroke.coil) {
            self.close();
            self.changes += 1;
            self.marked = true;
        }
        self.coil = Some(stroke.coil);
        self.count += 1;
        self.stopped += u64::from(stroke.stopped);
        self.open.push((stroke.stroke, stroke.stopped, stroke.values.to_vec()));
        if self.open.len() >= FIRST {
            self.close();
        }
    }

    fn close(&mut self) {
        let (Some(first), Some(last)) = (self.open.first(), self.open.last()) else { return };
        let strokes = [first.0, last.0];
        let count = self.open.len();
        // A stroke that stopped the press tells of a fault, unless nearly every one does.
        let stopped = self.open.iter().filter(|stroke| stroke.1).count();
        let all = 2 * stopped > count;
        let values = (0..self.quantities).map(|n| {
            let values: Vec<f64> = self
                .open
                .iter()
                .filter(|stroke| all || !stroke.1)
                .filter_map(|stroke| stroke.2.get(n).copied().filter(|value| value.is_finite()))
                .collect();
            median(&values).unwrap_or(f64::NAN)
        });
        let cell = Cell { coil: self.changes, strokes, count: count as u64, values: values.collect() };
        self.open.clear();
        match self.done.last_mut() {
            Some(before) if before.coil == cell.coil && (before.count as usize) < self.size => {
                before.join(&cell)
            }
            _ => self.done.push(cell),
        }
        if self.done.len() > MOST {
            self.size *= 2;
            let mut fewer: Vec<Cell> = Vec::with_capacity(MOST);
            for cell in self.done.drain(..) {
                match fewer.last_mut() {
                    Some(before)
                        if before.coil == cell.coil
                            && ((before.count + cell.count) as usize) <= self.size =>
                    {
                        before.join(&cell);
                    }
                    _ => fewer.push(cell),
                }
            }
            if fewer.len() > MOST {
                // Coils shorter than a cell: two coils become one.
                fewer.iter_mut().for_each(|cell| cell.coil /= 2);
                self.changes /= 2;
            }
            self.done = fewer;
        }
    }

    /// The history so far: closes the cell under way.
    #[must_use]
    pub fn finish(mut self) -> History {
        self.close();
        History {
            cells: self.done,
            marked: self.marked,
            strokes: self.count,
            stopped: self.stopped,
            coils: self.changes + 1,
        }
    }
}

/// A run as cells.
#[derive(Debug, Clone, PartialEq)]
pub struct History {
    /// In order.
    pub cells: Vec<Cell>,
    /// Coil changes are marked: there was at least one.
    pub marked: bool,
    /// Strokes.
    pub strokes: u64,
    /// Of these stopped the press; left out unless most of their neighbours did too.
    pub stopped: u64,
    /// Coils, 1 where none is marked.
    pub coils: u64,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(strokes: u64, coil: impl Fn(u64) -> u64, value: impl Fn(u64) -> f64) -> History {
        let mut cells = Cells::new(1);
        for stroke in 1..=strokes {
            cells.take(Observation { stroke, coil: coil(stroke), stopped: false, values: &[value(stroke)] });
        }
        cells.finish()
    }

    #[test]
    fn a_single_bad_stroke_does_not_count() {
        let history = run(90, |_| 0, |stroke| if stroke == 14 { 1e6 } else { 5.0 });
        assert!(history.cells.iter().all(|cell| cell.values == [5.0]), "{history:?}");
        assert_eq!((history.cells.len(), history.marked, history.strokes), (10, false, 90));
    }

    #[test]
    fn a_cell_never_spans_two_coils_and_a_number_that_comes_again_is_another_coil() {
        let history = run(100, |stroke| 1 + (stroke / 25) % 2, |_| 0.0);
        assert_eq!(history.coils, 5);
        for cell in &history.cells {
            assert_eq!(cell.strokes[0] / 25, cell.strokes[1] / 25, "{cell:?}");
        }
    }

    #[test]
    fn memory_stays_bounded_and_means_stay_right() {
        let strokes = 400_000;
        let history = run(strokes, |stroke| stroke / 1000, |stroke| stroke as f64);
        assert!(history.cells.len() <= MOST, "{}", history.cells.len());
        assert_eq!(history.cells.iter().map(|cell| cell.count).sum::<u64>(), strokes);
        for cell in &history.cells {
            // Medians of nine and means of these: half a stroke off where a cell's last nine are fewer.
            assert!((cell.values.first().copied().unwrap_or(0.0) - cell.middle()).abs() <= 4.5, "{cell:?}");
        }
        let many = run(100_000, |stroke| stroke / 5, |_| 1.0);
        assert!(many.cells.len() <= MOST && many.strokes == 100_000, "coils shorter than a cell");
    }

    #[test]
    fn stopped_strokes_are_left_out_unless_they_are_most() {
        let mut cells = Cells::new(1);
        for stroke in 1..=18 {
            // Four of the first nine are stopped and off; all of the next nine.
            let stopped = stroke > 9 || stroke <= 4;
            cells.take(Observation { stroke, coil: 0, stopped, values: &[if stopped { 9.0 } else { 1.0 }] });
        }
        let history = cells.finish();
        assert_eq!(history.cells.iter().map(|cell| cell.values.clone()).collect::<Vec<_>>(), [[1.0], [9.0]]);
        assert_eq!(history.stopped, 13);
    }
}
