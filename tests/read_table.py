"""Reads tables of duties as any other program would: with numpy and scipy, nothing of our own.

read_table.py FILE.npy | FILE.wav | FILE.csv
    First line: the reader, type of the values, byte order and layout, what the file says of its
    rate or columns. Then one line for each row, every value with all its digits.

The array is also mapped into memory, which only works when the header keeps to the format.
"""

import sys

import numpy as np
from scipy.io import wavfile


def show(values):
    for row in values.tolist():
        print(*map(repr, row))


def main(path):
    if path.endswith(".npy"):
        values = np.load(path, allow_pickle=False)
        mapped = np.load(path, mmap_mode="r", allow_pickle=False)
        same = mapped.offset % 64 == 0 and np.array_equal(mapped, values)
        order = "C" if values.flags.c_contiguous else "F"
        print("npy", values.dtype.str, order, "aligned" if same else "astray", *values.shape)
        show(values)
    elif path.endswith(".wav"):
        rate, values = wavfile.read(path)
        values = values.reshape(len(values), -1)
        print("wav", values.dtype.str, rate, *values.shape)
        show(values)
    else:
        values = np.genfromtxt(path, delimiter=",", names=True, encoding="utf-8", ndmin=1)
        print("csv", *values.dtype.names)
        show(values)


main(sys.argv[1])
