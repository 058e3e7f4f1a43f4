#!/usr/bin/env python3
"""The scoring must be able to say "missed": tests without the program."""
import sys
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

import numpy as np

import false_alarms
import faults_continuity
import material
from score import Fault, Plant, equals, event, found, judged, known, passes, turned
from sound import Sound, dithered, wav


def sheet(value=None, where=(), status="pass", name="m", unit="count"):
    return {"measurements": {name: {"value": value, "unit": unit, "where": list(where)}}, "facts": {"duration_s": 3600},
            "findings": [{"measure": name, "rule": "r", "status": status, "value": value, "where": []}]}


def fault(accept, *needs):
    return Fault("X01", "", ("m",), accept, "strong", None, set(needs))


class Scoring(unittest.TestCase):
    def test_an_event_counts_in_its_place_only(self):
        there = sheet(1, [{"start_s": 2.0, "end_s": 2.1, "channel": 1}])
        f = fault(event(0.01, channel=True))
        self.assertTrue(found(f, there, sheet(0), Plant(at=2.0, channel=1)))
        self.assertFalse(found(f, there, sheet(0), Plant(at=2.2, channel=1)))
        self.assertFalse(found(f, there, sheet(0), Plant(at=2.0, channel=2)))
        self.assertFalse(found(f, there, there, Plant(at=2.0, channel=1)), "it was there before")

    def test_what_was_there_before_is_no_find(self):
        self.assertTrue(found(fault(turned()), sheet(1), sheet(0), Plant()))
        self.assertIsNone(found(fault(turned()), sheet(1), sheet(1), Plant()))
        self.assertFalse(found(fault(turned()), sheet(0), sheet(0), Plant()))
        self.assertFalse(found(fault(equals()), sheet(0), sheet(0), Plant(expect=0)))
        self.assertTrue(found(fault(judged()), sheet(1, status="warn"), sheet(0), Plant()))

    def test_a_level_at_its_floor_is_clean(self):
        self.assertFalse(found(fault(turned()), sheet(-144.0, unit="dBFS"), sheet(-144.0, unit="dBFS"), Plant()))

    def test_a_refused_file_counts_only_where_that_is_said(self):
        self.assertFalse(found(fault(turned()), None, sheet(0), Plant()))
        self.assertTrue(found(fault(turned(), "refusal"), None, sheet(0), Plant()))

    def test_absent_ids_are_not_yet(self):
        self.assertFalse(known(fault(turned()), [sheet(name="other"), None]))
        self.assertTrue(known(fault(turned()), [sheet(0)]))

    def test_bars(self):
        self.assertTrue(passes("strong", 19, 20))
        self.assertFalse(passes("proof", 19, 20))
        self.assertIsNone(passes("evidence", 0, 20))

    def test_false_alarms_leave_out_what_is_known(self):
        files = [("kit/a.wav", "tuning", sheet(1, status="warn")), ("kit/b.wav", "tuning", sheet(1, status="fail"))]
        alarms = false_alarms.count(files, [("kit/a*", "r", "", "seen")])
        self.assertEqual([w[1:4] for w in alarms.wrong], [("fail", "r", "kit/b.wav")])
        self.assertEqual(alarms.seconds["tuning"], 7200)

    def test_what_is_known_of_one_place_excuses_no_other(self):
        def at(frame):
            return {**sheet(1), "findings": [{"measure": "m", "rule": "r", "status": "warn", "value": 1, "where": [
                {"start_frame": frame + 90000, "start_s": 3.0}, {"start_frame": frame, "start_s": 1.0}]}]}
        files = [("a", "tuning", at(48000)), ("b", "tuning", at(52097))]
        wrong = false_alarms.count(files, [("?", "r", "48000", "seen")]).wrong
        self.assertEqual([w[3] for w in wrong], ["b"])

    def test_where_a_lossy_item_comes_from_is_no_alarm(self):
        def warned(rule):
            return {**sheet(1), "findings": [{"measure": "m", "rule": rule, "status": "warn", "value": 1, "where": []}]}
        files = [(item, "tuning", warned(rule)) for item in ("a.ogg", "b.wav") for rule in (*false_alarms.PROVENANCE, "r")]
        wrong = [(w[2], w[3]) for w in false_alarms.count(files, [], {"a.ogg"}).wrong]
        self.assertEqual(wrong, [("r", "a.ogg"), *((rule, "b.wav") for rule in (*false_alarms.PROVENANCE, "r"))])


class Planting(unittest.TestCase):
    def item(self):
        r = material.generator("test")
        return Sound(dithered(0.1 * r.standard_normal((96000, 2)), 16, r), 48000, 16)

    def test_a_fault_of_no_strength_changes_no_byte(self):
        b = self.item()
        for make in (faults_continuity.hole, faults_continuity.click):
            same = make(b, material.generator("same"), strength=0.0).sound
            self.assertEqual(wav(same), wav(b))
            self.assertNotEqual(wav(make(b, material.generator("same")).sound), wav(b))

    def test_the_same_seed_makes_the_same_bytes(self):
        one, two = (wav(faults_continuity.hole(self.item(), material.generator(7, "K01")).sound) for _ in range(2))
        self.assertEqual(one, two)

    def test_halves_hang_on_the_name_alone(self):
        self.assertEqual(material.part_of("render-pop-0"), "tuning")
        self.assertEqual(material.part_of("loops-0"), "held-out")


if __name__ == "__main__":
    unittest.main()
