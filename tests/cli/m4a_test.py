"""M4A with and without the program that decodes it. What is not measured never passes."""
import shutil
import struct
import subprocess
import unittest

import lab

NOWHERE = {"PATH": "/nonexistent"}
TITLES = """\
[ruleset]
name = "titles"
title = "Titles"
purpose = "Looks at tags only."
sources = ["definition"]

[[rule]]
id = "title"
measure = "tag_title"
matches = "^Paper"
why = "It is the subject of a test."
remedy = "Write it."
source = "definition"
"""


def box(kind, body):
    return struct.pack(">I", len(body) + 8) + kind + body


def full(kind, body):
    return box(kind, bytes(4) + body)


def m4a(title=b"Paper Moonrise"):
    """Made by hand: a header that is whole, and no sound that any decoder would take."""
    config = b"\x12\x10"
    decoder = b"\x40\x15" + bytes(11) + b"\x05" + bytes([len(config)]) + config
    stream = b"\0\1\0\x04" + bytes([len(decoder)]) + decoder
    esds = full(b"esds", b"\x03" + bytes([len(stream)]) + stream)
    entry = box(b"mp4a", bytes(6) + b"\0\1" + bytes(8) + struct.pack(">HHI", 2, 16, 0) + struct.pack(">I", 44100 << 16) + esds)
    table = (full(b"stsd", struct.pack(">I", 1) + entry) + full(b"stts", struct.pack(">III", 1, 430, 1024)) +
             full(b"stsc", struct.pack(">IIII", 1, 1, 430, 1)) + full(b"stsz", struct.pack(">II", 100, 430)) +
             full(b"stco", struct.pack(">II", 1, 16)))
    media = (full(b"mdhd", bytes(8) + struct.pack(">II", 44100, 430 * 1024) + bytes(4)) +
             full(b"hdlr", bytes(4) + b"soun" + bytes(13)) + box(b"minf", box(b"stbl", table)))
    items = box(b"\xa9nam", box(b"data", struct.pack(">II", 1, 0) + title))
    tags = box(b"udta", full(b"meta", full(b"hdlr", bytes(4) + b"mdirappl" + bytes(9)) + box(b"ilst", items)))
    moov = box(b"moov", full(b"mvhd", bytes(8) + struct.pack(">II", 44100, 430 * 1024) + bytes(80)) +
               box(b"trak", full(b"tkhd", bytes(8) + struct.pack(">I", 1) + bytes(68)) + box(b"mdia", media)) + tags)
    return box(b"ftyp", b"M4A \0\0\0\0") + moov + box(b"mdat", b"\x21" * 43000)


class WithoutADecoder(lab.Case):
    def check(self, *arguments, command="check"):
        code, out, err = self.run_program(command, *arguments, env=NOWHERE)
        return code, out.decode(), err.decode()

    def test_a_sheet_is_made_and_fails(self):
        self.put("song.m4a", m4a())
        code, out, err = self.check("song.m4a", "--rules", "streaming-music")
        self.assertEqual((code, err), (1, ""))
        self.assertIn("FAIL", out)
        self.assertIn("install ffmpeg so that M4A can be decoded, or bounce a WAV", " ".join(out.split()))
        self.assertIn("AAC-LC", out)

    def test_what_the_header_and_tags_say_is_judged(self):
        self.put("titles.toml", TITLES)
        self.put("song.m4a", m4a())
        self.put("other.m4a", m4a(b"Something Else"))
        self.assertEqual(self.check("song.m4a", "--rules", "./titles.toml")[0], 0)
        self.assertEqual(self.check("other.m4a", "--rules", "./titles.toml")[0], 1)

    def test_every_measurement_of_the_sound_is_not_measured(self):
        self.put("song.m4a", m4a())
        self.put("song.wav", lab.wav(2))
        code, out, err = self.run_program("measure", "song.m4a", "--format", "json", env=NOWHERE)
        self.assertEqual((code, err), (0, b""))
        sheet = lab.json.loads(out)["files"][0]
        self.assertEqual(sheet["facts"]["container"], "M4A")
        self.assertEqual(sheet["facts"]["frames"], 0)
        self.assertAlmostEqual(sheet["facts"]["duration_s"], 430 * 1024 / 44100, places=3)
        self.assertNotIn("audio", sheet.get("digest", {}))
        values = {key: m["value"] for key, m in sheet["measurements"].items()}
        self.assertEqual(values["encoding"], "AAC-LC")
        self.assertEqual(values["tag_title"], "Paper Moonrise")
        for key in ("integrated_loudness", "true_peak", "frames", "duration", "stream_integrity", "phase_correlation", "clipped_runs"):
            self.assertIsNone(values[key], key)
            self.assertIn("ffmpeg", sheet["measurements"][key]["reason"])
            self.assertNotEqual(sheet["measurements"][key].get("applicable"), False)
        # Nothing is left out that another file has.
        other = self.json_of("measure", "song.wav")["files"][0]["measurements"]
        self.assertEqual(set(values), set(other))

    def test_all_formats_take_it(self):
        self.put("song.m4a", m4a())
        for form in ("text", "json", "jsonl", "junit", "csv", "html", "markers"):
            with self.subTest(form=form):
                code, out, err = self.check("song.m4a", "--format", form, "--note", "note.md")
                self.assertEqual((code, err), (1, ""))
                self.assertTrue(out)

    def test_two_of_them_are_not_the_same_sound(self):
        self.put("a.m4a", m4a())
        self.put("b.m4a", m4a(b"Another"))
        code, out, err = self.check("a.m4a", "b.m4a", command="compare")
        self.assertEqual(code, 3)
        self.assertNotIn("identical", out)
        self.assertIn("ffmpeg", " ".join((out + err).split()))
        self.put("c.m4a", m4a())
        code, out, err = self.check("a.m4a", "c.m4a", command="compare")
        self.assertEqual(code, 0)  # the same bytes

    def test_a_sheet_needs_a_header(self):
        whole = m4a()
        self.put("cut.m4a", whole[:40] + whole[-43008:])
        self.put("bare.aac", b"\xff\xf1\x50\x80\x2e\x9f\xfc" + bytes(2000))
        for name in ("cut.m4a", "bare.aac"):
            with self.subTest(name=name):
                code, out, err = self.check(name)
                self.assertEqual(code, 3)
                self.assertIn("export", out + err)


@unittest.skipUnless(shutil.which("ffmpeg"), "needs ffmpeg")
class WithADecoder(lab.Case):
    def setUp(self):
        super().setUp()
        self.put("mix.wav", lab.wav(4))
        self.make("-c:a", "alac", "mix.m4a")
        self.make("-c:a", "aac", "-metadata", "title=Paper Moonrise", "lossy.m4a")

    def make(self, *arguments):
        subprocess.run(["ffmpeg", "-v", "error", "-nostdin", "-y", "-i", "mix.wav", *arguments], cwd=self.room, check=True)

    def measured(self, name):
        return self.json_of("measure", name, code=0)["files"][0]

    def test_alac_reads_as_the_wav_it_was_made_of(self):
        a, b = self.measured("mix.wav"), self.measured("mix.m4a")
        self.assertEqual(a["digest"]["audio"], b["digest"]["audio"])
        for key in ("integrated_loudness", "true_peak", "frames", "bit_depth", "effective_bit_depth"):
            self.assertEqual(a["measurements"][key]["value"], b["measurements"][key]["value"], key)
        self.assertIn("decoded by ffmpeg version", b["measurements"]["encoding"]["note"])
        code, out, _ = self.run_program("compare", "mix.wav", "mix.m4a")
        self.assertEqual(code, 0)

    def test_aac_is_measured_and_refused_where_a_master_is_asked_for(self):
        a, b = self.measured("mix.wav")["measurements"], self.measured("lossy.m4a")["measurements"]
        self.assertAlmostEqual(a["integrated_loudness"]["value"], b["integrated_loudness"]["value"], delta=0.3)
        self.assertEqual(a["frames"]["value"], b["frames"]["value"])
        self.assertEqual(b["stream_integrity"]["value"], 0)
        self.assertEqual(b["header_consistency"]["value"], 0)
        self.assertEqual(b["tag_title"]["value"], "Paper Moonrise")
        code, out, _ = self.run_program("check", "lossy.m4a")
        self.assertEqual(code, 1)

    def test_the_result_does_not_depend_on_jobs_nor_on_the_name(self):
        self.put("lossy.wav", (self.room / "lossy.m4a").read_bytes())
        one = self.measured("lossy.m4a")
        many = self.json_of("measure", "lossy.m4a", "--jobs", "4")["files"][0]
        self.assertEqual(one, many)
        lies = self.measured("lossy.wav")
        self.assertFalse(lies["measurements"]["extension_matches"]["value"])
        self.assertEqual(one["digest"], lies["digest"])

    def test_the_file_is_not_touched_and_nothing_is_left(self):
        before = (self.room / "lossy.m4a").read_bytes()
        self.run_program("check", "lossy.m4a", env={"FFREPORT": "file=report.log:level=32"})
        self.assertEqual((self.room / "lossy.m4a").read_bytes(), before)
        self.assertEqual(sorted(p.name for p in self.room.iterdir()), ["lossy.m4a", "mix.m4a", "mix.wav"])

    def test_a_name_that_a_shell_or_a_url_would_read(self):
        for name in ("-y.m4a", "http:..x.m4a", "a;b $(id).m4a", "concat:x.m4a", "-%d.m4a"):
            with self.subTest(name=name):
                shutil.copy(self.room / "lossy.m4a", self.room / name)
                sheet = self.json_of("measure", f"./{name}", code=0)["files"][0]
                self.assertIsNotNone(sheet["measurements"]["true_peak"]["value"])

    def test_no_frame_is_no_sheet(self):
        self.put("empty.m4a", m4a())
        code, out, err = self.run_program("check", "empty.m4a")
        self.assertEqual(code, 3)


if __name__ == "__main__":
    lab.main()
