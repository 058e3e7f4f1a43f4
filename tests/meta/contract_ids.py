#!/usr/bin/env python3
"""docs/contract.md and the catalog name the same measurements, with the same unit and the same "not yet"; docs/contract.md and
src/song name the same findings of a plan."""
import argparse
import pathlib
import re
import subprocess
import sys


def contract_rows(text):
    section = text.split("\n## Measurements\n", 1)[1].split("\n## ", 1)[0]
    for line in section.splitlines():
        match = re.match(r"\| `(\w+)` \| ([^|]*) \| (.*) \|$", line)
        if match:
            yield match.groups()


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--source", type=pathlib.Path, required=True)
    parser.add_argument("--reference", type=pathlib.Path, required=True, help="the program make_reference")
    args = parser.parse_args()
    text = (args.source / "docs/contract.md").read_text(encoding="utf-8")
    contract = {name: (unit.strip(), "not yet" if "**not yet**" in words else "available")
                for name, unit, words in contract_rows(text)}
    catalog = {}
    for line in subprocess.run([args.reference, "--ids", "--units"], check=True, capture_output=True, text=True).stdout.splitlines():
        name, state, unit = line.split("\t")
        catalog[name] = (unit, state)
    errors = [f"{name}: in the contract, not in the catalog" for name in contract if name not in catalog]
    errors += [f"{name}: in the catalog, not in the contract" for name in catalog if name not in contract]
    for name in contract.keys() & catalog.keys():
        if contract[name][1] != catalog[name][1]:
            errors.append(f"{name}: contract says {contract[name][1]}, catalog says {catalog[name][1]}")
        # Text, lists, yes/no and plain ratios have no unit in the catalog; the contract describes them in words.
        if catalog[name][0] and catalog[name][0] != contract[name][0]:
            errors.append(f"{name}: contract says {contract[name][0]!r}, catalog says {catalog[name][0]!r}")
    plans = text.split("\n## Song plans\n", 1)[1].split("\n## ", 1)[0]
    told = re.findall(r"`([a-z-]+)`", plans.split("\nThe findings,", 1)[1].split("it is found:", 1)[1].split("\n### ", 1)[0])
    known = re.findall(r'\.id = "([\w-]+)"', (args.source / "src/song/findings.cpp").read_text(encoding="utf-8"))
    errors += [f"{name}: a finding of a plan that only the contract or only src/song/findings.cpp names" for name in set(told) ^ set(known)]
    print("\n".join(sorted(errors)) or f"contract: {len(contract)} ids agree")
    return 1 if errors else 0


if __name__ == "__main__":
    sys.exit(main())
