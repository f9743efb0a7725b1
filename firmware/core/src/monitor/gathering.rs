//! What a frame of a stroke adds to it: features, signature, and what the windows of the die see.

use super::{Alike, Channel, Monitor, Now, Position};

impl<const N: usize, const BINS: usize, const KEEP: usize> Monitor<N, BINS, KEEP> {
    #[inline]
    pub(super) fn gather(&mut self, now: Now, sensors: u8) {
        let onset_kn = self.press.settings.stroke.onset_kn;
        let moment = now.moment(self.loads_kn, *self.guards.accepted());
        if self.gatherer.add(&mut self.places.under_way().features, &moment, onset_kn) {
            self.contact = true;
        }
        self.shape.step(now.position, self.guards.accepted());
        let inside = match self.inside.known(now.position) {
            Some(inside) => inside,
            None => self.look_inside(now.position),
        };
        // Watch windows come before sensor windows in the mask.
        let watches = self.die.watch.len();
        if inside == self.alike.inside && sensors == self.alike.sensors {
            self.alike.frames += 1;
        } else {
            if self.alike.inside >> (watches & 31) != 0 {
                self.tell_alike();
            }
            self.alike = Alike { inside, sensors, frames: 1 };
        }
        let watched = inside & !(u32::MAX << (watches & 31));
        if watched != 0 {
            self.watch(watched, now.total);
        }
    }

    /// The watch windows that the frame lies in.
    #[inline(never)]
    fn watch(&mut self, inside: u32, total: f32) {
        let windows = self.die.watch.iter().zip(&mut self.places.seen().watch);
        for ((window, seen), n) in windows.zip(0..) {
            if inside & (1 << (n & 31)) == 0 {
                continue;
            }
            let load = match window.channel {
                Channel::Total => total,
                Channel::Column(column) => self.loads_kn.get(usize::from(column)).copied().unwrap_or(0.0),
            };
            seen.load(window.value, load);
        }
    }

    /// Tells the sensor windows what was alike in the last frames.
    #[inline(never)]
    pub(super) fn tell_alike(&mut self) {
        let Alike { inside, sensors, frames } = core::mem::take(&mut self.alike);
        let seen = self.places.seen();
        for n in bits(inside >> (self.die.watch.len() & 31)) {
            let (Some(window), Some(seen)) = (self.die.sensors.get(n), seen.sensors.get_mut(n)) else {
                continue;
            };
            seen.sensor(sensors & (1 << (window.input & 7)) != 0, frames);
        }
    }

    /// Where a window of the die begins or ends.
    #[inline(never)]
    fn look_inside(&mut self, position: Position) -> u32 {
        self.inside.begin(position);
        let watched = (0..).zip(&self.die.watch);
        watched.for_each(|(n, window)| self.inside.look(n, window.span));
        let sensors = (self.die.watch.len() as u32..).zip(&self.die.sensors);
        sensors.for_each(|(n, window)| self.inside.look(n, window.span));
        self.inside.known(position).unwrap_or(0)
    }
}

/// Numbers of the bits that are set, lowest first.
#[inline]
fn bits(mask: u32) -> impl Iterator<Item = usize> {
    let mut left = mask;
    (0..u32::BITS).map_while(move |_| {
        let bit = left.trailing_zeros();
        left &= left.wrapping_sub(1);
        (bit < u32::BITS).then_some(bit as usize)
    })
}
