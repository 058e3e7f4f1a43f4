"""Handing a set over and receiving it: what is written, what the standard tools make of it, and what is found at the other end."""
import hashlib
import json
import os
import shutil
import subprocess
import time
import unittest

import lab

try:
    import jsonschema
except ImportError:
    jsonschema = None

NAMES = ("manifest.json", "SHA256SUMS", "MD5SUMS", "hand-off.md", "hand-off.html")
ORDER = """\
[order]
title = "Paper Lantern"
artist = "The Example Tides"
client = "Example Records"
rules = "./loose.toml"

[[item]]
version = "main"
file = "main.wav"

[[item]]
version = "alternate"
title = "Second Lantern"
file = {other}
"""
WAIVER = """
[[waiver]]
rule = "peak"
files = "second.wav"
reason = "loud on purpose"
by = "A. Example"
until = 2099-01-01
"""


class Manifest(lab.Case):
    def setUp(self):
        super().setUp()
        self.set = self.room / "set"
        self.put_set()

    def put_set(self, other="second.wav", limits="fail_above = 0.0", more=""):
        self.put("set/main.wav", lab.wav(0.5, seed=1))
        self.put("set/" + other, lab.wav(0.5, seed=2, peak=0.9))
        self.put("set/lyrics.txt", "la la\n")
        self.put("set/order.toml", ORDER.format(other=json.dumps(other)) + more)
        self.put("set/loose.toml", lab.RULE_SET.format(name="loose", limits=limits))

    def manifest(self, *more, code=0):
        got = self.run_program("deliver", "manifest", "set/order.toml", "--date", "2026-05-04", "--no-progress", *more)
        self.assertEqual(got[0], code, got)
        self.assertEqual(self.leftovers(), [])
        return got

    def receive(self, folder="set", code=0):
        got, out, err = self.run_program("deliver", "receive", folder, "--format", "json", "--no-progress")
        self.assertEqual(got, code, err)
        return {(f["files"] or [""])[0].removeprefix(folder + "/") if f.get("files") else "": (f["status"], str(f["value"])) for f in json.loads(out)["findings"]}

    def content(self):
        return {name: (self.set / name).read_bytes() for name in NAMES}

    def refused(self, *arguments, code=2, words=b""):
        got = self.run_program("deliver", *arguments)
        self.assertEqual(got[0], code, got)
        self.assertIn(words, got[2])
        return got


class Writing(Manifest):
    def test_every_file_stands_there_with_the_digests_that_hashlib_takes(self):
        _, out, err = self.manifest("--by", "A. Example")
        self.assertEqual(err, b"")
        self.assertIn(b"not where it comes from", out)
        manifest = json.loads((self.set / "manifest.json").read_bytes())
        listed = {f["path"]: f for f in manifest["files"] + manifest["also"]}
        there = {p.relative_to(self.set).as_posix() for p in self.set.rglob("*") if p.is_file()}
        self.assertEqual(set(listed), there - {"manifest.json"})
        for path, file in listed.items():
            data = (self.set / path).read_bytes()
            self.assertEqual((file["size"], file["digest"]["sha256"], file["digest"]["md5"]),
                             (len(data), hashlib.sha256(data).hexdigest(), hashlib.md5(data).hexdigest()), path)
        self.assertEqual([f["path"] for f in manifest["files"]], ["main.wav", "second.wav"])
        self.assertEqual(manifest["made"], {"by": "A. Example", "date": "2026-05-04"})
        self.assertEqual(manifest["verdict"], "pass" if not manifest["open"] else "warn")
        self.assertNotIn("anyway", manifest)
        main = manifest["files"][0]
        self.assertEqual(main["facts"]["sample_rate"], 48000)
        self.assertRegex(main["digest"]["audio"], "^xxh128:[0-9a-f]{32}$")
        sheet = json.loads(self.run_program("measure", "set/main.wav", "--format", "json")[1])["files"][0]
        for key, value in main["measurements"].items():
            self.assertEqual(value, {k: v for k, v in sheet["measurements"][key].items() if not k.startswith("where")})
        self.assertIn("true_peak", main["measurements"])
        self.assertEqual({f["path"]: f["kind"] for f in manifest["also"]},
                         {"MD5SUMS": "sums", "SHA256SUMS": "sums", "hand-off.md": "note", "hand-off.html": "note", "order.toml": "order",
                          "lyrics.txt": "other", "loose.toml": "other"})

    @unittest.skipIf(jsonschema is None, "python3-jsonschema is not installed")
    def test_the_published_schema_holds(self):
        schema = json.loads((lab.SOURCE / "docs" / "manifest.schema.json").read_text())
        validator = jsonschema.validators.validator_for(schema)
        validator.check_schema(schema)
        for more, limits, arguments in (("", "fail_above = 0.0", ()), (WAIVER, "fail_above = -6.0", ()), ("", "fail_above = -6.0", ("--anyway", "no time"))):
            self.put_set(limits=limits, more=more)
            self.manifest(*arguments)
            manifest = json.loads((self.set / "manifest.json").read_bytes())
            self.assertEqual([e.message for e in validator(schema).iter_errors(manifest)], [])
            self.assertEqual(list(manifest), sorted(manifest))

    def test_the_same_set_and_day_give_the_same_bytes(self):
        self.manifest("--by", "A. Example", "--jobs", "1")
        first = self.content()
        self.manifest("--by", "A. Example", "--jobs", "2")
        self.assertEqual(self.content(), first)

    def test_what_fails_is_not_handed_over_without_a_reason(self):
        self.put_set(limits="fail_above = -6.0")
        _, out, err = self.manifest(code=1)
        self.assertIn(b"FAIL", out)
        self.assertIn(b"--anyway REASON", err)
        self.assertEqual([n for n in NAMES if (self.set / n).exists()], [])
        self.manifest("--anyway", "the client <b>knows</b> | it")
        manifest = json.loads((self.set / "manifest.json").read_bytes())
        self.assertEqual((manifest["verdict"], manifest["anyway"]), ("fail", "the client <b>knows</b> | it"))
        self.assertEqual([f["rule"] for f in manifest["files"][1]["open"]], ["peak"])
        self.assertIn("the client &lt;b&gt;knows&lt;/b&gt; | it", (self.set / "hand-off.html").read_text())
        self.assertIn("the client \\<b\\>knows\\</b\\> \\| it", (self.set / "hand-off.md").read_text())
        self.assertIn(b"handed over all the same: the client <b>knows</b> | it", b" ".join(self.run_program("deliver", "receive", "set")[1].split()))

    def test_a_waiver_is_written_with_reason_name_and_last_day(self):
        self.put_set(limits="fail_above = -6.0", more=WAIVER)
        self.manifest("--anyway", "not needed")
        manifest = json.loads((self.set / "manifest.json").read_bytes())
        waived, = manifest["waived"]
        self.assertEqual((waived["rule"], waived["files"], waived["reason"], waived["by"], waived["until"]),
                         ("peak", ["second.wav"], "loud on purpose", "A. Example", "2099-01-01"))
        self.assertNotIn("anyway", manifest)
        for name in ("hand-off.md", "hand-off.html"):
            self.assertIn("loud on purpose", (self.set / name).read_text())

    def test_the_note_is_one_page_without_script_or_network(self):
        self.manifest("--by", "A. Example")
        page = (self.set / "hand-off.html").read_text()
        for wrong in ("<script", "http:", "https:", " src="):
            self.assertNotIn(wrong, page.replace("Content-Security-Policy", ""))
        note = (self.set / "hand-off.md").read_text()
        self.assertLess(len(note.splitlines()), 60)
        sha256 = hashlib.sha256((self.set / "main.wav").read_bytes()).hexdigest()
        for text in (note, page):
            for words in ("Paper Lantern", "A. Example", "2026-05-04", "main.wav", sha256[:8], "sendworthy deliver receive", "sha256sum -c SHA256SUMS",
                          "not where it comes from"):
                self.assertIn(words, text)

    def test_what_somebody_wrote_is_not_replaced(self):
        for name in NAMES:
            self.put("set/" + name, "mine\n")
            self.refused("manifest", "set/order.toml", words=name.encode())
            self.assertEqual((self.set / name).read_text(), "mine\n")
            (self.set / name).unlink()
        self.manifest()
        with open(self.set / "hand-off.md", "a") as note:
            note.write("PS: call me\n")
        before = self.content()
        self.refused("manifest", "set/order.toml", words=b"\"set/hand-off.md\" is not as \"manifest.json\" lists them: somebody changed them, or an earlier run was broken off")
        self.assertEqual(self.content(), before)
        (self.set / "hand-off.md").unlink()
        (self.room / "elsewhere").write_text("kept")
        (self.set / "hand-off.md").symlink_to(self.room / "elsewhere")
        self.refused("manifest", "set/order.toml", words=b"a link")
        self.assertEqual((self.room / "elsewhere").read_text(), "kept")

    def test_what_a_broken_off_run_left_is_named_as_a_whole(self):
        self.manifest()
        (self.set / "manifest.json").unlink()
        _, _, err = self.refused("manifest", "set/order.toml", words=b"an earlier run was broken off")
        for name in NAMES[1:]:
            self.assertIn(f'"set/{name}"'.encode(), err)
        self.assertIn(b"remove what such a run left", err)

    def test_links_and_what_is_no_file_are_refused_before_anything_is_read(self):
        # What is received with a link in it is not intact, so that it must not go out.
        self.put("elsewhere/x.wav", lab.wav(0.5, seed=3))
        for name, target in (("lyrics2.txt", "/etc/passwd"), ("sub/deep.txt", "../../elsewhere/x.wav"), ("broken.txt", "nowhere"), ("linked", "../elsewhere")):
            (self.set / "sub").mkdir(exist_ok=True)
            (self.set / name).symlink_to(target)
            _, _, err = self.refused("manifest", "set/order.toml", "--anyway", "x", words=f'"set/{name}" is a link'.encode())
            self.assertIn(b"put the file itself in its place, or move the link out", err)
            self.assertEqual([n for n in NAMES if (self.set / n).exists()], [])
            (self.set / name).unlink()
        (self.set / "main.wav").rename(self.room / "main.wav")
        (self.set / "main.wav").symlink_to("../main.wav")
        (self.set / "zz.txt").symlink_to("../main.wav")
        self.refused("manifest", "set/order.toml", words=b'"set/main.wav" (and 1 more) is a link')
        (self.set / "main.wav").unlink(), (self.set / "zz.txt").unlink()
        (self.room / "main.wav").rename(self.set / "main.wav")
        os.mkfifo(self.set / "pipe.txt")
        self.refused("manifest", "set/order.toml", words=b'"set/pipe.txt" is neither a file nor a folder')
        (self.set / "pipe.txt").unlink()
        self.set.rename(self.room / "real")
        self.set.symlink_to("real")  # what the user names is followed
        self.manifest()
        self.receive()

    def test_a_set_of_nothing_is_not_handed_over(self):
        order = (self.set / "order.toml").read_text().replace("file =", "required = false\nfile =")
        (self.set / "order.toml").write_text(order)
        for name in ("main.wav", "second.wav"):
            (self.set / name).unlink()
        self.manifest(code=1)  # the set fails
        self.refused("manifest", "set/order.toml", "--anyway", "it comes later", words=b"there is nothing to hand over")
        self.assertEqual([n for n in NAMES if (self.set / n).exists()], [])

    def test_all_or_nothing_where_nothing_can_be_written(self):
        import resource
        import signal

        def small_files_only():  # the page is larger
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))

        code, _, err = self.run_program("deliver", "manifest", "set/order.toml", preexec_fn=small_files_only)
        self.assertEqual(code, 3, err)
        self.assertIn(b"hand-off.html", err)
        self.assertEqual([n for n in NAMES if (self.set / n).exists()], [])
        self.assertEqual(self.leftovers(), [])

    def test_a_file_that_changes_meanwhile_stops_it(self):
        # Written to over and over, as by an export that is not done: the sound is the same each time, the time of writing is not.
        self.put("set/main.wav", lab.long_wav(10))
        process = subprocess.Popen([lab.PROGRAM, "deliver", "manifest", "set/order.toml", "--anyway", "x"], cwd=self.room, env=self.environment(),
                                   stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        while process.poll() is None:
            with open(self.set / "main.wav", "r+b") as file:
                file.seek(-8, os.SEEK_END)
                last = file.read(8)
                file.seek(-8, os.SEEK_END)
                file.write(last)
            time.sleep(0.01)
        out, err = process.communicate()
        self.assertEqual((process.returncode, out), (3, b""), err)
        self.assertIn(b"changed while it was checked", err)
        self.assertEqual([n for n in NAMES if (self.set / n).exists()], [])

    def test_options_of_other_tasks_are_refused(self):
        for arguments, words in ((("manifest", "o", "--format", "json"), b"takes no --format"), (("manifest", "o", "-o", "x"), b"takes no --output"),
                                 (("check", "o", "--by", "x"), b"takes no --by"), (("new", "d", "--anyway", "x"), b"takes no --anyway"),
                                 (("receive", "d", "--date", "2026-01-01"), b"takes no --date"), (("receive", "d", "-f", "csv"), b"text or json"),
                                 (("manifest", "o", "--by", " "), b"--by is empty"), (("manifest",), b"wants one order"), (("receive",), b"wants one folder"),
                                 (("manifets", "o"), b"did you mean \"manifest\"?"), (("receive", "set", "-o", "set/x.txt"), b"lies in the folder")):
            self.refused(*arguments, words=words)

    def test_the_help_says_which_formats_each_task_takes(self):
        said = b" ".join(self.run_program("deliver", "--help")[1].split())
        self.assertIn(b"html or markers (default: text): of check; receive writes text or json, new and manifest take none", said)
        for task in ("new", "manifest"):
            self.refused(task, "set", "--format", "json", words=b"takes no --format")


class StandardTools(Manifest):
    def check(self, *more):
        for tool, name in (("sha256sum", "SHA256SUMS"), ("md5sum", "MD5SUMS")):
            done = subprocess.run([tool, "-c", "--strict", *more, name], cwd=self.set, capture_output=True)
            yield done.returncode, done.stdout + done.stderr

    def test_they_read_the_lists_hostile_names_among_them(self):
        self.put_set(other="sub/-b \\ \n*é.wav")
        for name in (b"set/new\nline.txt", b"set/back\\slash.txt", b"set/  two.txt", b"set/*star.txt", b"set/-dash.txt", b"set/not\xffutf8.txt", b"set/cr\r.txt"):
            self.put(name, name)
        self.manifest("--anyway", "names are awful on purpose")
        for code, out in self.check():
            self.assertEqual(code, 0, out)
            self.assertEqual(out.count(b": OK"), len(list(p for p in self.set.rglob("*") if p.is_file())) - 3)
        manifest = json.loads((self.set / "manifest.json").read_bytes())
        self.assertEqual([f["path_bytes"] for f in manifest["also"] if "path_bytes" in f], ["not%FFutf8.txt"])
        self.receive()
        with open(self.set / "lyrics.txt", "a") as file:
            file.write("x")
        for code, out in self.check():
            self.assertEqual(code, 1)
            self.assertIn(b"lyrics.txt: FAILED", out)


class Receiving(Manifest):
    def setUp(self):
        super().setUp()
        self.manifest()

    def test_intact(self):
        found = self.receive()
        self.assertEqual(list(found), [""])
        self.assertEqual(found[""][0], "pass")
        self.assertIn("files, as listed on 2026-05-04", found[""][1])
        self.assertEqual(self.run_program("deliver", "receive", "set", "--quiet"), (0, b"INTACT  set\n", b""))
        self.assertIn(b"not where it comes from", self.run_program("deliver", "receive", "set")[1])
        shutil.copytree(self.set, self.room / "copy")
        self.assertEqual(self.receive("copy"), found)

    def test_one_changed_byte_of_any_file_is_found(self):
        for path in [p for p in self.set.rglob("*") if p.is_file() and p.name != "manifest.json"]:
            data = path.read_bytes()
            path.write_bytes(data[:-1] + bytes([data[-1] ^ 1]))
            self.assertEqual(self.receive(code=1)[path.name][0], "fail", path)
            path.write_bytes(data)
        self.receive()

    def test_missing_changed_and_added_stand_side_by_side(self):
        (self.set / "main.wav").unlink()
        (self.set / "lyrics.txt").write_text("la\n")
        self.put("set/sub/new.wav", b"x")
        (self.set / "link.wav").symlink_to("/etc/hostname")
        (self.set / "out").symlink_to("/")
        os.mkfifo(self.set / "pipe")
        found = self.receive(code=1)
        for name, words in (("main.wav", "missing"), ("lyrics.txt", "changed: 3 bytes, and 6"), ("sub/new.wav", "does not list it"), ("link.wav", "a link"),
                            ("out", "a link"), ("pipe", "no file")):
            self.assertEqual(found[name][0], "fail")
            self.assertIn(words, found[name][1])
        self.assertEqual(len(found), 6)
        text = self.run_program("deliver", "receive", "set")[1]
        self.assertIn(b"NOT INTACT  set\n", text)
        self.assertTrue(all(len(line) <= 80 for line in text.decode().splitlines()))

    def test_a_renamed_file_is_told_by_its_bytes(self):
        (self.set / "main.wav").rename(self.set / "main final.wav")
        (self.set / "sub").mkdir()
        (self.set / "lyrics.txt").rename(self.set / "sub" / "words.txt")
        data = bytearray((self.set / "second.wav").read_bytes())
        (self.set / "second.wav").unlink()
        data[-1] ^= 1
        self.put("set/third.wav", bytes(data))
        found = self.receive(code=1)
        self.assertEqual(found, {"main.wav": ("fail", 'renamed to "main final.wav"; its bytes are those that were sent'),
                                 "lyrics.txt": ("fail", 'renamed to "sub/words.txt"; its bytes are those that were sent'),
                                 "second.wav": ("fail", "missing"), "third.wav": ("fail", "added: the manifest does not list it")})
        self.assertIn(b"Give what was renamed its name back", self.run_program("deliver", "receive", "set")[1].replace(b"\n  ", b" "))

    def test_a_copy_is_no_renamed_file_where_the_file_itself_is_there(self):
        shutil.copy(self.set / "main.wav", self.set / "copy.wav")
        self.assertEqual(self.receive(code=1), {"copy.wav": ("fail", "added: the manifest does not list it")})
        (self.set / "main.wav").rename(self.set / "also.wav")
        found = self.receive(code=1)
        self.assertEqual((found["main.wav"][1], found["copy.wav"][1], len(found)),
                         ('renamed to "also.wav"; its bytes are those that were sent', "added: the manifest does not list it", 2))

    def test_a_manifest_without_sound_is_not_intact(self):
        manifest = json.loads((self.set / "manifest.json").read_bytes())
        for also in (manifest["also"], []):
            bare = self.room / "bare"
            shutil.rmtree(bare, ignore_errors=True)
            bare.mkdir()
            for file in also:
                if file["kind"] != "sums":
                    shutil.copy(self.set / file["path"], bare / file["path"])
            (bare / "manifest.json").write_text(json.dumps({**manifest, "files": [], "also": also}))
            got, out, _ = self.run_program("deliver", "receive", "bare")
            self.assertEqual(got, 1)
            self.assertIn(b"NOT INTACT", out)
            self.assertIn(b"lists no sound", out)

    @unittest.skipIf(jsonschema is None, "python3-jsonschema is not installed")
    def test_the_sheet_of_a_receipt_follows_its_schema(self):
        schema = json.loads((lab.SOURCE / "docs" / "sheet.schema.json").read_text())
        (self.set / "main.wav").unlink()
        for code in (1, 0):
            sheet = self.json_of("deliver", "receive", "set", code=code)
            self.assertEqual([e.message for e in jsonschema.validators.validator_for(schema)(schema).iter_errors(sheet)], [])
            self.put("set/main.wav", lab.wav(0.5, seed=1))

    def test_a_link_in_a_files_place_is_not_followed(self):
        data = (self.set / "main.wav").read_bytes()
        (self.set / "main.wav").unlink()
        self.put("elsewhere.wav", data)
        (self.set / "main.wav").symlink_to(self.room / "elsewhere.wav")
        self.assertIn("not followed", self.receive(code=1)["main.wav"][1])
        shutil.rmtree(self.room / "other", ignore_errors=True)
        self.set.rename(self.room / "other")
        self.set.symlink_to(self.room / "other")  # what the user names is followed
        (self.room / "other" / "main.wav").unlink()
        self.put("other/main.wav", data)
        self.receive()

    def test_what_belongs_to_the_hand_off_may_be_left_out_and_a_system_may_leave_its_marks(self):
        for name in NAMES[1:]:
            (self.set / name).unlink()
        self.put("set/.DS_Store", b"x")
        found = self.receive()
        self.assertEqual({found[name][0] for name in NAMES[1:]}, {"note"})
        self.assertEqual(found[".DS_Store"][0], "warn")

    def test_a_list_that_says_something_else_is_found_even_if_the_manifest_lists_it_so(self):
        sums = self.set / "SHA256SUMS"
        text = sums.read_bytes()
        other = text.replace(text[:8], b"00000000", 1)
        manifest = json.loads((self.set / "manifest.json").read_bytes())
        entry, = [f for f in manifest["also"] if f["path"] == "SHA256SUMS"]
        entry["digest"]["sha256"] = hashlib.sha256(other).hexdigest()
        sums.write_bytes(other)
        (self.set / "manifest.json").write_text(json.dumps(manifest))
        self.assertIn("other digests", self.receive(code=1)["SHA256SUMS"][1])

    def test_another_unicode_spelling_of_a_name_is_no_loss(self):
        (self.set / "second.wav").unlink()
        self.put_set(other="caf\u00e9.wav")
        self.manifest()
        (self.set / "caf\u00e9.wav").rename(self.set / "cafe\u0301.wav")
        sums = self.receive()
        self.assertEqual(sums["cafe\u0301.wav"][0], "note")

    def test_exit_codes_of_what_is_no_hand_off(self):
        self.refused("receive", "no-such-folder", code=3, words=b"no such folder")
        self.refused("receive", "set/main.wav", code=3, words=b"no folder")
        (self.room / "empty").mkdir()
        self.refused("receive", "empty", code=3, words=b'"empty" holds no manifest.json, so nothing tells what was sent; name the folder that holds it')

    def hostile(self, text, words):
        (self.set / "manifest.json").write_bytes(text if isinstance(text, bytes) else text.encode())
        got = self.refused("receive", "set", code=2, words=words)
        self.assertEqual(got[1], b"")

    def test_hostile_manifests_are_refused(self):
        good = (self.set / "manifest.json").read_text()
        for text in (b"", b"{", b"\0\xff", b"[]", b"null", b"1" * 100000, b"[" * 1000000, b'{"also":' * 100000, b'{"files":[' + b"0," * 100000, b'"' + b"a" * 100000):
            self.hostile(text, b"no manifest of sendworthy")
        for path in ("/etc/passwd", "../up.wav", "a/../../b", "a//b", "./a", "a/", "", "a\0b", ".."):
            manifest = json.loads(good)
            manifest["also"][0]["path"] = path
            self.hostile(json.dumps(manifest), b"path")
        changes = {
            "size": [-1, 1.5, "7", 2 ** 63, 2 ** 70, 1e300, None, [], {}],
            "digest": [None, {}, {"sha256": "00", "md5": "00"}, {"sha256": 5}, [1], "x"],
            "kind": ["item", "", 3, None],
            "path": [1, None, ["a"], {"a": 1}, "x" * 5000],
            "path_bytes": [1, "other", "%2Fetc%2Fpasswd"],
        }
        for key, values in changes.items():
            for value in values:
                manifest = json.loads(good)
                manifest["also"][0][key] = value
                self.hostile(json.dumps(manifest), b"no manifest of sendworthy")
        for key, values in {"files": [None, 1, {}, [1], [[]], "x"], "schema": [2, "1", None], "tool": [None, {"name": "x", "version": "1"}, []], "verdict": ["fine", 1],
                            "made": [[], {}, {"by": 1, "date": "x"}], "order": [{}, [], {"title": [], "artist": ""}], "anyway": [1, [1], {}]}.items():
            for value in values:
                manifest = json.loads(good)
                manifest[key] = value
                self.hostile(json.dumps(manifest), b"no manifest of sendworthy")
        manifest = json.loads(good)
        manifest["also"].append(manifest["also"][0])
        self.hostile(json.dumps(manifest), b"twice")
        self.hostile(good.replace('"size"', '"size": 1, "size"', 1), b"twice")
        for verdict, anyway in (("fail", None), ("fail", ""), ("pass", "no time"), ("warn", "no time")):
            manifest = {**json.loads(good), "verdict": verdict, "anyway": anyway}
            self.hostile(json.dumps(manifest), b"anyway")
        self.hostile(good.encode().replace(b'"schema"', b'"\xffchema"', 1), b"is not UTF-8 from byte %d on" % (good.encode().index(b'"schema"') + 2))
        # What a later version adds is passed over.
        manifest = json.loads(good)
        manifest["later"] = {"deep": [[{"a": [1]}]]}
        manifest["files"][0]["later"] = [{"path": "../x"}]
        manifest["order"]["later"] = {"x": [1]}
        (self.set / "manifest.json").write_text(json.dumps(manifest))
        self.receive()

    def test_a_huge_manifest_costs_no_huge_memory(self):
        (self.set / "manifest.json").write_bytes(b'{"later":[' + b"0," * (16 << 20) + b'0],"files":[]}')
        import resource
        limit = 600 << 20  # bytes of address space; the text itself is 32 MiB

        def bound():
            resource.setrlimit(resource.RLIMIT_AS, (limit, limit))

        if any(name.endswith("SAN_OPTIONS") for name in os.environ):
            self.skipTest("a sanitizer reserves more than that by itself")
        code, out, err = self.run_program("deliver", "receive", "set", "--jobs", "1", preexec_fn=bound)
        self.assertEqual((code, out), (2, b""), err)
        self.assertIn(b"no manifest of sendworthy", err)


if __name__ == "__main__":
    lab.main()
