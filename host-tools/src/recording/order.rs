//! Whether rows stand in an order that a press can have made.

use super::ANGLE_JITTER_DEG;
use super::error::Defect;

/// What the rows so far allow the next one to be.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Order {
    started: bool,
    stroke: u64,
    /// Furthest angle of this stroke, counted on past 360, degrees.
    furthest_deg: f64,
    last_deg: f64,
    /// 360 once the crank passed the top within this stroke.
    turn_deg: f64,
    time_s: f64,
}

impl Order {
    /// Checks the stroke number; a higher one starts everything else afresh.
    #[inline]
    pub(crate) fn stroke(&mut self, stroke: u64) -> Result<(), Defect> {
        if stroke == self.stroke && self.started {
            return Ok(());
        }
        if self.started && stroke < self.stroke {
            return Err(Defect::StrokeDown { from: self.stroke, to: stroke });
        }
        *self = Self {
            started: true,
            stroke,
            furthest_deg: f64::NEG_INFINITY,
            last_deg: f64::NAN,
            turn_deg: 0.0,
            time_s: f64::NEG_INFINITY,
        };
        Ok(())
    }

    /// Checks an angle already known to be in 0 to under 360.
    #[inline]
    pub(crate) fn angle(&mut self, angle_deg: f64) -> Result<(), Defect> {
        let step = angle_deg - self.last_deg;
        // NaN (the first angle of a stroke) takes the straight way too.
        if step <= -180.0 || step >= 180.0 {
            self.jump(angle_deg, step)
        } else {
            self.advance(angle_deg, self.turn_deg)
        }
    }

    /// The angle jumped by half a turn or more: over the top forward, back over it, or a gap in the rows.
    #[cold]
    fn jump(&mut self, angle_deg: f64, step: f64) -> Result<(), Defect> {
        let turn_deg = if step < 0.0 {
            self.turn_deg + 360.0
        } else if self.turn_deg > 0.0 || step >= 360.0 - ANGLE_JITTER_DEG {
            self.turn_deg - 360.0
        } else {
            self.turn_deg
        };
        if turn_deg > 360.0 {
            return Err(Defect::SecondWrap);
        }
        self.advance(angle_deg, turn_deg)
    }

    #[inline]
    fn advance(&mut self, angle_deg: f64, turn_deg: f64) -> Result<(), Defect> {
        let reached = angle_deg + turn_deg;
        if reached < self.furthest_deg - ANGLE_JITTER_DEG {
            return Err(Defect::AngleBack { from: self.furthest_deg.rem_euclid(360.0), to: angle_deg });
        }
        self.turn_deg = turn_deg;
        self.furthest_deg = self.furthest_deg.max(reached);
        self.last_deg = angle_deg;
        Ok(())
    }

    /// Checks a time, s.
    #[inline]
    pub(crate) fn time(&mut self, time_s: f64) -> Result<(), Defect> {
        if time_s < self.time_s {
            return Err(Defect::TimeBack { from: self.time_s, to: time_s });
        }
        self.time_s = time_s;
        Ok(())
    }
}
