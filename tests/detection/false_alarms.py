"""Counts findings on clean material, and sets aside what is known to be true of an item."""
import csv
import fnmatch
from collections import Counter
from dataclasses import dataclass, field

# Rules that state a format or a measured figure of the item. On samples and excerpts they say nothing wrong, so they are not counted.
NOT_ALARMS = {
    "length": "samples are shorter than songs", "word-length": "the item's own word length", "stereo-file": "mono samples",
    "sample-rate": "the item's own rate", "file-type": "Ogg is no delivery format, as the rule says",
    "headroom": "samples are normalised", "true-peak": "samples are normalised", "far-too-quiet": "single quiet strokes",
    "head-silence": "a matter of the editor's taste", "tail-room": "a matter of the editor's taste",
    "same-on-both-sides": "mono sounds saved as stereo, to the bit or nearly", "dense-mix": "one stroke is no mix",
    "audible": "placeholders", "stream-unproven": "a fact of the bytes", "over-full-scale": "arithmetic on decoded lossy samples",
    "balance": "a measured figure; hard-panned drums and layers", "wide-mix": "a measured figure", "phase": "a measured figure",
    "phase-in-places": "a measured figure", "mono-loss": "a measured figure", "low-end-phase": "a measured figure",
    "limiter-peaks": "share of windows near the peak; short sounds have few windows", "dc-offset": "a measured mean of the item",
}

# Left out on packaged samples only: their editors cut them into the stroke and out of its decay. Songs and renders still count.
NOT_ALARMS_OF_SAMPLES = {
    "cut-start": "samples are cut tight into the stroke; judged by numbers, first sample and level at the start",
    "cut-tail": "samples are cut out of their decay; judged by numbers, level at the end",
}

# Where a sound comes from. An item that was lossy is no clean material for these: what they say of it may well be true.
PROVENANCE = ("lossy-traces", "rate-traces", "mirror-images")


@dataclass
class Alarms:
    seconds: dict = field(default_factory=Counter)   # part → s
    wrong: list = field(default_factory=list)        # (part, status, rule, item, value, places)
    true: Counter = field(default_factory=Counter)   # (status, rule) → how many were known to be true
    unread: list = field(default_factory=list)


NEAR = 4096  # frames by which a finding may lie beside the frame that is written down


def load(path):
    """Rows of known.csv: item pattern, rule, the frame of the first place ("": the item as a whole), reason."""
    with open(path, encoding="utf-8", newline="") as lines:
        return [(row["item"], row["rule"], row["frame"], row["reason"]) for row in csv.DictReader(lines)]


def first_frame(finding):
    """Where the first place of a finding begins; None: it is about the item as a whole."""
    return min((w["start_frame"] for w in finding.get("where", []) if "start_frame" in w), default=None)


def is_known(known, item, rule, frame=None):
    for pattern, r, at, _ in known:
        if rule == r and fnmatch.fnmatchcase(item, pattern):
            if at == "" or frame is None or abs(int(at) - frame) <= NEAR:
                return True
    return False


def count(files, known, lossy=frozenset()):
    """`files`: (item, part, sheet); `lossy`: items that are lossy or made of lossy ones. A rule that two rule sets share counts once a file."""
    alarms = Alarms()
    for item, part, sheet in files:
        if sheet is None:
            alarms.unread.append(item)
            continue
        alarms.seconds[part] += sheet["facts"].get("duration_s") or 0
        seen = set()
        for finding in sheet["findings"]:
            key = (finding["status"], finding["rule"])
            if finding["status"] not in ("warn", "fail") or key in seen or finding["rule"] in NOT_ALARMS:
                continue
            if "/" in item and finding["rule"] in NOT_ALARMS_OF_SAMPLES:
                continue
            if item in lossy and finding["rule"] in PROVENANCE:
                continue
            seen.add(key)
            if is_known(known, item, finding["rule"], first_frame(finding)):
                alarms.true[key] += 1
            else:
                where = [(w.get("start_s"), w.get("channel"), w.get("note")) for w in finding.get("where", [])[:3]]
                alarms.wrong.append((part, *key, item, finding.get("value"), where))
    return alarms
