"""What the page has done beside checks of files: two bounces, plans and their questions, orders."""
import json
import math
import os
import time
import unittest

import desk_test
import lab

RATE = 8000
PLAN = """\
[song]
title = "Lamps"
artist = "Nobody"
feeling = "coming home late"
approach = "voice first"
mix = "bounces/mix.wav"
{more}
[[section]]
name = "verse"
start = 0
quietest = true
[[section]]
name = "chorus"
start = 0.4
biggest = true
{stems}
[[question]]
id = "biggest-section"
text = "Is the biggest section the biggest?"

[[question]]
id = "vocal"
text = "Is the vocal where it belongs?"
section = "verse"

[[question]]
id = "very-quiet"
text = "Very quietly: does nothing poke out?"
heard = "quiet"
"""
STEMS = """
[[stem]]
name = "voice"
file = "stems/a.wav"
role = "lead vocal"
priority = 1
[[stem]]
name = "keys"
file = "stems/b.wav"
role = "keys"
priority = 2
"""
ALL = ("biggest-section", "vocal", "very-quiet")
ORDER = '[order]\ntitle = "Lamps"\nartist = "Nobody"\nrules = "loose"\n{more}\n[[item]]\nversion = "main"\nfile = "main.wav"\n[[item]]\nversion = "instrumental"\nfile = "inst.wav"\n'
FORMS = (("json", "json"), ("jsonl", "jsonl"), ("csv", "csv"), ("xml", "junit"), ("txt", "text"), ("html", "html"))


def noise(seconds, gain=1.0, seed=1):
    """Something that has one place only when it is lined up."""
    state, out = seed, []
    for _ in range(int(seconds * RATE)):
        state = (state * 1103515245 + 12345) % (1 << 31)
        out.append(gain * 0.25 * (state / (1 << 30) - 1))
    return out


class JobCase(lab.Case):
    def ended(self, desk, body, state="done", to="api/checks"):
        status, told = desk.json("POST", to, body)
        self.assertEqual(status, 200, told)
        told = desk.finished(told["check"], 120)
        self.assertEqual(told["state"], state, told)
        return told

    def sheet(self, desk, told, form="json", query="?save=1"):
        status, _, text = desk.ask("GET", f"api/checks/{told['check']}/sheet.{form}{query}")
        self.assertEqual(status, 200, text)
        return text

    def upload(self, desk, name, content):
        return json.loads(desk.ask("POST", f"api/upload?name={name}", content)[2])["upload"]


class Bounces(JobCase):
    def setUp(self):
        super().setUp()
        sound = noise(3)
        self.old = lab.float_wav(sound, rate=RATE)
        # A quarter of a second later, and 6 dB softer.
        self.new = lab.float_wav([0.0] * (RATE // 4) + [x / 2 for x in sound], rate=RATE)
        self.put("old/mix.wav", self.old)
        self.put("new/mix.wav", self.new)

    def test_two_bounces_come_to_the_sheet_that_compare_prints(self):
        desk = desk_test.Desk(self)
        told = self.ended(desk, {"compare": [{"path": "old/mix.wav"}, {"path": "new/mix.wav"}], "rules": ["premaster"]})
        self.assertEqual(told["kind"], "compare")
        self.assertEqual([(file["name"], file["part"]) for file in told["files"]], [("mix.wav", 2), ("mix.wav", 1)])
        self.assertEqual((told["done"], told["total"], told["fraction"], told["identical"]), (2, 2, 1.0, False))
        for ending, form in FORMS:
            status, _, got = desk.ask("GET", f"api/checks/{told['check']}/sheet.{ending}")
            if form not in ("json", "text", "html"):
                self.assertEqual((status, json.loads(got)["error"]["code"]), (409, "no_form"), ending)
                continue
            code, own, _ = self.run_program("compare", "--rules", "premaster", "-f", form, "old/mix.wav", "new/mix.wav")
            self.assertEqual((status, code), (200, 1))
            self.assertEqual(got, own, form)
        self.assertIn(told["summary"].split(";")[0].encode(), self.sheet(desk, told, "txt").replace(b"\n        ", b" "))

    def test_the_pair_tells_how_to_hear_both_at_one_place_and_one_level(self):
        desk = desk_test.Desk(self)
        told = self.ended(desk, {"compare": [{"path": "old/mix.wav"}, {"path": "new/mix.wav"}]})
        status, pair = desk.json("GET", f"api/checks/{told['check']}/pair")
        self.assertEqual(status, 200)
        self.assertEqual((pair["old_part"], pair["new_part"], pair["speed"], pair["identical"], pair["edits"]), (2, 1, 1.0, False, []))
        self.assertAlmostEqual(pair["offset_s"], 0.25, delta=1 / RATE)
        # The file with a lead-in of silence and half the amplitude: 20 lg 2 softer, for gated loudness leaves the silence out.
        self.assertAlmostEqual(pair["old_gain_db"], -20 * math.log10(2), delta=0.2)
        self.assertEqual(pair["new_gain_db"], 0)
        self.assertAlmostEqual(pair["new_lufs"] - pair["old_lufs"], pair["old_gain_db"], delta=0.001)
        # What it was of can be asked for again, also by a page that was not there.
        self.assertEqual([(one["path"], one["bytes"]) for one in told["files"]], [("old/mix.wav", len(self.old)), ("new/mix.wav", len(self.new))])
        _, listing = desk.json("GET", "api/folder?path=old")
        self.assertEqual(told["files"][0]["modified"], listing["files"][0]["modified"])
        self.assertRegex(told["asked_at"], r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ$")
        for number, content in ((pair["old_part"], self.old), (pair["new_part"], self.new)):
            path = json.loads(self.sheet(desk, told))["files"][number - 1]["path"]
            self.assertEqual((self.room / path).read_bytes(), content)
        back = self.ended(desk, {"compare": [{"path": "new/mix.wav"}, {"path": "old/mix.wav"}]})
        _, other = desk.json("GET", f"api/checks/{back['check']}/pair")
        self.assertAlmostEqual(other["offset_s"], -0.25, delta=1 / RATE)
        self.assertEqual((other["old_gain_db"], other["new_gain_db"]), (0, pair["old_gain_db"]))

    def test_an_edit_is_told_with_its_places(self):
        sound = noise(6)
        self.put("a.wav", lab.float_wav(sound, rate=RATE))
        self.put("b.wav", lab.float_wav(sound[:3 * RATE] + noise(0.5, seed=9) + sound[3 * RATE:], rate=RATE))
        desk = desk_test.Desk(self)
        told = self.ended(desk, {"compare": [{"path": "a.wav"}, {"path": "b.wav"}]})
        _, pair = desk.json("GET", f"api/checks/{told['check']}/pair")
        self.assertEqual(pair["kind"], "edited")
        self.assertAlmostEqual(pair["offset_s"], 0, delta=1e-6)
        edit, = pair["edits"]
        self.assertAlmostEqual(edit["old_start_s"], 3, delta=0.02)
        self.assertAlmostEqual(edit["new_end_s"] - edit["old_end_s"], 0.5, delta=0.001)
        self.assertIn("put in at 0:03", edit["words"])
        self.assertEqual(pair["edits_total"], 1)

    def test_dropped_bounces_of_one_name_are_told_apart_and_leave_nothing(self):
        desk = desk_test.Desk(self)
        uploads = [self.upload(desk, "mix.wav", content) for content in (self.old, self.new)]
        told = self.ended(desk, {"compare": [{"upload": uploads[0]}, {"upload": uploads[1]}], "rules": ["premaster"]})
        _, own, _ = self.run_program("compare", "--rules", "premaster", "-f", "json", "old/mix.wav", "new/mix.wav")
        self.assertEqual(self.sheet(desk, told), own)
        self.assertEqual([one["upload"] for one in told["files"]], uploads)
        self.assertEqual(desk.json("GET", "api/uploads")[1]["uploads"], [{"upload": uploads[0], "name": "mix.wav", "bytes": len(self.old)}, {"upload": uploads[1], "name": "mix.wav", "bytes": len(self.new)}])
        for form in ("json", "txt", "html"):
            self.assertNotIn(b"sendworthy-desk", self.sheet(desk, told, form))
        self.assertEqual(desk.json("DELETE", f"api/checks/{told['check']}")[0], 200)
        self.assertEqual(desk.scratch(), [])
        self.assertEqual(desk.json("GET", f"api/checks/{told['check']}/pair")[0], 404)

    def test_one_file_against_itself_is_identical(self):
        desk = desk_test.Desk(self)
        told = self.ended(desk, {"compare": [{"path": "old/mix.wav"}, {"path": "old/mix.wav"}]})
        _, pair = desk.json("GET", f"api/checks/{told['check']}/pair")
        self.assertEqual((told["identical"], pair["identical"], pair["offset_s"], pair["old_gain_db"], pair["new_gain_db"]), (True, True, 0, 0, 0))
        self.assertEqual((told["done"], told["total"]), (2, 2))

    def test_a_bounce_that_is_no_sound_comes_to_no_pair(self):
        self.put("broken.wav", "no sound")
        desk = desk_test.Desk(self)
        told = self.ended(desk, {"compare": [{"path": "old/mix.wav"}, {"path": "broken.wav"}], "rules": ["premaster"]})
        self.assertEqual((told["verdict"], "error" in told["files"][0], "error" in told["files"][1]), ("fail", False, True))
        _, own, _ = self.run_program("compare", "--rules", "premaster", "-f", "json", "old/mix.wav", "broken.wav")
        self.assertEqual(self.sheet(desk, told), own)
        self.assertEqual(desk.json("GET", f"api/checks/{told['check']}/pair")[1]["error"]["code"], "no_pair")
        other = self.ended(desk, {"files": [{"path": "old/mix.wav"}]})
        for part in ("pair", "listening"):
            self.assertEqual(desk.json("GET", f"api/checks/{other['check']}/{part}")[0], 409)
            self.assertEqual(desk.json("GET", f"api/checks/c99/{part}")[0], 404)

    def test_a_comparison_that_runs_is_stopped(self):
        self.put("long.wav", lab.long_wav(600))
        desk = desk_test.Desk(self, "--no-cache")
        _, told = desk.json("POST", "api/checks", {"compare": [{"path": "long.wav"}, {"path": "old/mix.wav"}]})
        while desk.json("GET", f"api/checks/{told['check']}")[1]["state"] == "waiting":
            time.sleep(0.01)
        self.assertEqual(desk.json("GET", f"api/checks/{told['check']}/pair")[0], 409)
        self.assertEqual(desk.json("POST", f"api/checks/{told['check']}/stop")[0], 200)
        told = desk.finished(told["check"])
        self.assertEqual((told["state"], "verdict" in told, "summary" in told), ("stopped", False, False))


class Plans(JobCase):
    def setUp(self):
        super().setUp()
        self.put("song.toml", PLAN.format(more="", stems=STEMS))
        self.put("bounces/mix.wav", lab.wav(1.0, rate=RATE))
        self.put("stems/a.wav", lab.wav(1.0, rate=RATE, peak=0.2))
        self.put("stems/b.wav", lab.wav(1.0, rate=RATE, peak=0.1, seed=2))
        self.passes = self.room / "song.toml.passes.jsonl"

    def test_a_plan_comes_to_the_sheet_that_plan_check_prints(self):
        desk = desk_test.Desk(self)
        for rules in ([], ["premaster"]):
            told = self.ended(desk, {"plan": "song.toml", "rules": rules})
            options = [word for name in rules for word in ("--rules", name)]
            for ending, form in FORMS:
                _, own, _ = self.run_program("plan", "check", "song.toml", "-f", form, *options)
                self.assertEqual(self.sheet(desk, told, ending), own, form)
            # What is only shown says what to do on the page.
            shown, saved = (self.sheet(desk, told, "html", query).decode() for query in ("", "?save=1"))
            self.assertIn("Listen it through under Listen", shown)
            self.assertNotIn("sendworthy listen PLAN", shown)
            self.assertIn("sendworthy listen PLAN", saved)
            sheet = json.loads(self.sheet(desk, told))
            self.assertEqual((told["kind"], told["rules"], told["verdict"], told["done"], told["total"]), ("plan", rules, sheet["verdict"], 3, 3))
            self.assertEqual(told["plan"], "song.toml")
            _, headers, _ = desk.ask("GET", f"api/checks/{told['check']}/sheet.html?save=1")
            self.assertEqual(headers["content-disposition"], 'attachment; filename="song-sheet.html"')
            self.assertEqual([(file["name"], file["part"], file["role"], file.get("verdict")) for file in told["files"]],
                             [(file["path"], n + 1, file["role"], file.get("verdict")) for n, file in enumerate(sheet["files"])])

    def listening(self, desk, told, status=200):
        got, state = desk.json("GET", f"api/checks/{told['check']}/listening")
        self.assertEqual(got, status, state)
        return state

    def answer(self, desk, told, question, answer="holds", **more):
        return desk.json("POST", f"api/checks/{told['check']}/answers", {"question": question, "answer": answer, "by": "KB", **more})

    def status_of(self, code):
        got, out, _ = self.run_program("listen", "song.toml", "--status", "-f", "json")
        self.assertEqual(got, code)
        return json.loads(out)

    def test_what_is_asked_comes_with_what_was_meant_and_measured(self):
        desk = desk_test.Desk(self)
        told = self.ended(desk, {"plan": "song.toml"})
        state = self.listening(desk, told)
        own = self.status_of(1)
        for key, value in own.items():
            if key != "questions":
                self.assertEqual(state[key], value, key)
        self.assertEqual((state["title"], state["artist"], state["feeling"], state["approach"]), ("Lamps", "Nobody", "coming home late", "voice first"))
        self.assertEqual({q["id"] for q in state["questions"]}, set(ALL))
        by_id = {q["id"]: q for q in state["questions"]}
        for one in own["questions"]:
            self.assertEqual({key: by_id[one["id"]][key] for key in one}, one)
        self.assertEqual(by_id["vocal"]["section"], "verse")
        self.assertEqual(by_id["vocal"]["places"][0], {"start_s": 0, "end_s": 0.4, "what": "verse"})
        self.assertTrue(by_id["vocal"]["numbers"])
        self.assertEqual(by_id["very-quiet"]["heard"], "quiet")
        self.assertTrue(all(q["how"] for q in state["questions"]))
        finding = next(f for q in state["questions"] for f in q["findings"] if f["id"] == "biggest-section")
        self.assertLessEqual({"id", "status", "headline", "why", "remedy", "where"}, set(finding))
        self.assertEqual(told["files"][state["mix_part"] - 1]["name"], "bounces/mix.wav")
        self.assertTrue(all(c["text"] and c["source"] for c in state["cautions"]))
        self.assertEqual((state["pass"], state["next_pass"], state["change"], state["mix_changed"]), (0, 1, None, False))

    def test_a_pass_finished_on_the_page_is_complete_for_the_command_until_the_mix_changes(self):
        desk = desk_test.Desk(self, "--date", "2026-01-31")
        told = self.ended(desk, {"plan": "song.toml"})
        status, state = self.answer(desk, told, "vocal", "tweak", note="  softer \u202e<b>\x1b[31m in the verse")
        self.assertEqual((status, state["pass"], state["complete"]), (200, 1, False))
        last = next(q for q in state["questions"] if q["id"] == "vocal")["last"]
        self.assertEqual((last["answer"], last["by"], last["date"]), ("tweak", "KB", "2026-01-31"))
        for question, played in zip(ALL, (12.5, 0, None)):
            status, state = self.answer(desk, told, question, note="", played_s=played)
            self.assertEqual(status, 200, state)
        self.assertTrue(state["complete"])
        self.assertEqual(self.status_of(0)["questions"], [{k: v for k, v in q.items() if k in ("id", "text", "holds", "open", "last")} for q in state["questions"]])
        lines = [json.loads(line) for line in self.passes.read_text().splitlines()]
        self.assertEqual([line["played_s"] for line in lines if "played_s" in line], [12.5, 0])
        self.assertEqual(len(lines), 5)
        self.assertTrue(lines[0]["measured"])
        # Another bounce: everything is asked again, and the first of the answers is told with the number that moved.
        self.put("bounces/mix.wav", lab.wav(1.0, rate=RATE, peak=0.2))
        self.assertTrue(self.listening(desk, told)["mix_changed"])
        status, refused = self.answer(desk, told, "vocal")
        self.assertEqual((status, refused["error"]["code"]), (409, "changed"))
        self.assertEqual(len(self.passes.read_text().splitlines()), 5)
        again = self.ended(desk, {"plan": "song.toml"})
        state = self.listening(desk, again)
        self.assertEqual((state["pass"], state["before_pass"], state["complete"], state["mix_changed"]), (0, 1, False, False))
        self.assertEqual({q["open"] for q in state["questions"]}, {"mix changed since"})
        self.assertTrue(any(q["moved"] for q in state["questions"]))
        self.status_of(1)

    def test_the_bounce_before_is_held_against_the_mix(self):
        desk = desk_test.Desk(self)
        told = self.ended(desk, {"plan": "song.toml"})
        for question in ALL:
            self.assertEqual(self.answer(desk, told, question)[0], 200)
        os.rename(self.room / "bounces/mix.wav", self.room / "bounces/last.wav")
        self.put("bounces/mix.wav", lab.wav(1.0, rate=RATE, peak=0.2))
        self.put("song.toml", PLAN.format(more='previous = "bounces/last.wav"', stems=STEMS))
        change = self.listening(desk, self.ended(desk, {"plan": "song.toml"}))["change"]
        self.assertTrue(change["summary"])
        self.assertNotEqual(change["kind"], "identical bits")

    def test_answers_that_cannot_be_kept_are_refused_and_nothing_is_written(self):
        desk = desk_test.Desk(self)
        told = self.ended(desk, {"plan": "song.toml"})
        good = {"question": "vocal", "answer": "holds", "by": "KB"}
        for change in ({"by": ""}, {"by": " "}, {"by": 1}, {"by": None}, {"by": "x" * 41}, {"by": "K\u0007B"}, {"by": "K\nB"}, {"by": "K\u202eB"}, {"answer": "no"}, {"answer": None}, {"answer": "tweak"}, {"answer": "tweak", "note": "x" * 1001},
                       {"note": 3}, {"question": ""}, {"question": ["vocal"]}, {"played_s": -1}, {"played_s": "1"}, {"played_s": 1e9}, {"again": 1}, {"pass": -1}, {"pass": 1.5}, {"pass": 1 << 60}):
            status, refused = desk.json("POST", f"api/checks/{told['check']}/answers", {**good, **change})
            self.assertEqual(status, 400, (change, refused))
            self.assertTrue(refused["error"]["text"])
        for body in (b"", b"{", b"[]", b'{"question":"vocal","answer":"holds","by":"KB","played_s":1e999}', b'{"question":"vocal","answer":"holds","by":"KB","played_s":NaN}'):
            self.assertEqual(desk.ask("POST", f"api/checks/{told['check']}/answers", body)[0], 400, body)
        self.assertEqual(self.answer(desk, told, "gone")[0], 404)
        self.assertEqual(desk.json("POST", "api/checks/c99/answers", good)[0], 404)
        self.assertFalse(self.passes.exists())
        os.symlink("../elsewhere.jsonl", self.passes)
        self.assertIn(self.answer(desk, told, "vocal")[0], (409, 507))
        self.assertFalse((self.folder / "elsewhere.jsonl").exists())
        self.passes.unlink()
        self.assertEqual(self.answer(desk, told, "vocal")[0], 200)

    def test_a_passes_file_that_is_none_is_named_with_its_line(self):
        desk = desk_test.Desk(self)
        told = self.ended(desk, {"plan": "song.toml"})
        self.assertEqual(self.answer(desk, told, "vocal")[0], 200)
        kept = self.passes.read_bytes()
        for content, line in ((b"\x00\xff\x07garbage", 1), (b"garbage\n", 1), (kept + b"{garbage", 3), (kept + b"\xff\n", 3)):
            self.passes.write_bytes(content)
            for status, refused in (self.answer(desk, told, "very-quiet"), desk.json("GET", f"api/checks/{told['check']}/listening")):
                self.assertEqual((status, refused["error"]["code"]), (409, "rules"), content)
                self.assertIn(f"song.toml.passes.jsonl:{line}", refused["error"]["text"])
                self.assertIn("put it right, or take the line out", refused["error"]["text"])
            self.assertEqual(self.passes.read_bytes(), content)
        # What a crash cut off is not wrong; and a file that was emptied is told to be.
        self.passes.write_bytes(kept + kept[:40])
        self.assertEqual(self.answer(desk, told, "very-quiet")[0], 200)
        self.passes.write_bytes(b"")
        status, refused = self.answer(desk, told, "very-quiet")
        self.assertEqual((status, refused["error"]["code"]), (409, "other_pass"))
        self.assertIn("holds no pass on this mix any more", refused["error"]["text"])

    def test_what_became_a_link_that_leads_out_is_neither_shown_nor_answered(self):
        desk = desk_test.Desk(self)
        told = self.ended(desk, {"plan": "song.toml"})
        self.assertEqual(self.answer(desk, told, "vocal")[0], 200)
        secret = PLAN.format(more="", stems=STEMS).replace("Is the vocal where", "SECRET: is the vocal where")
        for name, content in (("song.toml", secret.encode()), (self.passes.name, self.passes.read_bytes().replace(b'"KB"', b'"SECRET"')), ("bounces/mix.wav", lab.wav(1.0, rate=RATE))):
            with self.subTest(name=name):
                inside, outside = self.room / name, self.folder / "elsewhere"
                kept = inside.read_bytes()
                outside.write_bytes(content)
                inside.unlink()
                os.symlink(outside, inside)
                for status, answer in (desk.json("GET", f"api/checks/{told['check']}/listening"), self.answer(desk, told, "very-quiet")):
                    self.assertEqual((status, answer["error"]["code"]), (403, "unreadable"))
                    self.assertNotIn("SECRET", json.dumps(answer))
                self.assertEqual(outside.read_bytes(), content)
                inside.unlink()
                inside.write_bytes(kept)

    def test_a_pass_begun_elsewhere_or_a_plan_that_changed_is_told_before_an_answer_counts(self):
        desk = desk_test.Desk(self)
        told = self.ended(desk, {"plan": "song.toml"})
        for question in ALL:
            status, state = self.answer(desk, told, question, **{"pass": 0 if question == ALL[0] else 1})
            self.assertEqual(status, 200, state)
        self.assertTrue(state["complete"])
        other = self.ended(desk, {"plan": "song.toml"})  # as another program would
        status, state = self.answer(desk, other, "vocal", again=True)
        self.assertEqual((status, state["pass"], state["complete"]), (200, 2, False))
        self.assertEqual({q["id"]: q.get("open") for q in state["questions"]}["very-quiet"], "not yet in this pass")
        status, refused = self.answer(desk, told, "very-quiet")
        self.assertEqual((status, refused["error"]["code"]), (409, "other_pass"))
        # Two tabs share a check: then the page's own word counts.
        self.assertEqual(self.answer(desk, other, "very-quiet", **{"pass": 1})[0], 409)
        self.assertEqual(self.listening(desk, told)["pass"], 2)
        self.assertEqual(self.answer(desk, told, "very-quiet")[0], 200)
        self.put("song.toml", PLAN.format(more="", stems=STEMS).replace("Is the vocal where", "Is the voice where"))
        status, refused = self.answer(desk, told, "vocal")
        self.assertEqual((status, refused["error"]["code"]), (409, "changed"))
        self.put("song.toml", PLAN.format(more="", stems="").replace("bounces/mix.wav", "stems/a.wav"))
        self.assertEqual(self.answer(desk, told, "very-quiet")[1]["error"]["code"], "changed")
        self.put("song.toml", "[")
        self.assertEqual(self.listening(desk, told, 409)["error"]["code"], "rules")

    def test_a_plan_that_asks_nothing_or_whose_mix_is_no_sound_has_a_sheet_and_no_pass(self):
        self.put("mute.toml", PLAN.format(more="", stems="").split("[[question]]")[0])
        self.put("gone.toml", PLAN.format(more="", stems="").replace("bounces/mix", "bounces/gone"))
        desk = desk_test.Desk(self)
        for name, words in (("mute.toml", "the plan asks nothing"), ("gone.toml", "gone.wav")):
            told = self.ended(desk, {"plan": name})
            self.sheet(desk, told)
            self.assertIn(words, self.listening(desk, told, 409)["error"]["text"])

    def test_a_new_plan_is_made_checked_and_never_replaced(self):
        desk = desk_test.Desk(self)
        code, _, err = self.run_program("plan", "new", "bounces/mix.wav", "--stems", "stems", "-o", "own.toml")
        self.assertEqual(code, 0, err)
        own = (self.room / "own.toml").read_bytes()
        (self.room / "own.toml").unlink()
        body = {"mix": "bounces/mix.wav", "stems": "stems", "plan": "own.toml"}
        told = self.ended(desk, body, to="api/plans")
        self.assertEqual((told["kind"], told["plan"]), ("new plan", "own.toml"))
        self.assertEqual((self.room / "own.toml").read_bytes(), own)
        self.assertEqual(desk.ask("GET", f"api/checks/{told['check']}/sheet.html")[0], 409)
        self.ended(desk, {"plan": told["plan"]})
        status, refused = desk.json("POST", "api/plans", body)
        self.assertEqual((status, refused["error"]["code"]), (409, "taken"))
        self.assertEqual((self.room / "own.toml").read_bytes(), own)
        without = self.ended(desk, {"mix": "bounces/mix.wav", "stems": "", "plan": "stems/alone.toml"}, to="api/plans")
        self.assertEqual(without["plan"], "stems/alone.toml")
        self.assertIn(b'mix = "../bounces/mix.wav"', (self.room / "stems/alone.toml").read_bytes())
        # Two at once: one of them is made, and the other says why it is not.
        twice = [desk.json("POST", "api/plans", {**body, "plan": "twice.toml"})[1]["check"] for _ in range(2)]
        ends = [desk.finished(check) for check in twice]
        self.assertEqual([end["state"] for end in ends], ["done", "failed"])
        self.assertIn("not replaced", ends[1]["error"])

    def test_plans_and_orders_of_a_folder_are_told_by_what_is_in_them(self):
        self.put("rules.toml", lab.RULE_SET.format(name="rules", limits="fail_above = 0"))
        self.put("order.toml", ORDER.format(more=""))
        self.put("broken.toml", "[song] # to be put right\ntitle = \n")
        self.put("wrong-order.toml", "  [order]\n\ttitle = [\n")
        self.put("noise.toml", b"\xff\xfe\x00")
        self.put(".hidden.toml", "[song]\ntitle = 'x'\n")
        self.put("a.toml", "title = 'song'\n")
        self.put("b.toml", "song = 3\n")
        self.put("c.toml", "# [song]\nx = '''\n'''\n")
        self.put(b"caf\xe9.toml", "[song]\ntitle = \"<b>\\u001b\"\n")
        self.put("big.toml", "[song]\ntitle = 'Big'\n" + "#" * (1 << 20))
        self.put("../out.toml", "[song]\ntitle = 'Out'\n")
        os.symlink("../out.toml", self.room / "link.toml")
        os.mkfifo(self.room / "pipe.toml")
        desk = desk_test.Desk(self)
        _, listing = desk.json("GET", "api/folder")
        self.assertEqual([one for one in listing["plans"] if "id" not in one], [{"name": "broken.toml", "path": "broken.toml", "title": ""}, {"name": "song.toml", "path": "song.toml", "title": "Lamps"}])
        odd, = [one for one in listing["plans"] if "id" in one]
        self.assertEqual(odd["id"], "caf%E9.toml")
        self.assertNotIn("\x1b", odd["title"])
        self.assertEqual([(one["name"], one["title"]) for one in listing["orders"]], [("order.toml", "Lamps"), ("wrong-order.toml", "")])
        self.assertEqual(desk.json("GET", "api/folder?path=stems")[1]["plans"], [])
        for n in range(300):
            self.put(f"many/{n:03}.toml", "[song]\n" + "# x\n" * 10000)
        start = time.monotonic()
        _, listing = desk.json("GET", "api/folder?path=many")
        self.assertLess(time.monotonic() - start, 10)
        self.assertGreater(len(listing["plans"]), 50)
        self.assertLess(len(listing["plans"]), 201)

    def test_what_a_plan_names_lies_in_the_opened_folder(self):
        self.put("../outside.wav", lab.wav(0.5, rate=RATE))
        os.symlink("../outside.wav", self.room / "link.wav")
        os.symlink("..", self.room / "up")
        desk = desk_test.Desk(self)
        mix, outside = "bounces/mix.wav", str(self.folder / "outside.wav")
        for path in ("../outside.wav", outside, "link.wav", "up/outside.wav", "bounces/../../outside.wav"):
            for text in (PLAN.format(more="", stems="").replace(mix, path), PLAN.format(more=f'previous = "{path}"', stems=""),
                         PLAN.format(more="", stems=STEMS.replace("stems/a.wav", path)), PLAN.format(more="", stems=f'[[reference]]\nfile = "{path}"\n')):
                self.put("bad.toml", text)
                status, refused = desk.json("POST", "api/checks", {"plan": "bad.toml"})
                self.assertEqual(status, 403, (path, refused))
                self.assertIn("open the folder above", refused["error"]["text"])
        self.put("fine.toml", PLAN.format(more="", stems="").replace(mix, "stems/../bounces/mix.wav"))
        self.put("../answers.jsonl", "")
        os.symlink("../answers.jsonl", self.room / "fine.toml.passes.jsonl")
        self.assertEqual(desk.json("POST", "api/checks", {"plan": "fine.toml"})[0], 403)
        (self.room / "fine.toml.passes.jsonl").unlink()
        self.ended(desk, {"plan": "fine.toml"})
        # What was well when it was asked for, and is not when its turn comes.
        self.put("long.wav", lab.long_wav(300))
        _, first = desk.json("POST", "api/checks", {"files": [{"path": "long.wav"}]})
        _, second = desk.json("POST", "api/checks", {"plan": "fine.toml"})
        self.put("fine.toml", PLAN.format(more="", stems="").replace(mix, "../outside.wav"))
        told = desk.finished(second["check"], 120)
        self.assertEqual(told["state"], "failed")
        self.assertIn("outside of the opened folder", told["error"])
        os.symlink("../../outside.wav", self.room / "stems/linked.wav")
        for body in ({"mix": "link.wav", "plan": "x.toml"}, {"mix": mix, "stems": "up", "plan": "x.toml"}, {"mix": mix, "stems": "stems", "plan": "x.toml"}, {"mix": mix, "plan": "up/x.toml"}):
            self.assertEqual(desk.json("POST", "api/plans", body)[0], 403, body)
        for body in ({"mix": "../outside.wav", "plan": "x.toml"}, {"mix": mix, "plan": "../x.toml"}, {"mix": mix, "plan": str(self.folder / "x.toml")}, {"mix": mix, "stems": "..", "plan": "x.toml"},
                     {"mix": mix}, {"plan": "x.toml"}, {"mix": mix, "plan": "x.wav"}, {"mix": mix, "plan": ".toml"}, {"mix": mix, "plan": "a\nb.toml"}, {"mix": 1, "plan": "x.toml"}, {"mix": mix, "plan": ["x.toml"]},
                     {"mix": {"upload": "u1"}, "plan": "x.toml"}, {"mix": "", "plan": "x.toml"}, {"mix": mix, "stems": 1, "plan": "x.toml"}):
            self.assertEqual(desk.json("POST", "api/plans", body)[0], 400, body)
        self.assertEqual(desk.json("POST", "api/plans", {"mix": "bounces", "plan": "x.toml"})[0], 404)
        self.assertEqual(desk.json("POST", "api/plans", {"mix": mix, "stems": "gone", "plan": "x.toml"})[0], 404)
        # Before anything is measured.
        for plan in ("gone/x.toml", f"{mix}/x.toml"):
            self.assertEqual(desk.json("POST", "api/plans", {"mix": mix, "plan": plan})[0], 404)
        self.assertFalse((self.folder / "x.toml").exists() or (self.room / "x.toml").exists())

    def test_a_check_is_of_one_kind(self):
        desk = desk_test.Desk(self)
        file = {"path": "bounces/mix.wav"}
        for body in ({}, {"rules": []}, {"files": [file], "plan": "song.toml"}, {"compare": [file, file], "files": [file]}, {"plan": "song.toml", "order": "song.toml"}, {"compare": [file]},
                     {"compare": [file, file, file]}, {"compare": [file, "x"]}, {"compare": file}, {"compare": None}, {"plan": ""}, {"plan": 1}, {"plan": None}, {"plan": ["song.toml"]}, {"plan": {"upload": "u1"}},
                     {"plan": {"path": ""}}, {"plan": "../song.toml"}, {"plan": "/etc/passwd"}, {"plan": "./song.toml"}, {"plan": "song.toml", "rules": ["gone"]}, {"plan": "song.toml", "rules": "cd"},
                     {"order": "../x"}, {"order": {}}, {"order": "order.toml", "rules": ["cd"]}, {"plan": "bounces/mix.wav"}, {"order": "song.toml"}):
            status, refused = desk.json("POST", "api/checks", body)
            self.assertEqual(status, 400, (body, refused))
            self.assertTrue(refused["error"]["text"])
        for body, status in (({"plan": "gone.toml"}, 404), ({"order": "gone.toml"}, 404), ({"plan": "bounces"}, 400), ({"compare": [file, {"path": "bounces"}]}, 404), ({"compare": [file, {"upload": "u9"}]}, 404)):
            self.assertEqual(desk.json("POST", "api/checks", body)[0], status, body)
        self.assertEqual(desk.json("GET", "api/checks")[1], {"checks": []})
        self.assertEqual(desk.scratch(), [])

    def test_a_plan_that_runs_is_stopped_and_deleted(self):
        self.put("bounces/mix.wav", lab.long_wav(900))
        desk = desk_test.Desk(self, "--no-cache")
        for remove in (False, True):
            _, told = desk.json("POST", "api/checks", {"plan": "song.toml"})
            while desk.json("GET", f"api/checks/{told['check']}")[1].get("state") == "waiting":
                time.sleep(0.01)
            self.listening(desk, told, 409)
            if remove:
                self.assertEqual(desk.json("DELETE", f"api/checks/{told['check']}")[0], 200)
                self.listening(desk, told, 404)
            else:
                self.assertEqual(desk.json("POST", f"api/checks/{told['check']}/stop")[0], 200)
                self.assertEqual(desk.finished(told["check"])["state"], "stopped")
                self.listening(desk, told, 409)
        _, told = desk.json("POST", "api/plans", {"mix": "bounces/mix.wav", "plan": "new.toml"})
        self.assertEqual(desk.json("POST", f"api/checks/{told['check']}/stop")[0], 200)
        self.assertEqual(desk.finished(told["check"])["state"], "stopped")
        self.assertFalse((self.room / "new.toml").exists())


class Orders(JobCase):
    def setUp(self):
        super().setUp()
        (self.config / "rules").mkdir(parents=True)
        (self.config / "rules" / "loose.toml").write_text(lab.RULE_SET.format(name="loose", limits="fail_above = 0"))
        self.put("set/main.wav", lab.wav(1.0, rate=RATE))
        self.put("set/inst.wav", lab.wav(1.0, rate=RATE, peak=0.3, seed=3))
        self.put("set/order.toml", ORDER.format(more=""))

    def test_an_order_comes_to_the_sheet_that_deliver_check_prints(self):
        desk = desk_test.Desk(self)
        told = self.ended(desk, {"order": "set/order.toml"})
        for ending, form in FORMS:
            _, own, _ = self.run_program("deliver", "check", "set/order.toml", "-f", form)
            self.assertEqual(self.sheet(desk, told, ending), own, form)
        sheet = json.loads(self.sheet(desk, told))
        self.assertEqual((told["kind"], told["verdict"], told["rules"]), ("order", sheet["verdict"], []))
        self.assertEqual(told["order"], "set/order.toml")
        self.assertEqual([(file["name"], file["part"], file["role"]) for file in told["files"]], [("inst.wav", 1, "instrumental"), ("main.wav", 2, "main")])
        self.assertEqual((told.get("together"), told.get("missing")), (sum(one["status"] not in ("pass", "note", "waived") and not one.get("optional") for one in sheet["findings"]) or None, None))
        # A file that is not there has no part.
        (self.room / "set/inst.wav").unlink()
        told = self.ended(desk, {"order": "set/order.toml"})
        self.assertEqual(([file["name"] for file in told["files"]], told["verdict"]), (["main.wav"], "fail"))
        self.assertEqual(told["missing"], ["inst.wav"])
        self.assertGreaterEqual(told["together"], 1)
        self.assertIn(f"{told['together']} finding{'s' * (told['together'] > 1)} about the whole set".encode(), b" ".join(self.sheet(desk, told, "txt").split()))

    def test_an_order_is_made_for_a_folder_and_never_replaced(self):
        desk = desk_test.Desk(self)
        code, _, err = self.run_program("deliver", "new", "set", "-o", "own.toml")
        self.assertEqual(code, 0, err)
        own = (self.room / "own.toml").read_bytes()
        (self.room / "own.toml").unlink()
        self.assertEqual(desk.json("POST", "api/orders", {"folder": "set", "order": "own.toml"}), (200, {"order": "own.toml"}))
        self.assertEqual((self.room / "own.toml").read_bytes(), own)
        self.assertEqual(desk.json("POST", "api/orders", {"folder": "set", "order": "own.toml"})[0], 409)
        self.assertEqual((self.room / "own.toml").read_bytes(), own)
        self.put("empty/x.txt", "x")
        os.symlink("nowhere.toml", self.room / "dangling.toml")
        for body, status in (({"folder": "..", "order": "x.toml"}, 400), ({"folder": "set", "order": "../x.toml"}, 400), ({"folder": "set", "order": "x.wav"}, 400), ({"folder": "set"}, 400), ({"folder": 1, "order": "x.toml"}, 400),
                             ({"folder": "gone", "order": "x.toml"}, 404), ({"folder": "empty", "order": "x.toml"}, 404), ({"folder": "set", "order": "dangling.toml"}, 409), ({"folder": "set", "order": "gone/x.toml"}, 404)):
            self.assertEqual(desk.json("POST", "api/orders", body)[0], status, body)
        self.assertFalse((self.room / "x.toml").exists())
        self.assertEqual(desk.json("POST", "api/orders", {"order": "all.toml"})[0], 200)
        self.ended(desk, {"order": "all.toml"})

    def test_what_an_order_names_lies_in_the_opened_folder(self):
        self.put("../out/main.wav", lab.wav(0.5, rate=RATE))
        self.put("../strict.toml", lab.RULE_SET.format(name="strict", limits="fail_above = -60"))
        self.put("set/mine.toml", lab.RULE_SET.format(name="mine", limits="fail_above = 0").replace("[ruleset]", '[ruleset]\nextends = "../../strict.toml"'))
        os.symlink("../../out", self.room / "set/out")
        os.symlink("../../out/main.wav", self.room / "set/linked.wav")
        self.put("last/a.wav", lab.wav(0.5, rate=RATE))
        os.symlink("../../out/main.wav", self.room / "last/b.wav")
        desk = desk_test.Desk(self)
        whole = ORDER.format(more="")
        for text in (ORDER.format(more='folder = "../../out"'), ORDER.format(more=f'folder = "{self.folder}/out"'), ORDER.format(more='folder = "out"'), ORDER.format(more='previous = "../../out/main.wav"'),
                     ORDER.format(more='previous = "../last"'), whole.replace('"inst.wav"', '"linked.wav"'), whole.replace('"inst.wav"', '"*.wav"'), whole.replace('"loose"', '"../../strict.toml"'),
                     whole.replace('"loose"', '"mine.toml"'), whole + 'rules = ["loose", "../../strict.toml"]\n'):
            self.put("set/order.toml", text)
            status, refused = desk.json("POST", "api/checks", {"order": "set/order.toml"})
            self.assertEqual(status, 403, text)
            self.assertIn("open the folder above", refused["error"]["text"])
        self.put("set/order.toml", whole)
        os.symlink("../out", self.room / "away")
        self.assertEqual(desk.json("POST", "api/orders", {"folder": "away", "order": "x.toml"})[0], 403)
        # One link that leads out does not stand in the way of all others.
        status, told = desk.json("POST", "api/orders", {"folder": "set", "order": "x.toml"})
        self.assertEqual((status, told), (200, {"order": "x.toml", "left_out": ["linked.wav"]}))
        text = (self.room / "x.toml").read_text()
        self.assertIn("\n# left out, since it is a link that leads out of the opened folder: linked.wav\n", text)
        self.assertNotIn('file = "linked.wav"', text)
        os.mkdir(self.room / "links")
        os.symlink("../../out/main.wav", self.room / "links/a.wav")
        self.assertEqual(desk.json("POST", "api/orders", {"folder": "links", "order": "y.toml"})[0], 404)
        # A folder above may be opened.
        above = desk_test.Desk(self, "..")
        self.put("set/order.toml", whole.replace('"inst.wav"', '"linked.wav"'))
        self.ended(above, {"order": "room/set/order.toml"})


if __name__ == "__main__":
    unittest.main()
