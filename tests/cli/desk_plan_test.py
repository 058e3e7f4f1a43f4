"""Song plans through the local page's server: read, edited in their place, and nothing else touched."""
import json
import os
import stat
import threading

import lab
from desk_test import Desk

PLAN = """# What it is meant to be.
[song]
title = "Lamps"          # for now
feeling = ""             # what a listener should feel
mix = "../bounces/mix.wav"

# quiet, on purpose
[[section]]
name = "verse 1"
start = 0

[[section]]
name = "chorus 1"
start = "0:43.5"         # the drums come in
end = "1:12"
biggest = true

[[stem]]
name = "lead"
file = "stems/lead.wav"
role = "lead vocal"
# priority = 1           # a guess by role

[vocal]
above_band = [-1.0, 2.0] # LU

[[question]]
id = "level"
text = "Is it loud?"
section = "chorus 1"
stem = "lead"
heard = "quiet"
"""


class Plans(lab.Case):
    def setUp(self):
        super().setUp()
        self.put("songs/lamps.toml", PLAN)
        self.desk = Desk(self)

    def get(self, path="songs/lamps.toml"):
        return self.desk.json("GET", f"api/plan?path={path}")

    def edit(self, *edits, digest=None, path="songs/lamps.toml"):
        digest = digest or self.get(path)[1]["digest"]
        return self.desk.json("POST", f"api/plan?path={path}", {"digest": digest, "edits": list(edits)})

    def text(self, path="songs/lamps.toml"):
        return (self.room / path).read_bytes().decode()

    def test_a_plan_is_told_as_it_is_read(self):
        status, told = self.get()
        self.assertEqual(status, 200)
        self.assertRegex(told["digest"], r"^xxh128:[0-9a-f]{32}$")
        self.assertEqual((told["path"], told["text"]), ("songs/lamps.toml", PLAN))
        self.assertEqual((told["roles"][0], told["heard"][-1]), ("lead vocal", "small speaker"))
        self.assertEqual(told["plan"], {
            "song": {"title": "Lamps", "artist": "", "feeling": "", "approach": "", "mix": "../bounces/mix.wav", "previous": "", "mix_path": "bounces/mix.wav"},
            "sections": [{"name": "verse 1", "start_s": 0.0, "biggest": False, "quietest": False},
                         {"name": "chorus 1", "start_s": 43.5, "end_s": 72.0, "biggest": True, "quietest": False}],
            "stems": [{"name": "lead", "file": "stems/lead.wav", "path": "songs/stems/lead.wav", "role": "lead vocal", "guess": 1}],
            "measured": {},
            "vocal": {"low": -1.0, "high": 2.0},
            "dynamics": {"biggest_margin": 0.0},
            "low_end": {"below_hz": 100.0, "lowest": ""},
            "masking": {},
            "quiet": {"level_db_spl": 45.0, "reference_db_spl": 78.0, "small_speaker": True, "moved": 6.0},
            "references": [],
            "questions": [{"id": "level", "text": "Is it loud?", "section": "chorus 1", "stem": "lead", "heard": "quiet"}]})
        self.put("top.toml", '[song]\nmix = "../out.wav"\nprevious = "/abs.wav"\n')
        self.assertEqual(set(self.get("top.toml")[1]["plan"]["song"]), {"title", "artist", "feeling", "approach", "mix", "previous"})

    def test_every_edit_changes_what_it_says_and_nothing_else(self):
        path = self.room / "songs/lamps.toml"
        path.chmod(0o640)
        _, before = self.get()
        sections = [dict(one, was=was) for was, one in enumerate(before["plan"]["sections"])]
        sections[0]["name"] = "verse"
        sections[1]["start_s"] = 44.25
        sections[1]["end_s"] = None
        sections.append({"name": "outro", "start_s": 90, "quietest": True})
        status, told = self.edit({"set": "song.feeling", "to": "coming home\nlate"}, {"set": "song.title", "to": None},
                                 {"set": "vocal.above_band", "to": {"low": 0, "high": 2.5}}, {"set": "low_end.lowest", "to": "kick"},
                                 {"set": "quiet.small_speaker", "to": False}, {"sections": sections},
                                 {"stems": [{"name": "lead", "priority": 1, "role": "lead"}]},
                                 {"question": "level", "to": {"text": "Is it?", "section": "outro", "stem": None, "heard": "full"}},
                                 {"add_question": {"text": "And?", "section": "verse", "stem": "lead", "heard": "mono"}})
        self.assertEqual(status, 200, told)
        wanted = PLAN.replace('feeling = "" ', 'feeling = """\ncoming home\nlate""" ').replace('"Lamps" ', '"" ').replace("[-1.0, 2.0]", "[0.0, 2.5]")
        wanted = wanted.replace('"verse 1"', '"verse"').replace('"0:43.5"', '"0:44.25"').replace('end = "1:12"\n', "")
        wanted = wanted.replace("biggest = true\n", 'biggest = true\n\n[[section]]\nname = "outro"\nstart = 90\nquietest = true\n')
        wanted = wanted.replace("# a guess by role\n", "# a guess by role\npriority = 1\n").replace('role = "lead vocal"', 'role = "lead"')
        wanted = wanted.replace('"Is it loud?"\nsection = "chorus 1"\nstem = "lead"\nheard = "quiet"', '"Is it?"\nsection = "outro"\nheard = "full"')
        wanted += '\n[[question]]\nid = "question-1"\ntext = "And?"\nsection = "verse"\nstem = "lead"\nheard = "mono"\n'
        for part in ('\n[low_end]\nlowest = "kick"\n', "\n[quiet]\nsmall_speaker = false\n"):
            self.assertIn(part, told["text"])
            told["text"] = told["text"].replace(part, "")
        self.assertEqual(told["text"], wanted)
        self.assertEqual(self.get()[1]["digest"], told["digest"])
        self.assertEqual(stat.S_IMODE(path.stat().st_mode), 0o640)
        self.assertEqual(self.edit({"remove_question": "question-1"}, {"set": "quiet.small_speaker", "to": None})[0], 200)
        code, _, err = self.run_program("listen", "--status", "songs/lamps.toml")
        self.assertNotEqual(code, 2, err)
        self.assertEqual([p.name for p in (self.room / "songs").iterdir()], ["lamps.toml"])

    def test_what_a_starting_plan_measured_is_told_and_aged(self):
        self.put("new.toml", PLAN.replace('start = "0:43.5"         # the drums come in', 'start = "0:43.5"    # -9.8 LUFS\n# quietest = true            # a guess: it is the softest')
                 .replace("[vocal]\nabove_band = [-1.0, 2.0] # LU", "[vocal]\n# above_band = [1.1, 3.9]     # LU; measured: 1.6 to 3.4 LU, with 0.5 LU of room\nsections = {}"))
        _, told = self.get("new.toml")
        self.assertEqual(told["plan"]["measured"], {"vocal.above_band": {"words": "measured: 1.6 to 3.4 LU, with 0.5 LU of room", "to": {"low": 1.1, "high": 3.9}}})
        sections = [dict(one, was=was) for was, one in enumerate(told["plan"]["sections"])]
        self.assertEqual((sections[1]["measured"], sections[1]["guess"]), ("-9.8 LUFS", ["quietest"]))
        sections[1]["vocal"] = {"low": 1, "high": 2.5}
        status, told = self.edit({"sections": sections}, {"set": "vocal.above_band", "to": {"low": 1.1, "high": 3.9}}, path="new.toml")
        self.assertEqual((status, told["plan"]["sections"][1]["vocal"], told["plan"]["vocal"]), (200, {"low": 1.0, "high": 2.5}, {"low": 1.1, "high": 3.9}))
        self.assertIn('sections = { "chorus 1" = [1.0, 2.5] }', told["text"])
        sections[1] = dict(sections[1], start_s=50, vocal=None)
        status, told = self.edit({"sections": sections}, path="new.toml")
        self.assertEqual(status, 200, told)
        self.assertNotIn("-9.8 LUFS", told["text"])
        self.assertNotIn("vocal", told["plan"]["sections"][1])
        self.assertEqual(told["plan"]["measured"]["vocal.above_band"]["words"], "measured before the sections were changed: 1.6 to 3.4 LU, with 0.5 LU of room")

    def test_a_plan_that_changed_meanwhile_is_not_written_over(self):
        _, before = self.get()
        self.put("songs/lamps.toml", PLAN + "# by hand\n")
        status, told = self.edit({"set": "song.title", "to": "x"}, digest=before["digest"])
        self.assertEqual((status, told["error"]["code"]), (409, "changed"))
        self.assertEqual(self.text(), PLAN + "# by hand\n")
        digest = self.get()[1]["digest"]
        results = []
        threads = [threading.Thread(target=lambda n=n: results.append(self.edit({"set": "song.title", "to": f"tab {n}"}, digest=digest)[0])) for n in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        self.assertEqual(sorted(results), [200] + [409] * 7)
        self.assertRegex(self.text(), r'title = "tab \d"          # for now\n')

    def test_what_another_program_writes_during_a_save_is_not_lost(self):
        path = self.room / "songs/lamps.toml"
        with open(path, "a") as held:
            status, told = self.edit({"set": "song.title", "to": "x"})
            self.assertEqual((status, told["error"]["code"]), (409, "being_written"))
            held.write("# by hand\n")
        self.assertEqual(self.text(), PLAN + "# by hand\n")
        # Another that puts a new file in place the moment the page begins to save.
        for n in range(20):
            self.put("songs/lamps.toml", PLAN)
            digest, entries, new = self.get()[1]["digest"], set(os.listdir(path.parent)), self.put("new", PLAN + f"# by hand {n}\n")
            saved = []
            saving = threading.Thread(target=lambda: saved.append(self.edit({"set": "song.title", "to": "x"}, digest=digest)[0]))
            saving.start()
            while saving.is_alive() and set(os.listdir(path.parent)) == entries:
                pass
            os.replace(new, path)
            saving.join()
            self.assertIn(saved[0], (200, 409))
            self.assertEqual(self.text(), PLAN + f"# by hand {n}\n")
        self.assertEqual([p.name for p in path.parent.iterdir()], ["lamps.toml"])

    def test_what_is_refused_is_not_written(self):
        for edit, code, said in (({"set": "masking.most", "to": 101}, "plan", "between 0 and 100"), ({"set": "song.name", "to": "x"}, "request", "no key"),
                                 ({"set": "song.mix", "to": ""}, "plan", "needs a mix"), ({"set": "song.title"}, "request", "\"to\""),
                                 ({"set": "song.title", "to": ["x"]}, "request", "range"), ({"set": "vocal.above_band", "to": {"low": 1}}, "request", "high"),
                                 ({"sections": []}, "request", "cannot go"), ({"sections": [{"was": 9, "name": "a", "start_s": 0}]}, "request", "load the plan again"),
                                 ({"sections": [{"name": "a"}]}, "request", "start_s"), ({"sections": [{"name": "a", "start_s": 0, "was": -1}]}, "request", "whole number"),
                                 ({"sections": [{"name": "a", "start_s": 0, "colour": 1}]}, "request", "colour"), ({"sections": [{"name": "a", "start_s": 0}] * 201}, "request", "200"),
                                 ({"stems": [{"name": "gone", "priority": 1}]}, "request", "no stem"), ({"stems": [{"name": "lead", "priority": 1.5}]}, "request", "whole"),
                                 ({"stems": [{"name": "lead", "priority": 1000}]}, "plan", "priority"), ({"stems": [{"name": "lead", "role": "voice"}]}, "request", "voice"),
                                 ({"question": "gone", "to": {}}, "request", "no question"), ({"add_question": {}}, "request", "text"), ({"remove_question": 1}, "request", "text"),
                                 ({}, "request", "one of"), ({"set": "song.title", "to": "x", "more": 1}, "request", "more"), ([], "request", "object")):
            status, told = self.edit({"set": "song.artist", "to": "y"}, edit)
            self.assertEqual((status, told["error"]["code"]), (400, code), edit)
            self.assertIn(said, told["error"]["text"], edit)
            self.assertEqual(self.text(), PLAN, edit)
        digest = self.get()[1]["digest"]
        for body, status in ((b"", 400), (b"{", 400), (b"[]", 400), (b'{"digest":1,"edits":[]}', 400), (json.dumps({"digest": digest, "edits": []}).encode(), 400),
                             (json.dumps({"digest": digest, "edits": [{"set": "song.title", "to": "x"}] * 201}).encode(), 400), (b"[" * (1 << 20), 400), (b" " * ((1 << 20) + 1), 413)):
            self.assertEqual(self.desk.ask("POST", "api/plan?path=songs/lamps.toml", body)[0], status, body[:40])
        self.assertEqual(self.text(), PLAN)

    def test_hostile_texts_are_kept_and_shown_as_they_are(self):
        for text in ("\"'\\", "<script>alert(1)</script>", "\u202egnp", "a\u0000b\u001b[31m", "x\"\"\"\n[quiet]\nmoved = 1\n", "\U0001f3b5\r\n" * 100):
            status, told = self.edit({"set": "song.feeling", "to": text})
            self.assertEqual((status, told["plan"]["song"]["feeling"]), (200, text))
            self.assertEqual(self.get()[1]["plan"]["song"]["feeling"], text)
            self.assertNotIn("\u202e", self.text())
        self.assertEqual(self.edit({"set": "song.feeling", "to": ""})[1]["text"], PLAN)

    def test_a_text_that_is_no_plan_is_shown_with_its_fault(self):
        self.put("broken.toml", '[song]\nmix = "m"\ntitel = "x"\n')
        self.put("bytes.toml", b"[song\xff\n")
        status, told = self.get("broken.toml")
        self.assertEqual((status, told["fault_line"], told["fault_column"], told["text"]), (200, 3, 1, '[song]\nmix = "m"\ntitel = "x"\n'))
        self.assertIn("line 3, column 1: ", told["fault"])
        self.assertIn('did you mean "title"?', told["fault"])
        self.assertNotIn("plan", told)
        status, told = self.edit({"set": "song.title", "to": "x"}, path="broken.toml")
        self.assertEqual((status, told["error"]["code"]), (400, "plan"))
        self.assertIn("\ufffd", self.get("bytes.toml")[1]["text"])

    def test_only_plans_in_the_opened_folder_are_read_or_written(self):
        self.put("../outside.toml", PLAN)
        self.put("songs/note.txt", "secret")
        self.put("songs/large.toml", "#" * ((1 << 20) + 1))
        os.symlink("../../outside.toml", self.room / "songs/out.toml")
        os.symlink("lamps.toml", self.room / "songs/in.toml")
        os.mkfifo(self.room / "songs/pipe.toml")
        (self.room / "songs/folder.toml").mkdir()
        digest = self.get()[1]["digest"]
        for path, status in (("../outside.toml", 400), ("songs/../../outside.toml", 400), ("/etc/x.toml", 400), ("songs/note.txt", 400), ("songs", 400), ("", 400),
                             ("songs/out.toml", 403), ("songs/gone.toml", 404), ("songs/large.toml", 403), ("songs/pipe.toml", 403), ("songs/folder.toml", 403)):
            self.assertEqual(self.get(path)[0], status, path)
            got, told = self.edit({"set": "song.title", "to": "x"}, digest=digest, path=path)
            self.assertEqual(got, status, path)
            self.assertNotIn("secret", json.dumps(told))
        self.assertEqual((self.folder / "outside.toml").read_text(), PLAN)
        self.assertEqual(self.edit({"set": "song.title", "to": "by a link"}, path="songs/in.toml")[0], 200)
        self.assertTrue((self.room / "songs/in.toml").is_symlink())
        self.assertIn("by a link", self.text())
        name = os.fsdecode(b"caf\xe9.toml")
        self.put(os.fsencode(name), PLAN)
        _, told = self.desk.json("GET", "api/plan?id=caf%25E9.toml")
        self.assertEqual(told["id"], "caf%E9.toml")
        self.assertEqual(self.desk.json("POST", "api/plan?id=caf%25E9.toml", {"digest": told["digest"], "edits": [{"set": "song.title", "to": "x"}]})[0], 200)


if __name__ == "__main__":
    lab.main()
