"""An independent judge of how a band of a song moves: numpy and the standard library only.

envelope.py SONG.wav LOW_HZ HIGH_HZ FRAME_RATE OUT.csv
    Level of the band at every frame time k / FRAME_RATE, dBFS (a full-scale sine in every channel
    reads 0), one number a line. FRAME_RATE may be a fraction such as 60000/1001.

envelope.py --correlate A.csv B.csv [FRAME_RATE [WITHIN_DB]]
    Prints Pearson's correlation of B with A at the lag within 100 ms where it is highest, then
    that lag in ms, positive when B comes later. FRAME_RATE is 200 when left out. WITHIN_DB cuts A
    to so many dB below its loudest frame first: what lies deeper moves nothing.

The band is cut out of the whole song at once by setting the other lines of its spectrum to zero,
so nothing is shared with a program that hears the song frame by frame: no window, no filter, no
delay. Power is averaged over the channels and over 50 ms centred on the frame time.
"""

import sys
import wave
from fractions import Fraction

import numpy as np

WINDOW_S = 0.050
SILENCE_DBFS = -120.0
LAG_S = 0.100


def read_wav(path):
    """Sampling rate and samples, one row per channel, full scale = 1."""
    with wave.open(path) as wav:
        if wav.getsampwidth() != 2:
            sys.exit(f"{path}: {8 * wav.getsampwidth()}-bit samples; 16-bit is expected")
        raw = np.frombuffer(wav.readframes(wav.getnframes()), dtype="<i2")
        return wav.getframerate(), raw.reshape(-1, wav.getnchannels()).T / 32768


def band_power(sound, fs, low_hz, high_hz):
    """Mean over the channels of the squared band-limited sound, sample by sample."""
    instants = sound.shape[1]
    # Zeros after the end: the spectrum wraps round, and the song's end is not its beginning.
    padded = 1 << (instants + fs).bit_length()
    hz = np.fft.rfftfreq(padded, 1 / fs)
    power = np.zeros(instants)
    for channel in sound:
        spectrum = np.fft.rfft(channel, padded)
        spectrum[(hz < low_hz) | (hz >= high_hz)] = 0
        power += np.fft.irfft(spectrum, padded)[:instants] ** 2
    return power / len(sound)


def levels(power, fs, rate):
    """dBFS at each frame time: the mean power of the window around it, cut at the song's ends."""
    instants = len(power)
    frames = -(-instants * rate.numerator // (fs * rate.denominator)) + 1
    centre = np.arange(frames) * (fs * rate.denominator / rate.numerator)
    half = WINDOW_S * fs / 2
    first = np.clip(np.rint(centre - half).astype(int), 0, instants)
    after = np.clip(np.rint(centre + half).astype(int), 0, instants)
    summed = np.concatenate(([0.0], np.cumsum(power)))
    mean = (summed[after] - summed[first]) / np.maximum(after - first, 1)
    # A full-scale sine has a mean power of one half.
    return np.maximum(10 * np.log10(2 * mean + 1e-30), SILENCE_DBFS)


def best_correlation(a, b, lag_frames):
    """Highest correlation and the lag at which it is found, in frames."""
    n = min(len(a), len(b))
    if n <= 4 * lag_frames:
        sys.exit(f"{n} frames are too few for a lag of {lag_frames}")
    best = (-2.0, 0)
    for lag in range(-lag_frames, lag_frames + 1):
        early = a[max(0, -lag) : n - max(0, lag)]
        late = b[max(0, lag) : n - max(0, -lag)]
        if np.ptp(early) == 0 or np.ptp(late) == 0:
            sys.exit("a series that never changes correlates with nothing")
        best = max(best, (np.corrcoef(early, late)[0, 1], lag))
    return best


def main(args):
    if args[:1] == ["--correlate"] and 3 <= len(args) <= 5:
        a, b = np.loadtxt(args[1], ndmin=1), np.loadtxt(args[2], ndmin=1)
        rate = float(Fraction(args[3])) if len(args) > 3 else 200.0
        if len(args) > 4:
            a = np.maximum(a, a.max() - float(args[4]))
        correlation, lag = best_correlation(a, b, round(LAG_S * rate))
        print(f"{correlation:.6f} {1000 * lag / rate:.1f}")
    elif len(args) == 5 and not args[0].startswith("--"):
        fs, sound = read_wav(args[0])
        power = band_power(sound, fs, float(args[1]), float(args[2]))
        np.savetxt(args[4], levels(power, fs, Fraction(args[3])), fmt="%.4f")
    else:
        sys.exit(__doc__)


main(sys.argv[1:])
