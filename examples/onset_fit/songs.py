"""Makes songs of which every event is known, to fit the event finder to.

    python3 songs.py DIR [--songs 400] [--seconds 20] [--seed 1] [--every 6] [--bank BANK]

Writes DIR/NAME.wav and DIR/NAME.truth: one line for each event, its time in seconds and what it is
(onset, soft, kick, snare, hat, cymbal, tom, drum, beat); `soft` is an onset that takes long to
speak, `drum` any other stroke. With a folder that banks.py has filled, most drums and notes are
sampled ones; else all are made by arithmetic. The same seed gives the same songs. Everything is
drawn at random and invented: kits, notes, patterns, tempos, rooms, levels, noise. Every sixth
(`--every`; 1: all) is no music: noises, hum, held chords, sweeps, and lone strokes.
"""
import argparse
import wave
from multiprocessing import Pool
from pathlib import Path

import numpy as np
from scipy.signal import fftconvolve

import kits
import notes
import strokes
from strokes import RATE_HZ, between, pink

SCALES = [[0, 2, 4, 5, 7, 9, 11], [0, 2, 3, 5, 7, 8, 10], [0, 3, 5, 7, 10]]
OFTEN, EVEN = ["nothing", "nothing", "lone"], ["nothing", "lone"]
SAMPLED = 0.75
WHAT_ELSE = {strokes.ride: "cymbal", strokes.crash: "cymbal", strokes.tom: "tom"}
KINDS = {"kick": strokes.kick, "snare": strokes.snare, "hat": strokes.hat}


class Song:
    def __init__(self, rng, length_s, bank=None):
        self.rng, self.length_s, self.bank = rng, length_s, bank
        self.parts, self.truth = {}, []

    def add(self, part, at_s, sound, what=(), late_s=0.0):
        """Lays a sound into a part at a time rounded to a sample; it is felt `late_s` later."""
        here = self.parts.setdefault(part, np.zeros(int(self.length_s * RATE_HZ)))
        first = int(round(at_s * RATE_HZ))
        run = min(len(sound), len(here) - first)
        if run > RATE_HZ // 50:
            here[first : first + run] += sound[:run]
            self.truth += [(first / RATE_HZ + late_s, kind) for kind in what]

    def mixed(self):
        """All parts together, each at its own loudness and, at times, in its own room."""
        out = np.zeros(int(self.length_s * RATE_HZ))
        for name, part in self.parts.items():
            level = np.sqrt(np.mean(part**2) + 1e-12)
            gain = 1 / level
            if name != "drums":
                gain *= 10 ** (self.rng.uniform(*((-12, 2) if self.bank else (-9, 3))) / 20)
            wet = self.rng.uniform(0, 0.5) if self.rng.random() < 0.6 else 0
            if wet:
                part = part + wet * fftconvolve(part, strokes.room(self.rng))[: len(part)]
            out += gain * part
        return out


def grid(rng, length_s):
    """Times of all steps; steps per beat; beats per bar."""
    bpm = between(rng, 62, 178)
    per_beat, beats = int(rng.choice([2, 3, 4, 4, 4])), int(rng.choice([4, 4, 4, 3]))
    drift = rng.choice([0, 0, rng.uniform(-0.3, 0.3)])
    swing = rng.uniform(0, 0.3) if per_beat != 3 and rng.random() < 0.3 else 0
    times, at, step = [], rng.uniform(0.05, 0.8), 0
    while at < length_s - 0.1:
        length = 60 / (bpm * (1 + drift * at / length_s)) / per_beat
        times.append(at + (swing * length if step % 2 else 0))
        at, step = at + length, step + 1
    return times, per_beat, beats


def pattern(rng, kind, per_beat, beats):
    """How likely and how strong a kind is at each step of a bar; most are always or never."""
    steps = per_beat * beats
    place = np.arange(steps)
    on, half = place % per_beat == 0, (place * 2) % per_beat == 0
    likely = {
        "kick": np.where(place == 0, 0.95, np.where(on, 0.45, np.where(half, 0.25, 0.1))),
        "snare": np.where((place // per_beat) % 2 == 1, np.where(on, 0.9, 0.15), 0.08),
        "hat": np.where(on, 0.85, np.where(half, 0.75, 0.4)),
    }.get(kind, np.where(on, 0.4, 0.2))
    if rng.random() < 0.15:
        likely = rng.random(steps) * 0.6
    fixed = rng.random(steps) < likely
    force = np.where(fixed, rng.uniform(0.55, 1, steps), 0)
    if kind in ("snare", "hat") and rng.random() < 0.5:
        # Soft ones in between, some of them so soft that they are more felt than heard.
        ghosts = (rng.random(steps) < rng.uniform(0.1, 0.5)) & ~fixed
        force[ghosts] = between(rng, 0.08, 0.4)
    if kind == "hat" and rng.random() < 0.4:
        force[~on] *= rng.uniform(0.4, 0.9)
    return force


def add_drums(song, times, per_beat, beats):
    rng, steps = song.rng, per_beat * beats
    bag = [(kind, KINDS[kind](rng)) for kind in KINDS if rng.random() < 0.88]
    others = [strokes.OTHERS[n] for n in rng.integers(0, len(strokes.OTHERS), rng.choice([0, 0, 1, 1, 2, 3]))]
    bag += [(WHAT_ELSE.get(maker, "drum"), maker(rng)) for maker in others]
    if rng.random() < 0.25:
        bag = [(k, s) for k, s in bag if k != "hat"] + [("cymbal", strokes.ride(rng))]
    loud = {"kick": 1.0, "snare": 0.8, "hat": 0.3, "cymbal": 0.4, "tom": 0.5, "drum": 0.4}
    uneven = rng.choice([0, 0.003, 0.008])
    for kind, stroke in bag:
        force = pattern(rng, kind, per_beat, beats)
        gain, loose = loud[kind] * between(rng, 0.35, 2.2), rng.uniform(0, 0.2)
        lead = rng.normal(0, uneven)
        for step, at in enumerate(times):
            hard = force[step % steps] * (1 + rng.uniform(-0.15, 0.1))
            if rng.random() < loose * 0.4:
                hard = between(rng, 0.2, 1) if hard == 0 else 0
            if hard > 0:
                at = max(at + lead + rng.normal(0, uneven), 0)
                song.add("drums", at, gain * stroke(min(hard, 1)), ("onset", kind))


def add_notes(song, times, per_beat, beats):
    rng = song.rng
    key, scale = between(rng, 50, 75), SCALES[rng.integers(len(SCALES))]
    hz = lambda degree, octave: key * 2 ** (octave + degree // len(scale) + scale[degree % len(scale)] / 12)
    chords = rng.integers(0, 7, 4)
    for part in rng.choice(["bass", "chords", "tune", "tune", "run"], rng.integers(1, 4), replace=False):
        if song.bank and rng.random() < SAMPLED:
            note, kind = kits.notes_of(rng, song.bank)
        else:
            note, kind = rng.choice(notes.BASSES if part == "bass" else notes.MAKERS)(rng)
        octave = {"bass": 0, "chords": 2}.get(part, int(rng.integers(1, 5)))
        every = {"bass": [1, 2, 4], "chords": [2, 4, 8, 16], "run": [1, 1, 2]}.get(part, [1, 2, 3, 4])
        degree, step, what = int(rng.integers(0, 7)), int(rng.integers(0, 4)), "onset" if kind == "struck" else "soft"
        legato, uneven = between(rng, 0.4, 1.6), rng.choice([0, 0.004, 0.012])
        while step < len(times) - 1:
            length = int(rng.choice(every)) * max(1, per_beat // 2)
            until = times[min(step + length, len(times) - 1)]
            chord = int(chords[(step // (per_beat * beats)) % 4])
            degree = int(np.clip(degree + rng.integers(-2, 3), -3, 11))
            root = chord if part in ("bass", "chords") else degree
            voices = [0, 2, 4][: int(rng.integers(2, 4))] if part == "chords" else [0]
            if rng.random() < 0.9:
                at = max(times[step] + rng.normal(0, uneven), 0)
                force, roll = rng.uniform(0.4, 1), rng.choice([0, 0, 0.006])
                for n, voice in enumerate(voices):
                    duration = max(0.08, legato * (until - times[step]))
                    sound, late = note(hz(root + voice, octave), force, duration)
                    song.add(f"{part}", at + n * roll, sound, (what,) if n == 0 else (), late)
            step += length


def music(rng, length_s, bank):
    song = Song(rng, length_s, bank)
    times, per_beat, beats = grid(rng, length_s)
    kind = rng.choice(["drums", "mix", "mix", "notes"])
    if kind != "notes" and bank and rng.random() < SAMPLED:
        kits.play(song, bank, times, per_beat, beats)
    elif kind != "notes":
        add_drums(song, times, per_beat, beats)
    if kind != "drums":
        add_notes(song, times, per_beat, beats)
    song.truth += [(at, "beat") for at in times[::per_beat]]
    return song


def lone(rng, length_s, _):
    """Strokes and notes far apart, out of silence or faint noise; noise that sets in and stops."""
    song, at = Song(rng, length_s), between(rng, 0.2, 2)
    while at < length_s - 1:
        kind = rng.choice(["kick", "snare", "hat", "other", "note", "burst", "burst"])
        if kind == "burst":
            t = strokes.seconds(between(rng, 0.03, 1.5))
            x = rng.standard_normal(len(t)) if rng.random() < 0.5 else pink(rng, len(t))
            x = 0.3 * x * np.exp(-t / between(rng, 0.02, 3))
            song.add("lone", at, notes.ended(x, t, len(t) / RATE_HZ, 0.02), ("onset",))
        elif kind == "note":
            note, how = rng.choice(notes.MAKERS)(rng)
            x, late = note(between(rng, 50, 1500), rng.uniform(0.3, 1), between(rng, 0.1, 1.5))
            song.add("lone", at, x, ("onset" if how == "struck" else "soft",), late)
        else:
            maker = KINDS.get(kind) or rng.choice(strokes.OTHERS)
            what = ("onset", kind if kind in KINDS else WHAT_ELSE.get(maker, "drum"))
            song.add("lone", at, between(rng, 0.1, 1) * maker(rng)(rng.uniform(0.3, 1)), what)
        at += between(rng, 0.3, 4)
    return song


def nothing(rng, length_s, _):
    """Sounds in which nothing begins: from the very start on, or faded in."""
    song, t = Song(rng, length_s), strokes.seconds(length_s)
    kind = rng.choice(["pink", "pink", "white", "brown", "band", "hum", "chord", "chord", "sweep", "waves"])
    noise = rng.standard_normal(len(t))
    if kind == "pink":
        x = pink(rng, len(t))
    elif kind == "white":
        x = noise
    elif kind == "brown":
        x = strokes.filtered(noise, "low", between(rng, 50, 500), 1)
    elif kind == "band":
        low = between(rng, 60, 5000)
        x = strokes.filtered(noise, "band", [low, low * between(rng, 1.3, 8)], 1)
    elif kind == "hum":
        hz = rng.choice([50, 60, between(rng, 30, 300)])
        x = sum(np.sin(2 * np.pi * hz * h * t) / h ** rng.uniform(0.5, 1.5) for h in range(1, 12, int(rng.integers(1, 3))))
        x = x + 10 ** rng.uniform(-4, -1) * noise
    elif kind == "chord":
        x, depth = np.zeros(len(t)), between(rng, 1e-5, 0.015)
        for _ in range(rng.integers(1, 6)):
            turns = between(rng, 60, 1000) * np.cumsum(1 + depth * np.sin(2 * np.pi * rng.uniform(3, 7) * t)) / RATE_HZ
            x += sum(np.sin(2 * np.pi * h * turns + h) / h for h in range(1, int(rng.integers(2, 10))))
        x = x * (1 + rng.choice([0, rng.uniform(0, 0.4)]) * np.sin(2 * np.pi * rng.uniform(3, 7) * t))
    elif kind == "sweep":
        ratio = between(rng, 5, 300) ** rng.choice([-1, 1])
        hz = between(rng, 40, 100) * (1 / ratio if ratio < 1 else 1)
        x = np.sin(2 * np.pi * np.cumsum(hz * ratio ** (t / length_s)) / RATE_HZ)
    else:
        x = pink(rng, len(t)) * (0.55 + 0.45 * np.sin(2 * np.pi * t / between(rng, 2, 10)))
    if rng.random() < 0.6:
        x = x * np.minimum(t / between(rng, 0.5, 4), 1)
    if rng.random() < 0.3 and kind != "sweep":
        x = x * (0.55 + 0.45 * np.sin(2 * np.pi * t / between(rng, 3, 12)))
    song.parts["steady"] = x / (np.std(x) + 1e-9)
    return song


def spoiled(rng, x, kind):
    """Compressed, cut in frequency, in noise, loud or faint: as recordings are."""
    if kind == "music" and rng.random() < 0.25:
        x = strokes.squeeze(rng, x)
    if rng.random() < 0.07:
        x = strokes.filtered(x, "low", between(rng, 3000, 14_000))
    if rng.random() < 0.08:
        x = strokes.filtered(x, "high", between(rng, 60, 300))
    x = x / (np.std(x) + 1e-9)
    if kind != "nothing" and rng.random() < 0.3:
        noise = pink(rng, len(x)) if rng.random() < 0.75 else rng.standard_normal(len(x))
        x = x + noise * 10 ** (-rng.uniform(6, 40) / 20)
    x = 0.3 * x / (np.max(np.abs(x)) + 1e-9) if kind == "nothing" else x / (np.max(np.abs(x)) + 1e-9)
    return x * 10 ** (-rng.choice([rng.uniform(0, 12), rng.uniform(0, 45)]) / 20)


def make(job):
    folder, number, length_s, seed, every, bank = job
    rng = np.random.default_rng([seed, number])
    bank = bank and kits.Bank(bank)
    kind = "music" if number % every else rng.choice(OFTEN if every > 1 else EVEN)
    song = {"music": music, "lone": lone, "nothing": nothing}[kind](rng, length_s, bank)
    x = spoiled(rng, song.mixed(), kind)
    path = Path(folder) / f"{number:04}"
    with wave.open(str(path.with_suffix(".wav")), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE_HZ)
        out.writeframes(np.round(32_000 * x + rng.uniform(-0.5, 0.5, len(x))).astype("<i2").tobytes())
    lines = [f"{at:.5f} {what}\n" for at, what in sorted(song.truth)]
    path.with_suffix(".truth").write_text("".join(lines))


def main():
    flags = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    flags.add_argument("folder", type=Path)
    flags.add_argument("--songs", type=int, default=400)
    flags.add_argument("--seconds", type=float, default=20)
    flags.add_argument("--seed", type=int, default=1)
    flags.add_argument("--every", type=int, default=6)
    flags.add_argument("--bank", type=Path, help="folder that banks.py has filled")
    asked = flags.parse_args()
    asked.folder.mkdir(parents=True, exist_ok=True)
    jobs = [(asked.folder, number, asked.seconds, asked.seed, asked.every, asked.bank) for number in range(asked.songs)]
    with Pool() as pool:
        for _ in pool.imap_unordered(make, jobs):
            pass


if __name__ == "__main__":
    main()
