#!/usr/bin/env python3
"""Every source under src/, tests/ and demo/ is named in the CMakeLists.txt of its folder or of a folder above it.

A test that is written and never built looks like a test and is none.
"""
import argparse
import pathlib
import re
import sys



def named(code, name):
    """Whether the text of a CMakeLists.txt names this file, spelt out or by a loop such as `${topic}_test.py`."""
    if re.search(rf"(?<![\w.-]){re.escape(name)}(?![\w.-])", code):
        return True
    for before, after in re.findall(r"([\w./-]*)\$\{\w+\}([\w./-]*\.(?:cpp|py|sh))", code):
        before = before.lstrip("/")
        if name.startswith(before) and name.endswith(after):
            stem = name[len(before):len(name) - len(after)]
            if stem and re.search(rf"(?<![\w./$-]){re.escape(stem)}(?![\w./-])", code):
                return True
    return False


def reached(path):
    """Whether another script or program beside or above it imports it or runs it by name."""
    for other in [*path.parent.glob("*"), *path.parent.parent.glob("*")]:
        if not other.is_file() or other == path or other.suffix not in {".py", ".sh", ".cpp", ""}:
            continue
        text = other.read_text(encoding="utf-8", errors="replace")
        if path.name in text or re.search(rf"^\s*(import|from) {re.escape(path.stem)}\b", text, re.M):
            return True
    return False


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
            seen += 1
            folder, listed = path.parent, False
            while not listed and folder != source.parent:
                lists = folder / "CMakeLists.txt"
                if lists.is_file():
                    code = re.sub(r"#[^\n]*", "", lists.read_text(encoding="utf-8"))
                    code = re.sub(r"\$\{(CMAKE_CURRENT_SOURCE_DIR|PROJECT_SOURCE_DIR)\}/", "", code)
                    listed = named(code, path.relative_to(folder).as_posix())
                folder = folder.parent
            if not listed and path.suffix in {".py", ".sh"}:
                listed = reached(path)
            if not listed:
                errors.append(f"{below}: in no CMakeLists.txt, so nothing builds or runs it")
    if seen < 10:
        errors.append(f"only {seen} sources found: wrong folder?")
    print("\n".join(errors) or f"sources: all {seen} listed")
    return 1 if errors else 0


if __name__ == "__main__":
    sys.exit(main())
