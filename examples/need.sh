# Sourced by examples/quickstart, tests/run and tests/real_songs: sees to it that what they call
# is there. What is there already is left alone, whoever installed it; the rest is installed where
# Debian's apt-get can do it, and named exactly where it cannot. Exit code 2: something is missing.

# Each need: how to see that it is met, the Debian packages that meet it, what else meets it.
has_c() {
  local dir ok=1
  dir=$(mktemp -d)
  echo 'int main(void) { return 0; }' >"$dir/one.c"
  if cc -o "$dir/one" "$dir/one.c"; then ok=0; fi
  rm -r "$dir"
  return "$ok"
}
debian_c="gcc libc6-dev"
elsewhere_c="a C compiler called cc with the C library's headers (Rust links with it)"

has_sound() { [[ $(uname -s) != Linux ]] || pkg-config --exists alsa; }
debian_sound="libasound2-dev pkg-config"
elsewhere_sound="the development files of the ALSA library (alsa.pc) and pkg-config"

has_python() { python3 -c 'import sys; sys.exit(sys.version_info < (3, 9))'; }
debian_python="python3"
elsewhere_python="Python 3.9 or later"

has_numpy() { [[ -n $(python_with_numpy) ]]; }
debian_numpy="python3-numpy python3-scipy"
elsewhere_numpy="Python 3 with numpy and scipy"

has_encoders() {
  local program
  for program in ffmpeg sox flac oggenc lame; do command -v "$program" || return 1; done
}
debian_encoders="ffmpeg sox flac vorbis-tools lame"
elsewhere_encoders="ffmpeg, sox, flac, oggenc (vorbis-tools) and lame"

has_valgrind() { [[ $(uname -s) != Linux ]] || command -v valgrind; }
debian_valgrind="valgrind"
elsewhere_valgrind="valgrind"

has_server() {
  local program
  [[ $(uname -s) == Linux ]] || return 0
  for program in pulseaudio pactl paplay parec; do command -v "$program" || return 1; done
  # The plugin through which ALSA reaches the server.
  find /usr/lib /usr/local/lib -name 'libasound_module_pcm_pulse.so' 2>/dev/null | grep -q .
}
debian_server="pulseaudio pulseaudio-utils libasound2-plugins"
elsewhere_server="the PulseAudio sound server, its tools, and ALSA's plugin for it"

has_browser() {
  local program
  [[ $(uname -s) == Linux ]] || return 0
  for program in chromium chromedriver; do command -v "$program" || return 1; done
}
debian_browser="chromium chromium-driver"
elsewhere_browser="the Chromium browser and its chromedriver"

has_arm() {
  local program
  for program in arm-none-eabi-gcc qemu-system-arm; do command -v "$program" || return 1; done
}
debian_arm="gcc-arm-none-eabi qemu-system-arm"
elsewhere_arm="gcc for bare-metal ARM (arm-none-eabi-gcc) and QEMU's qemu-system-arm"

# The first Python 3 that has numpy and scipy: the one in PATH need not be the one apt-get serves.
python_with_numpy() {
  local python
  for python in "${COILSCORE_PYTHON:-python3}" python3 /usr/bin/python3; do
    if "$python" -c 'import numpy, scipy' >/dev/null 2>&1; then
      command -v "$python"
      return
    fi
  done
}

# need WHAT... : WHAT is one of the words above.
need() {
  local what missing=() packages=() variable
  for what in "$@"; do
    if ! "has_$what" >/dev/null 2>&1; then
      missing+=("$what")
      variable=debian_$what
      packages+=(${!variable})
    fi
  done
  if ((${#missing[@]} == 0)); then return; fi

  if ! command -v apt-get >/dev/null; then
    say_missing "${missing[@]}"
  fi
  local root
  if ! root=$(way_to_root); then
    echo "Missing: ${packages[*]}. Installing them needs root; run this once, then start again:" >&2
    echo "  apt-get update && apt-get install ${packages[*]}" >&2
    exit 2
  fi
  echo "Installing ${packages[*]}"
  if ! install_debian "$root" "${packages[@]}"; then
    say_missing "${missing[@]}"
  fi
  for what in "${missing[@]}"; do
    if ! "has_$what" >/dev/null 2>&1; then
      echo "The packages are installed, but this still does not work:" >&2
      say_missing "$what"
    fi
  done
}

# Prints what to put before a command that needs root; fails where there is no such way.
way_to_root() {
  if [[ $(id -u) == 0 ]]; then return; fi
  command -v sudo >/dev/null || return 1
  # Without a terminal nobody can type a password.
  if [[ -t 0 ]] || sudo -n true 2>/dev/null; then echo sudo; else return 1; fi
}

# install_debian ROOT PACKAGE... : quiet unless it fails.
install_debian() {
  local root=$1 log ok=0
  shift
  log=$(mktemp)
  local apt=($root env DEBIAN_FRONTEND=noninteractive apt-get -q -o DPkg::Lock::Timeout=300)
  # An update may fail for one source of many; whether that matters, the installation tells.
  "${apt[@]}" update >"$log" 2>&1 || true
  "${apt[@]}" install -y --no-install-recommends "$@" >>"$log" 2>&1 || ok=1
  if ((ok != 0)); then tail -n 20 "$log" >&2; fi
  rm "$log"
  return "$ok"
}

say_missing() {
  local what variable
  echo "Install these with your system's own means, then start again:" >&2
  for what in "$@"; do
    variable=elsewhere_$what
    echo "  ${!variable}" >&2
    variable=debian_$what
    echo "    (Debian and its relatives: ${!variable})" >&2
  done
  exit 2
}

# Rust in PATH or where rustup puts it, new enough for the crate in the current directory.
need_rust() {
  if ! command -v cargo >/dev/null; then PATH=${CARGO_HOME:-${HOME:-}/.cargo}/bin:$PATH; fi
  local wanted have
  wanted=$(sed -n 's/^rust-version = "\(.*\)"/\1/p' Cargo.toml)
  local how="get Rust $wanted or later with rustup (from your distribution or rust-lang.org)"
  if ! command -v cargo >/dev/null || ! have=$(rustc --version 2>/dev/null); then
    echo "Rust is missing: $how, then start again." >&2
    exit 2
  fi
  have=$(cut -d ' ' -f 2 <<<"$have")
  if [[ $(printf '%s\n' "$wanted" "${have%%-*}" | sort -V | head -n 1) != "$wanted" ]]; then
    echo "Rust $have is too old: $how, then start again." >&2
    exit 2
  fi
}
