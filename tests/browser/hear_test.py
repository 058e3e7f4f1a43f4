"""What can be heard on the local page: the real program, Debian's Chromium through playwright-core, axe-core.

hear.mjs plays places as a person would, renders what would sound by the page's own graph, and compares it with the samples of the
files and with formulas; each test here holds one figure against what it must be. Variables as for desk_test.py.
"""
import json
import math
import os
import pathlib
import random
import re
import shutil
import struct
import tempfile
import unittest

import served
from served import lab

HOSTILE = "x\"><script>alert(1)<'script><img src=x onerror=alert(2)>.wav"
# Of each, left and right have their own. All periods are whole in a tenth of a second.
LEFT, RIGHT = [(50, 0.3), (1000, 0.2)], [(70, 0.25), (3000, 0.2)]
CODED = [400, 700, 1000, 1300, 1600, 1900]
CEILING = 10 ** (-1 / 20)


def pcm16(frames, channels, rate):
    return lab.riff(1, channels, rate, 16, struct.pack(f"<{len(frames)}h", *frames))


def noise(seconds, rate, seed, clipped=None, amplitude=3000):
    """Stereo; `clipped`: the frame at which the left channel stands at full scale for four frames."""
    rng = random.Random(seed)
    frames = [rng.randrange(-amplitude, amplitude) for _ in range(2 * int(seconds * rate))]
    if clipped is not None:
        for i in range(4):
            frames[2 * (clipped + i)] = 32767
    return frames


def place(start, end, file="", channel=0, note=""):
    return {"channel": channel, "start_s": start, "end_s": end, "start_frame": int(48000 * start), "end_frame": int(48000 * end), "note": note, **({"file": file} if file else {})}


def finding(status, rule, where=(), measure="", **more):
    return {"status": status, "rule": rule, "ruleset": "s", "measure": measure, "value": 1.5, "unit": "dB", "limit_kind": "none", "where": list(where), "reason": "", **more}


# A song's sheet and that of two bounces, as far as places go.
SONG = {
    "song": {"mix": "a/mix.wav"}, "stems": [{"path": "a/s.wav", "name": "bass <b>"}],
    "files": [
        {"path": "a/mix.wav", "facts": {"channels": 2}, "findings": [finding("note", "n", [place(9, 9.5)]), finding("warn", "peak", [place(4, 4, channel=2)], "true_peak"), finding("pass", "p", [place(1, 2)])]},
        {"path": "a/s.wav", "facts": {"channels": 2}, "findings": [finding("fail", "silent", [place(1, 2, channel=2)], "silent_channels"), finding("fail", "head", [place(0, 0, note="byte 4: no"), place(0, 0.5)])]}],
    "findings": [finding("waived", "w", [place(7, 8)]), finding("warn", "other", [place(5, 6, "a/s.wav"), place(5, 6, "a/not there.wav")]), finding("fail", "low-end", [place(2, 3, "a/mix.wav")], where_total=55)],
    "pairs": [{"part": "bass <b>", "masker": "keys", "masked_percent": 40.1, "passages": [{"start_s": 3, "end_s": 4.5, "low_hz": 60, "high_hz": 120, "masked_percent": 80}, {"start_s": 6, "end_s": 7, "low_hz": 60, "high_hz": 120, "masked_percent": 0.0}]},
              {"part": "keys", "masker": "pads", "masked_percent": 0.0, "passages": [{"start_s": 6, "end_s": 7, "low_hz": 60, "high_hz": 120, "masked_percent": 0.0}]}],
}
COMPARED = {"files": [{"path": "new.wav", "facts": {"channels": 6}, "findings": [
    finding("fail", "peak", [place(1, 1, channel=4)], "true_peak"), finding("warn", "clipped", [place(1, 1, channel=4), place(1, 1)]), finding("note", "silent", [place(1, 2, channel=2), place(1, 2, channel=5)], "silent_channels")]},
    {"path": "old.wav", "findings": []}], "findings": [],
            "pairs": [{"old": "old.wav", "new": "new.wav", "edits": [{"words": "taken out", "old_start_s": 1, "old_end_s": 2, "new_start_s": 0.5, "new_end_s": 0.5}]}]}


def tones(seconds, rate):
    """Both channels by formula, in 32 bits."""
    rows = [[sum(a * math.sin(2 * math.pi * hz * n / rate) for hz, a in part) for n in range(int(seconds * rate))] for part in (LEFT, RIGHT)]
    return lab.float_wav([x for pair in zip(*rows) for x in pair], 2, rate)


def coded(channels):
    """A tone of its own in each channel."""
    return lab.float_wav([0.5 * math.sin(2 * math.pi * CODED[c] * n / 48000) for n in range(48000) for c in range(channels)], channels)


def masked(content, mask):
    """A plain WAV file with the header that names the loudspeakers of its channels."""
    fmt = content[20:36]
    tag, channels, bits = struct.unpack("<HH10xH", fmt)
    fmt = struct.pack("<H", 0xFFFE) + fmt[2:] + struct.pack("<HHIH", 22, bits, mask, tag) + b"\0\0\0\0\x10\0\x80\0\0\xaa\0\x38\x9b\x71"
    body = b"WAVEfmt " + struct.pack("<I", len(fmt)) + fmt + content[36:]
    return b"RIFF" + struct.pack("<I", len(body)) + body


def low_effects():
    """5.1, nothing but noise in the LFE, which is clipped at one second."""
    frames = [0] * (6 * 2 * 48000)
    frames[3::6] = noise(1, 48000, 11)
    frames[3 + 6 * 48000:3 + 6 * 48004:6] = [32767] * 4
    return masked(pcm16(frames, 6, 48000), 0x3F)


class Room:
    def __init__(self, folder):
        self.room = folder / "room"
        self.room.mkdir()
        self.facts = {"noises": [], "tones": [], "channels": [], "coded": CODED, "pairs": [], "hostile": [HOSTILE], "song": SONG, "compared": COMPARED}
        for name, rate, frame in (("noise 44.wav", 44100, 200003), ("noise 96.wav", 96000, 300001)):
            self.put(name, pcm16(noise(7, rate, rate, frame), 2, rate))
            self.facts["noises"].append({"name": name, "rate": rate, "frame": frame})
        for name, rate in (("tones 44.wav", 44100), ("tones 96.wav", 96000)):
            self.put(name, tones(4, rate))
            self.facts["tones"].append({"name": name, "rate": rate, "left": [{"hz": hz, "amplitude": a} for hz, a in LEFT], "right": [{"hz": hz, "amplitude": a} for hz, a in RIGHT]})
        for channels in (1, 6):
            name = f"channels {channels}.wav"
            self.put(name, coded(channels))
            self.facts["channels"].append({"name": name, "of": str(channels), "channels": channels})
        self.put("surround.wav", masked(coded(6), 0x3F))
        self.facts["channels"].append({"name": "surround.wav", "of": "5.1", "channels": 6})
        self.put("low effects.wav", low_effects())
        self.put("hot.wav", lab.float_wav([3 * math.sin(2 * math.pi * 220 * n / 48000) for n in range(8 * 48000)]))
        many = noise(5, 48000, 9)
        for place_s in range(1, 13):
            for i in range(4):
                many[2 * (int(0.35 * 48000 * place_s) + i)] = 32767
        full = noise(5, 48000, 10)
        for n in range(1, 56):
            for i in range(4):
                full[2 * (int(0.08 * 48000 * n) + i)] = 32767
        self.put("full.wav", pcm16(full, 2, 48000))
        self.put("many.wav", pcm16(many, 2, 48000))
        self.put(HOSTILE, pcm16(noise(2, 48000, 3, 48000), 2, 48000))
        for name in ("deleted.wav", "changed.wav"):
            self.put(name, lab.long_wav(60))
        # The same noise: 1234 frames later and half as loud; at another rate, by formula; and faster.
        same = noise(8, 48000, 5, amplitude=6000)
        self.put("bounce 1.wav", pcm16(same, 2, 48000))
        self.put("bounce 2.wav", pcm16([0] * 2468 + [round(x / 2) for x in same], 2, 48000))
        self.facts["pairs"].append({"older": "bounce 1.wav", "newer": "bounce 2.wav", "pair": {"offset_s": 1234 / 48000, "speed": 1, "old_gain_db": 20 * math.log10(0.5), "new_gain_db": 0}})

        def swept(rate, offset=0.0, speed=1.0, gain=1.0):
            def at(n):
                t = (n / rate - offset) / speed
                return gain * 0.3 * math.sin(2 * math.pi * (200 * t + 150 * t * t)) if t >= 0 else 0.0
            return lab.float_wav([x for n in range(8 * rate) for x in [at(n)] * 2], 2, rate)
        self.put("sweep 44.wav", swept(44100))
        self.put("sweep 96.wav", swept(96000, 0.0123456, 1, 0.7))
        self.put("sweep fast.wav", swept(48000, -0.05, 0.999, 1))
        for newer, offset, speed, gain in (("sweep 96.wav", 0.0123456, 1, 0.7), ("sweep fast.wav", -0.05, 0.999, 1)):
            self.facts["pairs"].append({"older": "sweep 44.wav", "newer": newer, "pair": {"offset_s": offset, "speed": speed, "old_gain_db": 20 * math.log10(gain), "new_gain_db": 0}})

    def put(self, name, content):
        (self.room / name).write_bytes(content)


class Hearing(served.Scenes, unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        folder = pathlib.Path(tempfile.mkdtemp(prefix="sendworthy-hear-"))
        cls.addClassCleanup(shutil.rmtree, folder, ignore_errors=True)
        room = Room(folder)
        (folder / "facts.json").write_text(json.dumps(room.facts))
        cls.seen, _ = served.use("hear.mjs", room.room, folder, room.room, folder / "facts.json")
        if os.environ.get("SENDWORTHY_PICTURES"):
            (pathlib.Path(os.environ["SENDWORTHY_PICTURES"]) / "hear.json").write_text(json.dumps(cls.seen, indent=1))

    def test_a_press_on_a_place_plays_that_place(self):
        about = self.scene("places")
        before = about["known"]["before_s"]
        self.assertRegex(about["text"], r"^\d+ places")
        for name, one in about["each"].items():
            with self.subTest(name=name):
                plan, rate = one["plan"], one["plan"]["rate"]
                # The context runs at the file's own rate, so that nothing but the way stands between.
                self.assertEqual(rate, 44100 if "44" in name else 96000)
                self.assertEqual(plan["name"], name)
                self.assertLessEqual(abs(plan["at"] - (one["frame"] - before * rate)), 1)
                self.assertEqual(one["off"], 0, "the samples of the place, to the frame")
                self.assertGreater(one["likeness"], 0.999999)
                self.assertLess(one["worst"], 1e-6, "as it is: every sample, but for the level")
                self.assertAlmostEqual(one["gain"], plan["db"], delta=0.1)
                self.assertEqual(len(one["pressed"]), 1)
                self.assertIn(name, one["what"])
                self.assertGreater(one["live"], 1e-4, "and it does sound")

    def test_the_list_has_the_numbers_and_names_of_the_sheet(self):
        about = self.scene("lists")
        self.assertEqual(len(about["listed"]), 2)
        of = {title.split(": ")[1].split("/")[-1]: {number: words for number, words in rows} for title, rows in about["sheet"]}
        for name, rows in about["listed"]:
            self.assertGreaterEqual(len(rows), 3)
            for number, words in rows:
                with self.subTest(name=name, number=number):
                    self.assertEqual(of[name][number].split(": ")[0], words.split(": ")[0])
        self.assertIn("20 of 55 places", about["full"]["list"])
        self.assertRegex(about["full"]["text"], r"^\d+ of \d+ places")
        self.assertEqual(about["words"], "6 more")
        self.assertEqual(about["after"], about["before"] + 6)
        self.assertRegex(about["focus"]["name"], r"^0:02\.450 left, finding \d$")

    def test_every_place_is_led_to_its_file_and_its_way(self):
        song, pair = self.scene("lists")["made"]
        said = [[group["title"], [[entry["number"], entry["css"], entry["head"], [[one["text"], one["request"]["source"]["part"], one["request"].get("way")] for one in entry["places"]]] for entry in group["entries"]]] for group in song]
        # What speaks against it is numbered through first, in the order fail, not measured, warn; then the rest.
        self.assertEqual(said, [
            ["The song", [[1, "fail", "Low end: +1.5 dB", [["0:02.000 to 0:03.000", 1, "below-100"]]],
                          [2, "warn", "Other: +1.5 dB", [["bass <b> 0:05.000 to 0:06.000", 2, None]]],
                          [6, "note", "W: +1.5 dB", [["0:07.000 to 0:08.000", 1, None]]]]],
            ["the mix, as a file", [[3, "warn", "True peak: +1.5 dB", [["0:04.000 right", 1, "quiet"]]], [7, "note", "N: +1.5 dB", [["0:09.000 to 0:09.500", 1, None]]]]],
            ["bass <b>, as a file", [[4, "fail", "Silent channels: +1.5 dB", [["0:01.000 to 0:02.000 right", 2, "right"]]], [5, "fail", "Head: +1.5 dB", [["0:00.000 to 0:00.500", 2, None]]]]],
            ["Parts under parts", [[None, "note", "bass <b> under keys: 40.1 % covered", [["0:03.0 to 0:04.5", 1, None]]]]],
        ])
        self.assertEqual([entry["total"] for entry in song[0]["entries"]], [55, 1, 1], "but for one that the sheet does not have")
        asked = song[0]["entries"][0]["places"][0]["request"]
        self.assertEqual((asked["source"], asked["from_s"], asked["to_s"]), ({"check": "c7", "part": 1}, 0.5, 4))
        self.assertEqual(song[2]["entries"][0]["places"][0]["request"]["from_s"], 0)
        # One channel of many is heard alone, unless its question needs another way.
        self.assertEqual([[one["request"].get("way") for one in entry["places"]] for entry in pair[1]["entries"]], [["quiet"], ["channel-4", None], ["channel-2", "channel-5"]])
        self.assertEqual([[one["text"], one["request"]["source"]["part"], one["request"]["from_s"], one["request"]["to_s"]] for one in pair[0]["entries"][0]["places"]],
                         [["old 0:01.000", 2, 0, 3], ["new 0:00.500", 1, 0, 1.5]])

    def test_it_starts_low_and_rises_from_silence(self):
        for name, one in self.scene("places")["each"].items():
            with self.subTest(name=name):
                self.assertEqual(one["plan"]["db"], -20)
                self.assertEqual(one["sentence"], "heard: as it is, 20 dB down")
                self.assertEqual(one["first"], 0)
                rise = one["ramp"]
                self.assertEqual(rise, sorted(rise))
                self.assertLess(rise[0], -40)
                self.assertLess(rise[2], -24, "half way up after 50 ms")
                self.assertAlmostEqual(rise[3], -20, delta=0.2)
                self.assertEqual(one["last"], 0)

    def ways(self, rate, way, context=None):
        return self.scene("ways")["each"][f"tones {rate // 1000}.wav {way} {context or rate}"]

    def test_every_way_lets_through_what_it_says(self):
        gone = None
        # Of 50 and 1000 Hz on the left, 70 and 3000 Hz on the right: (left, right) in dB of what each was; None: at least 40 dB down.
        half = 20 * math.log10(0.5)
        wanted = {
            "as-it-is": [(0, gone), (0, gone), (gone, 0), (gone, 0)],
            "quiet": [(-20, gone), (-20, gone), (gone, -20), (gone, -20)],
            "mono": [(half, half)] * 4,
            "below-100": [(0, gone), (gone, gone), (gone, 0), (gone, gone)],
            "below-120": [(0, gone), (gone, gone), (gone, 0), (gone, gone)],
            # 24 dB an octave below 200 Hz: two octaves, and one and a half.
            "small-speaker": [(-48.2, gone), (0, gone), (gone, -36.5), (gone, 0)],
            "left": [(0, 0), (0, 0), (gone, gone), (gone, gone)],
            "right": [(gone, gone), (gone, gone), (0, 0), (0, 0)],
            "side": [(half, half)] * 4,
        }
        for rate in (44100, 96000):
            for way, tones_wanted in wanted.items():
                for one, expected in zip(self.ways(rate, way)["tones"], tones_wanted):
                    for got, want in zip(one, expected):
                        with self.subTest(rate=rate, way=way):
                            if want is None:
                                self.assertLess(got, -40)
                            elif want < -30:
                                self.assertAlmostEqual(got, want, delta=1)
                            else:
                                self.assertAlmostEqual(got, want, delta=0.1)
                if way in ("as-it-is", "quiet", "mono", "left", "right", "side"):
                    self.assertLess(self.ways(rate, way)["worst"], 1e-6, "every sample, by formula")

    def test_a_context_at_another_rate_plays_the_same(self):
        for rate in (44100, 96000):
            with self.subTest(rate=rate):
                # 90 dB below the tones, by their formula at every sample's own time.
                self.assertLess(self.ways(rate, "as-it-is", 48000)["worst"], 1e-5)
                below = self.ways(rate, "below-100", 48000)["tones"]
                self.assertAlmostEqual(below[0][0], 0, delta=0.1)
                self.assertLess(below[1][0], -40)

    def test_a_sentence_says_what_is_heard(self):
        about = self.scene("ways")
        self.assertEqual(len(about["menu"]), 9)
        said = about["said"]
        self.assertEqual(said[0], "heard: as it is, 20 dB down")
        self.assertEqual([one[0] for one in said[1:]], ["heard: below 100 Hz, 20 dB down", "heard: below 100 Hz, not turned down", said[3][0], said[4][0]])
        self.assertRegex(said[3][0], r"^heard: .*quiet.*, 20 dB down$")
        self.assertRegex(said[4][0], r"^heard: .*side.*, 7 dB down$")
        for (sentence, (way, gain)), (expected, db) in zip(said[1:], (("below-100", -20), ("below-100", 0), ("quiet", 0), ("side", -7))):
            with self.subTest(sentence=sentence):
                self.assertEqual(way, expected)
                self.assertAlmostEqual(20 * math.log10(gain), db, delta=0.1)
        for name, one in about["each"].items():
            if " quiet " in name:
                self.assertRegex(one["sentence"], r"40 dB down$", "the way's own and the level's")

    def test_one_channel_and_more_than_two(self):
        about = self.scene("channels")
        for level in about["1 as-it-is"]["tones"][0] + about["1 left"]["tones"][0]:
            self.assertAlmostEqual(level, 0.5, delta=0.005)
        self.assertLess(max(about["1 side"]["tones"][0]), 1e-6)
        self.assertIn("silence", about["1 side"]["sentence"])
        # ITU-R BS.775, annex 4, and the LFE as the centre: not one channel is away.
        side, left, right = math.sqrt(0.5), [0] * 6, [0] * 6
        for channel, (l, r) in enumerate(((1, 0), (0, 1), (side, side), (side, side), (side, 0), (0, side))):
            left[channel], right[channel] = 0.5 * l, 0.5 * r
        half = [(l + r) / 2 for l, r in zip(left, right)]
        only = [[0.5 * (c == wanted) for c in range(6)] for wanted in range(6)]
        both, apart = [0.5 * side] * 6, [0.25, 0.25, 0, 0, 0, 0]
        for key, rows in {"5.1 as-it-is": (left, right), "5.1 mono": (half, half), "5.1 left": (only[0], only[0]), "5.1 side": (apart, apart), "5.1 channel-4": (only[3], only[3]),
                          # A file that does not say where its channels belong: nothing is guessed.
                          "6 as-it-is": (both, both), "6 left": (only[0], only[0]), "6 channel-4": (only[3], only[3])}.items():
            for side_, wanted in enumerate(rows):
                for got, want in zip([tone[side_] for tone in about[key]["tones"]], wanted):
                    with self.subTest(key=key, side=side_):
                        self.assertAlmostEqual(got, want, delta=0.005)
        for key, words in {"5.1 as-it-is": "as it is, 6 channels folded to two, the LFE at −3 dB in both", "5.1 left": "left alone of 6 channels", "5.1 side": "side alone of left and right of 6 channels",
                           "5.1 channel-4": "channel 4 alone", "6 as-it-is": "as it is, 6 channels that name no loudspeakers, each at −3 dB in both", "6 left": "left alone of the first two of 6 channels"}.items():
            self.assertEqual(about[key]["sentence"], f"heard: {words}, 20 dB down")
        self.assertEqual([f"channel {c} alone" for c in range(1, 7)], about["menu"][-6:])
        # Two in step, of two and of six channels: what stands in one place in both is equally loud.
        self.assertEqual(about["two"]["sentence"], "heard: as it is, 6 channels folded to two, the LFE at −3 dB in both, 20 dB down")
        for got, want in zip([tone[0] for tone in about["two"]["tones"]], left):
            self.assertAlmostEqual(got, want, delta=0.005)
        self.assertAlmostEqual(about["two"]["other"], 0.5, delta=0.005)

    def test_a_place_in_the_low_frequency_effects_is_heard(self):
        about = self.scene("channels")["low"]
        self.assertRegex(about["place"], r"^0:01\.000 to 0:01\.000 channel 4$|^0:01\.000 channel 4$")
        self.assertEqual(about["said"], ["heard: channel 4 alone, 20 dB down", "heard: as it is, 6 channels folded to two, the LFE at −3 dB in both, 20 dB down"])
        self.assertEqual(about["chosen"], "channel 4 alone")
        for got, want in zip(about["most"], (0.1, 0.1 * math.sqrt(0.5))):
            self.assertAlmostEqual(got, want, delta=0.001)

    def test_the_small_speaker_is_that_of_the_estimates(self):
        of = [[float(x) for x in re.search(pattern, (lab.SOURCE / path).read_text()).groups()]
              for path, pattern in (("src/song/quiet.h", r"kSmallSpeakerLowHz = (\d+), kSmallSpeakerHighHz = (\d+)"),
                                    ("src/desk/page/ways.js", r"kSmallLowHz = (\d+), kSmallHighHz = (\d+)"))]
        self.assertEqual(*of)

    def test_the_guard_is_only_a_delay_while_all_is_below(self):
        for name, one in self.scene("guard")["quiet"].items():
            with self.subTest(name=name):
                self.assertEqual((one["unlike"], one["acts"], one["odd"]), (0, 0, False))

    def test_nothing_above_leaves_the_guard(self):
        about = self.scene("guard")
        self.assertEqual(len(about["hot"]), 14)
        for name, one in about["hot"].items():
            with self.subTest(name=name):
                self.assertLessEqual(one["most"], CEILING)
                self.assertGreater(one["most"], 0.7)
                self.assertFalse(one["odd"])
                self.assertGreater(one["acts"], 0)
        for rate in (44100, 96000):
            step = about[f"step {rate}"]
            self.assertLess(step["jump"], 1.2 / (0.005 * rate), "down smoothly, over the whole of the look-ahead")
            self.assertEqual((step["before"], step["end"]), (0.5, 0.5), "and back to exactly as it was")
            self.assertAlmostEqual(about["hot"][f"step {rate}"]["down"], 20 * math.log10(2 / CEILING), delta=0.1)

    def test_a_lamp_says_when_the_guard_acts(self):
        about = self.scene("guard")
        self.assertEqual(about["rest"].strip(), "Peak guard: at rest")
        self.assertRegex(about["lit"].strip(), r"^Peak guard: acts, \d+\.\d dB down$")
        self.assertEqual(about["after"].strip(), "Peak guard: at rest")
        self.assertIn("The peak guard turns down.", about["said"])

    def test_two_bounces_run_in_step_and_equally_loud(self):
        about = self.scene("two")
        self.assertEqual(len(about), 3)
        for name, one in about.items():
            with self.subTest(name=name):
                self.assertEqual(one["lag"], 0, "a render quantum would be 128 frames")
                self.assertGreater(one["likeness"], 0.9999)
                self.assertAlmostEqual(one["matched"], 0, delta=0.1)
                self.assertEqual((one["before"], one["after"]), (0, 0), "one is heard, then only the other")
                self.assertLessEqual(one["worst"], one["worstOwn"] + 1e-6, "and nothing is added while they change")
                for told in one["live"]:
                    clock, elapsed, parts, _ = told
                    self.assertEqual(sorted(round(x, 6) for x in parts), [0, 1])
                # What has sounded goes with the clock, whichever is heard.
                (first, since), (last, until) = one["live"][0][:2], one["live"][-1][:2]
                self.assertAlmostEqual(until - since, last - first, delta=0.02)
        rates = {name: one["rate"] for name, one in about.items()}
        self.assertEqual(rates["sweep 44.wav, sweep 96.wav"], 96000)

    # WCAG 2.2, 2.1.1, 2.4.7, 2.4.11.
    def test_the_keyboard_alone_plays(self):
        about = self.scene("keyboard")
        for stop in about["stops"]:
            self.assertTrue(stop["shows"], stop)
            self.assertFalse(stop["covered"], stop)
        self.assertNotEqual(about["stops"][0]["name"], about["stops"][1]["name"])
        self.assertEqual([stop["id"] for stop in about["stops"][2:]], ["listen-as", "level", "play"])
        self.assertRegex(about["what"], r"^many\.wav, 0:0\d\.\d{3}")
        self.assertRegex(about["way"], r"^heard: .*mono, 20 dB down$")
        self.assertRegex(about["louder"], r"mono, 19 dB down$")
        self.assertTrue(about["stopped"].startswith("Play"))
        self.assertEqual(about["again"], about["louder"], "played once more, in the way that was chosen")
        for words in ("to the places of the sheet", "play the place once more", "to the ways to listen"):
            self.assertIn(words, about["keys"])
        self.assertRegex(" ".join(about["said"]), r"Plays 0:0\d\.\d{3}")

    def test_no_key_does_two_things(self):
        keys = re.findall(r'^    \["(\w)", "', (lab.SOURCE / "src/desk/page/main.js").read_text(), re.MULTILINE)
        self.assertGreater(len(keys), 12)
        self.assertEqual(len(keys), len(set(keys)))

    def test_a_file_that_goes_or_changes_while_it_plays_stops_and_is_told(self):
        for how, one in self.scene("gone").items():
            with self.subTest(how=how):
                self.assertIn(f"{how}.wav: Nothing plays any more: ", one["told"])
                self.assertTrue(one["button"].startswith("Play"))
                self.assertEqual(one["errors"], [])
        self.assertIn("deleted.wav", self.scene("gone")["deleted"]["again"]["told"])
        self.assertEqual(self.scene("gone")["deleted"]["again"]["state"], "idle")

    def test_what_sounds_is_counted(self):
        about = self.scene("played")
        whole, part = about["bodies"][:2]
        self.assertEqual(whole["source"], {"path": "tones 44.wav"})
        self.assertAlmostEqual(whole["seconds"], 2.5, delta=0.05)
        self.assertAlmostEqual(whole["from_s"], 1, delta=0.01)
        self.assertAlmostEqual(whole["to_s"], 3.5, delta=0.05)
        self.assertEqual((whole["gain_db"], part["gain_db"]), (-20, -40))
        self.assertTrue(0.8 < part["seconds"] < 2.5, part)
        self.assertAlmostEqual(about["after"] - about["before"], whole["seconds"] + part["seconds"], delta=0.05)
        self.assertTrue(0.5 < about["closed"] - about["after"] < 2.5, "what sounded last is told by a tab that is closed")
        self.assertRegex(about["shown"], r"^Played since the program started: .*\w\.$")
        self.assertEqual(about["minutes"], ["Played: 2.9 min.", "Of 1.5 it is not known. It is."])
        self.assertEqual(about["caution"], "Turn your monitors down before you play something.")
        self.assertIn("For finding places, not for judging sound.", about["bar"])

    def test_only_one_tab_sounds(self):
        self.assertEqual(self.scene("tabs"), {"first": "Stopped: another tab of this page plays.", "second": "playing"})

    # WCAG 2.2, A and AA, as far as a program can tell; 1.4.10 for the widths.
    def test_every_size_and_light_is_fit_to_use(self):
        looks = self.scene("looks")
        self.assertEqual(len(looks), 10)
        for view, about in looks.items():
            with self.subTest(view=view):
                self.assertEqual((about["broken"], about["cut"], about["small"]), ([], [], []))
                self.assertLessEqual(about["wider"], 0)
                self.assertLess(about["bar"], 0.56)
                for stop in (about[key] for key in ("focus", "menu") if key in about):
                    self.assertTrue(stop["shows"], stop)
                    self.assertFalse(stop["covered"], stop)
                if "menu" in about:
                    self.assertEqual(about["menu"]["id"], "listen-as")

    def test_what_plays_is_not_said_to_be_nothing(self):
        self.assertEqual(self.scene("places")["counted"], "What plays now is being counted.")

    def test_nothing_moves_by_itself(self):
        self.assertLess(self.scene("places")["moved"], 0.05)

    def test_hostile_names_are_shown_as_words(self):
        about = self.scene("hostile")
        self.assertIn(HOSTILE, about["bar"])
        self.assertEqual(about["scripts"], 1)


if __name__ == "__main__":
    lab.main()
