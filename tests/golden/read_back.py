#!/usr/bin/env python3
"""Reads what the renderers write with parsers that are not ours.

    read_back.py PROGRAM SCHEMA

PROGRAM writes the fixtures into a folder; SCHEMA is docs/sheet.schema.json. JSON goes through Python's json and
jsonschema, XML through expat and xmllint, CSV through the csv module, MIDI through a parser written from the chunk
layout of Standard MIDI Files 1.0 (from memory).
"""
import copy
import csv
import io
import json
import math
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import unicodedata
import xml.parsers.expat

import jsonschema

checks = 0


def check(condition, text):
    global checks
    checks += 1
    if not condition:
        raise SystemExit("FAILED: " + text)


def refuse_constant(name):
    raise SystemExit("FAILED: JSON holds " + name)


def load(text):
    def pairs(items):
        keys = [key for key, _ in items]
        check(keys == sorted(keys), f"keys are not sorted: {keys}")
        check(len(keys) == len(set(keys)), f"a key stands twice: {keys}")
        return dict(items)

    return json.loads(text, parse_constant=refuse_constant, object_pairs_hook=pairs)


def closed(schema):
    """The schema without room for members that it does not describe."""
    schema = copy.deepcopy(schema)

    def walk(node):
        if isinstance(node, dict):
            if node.get("type") == "object" and "properties" in node:
                node.setdefault("additionalProperties", False)
            for child in node.values():
                walk(child)
        elif isinstance(node, list):
            for child in node:
                walk(child)

    walk(schema)
    return schema


def check_json(folder, name, schema):
    text = (folder / f"{name}.json").read_bytes().decode("utf-8", "strict")
    controls = [c for c in text if c != "\n" and unicodedata.category(c) in ("Cc", "Cf") and c != "\ufeff"]
    check(not controls, f"{name}.json holds bare control characters {controls[:3]}")
    sheet = load(text)
    validator = jsonschema.Draft202012Validator(closed(schema))
    errors = [f"{list(e.absolute_path)}: {e.message[:200]}" for e in validator.iter_errors(sheet)]
    check(not errors, f"{name}.json: {errors[:3]}")
    paths = [(f["path"], f.get("role", "")) for f in sheet["files"]]
    check(paths == sorted(paths), f"{name}.json: files are not sorted")
    for file in sheet["files"]:
        keys = list(file["measurements"])
        check(keys == sorted(keys), f"{name}.json: measurements are not sorted")
    line_validator = jsonschema.Draft202012Validator({**closed(schema["$defs"]["line"]), "$defs": closed(schema)["$defs"]})
    lines = (folder / f"{name}.jsonl").read_text("utf-8").splitlines()
    check(len(lines) == len(sheet["files"]), f"{name}.jsonl: one line a file")
    for line, file in zip(lines, sheet["files"]):
        made = load(line)
        errors = [f"{list(e.absolute_path)}: {e.message[:200]}" for e in line_validator.iter_errors(made)]
        check(not errors, f"{name}.jsonl: {errors[:3]}")
        check(made["file"] == file, f"{name}.jsonl: a line is not its file")
    return sheet


def check_schema_can_fail(sheet, schema):
    validator = jsonschema.Draft202012Validator(schema)
    for spoil in (lambda s: s["files"][0]["findings"][0].update(status="failed"),
                  lambda s: s["files"][0].pop("path"),
                  lambda s: s["files"][0]["measurements"]["true_peak"].update(unit="dB TP"),
                  lambda s: s.update(schema=2)):
        spoiled = copy.deepcopy(sheet)
        spoil(spoiled)
        check(list(validator.iter_errors(spoiled)), "the schema takes a spoiled sheet")


def check_junit(path, sheet, warn_fails):
    data = path.read_bytes()
    counts, stack, suites, kinds = {}, [], [], []

    def start(name, attributes):
        stack.append(name)
        counts[name] = counts.get(name, 0) + 1
        if name in ("testsuite", "testsuites"):
            suites.append((name, {k: int(attributes[k]) for k in ("tests", "failures", "errors", "skipped")}))
        if name in ("failure", "error"):
            kinds.append(attributes["type"])
            check(attributes["message"], f"{path.name}: a {name} says nothing")

    parser = xml.parsers.expat.ParserCreate()
    parser.StartElementHandler = start
    parser.EndElementHandler = lambda name: stack.pop()
    parser.Parse(data, True)
    if shutil.which("xmllint"):
        subprocess.run(["xmllint", "--noout", str(path)], check=True)
    total = dict(suites)["testsuites"] if suites else {}
    of_suites = [c for n, c in suites if n == "testsuite"]
    for key, element in (("tests", "testcase"), ("failures", "failure"), ("errors", "error"), ("skipped", "skipped")):
        check(total[key] == counts.get(element, 0), f"{path.name}: {key} says {total[key]}, {counts.get(element, 0)} are there")
        check(total[key] == sum(c[key] for c in of_suites), f"{path.name}: {key} of the suites do not add up")
    findings = [f for file in sheet["files"] for f in file["findings"]] + sheet["findings"]
    skipped = sum(len(file["skipped"]) for file in sheet["files"])
    errors = sum("error" in file for file in sheet["files"])
    number = lambda status: sum(f["status"] == status for f in findings)
    unmeasured = sum(f["status"] == "not measured" and not f.get("optional") for f in findings)
    check(kinds.count("not-measured") == unmeasured, f"{path.name}: not measured")
    check(total["failures"] == number("fail") + unmeasured + (number("warn") if warn_fails else 0), f"{path.name}: failures")
    check(total["skipped"] == number("waived") + skipped, f"{path.name}: skipped")
    check(total["errors"] == errors, f"{path.name}: errors")
    if "verdict" in sheet:
        check(total["tests"] == len(findings) + skipped + errors, f"{path.name}: a case per file and rule")
    check(total["tests"] > 0, f"{path.name}: no tests reads as green")


def check_csv(path, rows_wanted):
    data = path.read_bytes().decode("utf-8", "strict")
    check(data.endswith("\r\n") and "\n" not in data.replace("\r\n", ""), f"{path.name}: every line ends in CR LF")
    check(not [c for c in data if c not in "\r\n" and unicodedata.category(c) == "Cc"], f"{path.name}: control characters")
    rows = list(csv.reader(io.StringIO(data, newline=""), strict=True))
    check(all(len(row) == len(rows[0]) for row in rows), f"{path.name}: rows of different length")
    check(len(rows) - 1 == rows_wanted, f"{path.name}: {len(rows) - 1} rows, {rows_wanted} wanted")
    plain_number = re.compile(r"-?\d+(\.\d+)?(e[+-]?\d+)?$")
    for row in rows[1:]:
        for cell in row:
            check(cell[:1] not in "=+-@\t\r" or not cell or plain_number.match(cell), f"{path.name}: a formula {cell[:20]!r}")
    return [dict(zip(rows[0], row)) for row in rows[1:]]


def quantity(data, at):
    value = 0
    for length in range(1, 5):
        value = value << 7 | data[at] & 0x7F
        at += 1
        if not data[at - 1] & 0x80:
            return value, at
    raise SystemExit("FAILED: a quantity of more than four bytes")


def read_midi(data):
    """(ticks per quarter, microseconds per quarter, [(tick, text)])"""
    check(data[:8] == b"MThd\0\0\0\6", "MIDI header")
    kind, tracks, division = (int.from_bytes(data[8 + 2 * i:10 + 2 * i], "big") for i in range(3))
    check((kind, tracks) == (0, 1) and division < 0x8000, "MIDI format 0, one track, ticks per quarter")
    check(data[14:18] == b"MTrk" and int.from_bytes(data[18:22], "big") == len(data) - 22, "MIDI track length")
    at, tick, tempo, markers, ended = 22, 0, None, [], False
    while at < len(data):
        check(not ended, "MIDI goes on after its end")
        delta, at = quantity(data, at)
        tick += delta
        check(data[at] == 0xFF, "only meta events")
        kind = data[at + 1]
        length, at = quantity(data, at + 2)
        content, at = data[at:at + length], at + length
        if kind == 0x51:
            tempo = int.from_bytes(content, "big")
        elif kind == 0x06:
            check(tempo is not None, "the tempo stands before the first marker")
            markers.append((tick, content.decode("ascii")))
        elif kind == 0x2F:
            ended = True
    check(ended and at == len(data), "MIDI end of track")
    return division, tempo, markers


def check_markers(folder, name, sheet):
    places = set()
    for index, file in enumerate(sheet["files"]):
        for finding in file["findings"]:
            if finding["status"] != "pass":
                for where in finding["where"]:
                    places.add((index, where["start_s"]))
        if "verdict" not in sheet:
            for measurement in file["measurements"].values():
                for where in measurement.get("where", []):
                    places.add((index, where["start_s"]))
    path = folder / f"{name}.markers.csv"
    rows = check_csv(path, len(list(csv.reader(io.StringIO(path.read_text("utf-8"))))) - 1)
    times = set()
    for row in rows:
        h, m, s = row["time"].split(":")
        check(re.fullmatch(r"\d\d+:\d\d:\d\d\.\d\d\d", row["time"]), "hh:mm:ss.mmm")
        check(abs(int(h) * 3600 + int(m) * 60 + float(s) - float(row["seconds"])) <= 0.0005001, "time and seconds differ")
        if row["sample_rate"]:
            check(abs(float(row["seconds"]) * int(row["sample_rate"]) - int(row["frame"])) <= 1, "seconds and frame differ")
        times.add(float(row["seconds"]))
    check({seconds for _, seconds in places} <= times, f"{name}: every place is a marker")
    division, tempo, markers = read_midi((folder / f"{name}.mid").read_bytes())
    check(len(markers) == len(rows), f"{name}: as many MIDI markers as rows")
    check(markers == sorted(markers, key=lambda m: m[0]), f"{name}: MIDI markers in order")
    for (tick, text), seconds in zip(markers, sorted(float(row["seconds"]) for row in rows)):
        check(abs(tick * tempo / division / 1e6 - seconds) <= 0.5 * tempo / division / 1e6 + 1e-9, f"{name}: a MIDI marker is off its place")
        check(text and all(" " <= c <= "~" for c in text), f"{name}: labels are printable ASCII")


def columns(text):
    text = text.replace("\uffff", "?")  # no character: Python calls it wide
    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)


def check_text(folder, name):
    plain = (folder / f"{name}.txt").read_bytes().decode("utf-8", "strict")
    colour = (folder / f"{name}.colour.txt").read_bytes().decode("utf-8", "strict")
    for line in plain.split("\n"):
        check(columns(line) <= 80, f"{name}.txt: {columns(line)} columns: {line}")
        check(not line.endswith(" "), f"{name}.txt: a line ends in a space")
    check(not [c for c in plain if c != "\n" and unicodedata.category(c) in ("Cc", "Cf")], f"{name}.txt: control characters")
    check(re.sub("\x1b\\[[0-9;]*m", "", colour) == plain, f"{name}: colour adds nothing but ink")


def main():
    program, schema_path = sys.argv[1:]
    schema = json.loads(pathlib.Path(schema_path).read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        subprocess.run([program, str(folder)], check=True)
        for name in ("one", "clean", "stems", "measured", "two", "hostile"):
            sheet = check_json(folder, name, schema)
            if name == "one":
                check_schema_can_fail(sheet, schema)
            check_junit(folder / f"{name}.xml", sheet, False)
            check_junit(folder / f"{name}.strict.xml", sheet, True)
            errors = sum("error" in file for file in sheet["files"])
            if "verdict" in sheet:
                rows = sum(len(file["findings"]) for file in sheet["files"]) + len(sheet["findings"])
            else:
                rows = sum(len(file["measurements"]) for file in sheet["files"])
            check_csv(folder / f"{name}.csv", rows + errors)
            check_markers(folder, name, sheet)
            check_text(folder, name)
            note = (folder / f"{name}.md").read_bytes().decode("utf-8", "strict")
            check(not [c for c in note if c != "\n" and unicodedata.category(c) in ("Cc", "Cf")], f"{name}.md: control characters")
            check("<script" not in note.replace("\\<", ""), f"{name}.md: markup")
    print(f"{checks} checks passed")


main()
