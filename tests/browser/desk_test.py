"""The local page in a browser: the real program, Debian's Chromium through playwright-core, and axe-core for WCAG 2.2 A and AA.

desk.mjs uses the page once, as a person would, and each test here holds one thing against what happened. SENDWORTHY_MODULES is the
folder with the two packages; tests/setup fills it. SENDWORTHY_PICTURES, where set, is a folder that keeps the screenshots.
"""
import csv
import io
import json
import os
import pathlib
import re
import shutil
import struct
import tempfile
import unittest
import xml.etree.ElementTree

import served
from served import lab

HOSTILE = "x\"><script>alert(1)<'script><img src=x onerror=alert(2)>.wav"
TURNED = "turned \u202egnp.wav"
TAG = b"\"><script>alert(3)</script>"


def hostile_wav():
    info = b"INFOINAM" + struct.pack("<I", len(TAG)) + TAG + (b"\0" if len(TAG) % 2 else b"")
    return lab.riff(1, 2, 48000, 16, lab.codes(lab.music(1), 2, 16), extra=b"LIST" + struct.pack("<I", len(info)) + info)


class Room:
    """The opened folder, and a folder beside it from which files are dropped."""

    def __init__(self, folder):
        self.room = folder / "room"
        self.beside = folder / "beside"
        for one in (self.room, self.beside, self.room / "deeper", self.room / "long", self.room / "<b>bold", self.beside / "dropped" / "again"):
            one.mkdir(parents=True)
        (self.room / "mix 06.wav").write_bytes(lab.wav(2))
        (self.room / "mix 07.wav").write_bytes(lab.wav(2, peak=0.3, seed=2))
        (self.room / "no wave.wav").write_bytes(b"RIFF nothing of the kind")
        (self.room / HOSTILE).write_bytes(hostile_wav())
        (self.room / TURNED).write_bytes(lab.wav(1))
        with open(os.fsencode(self.room) + b"/bytes \xff.wav", "wb") as file:
            file.write(lab.wav(1))
        (self.room / "notes.txt").write_text("no audio")
        for i in range(3):
            (self.room / "deeper" / f"stem {i}.wav").write_bytes(lab.wav(1, seed=i))
        long = lab.long_wav(300)
        for i in range(4):
            # Each is another file with another content: nothing of one helps with the next.
            (self.room / "long" / f"long {i}.wav").write_bytes(long[:-1] + bytes([i]))
        (self.beside / "song.wav").write_bytes(lab.wav(2))
        (self.beside / "no audio.txt").write_text("not a sound in it")
        (self.beside / "dropped" / "one.wav").write_bytes(lab.wav(1))
        (self.beside / "dropped" / "again" / "two.wav").write_bytes(lab.wav(1, channels=1))
        (self.beside / "dropped" / "read me.txt").write_text("left off")


class LocalPage(served.Scenes, unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        folder = pathlib.Path(tempfile.mkdtemp(prefix="sendworthy-desk-"))
        cls.addClassCleanup(shutil.rmtree, folder, ignore_errors=True)
        cls.folder = folder
        cls.room = Room(folder)
        # The last scene ends the program, where it was asked for.
        cls.seen, cls.code = served.use("desk.mjs", cls.room.room, folder, "PROCESS", cls.room.room, cls.room.beside)

    # WCAG 2.2, 2.1.1, 2.4.3, 2.4.7, 2.4.11, 2.5.8.
    def test_the_keyboard_alone_leads_from_the_address_to_the_sheet_and_out_again(self):
        about = self.scene("keyboard")
        self.assertEqual(about["chosen"], ["mix 06.wav", "mix 07.wav"])
        self.assertNotEqual(about["ticked"], about["next"])
        self.assertEqual(len(about["judged"]), 2)
        self.assertIn("Stereo mix to mastering", about["judged"])
        self.assertEqual(about["closed"], {"open": False, "kind": "summary"})
        self.assertEqual(about["still"], "check", "the end of a check leaves the keyboard where it was")
        self.assertIn(about["inside"], ("a", "button"))
        self.assertIn("mix 07.wav", about["sheet"])
        self.assertNotEqual(about["out"], "")
        self.assertTrue(about["stops"][0]["name"].startswith("To the files"))
        for stop in about["stops"]:
            self.assertTrue(stop["shows"], stop)
            self.assertFalse(stop["covered"], stop)
            if stop["kind"] == "button":
                self.assertGreaterEqual(min(stop["width"], stop["height"]), 24, stop)

    def test_what_happens_is_said_once_and_in_few_words(self):
        said = self.scene("keyboard")["said"]
        self.assertIn("Checking 2 files.", said)
        self.assertRegex(" ".join(said), r"Checked: .*(FAIL|WARN|PASS)")
        self.assertLess(len(said), 8, said)

    def test_folders_are_walked_and_the_choice_goes_along(self):
        about = self.scene("letters")
        self.assertEqual(about["below"], ["stem 0.wav", "stem 1.wav", "stem 2.wav"])
        self.assertEqual(about["focus"], "Audio files in this folder")
        self.assertTrue(about["words"].startswith("3 files, as "))
        self.assertTrue(about["elsewhere"].startswith("3 files, 3 of them in other folders, as "))
        self.assertNotIn("notes.txt", about["top"])

    def test_which_of_several_fails_is_seen_and_leads_into_the_sheet(self):
        about = self.scene("letters")
        self.assertRegex(about["one"], r"^3 files: \d (FAIL|WARN|PASS)")
        self.assertEqual(len(about["verdicts"]), 3)
        for row in about["verdicts"]:
            self.assertRegex(row, r"^(FAIL|WARN|PASS|NO SHEET)\s+stem \d\.wav$")
        self.assertIn(about["verdicts"][-1].split()[-1], about["there"])

    # WCAG 2.2, 2.1.4.
    def test_single_letters_can_be_put_off(self):
        about = self.scene("letters")
        self.assertEqual(about["off"], "No file is chosen.")
        self.assertEqual(about["shown"], 0)

    def test_the_sheet_is_saved_in_every_form(self):
        saved = self.scene("saves")
        by_ending = {name.rsplit(".", 1)[1]: content for name, content in saved.items()}
        self.assertEqual(set(by_ending), {"html", "txt", "csv", "json", "jsonl", "xml"})
        self.assertEqual(len(json.loads(by_ending["json"])["files"]), 3)
        self.assertIn("</html>", by_ending["html"])
        self.assertEqual(xml.etree.ElementTree.fromstring(by_ending["xml"]).tag, "testsuites")
        self.assertGreater(len(list(csv.reader(io.StringIO(by_ending["csv"])))), 3)
        self.assertGreaterEqual(len([json.loads(line) for line in by_ending["jsonl"].splitlines()]), 3)
        self.assertIn("stem 0.wav", by_ending["txt"])

    def test_dropped_files_and_folders_are_checked(self):
        about = self.scene("drops")
        self.assertTrue(about["veil"])
        self.assertEqual(sorted(about["names"]), ["no audio.txt", "one.wav", "song.wav", "two.wav"])
        self.assertIn("1 file is no audio by name and was left off.", about["told"])
        self.assertEqual(about["closed"], 0)
        self.assertEqual(sum("NO SHEET" in row for row in about["verdicts"]), 1)
        self.assertTrue(about["verdicts"][0].startswith("NO SHEET"), "the worst first")
        self.assertIn("no audio.txt", about["sheet"])
        self.assertEqual(len([tag for tag in about["tags"] if tag]), 4)
        self.assertEqual(about["left"], 4)
        # Where the copies lay is nobody's business.
        self.assertNotIn(str(self.folder), about["sheet"])

    def test_loading_the_page_again_loses_nothing(self):
        about = self.scene("drops")["reloaded"]
        self.assertEqual(about["after"], about["before"])
        self.assertEqual((len(about["after"]["added"]), about["after"]["chosen"], len(about["after"]["rules"]), about["after"]["again"]), (4, 4, 2, True))
        self.assertTrue(all(row.endswith(("FAIL", "WARN", "PASS", "NO SHEET")) for row in about["after"]["added"]), about["after"]["added"])
        self.assertRegex(about["after"]["about"], r", checked \d\d:\d\d:\d\d$")

    def test_two_sheets_of_one_file_are_told_apart(self):
        about = self.scene("bounces")
        self.assertRegex(about["about"], r", checked \d\d:\d\d:\d\d, file of \d\d:\d\d$")

    def test_five_hundred_files_are_bounded_and_can_be_cancelled(self):
        about = self.scene("flood")
        self.assertEqual(about["count"], 500)
        self.assertIn("30 files were left off", about["told"])
        self.assertEqual(about["after"].pop("notices"), 0, "there is room again")
        self.assertEqual(about["most"], 3)
        self.assertRegex(about["busy"], r"^\d+ files? on the way: ")
        self.assertRegex(about["waits"], r"^Checks as soon as \d+ more files? (is|are) here\.$")
        self.assertEqual(about["after"]["rows"], 0)
        self.assertEqual(about["after"]["words"], "No file is chosen.")
        self.assertEqual(about["after"]["focus"], "add-files")
        self.assertLess(about["sent"], 500)
        # What had arrived is deleted, and what was cut off is for the program to delete.
        self.assertGreaterEqual(about["deleted"], about["sent"] - 3)
        self.assertLess(about["answered"], 1000)

    def test_a_check_is_watched_stopped_and_removed_from_two_pages(self):
        about = self.scene("stops")
        self.assertRegex(about["running"], r"^long \d\.wav: \d of 4 done$")
        self.assertRegex(about["title"], r"^\d+ % \u2013 long 0\.wav and 3 more \u2013 sendworthy$")
        self.assertEqual(about["words"], "Stopped before it was done: there is no verdict.")
        self.assertEqual(about["badge"], "stopped")

    def test_a_new_bounce_appears_by_itself_and_one_key_checks_it(self):
        about = self.scene("bounces")
        self.assertEqual(set(about["after"]) - set(about["before"]), {"bounce 08.wav"})
        self.assertEqual(about["told"], "New: bounce 08.wav")
        self.assertEqual(about["tag"], "new")
        self.assertIn(about["verdict"], ("FAIL", "WARN", "PASS"))
        self.assertNotIn("bounce 08", about["quiet"])
        self.assertIn("New in this folder: bounce 08.wav.", about["said"])

    def test_a_page_without_a_line_asks_instead(self):
        about = self.scene("crowd")
        self.assertGreaterEqual(about["full"], 4)
        self.assertEqual(about["lost"], 503)
        self.assertIn("mix 06.wav", about["asked"])
        self.assertEqual(about["notices"], 0)

    def test_a_dropped_folder_is_read_by_the_program_s_own_rule(self):
        source = (lab.SOURCE / "src/audio/open.cpp").read_text()
        page = (lab.SOURCE / "src/desk/page/dropped.js").read_text()
        endings = [set("".join(re.findall(r'"([^"]*)"', re.search(pattern, text, re.DOTALL)[1])).split())
                   for pattern, text in ((r"kAudioExtensions =(.*?);", source), (r"kAudio = new Set\((.*?)\.split", page))]
        self.assertGreater(len(endings[0]), 20)
        self.assertEqual(*endings)

    # WCAG 2.2, A and AA, as far as a program can tell; 1.4.10 for the widths.
    def test_every_size_and_light_is_fit_to_read(self):
        looks = self.scene("looks")
        self.assertEqual(len(looks), 20)
        for focus in (about["focus"] for about in looks.values() if "focus" in about):
            self.assertEqual((focus["kind"], focus["shows"], focus["covered"]), ("input", True, False))
        for view, about in looks.items():
            with self.subTest(view=view):
                self.assertEqual(about["axe"]["broken"], [])
                self.assertLessEqual({"color-contrast", "document-title", "html-has-lang"}, set(about["axe"]["kept"]))
                self.assertLessEqual(about["wider"], 0)
                self.assertEqual(about["cut"], [])
                self.assertEqual(about["small"], [])
                light = sum(int(x) for x in re.findall(r"\d+", about["ground"])[:3]) / 3
                self.assertEqual(light > 128, "dark" not in view)

    # "Good" by the measure of web.dev's Core Web Vitals is 0.1; here hardly anything may move by itself.
    def test_nothing_moves_by_itself(self):
        moved = [about["moved"] for about in self.scene("looks").values() if "moved" in about] + [self.scene("keyboard")["moved"], self.scene("bounces")["moved"]]
        self.assertEqual(len(moved), 7)
        for one in moved:
            self.assertLess(one, 0.05)

    def test_hostile_names_are_shown_as_words(self):
        about = self.scene("hostile")
        self.assertIn(HOSTILE, about["names"])
        self.assertIn("turned \\u{202e}gnp.wav", about["names"])
        self.assertIn("bytes \ufffd.wav", about["names"])
        self.assertTrue(any(name.startswith("<b>bold") for name in about["folders"]), about["folders"])
        self.assertNotIn("\u202e", about["body"])
        self.assertEqual(about["scripts"], 1)
        self.assertIn("<script>alert(3)</script>", about["sheet"])
        self.assertEqual(about["sandbox"], "allow-scripts")
        self.assertEqual(about["reach"], {"origin": "null", "parent": "SecurityError"})

    def test_a_program_that_is_gone_is_said_and_what_was_read_stays(self):
        about = self.scene("gone")
        self.assertEqual(about["broken"]["broken"], [])
        self.assertIn("cannot", about["away"])
        self.assertIn("The program does not answer.", about["told"])
        self.assertIn("keeps trying", about["told"])
        self.assertGreater(about["rows"], 3)
        self.assertEqual(about["sheet"], 1)
        self.assertEqual(about["errors"], [])
        self.assertIn(self.code, (0, 130))
        # Nothing of what was dropped is left.
        self.assertEqual([path.name for path in self.folder.iterdir() if path.name.startswith(("sendworthy", ".sendworthy"))], [])


if __name__ == "__main__":
    lab.main()
