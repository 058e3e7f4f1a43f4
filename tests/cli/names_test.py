"""File names of any bytes, in every format: shown cleanly, and readable by parsers that did not write them."""
import csv
import io
import json
import os
import xml.etree.ElementTree

import lab

NAMES = [
    b"line\nbreak.wav", b"tab\there.wav", b"bell\x07\x1b[31mred.wav", b"carriage\rreturn.wav", b"\x1b]0;title\x07.wav",
    b"latin\xe4\xf6.wav", b"cut\xe2\x82.wav", b"overlong\xc0\xaf.wav", b"surrogate\xed\xa0\x80.wav", b"\xff\xfe.wav",
    b"nul\xc2\x80c1.wav", "bidi\u202egpj.wav".encode(), "sep\u2028line.wav".encode(), b"<script>&\"'.wav", b"]]>.wav",
    b"=1+1.wav", b"+cmd.wav", b"@sum.wav", b"comma,semi;quote\".wav", b"-dash.wav", b" lead and trail .wav",
    b"n" * 246 + b".wav", "\u00e9".encode() * 123 + b".wav", b"back\\slash.wav", b"%s%n%d.wav", b"{0}{}.wav", b"pipe|star*.wav",
]


class Names(lab.Case):
    def setUp(self):
        super().setUp()
        self.sound = lab.wav(0.3, rate=8000)
        for name in NAMES:
            with open(os.path.join(os.fsencode(self.room), name), "wb") as file:
                file.write(self.sound)
        # A place on the sheet, so that the markers have something to say: the peak is beyond the limit.
        self.rules = self.put_rules("loud", "warn_above = -20.0")

    def output(self, form, *more, code=0):
        got, out, err = self.run_program("check", "--rules", self.rules, "--format", form, *more, "--", *NAMES)
        self.assertEqual((got, err), (code, b""))
        return out

    def test_text_sends_no_control_character(self):
        text = self.output("text").decode("utf-8")
        for char in text:
            self.assertFalse(char != "\n" and (ord(char) < 32 or 127 <= ord(char) < 160 or char in "\u202e\u2028"), repr(char))
        self.assertIn("line\\nbreak.wav", text.replace("\n", ""))

    def test_json_is_utf_8_and_tells_all_files_apart(self):
        files = json.loads(self.output("json").decode("utf-8"))["files"]
        self.assertEqual(len(files), len(NAMES))
        shown = {file["path"] for file in files}
        for name in NAMES:
            if b"\n" in name or name.isascii():
                self.assertIn(name.decode(), shown)
        self.assertIn("latin\ufffd\ufffd.wav", shown)

    def test_jsonl_is_one_line_a_file(self):
        lines = self.output("jsonl").decode("utf-8").split("\n")
        self.assertEqual(lines.pop(), "")
        self.assertEqual(len(lines), len(NAMES))
        for line in lines:
            json.loads(line)

    def test_junit_pleases_a_strict_parser(self):
        root = xml.etree.ElementTree.fromstring(self.output("junit"))  # expat
        self.assertEqual(len(root.findall(".//testcase")), len(NAMES))
        failed = xml.etree.ElementTree.fromstring(self.output("junit", "--fail-on", "warn", code=1))
        self.assertEqual(len(failed.findall(".//failure")), len(NAMES))

    def test_csv_reads_back_and_starts_no_formula(self):
        for form in ("csv", "markers"):
            rows = list(csv.reader(io.StringIO(self.output(form).decode("utf-8"), newline="")))
            self.assertGreater(len(rows), 1)
            self.assertEqual({len(row) for row in rows}, {len(rows[0])})
            for row in rows:
                for cell in row:
                    self.assertNotRegex(cell, r"^[=@\t\r]|^\+(?![0-9])|^-(?![0-9])", row)

    def test_note_and_midi_are_written(self):
        self.output("markers", "--output", "m.csv", "--note", "note.md")
        note = (self.room / "note.md").read_bytes().decode("utf-8")
        self.assertNotIn("<script>", note)
        self.assertNotIn("\x1b", note)
        self.assertEqual((self.room / "m.mid").read_bytes()[:4], b"MThd")

    def test_messages_are_clean_too(self):
        missing = [b"gone\n\x1b[31m\xff.wav", b"gone\xe2\x80\xae.wav", b"g" * 250 + b".wav"]
        code, _, err = self.run_program("check", "--rules", self.rules, "--format", "json", *missing)
        self.assertEqual(code, 3)
        self.assertEqual(len(err.decode("utf-8").splitlines()), len(missing))
        self.assertNotIn(b"\x1b", err)
        # 250 characters of four bytes are too long for the file system: a message, not a crash.
        code, _, err = self.run_program("check", "--rules", self.rules, "\U0001f3b5" * 250 + ".wav", "p/" * 5000 + "x.wav")
        self.assertEqual(code, 3)

    def test_a_folder_of_them_and_measure(self):
        code, out, _ = self.run_program("measure", ".", "--format", "json")
        self.assertEqual(code, 0)
        self.assertEqual(len(json.loads(out)["files"]), len(NAMES))
        _, text, _ = self.run_program("measure", ".")
        self.assertNotIn(b"\x1b", text)

    def test_merge_keeps_them(self):
        self.output("jsonl", "-o", "all.jsonl")
        code, out, err = self.run_program("merge", "all.jsonl", "--format", "json")
        self.assertEqual((code, err), (0, b""))
        self.assertEqual(len(json.loads(out)["files"]), len(NAMES))


if __name__ == "__main__":
    lab.main()
