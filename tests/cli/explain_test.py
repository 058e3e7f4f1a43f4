"""explain: every measurement, every rule and every word of the sheet, in text and as data."""
import json

import lab


class Explain(lab.Case):
    def explained(self, *ids):
        code, out, err = self.run_program("explain", *ids, "--format", "json")
        self.assertEqual((code, err), (0, b""))
        return json.loads(out)["explanations"]

    def listing(self):
        return json.loads(self.run_program("explain", "--format", "json")[1])

    def test_every_measurement_says_what_how_caveat_act_and_source(self):
        ids = [m["id"] for m in self.listing()["measurements"]]
        self.assertGreater(len(ids), 80)
        texts = {e["id"]: e for e in self.explained(*ids) if e["kind"] == "measurement"}
        self.assertEqual(set(texts), set(ids))
        for m in self.listing()["measurements"]:
            for part in ("what", "how", "caveat", "act", "source") if m["available"] else ("what",):
                self.assertTrue(texts[m["id"]].get(part), (m["id"], part))

    def test_every_rule_says_what_how_why_caveat_act_and_source(self):
        ids = self.listing()["rules"]
        self.assertGreater(len(ids), 20)
        for e in self.explained(*ids):
            if e["kind"] != "rule":
                continue
            for part in ("rulesets", "measure", "what", "how", "limits", "why", "caveat", "act", "source"):
                self.assertTrue(e.get(part), (e["id"], part))
            self.assertNotIn("{", e["act"] + e["why"])
        self.assertIn("only [the measured value] above", self.explained("premaster/dense-mix")[0]["why"])

    def test_a_rule_of_one_set(self):
        rule, = [e for e in self.explained("premaster/true-peak") if e["kind"] == "rule"]
        self.assertEqual((rule["id"], rule["rulesets"]), ("premaster/true-peak", ["premaster"]))
        self.assertIn("true_peak", rule["measure"])
        self.assertGreaterEqual(len(self.explained("true-peak")), 1)

    def test_a_measurement_names_the_rules_that_judge_it(self):
        text, = self.explained("true_peak")
        self.assertTrue(any(rule.startswith("premaster/") for rule in text["rules"]))
        _, out, _ = self.run_program("explain", "true_peak")
        for heading in ("What it says", "How it is found", "What it cannot know", "Source", "Judged by"):
            self.assertIn(f"\n{heading}\n", out.decode())

    def test_every_status_with_and_without_quotes(self):
        for status in ("pass", "note", "warn", "fail", "not measured", "waived"):
            self.assertIn(("status", status), [(e["kind"], e["id"]) for e in self.explained(status)])
        self.assertEqual(self.explained("not", "measured"), self.explained("not measured"))
        self.assertEqual(self.explained("not_measured"), self.explained("not measured"))
        for code in ("missing", "unreadable", "unrecognised", "no-audio", "no_audio", "output", "interrupted"):
            self.assertEqual(self.explained(code)[0]["kind"], "error")

    def test_every_word_of_the_sheet_says_what_how_caveat_act_and_source(self):
        listing = self.listing()
        words = [w for kind in ("set_findings", "song_findings", "statuses", "words", "findings", "errors") for w in listing[kind]]
        for known in ("not applicable", "skipped", "verdict", "no sheet", "nothing-judged", "waivers", "second-meter-true-peak", "rules"):
            self.assertIn(known, words)
        for word in words:
            for e in self.explained(word):
                for part in ("title", "what", "how", "caveat", "act", "source"):
                    self.assertTrue(e.get(part), (word, part))

    def test_capitals_do_not_matter(self):
        self.assertEqual(self.explained("FAIL"), self.explained("fail"))
        self.assertEqual(self.explained("NO SHEET"), self.explained("no sheet"))
        self.assertEqual(self.explained("True_Peak"), self.explained("true_peak"))
        self.assertEqual(self.explained("Premaster/True-Peak"), self.explained("premaster/true-peak"))

    def test_a_rule_set_is_shown_elsewhere(self):
        for name in ("premaster", "Premaster"):
            code, out, err = self.run_program("explain", name)
            self.assertEqual((code, out), (2, b""))
            self.assertEqual(err.decode(), 'sendworthy: "premaster" is a rule set; "sendworthy rules premaster" shows its rules\n')
        self.assertIn(b'did you mean "premaster"?', self.run_program("explain", "premastr")[2])

    def test_a_difference_a_parameter_and_an_allowance_are_said(self):
        header, = self.explained("common/header")
        self.assertTrue(header["measure"].startswith("header_consistency less header_slips"))
        self.assertEqual(self.explained("common/inverted-channel")[0]["limits"], ["fails when yes"])
        self.assertEqual(self.explained("common/extension")[0]["limits"], ["fails when no"])
        width, = self.explained("vinyl-premaster/bass-width")
        self.assertTrue(width["measure"].startswith("side_level_low(below_hz=150)"))
        self.assertIn("optional", width["allowances"][0])
        peak, = self.explained("broadcast-r128/programme-true-peak")
        self.assertTrue(peak["allowances"][0].startswith("0.3 dB "))
        self.assertIn("a fail is a warn there", peak["allowances"][0])
        self.assertIn("it warns there all the same", self.explained("premaster/true-peak")[0]["allowances"][0])
        bits, = self.explained("effective_bit_depth")
        self.assertIn("premaster/padded-bits, by effective_bit_depth less bit_depth: fails below -3 bits", bits["rules"])

    def test_a_rule_of_the_users_own(self):
        (self.config / "rules").mkdir(parents=True)
        mine = self.config / "rules" / "mine.toml"
        mine.write_text('[ruleset]\nname = "mine"\n[[rule]]\nid = "my-peak"\nmeasure = "sample_peak"\n'
                        'fail_above = -6.0\n')
        rule, = self.explained("mine/my-peak")
        self.assertEqual((rule["id"], rule["limits"]), ("mine/my-peak", ["fails above -6 dBFS"]))
        for part in ("why", "act", "source"):
            self.assertEqual(rule[part], "The rule set does not say.")
        self.assertTrue(rule["how"] and rule["caveat"])
        mine.rename(self.room / "mine.toml")
        self.assertEqual(self.run_program("explain", "mine/my-peak")[0], 2)
        self.assertEqual(self.explained("--rules", "./mine.toml", "mine/my-peak"), [rule])
        code, out, err = self.run_program("explain", "--rules", "./none.toml", "mine/my-peak")
        self.assertEqual((code, out), (2, b""))
        self.assertIn(b"none.toml", err)

    def test_findings_about_a_set_and_about_a_song_say_what_how_why_caveat_act_and_source(self):
        listing = self.listing()
        self.assertEqual(len(listing["song_findings"]), 18)
        for kind, key in (("set", "set_findings"), ("song", "song_findings")):
            texts = {e["id"]: e for e in self.explained(*listing[key]) if e["kind"] == kind}
            self.assertEqual(set(texts), set(listing[key]))
            for e in texts.values():
                for part in ("what", "how", "why", "caveat", "act", "source"):
                    self.assertTrue(e.get(part), (e["id"], part))

    def test_an_id_of_an_order_and_of_a_plan_is_explained_as_both(self):
        self.assertEqual([e["kind"] for e in self.explained("stems-sum-to-mix")], ["set", "song"])
        self.assertEqual([e["kind"] for e in self.explained("plan/stems-sum-to-mix")], ["song"])
        self.assertEqual([e["kind"] for e in self.explained("order/stems-sum-to-mix")], ["set"])

    def test_a_key_with_a_parameter_is_explained_by_its_measurement(self):
        self.assertEqual(self.explained("mono_fold_loss_low(below_hz=150)"), self.explained("mono_fold_loss_low"))

    def test_a_miss_names_the_nearest(self):
        for wrong, right in (("tru_peak", "true_peak"), ("premaster/true-peek", "premaster/true-peak"), ("waved", "waived")):
            code, out, err = self.run_program("explain", wrong)
            self.assertEqual((code, out), (2, b""))
            self.assertEqual(err.decode(), f'sendworthy: nothing is called "{wrong}"; did you mean "{right}"?\n')
        code, out, err = self.run_program("explain", "qqqqqqqqqqqq\x1b[31m\n")
        self.assertEqual((code, out), (2, b""))
        self.assertNotIn(b"\x1b", err)
        self.assertIn(b'"sendworthy explain" lists what there is', err)

    def test_everything_fits_80_columns(self):
        listing = self.listing()
        ids = [m["id"] for m in listing["measurements"]] + listing["rules"] + [w for kind in ("set_findings", "song_findings", "statuses", "words", "findings", "errors") for w in listing[kind]]
        for arguments in (["explain"], ["explain", *ids]):
            _, out, _ = self.run_program(*arguments)
            widest = max(out.decode().splitlines(), key=len)
            self.assertLessEqual(len(widest), 80, widest)


if __name__ == "__main__":
    lab.main()
