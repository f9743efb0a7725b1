//! Power is cut in every programmed word and every erasure of a scripted life.

use super::flash::{Flash, PAGE, Torn};
use crate::counters::Counters;
use crate::settings::PART;
use crate::{Regions, Store, StoreError};
use embassy_futures::block_on;
use std::collections::BTreeMap;
use std::vec::Vec;

pub(super) const PAGES: usize = 10;

pub(super) fn regions() -> Regions {
    let page = PAGE as u32;
    Regions {
        settings: 0..3 * page,
        counters: 3 * page..5 * page,
        journal: 5 * page..8 * page,
        erasures: 8 * page..10 * page,
    }
}

pub(super) fn store(flash: Flash) -> Store<Flash> {
    block_on(Store::open(flash, regions())).expect("regions suit the flash")
}

fn check(bytes: &[u8]) -> u32 {
    crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(bytes)
}

fn settings(generation: u8) -> Vec<u8> {
    (0..500_u16).map(|n| (n as u8).wrapping_mul(generation).wrapping_add(generation)).collect()
}

fn body(number: u32) -> Vec<u8> {
    (0..6 + number as usize % 40).map(|n| (number as usize * 31 + n) as u8).collect()
}

/// What has been promised, and what was under way.
#[derive(Debug, Clone, Default)]
pub(super) struct Promised {
    pub(super) generation: u8,
    committing: bool,
    counters: Counters,
    saving: Option<Counters>,
    /// Entries appended, and whether another one was under way.
    pub(super) entries: u32,
    appending: bool,
}

/// Part of a life: settings change, strokes are counted, events are written.
pub(super) fn live(store: &mut Store<Flash>, promised: &mut Promised, rounds: u32) -> Result<(), StoreError> {
    block_on(async {
        for round in 0..rounds {
            if round % 12 == 0 {
                let bytes = settings(promised.generation + 1);
                for (part, bytes) in bytes.chunks(PART).enumerate().rev() {
                    store.put_settings(part as u16, bytes).await?;
                }
                promised.committing = true;
                store.commit_settings(bytes.len() as u32, check(&bytes)).await?;
                promised.committing = false;
                promised.generation += 1;
            }
            let mut next = promised.counters;
            next.strokes += 10;
            next.classes[3] += 10;
            next.weighted[1] += 0.125;
            promised.saving = Some(next);
            store.save_counters(&next).await?;
            promised.counters = next;
            promised.saving = None;
            for _ in 0..3 {
                promised.appending = true;
                store.append(promised.entries, &body(promised.entries)).await?;
                promised.appending = false;
                promised.entries += 1;
            }
        }
        Ok(())
    })
}

/// What is found after a start must be what was promised, or what was under way.
pub(super) fn inspect(store: &mut Store<Flash>, promised: &mut Promised) -> Result<(), std::string::String> {
    block_on(async {
        let failed = |what: StoreError| std::format!("cannot be read: {what}");
        let found = store.current_settings().await.map_err(failed)?;
        let generation = found.map_or(0, |found| found.generation as u8);
        if generation != promised.generation
            && !(promised.committing && generation == promised.generation + 1)
        {
            return Err(std::format!("settings {generation}"));
        }
        promised.generation = generation;
        if let Some(found) = found {
            let mut bytes = Vec::new();
            for part in 0..found.len.div_ceil(PART as u32) {
                let mut room = [0; PART];
                let len = store.read_settings(&found, part as u16, &mut room).await.map_err(failed)?;
                bytes.extend_from_slice(&room[..len]);
            }
            if bytes != settings(generation) {
                return Err(std::format!("settings {generation} are not whole"));
            }
        }
        let counters = store.counters().await.map_err(failed)?;
        if counters != promised.counters && Some(counters) != promised.saving {
            return Err(std::format!("counters {counters:?}"));
        }
        promised.counters = counters;
        let mut entries = Vec::new();
        store.entries(|number, bytes| entries.push((number, bytes.to_vec()))).await.map_err(failed)?;
        for pair in entries.windows(2) {
            if pair[1].0 != pair[0].0 + 1 {
                return Err(std::format!("a hole between entries {} and {}", pair[0].0, pair[1].0));
            }
        }
        if let Some((number, bytes)) = entries.iter().find(|(number, bytes)| *bytes != body(*number)) {
            return Err(std::format!("entry {number} is {bytes:?}"));
        }
        let next = store.next_entry().await.map_err(failed)?;
        if next != promised.entries && !(promised.appending && next == promised.entries + 1) {
            return Err(std::format!("next entry is {next}"));
        }
        // Of three pages one may be empty and one nearly so: a page's worth of the longest entries must be there.
        let least = (PAGE as u32 / 80).min(promised.entries);
        if (entries.len() as u32) < least {
            return Err(std::format!("only {} entries are left", entries.len()));
        }
        promised.entries = next;
        promised.saving = None;
        (promised.committing, promised.appending) = (false, false);
        Ok(())
    })
}

const ROUNDS: u32 = 85;

#[test]
fn a_life_without_a_cut_keeps_everything_and_wears_pages_alike() {
    let mut store = store(Flash::new(PAGES));
    let mut promised = Promised::default();
    live(&mut store, &mut promised, 400).expect("power stays on");
    inspect(&mut store, &mut promised).expect("nothing was cut");
    let erasures = store.into_flash().erasures;
    let (counters, journal) = (&erasures[3..5], &erasures[5..8]);
    for region in [counters, journal] {
        let (least, most) = (region.iter().min().copied(), region.iter().max().copied());
        assert!(most.zip(least).is_some_and(|(most, least)| most >= 10 && most - least <= 1), "{erasures:?}");
    }
}

#[test]
fn a_cut_in_any_word_or_erasure_leaves_old_or_new() {
    let mut flash = store(Flash::new(PAGES));
    live(&mut flash, &mut Promised::default(), ROUNDS).expect("power stays on");
    let whole = flash.into_flash();
    assert!(
        whole.erasures.iter().take(8).all(|count| *count > 0),
        "every log went round: {:?}",
        whole.erasures
    );
    let mut failures = BTreeMap::new();
    for cut in 0..whole.done {
        for torn in [Torn::Untouched, Torn::Half, Torn::Done] {
            let mut flash = Flash::new(PAGES);
            flash.cut = Some((cut, torn));
            let mut before = store(flash);
            let mut promised = Promised::default();
            assert!(live(&mut before, &mut promised, ROUNDS).is_err(), "power was cut at {cut}");
            let flash = before.into_flash();
            assert!(flash.is_dead());
            let mut after = store(flash.power_up());
            let outcome = inspect(&mut after, &mut promised).and_then(|()| {
                // And life goes on: everything can be written and found again.
                live(&mut after, &mut promised, 2).map_err(|why| std::format!("afterwards: {why}"))?;
                inspect(&mut after, &mut promised).map_err(|why| std::format!("afterwards: {why}"))
            });
            if let Err(what) = outcome {
                failures.insert((cut, std::format!("{torn:?}")), what);
            }
        }
    }
    assert!(failures.is_empty(), "{} of {} cuts: {failures:#?}", failures.len(), 3 * whole.done);
}

#[test]
fn settings_are_taken_only_whole() {
    let mut store = store(Flash::new(PAGES));
    let bytes = settings(1);
    block_on(async {
        assert_eq!(store.current_settings().await, Ok(None));
        store.put_settings(0, &bytes[..PART]).await.unwrap();
        store.put_settings(2, &bytes[2 * PART..]).await.unwrap();
        assert_eq!(store.commit_settings(500, check(&bytes)).await, Err(StoreError::NotWhole));
        store.put_settings(1, &bytes[PART..2 * PART]).await.unwrap();
        assert_eq!(store.commit_settings(500, check(&bytes) ^ 1).await, Err(StoreError::NotWhole));
        assert_eq!(store.commit_settings(499, check(&bytes)).await, Err(StoreError::NotWhole));
        assert_eq!(store.commit_settings(0, 0).await, Err(StoreError::TooLong));
        assert_eq!(store.current_settings().await, Ok(None));
        let mut part = [0; PART];
        assert_eq!(store.read_aside(1, &mut part).await, Ok(PART));
        assert_eq!(part, bytes[PART..2 * PART]);
        assert_eq!(store.commit_settings(500, check(&bytes)).await.map(|c| c.generation), Ok(1));
        assert_eq!(store.put_settings(0, &[0; PART + 1]).await, Err(StoreError::TooLong));
    });
}

#[test]
fn a_part_of_new_settings_costs_no_reading_of_all_the_current_ones() {
    let mut store = store(Flash::new(PAGES));
    let bytes = settings(1);
    block_on(async {
        for generation in 1..4 {
            let mut costs = Vec::new();
            for (part, bytes) in (0..).zip(bytes.chunks(PART)) {
                let before = store.flash.read;
                store.put_settings(part, bytes).await.unwrap();
                costs.push(store.flash.read - before);
            }
            let current = store.commit_settings(bytes.len() as u32, check(&bytes)).await.unwrap();
            assert_eq!(current.generation, generation);
            let before = store.flash.read;
            store.current_settings().await.unwrap();
            let all = store.flash.read - before;
            assert!(costs.iter().all(|cost| 4 * cost < all || generation == 1), "{costs:?} bytes of {all}");
        }
    });
}

#[test]
fn counters_that_would_go_back_are_refused() {
    let mut store = store(Flash::new(PAGES));
    let saved = Counters { strokes: 5, overloads: 1, ..Counters::default() };
    block_on(async {
        store.save_counters(&saved).await.unwrap();
        let back = Counters { strokes: 4, ..saved };
        assert_eq!(store.save_counters(&back).await, Err(StoreError::Backwards));
        assert_eq!(store.counters().await, Ok(saved));
    });
}

#[test]
fn an_entry_longer_than_allowed_is_refused() {
    let mut store = store(Flash::new(PAGES));
    block_on(async {
        assert_eq!(store.append(0, &[0; 65]).await, Err(StoreError::TooLong));
        assert_eq!(store.next_entry().await, Ok(0));
    });
}
