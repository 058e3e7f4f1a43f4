#!/usr/bin/env python3
"""Every source under src/, tests/ and demo/ is named in the CMakeLists.txt of its folder or of a folder above it.

A test that is written and never built looks like a test and is none.
"""
import argparse
import pathlib
import re
import sys

# Imported by the scripts beside them, or data.
LIBRARIES = {"tests/meta/docs_blocks.py"}


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--source", type=pathlib.Path, required=True)
    source = parser.parse_args().source
    errors, seen = [], 0
    for top in ("src", "tests", "demo"):
        for path in sorted((source / top).rglob("*")):
            if path.suffix not in {".cpp", ".py", ".sh"} or not path.is_file() or "__pycache__" in path.parts:
                continue
            below = path.relative_to(source).as_posix()
            if below in LIBRARIES:
                continue
            seen += 1
            folder, listed = path.parent, False
            while not listed and folder != source.parent:
                lists = [folder / "CMakeLists.txt"]
                for text in (p.read_text(encoding="utf-8") for p in lists if p.is_file()):
                    code = re.sub(r"#[^\n]*", "", text)
                    name = re.escape(path.relative_to(folder).as_posix())
                    stem = re.escape(path.relative_to(folder).with_suffix("").as_posix())
                    # Either the file's own name, or its stem in a list that a loop completes.
                    if re.search(rf"(?<![\w.-]){name}(?![\w.-])", code):
                        listed = True
                    elif "foreach" in code and re.search(rf"(?<![\w./-]){stem}(?![\w./-])", code):
                        listed = True
                folder = folder.parent
            # A helper that another script or program runs by name is reached through that one.
            if not listed and path.suffix in {".py", ".sh"}:
                listed = any(path.name in other.read_text(encoding="utf-8", errors="replace")
                             for other in [*path.parent.glob("*"), *path.parent.parent.glob("*")]
                             if other.is_file() and other != path and other.suffix in {".py", ".sh", ".cpp", ""})
            if not listed:
                errors.append(f"{below}: in no CMakeLists.txt, so nothing builds or runs it")
    if seen < 10:
        errors.append(f"only {seen} sources found: wrong folder?")
    print("\n".join(errors) or f"sources: all {seen} listed")
    return 1 if errors else 0


if __name__ == "__main__":
    sys.exit(main())
