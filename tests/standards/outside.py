#!/usr/bin/env python3
"""Packaged music measured by sendworthy and by programs that share no code with it: FFmpeg (ebur128, astats) and SoX (stats).

Sounds: the Debian packages sonic-pi-samples and hydrogen-drumkits. Tolerances: loudness 0.1 LU (EBU Tech 3341), range 1 LU
(EBU Tech 3342), FFmpeg's true peak 0.7 dB below ours to 0.1 above, plain levels half of the last printed digit and rounding.
"""
import argparse
import json
import math
import pathlib
import re
import subprocess
import sys
import tempfile

FOLDERS = ["/usr/share/sonic-pi/samples", "/usr/share/hydrogen/data/drumkits"]


def run(command):
    done = subprocess.run(command, capture_output=True, text=True, errors="replace", check=False, stdin=subprocess.DEVNULL)
    if done.returncode != 0:
        sys.exit(f"{command[0]} failed on {command[-1]}: {done.stderr[-500:]}")
    return done.stdout, done.stderr


def pick():
    """Every loop, the longest other samples, and a few drums of each kit: about sixty files."""
    files = []
    for folder in FOLDERS:
        found = sorted(p for p in pathlib.Path(folder).rglob("*") if p.suffix in {".flac", ".wav"})
        if not found:
            sys.exit(f"no sounds in {folder}: install the packages sonic-pi-samples and hydrogen-drumkits")
        loops = [p for p in found if p.name.startswith(("loop_", "ambi_"))]
        others = [p for p in found if p not in loops]
        files += loops + others[:: max(1, len(others) // 20)]
    return files


class Comparison:
    def __init__(self):
        self.checks, self.wrong = 0, []

    def near(self, path, what, ours, theirs, within):
        if ours is None or theirs is None or not math.isfinite(theirs):
            return
        self.checks += 1
        if abs(ours - theirs) > within:
            self.wrong.append(f"{path.name}: {what}: {ours} here, {theirs} there")


def value(measurements, key):
    return measurements[key]["value"]


def ffmpeg_loudness(path):
    _, log = run(["ffmpeg", "-nostdin", "-hide_banner", "-i", str(path), "-af", "ebur128=peak=true", "-f", "null", "-"])
    summary = log[log.rindex("Summary:"):]
    number = {name: float(re.search(pattern, summary).group(1)) for name, pattern in [
        ("I", r"I:\s+(-?[\d.]+|-inf|nan)"), ("LRA", r"LRA:\s+(-?[\d.]+)"), ("peak", r"Peak:\s+(-?[\d.]+|-inf)")]}
    return number


def ffmpeg_levels(path):
    _, log = run(["ffmpeg", "-nostdin", "-hide_banner", "-i", str(path), "-af", "astats=measure_perchannel=none",
                  "-f", "null", "-"])
    found = dict(re.findall(r"\] ([A-Za-z ]+?(?: dB)?): (-?[\d.]+|-?inf|nan)$", log, re.M))
    return {k: float(v) for k, v in found.items()}


def sox_levels(path):
    with tempfile.NamedTemporaryFile(suffix=".wav") as wav:
        _, log = run(["sox", str(path), "-n", "stats"])
    return {m.group(1).strip(): m.group(2).split() for m in re.finditer(r"^(.{1,14}?)\s{2,}(.+)$", log, re.M)}


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--program", required=True)
    arguments = parser.parse_args()
    files = pick()
    out, _ = run([arguments.program, "measure", "--format", "json", "--no-progress", *map(str, files)])
    ours = {f["path"]: f for f in json.loads(out)["files"]}
    compare = Comparison()
    for path in files:
        sheet = ours[str(path)]
        if "error" in sheet:
            compare.wrong.append(f"{path.name}: {sheet['error']['text']}")
            continue
        m = sheet["measurements"]
        loud = ffmpeg_loudness(path)
        # FFmpeg's integrated value never goes below -70, which stands for none; very short files have none here.
        if loud["I"] > -69.9:
            # It counts one channel like libebur128 does, and gates on its own 100 ms grid.
            compare.near(path, "integrated", value(m, "integrated_loudness"), loud["I"], 0.15)
            if sheet["facts"]["duration_s"] > 10:
                compare.near(path, "range", value(m, "loudness_range"), loud["LRA"], 1.0)
        if sheet["facts"]["duration_s"] > 1:  # its resampler is not flushed: the end of short files is not read
            # Four times oversampling reads up to 0.69 dB low (BS.1770-5 Annex 2, Attachment 1) and hardly ever high.
            compare.near(path, "true peak", value(m, "true_peak") - 0.3, loud["peak"], 0.4)
        levels = ffmpeg_levels(path)
        compare.near(path, "sample peak", value(m, "sample_peak"), levels.get("Peak level dB"), 0.011)
        compare.near(path, "RMS", value(m, "rms_level"), levels.get("RMS level dB"), 0.011)
        stats = sox_levels(path)
        compare.near(path, "sample peak (SoX)", value(m, "sample_peak"), float(stats["Pk lev dB"][0]), 0.016)
        compare.near(path, "RMS (SoX)", value(m, "rms_level"), float(stats["RMS lev dB"][0]), 0.016)
        per_channel = m["dc_offset"].get("channels") or [value(m, "dc_offset")]
        dc = [abs(100 * float(v)) for v in stats["DC offset"][-len(per_channel):]]
        for channel, theirs in zip(per_channel, dc):
            compare.near(path, "DC (SoX)", channel, theirs, 0.002)
        compare.near(path, "frames", sheet["facts"]["duration_s"], float(run(["soxi", "-D", str(path)])[0]), 0.001)
    print(f"{len(files)} files, {compare.checks} readings compared, {len(compare.wrong)} apart")
    for line in compare.wrong:
        print(line)
    if compare.checks < 5 * len(files):
        sys.exit("too few readings to compare")
    sys.exit(1 if compare.wrong else 0)


if __name__ == "__main__":
    main()
