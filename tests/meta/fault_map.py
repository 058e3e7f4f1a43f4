#!/usr/bin/env python3
"""docs/faults.md is complete, and names only what exists.

Every one of the 156 faults has a row. A row names catalog ids (or says "not yet" with the reason), rules of shipped rule sets
as `set: rule` (`order: rule` for findings about a set of files, `plan: rule` for those about a song), and tests by their names.
"""
import argparse
import pathlib
import re
import subprocess
import sys
import tomllib

COUNTS = {"C": 23, "M": 10, "L": 21, "E": 12, "K": 10, "P": 12, "N": 7, "V": 6, "S": 16, "T": 12, "X": 13, "G": 14}


def rows(text):
    for number, line in enumerate(text.splitlines(), 1):
        if re.match(r"^\| [A-Z]\d\d \|", line):
            yield number, [cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]]


def known_tests(source):
    """Names of doctest cases, of ctest entries and of files that are tests."""
    names = set()
    for path in (source / "tests").rglob("*.cpp"):
        text = path.read_text(encoding="utf-8")
        names.update(re.sub(r'"\s*"', "", m) for m in re.findall(r'TEST_CASE(?:_TEMPLATE|_FIXTURE)?\s*\((?:\s*\w+\s*,)?\s*"((?:[^"\\]|\\.|"\s*")*)"', text))
        names.update(re.findall(r'//\s*fault-test:\s*(.+)', text))
    for path in (source / "tests").rglob("*.py"):
        names.update(re.findall(r"def (test_\w+)", path.read_text(encoding="utf-8")))
    for path in (source / "tests").rglob("CMakeLists.txt"):
        names.update(re.findall(r"add_test\s*\(\s*NAME\s+([\w./-]+)", path.read_text(encoding="utf-8")))
    return names


def shipped_rules(source):
    """set name -> effective rule ids."""
    raw = {}
    for path in (source / "rules").glob("*.toml"):
        with path.open("rb") as file:
            raw[path.stem] = tomllib.load(file)

    def ids(name):
        data, found = raw[name], set()
        for base in data["ruleset"].get("extends", []):
            found |= ids(base)
        for rule in data.get("rule", []):
            (found.discard if rule.get("enabled") is False else found.add)(rule["id"])
        return found

    # Findings about a set, and about a song and its plan, stand in tables of their own.
    def table(path):
        return set(re.findall(r'\.id = "([\w-]+)"', (source / path).read_text(encoding="utf-8"))) if (source / path).is_file() else set()

    return {name: ids(name) for name in raw} | {"order": table("src/delivery/set_rules.cpp"), "plan": table("src/song/findings.cpp")}


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--source", type=pathlib.Path, required=True)
    parser.add_argument("--reference", type=pathlib.Path, required=True, help="the program make_reference")
    args = parser.parse_args()
    text = (args.source / "docs/faults.md").read_text(encoding="utf-8")
    catalog = dict(line.split("\t") for line in
                   subprocess.run([args.reference, "--ids"], check=True, capture_output=True, text=True).stdout.splitlines())
    rules, tests = shipped_rules(args.source), known_tests(args.source)

    errors, seen = [], []
    for number, cells in rows(text):
        place = f"docs/faults.md:{number}"
        if len(cells) != 6:
            errors.append(f"{place}: {len(cells)} cells, expected 6")
            continue
        fault, words, measured, judged, good, bad = cells
        seen.append(fault)
        if len(words) < 10:
            errors.append(f"{place}: {fault} says nothing")
        ids = re.findall(r"`([a-z0-9_]+)`", measured)
        unavailable = [i for i in ids if i in catalog and catalog[i] == "not yet"]
        errors += [f"{place}: {fault}: no measurement {i}" for i in ids if i not in catalog]
        if not ids and not measured.startswith("not yet") and not judged.startswith(("order: ", "plan: ")):
            errors.append(f"{place}: {fault}: neither a measurement nor \"not yet\"")
        if judged != "not yet":
            for part in judged.split(";"):
                match = re.fullmatch(r"\s*([\w, -]+): ((?:`[\w-]+`(?:, )?)+)\s*", part)
                if not match:
                    errors.append(f"{place}: {fault}: cannot read the rules in {part!r}")
                    continue
                for ruleset in match.group(1).split(","):
                    if ruleset.strip() not in rules:
                        errors.append(f"{place}: {fault}: no shipped rule set {ruleset.strip()}")
                        continue
                    for rule in re.findall(r"`([\w-]+)`", match.group(2)):
                        if rule not in rules[ruleset.strip()]:
                            errors.append(f"{place}: {fault}: no rule {rule} in {ruleset.strip()}")
            if ids and len(unavailable) == len(ids):
                errors.append(f"{place}: {fault}: judged by a measurement that is not yet made")
        for kind, cell in (("good", good), ("bad", bad)):
            if cell == "not yet":
                continue
            for name in cell.split(" · "):
                if name.strip() not in tests:
                    errors.append(f"{place}: {fault}: no {kind} test called {name.strip()!r}")
    wanted = [f"{letter}{n:02}" for letter, count in COUNTS.items() for n in range(1, count + 1)]
    errors += [f"docs/faults.md: no row for {fault}" for fault in wanted if fault not in seen]
    errors += [f"docs/faults.md: unknown or doubled row {fault}" for fault in seen
               if fault not in wanted or seen.count(fault) > 1]
    print("\n".join(errors) or f"fault map: {len(seen)} rows fine")
    return 1 if errors else 0


if __name__ == "__main__":
    sys.exit(main())
