#!/usr/bin/env bash
# Builds the board's program with the bare-metal cross compiler of Debian (gcc-arm-none-eabi) and
# tells how much flash and RAM it takes.
#   build.sh [DIR]            board.elf and board.bin for a board, into DIR (default: ./build)
#   build.sh --trace [DIR]    trace.elf for an emulator, which tells on a second line what it applies
# Options of the program in DEFINES, for example DEFINES="-DCRYSTAL_MHZ=12 -DLINE_BAUD=460800".
set -euo pipefail
trace=no
if [[ ${1:-} == --trace ]]; then
  trace=yes
  shift
fi
out=${1:-build}
mkdir -p "$out"
out=$(cd "$out" && pwd)
cd "$(dirname "${BASH_SOURCE[0]}")"

prefix=arm-none-eabi-
if ! command -v "${prefix}gcc" >/dev/null; then
  echo "${prefix}gcc is missing; on Debian and its relatives: apt-get install gcc-arm-none-eabi" >&2
  exit 2
fi
read -ra defines <<<"${DEFINES:-}"
flags=(-std=c99 -mcpu=cortex-m4 -mthumb -mfloat-abi=soft -Os -g -ffreestanding -fno-common
  -ffunction-sections -fdata-sections -Wall -Wextra -Wconversion -Wsign-conversion -Wshadow -pedantic -Werror)

# build NAME FLAG... : NAME.elf, and a line with its size.
build() {
  local name=$1
  shift
  "${prefix}gcc" "${flags[@]}" "$@" ${defines[@]+"${defines[@]}"} ./*.c -nostdlib -T board.ld \
    -Wl,--gc-sections -lgcc -o "$out/$name.elf"
  # Program and constants; what RAM begins with; what RAM begins with as zero.
  read -r text data bss < <("${prefix}size" "$out/$name.elf" | awk 'NR == 2 { print $1, $2, $3 }')
  echo "$name: flash $((text + data)) bytes, RAM $((data + bss)) bytes"
}

if [[ $trace == yes ]]; then
  build trace -DTRACE
else
  build board
  "${prefix}objcopy" -O binary "$out/board.elf" "$out/board.bin"
  # What the link costs at its largest. The file drives no more than 24 channels.
  build size-of-512 -DCOIL_CHANNELS=512 -DSIZE_ONLY
fi
