#!/usr/bin/env python3
"""How much is found, and how much is cried wolf over: plants faults into clean material and counts, with the built program.

The same seed makes the same files. Needs python3-numpy, ffmpeg, flac, fluidsynth and the packages that tests/setup names.
"""
import argparse
import json
import os
import subprocess
import sys
import tempfile
from multiprocessing import Pool
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

try:
    import numpy as np
except ImportError:
    sys.exit("run.py: this Python has no numpy; Debian's has it once python3-numpy is installed: /usr/bin/python3")

import false_alarms
import material
import report
from registry import FAULTS, NOT_PLANTED
from score import found, known
from sound import Sound, wav
import faults_container  # noqa: F401  each of these enters its faults into the table
import faults_level  # noqa: F401
import faults_continuity  # noqa: F401
import faults_noise  # noqa: F401
import faults_asked  # noqa: F401

RULES = ("common", "premaster")


def sheets_of(program, paths, jobs, more_rules=()):
    """Path → sheet, or None where the program refused the file. One call for all files."""
    rules = [word for name in [*RULES, *more_rules] for word in ("--rules", name)]
    done = subprocess.run([program, "check", *rules, "--fail-on", "never", "--no-progress", "--no-cache", "-f", "jsonl", "-j", str(jobs),
                           "--files-from", "-"], input="\0".join(map(str, paths)) + "\0", text=True, capture_output=True,
                          timeout=600, env={**os.environ, "XDG_CONFIG_HOME": "/nonexistent", "NO_COLOR": "1"})
    if done.returncode not in (0, 3):
        sys.exit(f"run.py: the program ended with {done.returncode}: {done.stderr[-500:]}")
    sheets = {str(p): None for p in paths}
    for line in done.stdout.splitlines():
        sheet = json.loads(line).get("file")
        if sheet and sheet.get("measurements"):
            sheets[sheet["path"]] = sheet
    return sheets


def song_path(room, name, long):
    """Where a clean song lies. An item's name says "render", which is a working name of its own and would rightly be blamed."""
    return Path(room, f"{'long' if long else 'short'}-{name.removeprefix('render-')}.wav")


def build(job):
    name, long, seed, room = job
    sound = material.build_song(name, long, seed)
    song_path(room, name, long).write_bytes(wav(sound))
    if not long:
        np.save(Path(room, f"{name}.npy"), sound.x.astype(np.float32))
    return name, long, sound.rate, sound.bits, sound.seconds


def write_plant(plant, folder, stem):
    name = plant.name if plant.name.startswith(".") else plant.name.lstrip()
    path = Path(folder, stem + name) if plant.name.startswith((".", "-")) else Path(folder, stem, name)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(plant.data if plant.data is not None else wav(plant.sound))
    for other, data in plant.beside.items():
        (path.parent / other).write_bytes(data)
    return path


class Bench:
    """What the workers share: handed over once, by fork."""
    program = ""
    room = ""
    seed = 1
    each = 12
    parts = material.PARTS
    songs = {}       # name → (rate, bits, lossless)
    clean = {}       # name → sheet


def plant_and_look(number):
    """All examples of one fault: made, measured, scored, deleted."""
    fault = FAULTS[number]
    plants, sounds = [], {}
    with tempfile.TemporaryDirectory(dir=Bench.room) as folder:
        for part in Bench.parts:
            names = sorted(n for n, (_, _, lossless) in Bench.songs.items()
                           if material.part_of(n) == part and (lossless or "lossless" not in fault.needs))
            for i in range(Bench.each):
                r = material.generator(Bench.seed, fault.id, part, i)
                name = names[(i * 7 + number) % len(names)]
                rate, bits, _ = Bench.songs[name]
                if name not in sounds:
                    sounds[name] = np.load(Path(Bench.room, f"{name}.npy")).astype(np.float64)
                loudness = (Bench.clean[name]["measurements"].get("integrated_loudness") or {}).get("value")
                plant = fault.make(Sound(np.ascontiguousarray(sounds[name]), rate, bits, loudness), r)
                path = write_plant(plant, folder, f"{i:02d}-{part}-{name.removeprefix('render-')}")
                plant.sound = plant.data = None
                plants.append((part, name, str(path), plant))
        sheets = sheets_of(Bench.program, [p[2] for p in plants], 1, [str(HERE / name) for name in fault.rules])
    here = known(fault, list(sheets.values()))
    rows = []
    for part, name, path, plant in plants:
        sheet = sheets[path]
        hit = found(fault, sheet, Bench.clean[name], plant) if here or sheet is None else False
        reads = {m: (sheet or {}).get("measurements", {}).get(m, {}).get("value") for m in fault.measures}
        if hit is None:
            continue
        rows.append((part, name, hit, plant.note, plant.at, "no sheet" if sheet is None else json.dumps(reads, ensure_ascii=False)))
    return number, here, rows


def main():
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--program", required=True, help="the built sendworthy")
    ask.add_argument("--faults", help="only these, such as K01,E03")
    ask.add_argument("--alarms-only", action="store_true", help="plant nothing; run the clean material alone")
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--part", choices=[*material.PARTS, "all"], default="all")
    ask.add_argument("--quick", action="store_true", help="a few examples and a few minutes; fails on a missed proof or a wrong fail")
    ask.add_argument("--write", metavar="PATH", help="put the tables into this file")
    ask.add_argument("--misses", action="store_true", help="list every miss and every false alarm")
    ask.add_argument("--jobs", type=int, default=os.cpu_count() or 2)
    args = ask.parse_args()

    chosen = [i for i, f in enumerate(FAULTS) if not args.faults or f.id.split()[0] in args.faults.split(",")]
    if not chosen:
        sys.exit(f"run.py: none of these is planted here: {args.faults}")
    if args.alarms_only:
        chosen = []
    Bench.program, Bench.seed = str(Path(args.program).resolve()), args.seed
    Bench.each = 2 if args.quick else 12
    Bench.parts = material.PARTS if args.part == "all" else (args.part,)
    with tempfile.TemporaryDirectory(prefix="detection-") as room:
        Bench.room = room
        names = [n for n in material.song_names() if material.part_of(n[0]) in Bench.parts]
        if args.quick:
            names = [n for part in Bench.parts for n in [m for m in names if material.part_of(m[0]) == part][::3]]
        lossless = {n: l for n, _, l in names}
        jobs = [(n, False, args.seed, room) for n in lossless]
        if not args.quick and not args.faults:
            jobs += [(n, True, args.seed, room) for n in lossless]
        with Pool(args.jobs) as pool:
            built = pool.map(build, jobs, chunksize=1)
        Bench.songs = {n: (rate, bits, lossless[n]) for n, long, rate, bits, _ in built if not long}
        short = sheets_of(Bench.program, [song_path(room, n, False) for n in Bench.songs], args.jobs)
        Bench.clean = {n: short[str(song_path(room, n, False))] for n in Bench.songs}
        alarms = None
        if not args.faults:
            songs = [(f"{'long' if long else 'short'}-{n}", str(song_path(room, n, long))) for n, long, *_ in built]
            taken = material.samples() if not args.quick else material.samples()[::12]
            files = songs + [(i.name, i.path) for i in taken if i.part in Bench.parts]
            lossy = {f"{kind}-{n}" for n in lossless for kind in ("short", "long") if not lossless[n]} | {i.name for i in taken if not i.lossless}
            clean = sheets_of(Bench.program, [p for _, p in files], args.jobs)
            alarms = false_alarms.count([(n, material.part_of(n.split("-", 1)[1] if n.startswith(("long-", "short-")) else n), clean[p])
                                         for n, p in files], false_alarms.load(HERE / "known.csv"), lossy)
        with Pool(args.jobs) as pool:
            results = sorted(pool.imap_unordered(plant_and_look, chosen, chunksize=1))
    text = report.words(results, alarms, args.seed, Bench.each, Bench.parts, NOT_PLANTED)
    print(text)
    if args.misses or args.quick:
        print(report.misses(results, alarms))
    if args.write:
        page = Path(args.write)
        page.write_text(report.page(text, page.read_text(encoding="utf-8") if page.exists() else ""), encoding="utf-8")
    if args.quick:
        return report.quick_verdict(results, alarms)
    return 0


if __name__ == "__main__":
    sys.exit(main())
