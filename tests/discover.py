#!/usr/bin/env python3
"""Writes a CTest file with one entry for each doctest case of a program, so that cases are counted one by one.

Run after the program was linked. The entry of a case carries the first part of its suite as label ("dsp/filters" →
"dsp"), and the label "threads" if its suite or its name speaks of threads: those run under ThreadSanitizer too.
"""
import argparse
import subprocess
import sys
import xml.etree.ElementTree as ElementTree


def filter_of(name):
    """doctest splits its filters at commas."""
    return name.replace(",", "\\,")


def quoted(text):
    """A bracket argument of CMake: nothing inside is special."""
    fence = "="
    while "]" + fence + "]" in text:
        fence += "="
    return f"[{fence}[{text}]{fence}]"


def entry(program, suite, name, timeout_s):
    title = f"{suite}: {name}" if suite else name
    labels = {suite.split("/")[0]} if suite else set()
    if suite.startswith(("faults/", "standards/selftest")):
        labels.add("release-only")  # minutes under a sanitizer, through code that the other cases run too
    if "thread" in (suite + " " + name).lower():
        labels.add("threads")
    arguments = [program, "--test-case=" + filter_of(name), "--no-intro=true"]
    if suite:
        arguments.append("--test-suite=" + filter_of(suite))
    # A filter that matches nothing, or a case without a single check, must not count as a pass.
    empty = r"test cases: +0 \|;assertions: +0 \|"
    return (f"add_test({quoted(title)} {' '.join(quoted(a) for a in arguments)})\n"
            f"set_tests_properties({quoted(title)} PROPERTIES TIMEOUT {timeout_s} "
            f"LABELS {quoted(';'.join(sorted(labels)))} FAIL_REGULAR_EXPRESSION {quoted(empty)})\n")


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--program", required=True)
    parser.add_argument("--output", required=True)
    parser.add_argument("--timeout", type=int, default=600)
    options = parser.parse_args()

    listing = subprocess.run([options.program, "--list-test-cases", "--reporters=xml"], check=True,
                             stdout=subprocess.PIPE).stdout
    cases = [(case.get("testsuite", ""), case.get("name")) for case in ElementTree.fromstring(listing).iter("TestCase")
             if case.get("skipped") != "true"]
    twice = {case for case in cases if cases.count(case) > 1}
    if twice:
        sys.exit(f"two test cases have the same name: {sorted(twice)}")
    with open(options.output, "w", encoding="utf-8") as output:
        for suite, name in cases:
            output.write(entry(options.program, suite, name, options.timeout))


if __name__ == "__main__":
    main()
