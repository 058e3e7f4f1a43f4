"""The views of the local page besides files: song plans, the listening pass, two bounces, deliveries. The real program, Debian's
Chromium through playwright-core, and axe-core for WCAG 2.2 A and AA.

song.mjs uses the page once, as a person would, and each test here holds one thing against what happened, and against the files that
came of it. SENDWORTHY_MODULES is the folder with the two packages; tests/setup fills it. SENDWORTHY_PICTURES, where set, is a folder
that keeps the screenshots.
"""
import array
import json
import math
import pathlib
import random
import shutil
import tempfile
import tomllib
import unittest

import served
from served import lab

HOSTILE = "<img src=x onerror=alert(1)>\u202e"

PLAN = """\
# Lamps: what it is meant to be.
[song]
title = "Lamps"            # as on the label copy
feeling = "coming home late"
approach = "near and dry, then wide"
mix = "bounces/mix.wav"

# The verse begins with the pick-up.
[[section]]
name = "verse"
start = 1.5
quietest = true

[[section]]
name = "chorus"   # the loud one
start = "0:04"

[[section]]
name = "end"
start = 8

[[stem]]
name = "lead"
file = "stems/lead.wav"
role = "lead vocal"
priority = 1

[[stem]]
name = "drums"
file = "stems/drums.wav"
role = "drums"             # kit and room
priority = 2

[[stem]]
name = "pads"
file = "stems/pads.wav"
role = "pad"

[dynamics]
# measured 3.1
quiet_to_loud = 2

[[question]]
id = "biggest-section"
text = "Is the biggest section the biggest?"
section = "chorus"

[[question]]
id = "vocal"
text = "Is the vocal where it belongs?"
section = "verse"
stem = "lead"

[[question]]
id = "lows"
text = "Do kick and bass leave each other room?"
heard = "lows"

[[question]]
id = "very-quiet"
text = "Very quietly: does nothing poke out?"
heard = "quiet"
"""

HOSTILE_PLAN = f"""\
[song]
title = "{HOSTILE}"
feeling = "<script>alert(2)</script>"
approach = "\\"><b>bold</b>"
mix = "songs/bounces/mix.wav"

[[section]]
name = "{HOSTILE}"
start = 1

[[section]]
name = "later"
start = 5

[[stem]]
name = "<svg onload=alert(3)>"
file = "songs/stems/lead.wav"
role = "lead vocal"
priority = 1

[[question]]
id = "percussion"
text = "Do the drums carry it?"

[[question]]
id = "x"
text = "<iframe src=javascript:alert(4)> {HOSTILE}?"
section = "{HOSTILE}"
"""


RATE = 48000
# Second by second: a pick-up, a verse, a chorus, an end.
LEVELS = (2, 3, 3, 3, 9, 9, 9, 9, 4, 2)


def second_of(name):
    """One second of a stem, as whole numbers, left and right in turn."""
    rng = random.Random(name)
    tone = {"lead": 330, "drums": 0, "pads": 220}[name]
    values = []
    for n in range(RATE):
        wave = math.sin(2 * math.pi * tone * n / RATE) if tone else rng.uniform(-1, 1) * math.exp(-9 * (2 * n % RATE) / RATE)
        values += [round(500 * wave + rng.uniform(-9, 9)), round(450 * wave + rng.uniform(-9, 9))]
    return values


def parts():
    """Three stems of a small song, and the mix that they add up to; one list of whole numbers each."""
    seconds = {name: second_of(name) for name in ("lead", "drums", "pads")}
    stems = {name: [level * value for level in LEVELS for value in second] for name, second in seconds.items()}
    summed = [sum(values) for values in zip(*seconds.values())]
    return stems, [level * value for level in LEVELS for value in summed]


def as_wav(values, gain=1.0):
    return lab.riff(1, 2, RATE, 16, array.array("h", values if gain == 1 else [round(gain * value) for value in values]).tobytes())


def hour_long():
    """An hour of noise at a low rate: one second repeated, louder every other minute."""
    rng, rate = random.Random(5), 8000
    seconds = [b"".join(int(rng.uniform(-1, 1) * peak).to_bytes(2, "little", signed=True) for _ in range(rate)) for peak in (4000, 20000)]
    return lab.riff(1, 1, rate, 16, (seconds[0] * 60 + seconds[1] * 60) * 30)


class Room:
    """The opened folder; beside it what comes into it later."""

    def __init__(self, folder):
        self.room = folder / "room"
        self.beside = folder / "beside"
        songs = self.room / "songs"
        for one in (songs / "bounces", songs / "stems", self.beside, self.room / "delivery", self.room / "empty"):
            one.mkdir(parents=True)
        stems, mix = parts()
        for name, samples in stems.items():
            (songs / "stems" / f"{name}.wav").write_bytes(as_wav(samples))
        (songs / "bounces" / "mix.wav").write_bytes(as_wav(mix))
        (self.beside / "softer.wav").write_bytes(as_wav(mix, 0.7))
        (self.beside / "again.wav").write_bytes(as_wav(mix, 0.69))
        edited = list(mix)
        for i in range(len(mix) // 2, len(mix) // 2 + RATE):
            edited[i] = mix[i] / 2
        (self.beside / "edited.wav").write_bytes(as_wav(edited, 0.69))
        self.plan = songs / "lamps.plan.toml"
        self.plan.write_text(PLAN)
        (self.room / "hostile.toml").write_text(HOSTILE_PLAN)
        (self.room / "no plan.toml").write_text("[song]\ntitle = 3\nmix = \"x.wav\"\n")
        (self.room / "hour.wav").write_bytes(hour_long())
        (self.room / "hour.plan.toml").write_text("[song]\nmix = \"hour.wav\"\n" + "".join(f"[[section]]\nname = \"minute {i}\"\nstart = {60 * i}\n" for i in range(60)))
        for name in ("Lamps (Main).wav", "Lamps (Instrumental).wav"):
            (self.room / "delivery" / name).write_bytes(as_wav(mix))


class SongViews(served.Scenes, unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        folder = pathlib.Path(tempfile.mkdtemp(prefix="sendworthy-song-"))
        cls.addClassCleanup(shutil.rmtree, folder, ignore_errors=True)
        cls.folder = folder
        cls.room = Room(folder)
        cls.seen, _ = served.use("song.mjs", cls.room.room, folder, cls.room.room, cls.room.beside, lab.PROGRAM, cache=True)

    def test_the_views_are_reached_by_links_and_survive_reloading(self):
        about = self.scene("views")
        self.assertEqual(about["names"], ["Files", "Two bounces", "Song", "Delivery"])
        for name, view in about["each"].items():
            with self.subTest(view=name):
                self.assertEqual(view["current"], name)
                self.assertEqual(view["focus"], view["heading"])
                self.assertEqual(view["after"], name)
                self.assertTrue(view["shows"])
                self.assertGreater(len(view["words"]), 60, "an empty view says what to do")
        self.assertEqual(about["back"], "Song")

    def test_a_plan_is_started_without_a_word_typed(self):
        about = self.scene("start")
        self.assertIn("No stems are taken yet", about["without"])
        self.assertEqual(about["suggested"], "songs/bounces/mix.plan.toml")
        self.assertEqual(about["heading"], "mix.plan.toml")
        self.assertGreaterEqual(about["sections"], 1)
        text = (self.room.room / "songs/bounces/mix.plan.toml").read_text()
        plan = tomllib.loads(text)
        self.assertEqual(plan["song"]["mix"], "mix.wav")
        self.assertEqual(len(plan["stem"]), 3)
        self.assertIn("is there already", about["refused"])
        noted = " ".join(about["noted"])
        for said in ("measured: ", "LUFS", "a guess by role, no more: 1 drums", "a guess by loudness"):
            self.assertIn(said, noted)
        self.assertEqual(sorted(one["priority"] for one in plan["stem"]), [1, 2, 3])
        self.assertEqual(plan["masking"]["most"], float(about["taken"]["most"]))
        self.assertEqual([one["name"] for one in plan["section"] if one.get("biggest")], [about["taken"]["biggest"]])

    # Edits by mouse and keys; what is not edited stays to the byte.
    def test_sections_stems_and_intent_are_edited_and_comments_stay(self):
        about = self.scene("edit")
        self.assertEqual(about["arrows"], ["0:04.010", "0:04.110", "0:05.110", "0:04.110"])
        saved = about["saved"]
        plan = tomllib.loads(saved)
        for comment in ("# Lamps: what it is meant to be.", "# as on the label copy", "# The verse begins with the pick-up.", "# the loud one", "# kit and room", "# measured 3.1"):
            self.assertIn(comment, saved)
        self.assertEqual(plan["song"]["feeling"], "coming home late, and the light is on")
        names = [one["name"] for one in plan["section"]]
        self.assertEqual(names[:2], ["verse", "big chorus"])
        self.assertIn("coda", names)
        verse = plan["section"][0]
        self.assertAlmostEqual(float(verse["start"]), about["dragged"], delta=0.002)
        self.assertGreater(about["dragged"], 1.6)
        self.assertTrue(plan["section"][1]["biggest"])
        self.assertEqual(plan["section"][-1]["name"], "coda")
        self.assertEqual(plan["section"][2]["start"], 7.9)
        self.assertEqual(about["pulled"], ["pads", "drums", "lead"])
        self.assertEqual(about["dropped"], ["drums", "lead", "pads"])
        stems = {one["name"]: one for one in plan["stem"]}
        self.assertEqual([stems[name].get("priority") for name in ("drums", "lead", "pads")], about["ranks"])
        self.assertLess(stems["drums"]["priority"], stems["lead"]["priority"])
        self.assertEqual(stems["pads"]["priority"], stems["lead"]["priority"])
        self.assertEqual(plan["dynamics"]["quiet_to_loud"], 2.5)
        self.assertEqual(plan["vocal"]["above_band"], [-1, 2])
        asked = {one["id"]: one for one in plan["question"]}
        self.assertEqual(asked["biggest-section"]["section"], "big chorus")
        self.assertIn("Does the room stay dry?", [one["text"] for one in plan["question"]])
        self.assertIn("asks of it", about["refused"])
        self.assertIn("is no time", about["wrong"][0])
        self.assertEqual(about["wrong"][1], "0:08", "the time that holds is back in its field")
        self.assertEqual(plan["vocal"]["sections"], {"big chorus": [-2, 1.5]})

    def test_unsaved_edits_outlive_another_view_and_leaving_asks(self):
        about = self.scene("edit")
        self.assertEqual(about["kept"], "coming home late, and the light is on")
        self.assertIn("not saved", about["state"])
        self.assertTrue(about["asks"])
        self.assertEqual(about["after"], "Everything is saved.")

    def test_a_plan_that_was_changed_elsewhere_is_told_and_what_was_typed_stays(self):
        about = self.scene("clash")
        self.assertIn("changed elsewhere", about["told"])
        self.assertIn("wide awake", about["told"])
        self.assertEqual(about["text"].count("Lamps, elsewhere"), 1)
        self.assertEqual(tomllib.loads(about["text"])["song"]["approach"], "wide awake")

    def test_the_mix_is_held_against_the_plan_and_the_sheet_saved(self):
        about = self.scene("sheet")
        self.assertIn("Lamps", about["sheet"])
        self.assertEqual(about["forms"], ["html", "txt", "csv", "json", "jsonl", "xml"])
        self.assertEqual(json.loads(about["json"])["song"]["title"], "Lamps, elsewhere")
        self.assertIn("premaster", {one["ruleset"] for one in json.loads(about["json"])["files"][0]["findings"]})
        self.assertTrue(about["again"], "the link leads back to the plan, after a reload too")

    def test_a_whole_pass_by_keyboard_alone(self):
        about = self.scene("listen")
        self.assertIn("Turn down before you press play", about["before"])
        self.assertIn("Pass 1 on", about["before"])
        self.assertIn("Your initials are wanted.", about["missing"])
        self.assertEqual([one["count"] for one in about["questions"]], [f"Question {i} of 5" for i in range(1, 6)])
        for one in about["questions"]:
            self.assertIn("coming home late", one["intent"])
            self.assertTrue(one["inView"])
            self.assertEqual(one["focus"], one["text"])
        self.assertIn("complete", about["end"])
        self.assertEqual(about["typed"], "hsbt p", "letters go into the note and nowhere else")
        self.assertIn("Pass 1 stays open", about["open"])
        status = json.loads(about["status"])
        self.assertTrue(status["complete"])
        self.assertEqual({one["last"]["by"] for one in status["questions"]}, {"KB"})
        lines = [json.loads(line) for line in about["passes"].splitlines()]
        answers = [line for line in lines if line["kind"] == "answer"]
        self.assertEqual([line["answer"] for line in answers].count("tweak"), 1)
        self.assertEqual([line for line in answers if line["answer"] == "tweak"][0]["note"], "hsbt p")
        for line in answers:
            self.assertIn("played_s", line)
        self.assertGreater(answers[0]["played_s"], 0.3)
        self.assertEqual(answers[1]["played_s"], 0)
        queued, unheard, plays = about["bar"]
        self.assertIn("Nothing was played here for this question yet", unheard)
        self.assertTrue(plays.startswith("Play "))
        self.assertEqual(queued, "mix.wav, " + plays.removeprefix("Play "))

    def test_a_question_is_heard_in_its_way(self):
        [quiet] = self.scene("listen")["played"]
        self.assertEqual(quiet["text"], "Very quietly: does nothing poke out?")
        self.assertEqual(quiet["request"]["way"], "quiet")
        self.assertRegex(quiet["heard"], "quiet")
        self.assertIn("the page turns down by itself, to 20 dB below the level in the bar", quiet["how"])
        ways = {heard: words for heard, *words in self.scene("listen")["ways"]}
        self.assertEqual(ways["full"][0], "As the terminal says.")
        for heard, (how, level) in ways.items():
            with self.subTest(heard=heard):
                self.assertEqual("by itself" in how, heard != "full")
                self.assertEqual("your usual one" in level, heard in ("full", "mono"))
                self.assertNotIn("put a low-pass", how)
        self.assertIn("Below 100 Hz alone", ways["lows"][0])
        self.assertIn("below 90 Hz", ways["lows"][0])
        self.assertIn("leave it there", ways["lows"][1])

    def test_another_tab_sees_the_answers(self):
        about = self.scene("tabs")
        self.assertIn("Question 1 of", about["first"])
        self.assertNotEqual(about["before"], about["after"])
        self.assertIn("answered elsewhere", about["told"])
        waiting = about["waiting"]
        self.assertIn("0 of 5 questions hold", waiting["before"])
        self.assertIn("1 of 5 questions hold", waiting["after"])
        self.assertEqual((waiting["by"], waiting["rested"]), ("WX", True))
        self.assertIn("Question 1 of 4", waiting["begun"])

    def test_before_the_first_question_stands_what_moved_and_what_is_asked_again(self):
        prelude = self.scene("tabs")["prelude"]
        self.assertIn("What changed since the bounce of pass 1", prelude)
        self.assertRegex(prelude, r"verse: loudness -\d+\.\d LUFS, was -\d+\.\d LUFS")
        self.assertIn("5 answers are no longer good: given on a bounce before this one.", prelude)
        self.assertIn("Very quietly: does nothing poke out? Last time: holds (KB, ", prelude)

    def test_a_new_bounce_is_told_at_once_and_no_answer_counts_for_it(self):
        about = self.scene("stale")
        self.assertIn("new bounce", about["told"])
        self.assertRegex(about["status"], "OPEN")
        self.assertIn("another bounce", about["before"])
        self.assertEqual(about["refused"], 409)
        self.assertIn("not kept", about["words"])
        self.assertIn("make it warmer", about["words"])
        self.assertIn("The plan names another mix by now", about["swapped"])
        plan = tomllib.loads(about["plan"])
        self.assertEqual((plan["song"]["mix"], plan["song"]["previous"]), ("bounces/mix 2.wav", "bounces/mix.wav"))
        self.assertIn("# as on the label copy", about["plan"])

    def test_two_bounces_are_compared_and_heard_in_turn(self):
        about = self.scene("compare")
        self.assertIn("mix.wav", about["sheet"])
        self.assertEqual(about["forms"], ["html", "txt", "json"])
        self.assertIn("old bounce", about["which"][0])
        self.assertIn("new bounce", about["which"][1])
        self.assertNotEqual(about["lanes"][0], about["lanes"][1])
        pair = about["pair"]
        self.assertEqual(pair["pressed"], ["Old bounce: mix 2.wav", "New bounce: mix.wav"])
        self.assertRegex(pair["level"], r"^Old \u2212\d+\.\d LUFS, new \u2212\d+\.\d LUFS \([+\u2212]?\d+\.\d LU\)\. For hearing, ")
        self.assertIn("0:04", pair["ticks"])
        self.assertFalse(pair["head"]["hidden"])
        self.assertIn("translateX", pair["head"]["moved"])
        self.assertTrue(about["dropped"])

    def test_results_are_never_those_of_another_pair(self):
        pair = self.scene("compare")["pair"]
        self.assertEqual((pair["aside"]["one"], pair["back"]), (False, True))
        self.assertIn("another pair", pair["aside"]["told"])
        self.assertEqual(pair["aside"]["pressed"], ["Old bounce: mix 2.wav", "New bounce: mix 2.wav"])
        self.assertEqual(pair["reloaded"], ["songs/bounces/mix 2.wav", "songs/bounces/mix.wav"])

    def test_places_where_two_bounces_part_are_marked(self):
        pair = self.scene("compare")["pair"]
        self.assertGreaterEqual(pair["marks"], 1)
        self.assertRegex(pair["first"], r"^\d+ places? where they part (is|are) marked\.$")
        self.assertRegex(pair["difference"], r"^Difference 1 of \d+: ")

    def test_a_delivery_is_ordered_and_checked(self):
        about = self.scene("delivery")
        self.assertEqual(about["chosen"], "delivery/order.toml")
        self.assertEqual(len(about["files"]), 2)
        self.assertIn("Lamps (Main).wav", about["sheet"])
        self.assertEqual(about["forms"], ["html", "txt", "csv", "json", "jsonl", "xml"])

    def test_what_is_missing_of_a_delivery_is_counted_and_listed(self):
        lacking = self.scene("delivery")["lacking"]
        self.assertRegex(lacking["head"], r"^other\.toml: \d (FAIL|WARN|PASS).*; \d+ findings? about the whole set$")
        self.assertEqual(len(lacking["files"]), 3)
        self.assertRegex(lacking["files"][0], r"^MISSING\s+tv\.wav$")
        self.assertEqual(lacking["first"], 0, "there is nothing to go to")

    def test_an_order_is_checked_as_it_is_seen_and_one_that_was_left_does_not_come_back(self):
        about = self.scene("delivery")
        other = about["other"]
        self.assertIn('client = "A <b>label in haste"', about["haste"])
        self.assertTrue(other["late"])
        self.assertIn('client = "Somebody else"', other["text"])

    def test_an_order_is_seen_and_edited_on_the_page(self):
        about = self.scene("delivery")
        started, edited, wrong, clash = (about[key] for key in ("started", "edited", "wrong", "clash"))
        self.assertEqual(len(about["listed"]), 2)
        self.assertTrue(about["listed"][0].startswith("main Lamps (Main).wav"), about["listed"])
        self.assertRegex(about["asks"], r"^Music master for streaming\. .*Sample rate: .* Hz")
        self.assertEqual(about["focus"], "item 0 required", "the keyboard stays where it was")
        self.assertEqual(edited["file"], started, "nothing is written unasked")
        self.assertEqual(edited["text"].replace('client = "A <b>label"\n', "").replace('expect = ["sample_rate=48000", "bit_depth=24"]\n', "").replace("required = false\n", ""), started, "and nothing else is changed")
        self.assertIn("not saved yet", edited["about"])
        self.assertRegex(wrong["told"], rf"line {wrong['line']}, column \d+: .*\"mane\"")
        self.assertEqual((wrong["saves"], wrong["marked"]), ("true", 'version = "mane"'))
        self.assertIn("nothing of it is lost", clash["told"])
        self.assertEqual((clash["file"], clash["mine"]), (started + "# by hand\n", edited["text"]))
        self.assertEqual(about["saved"], edited["text"])

    def test_what_plays_is_seen_over_the_shape_and_its_button_stops_it(self):
        plays = self.scene("edit")["plays"]
        self.assertIn("0:05", plays["ticks"])
        self.assertGreater(plays["later"], plays["first"] + 1)
        self.assertLess(abs(plays["first"] - plays["border"]), 60, "it begins at the section")
        self.assertTrue(plays["away"])
        self.assertEqual(plays["cut"], 0)

    # What a step of scrolling costs does not depend on the length of the song.
    def test_the_shape_of_an_hour_is_drawn_in_bounded_work(self):
        about = self.scene("hour")
        self.assertEqual(about["duration"], 3600)
        width = about["width"]
        for step in about["steps"]:
            self.assertLessEqual(step["drawn"], width)
            self.assertLessEqual(step["fetched"], 2 * width + 1000)
            # The program looks at no more than 256 stored values for a column.
            self.assertLessEqual(step["lookedAt"], 256 * step["fetched"])
            self.assertLess(step["handles"], 65)
        self.assertGreater(max(step["fetched"] for step in about["steps"]), 0)
        self.assertEqual(about["back"]["fetched"], 0, "what was seen is kept")

    def test_hostile_plans_are_shown_as_words(self):
        about = self.scene("hostile")
        self.assertEqual(about["elements"], 0)
        self.assertIn("<img src=x onerror=alert(1)>\\u{202e}", about["body"])
        self.assertNotIn("\u202e", about["body"])
        self.assertEqual(about["fields"]["feeling"], "<script>alert(2)</script>")
        self.assertIn("cannot be read as a song plan", about["fault"])

    def test_a_question_that_waits_leaves_the_bar_to_other_views(self):
        asked, elsewhere = self.scene("hostile")["bar"]
        self.assertRegex(asked, r"^listen c\d+ x ")
        self.assertEqual(elsewhere, "files 1")

    def test_a_question_about_what_the_song_has_not_is_taken_out_of_the_plan(self):
        about = self.scene("hostile")
        self.assertIn("No stem of the plan is kick, snare, drums or percussion.", about["absent"])
        self.assertIn("Where the song has none, remove the question.", about["body"])
        self.assertEqual([one["id"] for one in tomllib.loads((self.room.room / "hostile.toml").read_text())["question"]], ["x"])

    # WCAG 2.2, A and AA, as far as a program can tell; 1.4.10 for the widths.
    def test_every_size_and_light_is_fit_to_read(self):
        looks = self.scene("looks")
        self.assertEqual(len(looks), 29)
        for view, about in looks.items():
            with self.subTest(view=view):
                self.assertEqual(about["axe"]["broken"], [])
                self.assertIn("color-contrast", about["axe"]["kept"])
                self.assertLessEqual(about["wider"], 0)
                self.assertEqual(about["cut"], [])
                self.assertEqual(about["small"], [])
                self.assertLess(about["moved"], 0.05)

    # WCAG 2.2, 2.5.8.
    def test_borders_that_lie_close_have_room_each(self):
        self.scene("looks")
        for width, about in self.seen["close"].items():
            with self.subTest(width=width):
                near = sorted(about["lefts"])[:4]
                self.assertLess(near[3] - near[0], 60, "the place and three borders")
                self.assertGreaterEqual(min(about["heights"]), 24)
                self.assertEqual((about["overlaps"], about["axe"]), (0, []))
                self.assertEqual(about["rows"], [[[0, 1], [0, 1], [0, 1]], [[0, 2], [1, 2], [0, 2], [1, 2], [0, 1]], [[0, 5], [1, 5], [2, 5], [3, 5], [4, 5], [0, 5], [1, 5]]])


if __name__ == "__main__":
    lab.main()
