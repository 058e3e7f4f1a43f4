"""merge as a gate: versions and rule sets that differ, sheets that repeat, thousands of them."""
import json
import os
import pathlib
import subprocess
import time
import unittest

import lab

OTHER = "xxh128:ffffffffffffffffffffffffffffffff"


class Merge(lab.Case):
    def setUp(self):
        super().setUp()
        self.rules = self.put_rules("gate", "warn_above = -6.0\nfail_above = -1.0")
        self.put("quiet.wav", lab.wav(0.4, peak=0.3))
        self.put("hot.wav", lab.wav(0.4, peak=1.4))
        self.quiet, self.hot = self.line("quiet.wav"), self.line("hot.wav")

    def line(self, *names, rules=None):
        return self.run_program("check", "--date", "2026-01-02", "--rules", rules or self.rules, "--format", "jsonl", *names)[1]

    def changed(self, line, change):
        sheet = json.loads(line)
        change(sheet)
        return json.dumps(sheet).encode() + b"\n"

    def merge(self, *sheets, more=()):
        """(exit code, JSON sheet, rules of its findings of the whole set by status)."""
        names = []
        for i, sheet in enumerate(sheets):
            self.put(f"{i}.jsonl", sheet)
            names.append(f"{i}.jsonl")
        code, out, err = self.run_program("merge", *names, "--format", "json", *more)
        self.assertTrue(out, err)
        sheet = json.loads(out)
        return code, sheet, {finding["rule"]: finding["status"] for finding in sheet["findings"]}

    def test_other_rules_under_one_name_do_not_pass_together(self):
        other = self.changed(self.quiet.replace(b"quiet.wav", b"other.wav"), lambda s: s["rules"][0].update(digest=OTHER))
        self.assertEqual(self.merge(self.quiet)[0], 0)
        for sheets in ((self.quiet, other), (other, self.quiet)):
            code, sheet, said = self.merge(*sheets)
            self.assertEqual((code, sheet["verdict"], said), (1, "fail", {"one-version-of-a-rule-set": "fail"}))
        # In stages as well.
        self.put("a.jsonl", self.run_program("merge", "0.jsonl", "1.jsonl", "--format", "jsonl")[1])
        self.assertEqual(self.run_program("merge", "a.jsonl", "--quiet")[0], 1)

    def test_other_versions_of_the_program_and_its_libraries_are_said(self):
        other = self.changed(self.quiet.replace(b"quiet.wav", b"other.wav"), lambda s: s["tool"].update(version="99.0.0"))
        code, sheet, said = self.merge(self.quiet, other)
        self.assertEqual((code, sheet["verdict"], said), (0, "warn", {"one-version-of-the-program": "warn"}))
        self.assertIn("99.0.0", sheet["tool"]["version"])
        self.assertEqual(self.merge(self.quiet, other, more=["--fail-on", "warn"])[0], 1)
        self.assertEqual(self.merge(other, self.quiet)[1], sheet)
        older = self.changed(other, lambda s: s["tool"].update(
            version=json.loads(self.quiet)["tool"]["version"], libraries={**s["tool"]["libraries"], "libsndfile": "0.0.1"}))
        code, sheet, said = self.merge(self.quiet, older)
        self.assertEqual((code, sheet["verdict"], said), (0, "pass", {"one-version-of-the-libraries": "note"}))
        self.assertIn("0.0.1", sheet["tool"]["libraries"]["libsndfile"])

    def test_a_pass_under_other_rules_does_not_replace_a_fail(self):
        lax = self.put_rules("lax", "fail_above = 20.0")
        passed = self.line("hot.wav", rules=lax)
        code, sheet, _ = self.merge(self.hot, passed)
        self.assertEqual((code, len(sheet["files"])), (1, 2))
        self.put("stage.jsonl", self.run_program("merge", "0.jsonl", "1.jsonl", "--format", "jsonl")[1])
        for again in (["stage.jsonl"], ["stage.jsonl", "1.jsonl"], ["0.jsonl", "stage.jsonl"]):
            self.assertEqual(json.loads(self.run_program("merge", *again, "--format", "json")[1])["files"], sheet["files"])
        (self.room / "gate.toml").write_text(lab.RULE_SET.format(name="gate", limits="fail_above = 20.0"))
        code, sheet, said = self.merge(self.hot, self.line("hot.wav"))
        self.assertEqual((code, said), (1, {"one-sheet-per-file": "fail"}))

    def test_the_same_sheet_twice_is_that_sheet(self):
        once = self.merge(self.quiet, self.hot)
        self.assertEqual(self.merge(self.hot, self.quiet, self.hot, self.quiet + self.hot), once)
        self.assertEqual(once[2], {})

    def test_a_second_sheet_that_differs_is_said(self):
        self.put("quiet.wav", lab.wav(0.4, peak=0.31, seed=2))
        code, _, said = self.merge(self.quiet, self.line("quiet.wav"))
        self.assertEqual((code, said), (0, {"one-sheet-per-file": "note"}))
        self.put("hot.wav", lab.wav(0.4, peak=0.31, seed=2))
        code, _, said = self.merge(self.hot, self.line("hot.wav"))
        self.assertEqual((code, said), (1, {"one-sheet-per-file": "fail"}))

    def test_the_list(self):
        self.put("list", "hot.wav\nquiet.wav\n")
        self.assertEqual(self.merge(self.quiet, self.hot, more=["--files-from", "list"]), self.merge(self.quiet, self.hot))
        code, sheet, said = self.merge(self.quiet, more=["--files-from", "list"])
        self.assertEqual((code, sheet["verdict"], said), (3, "fail", {}))
        self.assertEqual({f["path"]: f.get("error", {}).get("code") for f in sheet["files"]},
                         {"hot.wav": "missing", "quiet.wav": None})
        # Neither a lenient gate nor a later merge forgets it.
        self.assertEqual(self.merge(self.quiet, more=["--files-from", "list", "--fail-on", "never"])[0], 3)
        self.put("stage.jsonl", self.run_program("merge", "0.jsonl", "--files-from", "list", "--format", "jsonl")[1])
        self.assertEqual(self.run_program("merge", "stage.jsonl", "--quiet")[0], 3)
        self.put("list", "quiet.wav\n")
        code, sheet, said = self.merge(self.quiet, self.line("./hot.wav"), more=["--files-from", "list"])
        self.assertEqual((code, said), (1, {"no-sheet-beside-the-list": "warn"}))
        code, out, err = self.run_program("merge", "0.jsonl", "--files-from", "-", "--quiet", stdin=b"./quiet.wav\0")
        self.assertEqual((code, err), (0, b""))
        code, out, err = self.run_program("merge", "0.jsonl", "--files-from", "-", "--quiet", stdin=b"")
        self.assertEqual((code, out), (3, b""))
        code, out, err = self.run_program("merge", "0.jsonl", "--files-from", "list", "--output", "list")
        self.assertEqual(code, 2)

    def many(self, count):
        sheets = [self.quiet.replace(b"quiet.wav", b"many/%06d.wav" % i) for i in range(count)]
        self.put("many.jsonl", b"".join(sheets))
        start = time.monotonic()
        process = subprocess.Popen([lab.PROGRAM, "merge", "many.jsonl", "--format", "jsonl", "--output", "out.jsonl"],
                                   cwd=self.room, env=self.environment())
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        took = time.monotonic() - start
        self.assertEqual(process.returncode, 0)
        self.assertEqual((self.room / "out.jsonl").read_bytes(), b"".join(sheets))
        return took, usage.ru_maxrss * 1024, sum(map(len, sheets))

    def test_thousands_cost_time_and_memory_in_proportion(self):
        few, small, some_bytes = self.many(500)
        long, large, more_bytes = self.many(5000)
        print(f"5000 sheets, {more_bytes >> 20} MiB: {long:.2f} s, {large >> 20} MiB; 500: {few:.2f} s, {small >> 20} MiB")
        # Ten times as many; a quadratic way would take a hundred times as long.
        self.assertLess(long, 30 * max(few, 0.05))
        if b"__asan_init" not in pathlib.Path(lab.PROGRAM).read_bytes():  # whose memory is its own
            self.assertLess(large, 100 * 2**20 + 8 * more_bytes)

    def test_thousands_that_failed_and_were_mended_do_not_multiply(self):
        old = [self.hot.replace(b"hot.wav", b"many/%06d.wav" % i) for i in range(400)]
        new = [self.quiet.replace(b"quiet.wav", b"many/%06d.wav" % i) for i in range(400)]
        self.put("old.jsonl", b"".join(old))
        self.put("new.jsonl", b"".join(new))
        code, out, err = self.run_program("merge", "old.jsonl", "new.jsonl", "--format", "jsonl")
        self.assertEqual(code, 1)
        self.assertLess(len(out), 2 * sum(map(len, new)))
        self.put("both.jsonl", out)
        code, again, err = self.run_program("merge", "both.jsonl", "--format", "jsonl")
        self.assertEqual((code, again), (1, out))


if __name__ == "__main__":
    lab.main()
