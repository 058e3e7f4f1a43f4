"""What the local page hears: samples, ranges and shapes of files, held against what was written into them."""
import array
import http.client
import json
import math
import os
import pathlib
import signal
import struct
import subprocess
import sys
import threading
import time
import urllib.parse

import lab
from desk_test import Desk

CALIBRATED = '[monitoring]\nkind = "loudspeakers"\nspl_db = 80\nspl_weighting = "A"\nlevel = -20\nlevel_unit = "dBFS"\nnoise = "sine 1000"\n'
STEPS = (64, 512, 4096, 32768, 262144, 2097152)


def head_of(content):
    """(fields of the format, frames of the fact chunk, samples) of a WAVE of 32-bit floats, by its chunks."""
    assert content[:4] in (b"RIFF", b"RF64") and content[8:12] == b"WAVE", content[:12]
    at, chunks = 12, {}
    while at < len(content):
        size = struct.unpack("<I", content[at + 4:at + 8])[0]
        chunks[content[at:at + 4]] = content[at + 8:at + 8 + size]
        at += 8 + size
    samples = array.array("f", chunks[b"data"])
    return struct.unpack("<HHIIHHHHI", chunks[b"fmt "][:24]), struct.unpack("<I", chunks[b"fact"])[0], samples


def single(value):
    return struct.unpack("<f", struct.pack("<f", value))[0]


class Heard(lab.Case):
    def setUp(self):
        super().setUp()
        self.desk = Desk(self)

    def facts(self, query, status=200):
        got, told = self.desk.json("GET", f"api/sound?{query}")
        self.assertEqual(got, status, told)
        return told

    def wave(self, query, **headers):
        return self.desk.ask("GET", f"api/sound/audio.wav?{query}", **headers)

    def samples(self, name):
        query = "path=" + urllib.parse.quote(name)
        facts = self.facts(query)
        status, headers, content = self.wave(f"{query}&mark={facts['mark']}")
        self.assertEqual((status, headers["content-type"], headers["accept-ranges"]), (200, "audio/wav", "bytes"))
        self.assertEqual(len(content), facts["header_bytes"] + 4 * facts["frames"] * facts["channels"])
        self.assertEqual(facts["header_bytes"] % 4, 0)
        form, frames, samples = head_of(content)
        self.assertEqual(form[:3], (0xFFFE, facts["channels"], facts["sample_rate"]))
        self.assertEqual(frames, facts["frames"])
        return facts, form, samples


class Samples(Heard):
    def test_plain_samples_arrive_as_they_were_written(self):
        sound = lab.music(0.3, rate=44100, peak=0.9)
        for bits in (8, 16, 24, 32):
            data = lab.codes(sound, 2, bits)
            self.put(f"{bits}.wav", lab.riff(1, 2, 44100, bits, data))
            facts, form, samples = self.samples(f"{bits}.wav")
            self.assertEqual((facts["frames"], facts["layout"], facts["speakers"]), (len(sound), "stereo", ["left", "right"]))
            self.assertEqual(form[8], 3)
            size, top = bits // 8, 2 ** (bits - 1)
            for i, got in enumerate(samples):
                raw = data[i * size:(i + 1) * size]
                code = raw[0] - 128 if bits == 8 else int.from_bytes(raw, "little", signed=True)
                self.assertEqual(got, single(code / top), (bits, i))

    def test_floats_arrive_unclipped_and_what_is_no_number_as_silence(self):
        values = [0.0, 0.5, -1.0, 1.0, 1.75, -40.0, 1e-8, float("nan"), float("inf"), float("-inf")] * 50
        self.put("a.wav", lab.float_wav(values))
        facts, form, samples = self.samples("a.wav")
        self.assertEqual((facts["channels"], facts["speakers"], form[8]), (1, ["centre"], 4))
        self.assertEqual(list(samples), [single(x) if math.isfinite(x) else 0.0 for x in values])
        self.put("b.wav", lab.riff(3, 1, 48000, 64, struct.pack(f"<{len(values)}d", *values)))
        self.assertEqual(self.samples("b.wav")[2], samples)

    def test_other_containers_bring_the_same_samples(self):
        self.put("a.wav", lab.wav(0.5, bits=24))
        wanted = self.samples("a.wav")[2]
        for name in ("a.aiff", "a.flac", "a.caf", "a.w64"):
            subprocess.run(["sox", "-D", "a.wav", name] if name != "a.flac" else ["flac", "-s", "-o", name, "a.wav"], cwd=self.room, check=True)
            facts, _, samples = self.samples(name)
            self.assertEqual((facts["frames"], facts["sample_rate"]), (24000, 48000), name)
            self.assertEqual(samples, wanted, name)

    def test_lossy_files_are_heard_at_their_place_and_level(self):
        self.put("a.wav", lab.wav(2, bits=16, rate=44100))
        wanted = self.samples("a.wav")[2]
        power = sum(x * x for x in wanted)
        for name, encode in (("a.mp3", ["lame", "--quiet", "-b", "320", "a.wav", "a.mp3"]), ("a.ogg", ["oggenc", "-Q", "-q", "10", "-o", "a.ogg", "a.wav"])):
            subprocess.run(encode, cwd=self.room, check=True)
            facts, _, samples = self.samples(name)
            self.assertEqual((facts["frames"], facts["channels"]), (88200, 2), name)
            left = sum((a - b) ** 2 for a, b in zip(wanted, samples))
            self.assertLess(left / power, 0.003, name)  # −25 dB: not a frame off, nor a tenth of a decibel

    def test_many_channels_keep_their_order_and_places(self):
        frames = [tuple((c + 1) / 10 for c in range(6))] * 1000
        extensible = struct.pack("<HHIIHHHHI", 0xFFFE, 6, 48000, 48000 * 12, 12, 16, 22, 16, 0x3F) + b"\x01\0\0\0\0\0\x10\0\x80\0\0\xaa\0\x38\x9b\x71"
        data = lab.codes(frames, 6, 16)
        body = b"WAVEfmt " + struct.pack("<I", 40) + extensible + b"data" + struct.pack("<I", len(data)) + data
        self.put("a.wav", b"RIFF" + struct.pack("<I", len(body)) + body)
        facts, form, samples = self.samples("a.wav")
        self.assertEqual((facts["layout"], facts["speakers"]), ("5.1", ["left", "right", "centre", "lfe", "left-surround", "right-surround"]))
        self.assertEqual(bin(form[8]).count("1"), 6)
        self.assertEqual([round(x, 3) for x in samples[:6]], [0.1, 0.2, 0.3, 0.4, 0.5, 0.6])

    def test_loudness_is_what_the_sheet_says(self):
        self.put("stereo.wav", lab.wav(5, bits=24))
        self.put("mono.wav", lab.wav(3, bits=16, channels=1, rate=44100))
        self.put("short.wav", lab.wav(0.2))
        self.put("silent.wav", lab.float_wav([0.0] * 48000))
        for name in ("stereo.wav", "mono.wav", "short.wav", "silent.wav"):
            told = self.facts(f"path={name}&whole=1")
            self.assertTrue(told["whole"])
            _, out, _ = self.run_program("check", "--rules", "premaster", "--format", "json", name)
            outcome = json.loads(out)["files"][0]["measurements"]["integrated_loudness"]
            if "value" in outcome and outcome["value"] is not None:
                self.assertAlmostEqual(told["loudness"], outcome["value"], delta=0.011, msg=name)
            else:
                self.assertIsNone(told["loudness"], name)
            self.assertEqual("short" in name or "silent" in name, told["loudness"] is None)


class Ranges(Heard):
    def setUp(self):
        super().setUp()
        self.put("a.wav", lab.wav(3, bits=16, rate=8000))
        self.mark = self.facts("path=a.wav")["mark"]
        self.query = f"path=a.wav&mark={self.mark}"
        self.whole = self.wave(self.query)[2]

    def test_every_range_is_that_part_of_the_whole(self):
        end = len(self.whole)
        for text, start, stop in (("0-0", 0, 1), ("0-79", 0, 80), ("10-", 10, end), ("79-81", 79, 82), ("80-83", 80, 84), ("-1", end - 1, end), ("-5", end - 5, end), (f"-{end * 9}", 0, end),
                                  (f"{end - 1}-{end - 1}", end - 1, end), (f"{end - 3}-{end * 5}", end - 3, end), ("1001-65537", 1001, 65538), (f"0-{end - 1}", 0, end), ("0-999999999999999", 0, end)):
            status, headers, got = self.wave(self.query, Range=f"bytes={text}")
            self.assertEqual((status, headers["content-range"], headers["content-length"]), (206, f"bytes {start}-{stop - 1}/{end}", str(stop - start)), text)
            self.assertEqual(got, self.whole[start:stop], text)

    def test_a_range_that_is_none_is_left_out_and_one_of_nothing_refused(self):
        end = len(self.whole)
        for text in (f"bytes={end}-", f"bytes={end}-{end + 5}", "bytes=-0", "bytes=99999999999999999999-"):
            status, headers, got = self.wave(self.query, Range=text)
            self.assertEqual((status, headers["content-range"]), (416, f"bytes */{end}"), (text, got[:50]))
        for text in ("bytes=5-4", "bytes=-", "bytes=0-1,4-5", "bytes=", "bytes=a-b", "bytes=0x1-2", "lines=1-2", "bytes=1", "bytes=0-1-2", "bytes= 0-1", "bytes=--1", "x", ""):
            status, headers, got = self.wave(self.query, Range=text)
            self.assertEqual((status, got == self.whole, "content-range" in headers), (200, True, False), (text, got[:50]))
        self.assertEqual(self.desk.ask("GET", "api/state")[0], 200)

    def test_the_answers_carry_the_usual_headers(self):
        _, headers, _ = self.wave(self.query, Range="bytes=0-9")
        self.assertEqual((headers["cache-control"], headers["x-content-type-options"]), ("no-store", "nosniff"))

    def test_tabs_share_one_decode(self):
        got = []
        tabs = [threading.Thread(target=lambda: got.append(self.wave(self.query, Range="bytes=500-5000")[2])) for _ in range(12)]
        for tab in tabs:
            tab.start()
        for tab in tabs:
            tab.join()
        self.assertEqual(set(got), {self.whole[500:5001]})
        self.assertEqual(sum(path.name == "samples" for path in self.desk.scratch()), 1)


class Shape(Heard):
    def outline(self, name, first, last, columns, status=200):
        got, told = self.desk.json("GET", f"api/sound/outline?path={name}&from={first}&to={last}&columns={columns}")
        self.assertEqual(got, status, told)
        return told

    def own(self, samples, channels, first, last, columns):
        """By the definition: whole stretches that a column touches, the samples themselves in narrow columns."""
        step = max([step for step in STEPS if (last - first) // columns >= 4 * step], default=1)
        frames, made = len(samples) // channels, []
        for i in range(columns):
            begin, end = first + (last - first) * i // columns, first + (last - first) * (i + 1) // columns
            begin, end = begin // step * step, min(frames, -(-end // step) * step)
            own = samples[begin * channels:end * channels]
            made.append((min(own), max(own), math.sqrt(sum(x * x for x in own) / len(own))))
        return made

    def test_columns_hold_what_sounds_in_them(self):
        self.put("a.wav", lab.wav(4, bits=16, rate=44100, channels=2, peak=0.9))
        self.put("m.wav", lab.wav(2, bits=24, rate=8000, channels=1))
        for name in ("a.wav", "m.wav"):
            facts, _, samples = self.samples(name)
            end = facts["frames"]
            for first, last, columns in ((0, end, 100), (0, end, 1), (0, end, 2000), (0, 2000, 2000), (17, 1017, 7), (end - 1, end, 1), (end - 5000, end, 3), (1000, end - 1000, 33), (end // 3, end, 9)):
                told = self.outline(name, first, last, columns)
                self.assertEqual((told["from"], told["to"], len(told["columns"])), (first, last, columns))
                for got, wanted in zip(told["columns"], self.own(samples, facts["channels"], first, last, columns)):
                    for a, b in zip(got, wanted):
                        self.assertAlmostEqual(a, b, delta=0.00011)

    def test_the_work_does_not_grow_with_the_sound(self):
        self.put("long.wav", lab.long_wav(1800))
        end = self.facts("path=long.wav")["frames"]
        self.assertEqual(end, 1800 * 48000)
        span = end
        while span >= 2000:
            for first in (0, (end - span) // 2, end - span):
                told = self.outline("long.wav", first, first + span, 2000)
                self.assertLessEqual(told["looked_at"], 2000 * 256 * 2, span)
                if span // 2000 >= 256:
                    self.assertLessEqual(told["looked_at"], 2000 * 33, span)
            span //= 3

    def test_odd_questions_are_refused(self):
        self.put("a.wav", lab.wav(1, rate=8000))
        for first, last, columns in ((5, 5, 1), (6, 5, 1), (-1, 5, 1), (0, 5, 0), (0, 5, 2001), (0, 5, -1), (8000, 8001, 1), ("", 5, 1), (0, "", 1), (0, 5, ""), ("x", 5, 1), ("1e3", 5, 1),
                                     (9 * 10 ** 14, 10 ** 15 - 1, 2000), (0, 2 ** 63, 1), (2 ** 64, 2 ** 64 + 1, 1), (0, 5, 2 ** 32 + 1)):
            self.outline("a.wav", first, last, columns, 400)
        told = self.outline("a.wav", 7990, 10 ** 15 - 1, 2000)
        self.assertEqual((told["to"], len(told["columns"])), (8000, 10))


class Sources(Heard):
    def test_a_file_of_a_check_is_heard_and_no_other(self):
        content = lab.wav(0.5, rate=8000, bits=16)
        self.put("b.wav", content)
        self.desk.ask("POST", "api/upload?name=a.wav", content)
        check = self.desk.check({"path": "b.wav"}, {"upload": "u1"})
        told = self.desk.finished(check)
        for file in told["files"]:
            facts = self.facts(f"check={check}&part={file['part']}")
            self.assertEqual(facts["frames"], 4000)
            self.assertNotIn("/", facts["mark"])
            status, _, got = self.wave(f"check={check}&part={file['part']}&mark={facts['mark']}")
            self.assertEqual((status, len(got)), (200, facts["header_bytes"] + 4000 * 2 * 4))
        for query in (f"check={check}&part=0", f"check={check}&part=3", f"check={check}&part=-1", f"check={check}&part=x", f"check={check}", "check=c9&part=1", "check=&part=1",
                      f"check={check}&part=99999999999999999999", "check=../c1&part=1"):
            self.facts(query, 404)
        self.desk.json("DELETE", f"api/checks/{check}")
        self.facts(f"check={check}&part=1", 404)

    def test_what_a_sheet_says_is_never_heard_in_another_file_of_the_name(self):
        self.put("a.wav", lab.wav(0.2, rate=8000))
        check = self.desk.check({"path": "a.wav"})
        self.desk.finished(check)
        facts = self.facts(f"check={check}&part=1")
        time.sleep(0.02)
        self.put("a.wav", lab.wav(0.2, rate=8000, seed=2))
        for mark in ("", f"&mark={facts['mark']}", f"&mark={self.facts('path=a.wav')['mark']}"):
            for what in ("", "/audio.wav", "/outline"):
                got, told = self.desk.json("GET", f"api/sound{what}?check={check}&part=1{mark}&from=0&to=9&columns=1")
                self.assertEqual((got, told["error"]["code"]), (409, "changed"))
                self.assertIn("since it was checked", told["error"]["text"])

    def test_a_link_that_is_turned_round_all_the_time_never_leads_out(self):
        inside, outside = lab.wav(0.1, rate=8000, bits=16, channels=1), lab.wav(0.2, rate=8000, bits=16, channels=1, peak=0.3)
        self.put("in/a.wav", inside)
        self.put("in/p.toml", '[song]\nmix = "a.wav"\n')
        self.put("../out/a.wav", outside)
        self.put("../out/p.toml", '[song]\nmix = "SECRET.wav"\n')
        os.symlink("in", self.room / "turn")
        turning = subprocess.Popen([sys.executable, "-c", f"""
import os
os.chdir({str(self.room)!r})
while True:
    for target in ({str(self.folder / "out")!r}, "in"):
        os.symlink(target, "next")
        os.replace("next", "turn")
"""])
        try:
            seen, end = set(), time.monotonic() + 2
            while time.monotonic() < end:
                status, told = self.desk.json("GET", "api/sound?path=turn/a.wav&whole=1")
                self.assertEqual(told.get("frames", 800), 800, (status, told))
                seen.add(status)
            for _ in range(100):
                self.assertNotIn(b"SECRET", self.desk.ask("GET", "api/plan?path=turn/p.toml")[2])
        finally:
            turning.kill()
            turning.wait()
        self.assertIn(200, seen)
        self.assertLessEqual(seen, {200, 403, 404, 409})

    def test_no_path_leads_out_and_no_other_file_is_sound(self):
        self.put("../outside.wav", lab.wav(0.1))
        self.put("notes.txt", "no sound")
        self.put("torn.wav", lab.wav(0.1)[:30])
        self.put("empty.wav", b"")
        os.symlink("../outside.wav", self.room / "link.wav")
        os.mkfifo(self.room / "pipe.wav")
        for path, status in (("../outside.wav", 400), ("/etc/passwd", 400), ("link.wav", 403), ("gone.wav", 404), ("notes.txt", 415), ("empty.wav", 415), ("torn.wav", 415), ("", 403), ("pipe.wav", 403), ("a/../b", 400)):
            for what in ("", "/audio.wav", "/outline"):
                got, told = self.desk.json("GET", f"api/sound{what}?path={urllib.parse.quote(path)}&from=0&to=1&columns=1")
                self.assertEqual(got, status, (path, what, told))
                self.assertTrue(told["error"]["text"])
        for what in ("/nothing", "/audio.wav/x", "/../state"):
            self.assertIn(self.desk.ask("GET", f"api/sound{what}?path=torn.wav")[0], (404, 400))
        self.assertEqual([path for path in self.desk.scratch() if path.stat().st_size > 0], [])

    def test_names_that_are_no_text_are_heard_by_their_id(self):
        self.put(b"caf\xe9 <b>.wav", lab.wav(0.1, rate=8000))
        _, listing = self.desk.json("GET", "api/folder")
        self.assertEqual(self.facts("id=" + urllib.parse.quote(listing["files"][0]["id"]))["frames"], 800)

    def test_a_file_that_changed_or_went_is_told_apart(self):
        self.put("a.wav", lab.wav(1, rate=8000))
        facts = self.facts("path=a.wav")
        query = f"path=a.wav&mark={facts['mark']}"
        self.assertEqual(self.wave(query, Range="bytes=0-99")[0], 206)
        time.sleep(0.02)
        self.put("a.wav", lab.wav(1, rate=8000, seed=2))
        for what in ("", "/audio.wav", "/outline"):
            got, told = self.desk.json("GET", f"api/sound{what}?{query}&from=0&to=9&columns=1")
            self.assertEqual((got, told["error"]["code"]), (409, "changed"))
        again = self.facts("path=a.wav")
        self.assertNotEqual(again["mark"], facts["mark"])
        self.assertNotEqual(self.wave(f"path=a.wav&mark={again['mark']}")[2], b"")
        (self.room / "a.wav").unlink()
        for mark in ("", f"&mark={again['mark']}"):
            for what in ("", "/audio.wav", "/outline"):
                got, told = self.desk.json("GET", f"api/sound{what}?path=a.wav{mark}&from=0&to=9&columns=1")
                self.assertEqual((got, told["error"]["code"]), (404, "gone"))

    def test_a_file_that_goes_or_changes_while_it_is_decoded_keeps_nobody_waiting(self):
        for change, code in ((lambda path: path.unlink(), "gone"), (lambda path: path.write_bytes(path.read_bytes()[:1 << 20]), "changed")):
            self.put("long.wav", lab.long_wav(1800))
            facts = self.facts("path=long.wav")
            self.assertFalse(facts["whole"])
            connection = http.client.HTTPConnection("127.0.0.1", self.desk.port, timeout=60)
            connection.request("GET", self.desk.root + f"api/sound/audio.wav?path=long.wav&mark={facts['mark']}")
            answer = connection.getresponse()
            self.assertEqual(answer.status, 200)
            change(self.room / "long.wav")
            start = time.monotonic()
            got = 0
            try:
                while piece := answer.read(1 << 20):
                    got += len(piece)
            except http.client.IncompleteRead as cut:
                got += len(cut.partial)
            connection.close()
            self.assertLess(got, facts["header_bytes"] + 8 * facts["frames"])
            self.assertLess(time.monotonic() - start, 20)
            status, told = self.desk.json("GET", f"api/sound/audio.wav?path=long.wav&mark={facts['mark']}")
            self.assertEqual(told["error"]["code"], code)
            self.assertEqual(self.desk.ask("GET", "api/state")[0], 200)

    def test_a_sound_that_plays_goes_on_when_its_file_goes(self):
        self.put("a.wav", lab.long_wav(60))
        facts = self.facts("path=a.wav&whole=1")
        connection = http.client.HTTPConnection("127.0.0.1", self.desk.port, timeout=60)
        self.addCleanup(connection.close)
        connection.request("GET", self.desk.root + f"api/sound/audio.wav?path=a.wav&mark={facts['mark']}")
        answer = connection.getresponse()
        (self.room / "a.wav").unlink()
        self.assertEqual(len(answer.read()), facts["header_bytes"] + 8 * facts["frames"])


class Bounds(Heard):
    def memory_kib(self, field):
        status = pathlib.Path(f"/proc/{self.desk.process.pid}/status").read_text()
        return int(next(line.split()[1] for line in status.splitlines() if line.startswith(field)))

    def test_an_hour_takes_no_more_memory_than_a_minute(self):
        self.put("minute.wav", lab.long_wav(60))
        self.facts("path=minute.wav&whole=1")
        before = self.memory_kib("VmHWM:")
        self.put("hour.wav", lab.long_wav(3600))
        facts = self.facts("path=hour.wav&whole=1")
        self.assertEqual(facts["frames"], 3600 * 48000)
        status, _, got = self.wave(f"path=hour.wav&mark={facts['mark']}", Range=f"bytes={3000 * 48000 * 8}-{3001 * 48000 * 8}")
        self.assertEqual((status, len(got)), (206, 48000 * 8 + 1))
        self.assertLess(self.memory_kib("VmHWM:") - before, 24 << 10)

    def test_many_long_sounds_give_way_to_what_is_asked_for(self):
        for n in range(12):
            self.put(f"{n}.wav", lab.long_wav(600 + n))
        for n in range(12):
            self.assertEqual(self.facts(f"path={n}.wav")["frames"], (600 + n) * 48000)
        self.assertLess(len(self.desk.scratch()), 12 * 7)
        self.assertEqual(self.facts("path=11.wav&whole=1")["whole"], True)

    def test_what_is_decoded_goes_with_the_program_at_once(self):
        self.put("long.wav", lab.long_wav(3600))
        mark = self.facts("path=long.wav")["mark"]
        waiting = http.client.HTTPConnection("127.0.0.1", self.desk.port, timeout=60)
        self.addCleanup(waiting.close)
        waiting.request("GET", self.desk.root + f"api/sound?path=long.wav&whole=1&mark={mark}")
        self.assertTrue(self.desk.scratch())
        start = time.monotonic()
        self.desk.process.send_signal(signal.SIGTERM)
        self.assertEqual(self.desk.process.wait(30), 130)
        self.assertLess(time.monotonic() - start, 3)
        self.assertEqual(list(self.desk.temporary.iterdir()), [])


class Played(lab.Case):
    def played(self, desk, status=200, **more):
        wish = {"source": {"path": "a.wav"}, "from_s": 0, "to_s": 2, "seconds": 0.2, "gain_db": 0, **more}
        got, told = desk.json("POST", "api/played", wish)
        self.assertEqual(got, status, told)
        return told

    def test_what_is_told_at_first(self):
        desk = Desk(self)
        _, state = desk.json("GET", "api/state")
        self.assertEqual([way["name"] for way in state["ways"]], ["as-it-is", "quiet", "mono", "below-100", "below-120", "small-speaker", "left", "right", "side"])
        self.assertLessEqual(set(state["heard"].values()), {way["name"] for way in state["ways"]})
        self.assertIn("weekly allowance", state["cautions"][0]["text"])
        self.assertTrue(state["cautions"][0]["text"].startswith(f"{state['caution']} "), "what to do, and then by which figures")
        self.assertEqual(state["cautions"][0]["source"], "ITU-T H.870 (2022)")
        self.assertIn("local rules", state["cautions"][1]["text"])

    def test_time_counts_and_is_bounded_by_the_clock(self):
        self.put("a.wav", lab.wav(2))
        begin = time.monotonic()
        desk = Desk(self)
        _, told = desk.json("GET", "api/played")
        self.assertEqual((told["seconds"], told["exposure"]), (0, None))
        time.sleep(0.3)
        # What was never opened cannot have been played, whether it is there or not.
        for source in ({"path": "a.wav"}, {"path": "gone.wav"}, {"check": "c1", "part": 1}):
            self.assertEqual(self.played(desk, status=404, source=source)["error"]["code"], "not_opened")
        self.assertEqual(desk.json("GET", "api/sound?path=a.wav&whole=1")[0], 200)
        self.assertEqual(self.played(desk, status=400, from_s=2.6, to_s=3)["error"]["code"], "request")
        self.assertEqual(desk.json("GET", "api/played")[1]["seconds"], 0)
        self.assertEqual(self.played(desk, from_s=1.95, to_s=2.15)["seconds"], 0.05)  # the rest lies behind the end
        self.assertEqual(self.played(desk, seconds=0.15)["seconds"], 0.2)
        told = self.played(desk, seconds=10 ** 8)
        self.assertLessEqual(told["seconds"], time.monotonic() - begin)
        self.assertIn("[monitoring]", told["rest"])
        self.assertEqual(told["text"], f"{told['time']} {told['rest']}")
        self.assertIsNone(told["exposure"])
        for more in ({"seconds": -1}, {"seconds": "1"}, {"gain_db": 3}, {"from_s": 3}, {"source": {}}, {"source": {"path": "../a.wav"}}, {"source": {"path": "/etc/passwd"}}, {"seconds": 1e300}):
            self.assertIn("error", self.played(desk, status=400, **more))
        self.assertEqual(desk.ask("POST", "api/played", b"{")[0], 400)
        self.assertEqual(desk.ask("POST", "api/played", b" " * (1 << 20) + b"{}")[0], 413)
        self.assertEqual(desk.json("POST", "api/played/x", {})[0], 404)

    def test_with_a_calibration_the_allowance_is_told(self):
        self.config.mkdir(parents=True)
        (self.config / "config.toml").write_text(CALIBRATED)
        rate = 48000
        self.put("a.wav", lab.float_wav([0.1 * math.sqrt(2) * math.sin(2 * math.pi * 1000 * n / rate) for n in range(2 * rate)], 1, rate))
        desk = Desk(self)
        self.assertEqual(desk.json("GET", "api/sound?path=a.wav&whole=1")[0], 200)
        time.sleep(0.3)
        # −20 dBFS in one channel, on two loudspeakers: 83 to 86 dB(A), of which there are 20 to 10 hours a week.
        told = self.played(desk)
        self.assertAlmostEqual(told["exposure"]["low_percent"], 100 * 0.2 / 3600 / 20, delta=0.0003)
        self.assertAlmostEqual(told["exposure"]["high_percent"], 100 * 0.2 / 3600 / 10, delta=0.0005)
        self.assertEqual(told["exposure"]["source"], "ITU-T H.870 (2022)")
        self.assertIn(told["exposure"]["text"], told["text"])
        (self.room / "a.wav").unlink()
        self.assertEqual(self.played(desk, seconds=0.01)["seconds"], 0.21)


if __name__ == "__main__":
    lab.main()
