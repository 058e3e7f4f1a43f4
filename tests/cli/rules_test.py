"""rules: the list, one set in full, and what is wrong with a set."""
import json

import lab

SHIPPED = ("common premaster stems cd hi-res streaming-music broadcast-r128 broadcast-r128-short broadcast-a85 film-tv-stem "
           "vinyl-premaster podcast audiobook game-asset").split()


class Rules(lab.Case):
    def user_set(self, name, text):
        folder = self.config / "rules"
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"{name}.toml").write_text(text)

    def listing(self, code=0):
        got, out, err = self.run_program("rules", "--format", "json")
        self.assertEqual(got, code, err)
        return {s["name"]: s for s in json.loads(out)["rulesets"]}

    def test_the_shipped_ones_are_listed_with_titles(self):
        code, out, err = self.run_program("rules")
        self.assertEqual((code, err), (0, b""))
        for name in SHIPPED:
            self.assertRegex(out.decode(), rf"(?m)^  {name} +\S")
        self.assertLessEqual(max(map(len, out.decode().splitlines())), 80)
        listing = self.listing()
        self.assertLessEqual(set(SHIPPED), set(listing))
        self.assertTrue(all(s["title"] and s["origin"] == "shipped" for s in listing.values()))

    def test_a_users_set_is_listed_and_shadowing_is_said(self):
        self.user_set("mine", lab.RULE_SET.format(name="mine", limits="fail_above = -1.0"))
        self.user_set("cd", lab.RULE_SET.format(name="cd", limits="fail_above = -1.0"))
        listing = self.listing()
        self.assertFalse(listing["mine"]["shadows_shipped"])
        self.assertTrue(listing["cd"]["shadows_shipped"])
        _, out, _ = self.run_program("rules")
        self.assertIn("(yours; hides the shipped one of this name)", " ".join(out.decode().split()))

    def test_a_broken_users_set_is_listed_with_its_error(self):
        self.user_set("mine", "[ruleset]\nname = 'mine'\ntitel = 'x'\n")
        code, out, _ = self.run_program("rules")
        self.assertEqual(code, 2)
        self.assertRegex("".join(out.decode().split()), r"mine.*doesnotload:.*mine\.toml:3:\d+")
        self.assertIn("mine.toml:3:", self.listing(code=2)["mine"]["error"])

    def test_every_shipped_set_shows_in_full_and_loads(self):
        code, out, err = self.run_program("rules", *SHIPPED, "--format", "json")
        self.assertEqual((code, err), (0, b""))
        for s in json.loads(out)["rulesets"]:
            self.assertTrue(s["rules"], s["name"])
            for rule in s["rules"]:
                with self.subTest(rule=f"{s['name']}/{rule['id']}"):
                    self.assertTrue(rule["limits"])
                    self.assertTrue(rule["source"])
                    self.assertTrue(all(key["from"] for key in rule["keys"]), rule["keys"])

    def test_each_key_tells_where_it_comes_from(self):
        self.put("base.toml", lab.RULE_SET.format(name="base", limits="fail_above = -1.0\nwarn_above = -3.0"))
        self.user_set("base", lab.RULE_SET.format(name="base", limits="fail_above = -1.0\nwarn_above = -3.0"))
        self.put("own.toml", '[ruleset]\nname = "own"\ntitle = "Own"\npurpose = "A test."\nsources = ["definition"]\n'
                             'extends = ["base"]\n\n[[rule]]\nid = "peak"\nwarn_above = -6.0\n')
        _, out, err = self.run_program("rules", "./own.toml", "--format", "json")
        rule = json.loads(out)["rulesets"][0]["rules"][0]
        keys = {key["key"]: (key["toml"], key["from"]) for key in rule["keys"]}
        self.assertEqual(keys["fail_above"], ("-1", "base"))
        self.assertEqual(keys["warn_above"], ("-6", "own"))
        _, out, _ = self.run_program("rules", "./own.toml")
        self.assertRegex(out.decode(), r"(?m)^  warn_above = -6 +# from own$")
        self.assertRegex(out.decode(), r"(?m)^  fail_above = -1 +# from base$")
        _, out, _ = self.run_program("rules", "base")
        self.assertRegex(out.decode(), r"(?m)^\[\[rule\]\] peak   # all from base$")
        self.assertLessEqual(max(map(len, out.decode().splitlines())), 80)

    def test_what_is_wrong_is_said_with_the_place_and_the_nearest_name(self):
        good = lab.RULE_SET.format(name="own", limits="fail_above = -1.0")
        for old, new, said in (("fail_above", "fail_abov", "fail_above"), ("sample_peak", "sample_peek", "sample_peak"),
                               ("[[rule]]", "[[rul]]", "rule"), ("-1.0", '"-1.0"', "number"), ("why =", "wy =", "why"),
                               ("-1.0", "nan", "finite")):
            self.put("own.toml", good.replace(old, new))
            line = 1 + next(i for i, l in enumerate(good.replace(old, new).splitlines()) if new in l)
            for command in (["rules", "./own.toml"], ["check", "--rules", "./own.toml", "x.wav"]):
                code, out, err = self.run_program(*command)
                with self.subTest(new=new, command=command[0]):
                    self.assertEqual((code, out), (2, b""))
                    self.assertRegex(err.decode(), rf"own\.toml:{line}:\d+: ")
                    self.assertIn(said, err.decode())

    def test_names_that_are_none(self):
        code, _, err = self.run_program("rules", "premastr")
        self.assertEqual(code, 2)
        self.assertIn(b'premaster', err)
        for name in ("../cd", "/dev/zero", "/dev/null", "./missing.toml", "missing.toml", "/", "", "a\nb", "./"):
            code, _, err = self.run_program("rules", name)
            self.assertEqual(code, 2, name)
            code, _, err = self.run_program("check", "--rules", name, "x.wav")
            self.assertEqual(code, 2, name)

    def test_hostile_sets(self):
        for content in (b"\xff\xfe", b"\0", b"[" * 100000, b"a = " + b"[" * 5000, b"x" * (5 << 20),
                        b'[ruleset]\nname = "own"\nextends = ["own"]\n', b"[ruleset]\nname = \"own\x1b[31m\"\n"):
            self.put("own.toml", content)
            code, _, err = self.run_program("rules", "./own.toml")
            self.assertEqual(code, 2, content[:40])
            self.assertNotIn(b"\x1b", err)
        # A circle through the user's folder.
        for a, b in (("one", "two"), ("two", "one")):
            self.user_set(a, f'[ruleset]\nname = "{a}"\ntitle = "t"\npurpose = "p"\nsources = ["definition"]\nextends = ["{b}"]\n')
        self.assertEqual(self.run_program("rules", "one")[0], 2)


if __name__ == "__main__":
    lab.main()
