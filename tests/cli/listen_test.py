"""The listening pass in a terminal: what is asked, what is kept, and when a pass is complete."""
import fcntl
import json
import os
import pty
import select
import struct
import termios
import time
import unittest

import lab

try:
    import jsonschema
except ImportError:
    jsonschema = None

PLAN = """\
[song]
title = "Lamps"
feeling = "coming home late"
mix = "bounces/mix.wav"
{more}
[[section]]
name = "verse"
start = 0
[[section]]
name = "chorus"
start = 0.4
biggest = true

[[question]]
id = "biggest-section"
text = "Is the biggest section the biggest?"

[[question]]
id = "vocal"
text = "Is the vocal where it belongs?"
section = "verse"

[[question]]
id = "very-quiet"
text = "Very quietly: does nothing poke out?"
heard = "quiet"
"""
ALL = ("biggest-section", "vocal", "very-quiet")
KEYS = "then Enter"


class Terminal:
    """The program behind a pseudo-terminal of its own, so that Ctrl-C is one."""

    def __init__(self, case, *arguments, env=None, columns=80):
        self.case, self.seen, self.code = case, "", None
        self.pid, self.leader = pty.fork()
        if self.pid == 0:
            os.chdir(case.room)
            fcntl.ioctl(0, termios.TIOCSWINSZ, struct.pack("4H", 24, columns, 0, 0))
            os.execve(lab.PROGRAM, [lab.PROGRAM, *arguments], case.environment(TERM="dumb", **(env or {})))
        case.addCleanup(self.close)

    def close(self):
        if self.leader is not None:
            os.close(self.leader)
            self.leader = None
        if self.code is None:
            self.code = os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])

    def until(self, words):
        """What was printed up to the prompt after these words."""
        end = time.monotonic() + lab.TIMEOUT_S
        text = ""
        while not (words in text and text.endswith("\n> ")):
            if time.monotonic() > end:
                raise AssertionError(f"waited for {words!r}, got {text!r}")
            ready, _, _ = select.select([self.leader], [], [], 0.1)
            if ready:
                try:
                    piece = os.read(self.leader, 65536)
                except OSError:
                    piece = b""
                if not piece:
                    raise AssertionError(f"ended before {words!r}: {text!r}")
                text += piece.decode().replace("\r\n", "\n")
        self.seen += text
        return text

    def send(self, text):
        os.write(self.leader, text.encode())

    def answer(self, text, then=KEYS):
        self.send(text + "\n")
        return self.until(then)

    def end(self, text=None):
        """(exit code, what was printed since)."""
        if text is not None:
            self.send(text + "\n")
        last = b""
        while True:
            try:
                piece = os.read(self.leader, 65536)
            except OSError:
                break
            if not piece:
                break
            last += piece
        self.close()
        text = last.decode().replace("\r\n", "\n")
        self.seen += text
        return self.code, text


class Listen(lab.Case):
    def setUp(self):
        super().setUp()
        self.put("song.toml", PLAN.format(more=""))
        self.put("bounces/mix.wav", lab.wav(1.0, rate=8000))
        self.passes = self.room / "song.toml.passes.jsonl"

    def start(self, *more, name="KB"):
        return Terminal(self, "listen", "song.toml", "--by", name, "--fresh", "--date", "2026-01-31", *more)

    def answers(self):
        lines = [json.loads(line) for line in self.passes.read_text().splitlines()]
        return [(one["question"], one["answer"], one["note"]) for one in lines if one["kind"] == "answer"]

    def status(self):
        code, out, err = self.run_program("listen", "song.toml", "--status", "--format", "json")
        self.assertIn(code, (0, 1), err)
        status = json.loads(out)
        self.assertEqual(code, 0 if status["complete"] else 1)
        return status

    def opened(self):
        return {one["id"]: one["open"] for one in self.status()["questions"] if not one["holds"]}

    def whole_pass(self, *more):
        terminal = self.start(*more)
        terminal.until(KEYS)
        terminal.answer("holds")
        terminal.answer("h")
        return terminal.end("H")

    def test_a_whole_pass_closes(self):
        self.assertEqual(self.opened(), dict.fromkeys(ALL, "never asked"))
        terminal = self.start()
        first = terminal.until(KEYS)
        for part in ("Lamps", "Caution", "Question 1 of 3 [biggest-section]", "Feeling: coming home late", "Approach: not stated",
                     "Listen at: 0:00.4", "chorus", "Measured:", "How: At your usual"):
            self.assertIn(part, first)
        self.assertIn("Listen at: 0:00.0 to 0:00.4, verse", terminal.answer("holds"))
        self.assertIn("How: Very quietly", terminal.answer("h"))
        code, last = terminal.end("h")
        self.assertEqual(code, 0, last)
        self.assertIn("Pass 1 is complete: 3 of 3 questions hold", last)
        self.assertEqual(self.answers(), [(one, "holds", "") for one in ALL])
        beginning = json.loads(self.passes.read_text().splitlines()[0])
        self.assertEqual((beginning["kind"], beginning["mix"], beginning["by"], beginning["date"]), ("pass", "bounces/mix.wav", "KB", "2026-01-31"))
        self.assertIn("biggest-section", beginning["measured"])
        status = self.status()
        self.assertEqual((status["complete"], status["pass"], status["by"], status["date"]), (True, 1, "KB", "2026-01-31"))
        code, out, _ = self.run_program("listen", "song.toml", "--status")
        self.assertEqual((code, out.decode().splitlines()[0]), (0, "COMPLETE  bounces/mix.wav: 3 of 3 questions hold (pass 1, 2026-01-31, KB)"))
        # There is nothing to ask; another pass is begun by wish only, and then it is the last one.
        code, text = self.start().end()
        self.assertEqual(code, 0)
        self.assertIn("Nothing to ask", text)
        terminal = self.start("--again")
        self.assertIn("Pass 2", terminal.until(KEYS))
        terminal.answer("h")
        self.assertEqual(terminal.end("q")[0], 1)
        self.assertEqual(self.opened(), {"vocal": "not yet in this pass", "very-quiet": "not yet in this pass"})

    def test_a_skip_leaves_it_open_and_the_next_run_goes_on(self):
        terminal = self.start()
        terminal.until(KEYS)
        terminal.answer("s")
        terminal.answer("h")
        code, last = terminal.end("h")
        self.assertEqual(code, 1)
        self.assertIn("biggest-section: skipped (KB, 2026-01-31)", last)
        self.assertEqual(self.opened(), {"biggest-section": "skipped"})
        terminal = self.start(name="LM")
        self.assertIn("Question 1 of 1 [biggest-section]", terminal.until(KEYS))
        self.assertEqual(terminal.end("h")[0], 0)
        self.assertEqual(self.status()["pass"], 1)

    def test_what_no_question_belongs_to_is_said_before_the_first(self):
        self.put("bounces/mix.wav", lab.wav(4.0, rate=8000))
        self.put("song.toml", PLAN.format(more="") + "[dynamics]\nquiet_to_loud = 40\n[[stem]]\nname = \"x\"\nfile = \"x.wav\"\nrole = \"keys\"\n")
        text = self.start().until(KEYS)
        before = " ".join(text[:text.index("Caution")].split())
        self.assertIn("No question belongs to these", before)
        self.assertIn("not measured: ", before)
        self.assertNotIn("The biggest section", before)

    def test_a_number_and_its_unit_stay_on_one_line(self):
        for columns in range(40, 81, 4):
            terminal = Terminal(self, "listen", "song.toml", "--by", "KB", "--fresh", columns=columns)
            text = terminal.until(KEYS)
            terminal.end("q")
            self.assertNotRegex(text, r"\d\n *(h|dB|LU|LUFS|Hz|s|ms|%)\b")
            self.assertNotIn("\u00a0", text)

    def test_a_tweak_needs_a_note(self):
        terminal = self.start()
        terminal.until(KEYS)
        self.assertIn("A tweak needs a note", terminal.answer("t", "One line") + terminal.answer(""))
        self.assertIn("A tweak needs a note", terminal.answer("tweak", "One line") + terminal.answer("   "))
        self.assertFalse(self.passes.exists())
        terminal.answer("t", "One line")
        self.assertIn("Question 2 of 3", terminal.answer("chorus 1 LU up \x1b[31m"))
        code, last = terminal.end("q")
        self.assertEqual(code, 1)
        self.assertIn("biggest-section: tweak, \"chorus 1 LU up", last)
        self.assertNotIn("\x1b", terminal.seen.replace("^[", ""))
        self.assertEqual(self.answers()[0][1], "tweak")
        self.assertEqual(self.opened()["biggest-section"], "tweak")
        self.assertIn("Last time: tweak, \"chorus 1 LU up", self.start().until(KEYS))

    def test_enter_alone_and_other_words_answer_nothing(self):
        terminal = self.start()
        terminal.until(KEYS)
        for text in ("", "  ", "x", "y", "hold", "1", "\x1b[A"):
            self.assertNotIn("Question", terminal.answer(text))
        code, last = terminal.end("quit")
        self.assertEqual(code, 1)
        self.assertIn("Nothing was answered, and nothing was written", " ".join(last.split()))
        self.assertNotIn("is kept", last)
        self.assertFalse(self.passes.exists())

    def test_what_is_typed_ahead_is_no_answer(self):
        terminal = self.start()
        terminal.send("h\nh\nh\nh\n")
        terminal.until(KEYS)
        self.assertEqual(terminal.end("q")[0], 1)
        self.assertFalse(self.passes.exists())

    def test_a_way_back(self):
        terminal = self.start()
        terminal.until(KEYS)
        self.assertIn("This is the first question", terminal.answer("b"))
        terminal.answer("h")
        self.assertIn("Question 1 of 3", terminal.answer("back"))
        self.assertIn("Question 2 of 3", terminal.answer("s"))
        self.assertEqual(terminal.end("q")[0], 1)
        self.assertEqual([one[1] for one in self.answers()], ["holds", "skip"])
        self.assertEqual(self.opened()["biggest-section"], "skipped")

    def test_ctrl_c_keeps_the_answers(self):
        terminal = self.start()
        terminal.until(KEYS)
        terminal.answer("h")
        terminal.send("\x03")
        code, last = terminal.end()
        self.assertEqual(code, 130)
        self.assertIn("what was answered so far is kept", last)
        self.assertEqual(self.answers(), [("biggest-section", "holds", "")])
        self.assertEqual(self.leftovers(), [])

    def test_ctrl_d_ends_as_quit_does(self):
        terminal = self.start()
        terminal.until(KEYS)
        terminal.answer("h")
        terminal.send("\x04")
        self.assertEqual(terminal.end()[0], 1)
        self.assertEqual(len(self.answers()), 1)

    def test_a_new_bounce_opens_all_and_dither_alone_is_said(self):
        frames = lab.music(4.0, rate=8000)
        self.put("bounces/mix.wav", lab.riff(1, 2, 8000, 16, lab.codes(frames, 2, 16)))
        self.assertEqual(self.whole_pass()[0], 0)
        os.rename(self.room / "bounces/mix.wav", self.room / "bounces/old.wav")
        dithered = [tuple(x + ((i * 7919) % 5 - 2) / 2 / 32768 / 2 for x in frame) for i, frame in enumerate(frames)]
        self.put("bounces/mix.wav", lab.riff(1, 2, 8000, 16, lab.codes(dithered, 2, 16)))
        self.assertEqual(self.opened(), dict.fromkeys(ALL, "mix changed since"))
        terminal = self.start()
        text = " ".join(terminal.until(KEYS).split())
        self.assertIn("A new bounce opens all questions again", text)
        self.assertIn("Name that bounce as [song] previous", text)
        self.assertEqual(terminal.end("q")[0], 1)
        self.put("song.toml", PLAN.format(more='previous = "bounces/old.wav"'))
        terminal = self.start()
        text = " ".join(terminal.until(KEYS).split())
        self.assertIn("Against the bounce before: dither only.", text)
        self.assertIn("It opens them all the same", text)
        self.assertIn("Question 1 of 3", text)
        terminal.end("q")
        # An edit puts the question on its section in front of those that nothing moved for.
        edited = list(frames)
        for i in range(800, 2400):
            edited[i] = tuple(-0.5 * x for x in edited[i])
        self.put("bounces/mix.wav", lab.riff(1, 2, 8000, 16, lab.codes(edited, 2, 16)))
        terminal = self.start()
        text = terminal.until(KEYS) + terminal.answer("s")
        asked = text[text.index("[vocal]"):]
        self.assertIn("Moved: 0:00.", asked.split("> ")[0])
        self.assertNotIn("[very-quiet]", text)

    def test_a_mix_that_is_written_to_meanwhile_gets_no_answer(self):
        terminal = self.start()
        terminal.until(KEYS)
        terminal.answer("h")
        self.put("bounces/mix.wav", lab.wav(1.0, rate=8000, seed=9))
        code, last = terminal.end("h")
        self.assertEqual(code, 1)
        self.assertIn("the mix was written to while you listened", last)
        self.assertEqual(len(self.answers()), 1)
        self.assertEqual(self.opened()["biggest-section"], "mix changed since")

    def test_two_terminals(self):
        first, second = self.start(), self.start(name="LM")
        first.until(KEYS)
        second.until(KEYS)
        first.answer("h")
        # What the other one has answered is not asked again.
        second.answer("s")
        first.answer("h")
        self.assertEqual(second.answer("h").count("Question 3 of 3"), 1)
        self.assertEqual(second.end("h")[0], 1)
        self.assertEqual(first.end("h")[0], 1)
        self.assertEqual(self.opened(), {"biggest-section": "skipped"})

    def test_the_quiet_questions_first_for_loaded_ears(self):
        terminal = Terminal(self, "listen", "song.toml")
        terminal.until("Your initials")
        terminal.answer("", "Your initials")
        terminal.answer("KB", "more than an hour")
        terminal.answer("", "more than an hour")
        terminal.answer("yes", "Begin with those?")
        self.assertIn("[very-quiet]", terminal.answer("y"))
        terminal.answer("h")
        terminal.end("q")
        # A q leaves at these prompts, too.
        for prompts in (("more than an hour",), ("more than an hour", "Begin with those?")):
            terminal = Terminal(self, "listen", "song.toml", "--by", "KB", "--again")
            terminal.until(prompts[0])
            for prompt in prompts[1:]:
                terminal.answer("y", prompt)
            self.assertEqual(terminal.end("q")[0], 1)
        # Whoever answered last is offered.
        terminal = Terminal(self, "listen", "song.toml", "--fresh")
        self.assertIn('Enter for "KB"', terminal.until("Your initials"))
        terminal.answer("")
        terminal.answer("h")
        terminal.end("q")
        self.assertEqual({json.loads(line)["by"] for line in self.passes.read_text().splitlines()}, {"KB"})

    def test_a_damaged_passes_file(self):
        self.whole_pass()
        whole = self.passes.read_text()
        self.passes.write_text(whole[:-10])
        self.assertEqual(self.opened(), {"very-quiet": "never asked"})
        terminal = self.start()
        self.assertIn("1 line of the passes file was cut off", " ".join(terminal.until(KEYS).split()))
        self.assertEqual(terminal.end("h")[0], 0)
        self.assertTrue(self.status()["complete"])
        self.passes.write_text(whole.replace('"holds"', '"hold"', 1))
        for more in ((), ("--status",)):
            code, out, err = self.run_program("listen", "song.toml", "--status", *more)
            self.assertEqual((code, out), (2, b""))
            self.assertIn(b'song.toml.passes.jsonl:2: this line of the passes file is wrong: "answer" must be holds, tweak or skip; put it right', err)
        code, text = self.start().end()
        self.assertEqual(code, 2)
        self.passes.unlink()
        os.symlink("elsewhere", self.passes)
        terminal = self.start()
        terminal.until(KEYS)
        code, last = terminal.end("h")
        self.assertEqual(code, 3)
        self.assertIn("it is a link", last)
        self.assertFalse((self.room / "elsewhere").exists())

    @unittest.skipIf(jsonschema is None, "python3-jsonschema is not installed")
    def test_the_published_schema_holds(self):
        schema = json.loads((lab.SOURCE / "docs" / "passes.schema.json").read_text())
        validator = jsonschema.validators.validator_for(schema)
        validator.check_schema(schema)
        terminal = self.start()
        terminal.until(KEYS)
        terminal.answer("t", "One line")
        terminal.answer("softer")
        terminal.answer("s")
        terminal.end("h")
        with self.passes.open("a") as file:
            file.write("{")
        terminal = self.start()
        terminal.until(KEYS)
        terminal.answer("h")
        terminal.end("q")
        lines = self.passes.read_text().splitlines()
        self.assertEqual(lines.pop(4), "{")
        kinds = [json.loads(line)["kind"] for line in lines]
        self.assertEqual(kinds, ["pass", "answer", "answer", "answer", "lost", "answer"])
        for line in lines:
            self.assertEqual([e.message for e in validator(schema).iter_errors(json.loads(line))], [])
        tweak = json.loads(lines[1])
        for wrong in (dict(tweak, note=" "), dict(tweak, answer="maybe"), dict(tweak, audio=""), dict(tweak, kind="pass")):
            self.assertNotEqual(list(validator(schema).iter_errors(wrong)), [])

    def test_wrong_calls(self):
        code, out, err = self.run_program("listen", "song.toml")
        self.assertEqual((code, out), (2, b""))
        self.assertIn(b"there is no terminal to ask them in; run it in one, or take --status", err)
        self.assertEqual(self.run_program("listen")[0], 2)
        self.assertEqual(self.run_program("listen", "song.toml", "--status", "--format", "csv")[0], 2)
        self.assertEqual(self.run_program("listen", "no.toml", "--status")[0], 2)
        self.put("none.toml", PLAN.format(more="").split("[[question]]")[0])
        code, _, err = self.run_program("listen", "none.toml", "--status")
        self.assertEqual(code, 2)
        self.assertIn(b"the plan asks nothing; add [[question]]", err)
        os.remove(self.room / "bounces/mix.wav")
        self.assertEqual(self.run_program("listen", "song.toml", "--status")[0], 3)
        self.assertEqual(self.start().end()[0], 3)

    def test_escapes_in_a_plan_are_shown_not_sent(self):
        self.put("song.toml", PLAN.format(more='approach = "one\\u001B[31m\\ntwo"').replace("verse", "ver\\u202Ese"))
        terminal = self.start()
        terminal.until(KEYS)
        terminal.answer("h")
        terminal.end("q")
        self.assertNotIn("\x1b", terminal.seen)
        self.assertNotIn("\u202e", terminal.seen)


if __name__ == "__main__":
    lab.main()
