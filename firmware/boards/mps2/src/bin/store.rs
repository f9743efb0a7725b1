//! The store on the controller: a flash kept in a file, with power that fails where it is told to.
//!
//! `store FILE CUT VALUE`: shows what is stored; then, if VALUE is not 0, changes settings, counters and journal to it.
//! Power fails in operation CUT (a programmed word or an erased page; 0: never), half-way through it: status 77.
#![no_std]
#![no_main]

use bolster_mps2::stack;
use bolster_store::counters::Counters;
use bolster_store::settings::PART;
use bolster_store::{Regions, Store, StoreError};
use core::ffi::CStr;
use embassy_futures::block_on;
use embedded_storage_async::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};
use semihosting::fs::{File, OpenOptions};
use semihosting::io::{Read, Seek, SeekFrom, Write};
use semihosting::{println, process};

const PAGE: u32 = 1024;
const PAGES: u32 = 10;
/// Bytes of the settings: three parts, the last one shorter.
const SETTINGS: u32 = 500;

/// A NOR flash in a file: programming clears bits, erasing sets them.
struct FileFlash {
    file: File,
    done: u32,
    cut: u32,
}

/// The file could not be read or written.
#[derive(Debug)]
struct FileError;

impl NorFlashError for FileError {
    fn kind(&self) -> NorFlashErrorKind {
        NorFlashErrorKind::Other
    }
}

impl FileFlash {
    fn fails(&mut self) -> bool {
        self.done += 1;
        self.done == self.cut
    }

    fn seek(&mut self, at: u32) -> Result<(), FileError> {
        self.file.seek(SeekFrom::Start(u64::from(at))).map(|_| ()).map_err(|_| FileError)
    }

    fn put(&mut self, at: u32, bytes: &[u8]) -> Result<(), FileError> {
        self.seek(at)?;
        self.file.write_all(bytes).map_err(|_| FileError)
    }
}

impl ErrorType for FileFlash {
    type Error = FileError;
}

impl ReadNorFlash for FileFlash {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), FileError> {
        self.seek(at)?;
        self.file.read_exact(bytes).map_err(|_| FileError)
    }

    fn capacity(&self) -> usize {
        (PAGES * PAGE) as usize
    }
}

impl NorFlash for FileFlash {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = PAGE as usize;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), FileError> {
        for page in (from..to).step_by(PAGE as usize) {
            let torn = self.fails();
            for at in (page..page + PAGE).step_by(64) {
                // A torn erasure leaves every other stretch as it was.
                if !torn || at / 64 % 2 == 0 {
                    self.put(at, &[0xFF; 64])?;
                }
            }
            if torn {
                process::exit(77);
            }
        }
        Ok(())
    }

    async fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), FileError> {
        for (word, at) in bytes.chunks(4).zip((at..).step_by(4)) {
            let torn = self.fails();
            let mut cells = [0; 4];
            self.read(at, &mut cells).await?;
            for (n, (cell, byte)) in cells.iter_mut().zip(word).enumerate() {
                // A torn word has its first half programmed.
                *cell &= if torn && n >= 2 { 0xFF } else { *byte };
            }
            self.put(at, &cells)?;
            if torn {
                process::exit(77);
            }
        }
        Ok(())
    }
}

#[cortex_m_rt::entry]
fn main() -> ! {
    stack::paint();
    match run() {
        Ok(()) => process::exit(0),
        Err(what) => {
            println!("store: {what}");
            process::exit(1)
        }
    }
}

fn run() -> Result<(), &'static str> {
    let args = semihosting::experimental::env::args::<512>().map_err(|_| "command line too long")?;
    let mut args = (&args).into_iter().flatten();
    let path = args.next().ok_or("no file named")?;
    let mut name = [0; 256];
    name.get_mut(..path.len()).ok_or("the name is too long")?.copy_from_slice(path.as_bytes());
    let name = CStr::from_bytes_until_nul(&name).map_err(|_| "the name is too long")?;
    let mut number = || args.next().and_then(|text| text.parse::<u32>().ok()).ok_or("needs CUT and VALUE");
    let (cut, value) = (number()?, number()?);
    let file = OpenOptions::new().read(true).write(true).open(name).map_err(|_| "cannot be opened")?;
    let flash = FileFlash { file, done: 0, cut };
    let regions = Regions {
        settings: 0..3 * PAGE,
        counters: 3 * PAGE..5 * PAGE,
        journal: 5 * PAGE..8 * PAGE,
        erasures: 8 * PAGE..10 * PAGE,
    };
    block_on(async {
        let mut store = Store::open(flash, regions).await.map_err(|_| "cannot be opened as a store")?;
        show(&mut store).await.map_err(|_| "cannot be read")?;
        if value != 0 {
            change(&mut store, value as u8).await.map_err(|_| "cannot be changed")?;
            show(&mut store).await.map_err(|_| "cannot be read")?;
        }
        println!("operations {} stack {}", store.into_flash().done, stack::peak());
        Ok(())
    })
}

fn setting(value: u8, at: u32) -> u8 {
    value.wrapping_mul(7).wrapping_add(at as u8)
}

/// Prints the value that settings, counters and journal stand at; settings that are not whole as 999.
async fn show(store: &mut Store<FileFlash>) -> Result<(), StoreError> {
    let mut settings = 0;
    if let Some(current) = store.current_settings().await? {
        settings = current.generation;
        let mut at = 0;
        for part in 0..current.len.div_ceil(PART as u32) {
            let mut bytes = [0; PART];
            let len = store.read_settings(&current, part as u16, &mut bytes).await?;
            for byte in bytes.get(..len).unwrap_or(&[]) {
                if *byte != setting(current.generation as u8, at) {
                    settings = 999;
                }
                at += 1;
            }
        }
    }
    let counters = store.counters().await?;
    let (mut holes, mut last) = (0, None);
    store
        .entries(|number, _| {
            holes += u32::from(last.is_some_and(|last| number != last + 1));
            last = Some(number);
        })
        .await?;
    let entries = store.next_entry().await?;
    println!("settings {settings} strokes {} entries {entries} holes {holes}", counters.strokes);
    Ok(())
}

/// A change of everything: settings of this value, ten strokes more, four entries more.
async fn change(store: &mut Store<FileFlash>, value: u8) -> Result<(), StoreError> {
    let mut whole = [0; SETTINGS as usize];
    for (byte, at) in whole.iter_mut().zip(0..) {
        *byte = setting(value, at);
    }
    for (part, bytes) in (0..).zip(whole.chunks(PART)) {
        store.put_settings(part, bytes).await?;
    }
    store.commit_settings(SETTINGS, bolster_store::settings::checksum(&whole)).await?;
    let mut counters: Counters = store.counters().await?;
    counters.strokes += 10;
    store.save_counters(&counters).await?;
    let next = store.next_entry().await?;
    for number in next..next + 4 {
        store.append(number, &[value; 40]).await?;
    }
    Ok(())
}
