"""Colour and progress: on a terminal only, and only when it is wanted."""
import re

import lab

ESCAPE = b"\x1b["
COLOUR = re.compile(rb"\x1b\[[0-9;]*m")
ERASE = b"\r\x1b[K"


class Colour(lab.Case):
    def setUp(self):
        super().setUp()
        self.put("a.wav", lab.wav(0.5, rate=8000))
        self.rules = self.put_rules("loud", "fail_above = -20.0")
        self.check = ["check", "--rules", self.rules, "--no-progress", "a.wav"]

    def coloured(self, *more, **env):
        _, printed, _, _ = lab.on_terminal([*self.check, *more], self.environment(**env), self.room)
        self.assertIn(b"a.wav", printed)
        return COLOUR.search(printed) is not None

    def test_automatic_on_a_terminal(self):
        self.assertTrue(self.coloured(TERM="xterm-256color"))
        self.assertTrue(self.coloured("--color", "auto", TERM="xterm", NO_COLOR=""))
        self.assertFalse(self.coloured(TERM="xterm", NO_COLOR="1"))
        self.assertFalse(self.coloured(TERM="xterm", NO_COLOR="0"))
        self.assertFalse(self.coloured(TERM="dumb"))
        self.assertFalse(self.coloured())

    def test_the_option_wins_over_the_environment(self):
        self.assertTrue(self.coloured("--color", "always", TERM="dumb", NO_COLOR="1"))
        self.assertFalse(self.coloured("--color=never", TERM="xterm"))

    def test_a_pipe_and_a_file_get_none_unless_told(self):
        env = {"TERM": "xterm"}
        self.assertNotIn(ESCAPE, self.run_program(*self.check, env=env)[1])
        self.assertRegex(self.run_program(*self.check, "--color", "always", env=env)[1], COLOUR)
        lab.on_terminal([*self.check, "-o", "out.txt"], self.environment(**env), self.room)
        self.assertNotIn(ESCAPE, (self.room / "out.txt").read_bytes())

    def test_machine_formats_are_never_coloured(self):
        for form in ("json", "jsonl", "junit", "csv", "markers"):
            _, printed, _, _ = lab.on_terminal([*self.check, "-f", form, "--color", "always"], self.environment(TERM="xterm"),
                                               self.room)
            self.assertNotIn(ESCAPE, printed, form)

    def test_the_sheet_fits_a_narrow_terminal(self):
        _, printed, _, _ = lab.on_terminal([*self.check, "--color", "never"], self.environment(TERM="xterm"), self.room,
                                           columns=60)
        widest = max(printed.decode().splitlines(), key=len)
        self.assertLessEqual(len(widest), 60, widest)


class Progress(lab.Case):
    def setUp(self):
        super().setUp()
        # Long enough to be redrawn on any machine, and many names of the same bytes.
        self.put("long.wav", lab.long_wav(120))
        self.rules = self.put_rules("loud", "fail_above = -1.0")
        self.check = ["check", "--rules", self.rules, "--jobs", "1", "long.wav"]

    def run_it(self, *more, stdout_too=False, **env):
        return lab.on_terminal([*self.check, *more], self.environment(**env), self.room, stdout_too=stdout_too)

    def test_one_line_that_is_rewritten_and_erased(self):
        _, printed, out, first_s = self.run_it(TERM="xterm")
        self.assertIn(b"long.wav", printed)
        self.assertRegex(printed, rb"\d+ %")
        self.assertNotIn(b"\n", printed)
        self.assertTrue(printed.startswith(ERASE) and printed.endswith(ERASE), printed)
        self.assertNotIn(ESCAPE, out)
        self.assertNotIn(b"\r", out)

    def test_it_shows_at_once(self):
        # 100 ms are promised; half a second tells "at once" from "after the file" on a machine that is busy with other things.
        self.assertLess(self.run_it(TERM="xterm")[3], 0.5)

    def test_it_is_gone_before_the_sheet_on_the_same_terminal(self):
        _, printed, _, _ = self.run_it("--color", "never", stdout_too=True, TERM="xterm")
        head, _, sheet = printed.rpartition(ERASE)
        self.assertIn(b"long.wav", sheet)
        self.assertNotIn(b"\n", head)

    def test_it_fits_the_terminal(self):
        name = "n" * 200 + ".wav"
        (self.room / "long.wav").rename(self.room / name)
        self.check[-1] = name
        for columns in (80, 30):
            _, printed, _, _ = lab.on_terminal(self.check, self.environment(TERM="xterm"), self.room, columns=columns,
                                               stdout_too=False)
            for line in printed.split(ERASE):
                self.assertLess(len(line.decode()), columns)

    def test_silent_where_it_would_not_be_seen_or_is_not_wanted(self):
        self.assertEqual(self.run_it("--no-progress", TERM="xterm")[1], b"")
        self.assertEqual(self.run_it("--quiet", TERM="xterm")[1], b"")
        self.assertEqual(self.run_it(TERM="dumb")[1], b"")
        self.assertEqual(self.run_it()[1], b"")
        self.assertEqual(self.run_program(*self.check, env={"TERM": "xterm"})[2], b"")


if __name__ == "__main__":
    lab.main()
