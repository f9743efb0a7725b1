#!/usr/bin/env bash
# The one check: everything that is claimed, run on this machine.
#
#   bash tests/run.sh            all steps
#   bash tests/run.sh NAME...    only the steps with these names (see the list at the end of this file)
#
# Every step runs, whatever failed before; failures are shown together at the end. On Debian as root what is
# missing is installed, elsewhere it is named. Nothing asks a question. The last line says N passed, N failed.
set -uo pipefail
cd "$(dirname "$0")/.."
# shellcheck source=tests/packages.sh
. tests/packages.sh
# What the compiler keeps for the next build is of no use to a check that builds once, and takes 4 GB.
export DEBIAN_FRONTEND=noninteractive CARGO_TERM_COLOR=never CARGO_INCREMENTAL=0
export PATH="$PATH:${CARGO_HOME:-$HOME/.cargo}/bin"

logs=$(mktemp -d)
trap 'rm -rf "$logs"' EXIT
passed=0
failed=()
wanted=("$@")

# step NAME COMMAND...: runs it, shows how long it took; its output only if it fails.
step() {
  local name=$1 log=$logs/${#failed[@]}-$passed began=$SECONDS
  shift
  if [ ${#wanted[@]} -gt 0 ] && [[ " ${wanted[*]} " != *" $name "* ]]; then return; fi
  printf '%-22s' "$name"
  if "$@" >"$log" 2>&1 </dev/null; then
    printf 'ok      %4d s\n' $((SECONDS - began))
    # Lines a step wants seen even when all is well.
    sed -n 's/^note: / /p' "$log"
    passed=$((passed + 1))
  else
    printf 'FAILED  %4d s\n' $((SECONDS - began))
    mv "$log" "$logs/$name"
    failed+=("$name")
  fi
}

tools() {
  local missing=0
  need cc gcc libc6-dev || missing=1
  need nm binutils || missing=1
  need qemu-system-arm qemu-system-arm || missing=1
  if ! command -v cargo >/dev/null; then
    echo "missing: cargo; install Rust from https://rustup.rs, rust-toolchain.toml names the version"
    missing=1
  elif ! cargo fmt --version || ! cargo clippy --version; then
    echo "missing: rustup component add rustfmt clippy"
    missing=1
  fi
  # For the claims that are checked against SciPy and pandas; without it they are skipped, and say so.
  need python3 python3 && { python3 -c 'import ensurepip' 2>/dev/null || install_packages python3-venv || true; }
  # A browser to try the console in, and what drives it; without them that step is skipped, and says so.
  command -v chromium-browser google-chrome >/dev/null || need chromium chromium || true
  { need node nodejs && need npm npm; } || true
  # To print reports and look where their words stand; without them that claim is skipped, and says so.
  need pdftotext poppler-utils || true
  # A broker for the strokes that the console tells over MQTT; it lies where only root looks for programs.
  PATH="$PATH:/usr/sbin" need mosquitto mosquitto || true
  return $missing
}

# Whether the Python claims can run here: their packages are there, or Python can fetch them.
with_python() {
  local venv=target/tmp/python/bin/python
  "$venv" -c 'import numpy, scipy, pandas, rainflow, sklearn' 2>/dev/null && return
  python3 -c 'import ensurepip' 2>/dev/null &&
    timeout 60 python3 -m pip download -q --no-deps -d "$logs/probe" rainflow >/dev/null 2>&1
}

format() {
  cargo fmt --all --check && (cd firmware/boards/mps2 && cargo fmt --check)
}

lints() {
  cargo clippy --workspace --all-targets --locked -- -D warnings
}

# The board's own programs: linted where the compiler has the board's library, else they are only built.
board_lints() {
  local target=thumbv7em-none-eabihf
  if [ "$(firmware/boards/build.sh --which --target $target)" != rustup ]; then
    echo "note: no library for $target with this compiler: the board's programs are built but not linted"
    return
  fi
  (cd firmware/boards/mps2 && cargo clippy --release --locked --features emulator --target-dir target/any -- -D warnings)
}

# Library, programs, examples and integration tests.
unit() {
  if with_python; then
    export BOLSTER_REQUIRE_PYTHON=1
  else
    echo "note: no Python that can fetch packages here: claims against SciPy and pandas are skipped"
  fi
  [ -e ../shared/recordings ] || echo "note: no further recordings beside this folder: claims on them are skipped"
  local tests=(--workspace --lib --bins --examples --tests --locked)
  # Without a choice of targets cargo builds the examples as the programs that they are, with it as tests.
  cargo test "${tests[@]}" --no-run && cargo test --workspace --locked --no-run || return
  # Asked for by itself the program would be built once more, as fewer features of what it stands on are wanted then:
  # these tests, and the steps after them, run the one that is there.
  local built=${CARGO_TARGET_DIR:-$PWD/target}/debug
  export BOLSTER_BIN=$built/bolster BOLSTER_FEED=$built/examples/feed
  cargo test "${tests[@]}" --no-fail-fast
}

examples_in_docs() {
  cargo test --workspace --doc --locked --no-fail-fast
}

docs() {
  RUSTDOCFLAGS=-Dwarnings cargo doc --workspace --no-deps --locked
}

# The parts that run on a controller, for three processor families, one of them without atomic swaps.
portable() {
  local target packages=() package
  for package in core link drivers store; do
    [ -e firmware/$package/Cargo.toml ] && packages+=(-p "bolster-$package")
  done
  for target in thumbv7em-none-eabihf thumbv6m-none-eabi riscv32imac-unknown-none-elf; do
    need_target $target || return 1
    firmware/boards/build.sh --release --locked --lib --target-dir target/portable --target $target "${packages[@]}" || return 1
  done
}

firmware() {
  bash tests/firmware.sh
}

demo() {
  if [ ! -e host-tools/src/cmd/demo.rs ] && ! grep -rqi 'Demo(' host-tools/src/main.rs host-tools/src/cmd; then
    echo "note: there is no demo command yet"
    return
  fi
  # As the tests have built it: the README's command builds all of it once more, optimised, which costs minutes.
  if [ -n "${BOLSTER_BIN:-}" ]; then "$BOLSTER_BIN" demo; else cargo run --locked -- demo; fi
}

# The console in Chromium: what people do at it, axe-core on every page, every width.
browser() {
  local folder=target/tmp/browser chromium=${CHROMIUM:-}
  for name in chromium chromium-browser google-chrome; do
    [ -n "$chromium" ] || chromium=$(command -v $name || true)
  done
  if [ -z "$chromium" ] || ! command -v npm >/dev/null || [ "$(node -p 'process.versions.node.split(".")[0]')" -lt 18 ]; then
    echo "note: no Chromium, or no Node.js of version 18 or later with npm: the console is not tried in a browser"
    return
  fi
  mkdir -p $folder && cp tests/browser/package*.json $folder/
  if ! (cd $folder && timeout 120 npm ci --ignore-scripts --no-audit --no-fund); then
    echo "note: npm cannot fetch axe-core here: the console is not tried in a browser"
    return
  fi
  [ -n "${BOLSTER_BIN:-}" ] || cargo build --locked -p bolster || return
  BOLSTER_BIN=${BOLSTER_BIN:-$PWD/target/debug/bolster} CHROMIUM=$chromium AXE=$folder/node_modules/axe-core/axe.min.js timeout 600 node tests/browser/run.mjs
}

step tools tools
step format format
step lints lints
step board-lints board_lints
step tests unit
step doc-examples examples_in_docs
step docs docs
step portable portable
step firmware firmware
step demo demo
step browser browser

if [ ${#failed[@]} -gt 0 ]; then
  for name in "${failed[@]}"; do
    echo
    echo "==== $name"
    # What went wrong first, then how it ended.
    grep -n -E '^(error|FAILED|test .*FAILED|thread .*panicked|missing:)' "$logs/$name" | head -40
    echo "---- the end of its output"
    tail -60 "$logs/$name"
  done
  echo
  echo "failed: ${failed[*]}"
fi
echo "$passed passed, ${#failed[@]} failed"
[ ${#failed[@]} -eq 0 ]
