"""Renders single strokes and notes of sampled General MIDI banks, for songs.py to build songs of.

    sudo apt-get install fluidsynth timgm6mb-soundfont csound-soundfont opl3-soundfont
    python3 banks.py DIR /usr/share/sounds/sf2/{TimGM6mb,sf_GMbank,OPL-3_FM_128M}.sf2

Any bank in the SoundFont 2 format will do; the first two hold the same recordings of most drums, so
neither can judge what was fitted to the other. Writes DIR/NAME.kit.npz for every drum kit and
DIR/NAME.notes.npz for every bank with melodic sounds: an array `KEY_VELOCITY` (`PROGRAM_KEY` for
notes) of 16 bit samples for each stroke, dry, all of a kit or bank in one scale, cut where it has
faded. Keys are those of the General MIDI percussion map (MIDI Manufacturers Association, 1991).
Only needed to fit anew; no test calls it.
"""
import argparse
import struct
import subprocess
import tempfile
import wave
from pathlib import Path

import numpy as np

from strokes import RATE_HZ

# Keys whose strokes matter most are rendered at more velocities.
DRUMS = {key: [18, 36, 56, 76, 98, 122] if key in (*range(35, 41), 42, 44, 46, 51) else [40, 80, 118]
         for key in range(35, 82)}
PROGRAMS = [p for p in range(112) if p not in (97, 99, 101, 103)]
NOTE_KEYS = range(28, 90, 6)
EVERY_S, HELD_S = 3.0, 1.6
# Kits whose keys mean something else: of the orchestra, of noises.
NO_KITS = (48, 56)


def presets(font):
    """Bank and program numbers of a SoundFont 2 file: its chunk phdr, 38 bytes each."""
    data = font.read_bytes()
    at = data.rindex(b"phdr")
    rows = struct.unpack("<I", data[at + 4 : at + 8])[0] // 38 - 1
    return [struct.unpack_from("<HH", data, at + 8 + 38 * n + 20)[::-1] for n in range(rows)]


def variable(number):
    """A number of a Standard MIDI File: seven bits a byte, all but the last marked."""
    out = [number & 127]
    while number := number >> 7:
        out.insert(0, 128 | number & 127)
    return bytes(out)


def render(font, channel, bank, program, strokes):
    """One recording of all strokes (key, velocity), EVERY_S apart, held HELD_S."""
    # 500 ticks a quarter note of half a second: ticks are milliseconds.
    events = [(0, bytes([0xB0 | channel, 0, bank & 127])), (0, bytes([0xC0 | channel, program]))]
    for n, (key, velocity) in enumerate(strokes):
        start = int(1000 * EVERY_S * n) + 100
        events += [(start, bytes([0x90 | channel, key, velocity])), (start + int(1000 * HELD_S), bytes([0x80 | channel, key, 0]))]
    events.append((int(1000 * EVERY_S * len(strokes)), b"\xff\x2f\x00"))
    track, now = b"", 0
    for at, event in events:
        track, now = track + variable(at - now) + event, at
    with tempfile.TemporaryDirectory() as folder:
        song, sound = Path(folder, "song.mid"), Path(folder, "song.wav")
        song.write_bytes(b"MThd" + struct.pack(">IHHH", 6, 0, 1, 500) + b"MTrk" + struct.pack(">I", len(track)) + track)
        call = ["fluidsynth", "-niq", "-R0", "-C0", "-g0.4", f"-r{RATE_HZ}", "-Twav", "-F", sound, font, song]
        subprocess.run(call, check=True, capture_output=True)
        with wave.open(str(sound), "rb") as file:
            frames = np.frombuffer(file.readframes(file.getnframes()), "<i2").reshape(-1, 2)
    x = frames.astype("f4").mean(axis=1)
    step = int(EVERY_S * RATE_HZ)
    # Rendered in blocks of 64: what sets in up to one block early belongs to the stroke.
    firsts = [max(step * n + RATE_HZ // 10 - 64, 0) for n in range(len(strokes))]
    return [x[first : first + step - 100] for first in firsts]


def cut(x):
    """Ends where it stays 55 dB below its peak; nothing if it never sounds."""
    loud = np.flatnonzero(np.abs(x) > max(2, np.abs(x).max() * 10 ** (-55 / 20)))
    return x[: loud[-1] + 1] if len(loud) > RATE_HZ // 1000 else None


def keep(path, sounds):
    sounds = {name: cut(x) for name, x in sounds.items()}
    sounds = {name: x for name, x in sounds.items() if x is not None}
    if sounds:
        top = max(np.abs(x).max() for x in sounds.values())
        np.savez(path, **{name: np.round(x * (32_000 / top)).astype("<i2") for name, x in sounds.items()})


def asked(doc, what):
    """The folder to write into, made if need be, and the paths to read from."""
    flags = argparse.ArgumentParser(description=doc.splitlines()[0])
    flags.add_argument("folder", type=Path)
    flags.add_argument(what, type=Path, nargs="+")
    given = flags.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    return given.folder, getattr(given, what)


def main():
    folder, fonts = asked(__doc__, "fonts")
    for font in fonts:
        here = presets(font)
        for bank, program in here:
            # A bank of one preset is a drum kit wherever it lies.
            if bank == 128 and program not in NO_KITS or len(here) == 1:
                strokes = [(key, velocity) for key, velocities in DRUMS.items() for velocity in velocities]
                channel = 9 if bank == 128 else 0
                sounds = render(font, channel, 0, program, strokes)
                names = [f"{key}_{velocity}" for key, velocity in strokes]
                keep(folder / f"{font.stem}-{program}.kit.npz", dict(zip(names, sounds)))
        programs = [p for p in PROGRAMS if (0, p) in here]
        if len(programs) > 1:
            notes = {}
            for program in programs:
                keys = [(key, 100) for key in NOTE_KEYS]
                for (key, _), x in zip(keys, render(font, 0, 0, program, keys)):
                    notes[f"{program}_{key}"] = x
            keep(folder / f"{font.stem}.notes.npz", notes)


if __name__ == "__main__":
    main()
