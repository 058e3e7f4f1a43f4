"""What counts as found. A fault is found when the measurement that the fault map names turns from clean to not clean, in the
right place. Every test compares the faulty file's sheet with the sheet of the same item before the fault was planted."""
from dataclasses import dataclass, field
from typing import Any, Callable

CLEAN_TEXTS = ("", "none", "no", "not found", "ok")
BARS = {"proof": 1.0, "strong": 0.95, "evidence": None}


@dataclass
class Plant:
    """One faulty file: its sound or its bytes, and where the fault lies."""
    sound: Any = None
    data: bytes | None = None
    name: str = ".wav"            # ending, or a whole name where the name itself is the fault
    at: float | None = None       # s
    until: float | None = None    # s
    channel: int | None = None    # from 1; None: all
    expect: Any = None            # value that must be read
    note: str = ""                # strength, in words: shown with misses
    beside: dict = field(default_factory=dict)  # name → bytes of files that stand in the same folder


@dataclass
class Accept:
    """A test of one measurement: words for the table, and the function (sheet, clean sheet, id, plant) → found."""
    text: str
    test: Callable[[dict, dict, str, Plant], bool]
    already: Callable[[dict, str], bool] = lambda clean, name: False  # the clean item reads so too: nothing can be said


@dataclass
class Fault:
    id: str
    title: str
    measures: tuple[str, ...]
    accept: Accept
    kind: str                      # proof, strong, evidence
    make: Callable
    needs: set = field(default_factory=set)  # "lossless": only items that never were lossy; "refusal": no sheet counts too
    rules: tuple = ()                        # rule files of the bench which ask for what no shipped rule of these sets asks


def measured(sheet, name):
    return (sheet or {}).get("measurements", {}).get(name) or {}


def value(sheet, name):
    return measured(sheet, name).get("value")


def unclean(sheet, name):
    """A count above 0, a text that says something, a yes, a level above its floor."""
    entry = measured(sheet, name)
    v = entry.get("value")
    if v is None:
        return False
    if isinstance(v, bool):
        return v
    if isinstance(v, (int, float)):
        return v > -144.0 if entry.get("unit") in ("dBFS", "dB") else v > 0
    if isinstance(v, list):
        return len(v) > 0
    return str(v).strip().lower() not in CLEAN_TEXTS


def places(sheet, name):
    return measured(sheet, name).get("where", [])


def _hits(sheet, name, plant, tolerance_s, channel):
    hits = []
    until = plant.until if plant.until is not None else plant.at
    for place in places(sheet, name):
        start, end = place.get("start_s"), place.get("end_s")
        if start is None:
            continue
        if max(end or start, start) < plant.at - tolerance_s or start > until + tolerance_s:
            continue
        if channel and plant.channel and place.get("channel") not in (0, plant.channel):
            continue
        hits.append((place.get("channel"), start))
    return hits


def event(tolerance_s, channel=False):
    """A place within the tolerance that the clean item did not have."""
    def test(sheet, clean, name, plant):
        before = set(_hits(clean, name, plant, tolerance_s, channel))
        return any(h not in before for h in _hits(sheet, name, plant, tolerance_s, channel))
    side = ", right channel" if channel else ""
    return Accept(f"a new place within {tolerance_s * 1000:g} ms{side}", test)


def turned():
    def test(sheet, clean, name, plant):
        return unclean(sheet, name) and not unclean(clean, name)
    return Accept("not clean, and clean before", test, unclean)


def rises(least):
    def test(sheet, clean, name, plant):
        new, old = value(sheet, name), value(clean, name)
        if not isinstance(new, (int, float)) or isinstance(new, bool):
            return False
        return not isinstance(old, (int, float)) or new - old >= least
    return Accept(f"rises by {least:g} or more", test)


def equals(tolerance=0, anew=False):
    """`anew`: the maker writes the value whatever the item had, so that the clean item may read the same."""
    def test(sheet, clean, name, plant):
        v = value(sheet, name)
        if not anew and v == value(clean, name):  # what was there before was not planted
            return False
        if isinstance(v, (int, float)) and isinstance(plant.expect, (int, float)):
            return abs(v - plant.expect) <= tolerance
        return v is not None and v == plant.expect
    return Accept("reads the planted value" + (f" within {tolerance:g}" if tolerance else ""), test)


def shifts(tolerance):
    """The reading changes by what was planted."""
    def test(sheet, clean, name, plant):
        new, old = value(sheet, name), value(clean, name)
        return isinstance(new, (int, float)) and isinstance(old, (int, float)) and abs(new - old - plant.expect) <= tolerance
    return Accept(f"changes by the planted amount within {tolerance:g}", test)


def contains():
    def test(sheet, clean, name, plant):
        return str(plant.expect).lower() in str(value(sheet, name) or "").lower()
    return Accept("names it", test)


def judged():
    """A rule on this measurement warns or fails, and did not before."""
    def bad(sheet, name):
        return any(f["measure"] == name and f["status"] in ("warn", "fail", "not measured") for f in (sheet or {}).get("findings", []))

    def test(sheet, clean, name, plant):
        return bad(sheet, name) and not bad(clean, name)
    return Accept("a rule on it warns or fails, and did not before", test, bad)


def found(fault, sheet, clean, plant):
    """True, False, or None where the clean item already shows the fault at that place, so that nothing can be said."""
    if sheet is None:
        return "refusal" in fault.needs
    if any(fault.accept.test(sheet, clean, name, plant) for name in fault.measures):
        return True
    return None if all(fault.accept.already(clean, name) for name in fault.measures) else False


def known(fault, sheets):
    """Whether the program measures any id of the fault: on some sheet it is there, with a value or a reason."""
    return any(name in (s or {}).get("measurements", {}) for s in sheets for name in fault.measures)


def passes(kind, hit, made):
    """Whether the bar of the class is met; None where the class has none."""
    bar = BARS[kind]
    return None if bar is None or not made else hit / made >= bar
