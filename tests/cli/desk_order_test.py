"""Orders through the local page's server: read, tried out, edited in their place, and nothing else touched."""
import os
import stat
import threading

import lab
from desk_test import Desk

ORDER = """# What was ordered, by telephone.
[order]
title = "Lamps"          # for now
artist = "The Testers"
# client = ""
rules = "streaming-music"    # mastered
folder = "."

# the one that counts
[[item]]
version = "main"
file = "main.wav"

# a guess: by name
[[item]]
version = "stem"
file = "stems/*.wav"
role = "drums"
required = false

[tags]
require = ["title"] # always
"""


class Orders(lab.Case):
    def setUp(self):
        super().setUp()
        self.put("out/order.toml", ORDER)
        self.desk = Desk(self)

    def get(self, path="out/order.toml"):
        return self.desk.json("GET", f"api/order?path={path}")

    def ask(self, text, path="out/order.toml", **more):
        return self.desk.json("POST", f"api/order?path={path}", {"text": text, **more})

    def file(self, path="out/order.toml"):
        return (self.room / path).read_bytes()

    def test_an_order_is_told_as_it_is_read(self):
        status, told = self.get()
        self.assertEqual(status, 200)
        self.assertRegex(told["digest"], r"^xxh128:[0-9a-f]{32}$")
        self.assertEqual((told["path"], told["text"]), ("out/order.toml", ORDER))
        self.assertIn("instrumental", told["versions"])
        order = told["order"]
        self.assertEqual((order["title"], order["artist"], order["client"], order["name"], order["rules"], order["folder"]),
                         ("Lamps", "The Testers", "", "", ["streaming-music"], "."))
        self.assertEqual(order["items"][0], {"name": "main", "version": "main", "file": "main.wav", "required": True, "rules": [], "expect": [], "expected": [], "judged_as": ["streaming-music"], "role": "",
                                             "title": "", "against": "", "isrc": "", "edits": 0, "line": 10})
        self.assertEqual((order["items"][1]["name"], order["items"][1]["required"], order["items"][1]["judged_as"]), ("stem drums", False, ["stems"]))
        self.assertEqual(order["tags"], {"require": ["title"], "forbid": [], "match": False})
        asks = order["sets"]["streaming-music"]["asks"]
        self.assertTrue(any(one.startswith("Sample rate: ") and "Hz" in one for one in asks), asks)

    def test_what_is_wrong_is_told_with_its_place_and_nothing_is_written(self):
        for text, line, words in ((ORDER.replace("[order]", "[order"), 2, ""), (ORDER.replace('"main"', '"mane"'), 11, "main"), (ORDER.replace("folder = ", 'name = "{tytle}"\nfolder = '), 7, "title"),
                                  (ORDER.replace('"streaming-music" ', '"no-such-set" '), 10, "no-such-set"),
                                  (ORDER.replace("folder = ", 'expect = ["sample_rat=1"]\nfolder = '), 7, "sample_rate"), ("", 1, "[order]")):
            with self.subTest(words=words, line=line):
                status, told = self.ask(text)
                self.assertEqual((status, told["text"], told["fault_line"]), (200, text, line), told)
                self.assertGreaterEqual(told["fault_column"], 1)
                self.assertTrue(told["fault"].startswith(f"line {line}, column {told['fault_column']}: "), told["fault"])
                self.assertIn(words, told["fault"])
                self.assertNotIn("order", told)
                digest = self.get()[1]["digest"]
                self.assertEqual(self.ask(text, digest=digest)[0], 400)
        self.assertEqual(self.file().decode(), ORDER)

    def test_every_edit_changes_what_it_says_and_nothing_else(self):
        (self.room / "out/order.toml").chmod(0o640)
        edits = [{"set": "client", "to": "A \"label\""}, {"set": "title", "to": "Lamps II"}, {"set": "rules", "to": ["cd", "streaming-music"]}, {"set": "name", "to": "{artist}_{title}_{version}"},
                 {"set": "allow_extra", "to": True}, {"item": 0, "set": "file", "to": "Main.wav"}, {"item": 1, "set": "required", "to": None}, {"item": 1, "set": "rules", "to": ["hi-res"]},
                 {"add_item": {"version": "instrumental", "file": "inst.wav"}}, {"item": 2, "set": "length", "to": 30.5},
                 {"set": "expect", "to": ["sample_rate=48000", "bit_depth=24"]}, {"item": 0, "set": "expect", "to": ["sample_rate=96000"]}]
        status, told = self.ask(ORDER, edits=edits)
        self.assertEqual(status, 200, told)
        wanted = ORDER.replace('"Lamps" ', '"Lamps II" ').replace('# client = ""\n', '# client = ""\nclient = "A \\"label\\""\n').replace('"streaming-music" ', '["cd", "streaming-music"] ')
        wanted = wanted.replace('folder = "."\n', 'folder = "."\nname = "{artist}_{title}_{version}"\nallow_extra = true\nexpect = ["sample_rate=48000", "bit_depth=24"]\n')
        wanted = wanted.replace('"main.wav"', '"Main.wav"\nexpect = "sample_rate=96000"')
        wanted = wanted.replace("required = false\n", 'rules = "hi-res"\n\n[[item]]\nversion = "instrumental"\nfile = "inst.wav"\nlength = 30.5\n')
        self.assertEqual(told["text"], wanted)
        self.assertEqual(self.file().decode(), ORDER, "nothing is written without a digest")
        self.assertEqual([item["name"] for item in told["order"]["items"]], ["main", "stem drums", "instrumental"])
        self.assertEqual([item["expected"] for item in told["order"]["items"]][:2], [["Bit depth: 24 bits", "Sample rate: 96000 Hz"], ["Sample rate: 48000 Hz", "Bit depth: 24 bits"]])
        status, saved = self.ask(told["text"], digest=told["digest"])
        self.assertEqual((status, saved["text"]), (200, wanted), saved)
        self.assertEqual((self.file().decode(), self.get()[1]["digest"]), (wanted, saved["digest"]))
        self.assertEqual(stat.S_IMODE((self.room / "out/order.toml").stat().st_mode), 0o640)
        status, gone = self.ask(wanted, edits=[{"remove_item": 1}])
        self.assertEqual(status, 200)
        self.assertNotIn("a guess", gone["text"])
        self.assertIn("# the one that counts", gone["text"])
        self.assertEqual([p.name for p in (self.room / "out").iterdir()], ["order.toml"])

    def test_line_ends_and_bytes_that_were_not_touched_stay(self):
        for before in (ORDER.replace("\n", "\r\n"), ORDER.replace("\n", "\r\n", 3), "\ufeff" + ORDER):
            with self.subTest(before=before[:30]):
                (self.room / "out/order.toml").write_bytes(before.encode())
                told = self.get()[1]
                # As a browser's field hands it back.
                status, saved = self.ask(told["text"].replace("\r\n", "\n").replace('role = "drums"', 'role = "bass"'), digest=told["digest"])
                self.assertEqual(status, 200, saved)
                self.assertEqual(self.file(), before.replace('"drums"', '"bass"').encode())
        # A line more near the top and another last one: what lies between stays, line by line.
        before = ORDER.replace('artist = "The Testers"\n', 'artist = "The Testers"\r\n').replace("[[item]]\n", "[[item]]\r\n")
        (self.room / "out/order.toml").write_bytes(before.encode())
        told = self.get()[1]
        changes = lambda text: ("# new\n" + text).replace("# always", "# ever")
        status, saved = self.ask(changes(told["text"].replace("\r\n", "\n")), digest=told["digest"])
        self.assertEqual(status, 200, saved)
        self.assertEqual(self.file(), changes(before).encode())

    def test_an_order_that_changed_meanwhile_is_not_written_over(self):
        told = self.get()[1]
        self.put("out/order.toml", ORDER + "# by hand\n")
        status, refused = self.ask(ORDER.replace("Lamps", "Lights"), digest=told["digest"])
        self.assertEqual((status, refused["error"]["code"]), (409, "changed"))
        self.assertEqual(self.file().decode(), ORDER + "# by hand\n")

    def test_an_order_that_another_program_has_open_is_left_to_it(self):
        path, digest = self.room / "out/order.toml", self.get()[1]["digest"]
        with open(path, "a") as held:
            status, told = self.ask(ORDER.replace("Lamps", "Lights"), digest=digest)
            self.assertEqual((status, told["error"]["code"]), (409, "being_written"))
            held.write("# by hand\n")
        self.assertEqual(self.file().decode(), ORDER + "# by hand\n")
        self.assertEqual([p.name for p in path.parent.iterdir()], ["order.toml"])

    def test_what_cannot_be_written_is_said_and_stays(self):
        path, digest = self.room / "out/order.toml", self.get()[1]["digest"]
        path.chmod(0o444)
        status, told = self.ask(ORDER.replace("Lamps", "Lights"), digest=digest)
        self.assertEqual((status, told["error"]["code"]), (403, "write_protected"), told)
        self.assertIn("is write-protected; ", told["error"]["text"])
        self.assertIn("copy the folder to where it can", told["error"]["text"])
        path.chmod(0o644)
        # Nothing new can be written beside it.
        taken = [path.parent / f".sendworthy-{self.desk.process.pid}-{i}.tmp" for i in range(200)]
        for one in taken:
            one.touch()
        status, told = self.ask(ORDER.replace("Lamps", "Lights"), digest=digest)
        self.assertEqual((status, told["error"]["code"]), (507, "output"), told)
        for one in taken:
            one.unlink()
        self.assertEqual(self.file().decode(), ORDER)

    def test_an_order_of_nearly_a_mebibyte_is_saved_as_it_is_shown_and_none_that_is_larger(self):
        large = ORDER + "# x\n" * (((1 << 20) - len(ORDER)) // 4)
        (self.room / "out/order.toml").write_text(large)
        told = self.get()[1]
        self.assertEqual(told["text"], large)
        changed = large.replace("Lamps", "Dimly")
        status, saved = self.ask(changed, digest=told["digest"])
        self.assertEqual(status, 200, saved.get("error"))
        self.assertEqual(self.file().decode(), changed)
        for more in ({}, {"digest": saved["digest"]}):
            status, refused = self.ask(changed + "# too much\n", **more)
            self.assertEqual((status, refused["error"]["code"]), (413, "too_large"))
        status, refused = self.desk.json("POST", "api/plan?path=out/order.toml", {"text": changed})
        self.assertEqual((status, refused["error"]["text"]), (413, "the request is larger than 1 MiB; ask for less at once"))
        self.assertEqual(self.desk.json("POST", "api/order?path=out/order.toml", {"text": "\n" * (2 << 20)})[0], 413)

    def test_of_many_that_write_at_once_one_wins(self):
        digest, answers = self.get()[1]["digest"], []
        tabs = [threading.Thread(target=lambda i=i: answers.append(self.ask(ORDER.replace("Lamps", f"Lamps {i}"), digest=digest)[0])) for i in range(8)]
        for one in tabs:
            one.start()
        for one in tabs:
            one.join()
        self.assertEqual(sorted(answers), [200] + 7 * [409])

    def test_what_cannot_be_done_is_refused_and_leaves_the_file(self):
        for edit in ({"set": "nonsense", "to": "x"}, {"set": "title", "to": ""}, {"item": 7, "set": "file", "to": "x.wav"}, {"item": 0, "set": "version", "to": "mane"}, {"remove_item": 9},
                     {"item": 0, "set": "file", "to": "../x.wav"}, {"set": "title", "to": 3}, {"set": "rules", "to": []}, {"item": -1, "set": "file", "to": "x"}, {"what": 1}, 3):
            with self.subTest(edit=edit):
                status, told = self.ask(ORDER, edits=[edit])
                self.assertEqual(status, 400, told)
                self.assertGreater(len(told["error"]["text"]), 20)
        inline = '[order]\ntitle = "a"\nartist = "b"\nitem = 1\n'
        self.assertEqual(self.ask(inline, edits=[{"set": "title", "to": "x"}])[0], 400)
        rest = ORDER[ORDER.index("[order]"):ORDER.index("# the one")]
        self.assertEqual(self.ask('item = [{version = "main", file = "a.wav"}]\n' + rest, edits=[{"item": 0, "set": "file", "to": "b.wav"}])[0], 400)
        # Comments between the texts of a list are not taken away with it, nor with other texts in its place.
        for before in (ORDER.replace('rules = "streaming-music" ', 'rules = [ # why it is this one\n  "streaming-music",\n] '),
                       ORDER.replace('file = "main.wav"', 'rules = [ # why it is this one\n  "streaming-music",\n]\nfile = "main.wav"')):
            of = {"item": 0} if "[[item]]\nversion = \"main\"\nrules" in before else {}
            for to in (None, "cd"):
                status, told = self.ask(before, edits=[{"set": "rules", "to": to, **of}])
                self.assertEqual((status, told.get("error", {}).get("code")), (400, "order"), (of, to, told))
        for body in ("[]", "{}", '{"text": 3}', '{"text": "", "digest": 1}', '{"text": "", "edits": 1}', "{"):
            self.assertEqual(self.desk.ask("POST", "api/order?path=out/order.toml", body)[0], 400, body)
        self.assertEqual(self.file().decode(), ORDER)

    def test_nothing_outside_is_read_or_written(self):
        outside = os.path.join(self.folder, "outside.toml")
        with open(outside, "w") as file:
            file.write(ORDER)
        digest = self.get()[1]["digest"]  # of the same text
        os.symlink(os.path.join(self.folder, "outside.toml"), self.room / "out/link.toml")
        for path in ("../outside.toml", "out/link.toml", "out/main.wav", "out/none.toml", "/etc/x.toml"):
            with self.subTest(path=path):
                self.assertIn(self.get(path)[0], (400, 403, 404))
                self.assertIn(self.ask(ORDER, path=path)[0], (400, 403, 404))
                self.assertIn(self.ask(ORDER.replace("Lamps", "Lights"), path=path, digest=digest)[0], (400, 403, 404))
        with open(outside) as file:
            self.assertEqual(file.read(), ORDER)
        self.assertEqual(self.ask(ORDER.replace("Lamps", "Lights"), digest=digest)[0], 200, "what was asked would be written inside")


if __name__ == "__main__":
    lab.main()
