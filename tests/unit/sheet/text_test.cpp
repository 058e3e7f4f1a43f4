#include "base/text.h"

#include <doctest/doctest.h>

#include <algorithm>

#include "unit/sheet/helpers.h"

using namespace sendworthy;
using namespace sendworthy::fixture;

namespace {

std::string text_of(const Sheet& sheet, int width = 80) {
  return render_text(sheet, small_catalog(), {Colour::off, width, false});
}

std::string without_ink(const std::string& text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '\x1b') {
      i = text.find('m', i);
    } else {
      out += text[i];
    }
  }
  return out;
}

}  // namespace

TEST_SUITE("sheet/text") {
  TEST_CASE("the verdict comes first, then fails, not measured, warns, notes, waived, passes, skipped, cautions") {
    const auto text = text_of(one_mix());
    CHECK(text.substr(0, 4) == "FAIL");
    std::size_t last = 0;
    for (const auto* heading : {"FAIL  ", "Fail (1)", "Not measured (1)", "Warn (1)", "Notes (1)", "Waived (1)",
                                "Pass (4)", "Skipped, do not apply (2)", "Caution"}) {
      const auto at = text.find(heading);
      CAPTURE(heading);
      REQUIRE(at != std::string::npos);
      CHECK(at >= last);
      last = at;
    }
    CHECK(text_of(clean_mix()).substr(0, 4) == "PASS");
  }

  TEST_CASE("a failing row has value, limit, places, what is left out, why and what to do") {
    const auto text = text_of(one_mix());
    for (const auto* part : {"True peak: +0.4 dBTP, at most -1.0 dBTP [true-peak]", "0:41.203 right, frame 1977744",
                             "and 38 more", "why    Converters", "do     Turn the mix bus down by 1.5 dB"})
      CHECK_MESSAGE(holds(text, part), part);
  }

  TEST_CASE("a waiver is shown with its reason, who gave it and until when") {
    for (const auto& sheet : {one_mix(), many_stems()}) {
      const auto text = text_of(sheet, 200);
      CHECK(holds(text, "warn, waived: the fade is part of the arrangement (EX, until 2027-01-31)"));
    }
  }

  TEST_CASE("no line is wider than the page, whatever the sheet and the width") {
    for (const auto& sheet : all_sheets()) {
      for (const int width : {1, 20, 33, 60, 80, 120, 300}) {
        const int most = std::max(width, 20);
        int widest = 0;
        for (const auto& line : lines_of(text_of(sheet, width))) {
          widest = std::max(widest, base::columns(line));
          if (base::columns(line) > most) FAIL_CHECK(line);
        }
        CHECK(widest <= most);
      }
    }
  }

  TEST_CASE("colour adds ink and nothing else, and is off unless asked for") {
    for (const auto& sheet : all_sheets()) {
      const auto plain = text_of(sheet);
      CHECK_FALSE(holds(plain, "\x1b"));
      CHECK(without_ink(render_text(sheet, small_catalog(), {Colour::on, 80, false})) == plain);
    }
    CHECK(holds(render_text(one_mix(), small_catalog(), {Colour::on, 80, false}), "\x1b["));
  }

  TEST_CASE("a dozen stems fit on a page and end in one summary") {
    const auto text = text_of(many_stems());
    const auto lines = lines_of(text);
    CHECK(lines.size() < 75);
    CHECK(lines.front() == "FAIL  13 files: 9 pass, 1 warn, 2 fail, 1 without a sheet");
    const auto summary = std::find(lines.rbegin(), lines.rend(), lines.front());
    REQUIRE(summary != lines.rend());
    CHECK(summary - lines.rbegin() < 5);
    CHECK(holds(text, "-31.0 LUFS (12_room.wav) to -20.0 LUFS (01_kick.wav), 12"));
    CHECK(holds(text, "in every file"));
    CHECK(holds(text, "do     as for 01_kick.wav"));
    CHECK(std::count_if(lines.begin(), lines.end(), [](const auto& l) { return holds(l, "Converters and lossy"); }) ==
          1);
  }

  TEST_CASE("an input without a sheet shows its name and the reason") {
    const auto text = text_of(many_stems());
    CHECK(holds(text, "NO SHEET  stems/13_lost.wav\n          stems/13_lost.wav does not exist; check the name"));
  }

  TEST_CASE("cautions that differ in figures only are given once, with the file they are of") {
    auto sheet = many_stems();
    sheet.files.at(1).cautions.front().text = "If you monitor at 80 dB(A), this file alone uses 0.7 % of a week.";
    sheet.files.at(2).cautions.front().text = "If you monitor at 85 dB(A), this file alone uses 12.25 % of a week.";
    const auto text = text_of(sheet, 300);
    CHECK(holds(text,
                "02_snare.wav, 03_hats.wav: If you monitor at 80 dB(A), this file alone uses 0.7 % of a week. "
                "[ITU-T H.870 (2022)] (Figures of 02_snare.wav; each file has its own.)"));
    CHECK_FALSE(holds(text, "12.25"));
  }

  TEST_CASE("the places of a row stand below each other") {
    const auto text = text_of(one_mix());
    CHECK(holds(text, "    where  0:41.203 right, frame 1977744\n           1:12.010 left, frames 3456480 to 3456499\n"));
  }

  TEST_CASE("rule sets that agree share one row") {
    const auto text = text_of(two_rule_sets());
    CHECK(holds(text, "[true-peak in premaster, cd]"));
    CHECK(holds(text, "Fail (1)"));
    CHECK(holds(text, "Of the whole set (1)\n  warn: fade-out: a waiver that nothing used"));
  }

  TEST_CASE("quiet is the verdict of each file and of all") {
    CHECK(render_text(one_mix(), small_catalog(), {Colour::off, 80, true}) ==
          "FAIL  bounces/paper-lantern_mix3.wav: 1 fail, 1 not measured, 1 warn, 1 note,\n      1 waived\n");
    const auto lines = lines_of(render_text(many_stems(), small_catalog(), {Colour::off, 80, true}));
    CHECK(lines.front() == "FAIL  stems/01_kick.wav: 1 fail, 1 note");
    CHECK(lines.back() == "FAIL  13 files: 9 pass, 1 warn, 2 fail, 1 without a sheet");
  }

  TEST_CASE("a measured sheet has groups, values and channels, and no verdict") {
    const auto text = text_of(measured_mix());
    for (const auto* word : {"PASS", "FAIL", "WARN", "pass", "fail"}) CHECK_FALSE(holds(text, word));
    for (const auto* part :
         {"\nLevel\n", "-14.2 LUFS", "+0.4 dBTP (left -0.1, right +0.4)", "the longest is 24 samples", "(below_hz=150)",
          "Not measured (1)\n  Noise floor: no quiet part of half a second",
          "Not applicable (1)\n  Phase correlation: only for two channels", "and 1 more"})
      CHECK_MESSAGE(holds(text, part), part);
  }

  TEST_CASE("an optional measurement that is missing is no fault") {
    auto sheet = one_mix();
    auto& file = sheet.files.front();
    file.findings.erase(file.findings.begin());
    file.findings.front().optional = true;
    file.verdict = sheet.verdict = verdict_of(file.findings);
    CHECK(file.verdict == Verdict::warn);
    const auto text = text_of(sheet);
    CHECK(holds(text, "Not measured, not required (1)"));
    CHECK_FALSE(holds(text, "\nNot measured (1)"));
  }

  TEST_CASE("a file without a name and a sheet without files still say so") {
    auto sheet = clean_mix();
    sheet.files.front().path.clear();
    CHECK(text_of(sheet).substr(0, 16) == "PASS  (no name):");
    CHECK(holds(text_of(Sheet{}), "0 files"));
  }
}
