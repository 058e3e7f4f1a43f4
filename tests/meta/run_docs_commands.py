#!/usr/bin/env python3
"""Runs every ```sh block of README.md and docs/*.md, as a reader would, and compares shown sheets with real ones.

Each page gets a scratch folder with the demo's audio in it, an empty home, and the built program on the PATH. Blocks of
one page run in order and see each other's files. See docs_blocks.py for the marks. `--write` puts the real output into the
pages in place of the shown one.

The two set-up commands build and test the project, so they cannot run inside its tests as they are: `sh demo/run` is run only
where the build it would make is this one and up to date, `sh tests/run` is checked for existence and syntax.
"""
import argparse
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile

from docs_blocks import blocks

SETUP = {"sh demo/run", "sh tests/run"}
TIMEOUT_S = 300


def demo_audio(program, cache):
    """The demo's files, made once per build of the program that makes them."""
    stamp = cache / ".made"
    mark = f"{program.stat().st_mtime_ns} {program.stat().st_size}"
    if not stamp.is_file() or stamp.read_text() != mark:
        shutil.rmtree(cache, ignore_errors=True)
        cache.mkdir(parents=True)
        subprocess.run([program, cache], check=True, stdout=subprocess.DEVNULL)
        stamp.write_text(mark)
    return cache


def environment(scratch, program):
    return {
        "PATH": f"{program.parent}:/usr/local/bin:/usr/bin:/bin",
        "HOME": str(scratch),
        "XDG_CONFIG_HOME": str(scratch / ".config"),
        "XDG_CACHE_HOME": str(scratch / ".cache"),
        "LC_ALL": "C.UTF-8",
        "NO_COLOR": "1",
        # A sanitizer build of the program reports through these; leaks inside third-party libraries are not the pages' matter.
        "ASAN_OPTIONS": os.environ.get("ASAN_OPTIONS", ""),
        "TSAN_OPTIONS": os.environ.get("TSAN_OPTIONS", ""),
        "UBSAN_OPTIONS": os.environ.get("UBSAN_OPTIONS", ""),
    }


def run_setup(command, source, program):
    """The error, or None."""
    script = source / command.split()[1]
    if not script.is_file():
        return f"{command}: there is no such script"
    syntax = subprocess.run(["sh", "-n", script], capture_output=True, text=True)
    if syntax.returncode:
        return f"{command}: {syntax.stderr.strip()}"
    if command == "sh demo/run" and program.parent == source / "build/release" and not os.environ.get("SENDWORTHY_SKIP_DEMO"):
        ran = subprocess.run(["sh", "demo/run"], cwd=source, capture_output=True, text=True, timeout=1200,
                             env={**os.environ, "LC_ALL": "C.UTF-8"})
        if ran.returncode:
            return f"{command}: exit {ran.returncode}\n{ran.stdout[-2000:]}{ran.stderr[-2000:]}"
    return None


def run_page(page, source, program, audio, write):
    """Errors of one page, and how many blocks ran."""
    errors, ran = [], 0
    shown = page.relative_to(source).as_posix()
    text = page.read_text(encoding="utf-8")
    try:
        found = blocks(text)
    except ValueError as error:
        return [f"{shown}: {error}"], 0
    lines = text.splitlines()
    replacements = []
    with tempfile.TemporaryDirectory(prefix="sendworthy-docs-") as name:
        scratch = pathlib.Path(name)
        shutil.copytree(audio, scratch, dirs_exist_ok=True, ignore=shutil.ignore_patterns(".made"))
        output = None
        for block in found:
            place = f"{shown}:{block.line}"
            if "file" in block.marks:
                target = scratch / block.marks["file"]
                if not target.resolve().is_relative_to(scratch.resolve()):
                    errors.append(f"{place}: {block.marks['file']} lies outside the scratch folder")
                    continue
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_text(block.text, encoding="utf-8")
            if "not run" in block.marks:
                if not block.marks["not run"]:
                    errors.append(f"{place}: not run, and no reason given")
                continue
            if "sheet" in block.marks:
                if output is None:
                    errors.append(f"{place}: no command stands before this sheet")
                elif output != block.text:
                    if write:
                        replacements.append((block.first, block.last, output.splitlines()))
                    else:
                        errors.append(f"{place}: the shown sheet is not what the command prints (refresh it with --write):\n"
                                      + difference(block.text, output))
                continue
            if block.language != "sh" or "file" in block.marks:
                continue
            if "needs" in block.marks and not shutil.which(block.marks["needs"]):
                print(f"{place}: not run, {block.marks['needs']} is not here")
                continue
            ran += 1
            setup = [line.strip() for line in block.text.splitlines() if line.strip() in SETUP]
            if setup:
                if len(setup) != len(block.text.split("\n")) - 1:
                    errors.append(f"{place}: set-up commands share a block with others")
                errors += [f"{place}: {error}" for error in (run_setup(c, source, program) for c in setup) if error]
                continue
            try:
                done = subprocess.run(["sh", "-e", "-c", block.text], cwd=scratch, env=environment(scratch, program),
                                      stdin=subprocess.DEVNULL, capture_output=True, timeout=TIMEOUT_S)
            except subprocess.TimeoutExpired:
                errors.append(f"{place}: still running after {TIMEOUT_S} s")
                continue
            output = done.stdout.decode("utf-8", errors="replace")
            wanted = int(block.marks.get("exit", 0))
            if done.returncode != wanted:
                errors.append(f"{place}: exit {done.returncode}, expected {wanted}\n{block.text}--\n{output[-1500:]}"
                              + done.stderr.decode("utf-8", errors="replace")[-1500:])
    if replacements:
        for first, last, new in reversed(replacements):
            lines[first:last] = new
        page.write_text("\n".join(lines) + "\n", encoding="utf-8")
        print(f"{shown}: {len(replacements)} sheet(s) refreshed")
    return errors, ran


def difference(old, new):
    import difflib
    return "\n".join(list(difflib.unified_diff(old.splitlines(), new.splitlines(), "shown", "real", lineterm=""))[:60])


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--source", type=pathlib.Path, required=True)
    parser.add_argument("--program", type=pathlib.Path, required=True, help="the built sendworthy")
    parser.add_argument("--demo", type=pathlib.Path, required=True, help="the program that makes the demo's audio")
    parser.add_argument("--cache", type=pathlib.Path, required=True, help="folder for the demo's audio")
    parser.add_argument("--write", action="store_true", help="refresh shown sheets")
    parser.add_argument("pages", nargs="*", help="pages below the source folder; all without")
    args = parser.parse_args()
    source = args.source.resolve()
    program = args.program.resolve()
    audio = demo_audio(args.demo.resolve(), args.cache.resolve())
    pages = [source / page for page in args.pages] or [source / "README.md", *sorted((source / "docs").glob("*.md"))]
    errors, total = [], 0
    for page in pages:
        page_errors, ran = run_page(page, source, program, audio, args.write)
        errors += page_errors
        total += ran
    if not total:
        errors.append("no command was run: that cannot be right")
    print("\n".join(errors) or f"docs commands: {total} blocks on {len(pages)} pages fine")
    return 1 if errors else 0


if __name__ == "__main__":
    sys.exit(main())
