//! What the measured stroke means, and what follows for the baseline.

use super::statistics::{PIECE, all, energy};
use super::{
    AGREE, Against, BASELINE_WEIGHT, BASELINE_WORTH, FACTORS, Field, Finding, Findings, MISSES, Measures,
    Reason, SCATTER_MOST, SCATTER_PACE, STATISTICS, ShapeModel, Stage, State, Statistic, StockRule, TANGENTS,
    Verdict, YOUNG, add_scaled, dot, hat, scale,
};

/// What may still be stock at all: for the first strokes of a coil, and for how far the baseline may follow.
const WIDE: StockRule = StockRule { range: 400.0, widening: 8.0, curvature: 0.6 };

/// Inflation of a residual's variance against a baseline worth so many strokes.
fn inflation(strokes: u32) -> f32 {
    1.0 + 1.0 / (strokes.max(1) as f32).min(BASELINE_WORTH)
}

impl<const N: usize, const BINS: usize> State<N, BINS> {
    /// One part of the work; gives the next stage.
    #[inline(never)]
    pub(super) fn part(&mut self, model: &ShapeModel<N, BINS>, findings: &mut Findings) -> Stage {
        match self.stage {
            Stage::Idle => Stage::Idle,
            Stage::Measure(against) => self.measure(model, against, findings),
            Stage::Conclude(Against::Baseline) => self.against_baseline(model, findings),
            Stage::Conclude(Against::Reference) => self.against_reference(model, findings),
            Stage::Conclude(Against::Candidate) => self.against_candidate(model),
            Stage::Conclude(Against::Drift) => self.drifted(model, findings),
            Stage::Follow { candidate: false, weight } => {
                let [first, second] = &self.signatures;
                let ended = if self.active == 0 { second } else { first };
                move_towards(&mut self.baseline, ended.field(), weight);
                Stage::Tangent { row: 0, step: 0 }
            }
            Stage::Follow { candidate: true, weight } => {
                let [first, second] = &self.signatures;
                let ended = if self.active == 0 { second } else { first };
                move_towards(&mut self.candidate, ended.field(), weight);
                self.candidate_followed()
            }
            Stage::Candidate => {
                self.candidate = *self.ended().field();
                Stage::Idle
            }
            Stage::Rebase { to_candidate } => {
                self.baseline = if to_candidate { self.candidate } else { *self.ended().field() };
                Stage::Tangent { row: 0, step: 0 }
            }
            Stage::Tangent { row, step } => self.tangent(model, row, step),
        }
    }

    /// The stroke that ended last goes to be judged.
    pub(super) fn start(&mut self) -> Stage {
        self.waiting = false;
        if core::mem::take(&mut self.coil_ended) && self.marked {
            self.forget_coil();
        }
        self.residual.begin();
        self.last = Measures::default();
        Stage::Measure(if self.strokes > 0 { Against::Baseline } else { Against::Reference })
    }

    fn measure(&mut self, model: &ShapeModel<N, BINS>, against: Against, findings: &mut Findings) -> Stage {
        let [first, second] = &self.signatures;
        let ended = if self.active == 0 { second } else { first };
        if !ended.is_whole(&model.layout) {
            findings.add(Finding {
                reason: Reason::SignatureIncomplete,
                verdict: Reason::SignatureIncomplete.verdict(),
                column: None,
                from: model.layout.position(model.layout.edges(0).0),
                to: model.layout.position(model.layout.end()),
                value: ended.bins().len() as f32,
                limit: model.layout.used() as f32,
            });
            return Stage::Idle;
        }
        let x = ended.field();
        let done = match against {
            Against::Baseline => self.residual.advance(model, x, &self.baseline, &self.tangents),
            Against::Reference => self.residual.advance(model, x, &model.reference, &model.tangents),
            Against::Candidate => self.residual.advance(model, x, &self.candidate, &self.tangents),
            Against::Drift => self.residual.advance(model, &self.baseline, &model.reference, &model.tangents),
        };
        if done { Stage::Conclude(against) } else { Stage::Measure(against) }
    }

    /// The limits in force: learnt, and widened where this coil scatters more.
    fn limits(&self, model: &ShapeModel<N, BINS>) -> [f32; STATISTICS] {
        let [marked, unmarked] = &model.limits;
        let mut limits = if self.marked { *marked } else { *unmarked };
        for (limit, scatter) in limits.iter_mut().zip(&self.scatter) {
            *limit *= scatter;
        }
        limits
    }

    /// Whether the residual in hand is what a change of stock may be.
    fn is_stock(&self, model: &ShapeModel<N, BINS>, strokes: u32, rule: StockRule) -> bool {
        let [_, residual, greatest, matched, windows, scores, _] =
            self.limits(model).map(|limit| limit * rule.widening);
        let movement = energy(&self.residual.allowed);
        let tolerance = rule.curvature * rule.curvature * movement;
        let [marked, unmarked] = &model.limits;
        let learnt = if self.marked { marked } else { unmarked };
        let swell = 1.0 + tolerance / learnt[Statistic::Residual as usize];
        let off = &self.residual.of_p;
        let inflation = inflation(strokes);
        // Written so that a NaN is no stock.
        off.energy / inflation < residual + tolerance
            && off.greatest / inflation < greatest * swell
            && off.matched / inflation < matched * swell
            && off.windows / inflation < windows * swell
            && energy(&self.residual.own_scores) / inflation < scores + tolerance
            && movement < model.allowed_limit * (1.0 + rule.range)
    }

    fn against_baseline(&mut self, model: &ShapeModel<N, BINS>, findings: &mut Findings) -> Stage {
        let off = &self.residual.of_q;
        let values = all(&self.residual, off, inflation(self.strokes));
        let limits = self.limits(model);
        let mut measures = Measures { window: off.window, bin: off.bin, ..Measures::default() };
        let mut within = true;
        for ((over, value), limit) in measures.over_limit.iter_mut().zip(values).zip(limits) {
            *over = value / limit;
            within &= value < limit;
        }
        self.last = measures;
        if !within {
            let rule =
                StockRule { range: model.stock_range, widening: model.stock_widening, curvature: 0.03 };
            self.own_stock = self.is_stock(model, self.strokes, rule);
            self.residual.begin();
            return Stage::Measure(Against::Reference);
        }
        for ((scatter, value), median) in self.scatter.iter_mut().zip(values).zip(&model.medians) {
            let seen = (value / median).min(5.0);
            *scatter = (*scatter + SCATTER_PACE * (seen - *scatter)).clamp(1.0, SCATTER_MOST);
        }
        self.agreeing = 0;
        self.breaks.push(false, self.envelope.rule);
        if self.far {
            self.tell_drift(model, findings);
        }
        if self.frozen {
            return Stage::Idle;
        }
        self.strokes = self.strokes.saturating_add(1);
        let weight = (1.0 / self.strokes as f32).max(BASELINE_WEIGHT);
        Stage::Follow { candidate: false, weight }
    }

    fn against_reference(&mut self, model: &ShapeModel<N, BINS>, findings: &mut Findings) -> Stage {
        let near = StockRule {
            range: 4.0 * model.stock_range,
            widening: 2.0 * model.stock_widening,
            curvature: 0.1,
        };
        let (wide, near) = (self.is_stock(model, 1, WIDE), self.is_stock(model, 1, near));
        let plausible = self.residual.size < model.reference_size * model.reference_size;
        let young = self.strokes == 0 || (self.marked && self.strokes < YOUNG);
        let stock = if young { wide } else { self.own_stock };
        let free = !self.marked || young;
        if self.strokes == 0 {
            // Only the reference was asked: it tells where the stroke stands out.
            let off = &self.residual.of_q;
            let values = all(&self.residual, off, inflation(1));
            let mut measures = Measures { window: off.window, bin: off.bin, ..Measures::default() };
            for ((over, value), limit) in measures.over_limit.iter_mut().zip(values).zip(self.limits(model)) {
                *over = value / limit;
            }
            self.last = measures;
        }
        let reason = match (stock, free) {
            (true, true) => Reason::StockChanged,
            (true, false) => Reason::ChangeBeyondAllowed,
            (false, _) => self.worst(),
        };
        let left = reason != Reason::StockChanged;
        let often = self.breaks.push(left, self.envelope.rule);
        if often {
            self.tell(model, findings, reason, self.envelope.verdict);
        } else if !left {
            self.tell(model, findings, reason, reason.verdict());
        }
        if self.strokes == 0 && stock {
            return self.rebase(false, 1);
        }
        if !plausible && !stock {
            return Stage::Idle;
        }
        if self.agreeing > 0 {
            self.own_stock = stock;
            self.candidate_near &= near;
            self.residual.begin();
            return Stage::Measure(Against::Candidate);
        }
        self.new_candidate(stock, near)
    }

    fn against_candidate(&mut self, model: &ShapeModel<N, BINS>) -> Stage {
        let off = &self.residual.of_q;
        let values = all(&self.residual, off, inflation(self.agreeing));
        let agrees = values.iter().zip(self.limits(model)).all(|(value, limit)| *value < limit);
        if agrees {
            self.agreeing = self.agreeing.saturating_add(1);
            self.misses = 0;
            return Stage::Follow { candidate: true, weight: 1.0 / self.agreeing as f32 };
        }
        if self.agreeing > 1 && self.misses < MISSES {
            self.misses += 1;
        } else {
            return self.new_candidate(self.own_stock, self.candidate_near);
        }
        Stage::Idle
    }

    /// One more stroke agrees with the candidate: enough of them move the baseline.
    fn candidate_followed(&mut self) -> Stage {
        let young = self.strokes == 0 || (self.marked && self.strokes < YOUNG);
        self.candidate_allowed &= self.own_stock;
        let free = (!self.marked || young) && self.candidate_allowed;
        let [allowed, near, anywhere] = AGREE;
        let needed = if free {
            allowed
        } else if self.candidate_near {
            near
        } else {
            anywhere
        };
        if self.agreeing < needed {
            return Stage::Idle;
        }
        self.far = !free;
        self.rebase(true, self.agreeing)
    }

    fn new_candidate(&mut self, stock: bool, near: bool) -> Stage {
        self.agreeing = 1;
        self.misses = 0;
        self.candidate_allowed = stock;
        self.candidate_near = near;
        Stage::Candidate
    }

    /// Moves the baseline to the candidate, or to the stroke in hand.
    fn rebase(&mut self, to_candidate: bool, strokes: u32) -> Stage {
        self.strokes = strokes;
        self.agreeing = 0;
        self.scatter = [1.0; STATISTICS];
        self.frozen = false;
        Stage::Rebase { to_candidate }
    }

    /// The moved baseline against the reference: following stops where stock no longer explains the way.
    fn drifted(&mut self, model: &ShapeModel<N, BINS>, findings: &mut Findings) -> Stage {
        let movement = energy(&self.residual.allowed);
        self.drift = movement / (model.allowed_limit * (1.0 + model.stock_range));
        self.frozen = !self.is_stock(model, 1, WIDE);
        let was_far = self.far;
        self.far |= self.frozen;
        if self.far && !was_far {
            self.tell_drift(model, findings);
        }
        Stage::Idle
    }

    /// Makes the tangents of the baseline: its slope under each hat, in σ, without factors and earlier tangents.
    fn tangent(&mut self, model: &ShapeModel<N, BINS>, row: usize, step: usize) -> Stage {
        let pieces = BINS.div_ceil(PIECE);
        // The slope piece by piece, its length, what is taken out, the length that is left, the scaling.
        let from_factors = pieces + 1;
        let from_earlier = from_factors + 2 * FACTORS;
        let from_scaling = from_earlier + 2 * TANGENTS;
        let (earlier, rest) = self.tangents.split_at_mut(row.min(TANGENTS));
        let Some(tangent) = rest.first_mut() else {
            self.residual.begin();
            return Stage::Measure(Against::Drift);
        };
        let mut next = Stage::Tangent { row, step: step + 1 };
        if step < pieces {
            slope(model, &self.baseline, row, tangent, step * PIECE);
        } else if step == pieces {
            self.tangent_length = dot(tangent, tangent);
        } else if step < from_scaling {
            let removed = if step < from_earlier {
                model.factors.get((step - from_factors) / 2)
            } else {
                earlier.get((step - from_earlier) / 2)
            };
            if let Some(removed) = removed {
                // First the amplitude, then the row: a part of the work each.
                if (step - from_factors).is_multiple_of(2) {
                    self.tangent_amplitude = dot(removed, tangent);
                } else {
                    add_scaled(tangent, removed, -self.tangent_amplitude);
                }
            }
        } else if step == from_scaling {
            let left = dot(tangent, tangent);
            // A slope that is nearly all scatter already, or lost in noise, is none.
            let kept = left > 0.02 * 0.02 * self.tangent_length && left > 1.0;
            self.tangent_amplitude = if kept { 1.0 / libm::sqrtf(left) } else { 0.0 };
        } else {
            scale(tangent, self.tangent_amplitude);
            next = Stage::Tangent { row: row + 1, step: 0 };
        }
        next
    }

    /// The reason that the worst statistic gives.
    fn worst(&self) -> Reason {
        let mut worst = (Statistic::Residual, -1.0);
        for (over, statistic) in self.last.over_limit.into_iter().zip(Statistic::ALL) {
            if over > worst.1 {
                worst = (statistic, over);
            }
        }
        match worst.0 {
            Statistic::Allowed => Reason::ChangeBeyondAllowed,
            Statistic::Matched | Statistic::Windows if N > 1 => Reason::ShareOffEnvelope,
            _ => Reason::ShapeOffEnvelope,
        }
    }

    /// Adds a finding of this stroke: where it stands out, and how far the worst statistic is over its limit.
    fn tell(&self, model: &ShapeModel<N, BINS>, findings: &mut Findings, reason: Reason, verdict: Verdict) {
        let greatest = self.last.over_limit.iter().copied().fold(0.0, f32::max);
        let standout = match reason {
            Reason::ShapeOffEnvelope => self.last.bin,
            _ => self.last.window,
        };
        let [first, last] = standout.bins.map(usize::from);
        let places = (model.layout.edges(first).0, model.layout.edges(last).1);
        findings.add(Finding {
            reason,
            verdict,
            column: (N > 1).then_some(standout.column),
            from: model.layout.position(places.0),
            to: model.layout.position(places.1),
            value: greatest,
            limit: 1.0,
        });
    }

    fn tell_drift(&self, model: &ShapeModel<N, BINS>, findings: &mut Findings) {
        let reason = Reason::DriftOffReference;
        findings.add(Finding {
            reason,
            verdict: reason.verdict(),
            column: None,
            from: model.layout.position(model.layout.edges(0).0),
            to: model.layout.position(model.layout.end()),
            value: self.drift,
            limit: 1.0,
        });
    }
}

/// Moves `field` by `weight` of the way to `to`.
fn move_towards<const N: usize, const BINS: usize>(
    field: &mut Field<N, BINS>,
    to: &Field<N, BINS>,
    weight: f32,
) {
    for (field, to) in field.iter_mut().zip(to) {
        for (field, to) in field.iter_mut().zip(to) {
            *field += weight * (to - *field);
        }
    }
}

/// Slope of a signature over the bins' axis under one hat, in σ units, for [`PIECE`] bins from `begin` on:
/// second-order differences over uneven bins.
fn slope<const N: usize, const BINS: usize>(
    model: &ShapeModel<N, BINS>,
    baseline: &Field<N, BINS>,
    window: usize,
    into: &mut Field<N, BINS>,
    begin: usize,
) {
    let used = model.layout.used();
    let middle = |bin: usize| {
        let (from, to) = model.layout.edges(bin);
        0.5 * (from + to)
    };
    let rows = into.iter_mut().zip(&model.per_sigma).enumerate();
    for (n, (row, per_sigma)) in rows.skip(begin).take(PIECE) {
        *row = [0.0; N];
        if n >= used || used < 2 {
            continue;
        }
        let (before, after) = (n.saturating_sub(1), (n + 1).min(used - 1));
        let (back, forth) = (middle(n) - middle(before), middle(after) - middle(n));
        // Weights of the bins before, here and after; at the ends the one-sided difference.
        let weights = if before == n {
            [0.0, -1.0 / forth, 1.0 / forth]
        } else if after == n {
            [-1.0 / back, 1.0 / back, 0.0]
        } else {
            let whole = back + forth;
            [-forth / (back * whole), (forth - back) / (back * forth), back / (forth * whole)]
        };
        let bins = [baseline.get(before), baseline.get(n), baseline.get(after)];
        let [Some(bin_before), Some(bin_here), Some(bin_after)] = bins else { continue };
        let weight = hat(window, TANGENTS, n, used);
        let columns = row.iter_mut().zip(per_sigma).zip(bin_before).zip(bin_here).zip(bin_after);
        for ((((row, per_sigma), before), here), after) in columns {
            let slope = weights[0] * before + weights[1] * here + weights[2] * after;
            *row = slope * weight * per_sigma;
        }
    }
}

#[cfg(test)]
mod tests;
