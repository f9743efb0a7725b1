//! The permit relay with its read-back contact, and the watchdog that drops it.

use super::pin::Wire;
use bolster_drivers::permit::Watchdog;
use core::cell::Cell;
use std::rc::Rc;

/// What can go wrong with a relay.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RelayFault {
    /// The contact is welded shut.
    Welded,
    /// The coil is open: it never pulls in.
    CoilOpen,
}

/// A relay whose contact follows its coil after some frames.
#[derive(Debug, Clone)]
pub struct Relay {
    coil: Wire,
    contact: Wire,
    moving_frames: u32,
    /// Frames for which the coil has asked for another state.
    asked: u32,
    fault: Option<RelayFault>,
}

impl Relay {
    /// A relay at rest that takes so many frames to move.
    #[must_use]
    pub fn new(moving_frames: u32) -> Self {
        Self { coil: Wire::default(), contact: Wire::default(), moving_frames, asked: 0, fault: None }
    }

    /// The controller's output and its read-back input.
    #[must_use]
    pub fn wires(&self) -> (Wire, Wire) {
        (self.coil.clone(), self.contact.clone())
    }

    /// Lets something go wrong, or mends it.
    pub fn fail(&mut self, fault: Option<RelayFault>) {
        self.fault = fault;
    }

    /// Whether the press may run: the contact is closed.
    #[must_use]
    pub fn permits(&self) -> bool {
        self.contact.is_on()
    }

    /// One frame goes by; without power the coil falls off at once.
    pub fn step(&mut self, powered: bool) {
        if !powered {
            self.coil.set(false);
        }
        let pulled = self.coil.is_on() && self.fault != Some(RelayFault::CoilOpen);
        if pulled == self.contact.is_on() {
            self.asked = 0;
            return;
        }
        self.asked += 1;
        if self.asked > self.moving_frames && self.fault != Some(RelayFault::Welded) {
            self.contact.set(pulled);
            self.asked = 0;
        }
    }
}

/// A watchdog that resets the controller when it is not fed for so many frames.
#[derive(Debug, Clone)]
pub struct Dog {
    left: Rc<Cell<u32>>,
    patience: u32,
}

impl Dog {
    /// A watchdog that was just started.
    #[must_use]
    pub fn new(patience: u32) -> Self {
        Self { left: Rc::new(Cell::new(patience)), patience }
    }

    /// One frame goes by; true once it has run out.
    #[must_use]
    pub fn step(&self) -> bool {
        self.left.set(self.left.get().saturating_sub(1));
        self.left.get() == 0
    }
}

impl Watchdog for Dog {
    fn feed(&mut self) {
        // What has run out resets the controller; feeding comes too late.
        if self.left.get() > 0 {
            self.left.set(self.patience);
        }
    }
}
