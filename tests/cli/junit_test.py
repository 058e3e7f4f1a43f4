"""JUnit as build servers read it: through a parser that was not written here, held against the JSON sheet of the same run."""
import json
import os
import subprocess
import unittest

import lab

try:
    import junitparser
except ImportError:
    junitparser = None

WAIVED = """
[[waiver]]
rule = "peak"
files = "waived*"
reason = "as hot as the client's demo, <agreed> & \\"signed\\""
by = "QV"
until = 2031-12-31
"""
HEAD = """
[[rule]]
id = "length"
measure = "integrated_loudness"
warn_above = 0.0
why = "It is the subject of a test."
remedy = "None."
source = "definition"
"""


@unittest.skipIf(junitparser is None, "python3-junitparser is not installed")
class JUnit(lab.Case):
    def setUp(self):
        super().setUp()
        rules = self.put_rules("gate", "warn_above = -6.0\nfail_above = -1.0")
        with open(self.room / rules, "a", encoding="utf-8") as file:
            file.write(HEAD + WAIVED)
        quiet, warm, hot = lab.wav(1.0, peak=0.3), lab.wav(1.0, peak=0.65), lab.wav(1.0, peak=1.4)
        self.put("good.wav", quiet)
        self.put("warm.wav", warm)
        self.put("hot.wav", hot)
        self.put("waived.wav", hot)
        self.put("short.wav", lab.riff(1, 2, 48000, 16, b"\0\x10\0\x10"))  # no loudness in one frame
        self.put("broken.wav", b"RIFF")
        # Names that a careless writer would make a broken document, or a second element, of.
        for name in (b"]]>.wav", b"quote\"'&<x a='b'>.wav", b"line\nbreak\tand\rmore.wav", b"\x01\x1b[31m\x7f.wav",
                     b"latin\xe9.wav", b"\xef\xbf\xbe\xef\xbf\xbf.wav", b"<![CDATA[.wav", b"&#0;.wav", "r\u202etl\u2028.wav".encode(),
                     b"--><!--.wav"):
            self.put(name, hot)
        self.names = sorted(os.listdir(os.fsencode(self.room)))
        self.names.remove(b"gate.toml")
        self.base = ["check", "--rules", rules, "--date", "2026-01-02", *[b"./" + name for name in self.names], "missing.wav"]

    def report(self, *more):
        path = self.room / "report.xml"
        code, out, err = self.run_program(*self.base, "--format", "junit", "--output", str(path), *more)
        self.assertEqual(out, b"")
        return code, junitparser.JUnitXml.fromfile(str(path)), path

    def wanted(self, fail_on_warn):
        """Counts from the JSON sheet, by the table in docs/formats.md."""
        _, out, _ = self.run_program(*self.base, "--format", "json")
        sheet = json.loads(out)
        counts = dict(tests=0, failures=0, errors=0, skipped=0)
        seen = set()
        for findings, skipped, error in [(f["findings"], f["skipped"], "error" in f) for f in sheet["files"]] + \
                                        [(sheet["findings"], [], False)]:
            counts["tests"] += len(findings) + len(skipped) + error
            counts["errors"] += error
            counts["skipped"] += len(skipped)
            for finding in findings:
                status = finding["status"]
                seen.add(status)
                counts["skipped"] += status == "waived"
                counts["failures"] += (status == "fail" or (status == "not measured" and not finding.get("optional")) or
                                       (status == "warn" and fail_on_warn))
        return counts, seen, sheet

    def test_the_counts_are_those_of_the_sheet(self):
        for more, fail_on_warn in (([], False), (["--fail-on", "warn"], True)):
            code, xml, path = self.report(*more)
            self.assertEqual(code, 3)
            wanted, seen, sheet = self.wanted(fail_on_warn)
            self.assertLessEqual({"pass", "warn", "fail", "not measured", "waived"}, seen)
            stated = dict(tests=xml.tests, failures=xml.failures, errors=xml.errors, skipped=xml.skipped)
            self.assertEqual(stated, wanted)
            # What the parser counts by itself, suite by suite, is what stands in the attributes.
            for suite in xml:
                before = (suite.tests, suite.failures, suite.errors, suite.skipped)
                suite.update_statistics()
                self.assertEqual((suite.tests, suite.failures, suite.errors, suite.skipped), before, suite.name)
            suites = [suite.name for suite in xml]
            self.assertEqual(len(suites), len(self.names) + 1 + bool(sheet["findings"]))
            self.assertEqual(subprocess.run(["xmllint", "--noout", path], capture_output=True).returncode, 0)

    def test_each_status_is_the_element_that_the_mapping_says(self):
        _, xml, _ = self.report()
        kinds = {}
        for suite in xml:
            for case in suite:
                results = case.result if isinstance(case.result, list) else [case.result] if case.result else []
                kinds[suite.name, case.name] = [(type(result).__name__, result.type) for result in results]
                self.assertEqual(case.classname, suite.name)
        self.assertEqual(kinds["./good.wav", "gate/peak"], [])
        self.assertEqual(kinds["./warm.wav", "gate/peak"], [])
        self.assertEqual(kinds["./hot.wav", "gate/peak"], [("Failure", "fail")])
        self.assertEqual(kinds["./waived.wav", "gate/peak"], [("Skipped", None)])
        self.assertEqual(kinds["./short.wav", "gate/length"], [("Failure", "not-measured")])
        self.assertEqual(kinds["./broken.wav", "can be read"], [("Error", "unrecognised")])
        self.assertEqual(kinds["missing.wav", "can be read"], [("Error", "missing")])
        _, xml, _ = self.report("--fail-on", "warn")
        warm = next(case for suite in xml if suite.name == "./warm.wav" for case in suite if case.name == "gate/peak")
        self.assertEqual([result.type for result in warm.result], ["warn"])

    def test_no_case_is_named_twice_in_a_suite_and_reasons_come_through(self):
        _, xml, _ = self.report()
        for suite in xml:
            names = [case.name for case in suite]
            self.assertEqual(len(names), len(set(names)), suite.name)
        waived = next(case for suite in xml if suite.name == "./waived.wav" for case in suite if case.name == "gate/peak")
        self.assertIn('<agreed> & "signed"', waived.result[0].message)
        self.assertIn("./]]>.wav", [suite.name for suite in xml])
        self.assertIn("./line\\nbreak\\tand\\rmore.wav", [suite.name for suite in xml])

    def test_a_pass_and_a_set_without_a_failure(self):
        code, out, _ = self.run_program("check", "--rules", "./gate.toml", "--date", "2026-01-02", "good.wav", "waived.wav",
                                        "--format", "junit")
        self.assertEqual(code, 0)
        xml = junitparser.JUnitXml.fromstring(out)
        self.assertEqual((xml.tests, xml.failures, xml.errors, xml.skipped), (4, 0, 0, 1))


if __name__ == "__main__":
    lab.main()
