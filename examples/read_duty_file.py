#!/usr/bin/env python3
"""Reads a duty file:  read_duty_file.py SONG.duty [--csv]   (--csv: every frame as a table)"""
import json, struct, sys, zlib

def packets(data):
    """Yields kind, frame number and payload of every whole packet; names the damaged ones."""
    for piece in filter(None, data.split(b"\0")[:-1]):  # what follows the last zero was cut off
        raw, at = bytearray(), 0
        while at < len(piece):  # undo the stuffing: a block stands for its bytes and a zero
            code, block = piece[at], piece[at + 1 : at + piece[at]]
            raw, at = raw + block + b"\0" * (code < 255), at + code
        raw = raw[:-1] if code < 255 else raw  # the zero after the last block is not there
        check = zlib.crc32(raw[:-4]).to_bytes(4, "little")
        if at == len(piece) and len(raw) >= 9 and raw[-4:] == check:
            yield raw[0], int.from_bytes(raw[1:5], "little"), bytes(raw[5:-4])
        else:
            print("a damaged packet was left out", file=sys.stderr)

def unpack(how, data, n):  # the compare values of n coils
    if how != "twelve":
        return struct.unpack(f"<{n}" + {"byte": "B", "word": "H", "signed_word": "h"}[how], data)
    return [int.from_bytes(data, "little") >> 12 * coil & 0xFFF for coil in range(n)]

len(sys.argv) > 1 or sys.exit(__doc__)
found = packets(open(sys.argv[1], "rb").read())
kind, _, payload = next(found, (0, 0, b""))
head = json.loads(payload) if kind == 0x10 else sys.exit("this is not a duty file")
head["version"][0] == 1 or sys.exit("this duty file is of a version I do not know")
steps = [run["steps"] for run in head["coils"] for _ in range(run["count"])]
hz, peak, frames, whole = head["rate"][0] / head["rate"][1], [0.0] * len(steps), 0, False
for kind, frame, payload in found:
    whole |= kind == 0x12  # the last packet of a whole file
    if kind == 0x02:  # a frame of duties
        duty = [c / s for c, s in zip(unpack(head["packing"], payload, len(steps)), steps)]
        peak, frames = [max(p, abs(d)) for p, d in zip(peak, duty)], frames + 1
        "--csv" in sys.argv and print(frame, "%.6f" % (frame / hz), *duty, sep=",")
print(f"{frames} frames at {hz:g} Hz, {frames / hz:.3f} s, {len(steps)} coils, whole: {whole}\n"
      f"lead {head['lead_us'] / 1e3:g} ms; peak duty: {' '.join('%.4f' % p for p in peak)}",
      file=sys.stderr if "--csv" in sys.argv else sys.stdout)
