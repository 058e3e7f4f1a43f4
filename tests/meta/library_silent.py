#!/usr/bin/env python3
"""The library neither prints nor ends the process: read from the symbols it leaves undefined.

A debug build's assert (__assert_fail) is not counted. Only our own objects are looked at: what a third-party library does inside is its own affair.
"""
import argparse
import pathlib
import re
import subprocess
import sys

# Undefined symbols that print, read the console, or end the process.
FORBIDDEN = re.compile(
    r"^(exit|_exit|_Exit|quick_exit|abort|printf|vprintf|puts|putchar|putc|perror|fprintf|vfprintf|fputs|fputc|fwrite_unlocked|"
    r"__printf_chk|__vprintf_chk|__fprintf_chk|__vfprintf_chk|stdout|stderr|stdin|getchar|gets|scanf|"
    r"std::cout|std::cerr|std::clog|std::cin|std::wcout|std::wcerr|std::quick_exit.*|"
    r"fmt::v\d+::v?print.*|err|errx|warn|warnx|system|popen)$")


def undefined(library):
    out = subprocess.run(["nm", "-C", "--undefined-only", str(library)], check=True, capture_output=True, text=True).stdout
    member = ""
    for line in out.splitlines():
        if line.endswith(":"):
            member = line[:-1]
        elif line.strip().startswith("U "):
            symbol = line.strip()[2:].split("@")[0]
            yield member, symbol


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--library", type=pathlib.Path, required=True)
    library = parser.parse_args().library
    errors, seen = [], 0
    for member, symbol in undefined(library):
        seen += 1
        if FORBIDDEN.match(symbol):
            errors.append(f"{library.name}({member}): uses {symbol}")
    if seen < 50:
        errors.append(f"only {seen} undefined symbols in {library}: is this the library?")
    print("\n".join(errors) or "library: silent")
    return 1 if errors else 0


if __name__ == "__main__":
    sys.exit(main())
