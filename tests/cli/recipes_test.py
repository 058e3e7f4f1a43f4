"""The recipes of docs/recipes.md as gates: each lets good sound through, and stops at every other kind.

What is run is the text of the page. The rule sets that it names are replaced, in the user's folder, by small ones on peak and
loudness, so that sounds of half a second will do; the page's own test runs the same commands with the shipped ones.
"""
import os
import shutil
import subprocess
import sys
import unittest
import xml.etree.ElementTree

import lab

sys.path.insert(0, str(lab.SOURCE / "tests" / "meta"))
from docs_blocks import blocks  # noqa: E402

try:
    import yaml
except ImportError:
    yaml = None

PAGE = {block.marks["file"]: block.text for block in blocks((lab.SOURCE / "docs" / "recipes.md").read_text(encoding="utf-8"))
        if "file" in block.marks}
SHELL = [block.text for block in blocks((lab.SOURCE / "docs" / "recipes.md").read_text(encoding="utf-8"))
         if block.language == "sh" and "file" not in block.marks]
LOUDNESS = """
[[rule]]
id = "loudness"
measure = "integrated_loudness"
fail_above = 0.0
why = "It is the subject of a test."
remedy = "None."
source = "definition"
"""
PATH = "/usr/bin:/bin:/usr/local/bin"


def there(tool):
    return shutil.which(tool, path=PATH) is not None


class Recipe(lab.Case):
    def setUp(self):
        super().setUp()
        for name in ("premaster", "stems"):
            path = self.config / "rules" / f"{name}.toml"
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(lab.RULE_SET.format(name=name, limits="fail_above = -1.0") + LOUDNESS)
        bin_folder = self.folder / "bin"
        bin_folder.mkdir()
        (bin_folder / "sendworthy").symlink_to(lab.PROGRAM)
        self.path = f"{bin_folder}:{PATH}"
        self.sounds = {
            "good": lab.wav(0.6, peak=0.3),
            "hot": lab.wav(0.6, peak=1.4),
            "not measured": lab.riff(1, 2, 48000, 16, b"\0\x10\0\x10" * 100),  # too short for a loudness
            "unreadable": b"RIFF",
            "missing": None,
        }
        for name, text in PAGE.items():
            if not name.endswith(".toml"):
                self.put(name, text)

    # Every kind of sound that must stop a release, and the code that sendworthy gives for it.
    BAD = {"hot": 1, "not measured": 1, "unreadable": 3}

    def place(self, name, kind):
        path = self.room / name
        path.unlink(missing_ok=True)
        if self.sounds[kind] is not None:
            self.put(name, self.sounds[kind])

    def sh(self, *command, stdin=None, env=None):
        done = subprocess.run(command, cwd=self.room, env=self.environment(PATH=self.path, **(env or {})), input=stdin,
                              stdin=subprocess.DEVNULL if stdin is None else None, capture_output=True, timeout=lab.TIMEOUT_S)
        self.said = done.stdout + done.stderr
        return done.returncode

    def outbox(self):
        return sorted(p.name for p in (self.room / "outbox").glob("*")) if (self.room / "outbox").exists() else []


class Shell(Recipe):
    def test_release(self):
        self.place("instrumental.wav", "good")
        for kind, code in {**self.BAD, "missing": 3}.items():
            self.place("mix.wav", kind)
            with self.subTest(kind=kind):
                self.assertEqual(self.sh("sh", "release.sh"), code, self.said)
                self.assertEqual(self.outbox(), [])
        self.place("mix.wav", "good")
        self.assertEqual(self.sh("sh", "release.sh"), 0, self.said)
        self.assertEqual(self.outbox(), ["instrumental.wav", "mix.wav"])

    def test_gate_tells_the_cases_apart(self):
        for kind, code, said in (("good", 0, b"send it"), ("hot", 1, b"do not send it"), ("not measured", 1, b"do not send it"),
                                 ("unreadable", 3, b"could not be read"), ("missing", 3, b"could not be read")):
            self.place("mix.wav", kind)
            self.assertEqual(self.sh("sh", "gate.sh", "mix.wav"), code)
            self.assertIn(said, self.said)
            xml.etree.ElementTree.parse(self.room / "report.xml")
        self.assertEqual(self.sh("sh", "gate.sh", "--no-such-option"), 2)
        self.assertIn(b"the gate itself is broken", self.said)

    def test_release_of_a_folder(self):
        run = ["sh", "release-all.sh", "stems", "--rules", "stems"]
        self.assertEqual(self.sh(*run), 1)  # find: no such folder
        (self.room / "stems").mkdir()
        self.assertEqual(self.sh(*run), 3)  # nothing found
        self.place("stems/a b\n'c.wav", "good")
        self.place("stems/deep/-d.wav", "good")
        for kind, code in self.BAD.items():
            self.place("stems/bad.wav", kind)
            self.assertEqual(self.sh(*run), code, kind)
            self.assertEqual(self.outbox(), [])
        self.place("stems/bad.wav", "missing")
        self.assertEqual(self.sh(*run), 0, self.said)
        self.assertEqual(self.outbox(), ["-d.wav", "a b\n'c.wav"])

    def test_what_the_page_says_of_hidden_codes_is_so(self):
        self.place("broken/clipped-once.wav", "hot")
        sleeping = next(text for text in SHELL if text.startswith("release() {"))
        self.assertEqual(self.sh("sh", "-e", "-c", sleeping), 0)
        self.assertIn(b"sent", self.said)
        mended = sleeping.replace("--quiet\n", "--quiet || return\n")
        self.assertEqual(self.sh("sh", "-e", "-c", mended), 0)
        self.assertNotIn(b"sent", self.said)
        self.assertIn(b"stopped", self.said)
        each = next(text for text in SHELL if "-exec" in text)
        self.assertEqual(self.sh("sh", "-e", "-c", each), 0)
        check = "sendworthy check broken/clipped-once.wav --rules premaster --quiet"
        for script, code in ((f"{check} | cat", 0), (f"{check} || true", 0), (f"echo \"$({check})\"", 0), (f"x=$({check})", 1),
                             (f"f() {{ local x=$({check}); }}; f", 0), (f"{check} & wait", 0), (f"{check} & wait $!", 1),
                             ("echo broken/clipped-once.wav | xargs sendworthy check --rules premaster --quiet", 123),
                             ("echo gone.wav | xargs sendworthy check --rules premaster --quiet", 123),
                             ("printf broken/clipped-once.wav | sendworthy check --rules premaster --quiet --files-from -", 1)):
            self.assertEqual(self.sh("sh", "-e", "-c", script), code, script)


@unittest.skipUnless(there("make"), "make is not installed")
class Make(Recipe):
    def test_a_stamp_is_left_by_what_passed_and_by_nothing_else(self):
        self.place("instrumental.wav", "good")
        for kind in [*self.BAD, "missing"]:
            self.place("mix.wav", kind)
            for _ in range(2):  # the second run must not believe the first
                self.assertEqual(self.sh("make", "--silent", "--keep-going"), 2, (kind, self.said))
                self.assertFalse((self.room / "checked/mix.sheet").exists())
                self.assertTrue((self.room / "checked/instrumental.sheet").exists())
                self.assertEqual(self.outbox(), [])
        self.place("mix.wav", "good")
        self.assertEqual(self.sh("make", "--silent"), 0, self.said)
        self.assertTrue((self.room / "checked/mix.sheet").exists())
        self.assertEqual(self.outbox(), ["instrumental.wav", "mix.wav"])
        # A new bounce is looked at again, and its stamp of yesterday is not enough.
        self.place("mix.wav", "hot")
        later = os.stat(self.room / "checked/mix.sheet").st_mtime + 10
        os.utime(self.room / "mix.wav", (later, later))
        self.assertEqual(self.sh("make", "--silent"), 2)


@unittest.skipUnless(there("cmake") and there("ctest"), "cmake is not installed")
class CTest(Recipe):
    def run_ctest(self):
        shutil.rmtree(self.room / "tested", ignore_errors=True)
        configured = self.sh("cmake", "-S", ".", "-B", "tested")
        if configured:
            return configured
        return self.sh("ctest", "--test-dir", "tested", "--no-tests=error", "--output-junit", str(self.room / "ctest.xml"))

    def test_each_bounce_is_a_test(self):
        self.assertNotEqual(self.run_ctest(), 0)
        self.assertIn(b"no bounce to check", self.said)
        self.place("good.wav", "good")
        self.place("with space.wav", "good")
        self.assertEqual(self.run_ctest(), 0, self.said)
        for kind in self.BAD:
            self.place("x.wav", kind)
            self.assertEqual(self.run_ctest(), 8, kind)  # what ctest gives for a failed test
            suite = xml.etree.ElementTree.parse(self.room / "ctest.xml").getroot()
            self.assertEqual((suite.get("tests"), suite.get("failures"), suite.get("skipped")), ("3", "1", "0"), kind)
        # A bounce that goes away behind cmake's back is a failure, not a test less.
        self.place("x.wav", "good")
        self.assertEqual(self.run_ctest(), 0)
        self.place("x.wav", "missing")
        self.assertEqual(self.sh("ctest", "--test-dir", "tested", "--no-tests=error"), 8)

    def test_no_program_is_no_success(self):
        self.place("good.wav", "good")
        (self.folder / "bin" / "sendworthy").unlink()
        self.assertNotEqual(self.run_ctest(), 0)
        self.assertIn(b"SENDWORTHY", self.said)

    def test_what_the_page_says_of_hidden_codes_is_so(self):
        self.place("x.wav", "unreadable")
        page = PAGE["CMakeLists.txt"]
        for properties in ("SKIP_RETURN_CODE 3", "WILL_FAIL TRUE", "PASS_REGULAR_EXPRESSION x.wav"):
            self.put("CMakeLists.txt", page + f"set_tests_properties(x.wav PROPERTIES {properties})\n")
            self.assertEqual(self.run_ctest(), 0, (properties, self.said))


@unittest.skipIf(yaml is None, "python3-yaml is not installed")
class Workflow(Recipe):
    def run_workflow(self):
        """Like a CI service: steps in order, none after a failed one but those that always run. (failed step, codes)"""
        for name in ("list", "report.xml"):
            (self.room / name).unlink(missing_ok=True)
        for name in ("kept", "outbox"):
            shutil.rmtree(self.room / name, ignore_errors=True)
        jobs = yaml.safe_load(PAGE["workflow.yaml"])["jobs"]
        self.assertEqual(list(jobs), ["audio"])
        failed, codes = None, {}
        for step in jobs["audio"]["steps"]:
            self.assertLessEqual(set(step), {"name", "run", "if"})
            self.assertIn(step.get("if", "success()"), ("success()", "always()"))
            if failed and step.get("if") != "always()":
                continue
            codes[step["name"]] = self.sh("sh", "-e", "-c", step["run"])
            if codes[step["name"]] and not failed:
                failed = step["name"]
        return failed, codes

    def test_steps(self):
        self.place("stems/a.wav", "good")
        self.assertEqual(self.run_workflow()[0], None, self.said)
        self.assertEqual(self.outbox(), ["a.wav"])
        for kind, code in self.BAD.items():
            self.place("stems/b.wav", kind)
            failed, codes = self.run_workflow()
            self.assertEqual((failed, codes["gate"]), ("gate", code), kind)
            self.assertNotIn("release", codes)
            self.assertEqual(self.outbox(), [])
            # The report of a failing gate is kept, and counts it.
            report = xml.etree.ElementTree.parse(self.room / "kept/report.xml").getroot()
            self.assertEqual((report.get("failures"), report.get("errors")), ("0", "1") if code == 3 else ("1", "0"), kind)
        for name in ("a.wav", "b.wav"):
            (self.room / "stems" / name).unlink()
        self.assertEqual(self.run_workflow()[0], "gate")


@unittest.skipUnless(there("git"), "git is not installed")
class Git(Recipe):
    def git(self, *words):
        return self.sh("git", "-c", "user.name=QV", "-c", "user.email=qv@example.org", *words)

    def test_what_does_not_pass_is_not_committed(self):
        self.assertEqual(self.git("init", "--quiet", "."), 0, self.said)
        hook = self.room / ".git/hooks/pre-commit"
        hook.parent.mkdir(exist_ok=True)
        hook.write_text(PAGE["pre-commit"])
        hook.chmod(0o755)
        self.put("notes.txt", "no sound")
        self.git("add", "notes.txt")
        self.assertEqual(self.git("commit", "--quiet", "-m", "Notes"), 0, self.said)
        self.place("bounces/a b.wav", "good")
        self.git("add", "bounces")
        self.assertEqual(self.git("commit", "--quiet", "-m", "Good"), 0, self.said)
        for kind in self.BAD:
            self.place("bounces/mix.wav", kind)
            self.git("add", "bounces")
            self.assertEqual(self.git("commit", "--quiet", "-m", "Bad"), 1, self.said)
            # What is staged counts, not what lies in the folder meanwhile.
            self.place("bounces/mix.wav", "good")
            self.assertNotEqual(self.git("commit", "--quiet", "-m", "Bad"), 0, self.said)
        self.git("add", "bounces")
        self.place("bounces/mix.wav", "hot")
        self.assertEqual(self.git("commit", "--quiet", "-m", "Good"), 0, self.said)
        self.git("log", "--format=%s")
        self.assertEqual(self.said.split(), [b"Good", b"Good", b"Notes"])


@unittest.skipUnless(there("parallel"), "GNU parallel is not installed")
class Spread(Recipe):
    def test_many_workers_are_one_gate(self):
        run = ["sh", "spread.sh", "stems", "--jobs", "2"]
        (self.room / "stems").mkdir()
        self.assertEqual(self.sh(*run), 3)
        for i in range(5):
            self.place(f"stems/{i} \n.wav", "good")
        self.assertEqual(self.sh(*run), 0, self.said)
        report = xml.etree.ElementTree.parse(self.room / "report.xml").getroot()
        self.assertEqual(len(report.findall("testsuite")), 5)
        for kind, code in self.BAD.items():
            self.place("stems/bad.wav", kind)
            self.assertEqual(self.sh(*run), code, kind)
        self.place("stems/bad.wav", "missing")
        # A machine that cannot be reached, and one whose sendworthy is another program: no sheet, no pass.
        self.assertEqual(self.sh("sh", "spread.sh", "stems", "--ssh", "/bin/false", "-S", "1/nowhere"), 3, self.said)
        liar = self.folder / "bin" / "sendworthy"
        liar.unlink()
        liar.write_text(f"#!/bin/sh\n[ \"$1\" = merge ] || exit 0\nexec '{lab.PROGRAM}' \"$@\"\n")
        liar.chmod(0o755)
        self.assertEqual(self.sh(*run), 3, self.said)


if __name__ == "__main__":
    lab.main()
