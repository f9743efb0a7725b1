# Sourced: says what programs a check needs, and gets them where that is possible without asking.

# need PROGRAM PACKAGE...: true if the program is there or could be installed (Debian and its kin, as root).
need() {
  local program=$1
  shift
  command -v "$program" >/dev/null && return
  if command -v apt-get >/dev/null && [ "$(id -u)" = 0 ]; then
    echo "installing $* for $program" >&2
    install_packages "$@" || true
  fi
  command -v "$program" >/dev/null && return
  echo "missing: $program (on Debian: apt-get install $*)" >&2
  return 1
}

install_packages() {
  local quiet=(-y -qq --no-install-recommends -o Acquire::Retries=0 -o Acquire::http::Timeout=30)
  export DEBIAN_FRONTEND=noninteractive
  timeout 900 apt-get install "${quiet[@]}" "$@" >/dev/null 2>&1 </dev/null ||
    { timeout 300 apt-get update -qq >/dev/null 2>&1 </dev/null &&
      timeout 900 apt-get install "${quiet[@]}" "$@" >/dev/null 2>&1 </dev/null; }
}

# need_target TARGET: true if something here compiles for this microcontroller, or could be installed that does.
need_target() {
  local build=firmware/boards/build.sh
  [ "${BUILD_WITH:-}" != source ] && $build --which --target "$1" >/dev/null 2>&1 && return
  need /usr/bin/rustc rustc-web && need /usr/bin/cargo cargo-web && need ld.lld lld || return
  compgen -G "$(/usr/bin/rustc --print sysroot)/lib/rustlib/src/rust/library/core/Cargo.toml" >/dev/null ||
    compgen -G "/usr/src/rustc-*/library/core/Cargo.toml" >/dev/null || install_packages rust-web-src
  $build --which --target "$1" >/dev/null
}
