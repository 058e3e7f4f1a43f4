#!/usr/bin/env python3
"""What must not stand in the repository: unfinished business, paths of one machine, marks of a merge."""
import argparse
import pathlib
import re
import subprocess
import sys

# Assembled from pieces, so that this file does not find itself.
WORDS = [
    ("TO" + "DO", re.compile(r"\bTO" + r"DO\b")),
    ("FIX" + "ME", re.compile(r"\bFIX" + r"ME\b")),
    ("X" * 3 + " note", re.compile(r"(?<![\w-])" + "X" * 3 + r"(?![\w-])")),
    ("path of one machine", re.compile(r"(?<![\w.])/" + r"(wo" + r"rk|ro" + r"ot|ho" + r"me/\w+)/\w")),
    ("scratch path", re.compile(r"(?<![\w.])/t" + r"mp/(?!\*)\w")),
    ("merge mark", re.compile(r"^(<{7}|>{7}) ", re.M)),
    ("placeholder text", re.compile(r"lorem " + r"ipsum|not implem" + r"ented|fill" + r" me in", re.I)),
]
# Where a scratch path is the subject: scripts that need a folder outside the tree.
ALLOWED = {"scratch path": re.compile(r"^(tests/|demo/)")}
BINARY = {".wav", ".flac", ".mid", ".png", ".bin", ".ogg", ".mp3", ".aiff", ".rf64", ".w64", ".bw64", ".caf"}


def files(source):
    """Tracked files, and new ones that are not ignored; the tree itself where there is no repository."""
    listing = subprocess.run(["git", "-C", str(source), "ls-files", "-co", "--exclude-standard", "-z"], capture_output=True)
    if listing.returncode == 0 and listing.stdout:
        return [source / name.decode() for name in listing.stdout.split(b"\0") if name]
    made = {".git", "build"}
    return [p for p in source.rglob("*") if p.is_file() and p.relative_to(source).parts[0] not in made
            and p.relative_to(source).parts[:2] != ("demo", "out")]


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--source", type=pathlib.Path, required=True)
    source = parser.parse_args().source
    errors, seen = [], 0
    for path in files(source):
        below = path.relative_to(source).as_posix()
        if not path.is_file() or path.suffix.lower() in BINARY or "/corpus/" in below:
            continue
        text = path.read_bytes().decode("utf-8", errors="replace")
        seen += 1
        for name, pattern in WORDS:
            if name in ALLOWED and ALLOWED[name].match(below):
                continue
            for match in pattern.finditer(text):
                line = text.count("\n", 0, match.start()) + 1
                errors.append(f"{below}:{line}: {name}: {match.group(0)!r}")
    if seen < 20:
        errors.append(f"only {seen} files found: wrong folder?")
    print("\n".join(errors) or f"plain words: {seen} files fine")
    return 1 if errors else 0


if __name__ == "__main__":
    sys.exit(main())
