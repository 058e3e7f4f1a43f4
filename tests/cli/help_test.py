"""Help, versions, and what a slip of the hand is answered with."""
import re

import lab

COMMANDS = ("check", "measure", "compare", "plan", "listen", "deliver", "watch", "desk", "merge", "rules", "explain", "selftest")


class Help(lab.Case):
    def test_help_fits_80_columns_and_teaches_by_examples_first(self):
        for arguments in [["--help"]] + [[c, "--help"] for c in COMMANDS]:
            code, out, err = self.run_program(*arguments)
            self.assertEqual((code, err), (0, b""), arguments)
            lines = self.lines(out)
            self.assertLessEqual(max(len(line) for line in lines), 80, [l for l in lines if len(l) > 80])
            self.assertTrue(lines[0].startswith("Usage: sendworthy "), lines[0])
            first_heading = next(line for line in lines[1:] if re.fullmatch(r"[A-Z][a-z ]+:", line))
            self.assertEqual(first_heading, "Examples:", arguments)
            self.assertIn("Exit codes:", out.decode())

    def test_program_help_names_every_command_and_exit_code(self):
        _, out, _ = self.run_program("--help")
        text = out.decode()
        for command in COMMANDS:
            self.assertRegex(text, rf"(?m)^  {command}\b.*\S")
        for code in ("0", "1", "2", "3", "130"):
            self.assertRegex(text, rf"(?m)^  {code} +\S")

    def test_short_spellings_and_the_help_command_say_the_same(self):
        for command in COMMANDS:
            long = self.run_program(command, "--help")
            self.assertEqual(self.run_program(command, "-h"), long)
            self.assertEqual(self.run_program("help", command), long)
            self.assertEqual(self.run_program(command, "no-such-file.wav", "--help"), long)
        self.assertEqual(self.run_program("-h"), self.run_program("--help"))
        self.assertEqual(self.run_program("help"), self.run_program("--help"))

    def test_help_of_check_lists_the_shared_options_with_their_accepted_words(self):
        _, out, _ = self.run_program("check", "--help")
        text = " ".join(out.decode().split())
        for part in ("--rules NAME|PATH", "--role ROLE", "--expect KEY=VALUE", "--note FILE", "--digest", "--second-meter",
                     "--format FORMAT text, json, jsonl, junit, csv, html or markers (default: text)", "--output PATH",
                     "--jobs N", "--fail-on WHAT fail, warn or never", "--files-from FILE|-", "--recursive", "--quiet",
                     "--color WHEN auto, always or never", "--no-progress", "--date YYYY-MM-DD",
                     "--no-cache measure anew what an earlier run has measured; the sheet is the same"):
            self.assertIn(part, text)

    def test_no_command_is_a_wrong_call_that_shows_the_help(self):
        code, out, err = self.run_program()
        self.assertEqual((code, out), (2, b""))
        self.assertIn(b"Usage: sendworthy", err)

    def test_version_names_the_libraries(self):
        code, out, _ = self.run_program("--version")
        self.assertEqual(code, 0)
        self.assertRegex(self.lines(out)[0], r"^sendworthy \d+\.\d+\.\d+$")
        self.assertRegex(out.decode(), r"(?i)libsndfile \d")
        self.assertRegex(out.decode(), r"(?i)taglib \d")
        self.assertEqual(self.run_program("-V"), self.run_program("--version"))


class Slips(lab.Case):
    def refused(self, *arguments):
        code, out, err = self.run_program(*arguments)
        self.assertEqual((code, out), (2, b""), err)
        return err.decode()

    def test_a_misspelt_command_names_the_nearest(self):
        self.assertEqual(self.refused("chek", "a.wav"),
                         'sendworthy: unknown command "chek"; did you mean "check"?\nTry "sendworthy --help".\n')
        self.assertIn('did you mean "measure"?', self.refused("mesure", "a.wav"))
        self.assertIn('did you mean "selftest"?', self.refused("self-test"))
        self.assertIn('did you mean "explain"?', self.refused("help", "explan"))

    def test_a_file_in_place_of_a_command_gets_a_hint(self):
        self.assertIn("to check a file: sendworthy check FILE", self.refused("mix.wav"))

    def test_a_misspelt_option_names_the_nearest(self):
        self.assertEqual(self.refused("check", "--formt", "json", "a.wav"),
                         'sendworthy: unknown option "--formt"; did you mean "--format"? (a file name that starts with a '
                         'dash goes after "--")\nTry "sendworthy check --help".\n')
        self.assertIn('did you mean "--rules"?', self.refused("check", "--rule=cd", "a.wav"))
        self.assertIn('did you mean "--help"?', self.refused("--hlp"))
        self.assertIn('did you mean "--color"?', self.refused("explain", "--colour", "never"))

    def test_a_misspelt_value_names_all_and_the_nearest(self):
        self.assertEqual(self.refused("check", "--format", "jsno", "a.wav"),
                         'sendworthy: --format wants text, json, jsonl, junit, csv, html or markers, found "jsno"; did you mean '
                         '"json"?\nTry "sendworthy check --help".\n')
        self.assertIn('--fail-on wants fail, warn or never, found "warning"', self.refused("check", "--fail-on", "warning", "a"))
        self.assertIn("--color wants auto, always or never", self.refused("check", "--color", "yes", "a.wav"))

    def test_formats_of_other_commands_name_what_is_available(self):
        self.assertIn("--format wants text, json, jsonl or csv", self.refused("measure", "--format", "html", "a.wav"))
        self.assertIn("--format wants text, json, jsonl or csv", self.refused("measure", "--format", "junit", "a.wav"))

    def test_values_out_of_range(self):
        for jobs in ("0", "-1", "257", "two", "1.5", "", "99999999999999999999"):
            self.assertIn("--jobs wants a whole number from 1 to 256", self.refused("check", f"--jobs={jobs}", "a.wav"))
        for day in ("2026-02-29", "2026-13-01", "2026-1-1", "today", "2026-00-10", "2026-04-31", ""):
            self.assertIn("--date wants a day as YYYY-MM-DD", self.refused("check", f"--date={day}", "a.wav"))

    def test_an_option_without_its_value(self):
        for option in ("--format", "--output", "--rules", "--expect", "--jobs", "--note", "--date", "--files-from", "--role"):
            self.assertIn(f"{option} wants a value", self.refused("check", "a.wav", option))
            self.assertIn(f"{option} wants a value", self.refused("check", option, "--quiet", "a.wav"))
        self.assertIn("--quiet takes no value", self.refused("check", "--quiet=no", "a.wav"))

    def test_nothing_to_check(self):
        self.assertEqual(self.refused("check"), 'sendworthy: no file given\nTry "sendworthy check --help".\n')
        self.assertEqual(self.refused("measure"), 'sendworthy: no file given\nTry "sendworthy measure --help".\n')
        self.assertEqual(self.refused("merge"), 'sendworthy: no sheet given\nTry "sendworthy merge --help".\n')
        self.assertIn("a file name is empty", self.refused("check", ""))
        self.assertIn("sound is read from files", self.refused("check", "-"))
        self.assertIn("selftest takes no operand", self.refused("selftest", "x"))

    def test_terminal_escapes_in_a_wrong_word_are_shown_not_sent(self):
        self.assertNotIn("\x1b", self.refused("\x1b[31mchek"))
        self.assertNotIn("\x1b", self.refused("check", "--\x1b[31m"))
        self.assertNotIn("\x1b", self.refused("check", "--format", "\x1b]0;x\x07", "a.wav"))


if __name__ == "__main__":
    lab.main()
