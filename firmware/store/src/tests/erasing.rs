//! Power is cut in every operation of many erasures, and once more while the interrupted one is done again.

use super::flash::{Flash, PAGE, Torn, WORD};
use crate::erasing::Noted;
use embassy_futures::block_on;
use embedded_storage_async::nor_flash::{NorFlash, ReadNorFlash};

const LOG: u32 = 3 * PAGE as u32;
const ERASURES: u32 = 150;
const TORN: [Torn; 3] = [Torn::Untouched, Torn::Half, Torn::Done];

/// Erases three pages in turn, each then stamped in its first and last word. Gives the erasure it failed in.
fn wear(flash: &mut Flash, from: u32, to: u32) -> Option<u32> {
    block_on(async {
        for n in from..to {
            let page = n % 3 * PAGE as u32;
            let stamp = (!n).to_le_bytes();
            let mut noted = Noted::new(flash, LOG);
            if noted.erase(page, page + PAGE as u32).await.is_err()
                || noted.write(page, &stamp).await.is_err()
                || noted.write(page + (PAGE - WORD) as u32, &stamp).await.is_err()
            {
                return Some(n);
            }
        }
        None
    })
}

fn page(flash: &mut Flash, page: u32) -> [u8; PAGE] {
    let mut bytes = [0; PAGE];
    block_on(flash.read(page * PAGE as u32, &mut bytes)).expect("power is on");
    bytes
}

/// Pages but the one under way are as they were, and that one is as it was, blank, or was being stamped.
fn inspect(flash: &mut Flash, failed: u32, what: &str) {
    for back in 0..3.min(failed + 1) {
        let n = failed - back;
        let bytes = page(flash, n % 3);
        let stamped =
            |n: u32| bytes[..WORD] == (!n).to_le_bytes() && bytes[PAGE - WORD..] == (!n).to_le_bytes();
        let middle_is_blank = bytes[WORD..PAGE - WORD].iter().all(|byte| *byte == 0xFF);
        assert!(middle_is_blank, "{what}: page {} holds what nobody wrote", n % 3);
        if back > 0 {
            assert!(stamped(n), "{what}: page {} lost stamp {n}", n % 3);
        }
    }
}

#[test]
fn an_interrupted_erasure_is_done_again_and_touches_no_other_page() {
    let mut whole = Flash::new(5);
    assert_eq!(wear(&mut whole, 0, ERASURES), None);
    assert!(whole.erasures[3..].iter().all(|count| *count > 1), "the log went round: {:?}", whole.erasures);
    for cut in 0..whole.done {
        for torn in TORN {
            let mut flash = Flash::new(5);
            flash.cut = Some((cut, torn));
            let failed = wear(&mut flash, 0, ERASURES).expect("power was cut");
            let flash = flash.power_up();
            // The start itself is cut in its first, second, third operation, then left alone.
            for again in 0..4 {
                for torn_again in TORN {
                    let what = std::format!("cut {cut} {torn:?}, then {again} {torn_again:?}");
                    let mut flash = flash.clone();
                    flash.cut = Some((flash.done + again, torn_again));
                    let cut_again = block_on(Noted::new(&mut flash, LOG).finish()).is_err();
                    let mut flash = flash.power_up();
                    block_on(Noted::new(&mut flash, LOG).finish()).expect("power stays on");
                    inspect(&mut flash, failed, &what);
                    assert_eq!(wear(&mut flash, failed, failed + 3), None, "{what}");
                    inspect(&mut flash, failed + 2, &what);
                    if !cut_again {
                        break;
                    }
                }
            }
        }
    }
}
