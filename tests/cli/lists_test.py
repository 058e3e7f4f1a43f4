"""--files-from: lists from find, from an editor, from Windows, from nowhere."""
import json
import os
import unittest

import lab


class Lists(lab.Case):
    def setUp(self):
        super().setUp()
        self.rules = self.put_rules("gate", "fail_above = -1.0")
        self.sound = lab.wav(0.3)
        self.put("a.wav", self.sound)
        self.put("b.wav", self.sound)

    def paths(self, content, *more, code=0, name="list"):
        """Paths on the sheet of a check whose files come from a list with this content."""
        self.put(name, content)
        got, out, err = self.run_program("check", "--rules", self.rules, "--files-from", name, "--format", "json", *more)
        self.assertEqual(got, code, err)
        return [file["path"] for file in json.loads(out)["files"]]

    def test_what_ends_a_line(self):
        for content in (b"a.wav\nb.wav\n", b"a.wav\nb.wav", b"\n\na.wav\n\nb.wav\n\n", b"a.wav\r\nb.wav\r\n", b"a.wav\r\nb.wav",
                        b"a.wav\r\n\r\nb.wav\r\n\r\n", b"a.wav\0b.wav\0", b"a.wav\0b.wav", b"\0\0a.wav\0\0b.wav",
                        b"\xef\xbb\xbfa.wav\nb.wav\n", b"\xef\xbb\xbfa.wav\r\nb.wav\r\n", b"b.wav\na.wav\n./a.wav\n"):
            with self.subTest(content=content):
                self.assertEqual(self.paths(content), ["a.wav", "b.wav"])

    def test_names_with_any_byte(self):
        for name in (b"line\nbreak.wav", b"latin\xe9.wav", b" lead and trail .wav", b"-r.wav", b"cr.wav\r", b"quote'\".wav", b"$(x)`.wav"):
            self.put(name, self.sound)
            with self.subTest(name=name):
                self.put("list", name + b"\0")
                code, out, err = self.run_program("check", "--rules", self.rules, "--files-from", "list", "--format", "jsonl")
                self.assertEqual(code, 0, err)
                code, again, err = self.run_program("merge", "-", "--files-from", "list", "--format", "jsonl", stdin=out)
                self.assertEqual((code, again), (0, out), err)
        # One CR in a list of plain names is part of that name.
        self.assertEqual(self.paths(b"a.wav\ncr.wav\r\nb.wav\n"), ["a.wav", "b.wav", "cr.wav\r"])

    def test_a_list_with_nothing_in_it_is_no_success(self):
        for content in (b"", b"\n", b"\r\n\r\n", b"\0", b"\0\0\0", b"\xef\xbb\xbf", b"\xef\xbb\xbf\r\n"):
            with self.subTest(content=content):
                self.put("list", content)
                for command in (["check", "--files-from", "list"], ["check", "a.wav", "--files-from", "list"],
                                ["measure", "--files-from", "list"]):
                    code, out, err = self.run_program(*command)
                    self.assertEqual((code, out), (3, b""))
                    self.assertIn(b'no file name in the list "list"', err)
                code, out, err = self.run_program("check", "--files-from", "-", stdin=content)
                self.assertEqual((code, out), (3, b""))
                self.assertIn(b"no file name in standard input", err)

    def test_a_list_in_utf16_is_refused_and_not_read_by_letters(self):
        for content in ("a.wav\r\n".encode("utf-16"), b"\xfe\xff" + "a.wav\n".encode("utf-16-be")):
            self.put("list", content)
            code, out, err = self.run_program("check", "--files-from", "list")
            self.assertEqual((code, out), (3, b""))
            self.assertIn(b"UTF-16", err)

    def test_standard_input_is_read_once(self):
        for command in (["check", "--files-from", "-", "--files-from", "-"], ["merge", "-", "-"], ["merge", "-", "--files-from", "-"]):
            code, out, err = self.run_program(*command, stdin=b"a.wav\n")
            self.assertEqual((code, out), (2, b""), err)
            self.assertIn(b"once", err)

    def test_a_list_that_cannot_be_read_stops_the_run(self):
        (self.room / "folder").mkdir()
        for name in ("nowhere", "folder"):
            code, out, err = self.run_program("check", "a.wav", "--files-from", name)
            self.assertEqual((code, out), (3, b""))
            self.assertIn(name.encode(), err)

    def test_lists_add_up_and_each_file_is_checked_once(self):
        self.put("two", "b.wav\na.wav\n")
        self.assertEqual(self.paths("a.wav\n", "b.wav", "--files-from", "two"), ["a.wav", "b.wav"])

    def test_relative_names_count_from_the_working_folder(self):
        self.put("lists/names", "../a.wav\n")
        code, out, err = self.run_program("check", "--files-from", "lists/names")
        self.assertEqual(code, 3)
        self.put("deep/list", "a.wav\n")
        code, _, _ = self.run_program("check", "--rules", self.rules, "--files-from", "deep/list", "--quiet")
        self.assertEqual(code, 0)

    def test_a_missing_name_keeps_its_place_among_the_others(self):
        self.assertEqual(self.paths("a.wav\ngone.wav\nb.wav\n", code=3), ["a.wav", "b.wav", "gone.wav"])

    def test_a_huge_list_costs_no_more_than_its_names(self):
        self.put("list", "".join(f"gone/{i:06}.wav\n" for i in range(3000)) + "a.wav\n")
        code, out, err = self.run_program("check", "--rules", self.rules, "--files-from", "list", "--format", "jsonl")
        self.assertEqual((code, out.count(b"\n")), (3, 3001))
        with open(self.room / "list", "wb") as file:
            file.truncate((64 << 20) + 1)
        code, out, err = self.run_program("check", "--files-from", "list")
        self.assertEqual((code, out), (3, b""))

    def test_a_folder_on_a_list_stands_for_its_audio(self):
        self.put("stems/k.wav", self.sound)
        os.mkdir(self.room / "empty")
        self.assertEqual(self.paths("stems\n"), ["stems/k.wav"])
        self.assertEqual(self.paths("stems\nempty\n", code=3), ["empty", "stems/k.wav"])


if __name__ == "__main__":
    lab.main()
