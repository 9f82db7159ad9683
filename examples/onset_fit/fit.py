"""Fits the weights of the event finder to songs of which every event is known.

    python3 songs.py DIR
    cargo run --release --example onset_looks -- DIR
    python3 fit.py live DIR  > ../../src/analysis/onset/live.txt
    python3 fit.py ahead DIR > ../../src/analysis/onset/ahead.txt

The weights in use were fitted onward from older ones (`--onward OLD.txt --passes 4`) to 700 songs of
seed 1 and, in a second folder, 140 of 15 s (`--every 1 --seed 7`): in music they keep to what the
older ones said, in all else the truth counts.

Every tenth song is kept out of the fit and judges it: F within 50 ms by kind and threshold goes to
standard error, to choose the thresholds in src/analysis/onset/view.rs by. The views here and there
must agree. Fitting is by gradient descent on cross entropy, steps as in D. Kingma and J. Ba, "Adam:
a method for stochastic optimization", ICLR 2015.
"""
import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.signal import lfilter

LOOKS_PER_S = 250
GROUPS = 26
PAD = 32
MEAN_S, MEAN_LAG = 0.6, 6
REST_LOOKS = 13
KINDS = ["onset", "kick", "snare", "hat"]
# One output more for beats, one for the age of the newest event.
OUTPUTS = len(KINDS) + 2
SIZES = (48, 24)


@dataclass
class View:
    rises: list
    levels: list
    # Age of an event in ms: scores should be high from and to, and may be between these others.
    high_ms: tuple
    free_ms: tuple


VIEWS = {
    "live": View([0, 1, 2, 3, 5, 8], [0, 8], (7.5, 18.5), (1.0, 50.0)),
    "ahead": View([0, 3, 6, 8, 9, 10, 11, 13, 16], [0, 7, 16], (36.0, 47.0), (28.0, 80.0)),
}


def read_song(path):
    looks = np.fromfile(path.with_suffix(".looks"), "<f4").reshape(-1, 3 * GROUPS)
    rows = [line.split() for line in path.with_suffix(".truth").read_text().splitlines()]
    times = {kind: [] for kind in KINDS + ["soft", "beat"]}
    for at, kind in rows:
        times[kind].append(float(at))
    return looks, {kind: np.array(sorted(at)) for kind, at in times.items()}


def mean_rise(rises):
    """The slow mean of what was MEAN_LAG looks earlier."""
    keep = np.exp(-1 / (MEAN_S * LOOKS_PER_S))
    late = np.vstack([np.zeros((MEAN_LAG, rises.shape[1]), "f4"), rises[:-MEAN_LAG]])
    return lfilter([1 - keep], [1, -keep], late, axis=0).astype("f4")


def mark(count, times, view):
    """Wanted score of each look, and whether it matters: 1, 0 or not at all."""
    want, care = np.zeros(count, "f4"), np.ones(count, "f4")
    ends_ms = 1e3 * (np.arange(count) + 1) / LOOKS_PER_S
    for low, high, value in [(*view.free_ms, None), (*view.high_ms, 1)]:
        for at in times:
            first, last = np.searchsorted(ends_ms, [1e3 * at + low, 1e3 * at + high])
            care[first:last] = value is not None
            if value is not None:
                want[first:last] = value
    return want, care


class Data:
    """All songs in a row, with silence before each."""

    def __init__(self, paths, view):
        self.view = view
        looks, means, wants, cares, self.spans, self.songs = [], [], [], [], [], []
        at = 0
        for path in paths:
            x, times = read_song(path)
            count = len(x)
            rises = x.reshape(count, GROUPS, 3)[:, :, :2].reshape(count, -1)
            times["onset"] = np.sort(np.concatenate([times["onset"], times["soft"]]))
            want, care = np.zeros((count, OUTPUTS), "f4"), np.zeros((count, OUTPUTS), "f4")
            for n, kind in enumerate(KINDS + ["beat"]):
                want[:, n], care[:, n] = mark(count, times[kind], view)
            # Beats of a song without drums say little.
            care[:, len(KINDS)] *= 1 if len(times["kick"]) + len(times["snare"]) else 0.3
            self.mark_age(want, care, times["onset"])
            # A start that sounds already is not judged by the program either.
            care[:25] = 0
            looks += [np.zeros((PAD, x.shape[1]), "f4"), x]
            means += [np.zeros((PAD, rises.shape[1]), "f4"), mean_rise(rises)]
            wants += [np.zeros((PAD, OUTPUTS), "f4"), want]
            cares += [np.zeros((PAD, OUTPUTS), "f4"), care]
            self.spans.append((at + PAD, at + PAD + count))
            self.songs.append(times)
            at += PAD + count
        self.looks, self.means = np.vstack(looks), np.vstack(means)
        self.want, self.care = np.vstack(wants), np.vstack(cares)
        columns = np.arange(3 * GROUPS)
        self.rise_columns, self.level_columns = columns[columns % 3 != 2], columns[2::3]
        self.rises = np.ascontiguousarray(self.looks[:, self.rise_columns])
        self.levels = np.ascontiguousarray(self.looks[:, self.level_columns])
        del self.looks

    def mark_age(self, want, care, times):
        ends_ms = 1e3 * (np.arange(len(want)) + 1) / LOOKS_PER_S
        low, high = self.view.high_ms
        for at in times:
            first, last = np.searchsorted(ends_ms, [1e3 * at + low - 4, 1e3 * at + high + 4])
            want[first:last, -1] = (ends_ms[first:last] - 1e3 * at) / 10
            care[first:last, -1] = 1

    def inputs(self, rows):
        rises = self.rises[rows[:, None] - np.array(self.view.rises)].reshape(len(rows), -1)
        levels = self.levels[rows[:, None] - np.array(self.view.levels)].reshape(len(rows), -1)
        return np.hstack([rises, levels, self.means[rows]])


class Net:
    def __init__(self, rng, sizes):
        self.values = []
        for n, m in zip(sizes, sizes[1:]):
            self.values += [(rng.standard_normal((n, m)) * np.sqrt(2 / n)).astype("f4"), np.zeros(m, "f4")]
        self.first = [np.zeros_like(v) for v in self.values]
        self.second = [np.zeros_like(v) for v in self.values]
        self.steps = 0

    def weigh(self, x):
        a, b, c, d, e, f = self.values
        wide = np.maximum(x @ a + b, 0)
        narrow = np.maximum(wide @ c + d, 0)
        return wide, narrow, narrow @ e + f

    def step(self, x, want, care, rate):
        wide, narrow, out = self.weigh(x)
        scores = 1 / (1 + np.exp(-out[:, :-1]))
        slope = np.empty_like(out)
        slope[:, :-1] = scores - want[:, :-1]
        slope[:, -1] = out[:, -1] - want[:, -1]
        slope *= care * (np.array([1, 1, 1, 1, 0.5, 0.5], "f4") / len(x))
        a, _, c, _, e, _ = self.values
        to_narrow = (slope @ e.T) * (narrow > 0)
        to_wide = (to_narrow @ c.T) * (wide > 0)
        slopes = [x.T @ to_wide, to_wide.sum(0), wide.T @ to_narrow, to_narrow.sum(0), narrow.T @ slope, slope.sum(0)]
        self.steps += 1
        for v, m, s, g in zip(self.values, self.first, self.second, slopes):
            m += 0.1 * (g - m)
            s += 0.001 * (g * g - s)
            long = m / (1 - 0.9**self.steps) / (np.sqrt(s / (1 - 0.999**self.steps)) + 1e-7)
            v -= rate * (long + (2e-3 * v if v.ndim == 2 else 0))
        return float((slope**2).sum() * len(x))


def read(path, inputs):
    """The weights of a text that was written here."""
    lines = [line for line in path.read_text().splitlines() if not line.startswith("#")]
    sizes = [inputs, *map(int, lines[0].split()), OUTPUTS]
    numbers = np.array(" ".join(lines[1:]).split(), "f4")
    net = Net(np.random.default_rng(0), sizes)
    for n, value in enumerate(net.values):
        net.values[n], numbers = numbers[: value.size].reshape(value.shape), numbers[value.size :]
    return net


def stand_by(net, data):
    """What the given net says of songs is what is wanted of them, but for the songs that are no
    music: there the truth counts, for all that begins."""
    for (first, end), times in zip(data.spans, data.songs):
        out = net.weigh(data.inputs(np.arange(first, end)))[2]
        music = len(times["beat"]) > 0
        start = 0 if music else 1
        scores = 1 / (1 + np.exp(-out[:, start:-1]))
        data.want[first:end, start:-1], data.care[first:end, start:-1] = scores, 1
        if music:
            data.want[first:end, -1], data.care[first:end, -1] = out[:, -1], 1
        if not music:
            data.care[first:end, 0] *= 3


def fit(data, passes, seed, net=None):
    rng = np.random.default_rng(seed)
    rows = np.flatnonzero(data.care.any(axis=1))
    some = data.inputs(rng.choice(rows, 50_000))
    middle, spread = some.mean(0), some.std(0) + 0.05
    size, fastest = 2048, 2e-3
    if net is None:
        net = Net(rng, [some.shape[1], *SIZES, OUTPUTS])
    else:
        stand_by(net, data)
        fastest = 2e-4
        net.values[1] = net.values[1] + middle @ net.values[0]
        net.values[0] = net.values[0] * spread[:, None]
    steps = passes * (len(rows) // size)
    for n in range(steps):
        here = rng.choice(rows, size)
        x = (data.inputs(here) - middle) / spread
        # The middle of the fit is the fastest part of it; the end is slow.
        rate = fastest * min(1, n / 500) * 0.5 * (1 + np.cos(np.pi * n / steps)) + 1e-6
        off = net.step(x, data.want[here], data.care[here], rate)
        if n % 500 == 0:
            print(f"{n} of {steps}: {off:.4f}", file=sys.stderr, flush=True)
    # What scales the inputs goes into the weights of the first layer.
    net.values[1] = net.values[1] - (middle / spread) @ net.values[0]
    net.values[0] = net.values[0] / spread[:, None]
    return net


def picked(scores, threshold):
    """Looks at which an event is found: two together over the threshold, then a rest."""
    mean = 0.5 * (scores + np.concatenate([[-9], scores[:-1]]))
    found, free = [], 0
    for n in np.flatnonzero(mean > threshold):
        if n >= free:
            found.append(n)
            free = n + REST_LOOKS
    return np.array(found, int)


def hits(truth, found, window_s=0.05):
    t = f = count = 0
    while t < len(truth) and f < len(found):
        late = found[f] - truth[t]
        count, t, f = count + (abs(late) <= window_s), t + (late >= -window_s), f + (late <= window_s)
    return count


def judge(net, data):
    """F of each kind at each threshold, over songs that have that kind."""
    scores = [net.weigh(data.inputs(np.arange(*span)))[2] for span in data.spans]
    for n, kind in enumerate(KINDS):
        line = []
        for threshold in np.arange(-1.5, 1.6, 0.25):
            right = made = true = 0
            for out, times in zip(scores, data.songs):
                at = picked(out[:, n], threshold)
                at_s = (at + 1) / LOOKS_PER_S - 0.01 * out[at, -1]
                truth = times[kind]
                truth = truth[np.insert(np.diff(truth) > 0.03, 0, True)] if len(truth) else truth
                right, made, true = right + hits(truth, np.sort(at_s)), made + len(at), true + len(truth)
            line.append(f"{threshold:+.2f}:{2 * right / max(1, made + true):.3f}")
        print(f"{kind:6}", *line, file=sys.stderr)


def write(net):
    """The text that the program reads."""
    print("# Weights of the three layers: sizes of the inner two, then layer by layer one line for each")
    print("# input and one of offsets. Fitted by examples/onset_fit to made-up sounds; not to be edited.")
    print(net.values[1].size, net.values[3].size)
    for value in net.values:
        for row in np.atleast_2d(value):
            print(*(f"{x:.4g}" for x in row))


def main():
    flags = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    flags.add_argument("view", choices=VIEWS)
    flags.add_argument("folders", type=Path, nargs="+")
    flags.add_argument("--passes", type=int, default=16, help="looks drawn, in times of all there are")
    flags.add_argument("--seed", type=int, default=1)
    flags.add_argument("--onward", type=Path, help="weights to begin from, and to keep to for music")
    asked = flags.parse_args()
    paths = [path for folder in asked.folders for path in sorted(folder.glob("*.looks"))]
    view = VIEWS[asked.view]
    data = Data([p for n, p in enumerate(paths) if n % 10 != 9], view)
    net = asked.onward and read(asked.onward, data.inputs(np.array([PAD])).shape[1])
    net = fit(data, asked.passes, asked.seed, net)
    judge(net, Data(paths[9::10], view))
    write(net)


if __name__ == "__main__":
    main()
