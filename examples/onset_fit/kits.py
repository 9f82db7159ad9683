"""Drum kits of sampled banks, and what is played on them.

What a stroke counts as goes by its key in the General MIDI percussion map: 35 and 36 are kicks; 37
(side stick), 38 and 40 (snares) and 39 (clap) snares; 42 (closed), 44 (pedal) and 46 (open)
hi-hats. The patterns are drawn at random around what is usual (common practice, no source).
"""
import numpy as np

from strokes import RATE_HZ, between, filtered

KICKS, SNARES, HATS = (35, 36), (38, 40), (42, 44, 46)
CYMBALS, TOMS = (49, 51, 52, 53, 55, 57, 59), (41, 43, 45, 47, 48, 50)
WHAT = {key: "kick" for key in KICKS} | {key: "snare" for key in (37, 38, 39, 40)} | {key: "hat" for key in HATS}
WHAT |= {key: "cymbal" for key in CYMBALS} | {key: "tom" for key in TOMS}
# How long a stroke needs to come within 20 dB of its peak counts as silence before it.
BELOW_DB = 20
NAMED = ("kick", "snare", "hat")


class Bank:
    """All kits and notes in a folder that banks.py has filled."""

    def __init__(self, folder):
        self.kits = [np.load(path) for path in sorted(folder.glob("*.kit.npz"))]
        self.notes = [np.load(path) for path in sorted(folder.glob("*.notes.npz"))]


def begin_s(x):
    loud = np.abs(x) >= np.abs(x).max() * 10 ** (-BELOW_DB / 20)
    return float(np.argmax(loud)) / RATE_HZ


class Kit:
    def __init__(self, rng, bank):
        self.rng, self.sounds = rng, bank.kits[rng.integers(len(bank.kits))]
        self.layers = {}
        for name in self.sounds.files:
            key, velocity = map(int, name.split("_"))
            self.layers.setdefault(key, []).append(velocity)
        self.cache = {}
        # Each drum bent, brightened or dulled, damped, at its own level: kits that no bank holds.
        self.changed = {key: self.change(key) for key in self.layers} if rng.random() < 0.75 else {}
        # Metal of two kits sounding as one: no two cymbals are alike.
        metal = [key for key in self.layers if WHAT.get(key) in ("hat", "cymbal")]
        self.blended = {key: self.partner(key, bank) for key in metal} if rng.random() < 0.6 else {}

    def change(self, key):
        """Ratio of pitch, gain above a corner and its Hz, decay in s, gain."""
        rng, metal = self.rng, WHAT.get(key) in ("hat", "cymbal")
        bend = np.exp(rng.normal(0, 0.14 if metal else 0.08))
        tilt, corner = 10 ** (rng.normal(0, 4) / 20), between(rng, 1500, 9000)
        decay = between(rng, 0.1, 1) * (3 if WHAT.get(key) == "cymbal" else 1) if rng.random() < 0.3 else None
        return bend, tilt, corner, decay, 10 ** (rng.normal(0, 3) / 20)

    def partner(self, key, bank):
        """The same piece of another kit, bent, its peak at 1; and how loud it is to be."""
        kit = bank.kits[self.rng.integers(len(bank.kits))]
        names = [name for name in kit.files if name.startswith(f"{key}_")]
        if not names:
            return None
        x = kit[str(self.rng.choice(names))].astype("f4")
        x = np.interp(np.arange(0, len(x) - 1, np.exp(self.rng.normal(0, 0.2))), np.arange(len(x)), x)
        return x / np.abs(x).max(), 10 ** (self.rng.uniform(-9, 3) / 20)

    def has(self, key):
        return key in self.layers

    def pick(self, keys):
        keys = [key for key in keys if self.has(key)]
        return int(self.rng.choice(keys)) if keys else None

    def stroke(self, key, force):
        """Samples, and how many seconds in it is felt to begin."""
        velocity = np.clip(round(127 * force), 6, 127)
        layer = min(self.layers[key], key=lambda v: abs(v - velocity))
        if (key, layer) not in self.cache:
            x = self.sounds[f"{key}_{layer}"].astype("f4") / 32_000
            if self.blended.get(key):
                other, share = self.blended[key]
                both = np.zeros(max(len(x), len(other)), "f4")
                both[: len(x)] += x
                both[: len(other)] += share * np.abs(x).max() * other
                x = both / np.sqrt(1 + share**2)
            if key in self.changed:
                bend, tilt, corner, decay, gain = self.changed[key]
                x = np.interp(np.arange(0, len(x) - 1, bend), np.arange(len(x)), x)
                x = gain * (x + (tilt - 1) * filtered(x, "high", corner, 1))
                if decay:
                    x = x * np.exp(-np.arange(len(x)) / (decay * RATE_HZ))
            self.cache[key, layer] = x, begin_s(x)
        x, late = self.cache[key, layer]
        # A stroke's peak goes with the square of its velocity (SoundFont 2.04, 8.4.2, as played).
        return x * (velocity / layer) ** 2, late


def notes_of(rng, bank):
    """A maker of notes as in notes.py, of one program of one bank."""
    sounds = bank.notes[rng.integers(len(bank.notes))]
    program = int(rng.choice(sorted({int(name.split("_")[0]) for name in sounds.files})))
    keys = sorted(int(name.split("_")[1]) for name in sounds.files if name.startswith(f"{program}_"))
    release, lates = between(rng, 0.02, 0.2), {}

    def note(hz, force, duration):
        at = 69 + 12 * np.log2(hz / 440)
        key = min(keys, key=lambda k: abs(k - at))
        x = sounds[f"{program}_{key}"].astype("f4") / 32_000
        ratio = 2 ** ((at - key) / 12)
        x = np.interp(np.arange(0, len(x) - 1, ratio), np.arange(len(x)), x)
        if key not in lates:
            lates[key] = begin_s(x)
        t = np.arange(len(x)) / RATE_HZ
        x = x * np.clip((max(duration, 0.05) + release - t) / release, 0, 1)
        return force * x, lates[key] / ratio

    first = sounds[f"{program}_{keys[len(keys) // 2]}"]
    return note, "struck" if begin_s(first) < 0.012 else "soft"


def timekeeper(rng, kit, on, half, place, per_beat):
    """What keeps the time: rows of (key, force at each step)."""
    steps, flat = len(place), rng.uniform(0.4, 1, len(place))
    every = {"steps": np.ones(steps, bool), "halves": half, "beats": on, "off": half & ~on}
    shape = every[rng.choice(["steps", "halves", "halves", "beats", "off"])]
    accent = np.where(on, 1.0, np.where(half, rng.uniform(0.5, 1), rng.uniform(0.45, 1)))
    level = between(rng, 0.45, 0.95)
    force = np.where(shape, level * (accent if rng.random() < 0.7 else flat), 0)
    swung = np.where(on | ((place // per_beat % 2 == 1) & (place % per_beat == per_beat - 1)), level * accent, 0)
    foot = np.where(on & (place // per_beat % 2 == 1) if rng.random() < 0.7 else on, between(rng, 0.3, 0.9), 0)
    # A hi-hat far more often than a ride, that more often than anything else.
    how = rng.choice(["closed", "mixed", "ride", "swung", "foot", "crash", "none"], p=[0.36, 0.21, 0.2, 0.12, 0.04, 0.03, 0.04])
    rows = []
    if how in ("closed", "mixed"):
        opened = (half & ~on if rng.random() < 0.5 else rng.random(steps) < 0.12) & (how == "mixed")
        rows = [(42, np.where(opened, 0, force)), (46, np.where(opened, level * rng.uniform(0.7, 1), 0))]
        if rng.random() < 0.2:
            rows.append((44, np.where((rng.random(steps) < 0.15) & (force == 0), between(rng, 0.3, 0.8), 0)))
    elif how == "foot":
        rows = [(44, foot)]
    elif how != "none":
        key = kit.pick({"crash": (49, 57, 52)}.get(how, (51, 51, 51, 59, 53)))
        bell = (rng.random(steps) < rng.choice([0, 0, 0.1])) & (how != "crash")
        rows = [(key, np.where(bell, 0, swung if how == "swung" else force)), (53, np.where(bell, level, 0))]
        if rng.random() < (0.8 if how == "swung" else 0.4):
            rows.append((44, foot))
        elif rng.random() < 0.3:
            rows.append((42, np.where(rng.random(steps) < 0.2, between(rng, 0.3, 0.8), 0)))
    return rows


def groove(rng, kit, per_beat, beats):
    """Rows of (key, force at each step of a bar); 0: no stroke."""
    steps = per_beat * beats
    place = np.arange(steps)
    on, half = place % per_beat == 0, (place * 2) % per_beat == 0
    back = on & (place // per_beat % 2 == 1) if rng.random() < 0.75 else place == per_beat * (beats // 2)
    rows = timekeeper(rng, kit, on, half, place, per_beat)
    kick = {"all": on, "one": place == 0}.get(rng.choice(["all", "all", "one", "loose", "loose", "loose"]))
    if kick is None:
        kick = (place == 0) | (rng.random(steps) < np.where(on, np.where(back, 0.2, 0.5), np.where(half, 0.25, 0.12)))
    if rng.random() < 0.92:
        rows.append((kit.pick(KICKS), np.where(kick, rng.uniform(0.6, 1, steps), 0)))
    if rng.random() < 0.92:
        key = int(rng.choice([38, 38, 38, 40, 40, 37, 39]))
        force = np.where(back, between(rng, 0.5, 1), 0)
        if rng.random() < 0.25:
            force = np.where((rng.random(steps) < 0.2) | back, rng.uniform(0.4, 1, steps), 0)
        rows.append((key, force))
        if rng.random() < 0.2:
            rows.append((39, np.where(back, between(rng, 0.4, 0.9), 0)))
        if rng.random() < 0.55:
            soft = (rng.random(steps) < rng.uniform(0.1, 0.5)) & (force == 0)
            ghost = kit.pick(SNARES) if rng.random() < 0.3 else key
            rows.append((ghost, np.where(soft, between(rng, 0.17, 0.5) * rng.uniform(0.7, 1.1, steps), 0)))
        if rng.random() < 0.12:
            rows.append((37, np.where(rng.random(steps) < 0.15, between(rng, 0.3, 0.9), 0)))
    for _ in range(rng.choice([0, 0, 0, 0, 1, 2])):
        key = kit.pick([*range(54, 82), *TOMS, *TOMS, *TOMS])
        rows.append((key, np.where(rng.random(steps) < np.where(on, 0.3, 0.15), between(rng, 0.3, 1), 0)))
    return [(key, force) for key, force in rows if key is not None and kit.has(key) and force.any()]


def fill(rng, kit, steps, first):
    """Toms or snares to the end of a bar; rows as in groove."""
    row = np.where(np.arange(steps) >= first, np.linspace(rng.uniform(0.3, 0.9), 1, steps), 0)
    if rng.random() < 0.4:
        return [(kit.pick(SNARES), row)]
    keys = sorted((key for key in TOMS if kit.has(key)), reverse=True)
    parts = np.array_split(np.arange(first, steps), max(1, len(keys)))
    return [(key, np.where(np.isin(np.arange(steps), part), row, 0)) for key, part in zip(keys, parts)]


def strokes_of(rng, kit, times, per_beat, beats):
    """Every stroke of a piece: (second, key, force)."""
    steps = per_beat * beats
    rows, hit = groove(rng, kit, per_beat, beats), kit.pick((49, 57))
    uneven, wobble = rng.choice([0, 0.003, 0.006]), rng.uniform(0.02, 0.2)
    fills, turns, flams = rng.choice([0, 0.1, 0.25]), rng.random() < 0.3, rng.choice([0, 0, 0.05])
    out = []
    for bar in range(0, len(times), steps):
        here = rows
        if turns and rng.random() < 0.25:
            rows = groove(rng, kit, per_beat, beats)
        if rng.random() < fills:
            first = int(steps - rng.integers(1, per_beat * 2 + 1))
            kept = [(key, np.where((np.arange(steps) < first) | (key in KICKS), force, 0)) for key, force in rows]
            here = kept + fill(rng, kit, steps, first)
        if hit and rng.random() < 0.15:
            here = here + [(hit, np.where(np.arange(steps) == 0, rng.uniform(0.6, 1), 0))]
        for key, force in here:
            for step, hard in enumerate(force):
                if key is None or hard <= 0 or bar + step >= len(times) or rng.random() < 0.02:
                    continue
                at = max(0.0, times[bar + step] + rng.normal(0, uneven))
                hard = float(np.clip(hard * (1 + rng.normal(0, wobble)), 0.06, 1))
                out.append((at, key, hard))
                if key in SNARES and rng.random() < flams:
                    out.append((max(0.0, at - rng.uniform(0.015, 0.03)), key, 0.4 * hard))
    return sorted(out)


def play(song, bank, times, per_beat, beats):
    """Lays a whole drum part into a song."""
    rng = song.rng
    kit = Kit(rng, bank)
    strokes = strokes_of(rng, kit, times, per_beat, beats)
    hats = [at for at, key, _ in strokes if key in HATS]
    for at, key, force in strokes:
        x, late = kit.stroke(key, force)
        if key == 46:
            # The next stroke on the same hi-hat ends the open one.
            after = [h for h in hats if h > at + 0.01]
            t = np.arange(len(x)) / RATE_HZ
            x = x * np.clip(1 - (t - (after[0] - at if after else 9)) / 0.02, 0, 1)
        what = WHAT.get(key, "drum")
        song.add("drums", at, x, ("onset", what), late)
