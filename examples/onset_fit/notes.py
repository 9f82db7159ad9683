"""Notes made by arithmetic: strings plucked, struck and bowed, pipes, synthesized tones.

Every maker draws an instrument and gives a function (frequency, force, duration) that returns one
note, and says by how many seconds after its first sample the note is felt to begin.
"""
import numpy as np

from strokes import RATE_HZ, attack, between, filtered, seconds


def ended(x, t, duration_s, release_s):
    return x * np.clip((duration_s - t) / release_s, 0, 1)


def harmonics(t, hz, levels, decays, stiff=0.0, bend=None):
    turns = hz * t if bend is None else hz * np.cumsum(bend) / RATE_HZ
    out = np.zeros(len(t))
    for h, (level, decay) in enumerate(zip(levels, decays), 1):
        ratio = h * np.sqrt(1 + stiff * h * h)
        if hz * ratio > 0.4 * RATE_HZ:
            break
        out += level * np.sin(2 * np.pi * (ratio * turns + 0.37 * h)) * np.exp(-t / decay)
    return out


def plucked(rng):
    """Guitar, harp, bass, harpsichord."""
    decay, fall, count = between(rng, 0.2, 2.5), rng.uniform(0.6, 1.6), int(rng.integers(4, 20))
    dull, tap, rise, release = rng.uniform(0.1, 0.8), between(rng, 0.005, 0.3), between(rng, 2e-4, 5e-3), between(rng, 0.02, 0.1)

    def note(hz, force, duration):
        t = seconds(duration)
        h = np.arange(1, count + 1)
        levels = h**-fall * np.abs(np.sin(h * rng.uniform(0.3, 0.5)))
        x = harmonics(t, hz, levels, decay / (1 + dull * h), 1e-4)
        noise = filtered(rng.standard_normal(len(t)), "low", 4000) * np.exp(-t / 0.004)
        return ended(force * 0.4 * (x + tap * noise) * attack(t, rise), t, duration, release), 0.3 * rise
    return note, "struck"


def struck(rng):
    """Piano, bars, electric piano."""
    stiff, decay, count = between(rng, 1e-5, 8e-4), between(rng, 0.3, 2.5), int(rng.integers(5, 14))
    thump, rise, bright = between(rng, 0.01, 0.3), between(rng, 4e-4, 4e-3), rng.uniform(0.7, 1.8)
    release = between(rng, 0.03, 0.3)

    def note(hz, force, duration):
        t = seconds(duration)
        h = np.arange(1, count + 1)
        levels = h ** -(bright + 1 - force)
        x = harmonics(t, hz, levels, decay * (200 / hz) ** 0.5 / (1 + 0.3 * h), stiff)
        noise = filtered(rng.standard_normal(len(t)), "low", 1200) * np.exp(-t / 0.012)
        return ended(force * 0.35 * (x + thump * noise) * attack(t, rise), t, duration, release), 0.3 * rise
    return note, "struck"


def rung(rng):
    """Frequency modulation: bells, electric pianos, hard basses."""
    ratio, depth = rng.choice([1, 1, 2, 3, 1.41, 3.5, 7, 14]), between(rng, 0.3, 5)
    decay, quick, rise = between(rng, 0.2, 2), between(rng, 0.03, 0.5), between(rng, 2e-4, 3e-3)

    def note(hz, force, duration):
        t = seconds(duration)
        inner = depth * force * np.exp(-t / quick) * np.sin(2 * np.pi * hz * ratio * t)
        x = np.sin(2 * np.pi * hz * t + inner) * np.exp(-t / decay) * attack(t, rise)
        return ended(0.4 * force * x, t, duration, 0.04), 0.3 * rise
    return note, "struck"


def held(rng):
    """Synthesized: saws or pulses through a filter that opens and closes, or organ pipes."""
    rise, cutoff, voices = between(rng, 5e-4, 0.02), between(rng, 300, 8000), int(rng.integers(1, 4))
    sustain, quick, opens = rng.uniform(0.2, 1), between(rng, 0.03, 0.5), rng.uniform(0, 3)
    organ, release = rng.random() < 0.35, between(rng, 0.005, 0.12)
    stops = rng.choice([0, 1, 0.7, 0.4], 9)
    stops[0] = 1

    def note(hz, force, duration):
        t = seconds(duration)
        if organ:
            x = harmonics(t, hz, stops, np.full(9, 1e3))
        else:
            x = sum(2 * ((hz * (1 + 0.004 * v) * t + rng.random()) % 1) - 1 for v in range(voices)) / voices
            sharp = filtered(x, "low", min(cutoff * (1 + opens), 16_000))
            soft = filtered(x, "low", cutoff)
            x = soft + (sharp - soft) * np.exp(-t / quick)
        env = sustain + (1 - sustain) * np.exp(-t / quick)
        return ended(0.25 * force * x * env * attack(t, rise), t, duration, release), 0.4 * rise
    return note, "struck" if rise < 0.008 else "soft"


def bowed(rng):
    """Bowed or blown: slow to speak, with vibrato and breath."""
    rise, fall = between(rng, 0.012, 0.07), rng.uniform(0.7, 1.6)
    vibrato, speed = between(rng, 1e-4, 0.012), rng.uniform(4, 7)
    breath, trem, release = between(rng, 0.002, 0.15), rng.uniform(0, 0.3), between(rng, 0.02, 0.15)

    def note(hz, force, duration):
        t = seconds(duration)
        late = np.clip((t - 0.15) / 0.2, 0, 1)
        bend = 1 + vibrato * late * np.sin(2 * np.pi * speed * t)
        h = np.arange(1, 13)
        x = harmonics(t, hz, h ** -(fall + 0.5 * (1 - force)), np.full(12, 1e3), bend=bend)
        x = x * (1 + trem * late * np.sin(2 * np.pi * speed * t + 1))
        noise = filtered(rng.standard_normal(len(t)), "band", [hz, 6 * hz + 500], 1)
        return ended(0.25 * force * (x + breath * noise) * attack(t, rise), t, duration, release), 0.4 * rise
    return note, "soft"


def driven(rng):
    """Any of the struck ones through heavy overload."""
    inner, kind = rng.choice([plucked, held])(rng)
    drive = between(rng, 3, 40)

    def note(hz, force, duration):
        x, late = inner(hz, force, duration)
        return 0.25 * np.tanh(drive * filtered(x, "low", 6000)), late
    return note, kind


MAKERS = [plucked, plucked, struck, struck, struck, rung, held, held, bowed, driven]
BASSES = [plucked, plucked, held, rung]
