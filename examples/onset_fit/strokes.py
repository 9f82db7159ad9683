"""Strokes made by arithmetic: what each sounds like is drawn once (a kit), how hard each time.

Every maker takes a random generator and gives a function of the force (0 to 1) that returns one
stroke, starting at its first sample. All figures are invented and only mark out a wide range.
"""
import numpy as np
from scipy.signal import butter, lfilter, sosfilt

RATE_HZ = 44_100


def seconds(duration_s):
    return np.arange(int(duration_s * RATE_HZ)) / RATE_HZ


def between(rng, low, high):
    """A value spread evenly in ratio."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def filtered(x, kind, hz, order=2):
    hz = np.clip(np.asarray(hz, float), 20, 0.45 * RATE_HZ)
    return sosfilt(butter(order, hz, kind, fs=RATE_HZ, output="sos"), x)


def attack(t, attack_s):
    """Rises as 1 - exp; at once where there is no attack to speak of."""
    return 1 - np.exp(-t / max(attack_s, 1e-5))


def falling_tone(t, hz, extra_hz, fall_s, phase=0.0):
    return np.sin(2 * np.pi * (hz * t + extra_hz * fall_s * (1 - np.exp(-t / fall_s))) + phase)


def modes(rng, t, low_hz, high_hz, count, decay_s, spread=3.0):
    """Inharmonic partials, each with its own decay."""
    out = np.zeros(len(t))
    for _ in range(count):
        hz, decay = between(rng, low_hz, high_hz), decay_s * between(rng, 1 / spread, spread)
        out += rng.uniform(0.2, 1) * np.sin(2 * np.pi * (hz * t + rng.random())) * np.exp(-t / decay)
    return out / np.sqrt(count)


def kick(rng):
    hz, extra = between(rng, 38, 80), between(rng, 20, 350)
    fall, decay = between(rng, 0.006, 0.06), between(rng, 0.05, 0.45)
    click, click_s, click_hz = between(rng, 0.01, 0.7), between(rng, 0.0007, 0.012), between(rng, 900, 7000)
    body, drive, rise = between(rng, 0.02, 0.5), between(rng, 0.3, 4), between(rng, 1e-4, 3e-3)
    second = hz * rng.uniform(1.5, 2.4)

    def stroke(force):
        t = seconds(min(4 * decay, 1.2) + 0.05)
        x = falling_tone(t, hz, extra * force, fall) * np.exp(-t / decay)
        x = x + body * np.sin(2 * np.pi * second * t) * np.exp(-t / (0.4 * decay))
        noise = filtered(rng.standard_normal(len(t)), "low", click_hz * (0.5 + 0.5 * force))
        x = x * attack(t, rise) + click * force * noise * np.exp(-t / click_s)
        return force * np.tanh(drive * x) / np.tanh(drive)
    return stroke


def snare(rng):
    return rng.choice([drum_snare, drum_snare, drum_snare, tone_snare, clap, rim])(rng)


def drum_snare(rng):
    hz, ratio = between(rng, 140, 320), rng.uniform(1.4, 1.9)
    ring, wires = between(rng, 0.02, 0.14), between(rng, 0.04, 0.3)
    low, high = between(rng, 300, 3000), between(rng, 6000, 18_000)
    tone, late = between(rng, 0.1, 1.5), rng.uniform(0, 0.002)
    bent, rise = rng.uniform(0, 0.3), between(rng, 1e-4, 2.5e-3)

    def stroke(force):
        t = seconds(5 * max(ring, wires) + 0.02)
        body = falling_tone(t, hz, bent * hz, 0.015, rng.random()) + 0.6 * falling_tone(t, hz * ratio, 0, 1)
        noise = filtered(rng.standard_normal(len(t)), "band", [low, high * (0.4 + 0.6 * force)], 1)
        hiss = noise * np.exp(-t / wires) * attack(np.maximum(t - late, 0), 0.001)
        tap = filtered(rng.standard_normal(len(t)), "low", 3000 + 6000 * force) * np.exp(-t / 0.003)
        x = tone * body * np.exp(-t / ring) + 1.5 * hiss * (0.5 + 0.5 * force) + force * tap
        return force * 0.5 * x * attack(t, rise)
    return stroke


def tone_snare(rng):
    hz, extra, decay = between(rng, 150, 300), between(rng, 10, 300), between(rng, 0.04, 0.15)
    wires, low, tone = between(rng, 0.05, 0.25), between(rng, 800, 4000), between(rng, 0.2, 1.5)

    def stroke(force):
        t = seconds(5 * max(decay, wires))
        noise = filtered(rng.standard_normal(len(t)), "high", low)
        x = tone * falling_tone(t, hz, extra, 0.01) * np.exp(-t / decay) + noise * np.exp(-t / wires)
        return force * 0.5 * x
    return stroke


def clap(rng):
    count, gap, tail = int(rng.integers(1, 5)), between(rng, 0.004, 0.013), between(rng, 0.03, 0.2)
    band = [between(rng, 500, 1200), between(rng, 2000, 8000)]
    short = between(rng, 0.002, 0.008)

    def stroke(force):
        t = seconds(gap * count + 5 * tail)
        env = np.exp(-np.maximum(t - gap * (count - 1), 0) / tail) * (t >= gap * (count - 1))
        for hand in range(count - 1):
            env = env + np.exp(-np.maximum(t - gap * hand, 0) / short) * (t >= gap * hand)
        return force * 1.2 * filtered(rng.standard_normal(len(t)), "band", band, 1) * env
    return stroke


def rim(rng):
    partials = [(between(rng, 350, 3500), between(rng, 0.004, 0.03), rng.uniform(0.3, 1)) for _ in range(3)]
    tap = between(rng, 0.05, 1)

    def stroke(force):
        t = seconds(0.2)
        x = sum(g * np.sin(2 * np.pi * hz * t) * np.exp(-t / decay) for hz, decay, g in partials)
        return force * 0.6 * (x + tap * rng.standard_normal(len(t)) * np.exp(-t / 0.002))
    return stroke


def metal(rng, t, base_hz, count=6):
    """Square waves out of tune with each other, or noise, or both."""
    squares = sum(np.sign(np.sin(2 * np.pi * (base_hz * r * t + rng.random())))
                  for r in np.sort(rng.uniform(1, 5.5, count)))
    share = rng.random()
    return share * squares / np.sqrt(count) + (1 - share) * rng.standard_normal(len(t))


def hat(rng):
    closed, opened = between(rng, 0.008, 0.06), between(rng, 0.12, 0.6)
    base, low, rise = between(rng, 200, 800), between(rng, 3500, 10_000), between(rng, 1e-4, 2e-3)
    top, kind = between(rng, 9000, 19_000), rng.choice(["closed", "closed", "closed", "open", "foot", "both"])
    seed = int(rng.integers(1 << 30))

    def stroke(force):
        how = rng.choice(["closed", "closed", "open"]) if kind == "both" else kind
        decay = {"closed": closed, "open": opened, "foot": 0.7 * closed}[how]
        t = seconds(5 * decay + 0.01)
        x = metal(np.random.default_rng(seed), t, base) + 0.3 * rng.standard_normal(len(t))
        x = filtered(filtered(x, "high", low * (0.6 if how == "foot" else 1.0), 3), "low", top * (0.6 + 0.4 * force), 1)
        x = x * np.exp(-t / decay) * attack(t, rise + (0.002 if how == "foot" else 0))
        return force * 0.7 * x
    return stroke


def ride(rng):
    ping, wash = between(rng, 0.15, 1.5), between(rng, 0.3, 2.5)
    low, high, seed = between(rng, 300, 1500), between(rng, 5000, 14_000), int(rng.integers(1 << 30))
    bell, tap, rise = between(rng, 0.2, 2), between(rng, 0.05, 0.8), between(rng, 3e-3, 3e-2)

    def stroke(force):
        t = seconds(min(3 * wash, 2.5))
        own = np.random.default_rng(seed)
        x = bell * modes(own, t, low, 6000, 16, ping) + 0.5 * modes(own, t, 2500, high, 30, wash)
        x = x + 0.4 * filtered(rng.standard_normal(len(t)), "band", [2500, high], 1) * np.exp(-t / wash) * attack(t, rise)
        x = x + tap * filtered(rng.standard_normal(len(t)), "high", 1500) * np.exp(-t / 0.003)
        return force * 0.35 * x * attack(t, 3e-4)
    return stroke


def crash(rng):
    decay, rise, low = between(rng, 0.5, 2), between(rng, 5e-4, 8e-3), between(rng, 300, 3000)
    seed = int(rng.integers(1 << 30))

    def stroke(force):
        t = seconds(min(3 * decay, 3))
        own = np.random.default_rng(seed)
        x = modes(own, t, low, 14_000, 40, decay) + filtered(rng.standard_normal(len(t)), "high", low) * np.exp(-t / decay)
        return force * 0.5 * x * attack(t, rise)
    return stroke


def tom(rng):
    hz, decay, skin = between(rng, 65, 280), between(rng, 0.08, 0.4), between(rng, 0.02, 0.5)
    bend, ratio = rng.uniform(0, 0.6), rng.uniform(1.4, 2.4)

    def stroke(force):
        t = seconds(4 * decay)
        x = falling_tone(t, hz, bend * hz * force, 0.03) * np.exp(-t / decay)
        x = x + 0.4 * np.sin(2 * np.pi * hz * ratio * t) * np.exp(-t / (0.3 * decay))
        noise = filtered(rng.standard_normal(len(t)), "low", 1500 + 5000 * force)
        return force * (x * attack(t, 5e-4) + skin * noise * np.exp(-t / 0.006))
    return stroke


def hand_drum(rng):
    hz, decay, slap = between(rng, 150, 700), between(rng, 0.03, 0.2), between(rng, 0.02, 1)

    def stroke(force):
        t = seconds(5 * decay + 0.02)
        x = np.sin(2 * np.pi * hz * t) + 0.5 * np.sin(2 * np.pi * 1.6 * hz * t)
        noise = filtered(rng.standard_normal(len(t)), "band", [800, 5000], 1)
        return force * 0.7 * (x * np.exp(-t / decay) + slap * noise * np.exp(-t / 0.008))
    return stroke


def block(rng):
    """Wood, bell, triangle: a few partials, short or ringing."""
    base, decay = between(rng, 400, 3500), between(rng, 0.01, 0.5)
    ratios, square = rng.uniform(1, 4, 3), rng.random() < 0.3

    def stroke(force):
        t = seconds(min(5 * decay, 1.5))
        x = sum(np.sin(2 * np.pi * base * r * t) for r in (1, *ratios)) / 2
        return force * 0.5 * (np.tanh(3 * x) if square else x) * np.exp(-t / decay) * attack(t, 3e-4)
    return stroke


def shaker(rng):
    rise, decay = between(rng, 0.004, 0.02), between(rng, 0.01, 0.08)
    band = [between(rng, 2000, 6000), between(rng, 8000, 16_000)]

    def stroke(force):
        t = seconds(3 * rise + 5 * decay)
        env = np.minimum(t / rise, 1) ** 2 * np.exp(-np.maximum(t - rise, 0) / decay)
        x = force * 0.8 * filtered(rng.standard_normal(len(t)), "band", band, 1) * env
        return x[int(0.4 * rise * RATE_HZ):]
    return stroke


def jingle(rng):
    decay, seed = between(rng, 0.03, 0.25), int(rng.integers(1 << 30))

    def stroke(force):
        t = seconds(5 * decay)
        x = modes(np.random.default_rng(seed), t, 4000, 15_000, 20, decay)
        rattle = filtered(rng.standard_normal(len(t)), "high", 5000) * np.exp(-t / decay)
        return force * 0.5 * (x + rattle * (1 + rng.random(len(t)))) * attack(t, 1.5e-3)
    return stroke


OTHERS = [ride, ride, crash, tom, tom, hand_drum, hand_drum, block, block, shaker, jingle]


def room(rng):
    """Decaying noise as the answer of a room, the first sound first."""
    decay = between(rng, 0.05, 0.7)
    t = seconds(4 * decay)
    answer = filtered(rng.standard_normal(len(t)), "low", between(rng, 2000, 12_000), 1) * np.exp(-t / decay)
    answer[: int(between(rng, 0.002, 0.03) * RATE_HZ)] = 0
    return answer / np.sqrt(np.sum(answer**2) + 1e-9)


def squeeze(rng, x):
    """Compression from above a threshold, fast to fall, slower to rise; then a little clipping."""
    level = np.sqrt(np.mean(x**2) + 1e-12)
    threshold, ratio = level * between(rng, 0.1, 1.5), between(rng, 2, 20)
    fast, slow = between(rng, 0.0005, 0.01), between(rng, 0.03, 0.3)
    step = 32
    peaks = np.abs(x[: len(x) // step * step]).reshape(-1, step).max(axis=1)
    env, now = np.empty(len(peaks)), 0.0
    up, down = np.exp(-step / RATE_HZ / fast), np.exp(-step / RATE_HZ / slow)
    for n, peak in enumerate(peaks):
        now = peak + (now - peak) * (up if peak > now else down)
        env[n] = now
    gain = np.minimum(1, (env / threshold + 1e-9) ** (1 / ratio - 1))
    gain = np.interp(np.arange(len(x)), (np.arange(len(gain)) + 1) * step, gain)
    x = x * gain
    limit = np.quantile(np.abs(x), rng.uniform(0.98, 1.0)) + 1e-9
    return np.clip(x, -limit, limit)


def pink(rng, count):
    """White noise through a filter that falls by 3 dB an octave within 0.5 dB (fit from memory)."""
    b = [0.049922035, -0.095993537, 0.050612699, -0.004408786]
    a = [1, -2.494956002, 2.017265875, -0.522189400]
    x = lfilter(b, a, rng.standard_normal(count + 4000))[4000:]
    return x / np.std(x)
