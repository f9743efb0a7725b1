//! Lives in which power is cut again and again, at seeded moments, while the store mends itself after a start as well.

use super::flash::{Flash, Torn};
use super::power_cut::{PAGES, Promised, inspect, live, regions, store};
use crate::Store;
use embassy_futures::block_on;
use std::println;

/// Cuts in every check; `CUTS=1000000 cargo test --release -p bolster-store many_cuts -- --nocapture` does more.
const CUTS: u64 = 20_000;
const SEED: u64 = 20_261_126;
/// Settings are told apart by their generation up to here; then another life begins, with a new flash.
const GENERATIONS: u8 = 200;

fn asked(name: &str, usual: u64) -> u64 {
    std::env::var(name).map_or(usual, |text| text.parse().expect("a whole number"))
}

/// A fixed generator (splitmix64).
struct Chance(u64);

impl Chance {
    fn below(&mut self, n: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mixed = (self.0 ^ self.0 >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let mixed = (mixed ^ mixed >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
        (mixed ^ mixed >> 31) % n
    }
}

#[test]
fn many_cuts_at_seeded_moments_of_long_lives_leave_old_or_new() {
    let (wanted, seed) = (asked("CUTS", CUTS), asked("SEED", SEED));
    println!("seed {seed}");
    let mut chance = Chance(seed);
    let (mut cuts, mut while_starting, mut lives, mut entries) = (0, 0, 0, 0);
    while cuts < wanted {
        lives += 1;
        let (mut flash, mut promised) = (Flash::new(PAGES), Promised::default());
        while cuts < wanted && promised.generation < GENERATIONS {
            // Soon after the start, often in the first words; or after the logs have gone on for a page or more.
            let within = [3, 40, 700][chance.below(3) as usize];
            let torn = [Torn::Untouched, Torn::Half, Torn::Done][chance.below(3) as usize];
            flash.cut = Some((flash.done + chance.below(within), torn));
            cuts += 1;
            if block_on(Store::open(&mut flash, regions())).is_err() {
                assert!(flash.is_dead(), "seed {seed}, cut {cuts}: the store does not start with power on");
                while_starting += 1;
                flash = flash.power_up();
                continue;
            }
            let mut store = store(flash);
            inspect(&mut store, &mut promised)
                .unwrap_or_else(|what| panic!("seed {seed}, before cut {cuts}: {what}"));
            assert!(live(&mut store, &mut promised, u32::MAX).is_err(), "power is cut");
            assert!(store.flash.is_dead(), "seed {seed}, before cut {cuts}: the store fails with power on");
            flash = store.into_flash().power_up();
        }
        entries += u64::from(promised.entries);
    }
    println!(
        "{cuts} cuts, {while_starting} of them while the store started, in {lives} lives with {entries} entries"
    );
}
