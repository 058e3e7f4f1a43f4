"""A song's plan: written for a mix and its stems, read again, and mix and stems held against it."""
import json
import math
import os
import random
import re
import signal
import struct
import subprocess
import time
import unittest

import lab

try:
    import jsonschema
except ImportError:
    jsonschema = None

RATE = 24000
SECONDS = 12
CHANGE = 6  # where the chorus begins, seconds
TOP = 2 ** 23


def tone(partials, at, seconds=SECONDS):
    """Sum of (Hz, amplitude); `at(t)` is the level at a time."""
    out = []
    steps = [(2 * math.pi * hz / RATE, amplitude) for hz, amplitude in partials]
    for n in range(int(seconds * RATE)):
        level = at(n / RATE)
        out.append(level * sum(a * math.sin(step * n) for step, a in steps) if level else 0.0)
    return out


def song_level(t):
    return 1.0 if t >= CHANGE else 0.5


def phrases(t):
    """Two seconds of every three are sung, with 50 ms to come and go."""
    into = t % 3
    return song_level(t) * max(0.0, min(1.0, into / 0.05, (2 - into) / 0.05))


def kick():
    out = [0.0] * (SECONDS * RATE)
    for hit in range(1, 2 * SECONDS):
        start = hit * RATE // 2
        level = song_level(hit / 2)
        for n in range(min(RATE // 4, len(out) - start)):
            t = n / RATE
            out[start + n] += level * (0.5 * math.exp(-t / 0.06) * math.sin(2 * math.pi * 55 * t)
                                       + 0.1 * math.exp(-t / 0.003) * math.sin(2 * math.pi * 3000 * t))
    return out


def rendered():
    """The stems as whole numbers of 24 bits, so that their sum is the mix to the bit."""
    voice = [(220 * k, 0.08 / k) for k in range(1, 9)]
    sounds = {
        "kick": kick(),
        "bass": tone([(82, 0.12), (164, 0.04)], lambda t: song_level(t) * (1.0 if t % 1 < 0.9 else 0.0)),
        "keys": tone([(523, 0.03), (659, 0.03), (784, 0.03)], song_level),
        "voice": tone(voice, phrases),
        "backing": tone([(330 * k, 0.02 / k) for k in range(1, 6)], lambda t: phrases(t) if t >= CHANGE else 0.0),
    }
    return {name: [int(round(x * TOP)) for x in sound] for name, sound in sounds.items()}


STEMS = rendered()
ROLES = {"kick": "kick", "bass": "bass", "keys": "keys", "voice": "lead vocal", "backing": "backing vocal"}
PRIORITIES = {"kick": 2, "bass": 3, "keys": 4, "voice": 1, "backing": 5}


def louder(samples, db, from_s=0, to_s=SECONDS):
    gain = 10 ** (db / 20)
    first, end = int(from_s * RATE), int(to_s * RATE)
    return samples[:first] + [int(round(gain * x)) for x in samples[first:end]] + samples[end:]


def mono_wav(samples):
    data = bytearray()
    for x in samples:
        data += x.to_bytes(3, "little", signed=True)
    return lab.riff(1, 1, RATE, 24, bytes(data))


WISHES = {
    "vocal": "above_band = [-30, 30]",
    "backing": "under_lead = [0, 40]",
    "dynamics": "quiet_to_loud = 5\nbiggest_margin = 3\nmovement = 3",
    "low_end": 'lowest = "kick"\nkick_over_bass = 0\nbass_steadiness = 20',
    "masking": "most = 90",
    "quiet": "moved = 40\nsmall_speaker = false",
    "severity": 'listening-pass = "note"',
}


class PlanCase(lab.Case):
    def write(self, stems=None, mix=None, folder=".", wishes=None, feeling="warm", more="", listed=None, files=None):
        """A plan with its mix and stems in `folder`; `wishes`: tables in place of those above, None for none of it."""
        stems = STEMS if stems is None else stems
        if mix is None:
            mix = [sum(column) for column in zip(*stems.values())]
        self.put(f"{folder}/mix.wav", mono_wav(mix))
        text = f'[song]\ntitle = "Lamps"\nfeeling = "{feeling}"\napproach = "voice first"\nmix = "mix.wav"\n'
        text += f'[[section]]\nname = "verse"\nstart = 0\nquietest = true\n[[section]]\nname = "chorus"\nstart = {CHANGE}\nbiggest = true\n'
        for name in stems if listed is None else listed:
            file = (files or {}).get(name, f"stems/{name}.wav")
            if name in stems:
                self.put(f"{folder}/{file}", mono_wav(stems[name]))
            text += f"[[stem]]\nname = {json.dumps(name)}\nfile = {json.dumps(file)}\nrole = {json.dumps(ROLES[name])}\npriority = {PRIORITIES[name]}\n"
        for table, keys in {**WISHES, **(wishes or {})}.items():
            if keys is not None:
                text += f"[{table}]\n{keys}\n"
        self.put(f"{folder}/song.toml", text + more)
        return f"{folder}/song.toml" if folder != "." else "song.toml"

    def check(self, plan, code=None, *more):
        sheet = self.json_of("plan", "check", plan, "--no-progress", *more, code=code)
        return sheet, {one["rule"]: one for one in sheet["findings"]}

    @staticmethod
    def section(sheet, name):
        return next(one for one in sheet["sections"] if one["name"] == name)


class New(PlanCase):
    def setUp(self):
        super().setUp()
        self.write(folder="take")
        os.remove(self.room / "take/song.toml")

    def test_what_new_writes_is_a_plan_that_check_reads_and_what_is_meant_is_open(self):
        self.assertEqual(self.run_program("plan", "new", "take/mix.wav", "--stems", "take/stems", "-o", "take/song.toml")[0], 0)
        text = (self.room / "take/song.toml").read_text()
        for line in ('feeling = ""', 'approach = ""', "# above_band = [", "# under_lead = [", 'mix = "mix.wav"', 'file = "stems/kick.wav"', 'role = "lead vocal"', 'role = "backing vocal"'):
            self.assertIn(line, text)
        sheet, found = self.check("take/song.toml", 1)
        self.assertEqual(found["intent-stated"]["status"], "not measured")
        for rule in ("biggest-section", "vocal-placement", "priority-masking", "kick-over-bass"):
            self.assertIn("not stated", found[rule]["reason"], rule)
        self.assertEqual(found["stems-sum-to-mix"]["status"], "pass")
        self.assertEqual([one["role"] for one in sheet["stems"]], ["backing vocal", "bass", "keys", "kick", "lead vocal"])

    def test_what_new_suggests_is_kept_by_the_mix_that_it_was_measured_from(self):
        mix = (self.room / "take/mix.wav").read_bytes()
        points = [(1, 0), (2, int(CHANGE * RATE))]  # markers, so that there are two sections
        cues = struct.pack("<I", len(points)) + b"".join(struct.pack("<II4sIII", number, frame, b"data", 0, 0, frame) for number, frame in points)
        mix += b"cue " + struct.pack("<I", len(cues)) + cues
        self.put("take/mix.wav", mix[:4] + struct.pack("<I", len(mix) - 8) + mix[8:])
        self.assertEqual(self.run_program("plan", "new", "take/mix.wav", "--stems", "take/stems", "-o", "take/song.toml")[0], 0)
        text = (self.room / "take/song.toml").read_text().replace('feeling = ""', 'feeling = "warm"').replace('approach = ""', 'approach = "near"')
        text = re.sub(r'(?m)^# (\w+ = (?!""))', r"\1", text)
        self.put("take/song.toml", text)
        _, found = self.check("take/song.toml", 1)
        open_ones = {rule: (one["value"], one.get("reason")) for rule, one in found.items() if one["status"] not in ("pass", "note")}
        self.assertEqual(list(open_ones), ["listening-pass"], open_ones)

    def test_the_paths_fit_from_another_folder(self):
        (self.room / "plans").mkdir()
        self.assertEqual(self.run_program("plan", "new", "take/mix.wav", "--stems", str(self.room / "take/stems"), "-o", "plans/song.toml")[0], 0)
        self.assertIn('mix = "../take/mix.wav"', (self.room / "plans/song.toml").read_text())
        sheet, found = self.check("plans/song.toml", 1)
        self.assertEqual(found["stems-sum-to-mix"]["status"], "pass")
        self.assertFalse([one for one in sheet["files"] if one.get("error")])

    def test_a_plan_is_never_replaced(self):
        self.put("song.toml", "mine")
        code, out, err = self.run_program("plan", "new", "take/mix.wav", "-o", "song.toml")
        self.assertEqual((code, out), (2, b""))
        self.assertIn(b"there already", err)
        self.assertEqual((self.room / "song.toml").read_text(), "mine")
        self.assertEqual(self.run_program("plan", "new", "take/mix.wav", "-o", "song.wav")[0], 2)
        os.symlink("nowhere.toml", self.room / "link.toml")
        self.assertEqual(self.run_program("plan", "new", "take/mix.wav", "-o", "link.toml")[0], 2)
        self.assertEqual(os.readlink(self.room / "link.toml"), "nowhere.toml")
        self.assertFalse((self.room / "nowhere.toml").exists())

    def test_a_folder_of_stems_that_is_missing_or_empty(self):
        (self.room / "empty").mkdir()
        for folder, words in (("none", b"no such folder"), ("empty", b"no audio file")):
            code, out, err = self.run_program("plan", "new", "take/mix.wav", "--stems", folder)
            self.assertEqual((code, out), (3, b""))
            self.assertIn(words, err)
        self.assertEqual(self.run_program("plan", "new", "nothing.wav")[0], 3)

    def test_without_stems_and_to_standard_output(self):
        code, out, _ = self.run_program("plan", "new", "take/mix.wav")
        self.assertEqual(code, 0)
        self.assertIn(b'mix = "take/mix.wav"', out)
        self.assertNotIn(b"\n[[stem]]", out)
        self.assertEqual(self.run_program("plan", "new", "take/mix.wav", "--jobs", "1")[1], out)

    def test_options_that_do_not_belong_there(self):
        for words in (("new", "take/mix.wav", "--format", "json"), ("new", "take/mix.wav", "--date", "2030-01-01"), ("check", "x.toml", "--stems", "take"),
                      ("neww", "x"), ("new",), ("check", "a.toml", "b.toml"), ()):
            with self.subTest(words=words):
                code, out, err = self.run_program("plan", *words)
                self.assertEqual((code, out), (2, b""))
                self.assertIn(b'Try "sendworthy plan --help"', err)

    def test_names_with_escapes(self):
        os.rename(self.room / "take/stems/kick.wav", self.room / "take/stems/kick \x1b[31m.wav")
        os.rename(self.room / "take/mix.wav", self.room / 'take/the "mix" \\ 1.wav')
        code, out, err = self.run_program("plan", "new", 'take/the "mix" \\ 1.wav', "--stems", "take/stems")
        self.assertEqual(code, 0, err)
        self.assertNotIn(b"\x1b", out)
        self.put("song.toml", out)
        sheet, found = self.check("song.toml", 1)
        self.assertEqual(sheet["song"]["mix"], 'take/the "mix" \\ 1.wav')
        self.assertEqual(found["biggest-section"]["status"], "not measured")


class Check(PlanCase):
    def test_a_kept_plan_passes_and_its_numbers_are_there(self):
        sheet, found = self.check(self.write(), 0)
        self.assertEqual({rule: one["status"] for rule, one in found.items() if one["status"] != "pass"},
                         {"listening-pass": "not measured", "mono-low-end": "note"})  # a mono mix
        self.assertEqual(sheet["verdict"], "pass")
        for one in sheet["sections"]:
            for key in ("name", "start_s", "end_s", "integrated_loudness", "max_short_term_loudness", "peak_to_loudness_ratio", "rank", "density", "vocal_over_bed"):
                self.assertIsNotNone(one[key], key)
        self.assertEqual([one["rank"] for one in sheet["sections"]], [2, 1])
        self.assertIsNone(self.section(sheet, "verse")["lead_over_backing"])
        for one in sheet["stems"]:
            self.assertEqual(one["role"], ROLES[one["name"]])
            self.assertEqual(one["priority"], PRIORITIES[one["name"]])
            self.assertEqual(len(one["by_section"]), 2)
            self.assertGreater(one["active_s"], 3)
        pairs = {(one["part"], one["masker"]) for one in sheet["pairs"]}
        self.assertEqual(pairs, {(a, b) for a in STEMS for b in STEMS if PRIORITIES[a] < PRIORITIES[b]})
        shares = [one["masked_percent"] for one in sheet["pairs"]]
        self.assertEqual(shares, sorted(shares, reverse=True))
        self.assertEqual(len(sheet["song"]["low_end"]["hits"]), 2 * SECONDS - 1)
        self.assertEqual(sheet["song"]["vocal"]["bed"], "sum of the other stems")

    @unittest.skipIf(jsonschema is None, "python3-jsonschema is not installed")
    def test_the_published_schema_holds(self):
        schema = json.loads((lab.SOURCE / "docs/sheet.schema.json").read_text())
        validator = jsonschema.validators.validator_for(schema)(schema)
        validator.validate(self.check(self.write())[0])
        wrong = self.check(self.write(feeling="", listed=[], wishes={table: None for table in WISHES}))[0]
        validator.validate(wrong)
        del wrong["sections"][0]["vocal_over_bed"]
        self.assertFalse(validator.is_valid(wrong))

    def test_the_same_bytes_whatever_the_threads(self):
        plan = self.write()
        for form in ("text", "json", "jsonl", "junit", "csv", "html", "markers"):
            with self.subTest(format=form):
                one, two = (self.run_program("plan", "check", plan, "-f", form, "--jobs", jobs, "--no-cache") for jobs in ("1", "2"))
                self.assertEqual(one, two)

    def test_exit_codes_of_warn_and_fail(self):
        warn = self.write(wishes={"masking": "most = 0"})
        self.assertEqual(self.run_program("plan", "check", warn)[0], 0)
        self.assertEqual(self.run_program("plan", "check", warn, "--fail-on", "warn")[0], 1)
        fail = self.write(wishes={"dynamics": "quiet_to_loud = 20\nmovement = 3"})
        self.assertEqual(self.run_program("plan", "check", fail)[0], 1)
        self.assertEqual(self.run_program("plan", "check", fail, "--fail-on", "never")[0], 0)
        asked = self.write(feeling="")  # not measured counts
        sheet, found = self.check(asked, 1)
        self.assertEqual(found["intent-stated"]["reason"], "not stated: feeling")
        self.assertEqual(sheet["verdict"], "fail")

    def test_a_note_never_changes_the_verdict(self):
        wishes = {"dynamics": "quiet_to_loud = 20", "severity": 'listening-pass = "note"\nquiet-to-loud = "note"\nmovement = "note"'}
        sheet, found = self.check(self.write(wishes=wishes), 0)
        self.assertEqual((found["quiet-to-loud"]["status"], found["movement"]["status"], sheet["verdict"]), ("note", "not measured", "pass"))

    def test_a_waiver_in_the_plan(self):
        waiver = '[[waiver]]\nrule = "quiet-to-loud"\nreason = "it is meant to be flat"\nby = "R. Tarn"\nuntil = 2031-01-31\n'
        plan = self.write(wishes={"dynamics": "quiet_to_loud = 20\nmovement = 3"}, more=waiver)
        sheet, found = self.check(plan, 0, "--date", "2031-01-31")
        self.assertEqual(found["quiet-to-loud"]["status"], "waived")
        text = self.run_program("plan", "check", plan, "--date", "2031-01-31")[1].decode()
        self.assertIn("it is meant to be flat", text)
        _, found = self.check(plan, 1, "--date", "2031-02-01")
        self.assertEqual(found["quiet-to-loud"]["status"], "fail")

    def test_what_is_wrong_with_a_plan_is_said_with_its_place_and_the_nearest_name(self):
        for text, place, words in (('[song]\nmix = "mix.wav"\nfelling = "x"\n', "3:1", '"feeling"'),
                                   ('[song]\nmix = "mix.wav"\n[[stem]]\nname = "a"\nfile = "a.wav"\nrole = "lead vocl"\n', "6:8", '"lead vocal"'),
                                   ('[song]\nmix = "mix.wav"\n[severity]\nmovment = "note"\n', "4:1", '"movement"'),
                                   ('[song]\nmix = "mix.wav"\n[dynamics]\nmovement = -1\n', "4:12", "0"),
                                   ('[song]\ntitle = "no mix"\n', "1:1", "mix")):
            with self.subTest(text=text):
                self.put("song.toml", text)
                code, out, err = self.run_program("plan", "check", "song.toml")
                self.assertEqual((code, out), (2, b""))
                self.assertTrue(err.decode().startswith(f"sendworthy: song.toml:{place}: "), err)
                self.assertIn(words, err.decode())
        self.assertEqual(self.run_program("plan", "check", "none.toml")[0], 2)
        self.assertEqual(self.run_program("plan", "check", self.write(), "--rules", "no-such-set")[0], 2)

    def test_a_mix_or_a_stem_that_is_missing_or_no_audio(self):
        plan = self.write()
        names = [one["name"] for one in self.check(plan, 0)[0]["stems"]]
        os.remove(self.room / "stems/keys.wav")
        sheet, found = self.check(plan, 3)
        self.assertEqual(found["biggest-section"]["status"], "pass")
        for rule in ("priority-masking", "stems-sum-to-mix", "stems-aligned", "movement"):
            self.assertEqual(found[rule]["status"], "not measured")
            self.assertIn("stems/keys.wav", found[rule]["reason"])
        # What stands on other stems is told by them.
        for rule in ("vocal-placement", "vocal-condition", "kick-over-bass"):
            self.assertEqual(found[rule]["status"], "pass", found[rule])
        self.assertEqual([one["name"] for one in sheet["stems"]], names)
        self.put("stems/keys.wav", b"no audio at all")
        self.assertEqual(self.check(plan, 3)[1]["stems-sum-to-mix"]["status"], "not measured")
        os.rename(self.room / "stems/kick.wav", self.room / "stems/gone.wav")
        found = self.check(plan, 3)[1]
        for rule in ("kick-over-bass", "low-end-order", "quiet-listening"):
            self.assertEqual(found[rule]["status"], "not measured")
            self.assertIn("stems/kick.wav", found[rule]["reason"])
        os.rename(self.room / "stems/gone.wav", self.room / "stems/kick.wav")
        os.remove(self.room / "mix.wav")
        sheet, found = self.check(plan, 3)
        self.assertTrue(all(one["status"] == "not measured" for rule, one in found.items() if rule != "intent-stated"))
        self.assertEqual(sheet["verdict"], "fail")

    def test_a_plan_without_stems_says_what_was_not_measured(self):
        sheet, found = self.check(self.write(listed=[]), 1)
        for rule in ("biggest-section", "quiet-to-loud"):
            self.assertEqual(found[rule]["status"], "pass")
        for rule in ("vocal-placement", "backing-placement", "priority-masking", "kick-over-bass", "bass-steadiness", "stems-sum-to-mix", "stems-aligned"):
            self.assertEqual(found[rule]["status"], "not measured", rule)
        self.assertEqual((sheet["stems"], sheet["pairs"]), ([], []))

    def test_quiet_is_the_verdict_line(self):
        code, out, _ = self.run_program("plan", "check", self.write(), "--quiet")
        self.assertEqual(code, 0)
        lines = self.lines(out)
        self.assertEqual(len(lines), 1)
        self.assertTrue(lines[0].startswith("PASS  Lamps: "), lines)

    def test_eighty_columns_and_no_colour_where_none_is_wanted(self):
        plan = self.write(wishes={"dynamics": "quiet_to_loud = 20", "masking": "most = 0", "vocal": "above_band = [20, 30]"})
        for line in self.lines(self.run_program("plan", "check", plan)[1]):
            self.assertLessEqual(len(line), 80, line)
        arguments = ["plan", "check", plan, "--no-progress"]
        self.assertIn(b"\x1b[", lab.on_terminal(arguments, self.environment(TERM="xterm"), self.room)[1])
        self.assertNotIn(b"\x1b", lab.on_terminal(arguments, self.environment(TERM="xterm", NO_COLOR="1"), self.room)[1])

    def test_names_with_escapes_do_not_reach_the_terminal(self):
        plan = self.write(wishes={"vocal": "above_band = [20, 30]"})
        text = (self.room / plan).read_text().replace('name = "voice"', 'name = "vo\\u001b[31mice"')
        self.put(plan, text)
        code, out, err = self.run_program("plan", "check", plan)
        self.assertNotIn(b"\x1b", out + err)
        if code != 2:
            self.assertEqual(code, 1)
            json.loads(self.run_program("plan", "check", plan, "-f", "json")[1])

    def test_an_intent_of_several_lines_is_shown_in_lines(self):
        plan = self.write(feeling='<b>first\\n\\nsecond \\u001b[31mline')
        code, out, _ = self.run_program("plan", "check", plan)
        self.assertEqual(code, 0)
        lines = self.lines(out)
        first = next(at for at, line in enumerate(lines) if line.endswith("<b>first"))
        self.assertTrue(lines[first].startswith("  feeling"), lines[first])
        self.assertEqual(lines[first + 1].index("second"), lines[first].index("<b>first"))
        self.assertTrue(lines[first + 1].endswith("second \\u{1b}[31mline"))
        # Levels of bands, weighted, are no loudness levels.
        self.assertIn(" dB, weighted as", out.decode())
        page = self.run_program("plan", "check", plan, "-f", "html")[1].decode()
        self.assertFalse(re.search(r"\d phon\b", out.decode() + page))
        self.assertIn("&lt;b&gt;first<br>second \\u{1b}[31mline<", page)

    def test_the_mix_is_judged_as_a_file_too(self):
        rules = self.put_rules("loud", "fail_above = -60.0")
        sheet, _ = self.check(self.write(), 1, "--rules", rules)
        mix = next(one for one in sheet["files"] if one["path"] == "mix.wav")
        self.assertEqual(mix["verdict"], "fail")

    def test_nothing_of_the_song_is_written_to(self):
        plan = self.write()
        for name in ("mix.wav", "stems/kick.wav", "song.toml"):
            before = (self.room / name).read_bytes()
            self.assertEqual(self.run_program("plan", "check", plan, "-f", "json", "-o", name)[0], 2, name)
            self.assertEqual((self.room / name).read_bytes(), before)

    def test_the_answers_of_a_pass_are_never_written_over(self):
        plan = self.write()
        os.symlink("song.toml.passes.jsonl", self.room / "link.jsonl")
        # The first before there are any, the others once they stand there.
        for name in ("song.toml.passes.jsonl", "link.jsonl", "hard.jsonl", "./song.toml.passes.jsonl"):
            code, out, err = self.run_program("plan", "check", plan, "-f", "jsonl", "-o", name)
            if name == "song.toml.passes.jsonl":
                self.assertIn(b"named like the answers", err)
                self.assertFalse((self.room / name).exists())
                self.put(name, "\n")
                os.link(self.room / name, self.room / "hard.jsonl")
            else:
                self.assertIn(b"is one of the files to be read", err)
            self.assertEqual((code, out), (2, b""), name)
            self.assertEqual((self.room / "song.toml.passes.jsonl").read_bytes(), b"\n")
        # Another command does not read them, and spares them all the same.
        for name in ("song.toml.passes.jsonl", "link.jsonl"):
            self.assertEqual(self.run_program("measure", "mix.wav", "-o", name)[0], 2, name)
        self.assertEqual((self.room / "song.toml.passes.jsonl").read_bytes(), b"\n")

    def test_ctrl_c(self):
        plan = self.write()
        rng = random.Random(3)
        second = bytes(rng.getrandbits(8) & 0x3F for _ in range(3 * RATE))
        for name in ("mix.wav", "stem.wav"):
            self.put(name, lab.riff(1, 1, RATE, 24, second * 1500))
        for name in STEMS:
            os.remove(self.room / f"stems/{name}.wav")
            os.link(self.room / "stem.wav", self.room / f"stems/{name}.wav")
        for words in (("check", plan, "-f", "json", "-o", "out.json"), ("new", "mix.wav", "--stems", "stems", "-o", "out.toml")):
            with self.subTest(words=words):
                process = subprocess.Popen([lab.PROGRAM, "plan", *words, "--no-cache"], cwd=self.room, env=self.environment(), stdin=subprocess.DEVNULL,
                                           stdout=subprocess.PIPE, stderr=subprocess.PIPE)
                lab.until_it_catches(process, signal.SIGINT)
                time.sleep(0.4)
                over = process.poll()
                process.send_signal(signal.SIGINT)
                out, err = process.communicate(timeout=lab.TIMEOUT_S)
                self.assertIsNone(over, "over before it could be interrupted")
                self.assertEqual((process.returncode, out), (130, b""))
                self.assertIn(b"interrupted", err)
                self.assertFalse((self.room / "out.json").exists() or (self.room / "out.toml").exists())
                self.assertEqual(self.leftovers(), [])


class Arithmetic(PlanCase):
    """What a change of a stem must do to the numbers, to the figure."""

    def numbers(self, **changed):
        folder = f"take{len(list(self.room.iterdir()))}"
        return self.check(self.write({**STEMS, **changed}, folder=folder))[0]

    def test_a_vocal_6_db_up_or_down_over_a_bed_that_stays(self):
        base = self.numbers()
        for change in (6.0, -6.0):
            sheet = self.numbers(voice=louder(STEMS["voice"], change))
            for name in ("verse", "chorus"):
                self.assertAlmostEqual(self.section(sheet, name)["vocal_over_bed"] - self.section(base, name)["vocal_over_bed"], change, delta=0.03)
            self.assertAlmostEqual(self.section(sheet, "chorus")["lead_over_backing"] - self.section(base, "chorus")["lead_over_backing"], change, delta=0.03)

    def test_a_kick_3_db_softer(self):
        base, sheet = self.numbers(), self.numbers(kick=louder(STEMS["kick"], -3))
        self.assertAlmostEqual(sheet["song"]["low_end"]["kick_over_bass"] - base["song"]["low_end"]["kick_over_bass"], -3.0, delta=0.03)

    def test_a_quiet_section_4_db_softer(self):
        def step(sheet):
            return self.section(sheet, "chorus")["integrated_loudness"] - self.section(sheet, "verse")["integrated_loudness"]
        base = self.numbers()
        sheet = self.numbers(**{name: louder(sound, -4, 0, CHANGE) for name, sound in STEMS.items()})
        self.assertAlmostEqual(step(sheet) - step(base), 4.0, delta=0.06)

    def test_a_masker_that_moves_away_in_frequency(self):
        def share(sheet):
            return next(one["masked_percent"] for one in sheet["pairs"] if (one["part"], one["masker"]) == ("voice", "keys"))
        soft = louder(STEMS["voice"], -12)
        over = self.numbers(voice=soft, keys=[int(TOP * x) for x in tone([(220 * k, 0.12 / k) for k in range(1, 9)], song_level)])
        away = self.numbers(voice=soft, keys=[int(TOP * x) for x in tone([(7000, 0.12), (7700, 0.06)], song_level)])
        self.assertGreater(share(over), 60)
        self.assertLess(share(away), 3)


if __name__ == "__main__":
    lab.main()
