#!/usr/bin/env python3
"""The checks of this folder, each on a small tree with one thing wrong: a check that cannot fail is worse than none."""
import contextlib
import io
import pathlib
import stat
import subprocess
import sys
import tempfile
import unittest

import fault_map
import include_arrows
import links
import plain_words
import run_docs_commands
import sources_listed
from docs_blocks import blocks


class Tree(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory(prefix="sendworthy-meta-")
        self.addCleanup(folder.cleanup)
        self.root = pathlib.Path(folder.name)

    def write(self, name, text):
        path = self.root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        return path

    def program(self, name, text):
        path = self.write(name, "#!/bin/sh\n" + text)
        path.chmod(path.stat().st_mode | stat.S_IXUSR)
        return path

    def run_main(self, module, *arguments):
        """Exit code and output of a check's main()."""
        before, out = sys.argv, io.StringIO()
        sys.argv = ["check", "--source", str(self.root), *map(str, arguments)]
        try:
            with contextlib.redirect_stdout(out):
                return module.main(), out.getvalue()
        finally:
            sys.argv = before


class IncludeArrows(Tree):
    def setUp(self):
        super().setUp()
        self.write("src/include/sendworthy/sheet.h", "#include <string>\n")
        self.write("src/base/text.h", "#include <sendworthy/sheet.h>\n")
        self.write("src/measure/pass.h", '#include "base/text.h"\n')

    def errors(self):
        return include_arrows.check(self.root)

    def test_a_downward_include_is_fine(self):
        self.assertEqual(self.errors(), [])

    def test_an_upward_include_is_found(self):
        self.write("src/judge/evaluate.cpp", '#include "measure/pass.h"\n')
        self.assertIn("judge may not include measure", self.errors()[0])

    def test_a_circle_is_found(self):
        self.write("src/base/text.h", '#include "base/other.h"\n')
        self.write("src/base/other.h", '#include "base/text.h"\n')
        self.assertTrue(any("circle" in e for e in self.errors()))

    def test_a_library_header_outside_its_place_is_found(self):
        self.write("src/measure/peak.cpp", "#include <sndfile.h>\n")
        self.write("src/base/text.cpp", "#include <toml++/toml.h>\n")
        self.assertEqual(len(self.errors()), 2)

    def test_a_public_header_that_shows_internals_is_found(self):
        self.write("src/include/sendworthy/check.h", '#include "base/text.h"\n')
        self.assertTrue(any("public header" in e for e in self.errors()))

    def test_a_new_folder_and_an_unknown_header_are_found(self):
        self.write("src/extra/x.cpp", "#include <string>\n")
        self.write("src/dsp/x.cpp", "#include <boost/any.hpp>\n")
        self.assertEqual(len(self.errors()), 2)


class PlainWords(Tree):
    def setUp(self):
        super().setUp()
        for i in range(20):
            self.write(f"src/f{i}.cpp", "int x;\n")

    def test_clean_text_is_fine(self):
        self.assertEqual(self.run_main(plain_words)[0], 0)

    def test_each_word_is_found(self):
        for text in ("// TO" + "DO later", "/wo" + "rk/wt/x", "/t" + "mp/x.wav", "<<<<<<" + "< HEAD", "not implem" + "ented"):
            with self.subTest(text=text):
                self.write("src/bad.cpp", text + "\n")
                code, out = self.run_main(plain_words)
                self.assertEqual(code, 1)
                self.assertIn("src/bad.cpp:1", out)


class SourcesListed(Tree):
    def setUp(self):
        super().setUp()
        names = [f"f{i}.cpp" for i in range(12)]
        for name in names:
            self.write("src/base/" + name, "")
        self.write("src/base/CMakeLists.txt", "target_sources(x PRIVATE " + " ".join(names) + ")\n")

    def test_listed_sources_are_fine(self):
        self.assertEqual(self.run_main(sources_listed)[0], 0)

    def test_an_unlisted_and_a_commented_test_are_found(self):
        self.write("tests/unit/a_test.cpp", "")
        self.write("tests/unit/b_test.cpp", "")
        self.write("tests/unit/CMakeLists.txt", "# b_test.cpp\n")
        code, out = self.run_main(sources_listed)
        self.assertEqual(code, 1)
        self.assertIn("a_test.cpp", out)
        self.assertIn("b_test.cpp", out)


class Links(Tree):
    def setUp(self):
        super().setUp()
        self.write("DEVELOPERS.md", "x\n")
        self.write("docs/a.md", "## Two words\n")

    def test_a_link_that_leads_somewhere_is_fine(self):
        self.write("README.md", "[a](docs/a.md#two-words) and `docs/a.md`\n")
        self.assertEqual(self.run_main(links)[0], 0)

    def test_dead_links_are_found(self):
        self.write("README.md", "[a](docs/b.md) [b](docs/a.md#three) `src/none.cpp`\n")
        code, out = self.run_main(links)
        self.assertEqual(code, 1)
        self.assertEqual(len(out.splitlines()), 3)


class FaultMap(Tree):
    def setUp(self):
        super().setUp()
        self.reference = self.program("reference", "printf 'true_peak\\tavailable\\nclicks\\tnot yet\\n'\n")
        self.write("rules/premaster.toml", '[ruleset]\nname = "premaster"\n[[rule]]\nid = "true-peak"\nmeasure = "true_peak"\n')
        self.write("tests/unit/x_test.cpp", 'TEST_CASE("a hot file fails") {}\nTEST_CASE("a sound file passes") {}\n')
        self.rows = {f"{letter}{n:02}": "not yet (no means) | not yet | not yet | not yet"
                     for letter, count in fault_map.COUNTS.items() for n in range(1, count + 1)}
        self.rows["L08"] = "`true_peak` | premaster: `true-peak` | a sound file passes | a hot file fails"

    def check(self):
        self.write("docs/faults.md", "".join(f"| {k} | a fault in plain words | {v} |\n" for k, v in self.rows.items()))
        return self.run_main(fault_map, "--reference", self.reference)

    def test_a_complete_map_is_fine(self):
        self.assertEqual(self.check()[0], 0)
        self.assertEqual(len(self.rows), 156)

    def test_what_does_not_exist_is_found(self):
        for row in ("`tru_peak` | not yet | not yet | not yet",
                    "`true_peak` | premaster: `peak` | not yet | not yet",
                    "`true_peak` | postmaster: `true-peak` | not yet | not yet",
                    "`true_peak` | not yet | no such test | not yet",
                    "`clicks` | premaster: `true-peak` | not yet | not yet",
                    "something | not yet | not yet | not yet"):
            with self.subTest(row=row):
                self.rows["L08"] = row
                self.assertEqual(self.check()[0], 1)

    def test_a_missing_row_is_found(self):
        del self.rows["G14"]
        code, out = self.check()
        self.assertEqual(code, 1)
        self.assertIn("no row for G14", out)


class DocsCommands(Tree):
    def setUp(self):
        super().setUp()
        self.sendworthy = self.program("bin/sendworthy", "echo \"sheet of $1\"\n[ \"$1\" != bad.wav ]\n")
        self.song = self.program("bin/song", 'echo audio > "$1/mix.wav"\n')

    def check(self, page, *more):
        self.write("README.md", page)
        return self.run_main(run_docs_commands, "--program", self.sendworthy, "--demo", self.song, "--cache", self.root / "cache", *more)

    def test_commands_run_with_the_audio_in_place(self):
        self.assertEqual(self.check("```sh\ntest -f mix.wav\nsendworthy mix.wav\n```\n")[0], 0)

    def test_a_wrong_exit_code_is_found(self):
        self.assertEqual(self.check("```sh\nsendworthy bad.wav\n```\n")[0], 1)
        self.assertEqual(self.check("<!-- exit: 1 -->\n```sh\nsendworthy bad.wav\n```\n")[0], 0)
        self.assertEqual(self.check("<!-- exit: 2 -->\n```sh\nsendworthy bad.wav\n```\n")[0], 1)

    def test_a_shown_sheet_is_compared_and_refreshed(self):
        page = "```sh\nsendworthy mix.wav\n```\n\n<!-- sheet: begin -->\n```text\nold\n```\n<!-- sheet: end -->\nEnd.\n"
        self.assertEqual(self.check(page)[0], 1)
        self.assertEqual(self.check(page, "--write")[0], 0)
        fresh = (self.root / "README.md").read_text()
        self.assertEqual(fresh, page.replace("old", "sheet of mix.wav"))
        self.assertEqual(self.check(fresh)[0], 0)

    def test_files_of_a_page_are_written_inside_the_scratch_folder_only(self):
        self.assertEqual(self.check("<!-- file: a/b.toml -->\n```toml\nx = 1\n```\n```sh\ngrep -q x a/b.toml\n```\n")[0], 0)
        self.assertEqual(self.check("<!-- file: ../b.toml -->\n```toml\nx = 1\n```\n```sh\ntrue\n```\n")[0], 1)

    def test_a_page_set_without_commands_is_an_error(self):
        self.assertEqual(self.check("No commands here.\n")[0], 1)

    def test_a_missing_setup_script_is_found(self):
        self.assertEqual(self.check("```sh\nsh tests/run\n```\n")[0], 1)

    def test_an_open_fence_and_a_lost_mark_are_errors(self):
        for page in ("```sh\ntrue\n", "<!-- exit: 1 -->\nText.\n", "<!-- exit: 1 -->\n"):
            with self.subTest(page=page), self.assertRaises(ValueError):
                blocks(page)


class LibrarySilent(Tree):
    def test_a_library_that_prints_is_found(self):
        script = pathlib.Path(__file__).with_name("library_silent.py")
        self.write("x.c", "int puts(const char*); void use(void) { puts(\"\"); }\n" + "".join(
            f"void f{i}(void); void g{i}(void) {{ f{i}(); }}\n" for i in range(60)))
        self.write("y.c", "".join(f"void f{i}(void); void g{i}(void) {{ f{i}(); }}\n" for i in range(60)))
        for name, wanted in (("x", 1), ("y", 0)):
            subprocess.run(["cc", "-c", "-fno-builtin", f"{name}.c", "-o", f"{name}.o"], cwd=self.root, check=True)
            subprocess.run(["ar", "rc", f"{name}.a", f"{name}.o"], cwd=self.root, check=True)
            ran = subprocess.run([sys.executable, "-B", script, "--library", self.root / f"{name}.a"], capture_output=True)
            self.assertEqual(ran.returncode, wanted)


if __name__ == "__main__":
    unittest.main()
