r"""Fits the weights of the event finder to songs of which every event is known.

    python3 songs.py DIR
    cargo run --release --example onset_looks -- DIR
    python3 fit.py live DIR  > ../../src/analysis/onset/live.txt
    python3 fit.py live-strokes DIR --beside ../../src/analysis/onset/live.txt \
        > ../../src/analysis/onset/live_strokes.txt

and so for `ahead` and `ahead-strokes`. The first net tells everything, the second once more what
kind of stroke it was; of strokes the mean of both scores counts.

The first net in use was fitted onward from an older one (`--onward OLD.txt --passes 4`) to 700 songs
of seed 1 and, in a second folder, 140 of 15 s (`--every 1 --seed 7`), by an earlier songs.py: in
music it keeps to what the older one said, in all else the truth counts. The second was fitted from
nothing to 1800 songs played on 39 sampled kits (`--bank`; 900 of seed 61 with `--every 9`, 900 of 64
with 12) and 250 without music (63, `--every 1`), 2.2 passes, and then onward, `--rate 0.0012`, 1.2
passes over the 900 of seed 64 and 700 of 81 (`--every 30`), for which kits.py had begun to blend
metal. Four kits (of two folders and a bank) took no part: what was fitted was compared, and the
thresholds checked, on 110 songs played on them (seed 62, `--every 12`, given as `--judge`).

Every tenth song is kept out of the fit and judges it: F within 50 ms by kind and threshold goes to
standard error, to choose the thresholds in src/analysis/onset/view.rs by. The views here and there
must agree.
"""
import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.signal import lfilter

from net import Net, read, write

LOOKS_PER_S = 250
# Groups of bands; the first net hears the first of them. Numbers that each gives: mean rise, highest
# rise, mean level, mean depth below the top, crest.
GROUPS, FIRST_GROUPS, NUMBERS = 30, 26, 5
PAD = 32
MEAN_S, MEAN_LAG = 0.6, 6
REST_LOOKS = 13
# Sizes of the inner layers.
SIZES = {"all": (40, 20), "stroke": (96, 32)}
# The first net tells all, beats and the age of the newest event too. The second learns to tell more
# strokes than the program asks for, and forgets these when it is written.
STROKES = ["kick", "snare", "hat"]
WHAT = {"all": ["onset", *STROKES, "beat", "age"], "stroke": [*STROKES, "cymbal", "tom", "drum"]}
# Groups of bands that a stroke raises, and by how much (log power) in 40 ms at least: one that does
# not is covered by others, and neither wanted nor held against the net.
HEARD = {"kick": (slice(0, 10), 2.0), "snare": (slice(10, 26), 1.5), "hat": (slice(20, 26), 1.0)}
JUDGED = ["onset", *STROKES]


@dataclass
class View:
    what: str
    # Looks back whose rises, levels, depths and crests are seen.
    rises: list
    levels: list
    # Age of an event in ms: scores should be high from and to, and may be between these others.
    high_ms: tuple
    free_ms: tuple
    depths: list = ()
    crests: list = ()

    def groups(self):
        return FIRST_GROUPS if self.what == "all" else GROUPS

    def columns(self):
        """What is seen, in parts of one input for each group: which of NUMBERS, how many looks back
        (none: its slow mean), the place of its inputs. Both rises of a group stand side by side."""
        groups, parts, at = self.groups(), [], 0
        rest = [(n, back) for n, backs in ((2, self.levels), (3, self.depths), (4, self.crests)) for back in backs]
        means = [] if self.what == "all" else [(n, None) for n in range(2, NUMBERS)]
        for n, back in [(0, back) for back in self.rises] + rest + [(0, None)] + means:
            if n == 0:
                parts += [(k, back, slice(at + k, at + 2 * groups, 2)) for k in (0, 1)]
                at += groups
            else:
                parts.append((n, back, slice(at, at + groups)))
            at += groups
        return parts

    def inputs(self):
        return self.groups() * len(self.columns())


VIEWS = {
    "live": View("all", [0, 1, 2, 3, 5, 8], [0, 8], (7.5, 18.5), (1.0, 50.0)),
    "ahead": View("all", [0, 3, 6, 8, 9, 10, 11, 13, 16], [0, 7, 16], (36.0, 47.0), (28.0, 80.0)),
    "live-strokes": View(
        "stroke", [0, 1, 2, 3, 4, 5, 6, 8], [0, 2, 4, 8, 16, 28], (9.5, 21.5), (1.0, 50.0),
        depths=[0, 2, 5, 8, 16, 28], crests=[0, 3, 8, 28],
    ),
    "ahead-strokes": View(
        "stroke", [0, 2, 3, 4, 6, 8, 9, 10, 11, 12, 13, 16], [0, 3, 7, 10, 13, 16, 26], (38.0, 49.0), (28.0, 80.0),
        depths=[0, 4, 8, 11, 16, 26], crests=[0, 4, 8, 11, 26],
    ),
}


def read_song(path):
    looks = np.fromfile(path.with_suffix(".looks"), "<f4").reshape(-1, GROUPS, NUMBERS)
    rows = [line.split() for line in path.with_suffix(".truth").read_text().splitlines()]
    times = {kind: [] for kinds in WHAT.values() for kind in kinds + ["soft"]}
    for at, kind in rows:
        times[kind].append(float(at))
    times = {kind: np.array(sorted(at)) for kind, at in times.items()}
    for kind, (groups, least) in HEARD.items():
        heard = np.array([highest(looks, at, groups) >= least for at in times[kind]], bool)
        times["faint " + kind], times[kind] = times[kind][~heard], times[kind][heard]
    return looks, times


def highest(looks, at, groups):
    """The highest rise in some groups of bands in the 40 ms from a time on."""
    first = int(at * LOOKS_PER_S)
    rises = looks[first : first + 10, groups, 1]
    return rises.max() if rises.size else 0.0


def slow_mean(numbers):
    """The slow mean of what was MEAN_LAG looks earlier."""
    keep = np.exp(-1 / (MEAN_S * LOOKS_PER_S))
    late = np.vstack([np.zeros((MEAN_LAG, numbers.shape[1]), "f4"), numbers[:-MEAN_LAG]])
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
        numbers, means, wants, cares, self.spans, self.songs = [], [], [], [], [], []
        at = 0
        for path in paths:
            looks, times = read_song(path)
            count = len(looks)
            # One column for each number of each group, numbers outermost.
            seen = looks.transpose(0, 2, 1).reshape(count, -1)
            times["onset"] = np.sort(np.concatenate([times["onset"], times["soft"]]))
            kinds = WHAT[view.what]
            want, care = np.zeros((count, len(kinds)), "f4"), np.zeros((count, len(kinds)), "f4")
            for n, kind in enumerate(kinds):
                if kind == "age":
                    self.mark_age(want, care, times["onset"])
                else:
                    want[:, n], care[:, n] = mark(count, times[kind], view)
                    for begun in times.get("faint " + kind, ()):
                        first = int(begun * LOOKS_PER_S)
                        care[first : first + 20, n] *= want[first : first + 20, n] > 0
                if kind == "beat":
                    # Beats of a song without drums say little.
                    care[:, n] *= 1 if len(times["kick"]) + len(times["snare"]) else 0.3
            # A start that sounds already is not judged by the program either.
            care[:25] = 0
            # Half precision is finer than what two renderings of a stroke differ by.
            numbers += [np.zeros((PAD, seen.shape[1]), "f2"), seen.astype("f2")]
            means += [np.zeros((PAD, seen.shape[1]), "f2"), slow_mean(seen).astype("f2")]
            wants += [np.zeros((PAD, len(kinds)), "f4"), want]
            cares += [np.zeros((PAD, len(kinds)), "f4"), care]
            self.spans.append((at + PAD, at + PAD + count))
            self.songs.append(times)
            at += PAD + count
        shape = (at, NUMBERS, GROUPS)
        self.numbers, self.means = (np.vstack(parts).reshape(shape) for parts in (numbers, means))
        self.want, self.care = np.vstack(wants), np.vstack(cares)

    def mark_age(self, want, care, times):
        ends_ms = 1e3 * (np.arange(len(want)) + 1) / LOOKS_PER_S
        low, high = self.view.high_ms
        for at in times:
            first, last = np.searchsorted(ends_ms, [1e3 * at + low - 4, 1e3 * at + high + 4])
            want[first:last, -1] = (ends_ms[first:last] - 1e3 * at) / 10
            care[first:last, -1] = 1

    def rows(self, rng):
        """Looks to fit to. Of strokes, those of the first 80 ms after one count double."""
        rows = np.flatnonzero(self.care.any(axis=1))
        if self.view.what == "all":
            return rows
        begun = np.zeros(len(self.care), bool)
        for (first, end), times in zip(self.spans, self.songs):
            for at in times["onset"]:
                look = first + int(at * LOOKS_PER_S)
                begun[look : min(look + LOOKS_PER_S * 8 // 100, end)] = True
        return np.concatenate([rows, rows[begun[rows]]])

    def inputs(self, rows, view=None):
        view = view or self.view
        out = np.empty((len(rows), view.inputs()), "f4")
        for number, back, place in view.columns():
            of = self.means if back is None else self.numbers
            out[:, place] = of[rows - (back or 0), number, : view.groups()]
        return out


def seen_by(net, view, own):
    """The first layer of a net for another view: inputs that it does not know count nothing yet."""
    new = np.zeros((own.inputs(), net.values[0].shape[1]), "f4")
    places = {(number, back): place for number, back, place in own.columns()}
    for number, back, place in view.columns():
        new[places[number, back]][: view.groups()] = net.values[0][place]
    net.take([new, *net.values[1:]])


def of_strokes(net, rng):
    """The first net as one of strokes: further outputs count little."""
    last, offsets = (value[..., 1 : 1 + len(STROKES)] for value in net.values[4:])
    net.take([*net.values[:4], last, offsets])
    tell_more(net, rng)


def tell_more(net, rng):
    """Adds the outputs that are only learnt by."""
    last, offsets = net.values[4:]
    more = len(WHAT["stroke"]) - len(offsets)
    last = np.hstack([last, 0.1 * rng.standard_normal((len(last), more)).astype("f4")])
    net.take([*net.values[:4], last, np.append(offsets, np.full(more, -2, "f4"))])
    net.aged = False


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


def fit(data, passes, seed, net=None, fastest=None):
    rng = np.random.default_rng(seed)
    rows = data.rows(rng)
    some = data.inputs(rng.choice(rows, 50_000))
    middle, spread = some.mean(0), some.std(0) + 0.05
    size, fastest = 2048, fastest or (2e-3 if net is None else 2e-4)
    if net is None:
        net = Net(rng, [some.shape[1], *SIZES[data.view.what], data.want.shape[1]], data.view.what == "all")
    else:
        if data.view.what == "all":
            stand_by(net, data)
        net.values[1] = net.values[1] + middle @ net.values[0]
        net.values[0] = net.values[0] * spread[:, None]
    steps = int(passes * (len(rows) // size))
    for n in range(steps):
        here = rng.choice(rows, size)
        x = (data.inputs(here) - middle) / spread
        # Fastest soon after the beginning, then ever slower.
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


def judge(net, data, beside=None):
    """F of each kind at each threshold. `beside`: the first net and its view, for the mean of both."""
    scores = [net.weigh(data.inputs(np.arange(*span)))[2] for span in data.spans]
    if beside:
        for out, span in zip(scores, data.spans):
            first = beside[0].weigh(data.inputs(np.arange(*span), beside[1]))[2]
            out[:, : len(STROKES)] = (out[:, : len(STROKES)] + first[:, 1 : 1 + len(STROKES)]) / 2
    for n, kind in enumerate(WHAT[data.view.what]):
        if kind not in JUDGED:
            continue
        line = []
        for threshold in np.arange(-1.5, 1.6, 0.25):
            right = made = true = 0
            for out, times in zip(scores, data.songs):
                at = picked(out[:, n], threshold)
                age_s = 0.01 * out[at, -1] if net.aged else 1e-3 * np.mean(data.view.high_ms)
                at_s = (at + 1) / LOOKS_PER_S - age_s
                truth = times[kind]
                truth = truth[np.insert(np.diff(truth) > 0.03, 0, True)] if len(truth) else truth
                # Finding a faint one is no fault.
                faint = times.get("faint " + kind, np.array([]))
                excused = lambda x: np.abs(faint - x).min(initial=9) < 0.03 and np.abs(truth - x).min(initial=9) > 0.05
                at_s = np.sort([x for x in at_s if not excused(x)])
                right, made, true = right + hits(truth, at_s), made + len(at_s), true + len(truth)
            line.append(f"{threshold:+.2f}:{2 * right / max(1, made + true):.3f}")
        print(f"{kind:6}", *line, file=sys.stderr)


def main():
    flags = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    flags.add_argument("view", choices=VIEWS)
    flags.add_argument("folders", type=Path, nargs="+")
    flags.add_argument("--passes", type=float, default=16, help="looks drawn, in times of all there are")
    flags.add_argument("--seed", type=int, default=1)
    flags.add_argument("--onward", type=Path, help="weights to begin from; those of onsets keep to them for music")
    flags.add_argument("--rate", type=float, help="fastest step; 0.002 from nothing, 0.0002 onward")
    flags.add_argument("--beside", type=Path, help="of strokes: the first net's weights, to judge the mean of both")
    flags.add_argument("--judge", type=Path, help="folder of songs to judge by, instead of every tenth")
    asked = flags.parse_args()
    paths = [path for folder in asked.folders for path in sorted(folder.glob("*.looks"))]
    view = VIEWS[asked.view]
    data = Data([p for n, p in enumerate(paths) if asked.judge or n % 10 != 9], view)
    net, rng = None, np.random.default_rng(asked.seed)
    if asked.onward:
        net = read(asked.onward, view.what == "all")
        if view.what == "stroke":
            as_seen = [own for own in VIEWS.values() if own.inputs() == len(net.values[0])]
            seen_by(net, as_seen[0], view)
            if net.values[5].size == len(WHAT["all"]):
                of_strokes(net, rng)
            else:
                tell_more(net, rng)
    net = fit(data, asked.passes, asked.seed, net, asked.rate)
    if view.what == "stroke":
        net.take([*net.values[:4], *(value[..., : len(STROKES)] for value in net.values[4:])])
    beside = asked.beside and (read(asked.beside, True), VIEWS[asked.view.split("-")[0]])
    kept = sorted(asked.judge.glob("*.looks")) if asked.judge else paths[9::10]
    judge(net, Data(kept, view), beside)
    write(net)


if __name__ == "__main__":
    main()
