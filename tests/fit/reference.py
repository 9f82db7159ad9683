#!/usr/bin/env python3
"""Fits a heating test with SciPy: figures with relative standard errors, one a line.

usage: reference.py LOG.csv COLD_C

Two stores of heat, exact steps by the matrix exponential, power as measured: its mean between two
readings, but where it jumps, the one and then the other, switched at an unknown share of the
interval that is a half give or take 1/sqrt(12). Shares nothing with the program.
"""
import csv
import sys

import numpy as np
from scipy.linalg import expm
from scipy.optimize import least_squares

K = 234.5


def read(path):
    with open(path) as file:
        lines = [line for line in file if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    return [np.array([float(row[key]) for row in rows]) for key in ("time_s", "voltage_v", "current_a")]


def main(path, cold_c):
    time_s, volts, amps = read(path)
    power, ohm = volts * amps, volts / amps
    cold = np.median(ohm[power < 0.05 * power.max()][: int(np.argmax(power > power.max() / 2))])
    jumps = np.flatnonzero(np.abs(np.diff(power)) > 0.1 * power.max())
    first = np.array([4.0, 2.0, 20.0, 12.0])

    def winding(at):
        c_c, r_cb, c_b, r_ba = np.exp(at[:4])
        shares = dict(zip(jumps, at[5:]))
        system = np.array([
            [-1 / (r_cb * c_c), 1 / (r_cb * c_c), 1 / c_c],
            [1 / (r_cb * c_b), -(1 / r_cb + 1 / r_ba) / c_b, 0.0],
            [0.0, 0.0, 0.0],
        ])
        known = {}

        def step(rise, watts, span):
            span = round(span, 7)
            matrix = known.get(span)
            if matrix is None:
                matrix = known[span] = expm(system * span)
            return (matrix @ np.array([rise[0], rise[1], watts]))[:2]

        rise = np.zeros(2)
        rises = [0.0]
        for k in range(len(time_s) - 1):
            span = time_s[k + 1] - time_s[k]
            if k in shares:
                rise = step(rise, power[k], shares[k] * span)
                rise = step(rise, power[k + 1], (1 - shares[k]) * span)
            else:
                rise = step(rise, (power[k] + power[k + 1]) / 2, span)
            rises.append(rise[0])
        return cold_c + np.array(rises)

    def residuals(at, noise):
        seen = ohm / (cold * np.exp(at[4])) * (K + cold_c) - K
        return np.concatenate([seen - winding(at), noise * np.sqrt(12) * (at[5:] - 0.5)])

    at = np.concatenate([np.log(first), [0.0], np.full(len(jumps), 0.5)])
    low = np.concatenate([np.full(5, -10.0), np.zeros(len(jumps))])
    high = np.concatenate([np.full(5, 12.0), np.ones(len(jumps))])
    noise = 0.3
    for _ in range(3):
        start = np.clip(at, low + 1e-9, high - 1e-9)
        found = least_squares(residuals, start, bounds=(low, high), args=(noise,),
                              jac="3-point", x_scale="jac", xtol=1e-12, ftol=1e-12, gtol=1e-12)
        at = found.x
        noise = np.sqrt(np.mean(found.fun[: len(time_s)] ** 2))
    square = np.sum(found.fun**2) / (len(found.fun) - len(at))
    errors = np.sqrt(np.diag(np.linalg.inv(found.jac.T @ found.jac)) * square)
    values = np.concatenate([np.exp(at[:4]), [cold * np.exp(at[4])]])
    for value, error in zip(values, errors):
        print(repr(float(value)), repr(float(error)))


if __name__ == "__main__":
    main(sys.argv[1], float(sys.argv[2]))
