"""The page in a browser: Debian's Chromium through playwright-core, and axe-core for WCAG 2.2 A and AA.

Pages come from the real program, look.mjs opens them once, and each test here holds one thing against what it saw.
SENDWORTHY_MODULES is the folder with the two packages; tests/setup fills it. SENDWORTHY_PICTURES, where set, is a folder
that keeps the screenshots and prints.
"""
import json
import os
import pathlib
import re
import shutil
import struct
import subprocess
import sys
import tempfile
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "cli"))
import lab  # noqa: E402

HERE = pathlib.Path(__file__).resolve().parent
MODULES = pathlib.Path(os.environ["SENDWORTHY_MODULES"])
LOOPS = pathlib.Path("/usr/share/sonic-pi/samples")
HOSTILE = '"><script>alert(1)<\\u002fscript><img src=x onerror=alert(2)>&amp;\'<!--'

RULE = """
[[rule]]
id = "wish-{number}"
measure = "{measure}"
fail_above = {limit}
why = "Whoever gets the file asks for less of this than it has, since what comes later in the chain adds to it and cannot take it away."
remedy = "Go back to the session, take it down where it arises and not on the bus, listen once more and bounce the whole song again."
source = "common practice, no source: made up to fill a page"
"""


def song(path, seconds, gain_db=-4):
    """Loops that somebody else recorded, one after the other, in stereo with channels that differ."""
    loops = [f"|sox {LOOPS / name}.flac -r 48000 -c 2 -p" for name in ("loop_amen_full", "bass_dnb_f", "ambi_choir", "loop_garzul", "guit_e_slide")]
    subprocess.run(["sox", *loops, "-b", "24", str(path), "gain", "-n", str(gain_db), "repeat", "40",
                    "trim", "0", str(seconds), "fade", "0", "0", "1.5"], check=True, capture_output=True)


def clipped(path, source):
    """The same 9 dB louder, cut off at full scale."""
    subprocess.run(["sox", str(source), str(path), "gain", "9"], check=True, capture_output=True)


class Pages:
    """Made once for all tests."""

    def __init__(self, folder):
        self.folder = folder
        room = self.folder / "room"
        room.mkdir()
        self.room = room
        song(room / "song.wav", 45)
        song(room / "long.wav", 300)
        clipped(room / "loud.wav", room / "song.wav")
        (room / "mono.wav").write_bytes(lab.wav(2, channels=1))
        (room / "silence.wav").write_bytes(lab.riff(1, 2, 48000, 16, bytes(4 * 48000)))
        (room / "six.wav").write_bytes(lab.wav(2, channels=6))
        (room / "blip.wav").write_bytes(lab.wav(0.01))
        (room / "not audio.wav").write_bytes(b"RIFF nothing of the kind")
        self.pages = {}
        self.page("song", "song.wav")
        self.page("long", "long.wav")
        self.page("loud", "--rules", "premaster", "--rules", "streaming-music", "loud.wav")
        self.page("several", "song.wav", "loud.wav", "mono.wav", "silence.wav", "six.wav", "blip.wav", "not audio.wav")
        self.page("many", "--rules", self.many(), "long.wav")
        self.page("hostile", "--rules", self.hostile(), self.hostile_song())
        self.merged()
        self.pair()
        self.ordered()
        self.planned()

    def program(self, *arguments):
        environment = {"PATH": "/usr/bin:/bin", "HOME": str(self.folder)}
        done = subprocess.run([lab.PROGRAM, *arguments], cwd=self.room, env=environment, capture_output=True, timeout=120)
        if done.returncode > 3:
            raise AssertionError(f"{arguments}: exit {done.returncode}: {done.stderr.decode()}")
        return done.stdout

    def page(self, name, *arguments):
        path = self.folder / f"{name}.html"
        path.write_bytes(self.program("check", "--format", "html", *arguments))
        self.pages[name] = path

    def many(self):
        """Twenty-five rules that fail, on what was measured, and the rest of the measurements passing."""
        sheet = json.loads(self.program("check", "--format", "json", "long.wav"))["files"][0]
        text = lab.RULE_SET.split("[[rule]]")[0].format(name="many")
        number = 0
        for key, one in sheet["measurements"].items():
            if not isinstance(one.get("value"), (int, float)) or isinstance(one.get("value"), bool):
                continue
            number += 1
            limit = float(one["value"]) + (-1.5 if number <= 25 else 1000)
            text += RULE.format(number=number, measure=key, limit=limit)
        assert number > 40, number
        (self.room / "many.toml").write_text(text)
        return "./many.toml"

    def hostile(self):
        text = lab.RULE_SET.format(name="hostile", limits="fail_above = -90.0")
        text = text.replace("It is the subject of a test.", HOSTILE.replace('"', '\\"'))
        text = text.replace("Turn the file down.", HOSTILE.replace('"', '\\"')).replace("Peak, for tests", HOSTILE.replace('"', '\\"'))
        (self.room / "hostile.toml").write_text(text)
        return "./hostile.toml"

    def hostile_song(self):
        name = "x\"><script>alert(1)<'script><img src=x onerror=alert(2)>.wav"
        tag = b"\"><script>alert(3)</script>"
        info = b"INFOINAM" + struct.pack("<I", len(tag)) + tag + (b"\0" if len(tag) % 2 else b"")
        data = lab.codes(lab.music(1), 2, 16)
        (self.room / name).write_bytes(lab.riff(1, 2, 48000, 16, data, extra=b"LIST" + struct.pack("<I", len(info)) + info))
        return name

    def pair(self):
        """The song with one loop turned down, one passage of other music, and a hostile name."""
        new = "new \"><script>alert(4)<'script>.wav"
        subprocess.run(["sox", "-m", "|sox song.wav -p trim 0 12", "|sox loud.wav -p trim 12 3 pad 12 0", "|sox song.wav -p trim 15 pad 15 0", "-b", "24", new],
                       cwd=self.room, check=True, capture_output=True)
        self.pages["pair"] = self.folder / "pair.html"
        self.pages["pair"].write_bytes(self.program("compare", "--format", "html", "song.wav", new))

    def ordered(self):
        """A small set against its order: one file late and loud, one missing, one too many under a hostile name."""
        folder = self.room / "set"
        folder.mkdir()
        shutil.copy(self.room / "song.wav", folder / "main.wav")
        subprocess.run(["sox", "song.wav", "set/instrumental.wav", "vol", "0.8", "pad", "0.01", "trim", "0", "29.5"], cwd=self.room, check=True, capture_output=True)
        shutil.copy(self.room / "blip.wav", folder / "extra <script>alert(5)<'script>.wav")
        items = "".join(f'[[item]]\nversion = "{version}"\nfile = "{name}"\n' for version, name in
                        (("main", "main.wav"), ("instrumental", "instrumental.wav"), ("tv mix", "tv.wav")))
        (folder / "order.toml").write_text('[order]\ntitle = "Low <b>Water</b>"\nartist = "Nobody Known"\n' + items)
        self.pages["set"] = self.folder / "set.html"
        self.pages["set"].write_bytes(self.program("deliver", "check", "set/order.toml", "--format", "html"))

    def planned(self):
        """A song of four loops against its plan, with a hostile name and a vocal that is nowhere near what is wanted."""
        folder = self.room / "plan"
        (folder / "stems").mkdir(parents=True)
        # Four stand-ins: what matters here is that every picture has something to show.
        for name, loop, gain in (("voice", "ambi_choir", 0.4), ("kick", "bd_haus", 0.5), ("snare", "sn_dolf", 0.3), ("bass", "bass_dnb_f", 0.3)):
            subprocess.run(["sox", "-v", str(gain), str(LOOPS / f"{loop}.flac"), "-r", "48000", "-c", "2", "-b", "24", str(folder / "stems" / f"{name}.wav"),
                            "repeat", "80", "trim", "0", "30"], check=True, capture_output=True)
        subprocess.run(["sox", "-m", *(arg for name in ("voice", "kick", "snare", "bass") for arg in ("-v", "1", str(folder / "stems" / f"{name}.wav"))),
                        "-b", "24", str(folder / "mix.wav")], check=True, capture_output=True)
        stems = "".join(f'[[stem]]\nname = "{shown}"\nfile = "stems/{name}.wav"\nrole = "{role}"\npriority = {priority}\n' for shown, name, role, priority in (
            ("voice", "voice", "lead vocal", 1), ("kick <script>alert(6)<'script>", "kick", "kick", 2), ("snare", "snare", "snare", 3), ("bass " + 150 * "x", "bass", "bass", 4)))
        sections = "".join(f'[[section]]\nname = "{name}"\nstart = {start}\nend = {start + 10}\n{mark}' for name, start, mark in (
            ("first", 0, "quietest = true\n"), ("middle " + 150 * "x", 10, ""), ("last", 20, "biggest = true\n")))
        (folder / "song.toml").write_text('[song]\ntitle = "High Water"\nfeeling = "wide awake"\napproach = "close and dry"\nmix = "mix.wav"\n' + sections + stems +
                                          "[vocal]\nabove_band = [20.0, 21.0]\n[low_end]\nkick_over_bass = 40\n")
        self.pages["plan"] = self.folder / "plan.html"
        self.pages["plan"].write_bytes(self.program("plan", "check", "plan/song.toml", "--format", "html"))

    def merged(self):
        parts = [self.room / "one.jsonl", self.room / "two.jsonl"]
        for part, name in zip(parts, ("song.wav", "loud.wav")):
            part.write_bytes(self.program("check", "--format", "jsonl", name))
        self.pages["merged"] = self.folder / "merged.html"
        self.pages["merged"].write_bytes(self.program("merge", "--format", "html", *map(str, parts)))

    def look(self):
        kept = os.environ.get("SENDWORTHY_PICTURES")
        pictures = pathlib.Path(kept) if kept else self.folder / "pictures"
        pictures.mkdir(parents=True, exist_ok=True)
        done = subprocess.run(["node", str(HERE / "look.mjs"), str(MODULES), str(pictures), *map(str, self.pages.values())],
                              capture_output=True, timeout=600)
        if done.returncode != 0:
            raise AssertionError(done.stderr.decode())
        return json.loads(done.stdout)


class PageInABrowser(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        folder = pathlib.Path(tempfile.mkdtemp(prefix="sendworthy-browser-"))
        cls.addClassCleanup(shutil.rmtree, folder, ignore_errors=True)
        cls.made = Pages(folder)
        cls.seen = cls.made.look()
        assert set(cls.seen) == set(cls.made.pages)

    def test_nothing_is_asked_of_the_network_and_nothing_goes_wrong(self):
        for name, about in self.seen.items():
            with self.subTest(page=name):
                self.assertEqual(about["seen"], {"requests": [], "messages": []})

    def test_no_page_is_wider_than_its_screen_and_no_word_of_a_picture_is_cut(self):
        for name, about in self.seen.items():
            with self.subTest(page=name):
                self.assertEqual(set(about["sizes"]), {"320", "480", "768", "1280", "1920"})
                for width, size in [*about["sizes"].items(), ("dark", about["dark"])]:
                    self.assertLessEqual(size["wider"], 0, width)
                    self.assertEqual(size["empty"], 0, width)
                    self.assertEqual(size["cut"], [], width)

    def test_every_picture_is_there(self):
        expected = {"song": 8, "long": 8, "loud": 8, "many": 8, "hostile": 8, "merged": 0, "pair": 2, "plan": 5}
        for name, count in expected.items():
            self.assertEqual(self.seen[name]["sizes"]["1280"]["plots"], count, name)
        self.assertGreater(self.seen["several"]["sizes"]["1280"]["plots"], 30)

    def test_letters_in_pictures_can_be_read(self):
        for name, about in self.seen.items():
            with self.subTest(page=name):
                for size in about["sizes"].values():
                    if size["plots"]:
                        self.assertGreaterEqual(size["letters"], 10)  # CSS pixels from ascender to descender

    # WCAG 2.2, A and AA, as far as a program can tell.
    def test_axe_finds_nothing(self):
        for name, about in self.seen.items():
            with self.subTest(page=name):
                self.assertEqual(set(about["axe"]), {"light 320", "light 1280", "dark 1280"})
                for view, found in about["axe"].items():
                    self.assertEqual(found["broken"], [], view)
                    self.assertLessEqual({"color-contrast", "document-title", "html-has-lang"}, set(found["kept"]))

    # WCAG 2.2, 2.1.1, 2.4.3, 2.4.7, 2.5.8.
    def test_the_keyboard_goes_through_the_page_in_order_and_shows_where_it_is(self):
        for name, about in self.seen.items():
            with self.subTest(page=name):
                for stops in (about["stops"], about["narrow_stops"]):
                    places = [stop["index"] for stop in stops]
                    self.assertEqual(places, sorted(set(places)))
                    for stop in stops:
                        self.assertTrue(stop["shows"], stop)
                        if stop["kind"] == "button":
                            self.assertGreaterEqual(min(stop["width"], stop["height"]), 24, stop)
        kinds = [stop["kind"] for stop in self.seen["loud"]["stops"]]
        self.assertGreaterEqual(kinds.count("button"), 6)
        # Pictures that have to be scrolled sideways can be, and only those take a stop.
        self.assertEqual(kinds.count("div"), 0)
        self.assertGreaterEqual([stop["kind"] for stop in self.seen["loud"]["narrow_stops"]].count("div"), 7)

    def test_what_scrolls_sideways_shows_so_at_the_edge_where_there_is_more(self):
        for name in ("song", "plan", "set"):
            for width, edges in self.seen[name]["edges"].items():
                for edge in edges:
                    with self.subTest(page=name, width=width, edge=edge):
                        dark = [edge["left"] < 160, edge["right"] < 160]
                        self.assertEqual(dark, [edge["more"] and edge["at"] == "end", edge["more"] and edge["at"] == "start"])
        self.assertTrue(all(edge["more"] for edge in self.seen["plan"]["edges"]["320"]))
        self.assertFalse(any(edge["more"] for edge in self.seen["plan"]["edges"]["1280"]))

    def test_looking_closer_moves_all_pictures_over_time(self):
        zoom = self.seen["loud"]["zoom"]
        for step in ("whole", "closer", "later", "back", "there"):
            self.assertGreaterEqual(len(zoom[step]), 5, step)
        for i, whole in enumerate(zoom["whole"]):
            box = [float(x) for x in whole["box"].split()]
            closer, later = ([float(x) for x in zoom[step][i]["box"].split()] for step in ("closer", "later"))
            self.assertAlmostEqual(closer[2], box[2] / 2, delta=0.1)
            self.assertAlmostEqual(closer[0], box[0] + box[2] / 4, delta=0.1)
            self.assertAlmostEqual(later[0], box[0] + box[2] / 2, delta=0.1)
            self.assertEqual([float(x) for x in zoom["back"][i]["box"].split()], box)
            self.assertNotEqual(whole["ticks"], zoom["closer"][i]["ticks"])
            self.assertEqual([zoom[step][i]["cut"] for step in ("closer", "later", "there")], [0, 0, 0])
        self.assertTrue(zoom["visible"])
        # What is shown is said, and every place keeps its own number however close one looks.
        self.assertEqual(zoom["said"], "")
        self.assertRegex(zoom["said_there"], r"^\d+:\d\d\.\d\d to \d+:\d\d\.\d\d$")
        self.assertEqual(zoom["focus_there"], "Back to the finding")
        self.assertEqual(zoom["focus_back"], "Look there, finding 1")
        self.assertEqual(zoom["printed"], zoom["whole"][0]["box"])
        # The place is inside what the ticks name.
        seconds = [int(m) * 60 + float(s) for m, s in (tick.split(":") for tick in zoom["there"][0]["ticks"])]
        self.assertLessEqual(seconds[0] - 1, zoom["place"])
        self.assertGreaterEqual(seconds[-1] + 1, zoom["place"])

    def test_without_scripts_everything_is_there_but_the_buttons(self):
        def plain(text):
            return re.sub(r"\s+", " ", re.sub(r"Look there|Closer|Wider|Earlier|Later|Whole file|Back to the finding", "", text)).strip()
        for name, about in self.seen.items():
            with self.subTest(page=name):
                self.assertEqual(plain(about["bare_text"]), plain(about["text"]))
                self.assertEqual(about["bare_buttons"], 0)

    def test_dark_follows_the_reader_and_paper_is_white(self):
        def light(color):
            return sum(int(x) for x in re.findall(r"\d+", color)[:3]) / 3
        for name, about in self.seen.items():
            with self.subTest(page=name):
                self.assertGreater(light(about["sizes"]["1280"]["ground"]), 230)
                self.assertLess(light(about["sizes"]["1280"]["ink"]), 60)
                self.assertLess(light(about["dark"]["ground"]), 50)
                self.assertGreater(light(about["dark"]["ink"]), 200)
                self.assertEqual(light(about["print"]["ground"]), 255)
                self.assertEqual(light(about["print"]["ink"]), 0)

    def test_two_pages_of_paper_hold_a_sheet_of_up_to_25_findings(self):
        self.assertIn("25 fail", self.seen["many"]["text"])
        for name in ("song", "long", "loud", "many", "hostile", "pair"):
            for paper in ("A4", "Letter"):
                self.assertLessEqual(self.seen[name][paper], 2, f"{name} on {paper}")
                self.assertGreaterEqual(self.seen[name][paper], 1)
        # A song's pictures follow one another without pages that stay empty.
        self.assertLessEqual(self.seen["plan"]["A4"], 5)
        # The index, then one sheet after the other.
        self.assertGreaterEqual(self.seen["several"]["A4"], 8)

    def test_every_file_of_several_is_in_the_index_and_has_its_sheet(self):
        text = self.seen["several"]["text"]
        for name in ("song", "loud", "mono", "silence", "six", "blip", "not audio"):
            self.assertGreaterEqual(text.count(f"{name}.wav"), 2, name)
        self.assertIn("NO SHEET", text)
        links = [stop["name"] for stop in self.seen["several"]["stops"] if stop["kind"] == "a"]
        self.assertEqual(len(links), 14)  # there, and back from each

    def test_hostile_words_are_shown_as_words(self):
        text = self.seen["hostile"]["text"]
        self.assertIn("<script>alert(1)", text)
        self.assertIn("onerror=alert(2)", text)
        self.assertIn("<script>alert(3)</script>", text)
        self.assertIn("<script>alert(4)<'script>", self.seen["pair"]["text"])
        self.assertIn("<script>alert(5)<'script>", self.seen["set"]["text"])
        self.assertIn("<script>alert(6)<'script>", self.seen["plan"]["text"])

    def test_a_set_is_a_table_of_items_against_findings(self):
        text = self.seen["set"]["text"]
        for words in ("Items against findings", "missing", "Length alike", "Low <b>Water</b>"):
            self.assertIn(words, text)


if __name__ == "__main__":
    lab.main()
