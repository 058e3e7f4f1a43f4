#!/usr/bin/env python3
"""Links and file names in README.md, DEVELOPERS.md and docs/ lead to something."""
import argparse
import pathlib
import re
import sys

LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")
# `src/measure/list.cpp` in running text: a name below one of our folders, with an ending or a closing slash. What demo/run
# makes is not there in a fresh clone.
NAMED = re.compile(r"`((?!demo/out)(?:src|tests|docs|rules|demo|\.ci)/[\w./+-]*)`")


def anchors(text):
    for line in re.sub(r"```.*?```", "", text, flags=re.S).splitlines():
        match = re.match(r"#+ (.*)", line)
        if match:
            yield re.sub(r"[^\w\- ]", "", match.group(1).strip().lower()).replace(" ", "-")


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--source", type=pathlib.Path, required=True)
    source = parser.parse_args().source
    errors, seen = [], 0
    for page in [source / "README.md", source / "DEVELOPERS.md", *sorted((source / "docs").glob("*.md"))]:
        if not page.is_file():
            errors.append(f"{page.name}: missing")
            continue
        text = page.read_text(encoding="utf-8")
        prose = re.sub(r"```.*?```", lambda m: "\n" * m.group(0).count("\n"), text, flags=re.S)
        for number, line in enumerate(prose.splitlines(), 1):
            place = f"{page.relative_to(source)}:{number}"
            for target in LINK.findall(line):
                if re.match(r"[a-z]+:", target):
                    continue
                seen += 1
                name, _, anchor = target.partition("#")
                file = (page.parent / name) if name else page
                if not file.exists():
                    errors.append(f"{place}: {target}: no such file")
                elif anchor and anchor not in set(anchors(file.read_text(encoding="utf-8"))):
                    errors.append(f"{place}: {target}: no such heading")
            for name in NAMED.findall(line):
                seen += 1
                if not (source / name).exists():
                    errors.append(f"{place}: {name}: no such file or folder")
    if not seen:
        errors.append("no link found: wrong folder?")
    print("\n".join(errors) or f"links: {seen} fine")
    return 1 if errors else 0


if __name__ == "__main__":
    sys.exit(main())
