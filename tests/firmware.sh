#!/usr/bin/env bash
# The controller's program, built and run in the emulator, against the same core on this machine.
#
#   bash tests/firmware.sh          everything; figures on stdout, the last line is PASS or FAIL with what failed
#
# FRAMES (default 1000000) and SEED (20260101) choose the random frames, BUILD_WITH the compiler (build.sh).
set -uo pipefail
cd "$(dirname "$0")/.."
# shellcheck source=tests/packages.sh
. tests/packages.sh

frames=${FRAMES:-1000000}
seed=${SEED:-20260101}
# Instructions of one frame: the goal, and what has been reached so far with a twentieth to spare. The goal is not met
# yet and is reported; what has been reached is not given up. Lower the second pair when the core gets cheaper.
mean_goal=400 worst_goal=2000
mean_reached=1090 worst_reached=3400
board=firmware/boards/mps2
target=thumbv7em-none-eabihf
# A folder for each compiler, so that changing it rebuilds nothing of the other.
built=$PWD/$board/target/${BUILD_WITH:-any}
out=$built/$target/release
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
failures=()
fail() { failures+=("$*"); echo "FAILED: $*"; }
finish() {
  if [ ${#failures[@]} = 0 ]; then echo "PASS"; exit 0; fi
  echo "FAIL: ${#failures[@]} of the controller's checks"
  printf '  %s\n' "${failures[@]}"
  exit 1
}

build() { # SOURCE... of cargo arguments
  (cd $board && ../build.sh --release --locked --target-dir "$built" --target $target "$@") >"$work/build.log" 2>&1 && return
  grep -E -A12 '^(error|build:)|undefined symbol|overflowed' "$work/build.log" | head -40
  return 1
}

# emulate SECONDS ELF [ARGUMENT]... [-- emulator options]
emulate() {
  local seconds=$1 elf=$2 config=enable=on,target=native
  shift 2
  while [ $# -gt 0 ] && [ "$1" != -- ]; do config+=,arg=$1; shift; done
  [ $# -gt 0 ] && shift
  timeout "$seconds" qemu-system-arm -M mps2-an386 -nodefaults -display none -monitor none \
    -semihosting-config "$config" -kernel "$elf" "$@" 2>"$work/emulator.log" </dev/null
}

ram() { # ELF STACK: fails if an eighth of 128 KiB does not stay free
  size "$1" | awk -v stack="$2" 'NR == 2 {
    used = $2 + $3 + stack
    printf "static RAM %d bytes, stack at most %d from start to end, together %d of 131072\n", $2 + $3, stack, used
    exit !(stack > 0 && used <= 131072 - 16384)
  }'
}

address() { # ELF SYMBOL
  nm "$1" | awk -v name="$2" '$3 == name { print "0x" $1 }'
}

for tool in "qemu-system-arm qemu-system-arm" "nm binutils" "cc gcc"; do
  # shellcheck disable=SC2086
  need $tool || fail "this needs: $tool"
done
need_target $target || fail "nothing here compiles for $target"
[ ${#failures[@]} = 0 ] || finish

if ! build --bin feed --features emulator; then
  fail "the program for the emulator does not build"
  finish
fi
grep '^build:' "$work/build.log"

# The plugin that counts instructions; without it the emulator's own slower way is taken.
plugin=$work/libcount.so
if ! rustc --edition 2024 -O --crate-type cdylib --crate-name count -o "$plugin" $board/count/plugin.rs 2>"$work/plugin.log"; then
  head -5 "$work/plugin.log"
  plugin=
fi
# span ELF: the plugin's arguments for the labels SYMBOL_begin and SYMBOL_end.
span() { # ELF SYMBOL
  echo "begin=$(address "$1" "$2_begin"),end=$(address "$1" "$2_end")"
}
# What the plugin wrote, if it counted anything.
counted() {
  awk '$3 == "spans" && $4 > 0 { print "mean", $8, "worst", $10 }' "$work/count.txt" 2>/dev/null
}
bar() { # WHAT "mean M worst W": fails over the bars
  local mean worst
  read -r mean worst < <(awk '{ print int($2), $4 }' <<<"$2")
  echo "note: $1: instructions a frame mean $mean (goal $mean_goal), worst $worst (goal $worst_goal)"
  [ "$mean" -le $mean_reached ] || fail "$1: mean of $mean instructions is over the $mean_reached reached before"
  [ "$worst" -le $worst_reached ] || fail "$1: worst of $worst instructions is over the $worst_reached reached before"
}

echo "== release image: links only if no panic is reachable, fits 1 MiB flash and 128 KiB RAM"
if build --bin release; then
  size "$out/release" | awk 'NR == 2 { printf "flash %d bytes, static RAM %d bytes\n", $1 + $2, $2 + $3 }'
else
  fail "the release image does not link: a panic is reachable or it does not fit"
fi

echo "== digest of every output, host and controller: $frames random frames with faults, seed $seed"
mkdir -p "$work/feeds"
# The host's programs as the tests have built them, where they have; asked for alone, cargo builds them once more.
host() {
  if [ -n "${BOLSTER_FEED:-}" ]; then "$BOLSTER_FEED" "$@"; else cargo run -q --locked -p bolster-claims --example feed -- "$@"; fi
}
bolster() {
  if [ -n "${BOLSTER_BIN:-}" ]; then "$BOLSTER_BIN" "$@"; else cargo run -q --locked -p bolster -- "$@"; fi
}
if ! host random "$seed" "$frames" "$work/feeds" >"$work/host.txt" 2>"$work/host.log"; then
  tail -20 "$work/host.log"
  fail "the host's side of the comparison does not run"
fi
recordings=0
add_recording() { # CARD RECORDING
  local name
  name=$(basename "${2%.gz}" .csv)
  if host recording "$1" "$2" "$work/feeds/$name.feed" >>"$work/host.txt" 2>"$work/host.log"; then
    recordings=$((recordings + 1))
  else
    tail -5 "$work/host.log"
    fail "recording $2 does not become a feed"
  fi
}
# Every sample, with the press that the manifest names for it; malformed ones have none and never become frames.
while read -r recording card; do
  add_recording "sample-signatures/$card" "sample-signatures/$recording"
done < <(awk -F'"' '/^\[\[sample\]\]/ { file = "" } /^file = / { file = $2 } /^press = / && file { print file, $2 }' sample-signatures/MANIFEST.toml)
[ $recordings -gt 0 ] || fail "no sample recording became a feed"
# Simulated presses as their converter and encoder give them, faults in the frames themselves included.
for scenario in small-press brake-two-dies forty-station; do
  feed=$work/feeds/simulated-$scenario.feed
  if bolster simulate $scenario --strokes 4 --out "$work/$scenario" --feed "$feed" >/dev/null 2>"$work/host.log"; then
    host judge "$feed" >>"$work/host.txt" 2>"$work/host.log" || fail "the feed of $scenario is not judged: $(tail -2 "$work/host.log")"
  else
    fail "scenario $scenario does not become a feed: $(tail -2 "$work/host.log")"
  fi
done
for recording in ../shared/recordings/fast-t*.csv.gz; do
  case $recording in *.truth.csv*) continue ;; esac
  [ ! -e "$recording" ] || add_recording ../shared/recordings/fast-press.toml "$recording"
done
echo "$recordings recordings"
[ -e ../shared/recordings ] || echo "no further recordings on this machine"

compared=0 deepest=0 static=0
while read -r file line; do
  emulate 120 "$out/feed" "$file" >"$work/target.txt" || { fail "the emulator failed on $(basename "$file"): $(head -c 300 "$work/target.txt" "$work/emulator.log")"; continue; }
  if [ "$(head -1 "$work/target.txt")" = "$line" ]; then
    compared=$((compared + 1))
    echo "same  $(basename "$file" .feed): $line"
  else
    fail "$(basename "$file"): host '$line', controller '$(head -1 "$work/target.txt")'"
  fi
  read -r stack bytes < <(awk '$1 == "stack" { print $2, $4 }' "$work/target.txt")
  deepest=$((stack > deepest ? stack : deepest)) static=$bytes
done <"$work/host.txt"
[ $compared -gt 0 ] || fail "nothing was compared"
echo "$compared feeds the same; with the feed's own buffers: stack at most $deepest bytes, static RAM $static bytes"

echo "== rainflow counts of the published example (ASTM E1049-85, fig. 6), host and controller"
if host rainflow >"$work/rainflow" 2>"$work/host.log" && emulate 60 "$out/feed" rainflow >"$work/target.txt"; then
  cmp -s "$work/rainflow" "$work/target.txt" || fail "rainflow: the controller's counts are not the host's"
  # Range and cycles, in tenths, as published.
  awk '{ cycles[$5] += $9 } END { for (range in cycles) print range / 10, cycles[range] / 10 }' "$work/target.txt" | sort -n >"$work/counts"
  printf '3 0.5\n4 1.5\n6 0.5\n8 1\n9 0.5\n' | cmp -s - "$work/counts" || fail "rainflow: not the published counts: $(tr '\n' ';' <"$work/counts")"
  echo "range and cycles: $(tr '\n' ';' <"$work/counts")"
else
  fail "the rainflow example does not run: $(head -c 300 "$work/target.txt" "$work/host.log" 2>/dev/null)"
fi

echo "== the release image runs: 2000 frames by its serial port"
run_release() {
  local answers=$work/answers records=2000 emulator wanted
  wanted=$((records + 8))
  mkfifo "$work/port"
  : >"$answers"
  timeout 60 qemu-system-arm -M mps2-an386 -nodefaults -display none -monitor none -kernel "$out/release" \
    -serial null -serial stdio <"$work/port" >"$answers" 2>"$work/emulator.log" &
  emulator=$!
  {
    head -c $((136 + 28 * records)) "$work/feeds/sound-4-encoder.feed"
    # No record: asks for the figures.
    printf '%24s\007\000\000\000' ''
    for _ in $(seq 300); do
      [ "$(stat -c %s "$answers")" -ge $wanted ] && break
      sleep 0.1
    done
  } >"$work/port"
  kill $emulator 2>/dev/null
  wait $emulator 2>/dev/null
  [ "$(stat -c %s "$answers")" -ge $wanted ] || { echo "only $(stat -c %s "$answers") answers"; return 1; }
  [ "$(head -c $records "$answers" | tr -d 01 | wc -c)" = 0 ] || { echo "an answer is neither 0 nor 1"; return 1; }
  head -c $records "$answers" | grep -q 1 || { echo "the permit never came"; return 1; }
  tail -c +$((records + 1)) "$answers" | od -An -tu4 -N8 |
    awk '{ printf "stack at most %d bytes, static RAM %d bytes, together %d of 131072\n", $1, $2, $1 + $2; exit $1 + $2 > 131072 - 1024 }'
}
[ ! -e "$out/release" ] || [ ! -e "$work/feeds/sound-4-encoder.feed" ] || run_release || fail "the release image does not run, or runs out of RAM"

echo "== the controller: frames in the sample clock's interrupt, the line below it, noise on the line, then the frames stop"
run_controller() {
  local feed=$work/feeds/sound-4-encoder.feed began status
  host noise "$seed" 200000 >"$work/noise" 2>"$work/host.log" || { tail -5 "$work/host.log"; return 1; }
  began=$SECONDS
  # 2^3 ns an instruction. When the frames end nothing feeds the watchdog: it resets, and -no-reboot ends the run.
  timeout 120 qemu-system-arm -M mps2-an386 -nodefaults -display none -monitor none -kernel "$out/controller" \
    -device "loader,file=$feed,addr=0x21000000,force-raw=on" -serial null -serial stdio -no-reboot \
    -icount shift=3,sleep=off ${plugin:+-plugin "$plugin,$(span "$out/controller" interrupt)" -d plugin -D "$work/count.txt"} \
    <"$work/noise" >"$work/captured" 2>"$work/emulator.log"
  status=$?
  [ $status = 0 ] || { echo "the watchdog did not end it: status $status after $((SECONDS - began)) s"; return 1; }
  host line "$work/captured" "$feed" 2>"$work/host.log" || { tail -3 "$work/host.log"; return 1; }
  [ -n "$plugin" ] || return 0
  echo "instructions of the whole interrupt, learned shape included: $(counted)"
  # What that allows on a part of 168 MHz, if an instruction takes 1.2 to 2 cycles: an assumption (flash wait states,
  # loads, divisions), no measurement; the emulator counts instructions, not cycles.
  counted | awk '{ printf "at 168 MHz and an assumed 1.2 to 2 cycles an instruction: %d to %d frames a second on average, %d to %d if every frame were the worst\n",
    168e6 / $2 / 2, 168e6 / $2 / 1.2, 168e6 / $4 / 2, 168e6 / $4 / 1.2 }'
}
if build --bin sealed; then
  size "$out/sealed" | awk 'NR == 2 { printf "without storage: flash %d bytes, static RAM %d bytes; links without a reachable panic\n", $1 + $2, $2 + $3 }'
else
  fail "the controller without storage does not link: a panic is reachable in sample loop, drivers, line or settings"
fi
if [ ! -e "$work/feeds/sound-4-encoder.feed" ]; then :
elif build --bin controller; then
  size "$out/controller" | awk 'NR == 2 { printf "with storage: flash %d bytes, static RAM %d bytes\n", $1 + $2, $2 + $3 }'
  run_controller || fail "the controller does not say what the host finds, or is not reset when its frames stop"

  echo "== all that can be asked of the controller by its line: settings, die, time, live frames, kept stroke, journal"
  if host talk "$out/controller" >"$work/talk.txt" 2>"$work/host.log"; then
    cat "$work/talk.txt"
    # Its last start took settings out of the flash, which goes deepest. An eighth of the RAM is to stay free.
    ram "$out/controller" "$(sed -n 's/.* stack \([0-9]*\) bytes.*/\1/p' "$work/talk.txt")" || fail "static data and stack leave less than an eighth of the RAM free"
  else
    fail "the controller by its line: $(tail -1 "$work/host.log")"
  fi
  echo "== a hostile peer on its line, seed $seed: no frame is missed, nothing taken for a request"
  host hostile "$seed" 200000 "$out/controller" 2>"$work/host.log" || fail "the controller and a hostile peer: $(tail -1 "$work/host.log")"
  echo "== the watchdog: permit withdrawn, restarted, journalled, told after the restart"
  for case in frames channel; do
    host watchdog $case "$out/controller" 2>"$work/host.log" || fail "watchdog, $case: $(tail -1 "$work/host.log")"
  done
  if build --bin controller --features endless; then
    host watchdog task "$out/controller" 2>"$work/host.log" || fail "watchdog, task: $(tail -1 "$work/host.log")"
  else
    fail "the controller with an endless lower task does not build"
  fi
else
  fail "the controller does not build, or does not fit"
fi

echo "== replay on the emulated controller: settings, learned shape, frames and verdicts over its line, as on the host"
replayed=0
while read -r recording die; do
  card=$(awk -F'"' -v name="$recording" '/^file = / { file = $2 } /^press = / && file == name { print $2 }' sample-signatures/MANIFEST.toml)
  if bolster replay "sample-signatures/$recording" --press "sample-signatures/$card" \
    --die "sample-signatures/dies/$die" --on target --compare --json >"$work/replay.json" 2>"$work/host.log"; then
    replayed=$((replayed + 1))
  else
    fail "replay on the controller: $recording: $(tail -3 "$work/host.log")"
  fi
done <<'END'
faulty/five-station-slug.csv five-station.toml
faulty/five-station-gauge-open.csv five-station.toml
faulty/forty-station-shut-height.csv forty-station.toml
faulty/brake-loose-rod.csv brake-two-dies.toml
faulty/small-press-double.csv small-press.toml
END
echo "$replayed recordings on presses of one, two and four columns, every figure of every stroke the same"

echo "== power cut on the controller: a sample of operations in a change of settings, counters and journal"
# One line of what is stored: old or new of each, nothing in between, no hole in the journal.
sound() { # VALUE LINE
  awk -v v="$1" '$1 == "settings" {
    seen = 1
    if ($2 != v && $2 != v - 1) bad = 1
    if ($4 != 10 * v && $4 != 10 * (v - 1)) bad = 1
    if ($6 < 4 * (v - 1) || $6 > 4 * v || $8 != 0) bad = 1
  } END { exit bad || !seen }' <<<"$2"
}
run_store() {
  local value status cut operations cuts=0 said
  head -c 10240 /dev/zero | tr '\0' '\377' >"$work/whole"
  for value in $(seq 1 11); do
    cp "$work/whole" "$work/before"
    said=$(emulate 60 "$out/store" "$work/whole" 0 "$value") || { echo "change $value: $said"; return 1; }
  done
  operations=$(awk '$1 == "operations" { print $2 }' <<<"$said")
  for cut in $(seq 1 $((operations / 24 + 1)) "$operations"); do
    cp "$work/before" "$work/flash"
    emulate 60 "$out/store" "$work/flash" "$cut" 11 >/dev/null
    status=$?
    [ $status = 77 ] || { echo "cut $cut: status $status instead of a loss of power"; return 1; }
    said=$(emulate 60 "$out/store" "$work/flash" 0 0) || { echo "cut $cut: $said"; return 1; }
    sound 11 "$said" || { echo "cut $cut: $said"; return 1; }
    cuts=$((cuts + 1))
  done
  echo "$cuts of $operations operations cut: settings old or new and whole, counters never back, journal without holes; stack $(awk '$1 == "operations" { print $4 }' <<<"$said") bytes"
}
if build --bin store --features emulator; then
  run_store || fail "the store on the controller does not survive a loss of power"
else
  fail "the store's program does not build"
fi

echo "== instructions a frame, four columns: machine and die limits, all 16 windows, a learned shape"
for feed in "$work"/feeds/random-4-encoder.feed "$work"/feeds/random-4-marked.feed "$work"/feeds/five-station.feed "$work"/feeds/fast-test.feed; do
  [ -e "$feed" ] || continue
  cost=
  rm -f "$work/count.txt"
  if [ -n "$plugin" ]; then
    emulate 300 "$out/feed" "$feed" -- -plugin "$plugin,$(span "$out/feed" count)" -d plugin -D "$work/count.txt" >/dev/null &&
      cost=$(counted)
  fi
  if [ -z "$cost" ]; then
    # 2^6 ns an instruction, 40 ns a timer tick; the timer's own reading is in it.
    emulate 900 "$out/feed" "$feed" -- -icount shift=6 >"$work/target.txt" &&
      cost=$(awk '$1 == "timed" && $2 > 0 { printf "mean %.2f worst %d (by the timer)", $4 / $2 * 40 / 64, $8 * 40 / 64 }' "$work/target.txt")
  fi
  if [ -n "$cost" ]; then
    echo "$(basename "$feed" .feed): $cost"
    bar "$(basename "$feed" .feed)" "$cost"
  else
    fail "no instruction count for $(basename "$feed")"
  fi
done
finish
