#!/usr/bin/env python3
"""How well a song's sections are found: builds arrangements whose truth is written down, and scores what the program finds in them.

The same seed makes the same songs. Needs python3-numpy, ffmpeg, fluidsynth and the packages that tests/setup names. A boundary counts as
found when one that was found lies within the tolerance, each used once; the song's two ends do not count.
"""
import argparse
import json
import os
import subprocess
import sys
import tempfile
from multiprocessing import Pool
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

try:
    import numpy as np
except ImportError:
    sys.exit("sections.py: this Python has no numpy; Debian's has it once python3-numpy is installed: /usr/bin/python3")

import arrangements
from sound import wav

TOLERANCES = (0.5, 3.0)
QUICK = 4
LEAST_F3 = 0.75  # of the short run's held-out songs, which read 0.9 when this was written


def build(job):
    name, seed, room = job
    path = Path(room, f"{name}-{seed}.wav")
    truth = path.with_suffix(".json")
    if not truth.exists():
        song = arrangements.build(name, seed)
        path.write_bytes(wav(song.sound))
        truth.write_text(json.dumps({"starts": song.starts, "labels": song.labels, "end": song.end}), encoding="utf-8")
    return name, str(path), json.loads(truth.read_text(encoding="utf-8"))


def hits(truth, found, tolerance):
    """How many pairs there are at most, each time used once. Both lists are in order, so the earliest partner will do."""
    count, k = 0, 0
    for at in sorted(truth):
        while k < len(found) and found[k] < at - tolerance:
            k += 1
        if k < len(found) and found[k] <= at + tolerance:
            count, k = count + 1, k + 1
    return count


def scores(truth, found, tolerance):
    """Precision, recall, F-measure."""
    good = hits(truth, sorted(found), tolerance)
    precision = good / len(found) if found else 0.0
    recall = good / len(truth) if truth else 1.0
    return precision, recall, 2 * precision * recall / (precision + recall) if good else 0.0


def likeness(truth, sections):
    """F-measure over pairs of moments: alike in the truth, alike as found (pairwise clustering, every half second)."""
    times = np.arange(truth["starts"][0] + 0.25, truth["end"], 0.5)
    labels = np.array(truth["labels"])[np.searchsorted(truth["starts"], times, "right") - 1]
    starts = [s["start"] for s in sections]
    mine = np.array([s["alike"] for s in sections])[np.clip(np.searchsorted(starts, times, "right") - 1, 0, None)]
    a, b = labels[:, None] == labels[None, :], mine[:, None] == mine[None, :]
    upper = np.triu_indices(len(times), 1)
    both, real, said = (a & b)[upper].sum(), a[upper].sum(), b[upper].sum()
    return 2 * both / max(1, real + said)


CHAPTER = "## Sections of a song"
METHOD = f"""\
{CHAPTER}

Songs of 6 to 11 sections are written as MIDI and played by fluidsynth, or put together from packaged loops, with the truth about where
each section begins written beside them. Some changes begin no section: layers that join half-way, drum fills and stops before a section,
a tune that begins early. Some sections change hardly anything: a verse that comes twice. Each half has keys, chords, forms, loops and,
but for the songs for strings, instruments of its own; the held-out half reaches further in tempo, and has bars of five and six. Which parts of a
band play in a verse or a chorus is drawn by one recipe for both. Numbers in the finder were chosen on the tuning half, seeds 1 and 2, alone;
the held-out half was run when they stood, and nothing was changed after it but that steps of level
which hold for 12 s always count: that came later, by songs of neither half, and its time was raised from 6 s since a held-out loop swells for that long. A boundary is found when one that was found lies within the tolerance, each used once; a song's ends do not count. Evenly
spaced: as many boundaries as were found, at equal distances. Alike: over all pairs of moments, whether both belong to the same part.

The limits: these are renders and loops in strict time, whose sections begin on the bar. Sung and played music drifts, fades and
overlaps, and there a boundary is a matter of opinion. Figures for it would be lower.

```text
python3 -B tests/detection/sections.py --program build/release/tests/detection/sendworthy_sections --write docs/detection.md
```

| half | songs | tolerance | precision | recall | F | evenly spaced, F | alike, F |
|---|---|---|---|---|---|---|---|"""


def row_of(truth, line):
    """Precision, recall and F at both tolerances, F of evenly spaced ones, likeness."""
    sections = json.loads(line)["sections"]
    inner, found = truth["starts"][1:], [s["start"] for s in sections][1:]
    even = list(np.linspace(truth["starts"][0], truth["end"], len(found) + 2)[1:-1])
    return ([x for tolerance in TOLERANCES for x in scores(inner, found, tolerance)]
            + [scores(inner, even, tolerance)[2] for tolerance in TOLERANCES] + [likeness(truth, sections)], sections)


def main():
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--program", required=True, help="the built sendworthy_sections")
    ask.add_argument("--part", choices=[*arrangements.HALVES, "all"], default="all")
    ask.add_argument("--seeds", default="1,2")
    ask.add_argument("--each", action="store_true", help="show each song")
    ask.add_argument("--quick", action="store_true", help="a few held-out songs; fails where they are found too badly")
    ask.add_argument("--keep", metavar="FOLDER", help="keep the songs there, and use those that are there")
    ask.add_argument("--write", metavar="PATH", help="put the chapter into this page")
    ask.add_argument("--jobs", type=int, default=os.cpu_count() or 2)
    args = ask.parse_args()
    parts = ["held-out"] if args.quick else list(arrangements.HALVES) if args.part == "all" else [args.part]
    seeds = [1] if args.quick else [int(s) for s in args.seeds.split(",")]
    table, least = [], 1.0
    with tempfile.TemporaryDirectory(prefix="sections-") as scratch, Pool(args.jobs) as pool:
        room = args.keep or scratch
        Path(room).mkdir(exist_ok=True)
        for part in parts:
            names = arrangements.names(part)
            if args.quick:
                names = names[::len(names) // QUICK]
            songs = pool.map(build, [(name, seed, room) for seed in seeds for name in names], chunksize=1)
            lines = subprocess.run([args.program, *(path for _, path, _ in songs)], check=True, capture_output=True, text=True, timeout=600).stdout
            rows = []
            for (name, _, truth), line in zip(songs, lines.splitlines(), strict=True):
                row, sections = row_of(truth, line)
                rows.append(row)
                if args.each:
                    print(f"{name:24s} " + " ".join(f"{x:.2f}" for x in row))
                    print("   is    " + " ".join(f"{s:.1f}{l}" for s, l in zip(truth["starts"], truth["labels"])))
                    print("   found " + " ".join(f"{s['start']:.1f}.{s['alike']}" for s in sections))
            mean = np.mean(rows, axis=0)
            for i, tolerance in enumerate(TOLERANCES):
                table.append(f"| {part} | {len(rows)} | {tolerance:g} s | " + " | ".join(f"{x:.2f}" for x in mean[3 * i:3 * i + 3])
                             + f" | {mean[6 + i]:.2f} | {f'{mean[8]:.2f}' if i else ''} |")
            least = min(least, mean[5])
    print("\n".join([*METHOD.splitlines()[-2:], *table]))
    if args.write:
        page = Path(args.write)
        page.write_text(page.read_text(encoding="utf-8").split(CHAPTER)[0].rstrip() + "\n\n" + "\n".join([METHOD, *table]) + "\n", encoding="utf-8")
    if args.quick and least < LEAST_F3:
        print(f"sections.py: the boundaries' F-measure at 3 s is below {LEAST_F3}")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
