"""Reads folders of recorded drums into the kits that songs.py plays on, as banks.py does with banks.

    sudo apt-get install ffmpeg hydrogen-drumkits
    python3 kit_folders.py DIR /usr/share/hydrogen/data/drumkits/*

Each folder holds a drumkit.xml (an open format of drum machines): instruments by name, each with
layers of sound files for a range of how hard it is struck. What an instrument is goes by its name;
one that no name below fits is left out, and a folder without kick, snare and closed hi-hat too.
Writes DIR/NAME-N.kit.npz as banks.py does; N counts where a folder has several of a kind. Only
needed to fit anew; no test calls it.
"""
import re
import subprocess
import xml.etree.ElementTree as xml
from pathlib import Path

import numpy as np

from banks import asked, keep
from strokes import RATE_HZ

# The first that fits counts. Keys of the General MIDI percussion map; none: not to be used.
NAMES = [
    (r"choke|roll|redo|sample:|click$", ()),
    (r"tamb", (54,)),
    (r"cowbell", (56,)),
    (r"h(at|h)\b.*(open|op\b|free|swish)|(open|side o)h?.*h(at|h)|semiopen", (46,)),
    (r"h(at|h)\b.*(pedal|pd\b|foot)|pedal h", (44,)),
    (r"h(at|h)\b|hi-hat", (42,)),
    (r"bell|ride.*cup", (53,)),
    (r"ride", (51, 59)),
    (r"crash", (49, 57)),
    (r"splash", (55,)),
    (r"china", (52,)),
    (r"rim ?click|stick", (37,)),
    (r"clap", (39,)),
    (r"snare|rimshot", (38, 40)),
    (r"kick|bass ?drum", (36, 35)),
    (r"floor|tom low|low tom", (41, 43)),
    (r"tom (mid|2)|middle tom|^tom$", (45, 47)),
    (r"tom|high tom", (50, 48)),
    (r"conga|bongo|drum", (63, 64)),
]
SECONDS = 2.9


def keys_of(name):
    return next((keys for pattern, keys in NAMES if re.search(pattern, name.lower())), ())


def sound(path):
    """One channel at the rate of all songs, full scale 32768, without what comes before the stroke."""
    call = ["ffmpeg", "-v", "error", "-i", path, "-t", str(SECONDS), "-ac", "1", "-ar", str(RATE_HZ), "-f", "f32le", "-"]
    x = np.frombuffer(subprocess.run(call, check=True, capture_output=True).stdout, "<f4")
    if not len(x) or np.abs(x).max() < 1e-3:
        return None
    first = int(np.argmax(np.abs(x) > np.abs(x).max() * 1e-3))
    return 32_768 * x[max(0, first - 32) :]


def number(node, name, default):
    try:
        return float(node.findtext(name))
    except (TypeError, ValueError):
        return default


def layers(folder, instrument):
    """Sounds of one instrument by velocity, soft ones softer."""
    level = number(instrument, "volume", 1.0) * number(instrument, "gain", 1.0)
    out = {}
    for layer in list(instrument.iter("layer")) or [instrument]:
        path = folder / (layer.findtext("filename") or "")
        x = sound(path) if path.is_file() else None
        if x is not None:
            share = (number(layer, "min", 0.0) + number(layer, "max", 1.0)) / 2
            # A drum machine plays a layer louder the harder the stroke.
            out[int(np.clip(round(127 * share), 1, 127))] = x * level * number(layer, "gain", 1.0) * share
    return out


def kits(folder):
    """Every kit of a folder: as many as it has kicks, snares or closed hi-hats, three at most."""
    text = (folder / "drumkit.xml").read_text(encoding="utf8", errors="replace")
    root = xml.fromstring(re.sub(r'xmlns="[^"]*"', "", text))
    found = {}
    for instrument in root.iter("instrument"):
        keys, sounds = keys_of(instrument.findtext("name") or ""), {}
        if keys:
            sounds = layers(folder, instrument)
        if sounds:
            found.setdefault(keys, []).append(sounds)
    needed = [found.get(keys, []) for keys in ((36, 35), (38, 40), (42,))]
    if not all(needed):
        return
    for n in range(min(3, max(map(len, needed)))):
        kit = {}
        for keys, sounds in found.items():
            for k, key in enumerate(keys):
                kit |= {f"{key}_{v}": x for v, x in sounds[(n + k) % len(sounds)].items()}
        yield n, kit


def main():
    out, folders = asked(__doc__, "kits")
    for folder in folders:
        name = re.sub(r"\W+", "_", folder.name)
        for n, sounds in kits(folder) if (folder / "drumkit.xml").is_file() else ():
            keep(out / f"{name}-{n}.kit.npz", sounds)


if __name__ == "__main__":
    main()
