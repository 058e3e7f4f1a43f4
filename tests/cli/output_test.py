"""Where the result goes: whole or not at all, never over what was handed in, and never a silent loss."""
import base64
import hashlib
import os
import re
import stat

import lab


class Output(lab.Case):
    def setUp(self):
        super().setUp()
        self.sound = lab.wav(0.5, rate=8000)
        self.put("a.wav", self.sound)
        self.rules = self.put_rules("loud", "fail_above = -1.0")
        self.check = ["check", "--rules", self.rules, "a.wav", "--date", "2026-01-02"]

    def test_a_file_gets_what_standard_output_would_get(self):
        for form in ("text", "json", "jsonl", "junit", "csv", "markers"):
            code, shown, _ = self.run_program(*self.check, "--format", form)
            self.assertEqual(self.run_program(*self.check, "--format", form, "--output", "out.x"), (0, b"", b""))
            self.assertEqual((self.room / "out.x").read_bytes(), shown, form)
        self.assertEqual(self.run_program(*self.check, "-o", "-")[1], self.run_program(*self.check)[1])
        self.assertEqual(self.leftovers(), [])

    def test_markers_come_as_csv_and_as_midi_beside_it(self):
        for name, csv, midi in (("places.csv", "places.csv", "places.mid"), ("p.d/places", "p.d/places", "p.d/places.mid"),
                                ("x.mid", "x.csv", "x.mid")):
            (self.room / "p.d").mkdir(exist_ok=True)
            self.assertEqual(self.run_program(*self.check, "--format", "markers", "--output", name)[0], 0)
            self.assertIn(b",", (self.room / csv).read_bytes())
            # Standard MIDI Files 1.0: header chunk of 6 bytes, format 0, one track.
            self.assertEqual((self.room / midi).read_bytes()[:12], b"MThd\0\0\0\6\0\0\0\1")

    def test_a_note_is_written_beside_the_sheet(self):
        code, out, err = self.run_program(*self.check, "--note", "note.md")
        self.assertEqual((code, err), (0, b""))
        self.assertEqual(out, self.run_program(*self.check)[1])
        self.assertIn("a.wav", (self.room / "note.md").read_text())
        code, out, _ = self.run_program(*self.check, "--note", "-", "--output", "s.txt")
        self.assertEqual(out.decode(), (self.room / "note.md").read_text())

    def test_a_full_disk_is_said(self):
        for name in ("/dev/full",):
            code, out, err = self.run_program(*self.check, "--output", name)
            self.assertEqual((code, out), (3, b""))
            self.assertEqual(err, b'sendworthy: cannot write "/dev/full": No space left on device; make room there, or name another place\n')
        with open("/dev/full", "wb") as full:
            import subprocess
            for arguments in (self.check, ["--help"], ["check", "--help"], ["--version"], ["rules"], ["explain"]):
                done = subprocess.run([lab.PROGRAM, *arguments], stdout=full, stderr=subprocess.PIPE, cwd=self.room,
                                      env=self.environment(), timeout=lab.TIMEOUT_S)
                self.assertEqual(done.returncode, 3, arguments)
                self.assertEqual(done.stderr, b"sendworthy: cannot write to standard output: No space left on device; make room where it leads to, or lead it elsewhere\n")
        self.assertTrue(stat.S_ISCHR(os.stat("/dev/full").st_mode))

    def test_a_closed_standard_output_is_said_and_gets_into_no_file(self):
        import subprocess
        command = 'exec "$0" "$@" >&-'
        done = subprocess.run(["sh", "-c", command, lab.PROGRAM, *self.check], stderr=subprocess.PIPE, cwd=self.room,
                              env=self.environment(), timeout=lab.TIMEOUT_S)
        self.assertEqual(done.returncode, 3)
        self.assertIn(b"cannot write to standard output", done.stderr)
        # With all three streams closed, messages must not end up in the first file that is opened.
        command = 'exec "$0" "$@" <&- >&- 2>&-'
        done = subprocess.run(["sh", "-c", command, lab.PROGRAM, *self.check, "missing.wav", "-o", "out.json", "-f", "json"],
                              cwd=self.room, env=self.environment(), timeout=lab.TIMEOUT_S)
        self.assertEqual(done.returncode, 3)
        import json
        self.assertEqual(len(json.loads((self.room / "out.json").read_bytes())["files"]), 2)
        self.assertEqual((self.room / "a.wav").read_bytes(), self.sound)

    def test_a_reader_that_leaves_ends_the_run_quietly(self):
        import subprocess
        reader, writer = os.pipe()
        os.close(reader)
        done = subprocess.run([lab.PROGRAM, *self.check], stdout=writer, stderr=subprocess.PIPE, cwd=self.room,
                              env=self.environment(), timeout=lab.TIMEOUT_S)
        os.close(writer)
        self.assertEqual((done.returncode, done.stderr), (3, b""))

    def test_places_that_cannot_be_written(self):
        self.put("file", b"x")
        (self.room / "folder").mkdir()
        for name in ("file/out.json", "no/such/folder/out.json", "folder", "/proc/out.json", "x" * 300):
            with self.subTest(name=name[:20]):
                code, out, err = self.run_program(*self.check, "--output", name)
                self.assertEqual((code, out), (3, b""), err)
                self.assertIn(b"cannot write", err)
        # One output that fails does not keep the others from being written.
        code, out, err = self.run_program(*self.check, "--note", "file/note.md")
        self.assertEqual(code, 3)
        self.assertIn(b"a.wav", out)
        self.assertEqual(self.leftovers(), [])
        self.assertEqual((self.room / "file").read_bytes(), b"x")

    def test_a_read_only_folder(self):
        if os.geteuid() == 0:
            self.skipTest("root may write everywhere")
        (self.room / "locked").mkdir(mode=0o555)
        self.assertEqual(self.run_program(*self.check, "--output", "locked/out.json")[0], 3)
        self.assertEqual(list((self.room / "locked").iterdir()), [])

    def test_an_old_result_is_replaced_and_a_link_followed(self):
        self.put("old.json", b"old")
        os.symlink("old.json", self.room / "link.json")
        self.assertEqual(self.run_program(*self.check, "-f", "json", "-o", "link.json")[0], 0)
        self.assertTrue((self.room / "link.json").is_symlink())
        self.assertEqual((self.room / "old.json").read_bytes()[:1], b"{")


class Page(lab.Case):
    def test_the_page_allows_its_own_style_and_script_and_nothing_else(self):
        self.put("a.wav", lab.wav(3.5, rate=8000))
        code, out, err = self.run_program("check", "a.wav", "--format", "html", "--fail-on", "never")
        self.assertEqual(code, 0, err)
        page = out.decode()
        policy = re.search('Content-Security-Policy" content="([^"]*)"', page).group(1)
        for tag in ("style", "script"):
            inside = re.search(f"<{tag}>(.*?)</{tag}>", page, re.S).group(1)
            digest = base64.b64encode(hashlib.sha256(inside.encode()).digest()).decode()
            self.assertIn(f"{tag}-src 'sha256-{digest}'", policy)
        self.assertIn("default-src 'none'", policy)
        for figure in ("waveform", "loudness", "peaks", "spectrum", "levels"):
            self.assertIn(f'data-kind="{figure}"', page)


class Spared(lab.Case):
    def setUp(self):
        super().setUp()
        self.sound = lab.wav(0.5, rate=8000)
        self.put("a.wav", self.sound)
        self.put("noending", self.sound)
        self.rules = self.put_rules("loud", "fail_above = -1.0")

    def refused(self, *arguments):
        before = {p: p.read_bytes() for p in self.room.iterdir() if p.is_file()}
        code, out, err = self.run_program(*arguments)
        self.assertEqual((code, out), (2, b""), err)
        self.assertEqual({p: p.read_bytes() for p in self.room.iterdir() if p.is_file()}, before)
        return err

    def test_sound_is_never_written_over(self):
        self.assertIn(b"is one of the files to be read", self.refused("check", "a.wav", "--output", "a.wav"))
        for name in ("new.wav", "B.WAV", "x.flac", "y.aif", "z.mp3"):
            self.assertIn(b"is named like audio", self.refused("check", "a.wav", "--output", name))
            self.assertIn(b"is named like audio", self.refused("check", "a.wav", "--note", name))
            self.assertIn(b"is named like audio", self.refused("measure", "a.wav", "-o", name))

    def test_what_is_no_text_is_not_written_over_whatever_its_name(self):
        self.put("take1", self.sound)
        self.put("take.bak", self.sound)
        for name in ("take1", "take.bak"):
            self.assertIn(b"is no text", self.refused("check", "a.wav", "--output", name))
            self.assertIn(b"is no text", self.refused("check", "a.wav", "--note", name))
            self.assertIn(b"is no text", self.refused("rules", "-o", name))
        self.put("places.mid", self.sound)
        self.assertIn(b"was not written by this program", self.refused("check", "a.wav", "-f", "markers", "-o", "places.csv"))

    def test_a_rule_set_is_not_written_over(self):
        self.assertIn(b"is one of the files to be read", self.refused("rules", self.rules, "-o", "loud.toml"))
        self.assertIn(b"is named like a rule set", self.refused("rules", "-o", "loud.toml"))
        self.assertIn(b"is named like a rule set", self.refused("check", "a.wav", "-o", "other.toml"))

    def test_nothing_that_was_read_is_written_over(self):
        self.assertIn(b"is one of the files to be read", self.refused("check", "noending", "--output", "./noending"))
        self.assertIn(b"is one of the files to be read",
                      self.refused("check", "a.wav", "--rules", self.rules, "-o", "loud.toml"))
        self.put("list", "a.wav\n")
        self.assertIn(b"is one of the files to be read", self.refused("check", "--files-from", "list", "-o", "list"))
        self.assertIn(b"is one of the files to be read", self.refused("measure", "--files-from", "list", "-o", "list"))
        self.run_program("check", "a.wav", "-f", "jsonl", "-o", "s.jsonl")
        self.assertIn(b"is one of the files to be read", self.refused("merge", "s.jsonl", "-f", "jsonl", "-o", "s.jsonl"))

    def test_a_rule_set_with_a_name_of_its_own_is_not_written_over(self):
        self.put("house", (self.room / self.rules).read_text())
        for command in (["check", "a.wav", "--rules", "./house"], ["compare", "a.wav", "noending", "--rules", "./house"], ["rules", "./house"]):
            self.assertIn(b"is one of the files to be read", self.refused(*command, "-o", "house"))
        self.put("plain", "text")
        os.symlink(self.rules, self.room / "link")
        self.assertIn(b"is named like a rule set", self.refused("check", "a.wav", "-o", "link"))
        self.assertEqual(self.run_program("check", "a.wav", "--rules", "./house", "-o", "plain", "--fail-on", "never")[0], 0)

    def test_two_outputs_need_two_targets(self):
        self.assertIn(b"name the same file", self.refused("check", "a.wav", "--output", "x", "--note", "x"))
        self.assertIn(b"cannot share standard output", self.refused("check", "a.wav", "--note", "-"))


if __name__ == "__main__":
    lab.main()
