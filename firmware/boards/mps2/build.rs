//! Puts the memory map where the linker looks and gives it the start-up's script.

use std::{env, fs, io, path::PathBuf};

fn main() -> io::Result<()> {
    let out = PathBuf::from(env::var_os("OUT_DIR").ok_or(io::ErrorKind::NotFound)?);
    // Neither is called memory.x: the linker would find that in this folder before it looks elsewhere.
    // The program for the emulator may use all that the board has: it holds buffers no controller would.
    let map = if env::var_os("CARGO_FEATURE_EMULATOR").is_some() { "board.x" } else { "controller.x" };
    fs::copy(map, out.join("memory.x"))?;
    println!("cargo:rerun-if-changed=board.x");
    println!("cargo:rustc-link-search={}", out.display());
    println!("cargo:rerun-if-changed=controller.x");
    println!("cargo:rustc-link-arg-bins=-Tlink.x");
    println!("cargo:rustc-link-arg-bins=--nmagic");
    Ok(())
}
