"""The net: three layers, fitted by gradient descent on cross entropy, steps as in D. Kingma and J. Ba,
"Adam: a method for stochastic optimization", ICLR 2015; and the text that the program reads it from.
"""
import numpy as np


class Net:
    """Three layers. `aged`: the last output is no score but an age."""

    def __init__(self, rng, sizes, aged):
        self.aged, values = aged, []
        for n, m in zip(sizes, sizes[1:]):
            values += [(rng.standard_normal((n, m)) * np.sqrt(2 / n)).astype("f4"), np.zeros(m, "f4")]
        self.take(values)

    def take(self, values):
        self.values, self.steps = values, 0
        self.first = [np.zeros_like(v) for v in values]
        self.second = [np.zeros_like(v) for v in values]

    def weigh(self, x):
        a, b, c, d, e, f = self.values
        wide = np.maximum(x @ a + b, 0)
        narrow = np.maximum(wide @ c + d, 0)
        return wide, narrow, narrow @ e + f

    def step(self, x, want, care, rate):
        wide, narrow, out = self.weigh(x)
        slope = 1 / (1 + np.exp(-out)) - want
        if self.aged:
            slope[:, -1] = out[:, -1] - want[:, -1]
            slope[:, -2:] *= 0.5
        slope *= care / len(x)
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


def read(path, aged):
    """The weights of a text that was written here."""
    lines = [line for line in path.read_text().splitlines() if not line.startswith("#")]
    wide, narrow = map(int, lines[0].split())
    rows = [numbers(line.split()) for line in lines[1:]]
    ends = np.cumsum([len(rows) - wide - narrow - 3, 1, wide, 1, narrow, 1])
    net = Net(np.random.default_rng(0), [1, 1, 1, 1], aged)
    net.take([np.squeeze(rows[first:end], 0) if end - first == 1 else np.array(rows[first:end])
              for first, end in zip([0, *ends], ends)])
    return net


def numbers(words):
    """Those of a line; after `x` and a scale they are to be scaled."""
    return float(words[1]) * np.array(words[2:], "f4") if words[0] == "x" else np.array(words, "f4")


def write(net):
    """The text that the program reads."""
    print("# Weights of the three layers: sizes of the inner two, then layer by layer one line for each")
    print("# input and one of offsets; in a line `x SCALE` and numbers, all are to be scaled. Fitted by")
    print("# examples/onset_fit to made-up songs; not to be edited.")
    print(net.values[1].size, net.values[3].size)
    for value in net.values:
        for row in np.atleast_2d(value):
            scale = np.abs(row).max() / 999
            if value.ndim == 2 and len(row) > 9 and scale > 0:
                print("x", f"{scale:.4g}", *np.round(row / scale).astype(int))
            else:
                print(*(f"{x:.4g}" for x in row))
