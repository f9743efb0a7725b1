#!/usr/bin/env bash
# Builds for a microcontroller on any machine.
#
#   firmware/boards/build.sh [--manifest-path DIR/Cargo.toml] --target TARGET [cargo build arguments]
#
# With rustup the target's library is added if it is missing; where that cannot be (no rustup, no network),
# the distribution's compiler builds the library from source (Debian: rustc-web cargo-web rust-web-src lld).
# `build.sh --which --target TARGET` only says which of the two it would be; status 3 if neither can.
# BUILD_WITH=rustup or BUILD_WITH=source forces one of the two. Prints what it uses on stderr.
set -euo pipefail

say() { echo "build: $*" >&2; }

target= only_say=
if [ "${1:-}" = --which ]; then only_say=1; shift; fi
arguments=("$@")
while [ $# -gt 0 ]; do
  case $1 in
    --target) target=${2:?--target needs a name}; shift ;;
    --target=*) target=${1#*=} ;;
  esac
  shift
done
[ -n "$target" ] || { say "no --target given"; exit 2; }

has_library() { # COMPILER
  local folder
  folder=$("$1" --print target-libdir --target "$target" 2>/dev/null) &&
    compgen -G "$folder/libcore-*.rlib" >/dev/null
}

library_source() {
  local folder
  for folder in "$(/usr/bin/rustc --print sysroot)/lib/rustlib/src/rust/library" /usr/src/rustc-*/library; do
    if [ -e "$folder/core/Cargo.toml" ]; then echo "$folder"; return; fi
  done
  return 1
}

find_linker() {
  local compiler linker name
  for name in ld.lld ld.lld-22 ld.lld-19 ld.lld-18 ld.lld-16 ld.lld-14; do
    if linker=$(command -v "$name"); then echo "$linker"; return; fi
  done
  for compiler in /usr/bin/rustc "$(command -v rustc || true)"; do
    [ -x "$compiler" ] || continue
    linker=$("$compiler" --print sysroot)/lib/rustlib/$("$compiler" -vV | sed -n 's/^host: //p')/bin/rust-lld
    if [ -x "$linker" ]; then echo "$linker"; return; fi
  done
  command -v arm-none-eabi-ld
}

choose() {
  case ${BUILD_WITH:-} in rustup | source) echo "$BUILD_WITH"; return ;; esac
  if has_library rustc; then
    echo rustup
  elif command -v rustup >/dev/null && timeout 180 rustup target add "$target" >/dev/null 2>&1 && has_library rustc; then
    echo rustup
  elif [ -x /usr/bin/rustc ] && [ -x /usr/bin/cargo ] && library_source >/dev/null; then
    echo source
  else
    return 1
  fi
}

# What a caller sets for the host must not reach the controller.
unset RUSTFLAGS CARGO_ENCODED_RUSTFLAGS CARGO_BUILD_TARGET

if ! mode=$(choose); then
  say "no library for $target: neither 'rustup target add $target' nor a compiler with its library's source works"
  say "here; with network run the former, or on Debian: apt-get install rustc-web cargo-web rust-web-src lld"
  exit 3
fi
if [ -n "$only_say" ]; then echo "$mode"; exit; fi
if [ "$mode" = rustup ]; then
  say "$target with $(rustc -V)"
  exec cargo build "${arguments[@]}"
fi

linker=$(find_linker) || { say "no linker for $target; on Debian: apt-get install lld"; exit 3; }
flavor=ld.lld
case $linker in *arm-none-eabi-ld) flavor=ld ;; esac
upper=$(echo "$target" | tr 'a-z.-' 'A-Z__')
export "CARGO_TARGET_${upper}_LINKER=$linker" "CARGO_TARGET_${upper}_RUSTFLAGS=-Clinker-flavor=$flavor"
# Building the library is unstable in every release of the compiler, so the switch that allows it is needed.
export RUSTC=/usr/bin/rustc RUSTDOC=/usr/bin/rustdoc RUSTC_BOOTSTRAP=1
unset RUSTUP_TOOLCHAIN RUSTC_WRAPPER
say "$target with $(/usr/bin/rustc -V) and its library's source, linker $linker"
exec /usr/bin/cargo build -Zbuild-std=core "${arguments[@]}"
