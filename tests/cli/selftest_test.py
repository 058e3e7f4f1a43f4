"""selftest: the table, its data, and its exit code."""
import json

import lab


class SelfTest(lab.Case):

    def test_text_and_json_say_the_same(self):
        code, out, err = self.run_program("selftest", "--format", "json")
        self.assertEqual((code, err), (0, b""), out)
        data = json.loads(out)
        self.assertTrue(data["passed"])
        self.assertEqual({row["sample_rate"] for row in data["rows"]}, {44100, 48000, 96000})
        for row in data["rows"]:
            self.assertEqual(row["passed"], row["lower"] <= row["read"] <= row["upper"], row)
            self.assertTrue(row["signal"] and row["quantity"] and row["source"] and row["second"], row)
        sources = " ".join(row["source"] + row["signal"] for row in data["rows"])
        for source in ("3341", "3342", "1770"):
            self.assertIn(source, sources)

        code, out, _ = self.run_program("selftest", "--jobs", "1")
        text = out.decode()
        self.assertEqual(code, 0)
        self.assertLessEqual(max(map(len, text.splitlines())), 80)
        for heading in ("44.1 kHz", "48 kHz", "96 kHz", "expected", "read", "second", "tolerance", "Sources"):
            self.assertIn(heading, text)
        self.assertTrue(text.endswith(f"\n{len(data['rows'])} of {len(data['rows'])} readings within tolerance.\n"))


if __name__ == "__main__":
    lab.main()
