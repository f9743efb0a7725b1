//! The encoder's counter unit: edges counted in a timer, and the value caught at the index mark.

use bolster_drivers::crank::EncoderCount;

/// The encoder and the timer that counts its edges.
#[derive(Debug, Clone)]
pub struct EncoderUnit {
    counts_per_turn: u16,
    /// Counts from the index mark to the top of the stroke.
    top_counts: u16,
    /// Edges the timer did not see, or saw twice.
    slipped: i64,
    /// Edge at which the timer stood at zero.
    zero: i64,
    last: Option<i64>,
    broken: bool,
}

impl EncoderUnit {
    /// An encoder of so many counts a turn, mounted so that the top comes `top_counts` after its index mark.
    #[must_use]
    pub fn new(counts_per_turn: u16, top_counts: u16) -> Self {
        Self {
            counts_per_turn: counts_per_turn.max(1),
            top_counts,
            slipped: 0,
            zero: 0,
            last: None,
            broken: false,
        }
    }

    /// What the unit shows with the crank `angle_deg` past the top in its turn number `turn`; `index` is whether the
    /// mark's pulse gets through.
    pub fn at(&mut self, turn: u32, angle_deg: f64, index: bool) -> EncoderCount {
        let per_turn = i64::from(self.counts_per_turn);
        let within = f64::floor(angle_deg / 360.0 * f64::from(self.counts_per_turn) + 1e-9) as i64;
        let edges = i64::from(turn) * per_turn + within;
        // Marks lie where the count from the mark is a multiple of a turn.
        let marks = |edges: i64| (edges + i64::from(self.top_counts)).div_euclid(per_turn);
        let passed = self.last.filter(|last| marks(*last) != marks(edges)).map(|last| {
            let mark = marks(edges).max(marks(last)) * per_turn - i64::from(self.top_counts);
            self.timer(mark)
        });
        self.last = Some(edges);
        EncoderCount { count: self.timer(edges), index: passed.filter(|_| index), fault: self.broken }
    }

    /// Lets the timer miss so many edges (or count so many too many, if negative) from now on.
    pub fn slip(&mut self, edges: i32) {
        self.slipped += i64::from(edges);
    }

    /// Breaks or mends a wire of the signal pairs, which the unit sees.
    pub fn break_wire(&mut self, broken: bool) {
        self.broken = broken;
    }

    /// Power comes back: the timer begins at zero where the crank stands.
    pub fn power_up(&mut self) {
        self.zero = self.last.unwrap_or(0);
        self.slipped = 0;
    }

    fn timer(&self, edges: i64) -> u16 {
        // The timer wraps.
        (edges - self.slipped - self.zero) as u16
    }
}
